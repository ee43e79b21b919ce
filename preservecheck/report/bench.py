"""What ``cooldown`` and ``adjust`` found, as a page that can be text or Markdown."""

from __future__ import annotations

from typing import TYPE_CHECKING

from preservecheck.report.document import Grid, Listed, Page, Said, Section, nonempty
from preservecheck.text import number
from preservecheck.units import duration_text, mass_text, temperature_text

if TYPE_CHECKING:
    from preservecheck.bench.addition_window import AdditionWindow
    from preservecheck.bench.adjust import Adjustment
    from preservecheck.bench.cooling import Cooldown
    from preservecheck.bench.forecast import Reach
    from preservecheck.formula.cooling_readings import Course
    from preservecheck.provenance import Provenance

GATE = (
    "A forecast opens nothing: only a measured temperature, in the stirred middle of the batch, "
    "lets a "
    "preservative go in."
)


def cooldown_page(found: Cooldown) -> Page:
    """When the batch is cool enough, and what met too much heat."""
    times = [f"{r.what}, {temperature_text(r.limit_c)}: {_when(found, r)}" for r in found.reach]
    mixing = found.mixing
    sums = ""
    if mixing is not None:
        sums = (
            f"Heat balance: {_part(mixing.hot_g, found)} at {number(mixing.hot_kj_kg_k)} kJ/(kg "
            "K) and "
            f"{_part(mixing.cold_g, found)} at {number(mixing.cold_kj_kg_k)}; vessel, setting wax "
            "and loss while "
            "stirring are not counted."
        )
    held = (
        f"{duration_text(found.held_min)} at {temperature_text(found.hold_c)} or more, "
        "straight between the readings."
    )
    return Page(
        f"Cooling{f' of {found.head.name}' if found.head.name else ''}",
        None,
        [found.because],
        [
            Section(
                "When it may go in",
                [
                    Listed(
                        [
                            f"{g.name}: {gate_words(g, found.course)} {g.because}"
                            for g in found.gates
                        ]
                    )
                ],
            ),
            Section("When it is cool enough", [Listed(times)]),
            Section(
                "Already in",
                [
                    Listed(
                        [
                            f"{a.preservative}: {'serious' if a.serious else a.verdict}. "
                            f"{a.because}"
                            for a in found.added
                        ]
                    )
                ],
            ),
            Section("After the cold phase", [Said(found.mixing_because or ""), Said(sums)]),
            Section("Heat hold", [Said(held)]),
            Section("Good to know", [Listed([*found.remarks, GATE])]),
        ],
        footer(found.head),
    )


def gate_words(gate: AdditionWindow, course: Course | None) -> str:
    """When a preservative may go in, as a sentence."""
    reach, below = gate.reach, temperature_text(gate.below_c)
    if reach is None or course is None or reach.minutes is None:
        return f"May go in when the thermometer shows {below} or less."
    if reach.measured:
        showed = temperature_text(course.temp_c[-1])
        when = course.time_text(course.time_min[-1])
        return (
            f"The thermometer showed {showed} at {when}, so it may go in: {below} or less is right."
        )
    assert reach.minutes_low is not None
    low = course.time_text(round(reach.minutes_low))
    ends = (
        f"between {low} and {course.time_text(round(reach.minutes_high))}"
        if reach.minutes_high is not None
        else f"not before {low}; the latest time cannot be told"
    )
    return (
        f"About {course.time_text(round(reach.minutes))} ({ends}), once the thermometer shows "
        f"{below} or less."
    )


def _when(found: Cooldown, reach: Reach) -> str:
    """Time with its band, and what to do."""
    if reach.minutes is None:
        return f"not known. {reach.because}"
    time, low, high = (
        None if m is None else found.course.time_text(round(m))
        for m in (reach.minutes, reach.minutes_low, reach.minutes_high)
    )
    if reach.measured:
        return f"reached at {time}. {reach.because}"
    ends = f"between {low} and {high}" if high else f"not before {low}"
    wait = reach.minutes - found.course.time_min[-1]
    return (
        f"at {time}, {duration_text(round(wait))} after the last reading ({ends}). {reach.because}"
    )


def _part(grams: float, found: Cooldown) -> str:
    mixing = found.mixing
    whole = mixing.hot_g + mixing.cold_g if mixing else 0.0
    return f"{number(grams)} %" if abs(whole - 100) < 1e-6 else mass_text(grams)


def adjust_page(found: Adjustment) -> Page:
    """How much to add, in steps."""
    what = (
        f"{number(found.agent_percent, 3)} % {found.agent}"
        if found.agent_percent
        else found.agent or "the solution titrated"
    )
    lead = []
    if found.grams_per_kg is None:
        lead.append("No amount can be told.")
    elif found.grams_per_kg > 0:
        amount = (
            _grams(found.grams)
            if found.grams is not None
            else f"{number(found.grams_per_kg)} g per kg"
        )
        band = (
            ""
            if found.grams is None or found.grams_low is None or found.grams_high is None
            else f" (between {_grams(found.grams_low)} and {_grams(found.grams_high)})"
        )
        batch = f" to a batch of {mass_text(found.batch_g)}" if found.batch_g else ""
        kind = "" if found.basis == "titration" else "ESTIMATE. "
        lead.append(
            f"{kind}From pH {number(found.start_ph or 0)} to {number(found.target_ph or 0)}: add "
            f"{amount}{band} of "
            f"{what}"
            f"{batch}, in {len(found.additions)} steps."
        )
    lead.append(found.because)
    rows = []
    for at, a in enumerate(found.additions, 1):
        step = _grams(a.grams) if a.grams is not None else f"{number(a.grams_per_kg)} g/kg"
        total = _grams(a.total_grams) if a.total_grams is not None else ""
        rows.append([str(at), step, total, f"{a.expected_ph:.1f}", a.then])
    capacity = found.buffer_capacity_mmol_kg_ph
    buffer = (
        ""
        if capacity is None
        else (
            f"It takes {number(capacity)} mmol of {found.agent} per kg to move the pH by 1 near "
            "the target"
            f"{'' if found.basis == 'titration' else ', by the estimate'}."
        )
    )
    return Page(
        f"pH of {found.head.name}",
        None,
        lead,
        [
            Section("Steps", [Grid(["step", "add", "total so far", "expect pH", "then"], rows)]),
            Section("Buffer capacity", [Said(buffer)]),
            Section(
                "What the checks say afterwards",
                [
                    Listed(
                        [
                            f"{e.check}, {e.about}: {e.before} becomes {e.after}. {e.because}"
                            for e in found.effects
                        ]
                    )
                ],
            ),
            Section("Beware", [Listed(found.warnings)]),
        ],
        footer(found.head),
    )


def _grams(grams: float) -> str:
    """Grams to weigh, to three figures: no scale and no titration gives more."""
    return mass_text(float(f"{grams:.3g}"))


def footer(head: Provenance, digits: int = 12) -> list[str]:
    """Program, date and digests."""
    formula = f", formula {head.formula_sha256[:digits]}" if head.formula_sha256 else ""
    return list(
        nonempty([f"{head.program}, {head.date}; tables {head.tables_sha256[:digits]}{formula}."])
    )
