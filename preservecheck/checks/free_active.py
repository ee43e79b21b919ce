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

from collections.abc import Iterator, Mapping

import numpy as np

from preservecheck.arrays.forms import ACID, BASE, CATION, MICROBES, RELATION_FACTOR
from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.substances import BINDER_CLASSES, OIL_CLASSES
from preservecheck.checks import water_activity
from preservecheck.checks.base import Cause, Check, Explanation, Figures, KeyFigure, below, kept
from preservecheck.checks.ph_range import ABOVE, beyond_effective
from preservecheck.errors import Hint
from preservecheck.text import join_and, number, sentence
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

# fixed for this program, no outside source
ENOUGH, HALF = 1.0, 0.5
# below this a sum is only said to be tiny
TINY = 0.001


def compute(case: FormulaArrays) -> Figures:
    """Sums per microbe, also at the edges of the pH tolerance. (..., M)"""
    present = case.acting_pct > 0
    missing = (present[..., None] & np.isnan(case.mic_percent)).any(axis=-2)
    total = case.sums
    edges = [
        total
        if not case.ph_tolerance.any()
        else case.with_(ph=case.ph + sign * case.ph_tolerance).sums
        for sign in (-1, 1)
    ]
    return {
        "sum_of_ratios": total,
        "criticality": -total,
        "sum_low": np.minimum(*edges),
        "sum_high": np.maximum(*edges),
        "sum_at_best": _at_best(case).sums,
        "missing": missing | case.without_mic[..., None],
        "ph": case.ph[..., None],
        "nothing": case.unpreserved[..., None],
        "dry": case.dry[..., None],
        "maybe_low_risk": case.maybe_low_risk[..., None],
    }


def _at_best(case: FormulaArrays) -> FormulaArrays:
    """The same cases with every uptake that nobody measured at the favourable end of its error."""
    c = case.reference
    borrowed = c.forms.k_bind_borrowed.any(axis=0) & (case.binder_pct > 0).reshape(
        -1, len(BINDER_CLASSES)
    ).any(axis=0)
    if not borrowed.any() and not (case.oil_ratio > 0).any():
        return case
    oil = np.where(c.forms.k_oil_factor == RELATION_FACTOR, c.forms.k_oil_factor, 1.0)
    bound = np.where(c.forms.k_bind_borrowed, c.forms.k_bind_factor, 1.0)
    return case.with_(k_oil=case.k_oil / oil, k_bind=case.k_bind / bound)


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


def explain(case: FormulaArrays, values: Mapping[str, float], j: int, code: int) -> Explanation:
    """Words for one microbe."""
    c = case.reference
    microbe = MICROBES[j]
    present = [f for f in range(len(c.forms.names)) if case.acting_pct[0, f] > 0]
    each = np.array([case.ratio_of(f)[0, j] for f in range(len(c.forms.names))])
    half_width = (values["sum_high"] - values["sum_low"]) / 2
    figures = (
        figure("sum_of_ratios", values["sum_of_ratios"], tolerance=half_width),
        *(part for f in present for part in _figures(case, f, j)),
        figure("ionic_strength", case.ionic_strength[0], "mol/L"),
        figure("oil_to_water_volume", case.oil_ratio[0].sum()),
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
        causes=_causes(case, values) if code > PASS else (),
    )


def _causes(case: FormulaArrays, values: Mapping[str, float]) -> tuple[Cause, ...]:
    """A pH above the range of a system, or one that nobody measured; else no preservative."""
    if values["nothing"]:
        return (Cause(water_activity.CHECK.id, "formula"),)
    return beyond_effective(case, 0 if np.isnan(values["ph"]) else ABOVE)


def _words(
    case: FormulaArrays, values: Mapping[str, float], code: int, said: str, j: int
) -> tuple[str, str | None]:
    """The reason, and what to do where that is not the usual remedy."""
    if values["dry"]:
        return (
            "Water activity alone holds growth back here; no free preservative is asked for.",
            None,
        )
    if values["nothing"]:
        return (
            "No active that is known to hold microbes back is in the water phase.",
            "Choose a preservative that fits this formula.",
        )
    if code == UNKNOWN:
        return _unknown(case, values, said, j)
    if code == PASS:
        return f"The {said}.", None
    if values["sum_of_ratios"] >= ENOUGH:
        return (
            f"The {said}, but only {number(values['sum_low'], 2)} at the edge of the pH tolerance: "
            "too close to call.",
            None,
        )
    return _short(
        case, values, code, said, j, half=bool(below(values["sum_of_ratios"], HALF))
    ), None


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
    if np.isfinite(values["sum_of_ratios"]):
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
    return (
        "A figure that this sum needs is not in the tables: "
        f"{join_and(_gaps(case, list(present)))}.",
        "Add the missing figure to your own tables, or let a challenge test decide.",
    )


def _short(
    case: FormulaArrays, values: Mapping[str, float], code: int, said: str, j: int, *, half: bool
) -> str:
    """Why it is too little; ``half``: less than half of what is needed."""
    c = case.reference
    because = f"The {said}: " + ("less than half of what is needed." if half else "short of 1.")
    resistant = [
        c.forms.names[f]
        for f in np.flatnonzero(case.acting_pct[0] > 0)
        if np.isinf(c.forms.mic_percent[f, j])
    ]
    if resistant:
        because += f" {join_and(resistant)} does not stop it at any usual level."
    if code == WARN and half and values["maybe_low_risk"]:
        because += (
            " It hangs on the water activity, which may be low enough by itself: have it measured."
        )
    elif code == WARN and half:
        because += (
            " With less uptake by oil or surfactant than assumed it would be "
            f"{number(values['sum_at_best'], 2)}."
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
        said = "taken as strong as by ethoxylates, relation with log P, factor 2"
        like = (
            c.forms.binding_rows.get((name, BINDER_CLASSES[0]))
            if c.forms.k_bind_borrowed[f, i]
            else None
        )
        yield Evidence(like, what, said, like is not None and c.tables.is_own(like))


CHECK = Check(
    id="free-active",
    key=KeyFigure("sum_of_ratios", tolerance=lambda f: (f["sum_high"] - f["sum_low"]) / 2),
    compute=kept(compute),
    judge=judge,
    explain=explain,
    tables={
        "systems": (),
        "actives": (),
        "ingredients": (),
        "mic": (),
        "partition": (),
        "binding": (),
        "solutes": (),
    },
    tolerances=("ph", "water_activity", "scale", "mic", "oil", "binding"),
    decides="sum_of_ratios",
    must_pass=True,
    levers={"ph": UNKNOWN, "gum": UNKNOWN},
    lines=(ENOUGH, HALF),
    plots=("microbes", "ph"),
)
