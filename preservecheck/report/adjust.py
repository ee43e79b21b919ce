"""What ``adjust`` found as a document."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from preservecheck.report import words
from preservecheck.report.document import Bullets, Document, Paragraph, Plots, Section, Table
from preservecheck.report.plots import readings
from preservecheck.text import number
from preservecheck.units import mass_text

if TYPE_CHECKING:
    from preservecheck.bench.adjust import Adjustment


def document(found: Adjustment) -> Document:
    """How much acid or base to add, in steps."""
    rows = [
        [
            str(at),
            f"{number(a.grams_per_kg)} g/kg" if a.grams is None else _grams(a.grams),
            "" if a.total_grams is None else _grams(a.total_grams),
            f"{a.expected_ph:.1f}",
            a.then,
        ]
        for at, a in enumerate(found.additions, 1)
    ]
    capacity, buffer = found.buffer_capacity_mmol_kg_ph, ""
    if capacity is not None:
        buffer = (
            f"It takes {number(capacity)} mmol of {found.agent} per kg to move the pH by 1 near "
            f"the target{'' if found.basis == 'titration' else ', by the estimate'}."
        )
    chart = readings.titration(found)
    plots = [] if chart is None else [Plots(lambda: [chart], told=True)]
    effects = [
        f"{e.check}, {e.about}: {e.before} becomes {e.after}. {e.because}" for e in found.effects
    ]
    heads = ["step", "add", "total so far", "expect pH", "then"]
    return Document(
        f"pH of {found.head.name}",
        [*map(Paragraph, _lead(found)), Paragraph(found.because), *plots],
        [
            Section("Steps", [Table(heads, rows, numbers=(0, 1, 2, 3))]),
            Section("Buffer capacity", [Paragraph(buffer)]),
            Section("What the checks say afterwards", [Bullets(effects)]),
            Section("Beware", [Bullets(found.warnings)]),
        ],
        words.footer(found.head),
        found.hints,
    )


def _lead(found: Adjustment) -> Iterator[str]:
    """The amount in one sentence."""
    if found.grams_per_kg is None:
        yield "No amount can be told."
    elif found.grams_per_kg > 0:
        strength = f"{number(found.agent_percent, 3)} % " if found.agent_percent else ""
        what = f"{strength}{found.agent}" if found.agent else "the solution titrated"
        amount = f"{number(found.grams_per_kg)} g per kg"
        if found.grams is not None:
            amount = _grams(found.grams)
            if found.grams_low is not None and found.grams_high is not None:
                amount += f" (between {_grams(found.grams_low)} and {_grams(found.grams_high)})"
        batch = f" to a batch of {mass_text(found.batch_g)}" if found.batch_g else ""
        kind = "" if found.basis == "titration" else "ESTIMATE. "
        yield (
            f"{kind}From pH {number(found.start_ph or 0)} to {number(found.target_ph or 0)}: add "
            f"{amount} of {what}{batch}, in {len(found.additions)} steps."
        )


def _grams(grams: float) -> str:
    """Grams to weigh, to three figures: no scale and no titration gives more."""
    return mass_text(float(f"{grams:.3g}"))
