"""Is enough of the preservative free, in its working form, in the water?

What is judged: for each microbe of the challenge tests, the sum over all actives (carried-in ones
included) of the free working concentration in the water phase over the lowest concentration known
to stop that microbe (MIC).

    fault      the sum is below 0.5 (serious)
    warning    the sum is below 1, or falls below 1 within the tolerance of the pH; or it is below
               0.5 only because an
               uptake was taken that nobody measured for that kind of oil or surfactant, or only if
               the water activity is not below 0.75 after all
    unknown    the pH was not measured, or an MIC is not known and the known part is below 1

Formula, per active, in % w/v of the water phase:

    free = C / (K phi + R + R_A (1 - f) / f)        never above its water solubility

C total over the water phase, K oil-water partition coefficient of the uncharged form, phi volume of
liquid oil over volume of water phase (summed over oil classes; waxes that are solid in the finished
product take up none), R = 1 + sum of k S over surfactants and polymers (S in % w/v of the water
phase), R_A the same for the ion, taken as 1, f share in working form: 1/(1 + 10^(pH - pKa')) for
acids, mirrored for bases, 1 for neutral molecules. pKa' is corrected for temperature (van 't Hoff)
and ionic strength (Davies). Cationic preservatives: the share that anionic surfactants and polymers
have not paired off.

K and k come from the tables where they were measured, otherwise from log P: vegetable oil log K =
0.869 log P - 0.759, mineral oil 0.92 log P - 2.90, ethoxylates log k = 0.755 log P - 1.844; each is
good to about a factor 2. Esters and liquid fatty alcohols take 2 and 3 times what vegetable oil
takes, silicones as much as mineral oil, other micelles as much as ethoxylates (assumptions). Uptake
by cationic surfactants is not known and not counted.

Limits: a screening estimate, no proof. MICs differ by a factor 2 to 4 between laboratories. Growth
held in broth for days is not killing in a cream. Proteins, clays and packs take up preservative
that this does not count.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from preservecheck.arrays.forms import MICROBES
from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.substances import BINDER_CLASSES
from preservecheck.arrays.uptake import RELATION_FACTOR
from preservecheck.checks import free_active_words as words
from preservecheck.checks.base import Explanation, Figures, KeyFigure, below
from preservecheck.text import join_and, number
from preservecheck.verdict import (
    PASS,
    SERIOUS,
    UNKNOWN,
    WARN,
    Bools,
    Codes,
    Floats,
    code_where,
    figure,
)

ID = "free-active"
TOLERANCES: tuple[str, ...] = ("ph", "water_activity", "scale", "mic", "oil", "binding")
DECIDES: str | None = "sum_of_ratios"
KEY = KeyFigure("sum_of_ratios", tolerance=lambda f: (f["sum_high"] - f["sum_low"]) / 2)
# fixed for this program, no outside source
ENOUGH, HALF = 1.0, 0.5
# below this a sum is only said to be tiny
TINY = 0.001


def ratio(case: FormulaArrays, f: int) -> Floats:
    """Free working concentration of one active over MIC; 0 where no MIC is known. (..., M)"""
    free = case.free_of(f)[..., None]
    mic = case.mic_percent[..., f, :]
    return free / np.where(np.isnan(mic), np.inf, mic)


def sums(case: FormulaArrays) -> Floats:
    """Sum of the ratios over all actives, one after the other. (..., M)"""
    total = np.zeros((*case.water_pct.shape, len(MICROBES)))
    for f in range(len(case.reference.forms)):
        total = total + ratio(case, f)
    return total


def compute(case: FormulaArrays) -> Figures:
    """Sums per microbe, also at the edges of the pH tolerance. (..., M)"""
    present = case.acting_pct > 0
    missing = (present[..., None] & np.isnan(case.mic_percent)).any(axis=-2)
    total = sums(case)
    edges = [
        total
        if not case.ph_tolerance.any()
        else sums(case.with_(ph=case.ph + sign * case.ph_tolerance))
        for sign in (-1, 1)
    ]
    missing = missing | _unjudged(case)[..., None]
    best = _at_best(case)
    return {
        "sum_of_ratios": total,
        "criticality": -total,
        "sum_low": np.minimum(*edges),
        "sum_high": np.maximum(*edges),
        "sum_at_best": total if best is case else sums(best),
        "missing": missing,
        "ph": case.ph[..., None],
        "nothing": ~(present.any(axis=-1) | _unjudged(case))[..., None],
        "dry": case.dry[..., None],
        "maybe_low_risk": case.maybe_low_risk[..., None],
    }


def _at_best(case: FormulaArrays) -> FormulaArrays:
    """The same cases with every uptake that nobody measured at the favourable end of its error."""
    c = case.reference
    lent = c.k_bind_borrowed.any(axis=0) & (case.binder_pct > 0).reshape(
        -1, len(BINDER_CLASSES)
    ).any(axis=0)
    if not lent.any() and not (case.oil_ratio > 0).any():
        return case
    oil = np.where(c.k_oil_factor == RELATION_FACTOR, c.k_oil_factor, 1.0)
    held = np.where(c.k_bind_borrowed, c.k_bind_factor, 1.0)
    return case.with_(k_oil=case.k_oil / oil, k_bind=case.k_bind / held)


def _unjudged(case: FormulaArrays) -> Bools:
    """True where a system holds nothing whose amount could be compared with an MIC. (...,)"""
    return np.asarray(
        (case.has_system & case.reference.systems_without_mic[np.maximum(case.system, 0)]).any(
            axis=-1
        )
    )


def judge(figures: Figures) -> Codes:
    """Codes per microbe. (..., M)"""
    total = figures["sum_of_ratios"]
    unknown = (
        np.isnan(figures["ph"])
        | np.isnan(total)
        | (figures["missing"].astype(bool) & below(total, ENOUGH))
    )
    short = (
        below(total, HALF)
        & below(figures["sum_at_best"], HALF)
        & ~figures["maybe_low_risk"].astype(bool)
    )
    unknown = unknown & ~figures["nothing"].astype(bool)
    return code_where(
        (figures["dry"].astype(bool), PASS),
        (unknown, UNKNOWN),
        (short, SERIOUS),
        (below(total, ENOUGH) | below(figures["sum_low"], ENOUGH), WARN),
        otherwise=PASS,
    )


def explain(case: FormulaArrays, one: Mapping[str, float], j: int, code: int) -> Explanation:
    """Words for one microbe."""
    c = case.reference
    microbe = MICROBES[j]
    present = [f for f in range(len(c.forms)) if case.acting_pct[0, f] > 0]
    each = np.array([ratio(case, f)[0, j] for f in range(len(c.forms))])
    half_width = (one["sum_high"] - one["sum_low"]) / 2
    figures = (
        figure("sum_of_ratios", one["sum_of_ratios"], tolerance=half_width),
        *(part for f in present for part in words.figures_of(case, f, j)),
        figure("ionic_strength", case.ionic_strength[0], "mol/L"),
        figure("oil_to_water_volume", case.oil_ratio[0].sum()),
        figure("water_phase_percent", case.water_phase_pct[0], "% of the formula"),
    )
    ranked = sorted(present, key=lambda f: -np.nan_to_num(each[f]))
    parts = [f"{c.forms[f]} {number(each[f], 2)}" for f in ranked if each[f] > 0]
    total = one["sum_of_ratios"]
    times = "under 0.001" if 0 < total < TINY else number(total, 2)
    said = f"The free amounts add up to {times} times what stops it" + (
        f" ({join_and(parts)})" if parts else ""
    )
    because, do = _words(case, one, code, said, j)
    if do is None and code in (WARN, SERIOUS):
        do = words.remedy(case, ranked)
    return Explanation(microbe, figures, because, do, words.evidence_of(case, present, j))


def _words(
    case: FormulaArrays, one: Mapping[str, float], code: int, said: str, j: int
) -> tuple[str, str | None]:
    """The reason, and what to do where that is not the usual remedy."""
    if one["dry"]:
        return (
            "Water activity alone holds growth back here; no free preservative is asked for.",
            None,
        )
    if one["nothing"]:
        return (
            "No active that is known to hold microbes back is in the water phase.",
            "Choose a preservative: 'preservecheck choose', or “Which one?” on the page, ranks "
            "them for this formula.",
        )
    if code == UNKNOWN:
        return words.unknown(case, one, said, j)
    if code == PASS:
        return f"{said}.", None
    if one["sum_of_ratios"] >= ENOUGH:
        return (
            f"{said}, but only {number(one['sum_low'], 2)} at the edge of the pH tolerance: too "
            "close to call.",
            None,
        )
    return words.short(case, one, code, said, j, half=bool(below(one["sum_of_ratios"], HALF))), None
