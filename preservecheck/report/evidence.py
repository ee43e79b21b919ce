"""What ``challenge`` and ``drift`` found, as a page that can be text or Markdown."""

from __future__ import annotations

from typing import TYPE_CHECKING

from preservecheck.reference.rows_practice import STANDARDS
from preservecheck.report.bench import footer
from preservecheck.report.document import Grid, Listed, Page, Said, Section
from preservecheck.text import join_and, number

if TYPE_CHECKING:
    from preservecheck.evidence.challenge import Challenge, OrganismResult
    from preservecheck.evidence.challenge_plan import Plan
    from preservecheck.evidence.drift import Drift, Series

VERDICTS = {
    "A": "A: every organism meets the target criterion",
    "B": "B: accepted only with further reasons",
    "passes": "passes",
    "fails": "fails: the product is not protected",
    "incomplete": "incomplete: the set cannot be judged",
}
ROUNDING = (
    "Log reductions are rounded to one decimal before they are compared. A count below detection "
    "gives 'at least'. The "
    "standards were not read in full: a laboratory works from its own copy."
)


def challenge_page(found: Challenge) -> Page:
    """A challenge test, organism by organism."""
    days = sorted({int(d) for o in found.organisms for d in o.log_reductions})
    heads = ["organism", "start", *(f"day {d}" for d in days), "verdict", "because"]
    rows = [
        [
            o.name,
            f"{o.counts[0].log10:.1f}" if 0 in o.counts else "none",
            *(_cell(o, d) for d in days),
            o.verdict,
            o.because,
        ]
        for o in found.organisms
    ]
    lines = [
        f"{o.name}, {line.criterion}: {line.wants}: {line.state}, {line.found}."
        for o in found.organisms
        for line in o.lines
        if line.state != "met"
    ]
    notes = [f"{o.name}: {note}" for o in found.organisms for note in o.notes]
    return Page(
        f"Challenge test by {STANDARDS[found.standard].full_name}",
        VERDICTS[found.verdict],
        [found.because],
        [
            Section("Missing", [Listed(found.missing)]),
            Section("Log reductions (start: log10 CFU per g or mL)", [Grid(heads, rows)]),
            Section("What it means", [Listed(found.meaning)]),
            Section("Lines that are not plainly met", [Listed(lines)]),
            Section("Remarks", [Listed([*notes, ROUNDING])]),
            Section("Sources", [Listed(found.sources)]),
        ],
        footer(found.head),
    )


def _cell(organism: OrganismResult, day: int) -> str:
    value = organism.log_reductions.get(str(day))
    return "" if value is None else f"{'≥' if str(day) in organism.at_least else ''}{value:.1f}"


def plan_page(found: Plan) -> Page:
    """What to order from a laboratory."""
    microbes = [
        [
            o.name,
            o.strain,
            o.other_collections or "",
            f"{o.inoculum_low:.0e} to {o.inoculum_high:.0e}".replace("e+0", "e"),
        ]
        for o in found.organisms
    ]
    days = [
        [str(s.day), f"{s.weekday} {s.date}", join_and(list(s.for_criteria))]
        for s in found.samplings
    ]
    return Page(
        "Plan of a challenge test by "
        f"{STANDARDS[found.standard].full_name}{f': {found.head.name}' if found.head.name else ''}",
        None,
        [],
        [
            Section(
                "Organisms",
                [
                    Grid(
                        [
                            "organism",
                            "strain",
                            "the same elsewhere (recalled)",
                            "CFU per g at the start",
                        ],
                        microbes,
                    )
                ],
            ),
            Section("Counts", [Grid(["day", "date", "for"], days)]),
            Section("What has to come out", [Listed(found.criteria)]),
            Section("Neutraliser", [Listed(found.neutraliser)]),
            Section(
                "Send",
                [
                    Said(
                        f"About {found.sample_g} g of product, which leaves enough to repeat an "
                        "organism:"
                    ),
                    Listed(found.send),
                ],
            ),
            Section("Before the start", [Listed(found.before)]),
        ],
        footer(found.head),
    )


def _first_said(found: Drift) -> str:
    """The worst of the storages in one sentence."""
    from preservecheck.evidence.drift import WATCHED_DAYS

    def badness(s: Series) -> tuple[bool, bool, bool, int]:
        leaving = s.leaves_on_early or s.leaves_on
        return (
            s.serious,
            s.verdict == "warn",
            s.verdict == "unknown",
            -leaving.toordinal() if leaving else -4_000_000,
        )

    worst = max(found.series, key=badness)
    if worst.verdict == "pass":
        return (
            f"The pH stays inside the window for {WATCHED_DAYS} days and more, if nothing changes."
        )
    if worst.serious:
        return (
            f"{worst.storage}: the last reading, pH {number(worst.ph[-1])}, lies outside the "
            "window."
        )
    if worst.leaves_on is not None:
        early = f", at the earliest on {worst.leaves_on_early}" if worst.leaves_on_early else ""
        return f"{worst.storage}: the pH would leave the window on {worst.leaves_on}{early}."
    if worst.leaves_on_early is not None:
        return f"{worst.storage}: the pH may leave the window from {worst.leaves_on_early} on."
    return f"{worst.storage}: {worst.because}"


def drift_page(found: Drift) -> Page:
    """The pH over time, storage by storage."""
    rows = []
    for s in found.series:
        month = None if s.slope_per_day is None else 30.4 * s.slope_per_day
        slope = (
            ""
            if month is None or s.slope_low is None or s.slope_high is None
            else f"{month:+.2f} ({30.4 * s.slope_low:+.2f} to {30.4 * s.slope_high:+.2f})"
        )
        rows.append(
            [
                s.storage,
                str(len(s.ph)),
                slope,
                str(s.leaves_on or ""),
                str(s.leaves_on_early or ""),
                str(s.recheck_on),
                "serious" if s.serious else s.verdict,
            ]
        )
    words = [f"{s.storage}: {s.because}{f' {s.do}' if s.do else ''}" for s in found.series]
    window = (
        ""
        if found.window is None
        else f"Window: pH {number(found.window[0])} to {number(found.window[1])}. "
    )
    apart = (
        "Readings of different storage temperatures are never put into one line; warm storage is "
        "not turned into years."
        if len(found.series) > 1
        else ""
    )
    return Page(
        f"pH over time: {found.head.name}",
        "serious" if any(s.serious for s in found.series) else found.verdict,
        [_first_said(found), window + found.window_because],
        [
            Section(
                "By storage",
                [
                    Grid(
                        [
                            "storage",
                            "readings",
                            "pH a month",
                            "leaves on",
                            "at the earliest",
                            "re-check",
                            "verdict",
                        ],
                        rows,
                    )
                ],
            ),
            Section("In words", [Listed(words), Said(apart)]),
        ],
        footer(found.head),
    )
