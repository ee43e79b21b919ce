"""A bench titration read as a curve: how much it takes to reach a pH, and how strongly the product
resists."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def monotone(values: ArrayLike, *, rising: bool) -> Floats:
    """Readings with the scatter against their trend taken out.

    Neighbours that run against the trend take their mean, until none does.

    Parameters
    ----------
    values
        Readings in order, shape (n,). [any]
    rising
        Whether they should rise. [-]

    Returns
    -------
    Floats
        Readings that never run against the trend, shape (n,). [any]

    Notes
    -----
    The least squared change that makes them monotone.

    References
    ----------
    Pooling of adjacent violators, as in textbooks of isotonic regression.

    Examples
    --------
    >>> [round(v, 6) for v in monotone([6.0, 5.2, 5.4, 4.8], rising=False).tolist()]
    [6.0, 5.3, 5.3, 4.8]
    """
    sign = 1.0 if rising else -1.0
    blocks: list[tuple[float, int]] = []
    for value in sign * np.asarray(values, dtype=np.float64):
        mean, count = float(value), 1
        while blocks and blocks[-1][0] > mean:
            before, n = blocks.pop()
            mean, count = (before * n + mean * count) / (n + count), n + count
        blocks.append((mean, count))
    return np.asarray(sign * np.repeat([m for m, _ in blocks], [n for _, n in blocks]))


def curve_slopes(x: ArrayLike, y: ArrayLike) -> Floats:
    """Slopes at the readings of a smooth curve that nowhere overshoots them.

    Inside: weighted harmonic mean of the two neighbouring secants, 0 at a turn; at the ends a
    three-point slope, held back so that the curve stays monotone.

    Parameters
    ----------
    x
        Where, ascending, shape (n,), n at least 2. [any]
    y
        Readings, shape (n,). [any]

    Returns
    -------
    Floats
        Slopes, shape (n,). [y per x]

    Notes
    -----
    Two readings give the straight line between them.

    References
    ----------
    The monotone piecewise cubic of Fritsch and Butland (recalled); compared with
    scipy.interpolate.PchipInterpolator.

    Examples
    --------
    Secants 1 and 3 over equal steps: 2 x 1 x 3 / (1 + 3) = 1.5 in the middle.

    >>> float(curve_slopes([0, 1, 2], [0, 1, 4])[1])
    1.5
    """
    at, value = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    step = np.diff(at)
    secant = np.diff(value) / step
    if secant.size == 1:
        return np.repeat(secant, 2)
    first, second = 2 * step[1:] + step[:-1], step[1:] + 2 * step[:-1]
    same = secant[:-1] * secant[1:] > 0
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = (first + second) / (first / secant[:-1] + second / secant[1:])
    inner = np.where(same, mean, 0.0)
    return np.concatenate(
        [
            [_end_slope(step[0], step[1], secant[0], secant[1])],
            inner,
            [_end_slope(step[-1], step[-2], secant[-1], secant[-2])],
        ]
    )


def _end_slope(near: float, far: float, first: float, second: float) -> float:
    """Slope at an end, from the two secants next to it."""
    slope = ((2 * near + far) * first - near * second) / (near + far)
    if slope * first <= 0:
        return 0.0
    if first * second <= 0 and abs(slope) > 3 * abs(first):
        return float(3 * first)
    return float(slope)


def interpolated(x: ArrayLike, y: ArrayLike, wanted: ArrayLike) -> Floats:
    """Value of the smooth monotone curve between readings.

    Cubic pieces with the slopes of ``curve_slopes``.

    Parameters
    ----------
    x
        Where, ascending, shape (n,), n at least 2. [any]
    y
        Readings, shape (n,). [any]
    wanted
        Places, shape (...). [as x]

    Returns
    -------
    Floats
        Values, shape (...); not-a-number outside the readings. [as y]

    Notes
    -----
    Never above the higher or below the lower of two neighbouring readings; nothing is extrapolated.

    References
    ----------
    As ``curve_slopes``.

    Examples
    --------
    >>> interpolated([0, 1, 2], [6.0, 5.0, 4.0], [0.5, 3.0]).tolist()
    [5.5, nan]
    """
    at, value = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    slope = curve_slopes(at, value)
    place = np.asarray(wanted, dtype=np.float64)
    i = np.clip(np.searchsorted(at, place, side="right") - 1, 0, at.size - 2)
    step = at[i + 1] - at[i]
    t = (place - at[i]) / step
    inside = (
        value[i] * (1 + 2 * t) * (1 - t) ** 2
        + value[i + 1] * t**2 * (3 - 2 * t)
        + step * (slope[i] * t * (1 - t) ** 2 - slope[i + 1] * t**2 * (1 - t))
    )
    return np.asarray(np.where((place >= at[0]) & (place <= at[-1]), inside, np.nan))


def amount_for(x: ArrayLike, y: ArrayLike, target: float) -> float:
    """Where the smooth monotone curve takes a value.

    Halving of the interval in which the curve passes the target.

    Parameters
    ----------
    x
        Where, ascending, shape (n,), n at least 2. [any]
    y
        Monotone readings, shape (n,). [any]
    target
        Value wanted. [as y]

    Returns
    -------
    float
        The first place that has it; not-a-number where the readings do not reach it. [as x]

    Notes
    -----
    Nothing is extrapolated.

    References
    ----------
    As ``curve_slopes``.

    Examples
    --------
    >>> round(amount_for([0, 1, 2], [6.0, 5.0, 4.0], 4.75), 6)
    1.25
    """
    at, value = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    for i in range(at.size - 1):
        if (value[i] - target) * (value[i + 1] - target) > 0:
            continue
        low, high = float(at[i]), float(at[i + 1])
        falling = value[i] > value[i + 1]
        for _ in range(60):
            middle = (low + high) / 2
            before = (float(interpolated(at, value, middle)) > target) == bool(falling)
            low, high = (middle, high) if before else (low, middle)
        return (low + high) / 2
    return float("nan")


def buffer_capacity(amount_mol_kg: ArrayLike, ph: ArrayLike, at_ph: float) -> float:
    """Acid or base that it takes to move the pH by one.

    capacity = |d amount / d pH| on the smooth monotone curve of pH against amount.

    Parameters
    ----------
    amount_mol_kg
        Acid or base added, ascending, shape (n,). [mol/kg]
    ph
        Monotone pH after each, shape (n,). [-]
    at_ph
        Where. [-]

    Returns
    -------
    float
        Capacity; not-a-number outside the readings, infinite where the curve is level. [mol/(kg
        pH)]

    Notes
    -----
    Taken from the curve 0.05 pH to either side, or to the end of the readings.

    References
    ----------
    Van Slyke's buffer value; any textbook.

    Examples
    --------
    A straight curve: 0.02 mol/kg over 2 pH.

    >>> round(buffer_capacity([0, 0.01, 0.02], [6.0, 5.0, 4.0], 5.0), 6)
    0.01
    """
    low, high = float(np.min(ph)), float(np.max(ph))
    if not low <= at_ph <= high:
        return float("nan")
    ends = max(low, at_ph - 0.05), min(high, at_ph + 0.05)
    amounts = [amount_for(amount_mol_kg, ph, end) for end in ends]
    return abs(amounts[1] - amounts[0]) / (ends[1] - ends[0]) if ends[1] > ends[0] else float("inf")
