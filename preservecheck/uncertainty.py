"""Chance that a check passes when readings are drawn within their tolerances. The same core, many draws at once.

A stated tolerance is taken as the half-width that holds 95 readings of 100, normally distributed: one standard deviation
is the tolerance over 1.96. Draws are seeded, so a report repeats exactly.
"""

from __future__ import annotations

import numpy as np

from preservecheck.case import Case
from preservecheck.checks.base import Check
from preservecheck.verdict import ABSENT, PASS, UNKNOWN, Floats

DRAWS = 4000
SEED = 20261125
# half-width of the central 95 % of a normal distribution, in standard deviations
HALF_WIDTH_SD = 1.959964


def drawn(case: Case, draws: int = DRAWS, seed: int = SEED) -> Case:
    """One case drawn many times: readings spread, their tolerances set to zero.

    Parameters
    ----------
    case
        A single case.
    draws
        How many.
    seed
        Of the generator; the same seed gives the same draws.
    """
    generator = np.random.default_rng(seed)
    z = generator.standard_normal((4, draws)) / HALF_WIDTH_SD
    zero = np.zeros(1)
    aw, aw_tolerance, measured = case.aw
    heat = case.temperature_tolerance_c * z[1][:, None]
    ph = case.ph + case.ph_tolerance * z[0]
    water = np.clip(aw + aw_tolerance * z[2], 1e-6, 1.0)
    return case.with_(ph=np.clip(ph, 0, 14), ph_tolerance=zero, peak_c=case.peak_c + heat,
                      addition_c=case.addition_c + heat, temperature_tolerance_c=zero,
                      aw_measured=np.where(measured | ~np.isnan(aw), water, np.nan), aw_tolerance=zero)


def chances(check: Check, cloud: Case) -> Floats | None:
    """Share of draws in which each subject of a check passes. (J,); not-a-number where it cannot be known.

    ``None`` for a check that no reading's tolerance can change.
    """
    if not check.TOLERANCES:
        return None
    codes = np.atleast_2d(check.judge(check.compute(cloud)))
    known = (codes != ABSENT) & (codes != UNKNOWN)
    share = (codes == PASS).mean(axis=0)
    return np.where(known.any(axis=0), share, np.nan)
