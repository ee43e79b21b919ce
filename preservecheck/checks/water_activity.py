"""Can microbes grow here, and is there a preservative if they can?

What is judged: the water activity of the water phase, measured or estimated with its error, against
the growth limits of microbe groups.

    fault      microbes can grow and there is no preservative (serious)
    warning    boosters alone; the tolerance straddles the low-risk line of 0.75; an estimate
               between 0.70 and 0.80,
               which decides nothing: have it measured
    unknown    nothing was measured, and the estimate lies outside the range of its model
    pass       too dry for growth, or microbes can grow and a preservative is there (the other
               checks judge it)

How it is estimated: solutes per kg of water; uncharged ones pooled (Norrish), salts at the total
ionic strength (Pitzer), everything else as ideal particles; the three multiplied. Each solute
counts up to its solubility: what lies above is a solid and lowers nothing, and over a saturated
solution the tables' own figure stands. Oil, wax and powder do not count. The error is the scatter
measured on published solutions: about 0.003 above 0.97, 0.015 near 0.88, 0.03 below 0.85, doubled
outside the range of the constants. Where a concentration is more than 1.25 times that range and
the estimate is below 0.95, it decides nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from preservecheck.arrays.formulas import LOW_RISK_AW as LOW_RISK
from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.checks.base import EPSILON, Check, Explanation, Figures, KeyFigure
from preservecheck.chemistry.summation import weighed_sum
from preservecheck.errors import Hint
from preservecheck.reference.rows import GrowthLimit
from preservecheck.text import join_and, number
from preservecheck.verdict import (
    PASS,
    SERIOUS,
    UNKNOWN,
    WARN,
    Codes,
    Evidence,
    Figure,
    code_where,
    figure,
)

# fixed for this program, no outside source: an estimate in this band decides nothing
UNSURE = (0.70, 0.80)
# ISO 29621, low-risk criterion on pH
LOW_RISK_PH = (3.0, 10.0)
# boosters below this are there for another purpose; common practice, no source
BOOSTER_PERCENT = 0.3
# less is not worth a word [% of the formula]
LEAST_SOLID = 0.5
CITED_GROUPS = ("gram-negative", "yeast", "mould", "criterion")


def compute(case: FormulaArrays) -> Figures:
    """Water activity and whether something preserves. (..., 1)"""
    aw, tolerance, measured = case.aw
    boosters = weighed_sum(case.amount, case.reference.role("booster"))
    preserved = np.asarray((case.has_system & (case.system_percent > 0)).any(axis=-1))
    return {
        "water_activity": aw[..., None],
        "tolerance": tolerance[..., None],
        "measured": measured[..., None].astype(float),
        "beyond_model": case.aw_unknown[..., None].astype(float),
        # where alcohol or pH alone keep microbes from growing, the water activity decides nothing
        "moot": (case.low_risk & preserved)[..., None].astype(float),
        "water_percent": case.water_pct[..., None],
        "preserved": preserved[..., None].astype(float),
        "boosters_percent": boosters[..., None],
        "ph": case.ph[..., None],
        "ph_tolerance": case.ph_tolerance[..., None],
    }


def judge(figures: Figures) -> Codes:
    """One code per case. (..., 1)"""
    aw, tolerance = figures["water_activity"], figures["tolerance"]
    dry = (aw + tolerance < LOW_RISK) | (figures["water_percent"] <= EPSILON)
    preserved = figures["preserved"] > 0
    unsure = (figures["measured"] == 0) & (aw >= UNSURE[0]) & (aw <= UNSURE[1])
    straddles = (aw - tolerance < LOW_RISK) & ~dry
    extreme = (figures["ph"] + figures["ph_tolerance"] < LOW_RISK_PH[0]) | (
        figures["ph"] - figures["ph_tolerance"] > LOW_RISK_PH[1]
    )
    return code_where(
        (figures["moot"] > 0, PASS),
        (figures["beyond_model"] > 0, UNKNOWN),
        (unsure, WARN),
        (dry, PASS),
        (straddles, WARN),
        (preserved, PASS),
        (extreme | (figures["boosters_percent"] >= BOOSTER_PERCENT), WARN),
        otherwise=SERIOUS,
    )


def explain(case: FormulaArrays, values: Mapping[str, float], j: int, code: int) -> Explanation:
    """Words for the formula."""
    aw, tolerance, measured = values["water_activity"], values["tolerance"], values["measured"] > 0
    rows = [
        row
        for row in case.reference.tables.growth_limits
        if row.compare == "yes" and row.aw_min is not None
    ]
    figures = (
        figure("water_activity", aw, tolerance=tolerance),
        figure("low_risk_below", LOW_RISK),
        figure("water_percent", values["water_percent"], "% of the formula"),
        *_undissolved(case),
    )
    evidence = tuple(_evidence(case))
    if values["water_percent"] <= EPSILON:
        return Explanation(
            "formula",
            figures,
            "There is no water in it, so nothing can grow until water gets in.",
            "Keep it dry: a wet hand or drops under the lid undo this.",
            evidence,
        )
    reading = (
        f"Water activity {aw:.3f} ± {tolerance:.3f} ({'measured' if measured else 'estimated'})"
    )
    do = None
    growing = _growing(rows, aw)
    measure = (
        "Have the water activity measured (ask for a dew-point meter), and keep a "
        "preservative in it until then."
    )
    if code == UNKNOWN:
        because = (
            f"Water activity {aw:.2f} by estimate, from concentrations beyond what the model was "
            "checked for: it decides nothing."
        )
        do = measure
    elif code == WARN and not measured and UNSURE[0] <= aw <= UNSURE[1]:
        because = f"{reading}: an estimate between 0.70 and 0.80 decides nothing."
        do = measure
    elif aw + tolerance < LOW_RISK:
        because = f"{reading} is below the low-risk line of {LOW_RISK}" + (
            ": nothing grows."
            if not growing
            else f"; of the usual spoilers only {growing} still grow."
        )
        do = (
            None
            if values["preserved"]
            else "Water that gets in later (wet hands, drops under the lid) undoes this."
        )
    elif code == WARN and aw - tolerance < LOW_RISK:
        because = f"{reading} straddles the low-risk line of {LOW_RISK}: too close to call."
        do = measure
    elif code == PASS:
        because = f"{reading}: {growing} can grow, so it needs a preservative, and it has one."
    elif code == SERIOUS:
        because = f"{reading}: {growing} can grow and there is no preservative in it."
        do = "Do not fill it. Choose a preservative that fits this formula."
    elif values["boosters_percent"] >= BOOSTER_PERCENT:
        because = f"{reading}: {growing} can grow, and only boosters stand against them."
        do = (
            "Add a preservative system; boosters help one, they rarely replace it. Only a "
            "challenge test can tell."
        )
    else:
        because = (
            f"{reading}: {growing} could grow by water activity; the measured pH lies outside 3 "
            "to 10, which is a "
            "low-risk criterion by itself."
        )
        do = (
            "Make sure that the pH stays there for the product's whole life, or add a preservative."
        )
    for solid in figures[3:]:
        because += (
            f" {number(solid.value or 0, 3)} % of the formula is {solid.of} that does not dissolve "
            "and lowers nothing."
        )
    hint = Hint.RANK_SYSTEMS if code == SERIOUS else None
    return Explanation("formula", figures, because, do, evidence, hint=hint)


def _undissolved(case: FormulaArrays) -> Iterator[Figure]:
    """What does not dissolve, where the water activity is an estimate."""
    if not np.isnan(case.aw_measured[0]) or not case.water_pct[0] > 0:
        return
    solutes = case.reference.solutes
    rows = (*solutes.norrish_rows, *solutes.salt_rows)
    grams = case.solution.solid[0] * solutes.solubility[1] * case.water_pct[0] / 1000
    for j in np.flatnonzero(grams > LEAST_SOLID):
        yield figure("undissolved_percent", grams[j], "% of the formula", of=rows[j].inci)


def _growing(rows: list[GrowthLimit], aw: float) -> str:
    groups = {
        "gram-negative": "gram-negative bacteria",
        "gram-positive": "gram-positive bacteria",
        "yeast": "yeasts",
        "mould": "moulds",
    }
    return (
        join_and(
            [
                text
                for group, text in groups.items()
                if any(r.group == group and r.aw_min is not None and aw >= r.aw_min for r in rows)
            ]
        )
        if any(r.group in groups and r.aw_min is not None and aw >= r.aw_min for r in rows)
        else ""
    )


def _evidence(case: FormulaArrays) -> Iterator[Evidence]:
    """Growth limits and, for an estimate, solutes: those that count by themselves are cited."""
    c, tables = case.reference, case.reference.tables
    for limit in tables.growth_limits:
        if limit.compare == "yes":
            cited = limit.aw_min is not None and limit.group in CITED_GROUPS
            yield tables.evidence(limit) if cited else tables.used(limit)
    if not np.isnan(case.aw_measured[0]):
        return
    names = {c.names[k] for k in np.flatnonzero(case.amount[0] > 0)}
    counted = (*c.solutes.norrish_rows, *c.solutes.salt_rows)
    yield from (tables.evidence(s, s.inci) for s in counted if s.inci in names)
    inside = {inci for s in tables.solutes if s.inci in names for inci, _ in s.expand_to}
    for solute in tables.solutes:
        if solute.preferred == "yes" and solute.inci in names | inside:
            yield tables.used(solute)


CHECK = Check(
    id="water-activity",
    key=KeyFigure("water_activity", tolerance=lambda f: f["tolerance"]),
    compute=compute,
    judge=judge,
    explain=explain,
    tables={"ingredients": (), "solutes": (), "growth_limits": ()},
    tolerances=("water_activity",),
)
