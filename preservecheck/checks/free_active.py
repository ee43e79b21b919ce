"""Is enough of the preservative free, in its working form, in the water?

What is judged: for each microbe of the challenge tests, the chance that a test finds it controlled,
from the sum over all actives (carried-in ones included) of the free working concentration in the
water phase over the lowest concentration known to stop that microbe (MIC).

    fault      the chance is below 40 %, also with every uptake that nobody measured at the
               favourable end of its range (serious)
    warning    the chance is below 80 %, or falls below within the tolerance of the pH
    unknown    the pH was not measured; an MIC or an uptake is not known and the known part does not
               suffice; or an uptake that nobody measured decides: below 40 % at one end of its
               range, 80 % and more at the other
    pass       80 % and more, or the microbe cannot grow at this water activity

Chance: 1 / (1 + exp(-(a + b ln S))), a logistic fit on published challenge tests, S the sum of the
ratios and of two hurdles with the microbe's growth limits: the water activity, ((1 - aw) /
(1 - aw,min))^3, and an acid pH, a quarter of ((pH,best - pH) / (pH,best - pH,min))^3. A failure
counts 1.8 times in the fit, since successes are published more often. What the fit has no cases
for spreads ln S and draws the chance towards one half: layers of fatty alcohol (0.7), surfactant
bases (0.5), actives without a published case (0.35), uptake that nobody measured (its range). An
active without a known MIC is averaged over what one adds in published cases (median 1). EDTA (0.01
% and more) adds 1 to the log odds of Pseudomonas aeruginosa: it is killed ten times faster beside
EDTA. A surfactant base (3 % of anionic, 0.5 % of cationic surfactant) holds Gram-positive bacteria
by itself; by how much is not known, so it counts like an active without MIC. Where a system of the
formula is usual in this kind of product, at a pH at which it works, the uptake that nobody measured
is taken at its favourable end: it is known to do there.

Formula, per active, in % w/v of the water phase:

    free = C / (K phi + R + R_A (1 - f) / f)        never above its water solubility

C total over the water phase, K oil-water partition coefficient of the uncharged form, phi volume of
liquid oil over volume of water phase (summed over oil classes; waxes that are solid in the finished
product take up none), R = 1 + sum of k S over surfactants and polymers (S in % w/v of the water
phase), R_A the same for the ion, f share in working form: 1/(1 + 10^(pH - pKa')) for acids,
mirrored for bases, 1 for neutral molecules. pKa' is corrected for temperature (van 't Hoff) and
ionic strength (Davies). Cationic preservatives: the share that anionic surfactants and polymers
have not paired off.

K and k come from the tables where they were measured, otherwise from log P: vegetable oil log K =
0.869 log P - 0.759, ethoxylates log k = 0.755 log P - 1.844, within a factor 2 to 3; mineral oil
from the five solute descriptors (0.13 off in log10). Esters and liquid fatty alcohols take 2 and 3
times what vegetable oil takes (factor 4), silicones as much as mineral oil (factor 6), other
micelles as much as ethoxylates, mole for mole (factor 5). Fatty alcohol swollen by a long-chain
quat is a phase of layers, log K = 0.69 log P - 0.046 as in ordered skin lipid (factor 8, and
perhaps nothing), whose quat holds up to 0.75 mol of the ions of acids: R_A 5, perhaps 1 to 30.
These are assumptions.

MICs: a range counts at its geometric mean, "more than" at twice the figure, "at most" at two
thirds. Growth held in broth is not killing in a cream: that is why the chance is asked of tests.

Limits: a screening estimate, no proof. The published tests are lotions, creams and solutions, most
of them old: no cationic conditioner, hardly a shampoo, few modern blends. Proteins, clays and packs
take up preservative that this does not count.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from preservecheck.arrays.forms import ACID, BASE, BEST_PH, CATION, MICROBES
from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.substances import BINDER_CLASSES, LAMELLA, OIL_CLASSES
from preservecheck.checks import water_activity
from preservecheck.checks.base import (
    EPSILON,
    Cause,
    Check,
    Explanation,
    Figures,
    KeyFigure,
    above,
    below,
    kept,
)
from preservecheck.checks.ph_range import ABOVE, beyond_effective
from preservecheck.chemistry.challenge_chance import (
    Calibration,
    acidity_share,
    challenge_chance,
    combined_log_sd,
    log_sd_between,
    water_activity_share,
)
from preservecheck.chemistry.summation import weighed_sum
from preservecheck.errors import Hint
from preservecheck.text import join_and, number, sentence
from preservecheck.verdict import (
    PASS,
    SERIOUS,
    UNKNOWN,
    WARN,
    Bools,
    Codes,
    Evidence,
    Figure,
    Floats,
    code_where,
    figure,
)

# fixed for this program, no outside source
LIKELY, UNLIKELY = 0.8, 0.4
# a sum of 1: as much as stops it in broth
ENOUGH = 1.0
# below this a sum is only said to be tiny
TINY = 0.001
# fit on the published tests of tests/outside/challenge, by fit.py there
CALIBRATION = Calibration(
    intercept=1.2913,
    slope=1.7223,
    intercept_variance=0.3804**2,
    slope_variance=0.1234**2,
    covariance=0.0113,
    least_sum=0.1,
    unknown_sum=1.0,
    unknown_log_sd=1.5,
)
# standard deviations of ln S where there is no published case; judgement of this program
SPREAD_IN_LAYERS, SPREAD_IN_SURFACTANT, SPREAD_WITHOUT_CASE = 0.7, 0.5, 0.35
# acting forms of the published cases
WITH_CASE = frozenset(
    (
        "2-Bromo-2-Nitropropane-1,3-Diol",
        "Alcohol",
        "Benzalkonium Chloride",
        "Butylene Glycol",
        "Butylparaben",
        "Caprylyl Glycol",
        "DMDM Hydantoin",
        "Dipropylene Glycol",
        "Ethylhexylglycerin",
        "Glyceryl Caprylate",
        "Hexylene Glycol",
        "Imidazolidinyl Urea",
        "Levulinic Acid",
        "Methylparaben",
        "Phenoxyethanol",
        "Propanediol",
        "Propylene Glycol",
        "Propylparaben",
        "Sorbic Acid",
        "p-Anisic Acid",
    )
)
# a base that is made of surfactant, and one whose surfactant holds Gram-positive bacteria
# [% w/v of the water phase]; judgement of this program
SURFACTANT_BASE, QUAT_BASE = 3.0, 0.5
SURFACTANT_CLASSES = ("anionic surfactant", "amphoteric surfactant", "nonionic glucoside")
GRAM_POSITIVE = np.array([microbe == "Staphylococcus aureus" for microbe in MICROBES])
# Pseudomonas beside 0.01 % EDTA: killed ten times faster (synergy-1989); that this is 1 in the log
# odds is an assumption
EDTA = ("Disodium EDTA", "Trisodium EDTA", "Tetrasodium EDTA")
EDTA_PERCENT, EDTA_LIFT = 0.01, 1.0
PSEUDOMONAS = np.array([microbe == "Pseudomonas aeruginosa" for microbe in MICROBES])
# how far the uptake of ions by quats may be off, times and divided by; assumption
ION_FACTOR = 6.0


def compute(case: FormulaArrays) -> Figures:
    """Sums and chances per microbe, also at the edges of the pH tolerance and at both ends of the
    uptakes that nobody measured. (..., M)"""
    present = case.acting_pct > 0
    missing = (present[..., None] & np.isnan(case.mic_percent)).any(axis=-2)
    missing = missing | case.without_mic[..., None]
    total = case.sums
    edges = [
        total
        if not case.ph_tolerance.any()
        else case.with_(ph=case.ph + sign * case.ph_tolerance).sums
        for sign in (-1, 1)
    ]
    high, low = (_at_end(case, favourable=f).sums for f in (True, False))
    aw, aw_tolerance, _ = case.aw
    limit, least_ph = case.reference.forms.growth_limits
    known_aw = np.where(case.aw_unknown, 1.0, aw)[..., None]
    dryness = np.where(case.water_pct[..., None] > 0, water_activity_share(known_aw, limit), 0.0)
    acidity = acidity_share(case.ph[..., None], least_ph, BEST_PH)
    share = dryness + acidity
    base = _spread_of_base(case)
    # what is usual in this kind of product leaves enough free: unmeasured uptake at its best end
    usual = case.usual_here[..., None]
    central, least = np.where(usual, high, total), np.where(usual, total, low)
    freed = np.where(total > 0, central / np.where(total > 0, total, 1.0), 1.0)
    spread = combined_log_sd(base, log_sd_between(least + share, high + share))
    unknown = missing | _holds_gram_positive(case)
    lift = EDTA_LIFT * (_edta(case)[..., None] & PSEUDOMONAS)

    def chance(ratio_sum: Floats, log_sd: Floats, part: Bools = unknown) -> Floats:
        return challenge_chance(ratio_sum + share, log_sd, CALIBRATION, part, lift).chance

    middle = challenge_chance(central + share, spread, CALIBRATION, unknown, lift)
    return {
        "challenge_chance": middle.chance,
        "chance_half_width": middle.half_width,
        "criticality": -middle.chance,
        "chance_at_edge": chance(np.minimum(*edges) * freed, spread),
        "chance_at_best": chance(high, base),
        "chance_at_worst": chance(least, base),
        "chance_known": chance(central, spread, _holds_gram_positive(case)),
        "sum_taken": central,
        "share_of_hurdles": share,
        "log_sd": spread,
        "unknown_part": unknown,
        "lift": lift,
        "water_activity_share": dryness,
        "acidity_share": acidity,
        "cannot_grow": (known_aw + aw_tolerance[..., None] < limit).astype(float),
        "sum_of_ratios": total,
        "sum_low": np.minimum(*edges),
        "sum_high": np.maximum(*edges),
        "missing": missing,
        "ph": case.ph[..., None],
        "nothing": case.unpreserved[..., None],
        "dry": case.dry[..., None],
        "maybe_low_risk": case.maybe_low_risk[..., None],
    }


def chance_with(figures: Figures, ratio: Floats) -> Floats:
    """The chance of each microbe with so many times the free amounts behind the figures of
    ``compute``. [-] (..., M)"""
    total = figures["sum_taken"] * ratio + figures["share_of_hurdles"]
    spread, unknown, lift = (figures[n] for n in ("log_sd", "unknown_part", "lift"))
    return challenge_chance(total, spread, CALIBRATION, unknown, lift).chance


def _at_end(case: FormulaArrays, *, favourable: bool) -> FormulaArrays:
    """The same cases with every uptake that nobody measured at one end of its range."""
    forms = case.reference.forms
    borrowed = forms.k_bind_borrowed.any(axis=0) & (case.binder_pct > 0).reshape(
        -1, len(BINDER_CLASSES)
    ).any(axis=0)
    if not borrowed.any() and not (case.oil_ratio > 0).any():
        return case
    oil = np.where(forms.k_oil_measured, 1.0, forms.k_oil_factor)
    bound = np.where(forms.k_bind_borrowed, forms.k_bind_factor, 1.0)
    if not favourable:
        return case.with_(
            k_oil=case.k_oil * oil,
            k_bind=case.k_bind * bound,
            ion_uptake=case.ion_uptake * ION_FACTOR,
        )
    k_oil = case.k_oil / oil
    # that layers take up anything is an assumption
    k_oil[..., LAMELLA] = 0.0
    return case.with_(k_oil=k_oil, k_bind=case.k_bind / bound, ion_uptake=1.0)


def _spread_of_base(case: FormulaArrays) -> Floats:
    """Standard deviation of ln S from bases and actives without a published case.
    [-] (..., M)"""
    layers = np.where(case.lamella > 0, SPREAD_IN_LAYERS, 0.0)
    surfactant = np.where(_surfactant(case) >= SURFACTANT_BASE, SPREAD_IN_SURFACTANT, 0.0)
    forms = case.reference.forms
    without = case.sum_of(f for f, name in enumerate(forms.names) if name not in WITH_CASE)
    active = np.where(2 * without > case.sums, SPREAD_WITHOUT_CASE, 0.0)
    return combined_log_sd(layers[..., None], surfactant[..., None], active)


def _surfactant(case: FormulaArrays) -> Floats:
    """Anionic, amphoteric and glucoside surfactant. [% w/v of the water phase] (...,)"""
    at = [BINDER_CLASSES.index(name) for name in SURFACTANT_CLASSES]
    return np.asarray(case.binder_pct[..., at].sum(axis=-1))


def _holds_gram_positive(case: FormulaArrays) -> Bools:
    """Whether the surfactant of the base holds a microbe by itself. (..., M)"""
    anionic = case.binder_pct[..., BINDER_CLASSES.index("anionic surfactant")]
    quat = weighed_sum(case.amount, case.reference.role("cationic surfactant").astype(float))
    strong = (anionic >= SURFACTANT_BASE) | (quat >= QUAT_BASE)
    return np.asarray(strong[..., None] & GRAM_POSITIVE)


def _edta(case: FormulaArrays) -> Bools:
    """Whether there is EDTA enough to weaken Pseudomonas. (...,)"""
    named = case.reference.matching(f"inci:{name}" for name in EDTA).astype(float)
    return np.asarray(weighed_sum(case.amount, named) >= EDTA_PERCENT)


def judge(figures: Figures) -> Codes:
    """Codes per microbe. (..., M)"""
    chance, best = figures["challenge_chance"], figures["chance_at_best"]
    there = ~figures["nothing"].astype(bool)
    no_ph = np.isnan(figures["ph"]) & there
    unknown = figures["missing"].astype(bool) & below(figures["chance_known"], LIKELY)
    unknown = (unknown | np.isnan(figures["sum_of_ratios"]) | _uptake_decides(figures)) & there
    short = below(best, UNLIKELY) & ~figures["maybe_low_risk"].astype(bool)
    return code_where(
        (figures["dry"].astype(bool), PASS),
        (no_ph, UNKNOWN),
        (figures["cannot_grow"] > 0, PASS),
        (unknown, UNKNOWN),
        (short, SERIOUS),
        (below(chance, LIKELY) | below(figures["chance_at_edge"], LIKELY), WARN),
        otherwise=PASS,
    )


def _uptake_decides(figures: Figures) -> Bools:
    """Whether uptakes that nobody measured make a pass at one end and a fault at the other.
    (..., M)"""
    return np.asarray(
        below(figures["challenge_chance"], LIKELY)
        & ~below(figures["chance_at_best"], LIKELY)
        & below(figures["chance_at_worst"], UNLIKELY)
    )


def _enough(case: FormulaArrays) -> Floats:
    """1 where the sum is 1 or more; not-a-number where no pH was measured. (..., M)"""
    known = ~np.isnan(case.ph[..., None]) & ~np.isnan(case.sums)
    return np.where(known, ~below(case.sums, ENOUGH), np.nan)


def explain(case: FormulaArrays, values: Mapping[str, float], j: int, code: int) -> Explanation:
    """Words for one microbe."""
    c = case.reference
    microbe = MICROBES[j]
    present = [f for f in range(len(c.forms.names)) if case.acting_pct[0, f] > 0]
    each = np.array([case.ratio_of(f)[0, j] for f in range(len(c.forms.names))])
    half_width = (values["sum_high"] - values["sum_low"]) / 2
    figures = (
        figure("challenge_chance", values["challenge_chance"], "", values["chance_half_width"]),
        figure("sum_of_ratios", values["sum_of_ratios"], tolerance=half_width),
        figure("chance_enough", values.get("share_of_draws", np.nan)),
        figure("water_activity_share", values["water_activity_share"]),
        figure("acidity_share", values["acidity_share"]),
        *(part for f in present for part in _figures(case, f, j)),
        figure("ionic_strength", case.ionic_strength[0], "mol/L"),
        figure("oil_to_water_volume", case.oil_ratio[0, :LAMELLA].sum()),
        *([figure("layers_to_water_volume", case.lamella[0])] if case.lamella[0] > 0 else []),
        figure("water_phase_percent", case.water_phase_pct[0], "% of the formula"),
    )
    ranked = sorted(present, key=lambda f: -np.nan_to_num(each[f]))
    parts = [f"{c.forms.names[f]} {number(each[f], 2)}" for f in ranked if each[f] > 0]
    total = values["sum_of_ratios"]
    times = "under 0.001" if 0 < total < TINY else number(total, 2)
    said = f"free amounts add up to {times} times what stops it" + (
        f" ({join_and(parts)})" if parts else ""
    )
    because, do = _words(case, values, code, said, j)
    if do is None and code in (WARN, SERIOUS):
        do = _remedy(case, ranked)
    hint = Hint.RANK_SYSTEMS if values["nothing"] and not values["dry"] else None
    return Explanation(
        microbe,
        figures,
        because,
        do,
        _evidence(case, present, j),
        hint=hint,
        causes=_causes(case, values, j) if code > PASS else (),
    )


def _causes(case: FormulaArrays, values: Mapping[str, float], j: int) -> tuple[Cause, ...]:
    """No preservative; a pH above the range of a system, or one that nobody measured; something
    that disables a system; or the microbe that is least held: what holds that one holds the
    others."""
    # that check rests on this one
    from preservecheck.checks.incompatibilities import disabled

    if values["nothing"]:
        return (Cause(water_activity.CHECK.id, "formula"),)
    systems = [case.reference.systems.rows[int(s)] for s in case.system[0] if s >= 0]
    others = (
        *beyond_effective(case, 0 if np.isnan(values["ph"]) else ABOVE),
        *(cause for system in systems for cause in disabled(case, system)),
    )
    chance = np.broadcast_to(CHECK.compute(case)["challenge_chance"], case.sums.shape)[0]
    if np.isnan(chance).any() or (least := int(chance.argmin())) == j:
        return others
    return (*others, Cause(CHECK.id, MICROBES[least]))


def _words(
    case: FormulaArrays, values: Mapping[str, float], code: int, said: str, j: int
) -> tuple[str, str | None]:
    """The reason, and what to do where that is not the usual remedy."""
    if values["dry"]:
        return (
            "Water activity alone holds growth back here; no free preservative is asked for.",
            None,
        )
    if code == UNKNOWN:
        return _unknown(case, values, said, j)
    if values["cannot_grow"]:
        least = number(case.reference.forms.growth_limits[0, j])
        return f"It cannot grow at this water activity: it needs at least {least}.", None
    if values["nothing"] and code != PASS:
        return (
            "No active that is known to hold microbes back is in the water phase.",
            "Choose a preservative that fits this formula.",
        )
    chance = _percent(values["challenge_chance"])
    said = (
        f"{_sentence_case(said)}; the chance is {chance} that a challenge test finds it controlled"
    )
    if above(values["sum_taken"], 1.05 * values["sum_of_ratios"]):
        said += (
            f", the uptake that nobody measured taken at its favourable end (sum "
            f"{number(values['sum_taken'], 2)}), since this is usual in such a product"
        )
    if code == PASS:
        said += f"{_helped(values)}."
    elif below(values["challenge_chance"], LIKELY):
        said = _short(case, values, code, said, j)
    else:
        edge = _percent(values["chance_at_edge"])
        said += f", but only {edge} at the edge of the pH tolerance: too close to call."
    return said, None


def _sentence_case(said: str) -> str:
    return said[:1].upper() + said[1:]


def _percent(chance: float) -> str:
    """A chance in whole per cent, rounded down, so that none reads as a limit that it misses."""
    return f"{max(int(100 * chance + EPSILON), 1)} %"


def _helped(values: Mapping[str, float]) -> str:
    """The share of the water activity, where it counts."""
    share = values["water_activity_share"]
    if share < 0.1 * max(values["sum_of_ratios"], ENOUGH):
        return ""
    return f", {number(share, 2)} more of the hurdle being the water activity"


def _unknown(
    case: FormulaArrays, values: Mapping[str, float], said: str, j: int
) -> tuple[str, str]:
    """What is missing for one microbe, and how to get it."""
    c = case.reference
    if np.isnan(values["ph"]):
        return (
            "The pH was not measured, and the working share of the preservative hangs on it.",
            "Measure the pH of the finished batch at 20 to 25 °C and write it into the formula as "
            "the measured pH.",
        )
    present = np.flatnonzero(case.acting_pct[0] > 0)
    if np.isnan(values["sum_of_ratios"]):
        return (
            "A figure that this sum needs is not in the tables: "
            f"{join_and(_gaps(case, list(present)))}.",
            "Add the missing figure to your own tables, or let a challenge test decide.",
        )
    if values["missing"]:
        without_mic = [c.forms.names[f] for f in present if np.isnan(c.forms.mic_percent[f, j])]
        without_mic += [
            s.id
            for s, lacks_mic in zip(c.systems.rows, c.systems.without_mic, strict=False)
            if lacks_mic
        ]
        return (
            f"As far as known, the {said}; no figure is known for {join_and(without_mic)}.",
            "Ask the supplier for MIC values, or let a challenge test decide; add them to your "
            "own mic.csv.",
        )
    low, high = _percent(values["chance_at_worst"]), _percent(values["chance_at_best"])
    return (
        f"{_sentence_case(said)}, but the uptake by {join_and(_unmeasured(case))} decides and was "
        f"never measured: the chance lies between {low} and {high}.",
        "Let a challenge test decide, or take a preservative that this base takes up less.",
    )


def _unmeasured(case: FormulaArrays) -> list[str]:
    """What takes up preservative here without anybody having measured how much."""
    forms = case.reference.forms
    present = case.acting_pct[0] > 0
    oils = (case.oil_ratio[0] > 0) & (~forms.k_oil_measured[present]).any(axis=0)
    binders = (case.binder_pct[0] > 0) & forms.k_bind_borrowed[present].any(axis=0)
    return [
        "the layers of fatty alcohol" if i == LAMELLA else f"{OIL_CLASSES[i]} oil"
        for i in np.flatnonzero(oils)
    ] + [BINDER_CLASSES[i] for i in np.flatnonzero(binders)]


def _short(
    case: FormulaArrays, values: Mapping[str, float], code: int, because: str, j: int
) -> str:
    """Why it is too little."""
    forms = case.reference.forms
    unlikely = bool(below(values["challenge_chance"], UNLIKELY))
    because += ": far too little." if unlikely else f", short of {_percent(LIKELY)}."
    weak = [
        forms.names[f]
        for f in np.flatnonzero(case.acting_pct[0] > 0)
        if (row := forms.mic_rows.get((forms.names[f], MICROBES[j]))) is not None
        and row.comparator == ">"
    ]
    if weak:
        because += f" {join_and(weak)} did not stop it at the levels that were tried."
    if code == WARN and unlikely and values["maybe_low_risk"]:
        because += (
            " It hangs on the water activity, which may be low enough by itself: have it measured."
        )
    elif code == WARN and unlikely:
        because += (
            " With less uptake by oil or surfactant than assumed it would be "
            f"{_percent(values['chance_at_best'])}."
        )
    return because


def _gaps(case: FormulaArrays, present: list[int]) -> list[str]:
    c = case.reference
    gaps = []
    for f in present:
        if np.isnan(case.working_fraction[0, f]):
            gaps.append(f"pKa of {c.forms.names[f]}")
        oils = [
            OIL_CLASSES[i]
            for i in np.flatnonzero((case.oil_ratio[0] > 0) & np.isnan(c.forms.k_oil[f]))
        ]
        gaps += [f"partition of {c.forms.names[f]} into {oil} oils" for oil in oils]
    return gaps or ["unknown"]


def _remedy(case: FormulaArrays, ranked: list[int]) -> str:
    """What would free more of the actives, those that do most first."""
    c = case.reference
    lost = [f for f in ranked if c.forms.kind[f] == ACID and case.working_fraction[0, f] < 0.3]
    bound = [f for f in ranked if (np.nan_to_num(c.forms.k_bind[f]) * case.binder_pct[0]).sum() > 1]
    paired = [f for f in ranked if c.forms.kind[f] == CATION and case.unpaired[0] < 0.5]
    ways = []
    if lost:
        f = lost[0]
        ways.append(
            f"lower the pH (at {number(case.ph[0])} only "
            f"{number(case.working_fraction[0, f] * 100, 2)} % of the "
            f"{c.forms.names[f]} is in its working form)"
        )
    if paired:
        ways.append("take out the anionic surfactant or gum that pairs off the preservative")
    if bound:
        ways.append("use less surfactant, which holds part of it")
    ways.append("raise the dose within its range, or pair it with a second active")
    return sentence("; or ".join(ways))


def _figures(case: FormulaArrays, f: int, j: int) -> Iterator[Figure]:
    """What one active's part in the sum is made of."""
    c, name = case.reference, case.reference.forms.names[f]

    def of(key: str, value: object, unit: str = "", tolerance: object = None) -> Figure:
        return figure(key, value, unit, tolerance, of=name)

    mic = case.mic_percent[f, j] if case.mic_percent.ndim == 2 else case.mic_percent[0, f, j]
    water = "% w/v of the water phase"
    yield of("total_percent", case.acting_pct[0, f], "% of the formula")
    yield of("total_in_water_percent", case.total_in_water[0, f], water)
    yield of("undissociated_fraction", case.working_fraction[0, f])
    yield of("free_percent", case.free_pct[0, f], water)
    yield of("mic_percent", mic, "% w/v")
    if c.forms.kind[f] in (ACID, BASE):
        yield of("pka", case.pka[0, f], tolerance=c.forms.pka_error[f])
    yield of("bound_ratio", 1 + (np.nan_to_num(c.forms.k_bind[f]) * case.binder_pct[0]).sum())
    if c.forms.kind[f] == ACID and case.quat_mmol[0] > 0:
        yield of("ion_ratio", case.ion_ratio_of(f)[0])
    oil = np.where(case.oil_ratio[0] > 0, c.forms.k_oil[f] * case.oil_ratio[0], 0.0)
    yield of("oil_term", oil.sum())
    for i in np.flatnonzero(case.oil_ratio[0] > 0):
        yield of(f"k_{OIL_CLASSES[i].replace('-', '_')}", c.forms.k_oil[f, i])


