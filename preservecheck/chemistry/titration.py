"""A bench titration read as a curve: how much it takes to reach a pH, and how strongly the product
resists."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def monotone(values: ArrayLike, *, rising: bool) -> Floats:
    """Readings with the scatter against their trend taken out.

    Neighbours that run against the trend take their mean, until none does: the least squared change
    that makes them monotone.

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
    Every reading counts alike.

    References
    ----------
    Isotonic regression, scipy.optimize.isotonic_regression.

    Examples
    --------
    >>> [round(v, 6) for v in monotone([6.0, 5.2, 5.4, 4.8], rising=False).tolist()]
    [6.0, 5.3, 5.3, 4.8]
    """
    from scipy.optimize import isotonic_regression

    return np.asarray(isotonic_regression(values, increasing=rising).x, dtype=np.float64)


def interpolated(x: ArrayLike, y: ArrayLike, wanted: ArrayLike) -> Floats:
    """Value of the smooth monotone curve between readings.

    Cubic pieces that nowhere overshoot the readings.

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
    Never above the higher or below the lower of two neighbouring readings; two readings give the
    straight line between them.

    References
    ----------
    The monotone piecewise cubic of Fritsch and Butland, scipy.interpolate.PchipInterpolator.

    Examples
    --------
    >>> interpolated([0, 1, 2], [6.0, 5.0, 4.0], [0.5, 3.0]).tolist()
    [5.5, nan]
    """
    return np.asarray(_curve(x, y)(wanted), dtype=np.float64)


def amount_for(x: ArrayLike, y: ArrayLike, target: float) -> float:
    """Where the smooth monotone curve takes a value.

    The root of its cubic pieces.

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
    As ``interpolated``.

    Examples
    --------
    >>> round(amount_for([0, 1, 2], [6.0, 5.0, 4.0], 4.75), 6)
    1.25
    """
    read = np.flatnonzero(np.asarray(y) == target)
    if read.size:
        return float(np.asarray(x)[read[0]])
    roots = _curve(x, y).solve(target, extrapolate=False)
    return float(roots[0]) if roots.size else float("nan")


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


def _curve(x: ArrayLike, y: ArrayLike) -> Any:
    """The monotone curve through readings; not-a-number beyond them."""
    from scipy.interpolate import PchipInterpolator

    return PchipInterpolator(
        np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64), extrapolate=False
    )
