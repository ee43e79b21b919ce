"""Does the pH suit the product and its raw materials?

What is judged: the measured pH with its tolerance against the customary window of the product type,
and against the stability windows of the raw materials in it (0.1 % and more; water and plant juices
apart). Where a material's window lies wholly outside the custom (a soap, a carbomer gel), the
material's window takes its place.

    warning    outside a window, or the tolerance reaches over its edge
    unknown    the pH was not measured
    pass       inside; or there is no water, and so no pH

Why: hair and scalp take an acid product best, and some materials fall apart outside their window:
esterquats above pH 5, carbomer gels below about 5, soap below 9. Windows of product types are
common practice.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from preservecheck.arrays.formulas import TRACE_PERCENT, FormulaArrays, customary_ph
from preservecheck.checks.base import Check, Explanation, Figures, KeyFigure, above, below
from preservecheck.text import join_and, number
from preservecheck.verdict import PASS, UNKNOWN, WARN, Codes, code_where, figure


def compute(case: FormulaArrays) -> Figures:
    """Measured pH, product window and the narrowest window of the materials. (..., 1)"""
    window = case.product_ph
    arrays = {
        "ph": case.ph,
        "ph_tolerance": case.ph_tolerance,
        "ph_min": window.low,
        "ph_max": window.high,
        "material_min": window.material_low,
        "material_max": window.material_high,
        "apart": window.apart,
        "dry": case.water_pct <= 0,
    }
    return {n: np.asarray(a, dtype=float)[..., None] for n, a in arrays.items()}


def judge(figures: Figures) -> Codes:
    """One code per case. (..., 1)"""
    ph, tolerance = figures["ph"], figures["ph_tolerance"]
    low, high = ph - tolerance, ph + tolerance
    outside = (
        below(low, figures["ph_min"])
        | above(high, figures["ph_max"])
        | below(low, figures["material_min"])
        | above(high, figures["material_max"])
    )
    return code_where(
        (figures["dry"] > 0, PASS), (np.isnan(ph), UNKNOWN), (outside, WARN), otherwise=PASS
    )


def explain(case: FormulaArrays, values: Mapping[str, float], j: int, code: int) -> Explanation:
    """Words for the formula."""
    c, profile = case.reference, case.profiles[int(case.profile[0])]
    row = customary_ph(c.tables, profile.type, profile.use)
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
        figure("material_min", values["material_min"]),
        figure("material_max", values["material_max"]),
    )
    mins, maxs = c.stable_ph
    counted = case.amount[0] >= TRACE_PERCENT
    hurt = [
        i
        for i in np.flatnonzero(counted)
        if ph - tolerance < mins[i] - 1e-9 or ph + tolerance > maxs[i] + 1e-9
    ]
    evidence = (
        *((c.tables.evidence(row),) if row is not None else ()),
        *(c.tables.evidence(c.rows[c.names[i]], c.names[i]) for i in hurt),
    )
    reading = f"pH {number(ph)} ± {number(tolerance)}"
    custom = f"the customary {number(low)} to {number(high)} of a {profile.type} ({profile.use})"
    if values["apart"]:
        custom = f"what its raw materials bear ({_span(low, high)})"
    if values["dry"]:
        return Explanation(
            "formula", figures, "There is no water in it, so there is no pH to judge.", None, ()
        )
    if code == UNKNOWN:
        return Explanation(
            "formula",
            figures,
            f"The pH was not measured; the custom is {number(low)} to {number(high)}.",
            "Measure the pH of the finished batch at 20 to 25 °C and write it into the formula as "
            "the measured pH.",
            evidence,
        )
    if code == PASS:
        text = (
            f"{reading} lies inside {custom}"
            if np.isfinite(low)
            else f"{reading} suits the raw materials"
        )
        return Explanation(
            "formula",
            figures,
            text + (" and suits its raw materials." if np.isfinite(low) else "."),
            None,
            evidence,
        )
    reasons = []
    if ph - tolerance < low - 1e-9 or ph + tolerance > high + 1e-9:
        reasons.append(f"{reading} is not clearly inside {custom}")
    if hurt:
        reasons.append(
            join_and([f"{c.names[i]} wants {_span(mins[i], maxs[i])}" for i in hurt[:4]])
        )
    best_low, best_high = (
        np.nanmax([low, values["material_min"]]),
        np.nanmin([high, values["material_max"]]),
    )
    do = (
        f"Aim for pH {number(best_low)} to {number(best_high)}."
        if best_low < best_high
        else "No pH suits all of them: change one of the materials named here."
    )
    return Explanation("formula", figures, "; ".join(reasons) + ".", do, evidence)


def _span(low: float, high: float) -> str:
    if np.isinf(low):
        return f"pH {number(high)} or lower"
    return (
        f"pH {number(low)} or higher" if np.isinf(high) else f"pH {number(low)} to {number(high)}"
    )


CHECK = Check(
    id="product-ph",
    key=KeyFigure("ph", tolerance=lambda f: f["ph_tolerance"]),
    compute=compute,
    judge=judge,
    explain=explain,
    tables={"ingredients": (), "product_ph": ()},
    tolerances=("ph",),
    plots=("ph",),
)