def _evidence(case: FormulaArrays, present: list[int], j: int) -> tuple[Evidence, ...]:
    """Where the figures of the actives come from, or what was taken for want of one."""
    return tuple(
        e
        for f in present
        for e in (
            *_molecule(case, f, j),
            *(_in_oil(case, f, int(i)) for i in np.flatnonzero(case.oil_ratio[0] > 0)),
            *(e for i in np.flatnonzero(case.binder_pct[0] > 0) for e in _bound(case, f, int(i))),
        )
    )


def _molecule(case: FormulaArrays, f: int, j: int) -> Iterator[Evidence]:
    """MIC and pKa."""
    c, tables, name = case.reference, case.reference.tables, case.reference.forms.names[f]
    if (mic := c.forms.mic_rows.get((name, MICROBES[j]))) is not None:
        yield tables.evidence(mic, f"MIC of {name}")
    if c.forms.kind[f] in (ACID, BASE):
        yield tables.evidence(c.actives[name], f"pKa of {name}")


def _in_oil(case: FormulaArrays, f: int, i: int) -> Evidence:
    """The partition coefficient in one class of oils."""
    c, tables = case.reference, case.reference.tables
    name, oil = c.forms.names[f], OIL_CLASSES[i]
    if i == LAMELLA:
        what = f"K of {name} in layers of fatty alcohol"
        return Evidence(what=what, said="no measurement known; as in ordered skin lipid, factor 8")
    what = f"K of {name} in {oil} oils"
    if (row := c.forms.partition_rows.get((name, oil))) is not None:
        return tables.evidence(row, what)
    like = (
        c.forms.partition_rows.get((name, "vegetable"))
        if oil in ("ester", "fatty-alcohol")
        else None
    )
    if like is None:
        return Evidence(what=what, said="no measurement known; relation with log P, factor 2 to 3")
    said = (
        f"no measurement known; taken as a multiple of vegetable oil ({tables.cite(like)}), "
        "factor 2 to 3"
    )
    return Evidence(like, what, said, tables.is_own(like))


