"""How much food for microbes is there, and what stands in their way besides the preservative?

What is judged: dry nutrients (gums, proteins, plant solids, sugars), raw materials that arrive
unpreserved or with spores, and an open jar, against further hurdles: a chelator (0.05 % or more, at
a pH at which it acts), a pH of 5 or below (4 or below counts twice), a water activity of 0.95 or
below, and a dose in the upper half of the usage range.

    load       low: under 0.2 % nutrients; medium: 0.2 to 1 %; high: above 1 %, or 5 % and more of
               an unpreserved plant gel, infusion or juice, or of clay, or 20 % of a juice that is
               sold preserved; a jar counts as one step more
    fault      high load without any hurdle; in a jar also where the dose is the only one (serious)
    warning    high load with fewer than two hurdles, or medium load with none
    pass       enough hurdles, or microbes cannot grow: too little free water, a pH surely below 3
               or above 10, 20 % of alcohol and more

Why: the more food and handling, the more has to stand in the way. The dose is the preservative
itself: it does not count as a second hurdle where the load is high and the jar is open. Clay is no
food, but it brings spores. The weights and lines are judgement (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.substances import NUTRIENT_WEIGHTS
from preservecheck.arrays.tables import TableArrays
from preservecheck.checks.base import EPSILON, Check, Explanation, Figures, KeyFigure
from preservecheck.chemistry.summation import weighed_sum
from preservecheck.text import join_and, join_or, number
from preservecheck.verdict import PASS, SERIOUS, WARN, Codes, Evidence, Floats, code_where, figure

# judgement of this program, common practice, no source
WEIGHTS = NUTRIENT_WEIGHTS
MEDIUM_PERCENT, HIGH_PERCENT, UNPRESERVED_PERCENT = 0.2, 1.0, 5.0
CHELATOR_PERCENT, LOW_PH, VERY_LOW_PH, LOW_AW = 0.05, 5.0, 4.0, 0.95
HIGH_LOAD, HIGH_LOAD_IN_JAR = 2, 3
SURFACTANTS = (
    "anionic surfactant",
    "amphoteric surfactant",
    "cationic surfactant",
    "nonionic surfactant",
)
# juices that are sold preserved, for the juice alone
JUICE_PERCENT = 20.0
HURDLES, ENOUGH_HURDLES = 4, 2
# what is mostly water when it is weighed: a gel, an infusion, a juice
MOSTLY_WATER = 0.5
CUSTOM = Evidence(what="hurdles and lines", said="common practice, no source")


def compute(case: FormulaArrays) -> Figures:
    """Load and hurdles. (..., 1) each"""
    c = case.reference
    nutrient = weighed_sum(case.amount, _food(c))
    wet = c.water_fraction > MOSTLY_WATER
    unpreserved = weighed_sum(case.amount, (c.tag("unpreserved") & wet) | c.tag("clay"))
    juice = weighed_sum(case.amount, c.role("botanical") & c.tag("brings-own-preservative") & wet)
    jar = np.array([p.package == "jar" for p in case.profiles])[case.profile]
    low, high = (
        case.system_values(c.systems.column(n)) for n in ("usage_min_percent", "usage_max_percent")
    )
    upper = (case.system_percent >= (low + high) / 2 - EPSILON).any(axis=-1)
    chelator = weighed_sum(case.amount, c.role("chelator"))
    aw, _, _ = case.aw
    load = np.where(nutrient > MEDIUM_PERCENT, 1, 0) + np.where(nutrient > HIGH_PERCENT, 1, 0)
    raw = (unpreserved >= UNPRESERVED_PERCENT) | (juice >= JUICE_PERCENT)
    load = np.where(raw, HIGH_LOAD, load) + jar
    acting = chelator - case.idle_chelator_pct >= CHELATOR_PERCENT - EPSILON
    acid = (case.ph <= LOW_PH + EPSILON).astype(int) + (case.ph <= VERY_LOW_PH + EPSILON)
    besides = acting.astype(int) + acid + (aw <= LOW_AW)
    counted = upper & (load < HIGH_LOAD_IN_JAR)
    arrays = {
        "nutrient_percent": nutrient,
        "unpreserved_percent": unpreserved,
        "jar": jar,
        "load": load,
        "food": load - jar,
        "besides": besides,
        "hurdles": besides + counted,
        "upper_dose": upper,
        "chelator_percent": chelator,
        "chelator_acts": acting,
        "ph": case.ph,
        "water_activity": aw,
        "dry": case.dry,
        "low_risk": case.low_risk,
    }
    shape = np.broadcast_shapes(*(np.shape(a) for a in arrays.values()))
    return {
        n: np.broadcast_to(np.asarray(a, dtype=float), shape)[..., None] for n, a in arrays.items()
    }


def _food(reference: TableArrays) -> Floats:
    """Dry nutrient per gram: clays and surfactants are none. [g/g] (K,)"""
    return reference.nutrient * ~(reference.tag("clay") | reference.role(*SURFACTANTS))


def judge(figures: Figures) -> Codes:
    """One code per case. (..., 1)"""
    load, hurdles = figures["load"], figures["hurdles"]
    return code_where(
        ((figures["dry"] > 0) | (figures["low_risk"] > 0), PASS),
        ((load >= HIGH_LOAD_IN_JAR) & (figures["besides"] == 0), SERIOUS),
        ((figures["food"] >= HIGH_LOAD) & (hurdles == 0), SERIOUS),
        ((load >= HIGH_LOAD) & (hurdles < ENOUGH_HURDLES), WARN),
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
        figure("hurdles", values["hurdles"], f"of {HURDLES}"),
    )
    share = _food(c) * case.amount[0]
    food = [c.names[i] for i in np.argsort(-share)[:3] if share[i] > 0.02]
    spores = c.tag("clay") & (case.amount[0] >= UNPRESERVED_PERCENT / 2)
    food += [c.names[i] for i in np.flatnonzero(spores) if c.names[i] not in food]
    level = ("low", "medium", "high", "high")[int(values["load"])]
    named = f" ({join_and(food)})" if food else ""
    jar = ", in an open jar" if values["jar"] else ""
    missing = list(_missing(case, values))
    because = (
        f"The load of food and spores is {level}: {number(values['nutrient_percent'], 2)} % "
        f"nutrients{named}"
        f"{jar}; {int(values['hurdles'])} of {HURDLES} further hurdles stand against it."
    )
    if values["dry"]:
        because = (
            "There is too little free water for microbes to grow, so food for them does not count."
        )
    elif values["low_risk"]:
        because = (
            "The alcohol or the pH alone keeps microbes from growing, so food for them does not "
            "count."
        )
    do = f"Set more hurdles: {join_or(missing)}." if missing and code != PASS else None
    return Explanation("formula", figures, because, do, (CUSTOM,))


def _missing(case: FormulaArrays, values: Mapping[str, float]) -> Iterator[str]:
    """Hurdles that are not there yet and that this formula bears."""
    if not values["upper_dose"] and values["load"] < HIGH_LOAD_IN_JAR:
        yield "dose in the upper half of its range"
    if values["chelator_percent"] < CHELATOR_PERCENT:
        yield (
            "add 0.1 % of a chelator such as Sodium Phytate or Disodium EDTA (check the "
            "incompatibilities)"
        )
    elif not values["chelator_acts"]:
        yield "take a chelator that acts at this pH"
    if not values["ph"] <= LOW_PH + EPSILON and case.product_ph.material_low[0] <= LOW_PH:
        yield "bring the pH to 5 or below"
    if values["jar"]:
        yield "use a pump or tube instead of a jar"


CHECK = Check(
    id="nutrient-load",
    key=KeyFigure("nutrient_percent", "% of the formula, dry"),
    compute=compute,
    judge=judge,
    explain=explain,
    by_trial=True,
    tables={
        "systems": ("usage_min_percent", "usage_max_percent"),
        "ingredients": (),
        "solutes": (),
    },
    tolerances=("ph", "water_activity"),
    levers={"chelator": WARN},
    by_dose=True,
)
