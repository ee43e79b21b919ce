"""A challenge test, or its plan, as a document."""

from __future__ import annotations

from typing import TYPE_CHECKING

from preservecheck.reference.rows import STANDARDS
from preservecheck.report import document as d
from preservecheck.report import words
from preservecheck.report.plots import readings
from preservecheck.text import join_and

if TYPE_CHECKING:
    from preservecheck.evidence.challenge import Challenge, OrganismResult
    from preservecheck.evidence.challenge_plan import Plan

VERDICTS: dict[str, tuple[d.Word, str, str]] = {
    "A": ("pass", "A", "every organism meets the target criterion"),
    "B": ("warn", "B", "accepted only with further reasons"),
    "passes": ("pass", "passes", ""),
    "fails": ("serious", "fails", "the product is not protected"),
    "incomplete": ("unknown", "incomplete", "the set cannot be judged"),
}
ROUNDING = (
    "Log reductions are rounded to one decimal before they are compared. A count below detection "
    "gives 'at least'. The standards were not read in full: a laboratory works from its own copy."
)


def document(found: Challenge) -> d.Document:
    """A challenge test, organism by organism."""
    days = sorted({int(d) for o in found.organisms for d in o.log_reductions})
    rows = [
        [
            o.name,
            f"{o.counts[0].log10:.1f}" if 0 in o.counts else "none",
            *(_cell(o, d) for d in days),
            o.verdict,
        ]
        for o in found.organisms
    ]
    heads = ["organism", "start", *(f"day {d}" for d in days), "verdict"]
    counts = d.Table(
        heads,
        rows,
        numbers=range(1, 2 + len(days)),
        title="start: log10 CFU per g or mL",
        below=[[o.because] for o in found.organisms],
    )
    unmet = [
        f"{o.name}, {line.criterion}: {line.wants}: {line.state}, {line.found}."
        for o in found.organisms
        for line in o.lines
        if line.state != "met"
    ]
    notes = [f"{o.name}: {note}" for o in found.organisms for note in o.notes]
    return d.Document(
        f"Challenge test by {STANDARDS[found.standard].full_name}",
        [
            d.Verdict(*VERDICTS[found.verdict]),
            d.Paragraph(found.because),
            d.Plots(lambda: [readings.courses(found)], told=True),
        ],
        [
            d.Section("Missing", [d.Bullets(found.missing)]),
            d.Section("Log reductions", [counts]),
            d.Section("What it means", [d.Bullets(found.meaning)]),
            d.Section("Lines that are not plainly met", [d.Bullets(unmet)]),
            d.Section("Remarks", [d.Bullets([*notes, ROUNDING])]),
            d.Section("Sources", [d.Sources(found.sources)]),
        ],
        words.footer(found.head),
        found.hints,
    )


def _cell(organism: OrganismResult, day: int) -> str:
    value = organism.log_reductions.get(str(day))
    return "" if value is None else f"{'≥' if str(day) in organism.at_least else ''}{value:.1f}"


def plan_document(found: Plan) -> d.Document:
    """What to order from a laboratory."""
    organisms = [
        [o.name, o.strain, o.other_collections or "", _power(o.inoculum_low, o.inoculum_high)]
        for o in found.organisms
    ]
    days = [
        [str(s.day), f"{s.weekday} {s.date}", join_and(list(s.for_criteria))]
        for s in found.samplings
    ]
    name = f": {found.head.name}" if found.head.name else ""
    heads = ["organism", "strain", "the same elsewhere (recalled)", "CFU per g at the start"]
    send = f"About {found.sample_g} g of product, which leaves enough to repeat an organism:"
    return d.Document(
        f"Plan of a challenge test by {STANDARDS[found.standard].full_name}{name}",
        [],
        [
            d.Section("Organisms", [d.Table(heads, organisms)]),
            d.Section("Counts", [d.Table(["day", "date", "for"], days, numbers=(0,))]),
            d.Section("What has to come out", [d.Bullets(found.criteria)]),
            d.Section("Neutraliser", [d.Bullets(found.neutraliser)]),
            d.Section("Send", [d.Paragraph(send), d.Bullets(found.send)]),
            d.Section("Before the start", [d.Bullets(found.before)]),
        ],
        words.footer(found.head),
    )


def _power(low: float, high: float) -> str:
    """``1e5 to 1e6``."""
    return f"{low:.0e} to {high:.0e}".replace("e+0", "e")
