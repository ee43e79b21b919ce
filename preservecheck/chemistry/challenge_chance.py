"""Chance that a challenge test finds a microbe controlled, from the sum of free amount over MIC.

A logistic curve in the logarithm of the sum, fitted to published challenge tests. What the curve
was not fitted on (an uptake that nobody measured, a kind of base or an active without a published
test) makes the sum less certain, and an uncertain sum draws the chance towards one half: no answer
is surer than the data allow.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from preservecheck.chemistry.summation import weighed_sum

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# a logistic curve averaged over a normal spread is nearly a flatter logistic curve: pi / 8
_SPREAD: Final = np.pi / 8.0
# 90 % of a normal distribution lie within so many standard deviations
_HALF_WIDTH_90: Final = 1.644854
# Gauss-Hermite rule of five points for a standard normal variable: places and weights
_PLACES: Final = np.array([-2.856970, -1.355626, 0.0, 1.355626, 2.856970])
_WEIGHTS: Final = np.array([0.01125741, 0.22207592, 0.53333333, 0.22207592, 0.01125741])


class Calibration(NamedTuple):
    """Numbers of the fit.

    Chance = 1 / (1 + exp(-(intercept + slope ln sum))). Variances and covariance of the two [-];
    ``least_sum`` is the sum below which a smaller one tells nothing more [-]; ``unknown_sum`` and
    ``unknown_log_sd`` are the median and the spread (ln) of what an active of unknown MIC adds [-].
    """

    intercept: float
    slope: float
    intercept_variance: float
    slope_variance: float
    covariance: float
    least_sum: float
    unknown_sum: float
    unknown_log_sd: float


class Chance(NamedTuple):
    """Chance that the test is passed [-], and half the width of its 90 % band [-]."""

    chance: Floats
    half_width: Floats


def challenge_chance(
    ratio_sum: ArrayLike,
    log_sd: ArrayLike,
    calibration: Calibration,
    unknown_part: ArrayLike = False,
    lift: ArrayLike = 0.0,
) -> Chance:
    """Chance that a challenge test finds this microbe controlled.

    z = a + b ln(sum) + lift, v = var(a + b ln sum) + b² s²,
    chance = 1/(1 + exp(-z / sqrt(1 + pi v / 8))).

    Parameters
    ----------
    ratio_sum
        Sum of free amount over MIC, the share of the water activity included. [-]
    log_sd
        Standard deviation of ln(sum) beyond what the published cases had, s. [-]
    calibration
        Numbers of the fit.
    unknown_part
        Whether an active of unknown MIC or uptake stands beside the known ones: its share is
        averaged over what such a share is in published cases. [-]
    lift
        What something beside the sum adds to the log odds. [-]

    Returns
    -------
    Chance
        Chance and half-width, of the shape of the arguments broadcast; nan where the sum is.

    Notes
    -----
    Rises with the sum, and for sums above exp(-a / b) falls with the spread.

    References
    ----------
    Fit made for this program on published challenge tests; the mean of a logistic curve over a
    normal spread after Spiegelhalter & Lauritzen 1990 (recalled).

    Examples
    --------
    a = 1.5, b = 1.5, no spread: sum 1 gives 1/(1 + exp(-1.5)) = 0.818; with s = 1, v = 2.25:
    1.5 / sqrt(1 + 0.3927 x 2.25) = 1.093, 1/(1 + exp(-1.093)) = 0.749.

    >>> c = Calibration(1.5, 1.5, 0.0, 0.0, 0.0, 0.05, 1.0, 1.5)
    >>> challenge_chance([1.0, 1.0], [0.0, 1.0], c).chance.round(3).tolist()
    [0.818, 0.749]
    """
    known = np.asarray(ratio_sum, dtype=np.float64)
    chance, half = _of_known(known, log_sd, calibration, lift)
    unknown = np.asarray(unknown_part, dtype=bool)
    if unknown.any():
        chance, half = (
            np.broadcast_to(v, np.broadcast(chance, unknown).shape).copy() for v in (chance, half)
        )
        at = np.broadcast_to(unknown, chance.shape)
        known, sd, up = (
            np.broadcast_to(np.asarray(v, dtype=np.float64), chance.shape)[at][..., None]
            for v in (known, log_sd, lift)
        )
        share = calibration.unknown_sum * np.exp(calibration.unknown_log_sd * _PLACES)
        each, _ = _of_known(np.nan_to_num(known) + share, sd, calibration, up)
        mean = weighed_sum(each, _WEIGHTS)
        spread = np.sqrt(weighed_sum((each - mean[..., None]) ** 2, _WEIGHTS))
        chance[at], half[at] = mean, _HALF_WIDTH_90 * spread
    return Chance(chance[()], half[()])


def _of_known(
    ratio_sum: Floats, log_sd: ArrayLike, calibration: Calibration, lift: ArrayLike
) -> tuple[Floats, Floats]:
    c = calibration
    x = np.log(np.maximum(ratio_sum, c.least_sum))
    z = c.intercept + c.slope * x + np.asarray(lift, dtype=np.float64)
    parameters = c.intercept_variance + 2 * c.covariance * x + c.slope_variance * x**2
    variance = parameters + (c.slope * np.asarray(log_sd, dtype=np.float64)) ** 2
    reach = _HALF_WIDTH_90 * np.sqrt(variance)
    chance: Floats = _logistic(z / np.sqrt(1.0 + _SPREAD * variance))
    half: Floats = 0.5 * (_logistic(z + reach) - _logistic(z - reach))
    return chance, half


def _logistic(z: Floats) -> Floats:
    result: Floats = 1.0 / (1.0 + np.exp(-z))
    return result


def log_sd_between(low: ArrayLike, high: ArrayLike) -> Floats:
    """Standard deviation of ln(sum) from its two ends, which hold 95 of 100.

    s = ln(high / low) / (2 x 1.96); 0 where both ends are 0.

    Parameters
    ----------
    low, high
        Sum with every uptake that nobody measured at its unfavourable and at its favourable end.
        [-]

    Returns
    -------
    Floats
        s. [-]

    References
    ----------
    Definition of a normal distribution.

    Examples
    --------
    A factor 2 either way: ln 4 / 3.92 = 0.354.

    >>> round(float(log_sd_between(0.5, 2.0)), 3)
    0.354
    """
    lo, hi = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
    safe = (lo > 0) & (hi > 0)
    result: Floats = np.where(
        safe, np.log(np.where(safe, hi, 1.0) / np.where(safe, lo, 1.0)) / 3.919928, 0.0
    )
    return result[()]


def combined_log_sd(*parts: ArrayLike) -> Floats:
    """Standard deviation of a sum of independent spreads: the root of the sum of squares.

    Parameters
    ----------
    *parts
        Standard deviations of ln(sum). [-]

    Returns
    -------
    Floats
        Together. [-]

    References
    ----------
    Variances of independent variables add up.

    Examples
    --------
    >>> float(combined_log_sd(0.3, 0.4))
    0.5
    """
    result: Floats = np.sqrt(sum(np.asarray(p, dtype=np.float64) ** 2 for p in parts))
    return result


def water_activity_share(aw: ArrayLike, least: ArrayLike, most: float = 3.0) -> Floats:
    """What the water activity adds to the sum: its share of the hurdle.

    ((1 - aw) / (1 - aw,min))³, 1 at the microbe's growth limit and at most ``most`` below it.

    Parameters
    ----------
    aw
        Water activity of the product. [-]
    least
        Lowest water activity at which the microbe grows; nan where unknown. [-]
    most
        Largest share: a microbe that cannot grow is not for that reason killed. [-]

    Returns
    -------
    Floats
        Share, to be added to the sum of free amount over MIC; 0 where the limit is unknown. [-]

    Notes
    -----
    The cube is that of the interaction term of cardinal-value models of growth; that it adds to
    the sum of ratios is an assumption, tested on the published cases. A glycol whose MIC is
    counted acts twice here, by at most a few hundredths at use levels.

    References
    ----------
    Le Marc et al., Int. J. Food Microbiol. 73 (2002) 219, recalled; limits of growth_limits.csv.

    Examples
    --------
    Half way to a limit of 0.96: 0.5³ = 0.125; at the limit 1; at 0.90, 2.5³ = 15.6, held at 3.

    >>> water_activity_share([0.98, 0.96, 0.90, 1.0], 0.96).round(3).tolist()
    [0.125, 1.0, 3.0, 0.0]
    """
    limit = np.asarray(least, dtype=np.float64)
    share = (np.maximum(1.0 - np.asarray(aw, dtype=np.float64), 0.0) / (1.0 - limit)) ** 3
    result: Floats = np.where(np.isnan(limit), 0.0, np.minimum(share, most))
    return result[()]


def acidity_share(ph: ArrayLike, least: ArrayLike, best: ArrayLike, most: float = 0.25) -> Floats:
    """What an acid pH adds to the sum by itself, beside what it does for an acid preservative.

    most ((pH_best - pH) / (pH_best - pH_least))³, ``most`` at the microbe's growth limit and below;
    0 from the optimum upwards.

    Parameters
    ----------
    ph
        pH of the product. [-]
    least
        Lowest pH at which the microbe grows; nan where unknown. [-]
    best
        pH at which it grows best. [-]
    most
        Largest share. [-]

    Returns
    -------
    Floats
        Share, to be added to the sum of free amount over MIC; 0 where pH or limit is unknown. [-]

    Notes
    -----
    As for the water activity: the cube is that of cardinal-value models, that it adds is an
    assumption, tested on the published cases.

    References
    ----------
    Le Marc et al., Int. J. Food Microbiol. 73 (2002) 219, recalled; limits of growth_limits.csv.

    Examples
    --------
    Half way from 7 to a limit of 5: 0.25 x 0.5³ = 0.03125; below the limit 0.25.

    >>> acidity_share([6.0, 4.5, 7.5], 5.0, 7.0).round(4).tolist()
    [0.0312, 0.25, 0.0]
    """
    best_ph = np.asarray(best, dtype=np.float64)
    way = (best_ph - np.asarray(ph, dtype=np.float64)) / (best_ph - np.asarray(least))
    result: Floats = most * np.clip(np.nan_to_num(way), 0.0, 1.0) ** 3
    return result[()]
