"""Chance that a check passes when readings and table values are drawn within their tolerances.

The same core, run once on many draws. Each input's draws are spread evenly over its distribution
(one in every equal slice, in mixed order), so that two thousand of them count like many more plain
ones. A stated tolerance is the half-width that holds 95 readings of 100, normally distributed: one
standard deviation is the tolerance over 1.96. Table values with a factor (times and divided by) are
drawn log-normally, the factor holding 95 of 100. Draws are seeded, so a report repeats exactly.
"""

from __future__ import annotations

import zlib
from collections.abc import Collection, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from preservecheck.arrays.forms import MICROBES
from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.substances import BINDER_CLASSES, OIL_CLASSES
from preservecheck.checks.base import Check
from preservecheck.verdict import ABSENT, PASS, UNKNOWN, Floats

DRAWS = 2000
SEED = 20261125
# half-width of the central 95 % of a normal distribution, in standard deviations
HALF_WIDTH_SD = 1.959964
# a passing check with a smaller chance passes by less than its uncertainty
SURE = 0.975
READINGS = {
    "ph": "the pH reading",
    "temperature": "the thermometer",
    "water_activity": "the water activity",
    "scale": "the scale",
}
TABLE_VALUES = {
    "pka": "the acid constants",
    "mic": "the MIC values",
    "oil": "the uptake by oils",
    "binding": "the uptake by surfactants",
}
INPUTS = {**READINGS, **TABLE_VALUES}
SUBJECT_AXIS = (
    "amount",
    "preserving",
    "with_oil",
    "system",
    "system_percent",
    "declared",
    "addition",
    "addition_c",
    "peak_c",
)
CASE_AXIS = (
    "ph",
    "ph_tolerance",
    "sample_c",
    "aw_measured",
    "aw_tolerance",
    "batch_g",
    "scale_step_g",
    "temperature_tolerance_c",
    "profile",
)


@lru_cache(maxsize=2048)
def normal(draws: int, seed: int, key: str) -> Floats:
    """Standard normal draws: the same under the same name, whatever else is drawn. (draws,)"""
    return _even(draws)[_shuffled(draws, seed, key)] / HALF_WIDTH_SD


