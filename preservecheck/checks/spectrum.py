"""Is there something against each kind of microbe?

What is judged: gram-positive bacteria, gram-negative bacteria, yeasts and moulds. Where the check
free-active has a sum for every microbe of a group, that decides; only where it has none, the best
rating among the systems in the formula does.

    fault      free-active finds a microbe of the group not held back at all, or no system does
               anything against the group (serious)
    warning    the best rating is weak, and there is no sum; or the water activity may be too low
               for growth after all
    unknown    a single active without ratings is the only one that might close a gap
    pass       every group has something against it, if only thinly: how thinly, free-active says

Why: a gap is where the product spoils. The ratings are the trade's and know nothing of this formula
and its pH.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from preservecheck.arrays.forms import MICROBES
from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.systems import GROUPS
from preservecheck.checks import free_active, water_activity
from preservecheck.checks.base import Cause, Check, Explanation, Figures, KeyFigure
from preservecheck.errors import Hint
from preservecheck.text import join_and, join_or
from preservecheck.verdict import PASS, SERIOUS, UNKNOWN, WARN, Codes, Floats, code_where, figure

UNIT = "0 none, 1 weak, 2 moderate, 3 strong"
NAMES = {
    "gram_positive": "gram-positive bacteria",
    "gram_negative": "gram-negative bacteria",
    "yeast": "yeasts",
    "mould": "moulds",
}
MICROBES_OF = {
    "gram_positive": ("Staphylococcus aureus",),
    "gram_negative": ("Pseudomonas aeruginosa", "Escherichia coli"),
    "yeast": ("Candida albicans",),
    "mould": ("Aspergillus brasiliensis",),
}
# tags of what protects oils or smells clean, and holds no microbe back in a cream
NO_PRESERVATIVES = ("essential-oil", "antioxidant", "weak-antimicrobial")
RATING_WORDS = ("none", "weak", "moderate", "strong")
MODERATE, WEAK = 2, 1


def compute(case: FormulaArrays) -> Figures:
    """Best rating against each group, and the lowest; 0 none to 3 strong; and the worst verdict of
    free-active on each group, not-a-number where it has none. (..., 1) each"""
    rating = np.take(
        case.reference.systems.ratings, np.maximum(case.system, 0), axis=0
    )  # (..., P, 4)
    present = case.has_system[..., None]
    best = np.where(present & ~np.isnan(rating), rating, 0.0).max(axis=-2)
    unrated = np.asarray((present & np.isnan(rating)).any(axis=-2))
    out = {group: best[..., i, None] for i, group in enumerate(GROUPS)}
    lowest, open_ = best.min(axis=-1), (unrated & (best < MODERATE)).any(axis=-1)
    # where a group is open, only a gap that is sure says how weak the weakest is
    sure = np.where(unrated, np.inf, best).min(axis=-1)
    out["weakest"] = np.where(open_, np.where(sure <= WEAK, sure, np.nan), lowest)[..., None]
    out |= {"dry": case.dry[..., None], "maybe_low_risk": case.maybe_low_risk[..., None]}
    out |= {f"{group}_unrated": unrated[..., i, None] for i, group in enumerate(GROUPS)}
    free = free_active.CHECK.judge(free_active.CHECK.compute(case))
    nothing = ~case.has_system.any(axis=-1)
    for group in GROUPS:
        codes = free[..., [MICROBES.index(microbe) for microbe in MICROBES_OF[group]]]
        known = (codes != UNKNOWN).all(axis=-1) & ~nothing
        out[f"{group}_free"] = np.where(known, codes.max(axis=-1), np.nan)[..., None]
    return out


def judge(figures: Figures) -> Codes:
    """One code per case. (..., 1)"""
    shape = np.broadcast_shapes(
        *(figures[f"{g}{end}"].shape for g in GROUPS for end in ("", "_free"))
    )

    def stacked(end: str) -> Floats:
        return np.stack([np.broadcast_to(figures[f"{g}{end}"], shape) for g in GROUPS])

    best, free = stacked(""), stacked("_free")
    unrated, known = stacked("_unrated").astype(bool), ~np.isnan(free)
    open_ = known & (free == SERIOUS)
    none = (open_ | (~known & (best == 0) & ~unrated)).any(axis=0)
    return code_where(
        (figures["dry"].astype(bool), PASS),
        (none & figures["maybe_low_risk"].astype(bool), WARN),
        (none, SERIOUS),
        ((~known & (best == WEAK) & ~unrated).any(axis=0), WARN),
        ((~known & (best < MODERATE) & unrated).any(axis=0), UNKNOWN),
        otherwise=PASS,
    )


def _partners(case: FormulaArrays, gaps: list[str]) -> list[str]:
    """Partners named by the systems here that are moderate or better against the gaps."""
    c = case.reference
    every = {s.id: s for s in c.tables.systems}
    named = dict.fromkeys(
        p for i in case.system[0] if i >= 0 for p in c.systems.rows[i].partners if p in every
    )
    return [p for p in named if all(getattr(every[p], g) in ("moderate", "strong") for g in gaps)][
        :3
    ]


def _taken_for_one(case: FormulaArrays) -> str:
    """That what makers take for a preservative is none, where something of the kind is in it."""
    c = case.reference
    here = [c.names[k] for k in np.flatnonzero(c.tag(*NO_PRESERVATIVES) & (case.amount[0] > 0))]
    verb = "is" if len(here) == 1 else "are"
    return f" {join_and(here[:4])} {verb} none." if here else ""


def explain(case: FormulaArrays, values: Mapping[str, float], j: int, code: int) -> Explanation:
    """Words for the formula."""
    figures = tuple(figure(name, values[name], UNIT) for name in ("weakest", *GROUPS))
    systems = [case.reference.systems.rows[i] for i in case.system[0] if i >= 0]
    free = {g: values[f"{g}_free"] for g in GROUPS}
    rated = [g for g in GROUPS if np.isnan(free[g])]
    gaps = [NAMES[g] for g in rated if values[g] == 0 and not values[f"{g}_unrated"]]
    short = [g for g in GROUPS if free[g] == SERIOUS]
    weak = [NAMES[g] for g in rated if values[g] == WEAK]
    words = ", ".join(f"{NAMES[g]} {RATING_WORDS[int(values[g])]}" for g in rated)
    partners = _partners(case, [g for g in rated if values[g] <= WEAK] + short)
    do = None
    if values["dry"]:
        because = "There is too little free water for microbes to grow; no spectrum is asked for."
    elif not systems:
        because = "There is no preservative system in it." + _taken_for_one(case)
        do = "Choose one that fits this formula."
    elif code == PASS:
        because = (
            "The free amounts reach every kind of microbe."
            if not rated
            else f"Best rating of what is in it where no free amount is known: {words}."
        )
    elif short and not gaps:
        named = join_and([NAMES[g] for g in short])
        because = f"What is free in the water does not hold {named} at this dose and pH."
        do = "Mend what free-active names, or pair it with another system."
    elif code == UNKNOWN:
        because = (
            "No ratings are known for "
            f"{join_and([s.id for s in systems if s.mould is None])}; otherwise {words}."
        )
        do = "Let a challenge test decide, or add a system whose spectrum is known."
    else:
        because = (
            f"Nothing in it acts against {join_and(gaps)}."
            if gaps
            else f"It is only weak against {join_and(weak)}."
        )
        do = f"Pair it with a partner for {join_and(gaps or weak)}" + (
            f", such as {join_or(partners)}." if partners else "."
        )
    evidence = tuple(case.reference.tables.evidence(s) for s in systems)
    hint = None if systems or values["dry"] else Hint.RANK_SYSTEMS
    none_there = () if systems else (Cause(water_activity.CHECK.id, "formula"),)
    causes = none_there or tuple(
        Cause(free_active.CHECK.id, microbe) for g in short for microbe in MICROBES_OF[g]
    )
    return Explanation("formula", figures, because, do, evidence, hint=hint, causes=causes)


CHECK = Check(
    id="spectrum",
    key=KeyFigure("weakest", UNIT),
    compute=compute,
    judge=judge,
    explain=explain,
    by_trial=True,
    tables=dict(free_active.CHECK.tables) | {"systems": GROUPS},
    must_pass=True,
    levers={"partner": SERIOUS},
    plots=("microbes",),
    against="ph",
    by_dose=True,
)
