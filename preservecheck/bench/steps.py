"""What the batch sheet says beside the weights: temperatures, the moment of the preservative, the
pH, the handling."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.assess import advice
from preservecheck.assess.review import Report
from preservecheck.checks import with_lever
from preservecheck.formula.compose import Composition
from preservecheck.text import number
from preservecheck.units import duration_text, temperature_text

# a pH reading is taken at room temperature; common practice
ROOM_C = "20 to 25 °C (68 to 77 °F)"


def too_coarse(exact: float, step: float | None, preservative: bool) -> str | None:
    """What to do where the scale cannot weigh a line; of what is no preservative only where it is
    far off."""
    if exact <= 0 or step is None:
        return None
    error = 100 * step / exact
    coarse, serious = next(check.lines for check in with_lever("scale") if check.lines)
    if error <= (coarse if preservative else serious):
        return None
    word = "cannot weigh this" if error > serious else "is coarse for this"
    return f"the scale {word}: its step is {number(error, 2)} % of {number(exact, 4)} g"


def steps_of(
    composition: Composition, case: FormulaArrays, report: Report, at: int
) -> tuple[list[str], list[str], str | None]:
    """What to do in a phase, what to read, and what speaks against it."""
    phase = composition.formula.phases[at]
    steps, reads = [], []
    if phase.heated_to_c is not None:
        held = f", hold {duration_text(phase.held_min)}" if phase.held_min else ""
        steps.append(f"Heat to {temperature_text(phase.heated_to_c)}{held}")
        reads += ["hottest °C", "held from", "to"]
    windows = list(gate_windows(composition, case, at))
    if phase.added_at_c is not None and not windows:
        steps.append(f"Add when the batch is at {temperature_text(phase.added_at_c)} or cooler")
    for name, below, limit in windows:
        planned = phase.added_at_c if phase.added_at_c is not None else phase.heated_to_c
        plan = f"; planned {temperature_text(planned)}" if planned is not None else ""
        lid = f" (its limit is {temperature_text(limit)})" if limit != below else ""
        steps.append(
            f"{name}: in only when the thermometer shows {temperature_text(below)} or "
            f"less{lid}{plan}"
        )
    if phase.added_at_c is not None or windows:
        reads += ["batch at °C", "clock"]
    hot = [
        f
        for f in report.checks
        if f.id in {check.id for check in with_lever("temperature")}
        and f.verdict != "pass"
        and f.parts[0] in {name for name, _, _ in windows}
    ]
    warning = " ".join(f"{f.because} {f.do or ''}".strip() for f in hot[:1]) or None
    return steps, reads, warning


def gate_windows(
    composition: Composition, case: FormulaArrays, at: int
) -> Iterable[tuple[str, float, float]]:
    """For each preservative part of a phase: its name, the highest reading at which it may go in,
    its heat limit. [°C]

    The reading is the lower of heat limit and preferred temperature, less the error of the
    thermometer.
    """
    error = float(case.temperature_tolerance_c[0])
    for addition, part in case.parts_added():
        if composition.additions[addition].phase == at and part.heat_limit_c is not None:
            yield part.name, part.below_c - error, part.heat_limit_c


def ph_steps(case: FormulaArrays) -> Iterable[str]:
    """The window for the pH, and how to get there."""
    low, high = _ph_window(case)
    tolerance = float(case.ph_tolerance[0])
    if np.isnan(low):
        yield "No pH window is known for this formula; write the reading down."
    elif low > high:
        yield (
            "No pH suits the preservative and every raw material at once: the review says what "
            "is in the way."
        )
    else:
        wanted = f"pH {number(low)} to {number(high)}"
        inner = (
            f" (aim for {number(low + tolerance)} to {number(high - tolerance)}: the meter is "
            "good to ± "
            f"{number(tolerance)})"
            if low + 2 * tolerance <= high
            else ""
        )
        yield f"Wanted: {wanted}{inner}."
    yield f"Cool a sample to {ROOM_C}, read the pH of the finished batch, write it down."
    yield (
        "Outside? Dissolve the acid or base first, add a little, stir five minutes, read again. "
        "How much: titrate a "
        "weighed sample and have it worked out ('preservecheck adjust', or “At the bench” on the "
        "page). Write down "
        "every step."
    )


def _ph_window(case: FormulaArrays) -> tuple[float, float]:
    """Where the ranges of preservatives, product and raw materials overlap; not-a-number where none
    is known."""
    (lows, highs), custom = case.effective_ph, case.product_ph
    low = np.concatenate([lows[0], custom.low[:1], custom.material_low[:1]])
    high = np.concatenate([highs[0], custom.high[:1], custom.material_high[:1]])
    low, high = low[np.isfinite(low)], high[np.isfinite(high)]
    return (
        (float(low.max()), float(high.min()))
        if low.size and high.size
        else (float("nan"), float("nan"))
    )


def handling(case: FormulaArrays) -> Iterable[str]:
    """How to handle what is on this sheet: the rows about these materials first, then those for
    every batch."""
    keys = advice.keys_of(case)
    rows = [
        r
        for r in case.reference.tables.cautions
        if r.about == "handling"
        and not keys.isdisjoint(r.when)
        and (not r.and_when or not keys.isdisjoint(r.and_when))
    ]
    yield from (r.text for r in sorted(rows, key=lambda r: "always" in r.when))
