"""Straight lines through scattered readings: slope, its confidence, and where the next reading will
lie."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# decimals that are looked for in readings; more means that they were computed, not read
_MOST_DECIMALS: Final = 6
# upper end of the central 95 %
_UPPER: Final = 0.975


@dataclass(frozen=True)
class FittedLine:
    """A straight line fitted by least squares.

    Parameters
    ----------
    slope, intercept
        Of y = intercept + slope x. [y per x], [y]
    error
        Standard deviation of the readings about the line. [y]
    mean_x, sum_xx
        Mean of x, and sum of the squared distances from it. [x], [x²]
    count
        Readings. [-]
    """

    slope: float
    intercept: float
    error: float
    mean_x: float
    sum_xx: float
    count: int

    @property
    def factor(self) -> float:
        """Half-width of a 95 % interval in standard errors. [-]"""
        return student_t(self.count - 2)

    @property
    def slope_error(self) -> float:
        """Half-width of the 95 % interval of the slope. [y per x]"""
        return self.factor * self.error / math.sqrt(self.sum_xx)


def student_t(dof: float) -> float:
    """Half-width, in standard errors, of the central 95 % of Student's distribution.

    P(|t| < x) = 0.95.

    Parameters
    ----------
    dof
        Degrees of freedom; infinite for the normal distribution. [-]

    Returns
    -------
    float
        The half-width x. [-]

    Notes
    -----
    Less than one degree of freedom gives infinity: nothing is known about the scatter.

    References
    ----------
    Any table of Student's distribution; scipy.special.stdtrit.

    Examples
    --------
    One degree of freedom is the tangent: tan(0.95 x 90°) = 12.706.

    >>> round(student_t(1), 3)
    12.706
    >>> round(student_t(10), 3)
    2.228
    """
    from scipy.special import ndtri, stdtrit

    if dof < 1:
        return math.inf
    return float(ndtri(_UPPER) if math.isinf(dof) else stdtrit(dof, _UPPER))


def rounding_of(step: float) -> float:
    """Standard deviation that rounding to a step brings: step / sqrt(12).

    Parameters
    ----------
    step
        What an instrument is read to. [any]

    Returns
    -------
    float
        Standard deviation, in the unit of the step. [any]

    Notes
    -----
    Any place between two steps is taken as equally likely.

    References
    ----------
    Standard deviation of a uniform distribution.

    Examples
    --------
    >>> round(rounding_of(0.1), 4)
    0.0289
    """
    return step / math.sqrt(12)


def rounding_error(readings: ArrayLike) -> float:
    """Standard deviation that rounding to the last digit written brings.

    error = step / sqrt(12), the step being the coarsest power of ten that all readings are
    multiples of.

    Parameters
    ----------
    readings
        Values as written, shape (n,). [any]

    Returns
    -------
    float
        Standard deviation, in the unit of the readings. [any]

    Notes
    -----
    The step is at most 1. Readings with more than six decimals were computed, not read: 0.

    References
    ----------
    Standard deviation of a uniform distribution.

    Examples
    --------
    >>> round(rounding_error([74.0, 66.5, 59.2]), 4)  # 0.1 / 3.4641
    0.0289
    """
    values = np.asarray(readings, dtype=np.float64)
    for decimals in range(_MOST_DECIMALS + 1):
        if np.all(
            np.abs(values - np.round(values, decimals)) < 1e-9 * np.maximum(1, np.abs(values))
        ):
            return rounding_of(10.0**-decimals)
    return 0.0


def fitted_line(x: ArrayLike, y: ArrayLike, least_error: float = 0.0) -> FittedLine:
    """The straight line with the least squared distances.

    slope = sum (x - mean x)(y - mean y) / sum (x - mean x)^2; scatter from n - 2 degrees of
    freedom.

    Parameters
    ----------
    x
        Where, shape (n,), not all alike, n at least 3. [any]
    y
        Readings, shape (n,). [any]
    least_error
        Scatter that is there in any case, such as that of rounding. [as y]

    Returns
    -------
    FittedLine
        The line with its scatter. [as x and y]

    Notes
    -----
    Every reading counts alike.

    References
    ----------
    Ordinary least squares; compared with scipy.stats.linregress.

    Examples
    --------
    Means 1 and 2; slope (1 + 0 + 1) / 2 = 1; all three lie on it.

    >>> line = fitted_line([0, 1, 2], [1, 2, 3])
    >>> (line.slope, line.intercept, round(line.error, 9))
    (1.0, 1.0, 0.0)
    """
    at, value = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    mean_x, mean_y = float(at.mean()), float(value.mean())
    sum_xx = float(np.sum((at - mean_x) ** 2))
    slope = float(np.sum((at - mean_x) * (value - mean_y))) / sum_xx
    intercept = mean_y - slope * mean_x
    left = float(np.sum((value - intercept - slope * at) ** 2))
    error = max(math.sqrt(left / (at.size - 2)), least_error)
    return FittedLine(slope, intercept, error, mean_x, sum_xx, int(at.size))


def predicted(line: FittedLine, x: ArrayLike) -> tuple[Floats, Floats]:
    """What a line says at other places, and the half-width within which the next reading lies.

    half-width = t error sqrt(1 + 1/n + (x - mean x)^2 / sum (x - mean x)^2), 95 of 100 readings.

    Parameters
    ----------
    line
        The fitted line. [as x and y]
    x
        Where, shape (...). [as x]

    Returns
    -------
    tuple[Floats, Floats]
        Value and half-width, shape (...) each. [as y]

    Notes
    -----
    Holds as long as the course stays straight; it knows nothing of what else may happen.

    References
    ----------
    The prediction interval of ordinary least squares.

    Examples
    --------
    Three points at 0, 1, 2 with scatter s: at x = 1 the factor is sqrt(1 + 1/3) = 1.1547.

    >>> value, half = predicted(FittedLine(1.0, 1.0, 0.1, 1.0, 2.0, 3), 1.0)
    >>> (float(value), round(float(half) / (0.1 * student_t(1)), 4))
    (2.0, 1.1547)
    """
    at = np.asarray(x, dtype=np.float64)
    spread = np.sqrt(1 + 1 / line.count + (at - line.mean_x) ** 2 / line.sum_xx)
    return line.intercept + line.slope * at, line.factor * line.error * spread