def _bound(case: FormulaArrays, f: int, i: int) -> Iterator[Evidence]:
    """The uptake by one class of surfactants and polymers."""
    c, name, binder = case.reference, case.reference.forms.names[f], BINDER_CLASSES[i]
    what = f"uptake of {name} by {binder}"
    if (row := c.forms.binding_rows.get((name, binder))) is not None:
        yield c.tables.evidence(row, what)
    elif np.isnan(c.forms.k_bind[f, i]):
        yield Evidence(what=what, said="no figure known, not counted")
    elif c.forms.k_bind[f, i] > 0:
        said = "taken as strong as by ethoxylates, mole for mole, factor 2 to 5"
        like = (
            c.forms.binding_rows.get((name, BINDER_CLASSES[0]))
            if c.forms.k_bind_borrowed[f, i]
            else None
        )
        yield Evidence(like, what, said, like is not None and c.tables.is_own(like))


def subject(_: FormulaArrays, j: int, __: int = 0) -> str:
    """The microbe."""
    return MICROBES[j]


CHECK = Check(
    id="free-active",
    key=KeyFigure("challenge_chance", tolerance=lambda f: f["chance_half_width"]),
    compute=kept(compute),
    judge=judge,
    explain=explain,
    tables={
        "systems": (),
        "actives": (),
        "ingredients": (),
        "mic": (),
        "partition": (),
        "descriptors": (),
        "binding": (),
        "solutes": (),
        "growth_limits": (),
        "practice": (),
        "product_kinds": (),
    },
    tolerances=("ph", "pka", "water_activity", "scale", "mic", "oil", "binding"),
    decides=lambda case: case.sums,
    holds=_enough,
    forecast="challenge_chance",
    must_pass=True,
    levers={"ph": UNKNOWN, "gum": UNKNOWN, "partner": SERIOUS},
    lines=(LIKELY, UNLIKELY),
    plots=("microbes", "ph"),
    subject=subject,
    against="ph",
    by_dose=True,
    unanswered={
        WARN: "No other dose or pH that is allowed does better: let the challenge test decide.",
        SERIOUS: "No dose and no pH that is allowed here is enough: take another system.",
    },
)