def _shuffled(draws: int, seed: int, key: str) -> NDArray[np.intp]:
    """The numbers below ``draws`` in an order that only seed and key decide. (draws,)

    Sorted by a mixed counter (the finaliser of the SplitMix64 generator); numpy's own generators
    take longer to import than a whole report to compute.
    """
    start = np.uint64(seed) * np.uint64(2**32) + np.uint64(zlib.crc32(key.encode()))
    with np.errstate(over="ignore"):
        x = start + np.arange(1, draws + 1, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)
        x = (x ^ (x >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        x = (x ^ (x >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
        x ^= x >> np.uint64(31)
    return np.argsort(x)


@lru_cache(maxsize=8)
def _even(draws: int) -> Floats:
    """The middle of each of many equally likely slices of the standard normal distribution.
    (draws,)

    Read off the distribution function, which is summed from the density in steps of 0.0005; good to
    1e-6.
    """
    edge = np.linspace(-9.0, 9.0, 36_001)
    density = np.exp(-0.5 * edge**2)
    below = np.concatenate(([0.0], np.cumsum((density[1:] + density[:-1]) / 2)))
    return np.interp((np.arange(draws) + 0.5) / draws, below / below[-1], edge)


def drawn(
    case: FormulaArrays,
    inputs: Collection[str] = tuple(INPUTS),
    draws: int = DRAWS,
    seed: int = SEED,
) -> FormulaArrays:
    """Cases drawn many times: the named inputs spread, all tolerances set to zero.

    Parameters
    ----------
    case
        Cases, shape (..., ).
    inputs
        Names out of ``INPUTS``; the others stay at their stated value.
    draws
        How many.
    seed
        Of the generators; the same seed gives the same draws.

    Returns
    -------
    Case
        Cases of shape (..., draws).
    """

    def z(name: str, keys: Sequence[str] = ("",)) -> Floats:
        """Draws of one input, a column for each key. (draws or 1, keys)"""
        if name not in inputs:
            return np.zeros((1, len(keys)))
        return np.stack([normal(draws, seed, f"{name} {key}") for key in keys], axis=-1)

    wide = {n: getattr(case, n)[..., None, :] for n in SUBJECT_AXIS} | {
        n: getattr(case, n)[..., None] for n in CASE_AXIS
    }
    aw, aw_tolerance, _ = (a[..., None] for a in case.aw)
    # an estimate that decides nothing must not exempt from a preservative
    aw = np.where(case.aw_unknown[..., None], 1.0, aw)
    heat = wide["temperature_tolerance_c"][..., None] * z("temperature")
    step = np.nan_to_num(100 * wide["scale_step_g"] / wide["batch_g"])[..., None] * z(
        "scale", [str(i) for i in range(wide["system"].shape[-1])]
    )
    step = np.where(wide["system"] >= 0, step, 0.0)
    zero = np.zeros((*case.ph.shape, 1))
    c = case.reference
    composition = np.take(c.systems.composition, np.maximum(wide["system"], 0), axis=0)
    amount = (
        np.maximum(wide["amount"] + (step[..., None] * composition).sum(axis=-2), 0.0)
        if "scale" in inputs
        else wide["amount"]
    )

    def spread(name: str, factor: Floats, columns: Sequence[str]) -> Floats:
        keys = [f"{form} {column}" for form in c.forms.names for column in columns]
        return (
            factor ** z(name, keys).reshape(-1, *factor.shape)
            if keys
            else np.ones((1, *factor.shape))
        )

    changes = {
        **wide,
        "ph": np.clip(wide["ph"] + wide["ph_tolerance"] * z("ph")[:, 0], 0, 14),
        "ph_tolerance": zero,
        "amount": amount,
        "system_percent": wide["system_percent"] + step,
        "peak_c": wide["peak_c"] + heat,
        "addition_c": wide["addition_c"] + heat,
        "temperature_tolerance_c": zero,
        "aw_measured": np.clip(aw + aw_tolerance * z("water_activity")[:, 0], 1e-6, 1.0),
        "aw_tolerance": zero,
        "pka_shift": c.forms.pka_error * z("pka", c.forms.names) if c.forms.names else zero,
        "mic_percent": c.forms.mic_percent * spread("mic", c.forms.mic_factor, MICROBES),
        "k_oil": c.forms.k_oil * spread("oil", c.forms.k_oil_factor, OIL_CLASSES),
        "k_bind": c.forms.k_bind * spread("binding", c.forms.k_bind_factor, BINDER_CLASSES),
    }
    return case.with_(**changes)


def chances(check: Check, cloud: FormulaArrays) -> Floats | None:
    """Share of draws in which each subject of a check passes, or holds. (..., J); not-a-number
    where it cannot be known.

    ``None`` for a check that no drawn input can change.
    """
    if not check.tolerances:
        return None
    if check.holds is not None:
        return np.asarray(check.holds(cloud).mean(axis=-2))
    codes = check.judge(check.compute(cloud))
    known = ((codes != ABSENT) & (codes != UNKNOWN)).any(axis=-2)
    return np.where(known, (codes == PASS).mean(axis=-2), np.nan)


def shares(
    check: Check, case: FormulaArrays, draws: int = DRAWS // 5, seed: int = SEED
) -> dict[str, Floats]:
    """Share of the spread of a check's deciding figure that each input brings, where more than one
    does. (..., J)

    Each input is drawn alone; its share is its variance over the sum of the variances. Figures are
    taken as logarithms.
    """
    inputs = [n for n in INPUTS if n in check.tolerances]
    if check.decides is None or len(inputs) < 2:
        return {}
    with np.errstate(divide="ignore", invalid="ignore"):
        alone = {
            n: np.log(check.decides(drawn(case, (n,), draws, seed))).var(axis=-2) for n in inputs
        }
    total = sum(alone.values())
    return {
        n: np.where(total > 0, v / np.where(total > 0, total, 1.0), np.nan)
        for n, v in alone.items()
    }
