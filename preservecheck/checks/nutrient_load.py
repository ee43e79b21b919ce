"""How much food for microbes is there, and what stands in their way besides the preservative?

What is judged: dry nutrients (gums, proteins, plant solids, sugars), raw materials that arrive
unpreserved or with spores, and an open jar, against four further hurdles: a dose in the upper half
of the usage range, a chelator (0.05 % or more), a pH of 5 or below, and a water activity of 0.95 or
below.

    load       low: under 0.2 % nutrients; medium: 0.2 to 1 %; high: above 1 %, or 5 % and more of
               an unpreserved plant
               gel, infusion or juice; a jar counts as one step more
    fault      high load and no second hurdle (serious)
    warning    high load with one further hurdle (in a jar: with one or two), or medium load with
               none
    pass       enough hurdles, or too little free water for growth

Why: the more food and handling, the more has to stand in the way. The weights and lines are
judgement (common practice, no source): gels and infusions want the top of the dose range, a
chelator, a pH below 5 and a pump or tube.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.substances import NUTRIENT_WEIGHTS
from preservecheck.checks.base import Check, Explanation, Figures, KeyFigure
from preservecheck.chemistry.summation import weighed_sum
from preservecheck.text import join_and, join_or, number
from preservecheck.verdict import PASS, SERIOUS, WARN, Codes, Evidence, code_where, figure

# judgement of this program, common practice, no source
WEIGHTS = NUTRIENT_WEIGHTS
MEDIUM_PERCENT, HIGH_PERCENT, UNPRESERVED_PERCENT = 0.2, 1.0, 5.0
CHELATOR_PERCENT, LOW_PH, LOW_AW = 0.05, 5.0, 0.95
ENOUGH_HURDLES = 2
CUSTOM = Evidence(what="hurdles and lines", said="common practice, no source")


def compute(case: FormulaArrays) -> Figures:
    """Load and hurdles. (..., 1) each"""
    c = case.reference
    nutrient = weighed_sum(case.amount, c.nutrient)
    unpreserved = weighed_sum(case.amount, c.tag("unpreserved") & (c.water_fraction > 0.5))
    jar = np.array([p.package == "jar" for p in case.profiles])[case.profile]
    low, high = (
        case.system_values(c.systems.column(n)) for n in ("usage_min_percent", "usage_max_percent")
    )
    upper = (case.system_percent >= (low + high) / 2 - 1e-9).any(axis=-1)
    chelator = weighed_sum(case.amount, c.role("chelator"))
    aw, _, _ = case.aw
    hurdles = (
        upper.astype(int)
        + (chelator >= CHELATOR_PERCENT)
        + (case.ph <= LOW_PH + 1e-9)
        + (aw <= LOW_AW)
    )
    load = np.where(nutrient > MEDIUM_PERCENT, 1, 0) + np.where(
        (nutrient > HIGH_PERCENT) | (unpreserved >= UNPRESERVED_PERCENT), 1, 0
    )
    load = np.maximum(load, np.where(unpreserved >= UNPRESERVED_PERCENT, 2, 0)) + jar
    shape = np.broadcast_shapes(load.shape, hurdles.shape)
    arrays = {
        "nutrient_percent": nutrient,
        "unpreserved_percent": unpreserved,
        "jar": jar,
        "load": load,
        "hurdles": hurdles,
        "upper_dose": upper,
        "chelator_percent": chelator,
        "ph": case.ph,
        "water_activity": aw,
        "dry": case.dry,
    }
    return {
        n: np.broadcast_to(np.asarray(a, dtype=float), shape)[..., None] for n, a in arrays.items()
    }


def judge(figures: Figures) -> Codes:
    """One code per case. (..., 1)"""
    load, hurdles = figures["load"], figures["hurdles"]
    high = load >= 2
    enough = np.where(load > 2, ENOUGH_HURDLES + 1, ENOUGH_HURDLES)
    return code_where(
        (figures["dry"] > 0, PASS),
        (high & (hurdles == 0), SERIOUS),
        (high & (hurdles < enough), WARN),
        ((load == 1) & (hurdles == 0), WARN),
        otherwise=PASS,
    )


def explain(case: FormulaArrays, values: Mapping[str, float], j: int, code: int) -> Explanation:
    """Words for the formula."""
    c = case.reference
    figures = (
        figure("nutrient_percent", values["nutrient_percent"], "% of the formula, dry"),
        figure("unpreserved_percent", values["unpreserved_percent"], "% of the formula"),
        figure("chelator_percent", values["chelator_percent"], "% of the formula"),
        figure("hurdles", values["hurdles"], "of 4"),
    )
    share = c.nutrient * case.amount[0]
    food = [c.names[i] for i in np.argsort(-share)[:3] if share[i] > 0.02]
    level = ("low", "medium", "high", "high")[int(values["load"])]
    named = f" ({join_and(food)})" if food else ""
    jar = ", in an open jar" if values["jar"] else ""
    missing = []
    if not values["upper_dose"]:
        missing.append("dose in the upper half of its range")
    if values["chelator_percent"] < CHELATOR_PERCENT:
        missing.append(
            "add 0.1 % of a chelator such as Sodium Phytate or Disodium EDTA (check the "
            "incompatibilities)"
        )
    if not values["ph"] <= LOW_PH:
        missing.append("bring the pH to 5 or below")
    if values["jar"]:
        missing.append("use a pump or tube instead of a jar")
    because = (
        f"The load of food for microbes is {level}: {number(values['nutrient_percent'], 2)} % "
        f"nutrients{named}"
        f"{jar}; {int(values['hurdles'])} of 4 further hurdles stand against it."
    )
    if values["dry"]:
        because = (
            "There is too little free water for microbes to grow, so food for them does not count."
        )
    do = None if code == PASS else f"Set more hurdles: {join_or(missing)}." if missing else None
    return Explanation("formula", figures, because, do, (CUSTOM,))


CHECK = Check(
    id="nutrient-load",
    key=KeyFigure("nutrient_percent", "% of the formula, dry"),
    compute=compute,
    judge=judge,
    explain=explain,
    tables={
        "systems": ("usage_min_percent", "usage_max_percent"),
        "ingredients": (),
        "solutes": (),
    },
    tolerances=("ph", "water_activity"),
)
