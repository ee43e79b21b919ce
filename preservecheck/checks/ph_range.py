"""Is the measured pH inside the range in which the preservative works?

What is judged: for each system, the measured pH with its tolerance against the system's effective
range.

    fault      the whole of pH ± tolerance lies outside the range (serious)
    warning    part of it lies outside: too close to call
    unknown    the pH was not measured

Why: weak acids lose their working form above their range, others fall apart outside it. Use ± 0.1
with a meter that was calibrated the same day, ± 0.5 with strips, ± 0.3 when the sample was diluted
(common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.checks.base import (
    Cause,
    Check,
    Explanation,
    Figures,
    KeyFigure,
    about_system,
    above,
    below,
)
from preservecheck.text import number
from preservecheck.verdict import ABSENT, PASS, SERIOUS, UNKNOWN, WARN, Codes, code_where, figure

ABOVE, BELOW = 1, -1


def compute(case: FormulaArrays) -> Figures:
    """Measured pH and the range of each system. (..., P)"""
    ph, (low, high) = case.ph[..., None], case.effective_ph
    return {
        "ph": ph,
        "ph_tolerance": case.ph_tolerance[..., None],
        "ph_min": low,
        "ph_max": high,
        "criticality": np.maximum(low - ph, ph - high),
        "present": case.has_system,
    }


def judge(figures: Figures) -> Codes:
    """Codes per system. (..., P)"""
    low, high = figures["ph"] - figures["ph_tolerance"], figures["ph"] + figures["ph_tolerance"]
    unknown = np.isnan(figures["ph"]) | np.isnan(figures["ph_min"]) | np.isnan(figures["ph_max"])
    return code_where(
        (~figures["present"].astype(bool), ABSENT),
        (unknown, UNKNOWN),
        (below(high, figures["ph_min"]) | above(low, figures["ph_max"]), SERIOUS),
        (below(low, figures["ph_min"]) | above(high, figures["ph_max"]), WARN),
        otherwise=PASS,
    )


def explain(case: FormulaArrays, values: Mapping[str, float], j: int, code: int) -> Explanation:
    """Words for one system."""
    system = case.reference.systems.rows[int(case.system[0, j])]
    ph, tolerance, low, high = (
        values["ph"],
        values["ph_tolerance"],
        values["ph_min"],
        values["ph_max"],
    )
    figures = (
        figure("ph", ph, tolerance=tolerance),
        figure("ph_min", low),
        figure("ph_max", high),
    )
    span = f"{number(low)} to {number(high)}"
    reading = f"pH {number(ph)} ± {number(tolerance)}"
    do = None
    if code == UNKNOWN and np.isnan(ph):
        because = f"The pH was not measured; {system.id} works from pH {span}."
        do = (
            "Measure the pH of the finished batch at 20 to 25 °C and write it into the formula "
            "as the measured pH."
        )
    elif code == UNKNOWN:
        because = f"No effective pH range is known to these tables for {system.id}."
        do = (
            "Take the range from the supplier's data sheet and add it as a row of your own "
            "systems.csv."
        )
    elif code == PASS:
        because = f"{reading} lies inside {span}."
    elif code == WARN:
        because = f"{reading} reaches over the edge of {span}: too close to call."
        do = _move(ph, tolerance, low, high) + ", or measure more closely."
    else:
        because = f"{reading} lies outside {span}: the preservative does not do its work there."
        do = _move(ph, tolerance, low, high) + ", or choose a system that works at this pH."
    return Explanation(system.id, figures, because, do, (case.reference.tables.evidence(system),))


def beyond_effective(case: FormulaArrays, side: int = 0) -> tuple[Cause, ...]:
    """The findings of this check on systems of the first case that do not pass.

    Parameters
    ----------
    case
        One formula.
    side
        ``ABOVE`` or ``BELOW``: only where the pH lies, or may lie, on that side of the range.
    """
    figures = compute(case)
    codes = np.atleast_2d(judge(figures))[0]
    high = above(figures["ph"] + figures["ph_tolerance"], figures["ph_max"])[0]
    low = below(figures["ph"] - figures["ph_tolerance"], figures["ph_min"])[0]
    wanted = {0: codes > PASS, ABOVE: high, BELOW: low}[side] & (codes > PASS)
    rows = case.reference.systems.rows
    return tuple(Cause(CHECK.id, rows[int(case.system[0, p])].id) for p in np.flatnonzero(wanted))


def _move(ph: float, tolerance: float, low: float, high: float) -> str:
    if ph + tolerance > high:
        return f"Bring the pH down to {number(max(high - tolerance, low))} or a little lower"
    return f"Bring the pH up to {number(min(low + tolerance, high))} or a little higher"


CHECK = Check(
    id="ph-range",
    key=KeyFigure("ph", tolerance=lambda f: f["ph_tolerance"]),
    compute=compute,
    judge=judge,
    explain=explain,
    tables={"systems": ("ph_min", "ph_max"), "actives": (), "ingredients": ()},
    tolerances=("ph",),
    must_pass=True,
    levers={"ph": UNKNOWN},
    plots=("ph",),
    subject=about_system,
    against="ph",
    unanswered={
        WARN: "Read the pH once more with a fresh calibration; take a system with a wider range.",
        SERIOUS: "No pH suits it and the rest of the formula: take a system that works at this pH.",
    },
)
