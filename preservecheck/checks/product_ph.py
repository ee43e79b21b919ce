"""Does the pH suit the product and its raw materials?

What is judged: the measured pH with its tolerance against the customary window of the product, and
against the edges beyond which a raw material breaks (soap, soap emulsifiers, carbomer, esterquats
and other esters). Where what the materials stand lies wholly outside the custom, it takes the
custom's place.

    warning    all of pH ± tolerance lies outside the custom; or it is beyond an edge at
               which something breaks, or the tolerance reaches over it
    unknown    the pH was not measured
    pass       inside; or there is no water, or too little for microbes to grow, and the pH is no
               lever

Why: hair and scalp take an acid product best, and some materials fall apart outside their window:
esterquats above pH 5, carbomer gels below 5.5, soap below 9. Edges of thickness or feel (linseed
gel, quats) yield to the preservative and are not judged. Windows of product types are common
practice.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

import numpy as np

from preservecheck.arrays.formulas import TRACE_PERCENT, FormulaArrays, customary_ph
from preservecheck.arrays.stability import BREAKS
from preservecheck.checks.base import Check, Explanation, Figures, KeyFigure, above, below
from preservecheck.checks.incompatibilities import broken_by_ph
from preservecheck.checks.ph_range import ABOVE, BELOW, beyond_effective
from preservecheck.text import number
from preservecheck.verdict import PASS, UNKNOWN, WARN, Codes, Evidence, code_where, figure


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
        "dry": case.dry,
    }
    return {n: np.asarray(a, dtype=float)[..., None] for n, a in arrays.items()}


def judge(figures: Figures) -> Codes:
    """One code per case. (..., 1)"""
    ph, tolerance = figures["ph"], figures["ph_tolerance"]
    uncustomary = below(ph + tolerance, figures["ph_min"]) | above(
        ph - tolerance, figures["ph_max"]
    )
    breaks = below(ph - tolerance, figures["material_min"]) | above(
        ph + tolerance, figures["material_max"]
    )
    return code_where(
        (figures["dry"] > 0, PASS),
        (np.isnan(ph), UNKNOWN),
        (uncustomary | breaks, WARN),
        otherwise=PASS,
    )


def explain(case: FormulaArrays, values: Mapping[str, float], j: int, code: int) -> Explanation:
    """Words for the formula."""
    c, profile = case.reference, case.profiles[int(case.profile[0])]
    row = case.kind_of() or customary_ph(c.tables, profile.type, profile.use)
    product = f"{profile.type} ({profile.use})" if (kind := case.kind_of()) is None else kind.name
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
    hurt = list(_broken(case))
    evidence = (
        *((c.tables.evidence(row),) if row is not None else ()),
        *(edge.evidence for edge in hurt),
    )
    reading = f"pH {number(ph)} ± {number(tolerance)}"
    custom = f"the customary {number(low)} to {number(high)} for this kind of product ({product})"
    if values["apart"]:
        custom = f"what its raw materials bear ({_span(low, high)})"
    if values["dry"]:
        because = (
            "There is no water in it, so there is no pH to judge."
            if case.water_pct[0] <= 0
            else "There is too little free water for microbes, and the pH is no lever here."
        )
        return Explanation("formula", figures, because)
    if code == UNKNOWN:
        return Explanation(
            "formula",
            figures,
            f"The pH was not measured; the custom is {number(low)} to {number(high)}.",
            "Measure the pH of the finished batch at 20 to 25 °C and write it into the formula as "
            "the measured pH.",
            evidence,
            causes=beyond_effective(case),
        )
    if code == PASS:
        clear = not (below(ph - tolerance, low) or above(ph + tolerance, high))
        text = (
            f"{reading} lies {'inside' if clear else 'at the edge of'} {custom}"
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
    if below(ph + tolerance, low) or above(ph - tolerance, high):
        reasons.append(f"{reading} is outside {custom}")
    reasons += [f"{edge.name} wants {_span(edge.low, edge.high)}: {edge.why}" for edge in hurt[:4]]
    best_low, best_high = (
        np.nanmax([low, values["material_min"]]),
        np.nanmin([high, values["material_max"]]),
    )
    do = (
        f"Aim for pH {number(best_low)} to {number(best_high)}."
        if best_low < best_high
        else "No pH suits all of them: change one of the materials named here."
    )
    because = "; ".join(reasons) + "."
    too_high = above(ph - tolerance, high) or any(above(ph + tolerance, edge.high) for edge in hurt)
    causes = (*beyond_effective(case, ABOVE if too_high else BELOW), *broken_by_ph(case))
    return Explanation("formula", figures, because, do, evidence, causes=causes)


class _Edge(NamedTuple):
    """What breaks, between which pH values it does not, and how it breaks."""

    name: str
    low: float
    high: float
    why: str
    evidence: Evidence


def _broken(case: FormulaArrays) -> Iterator[_Edge]:
    """Materials of the first formula that the pH, or its tolerance, breaks."""
    c = case.reference
    low, high = case.ph[0] - case.ph_tolerance[0], case.ph[0] + case.ph_tolerance[0]

    def outside(edges: tuple[float, float]) -> bool:
        return bool(below(low, edges[0]) or above(high, edges[1]))

    for w, edges in enumerate(zip(*c.stability.edges(BREAKS), strict=True)):
        if case.windows[0, w] and outside(edges):
            row = c.stability.rows[w]
            yield _Edge(row.name, *edges, row.what_happens, c.tables.evidence(row, row.name))
    for k, edges in enumerate(zip(*c.own_stable_ph, strict=True)):
        if case.amount[0, k] >= TRACE_PERCENT and outside(edges):
            name = c.names[k]
            evidence = c.tables.evidence(c.rows[name], name)
            yield _Edge(name, *edges, "its own row says so", evidence)


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
    by_trial=True,
    tables=dict.fromkeys(
        ("ingredients", "product_ph", "product_kinds", "stability_windows", "systems"), ()
    ),
    tolerances=("ph",),
    plots=("ph",),
)
