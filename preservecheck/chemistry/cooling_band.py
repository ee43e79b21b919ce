"""How sure a fitted cooling curve is: its rate, and the band about it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from preservecheck.chemistry.cooling import temperature_at
from preservecheck.chemistry.cooling_fit import CoolingFit

Floats = NDArray[np.float64]


def temperature_band(fit: CoolingFit, time_min: ArrayLike) -> tuple[Floats, Floats]:
    """Curve and the half-width of its 95 % band.

    half-width = factor sqrt(g C g), with g the slopes of the curve by its numbers and C their
    covariance.

    Parameters
    ----------
    fit
        The fitted curve. [min, °C]
    time_min
        Times, shape (m,). [min]

    Returns
    -------
    tuple[Floats, Floats]
        Temperature and half-width, shape (m,) each. [°C]

    Notes
    -----
    Of first order; for drawing. Times to a temperature come from ``minutes_band``.

    References
    ----------
    Propagation of errors.

    Examples
    --------
    Where the readings lie on the curve, the band has no width.

    >>> from preservecheck.chemistry.cooling_fit import fitted_cooling
    >>> fit = fitted_cooling([0, 10, 20], temperature_at([0, 10, 20], 74, 21, 0.02), 21.0)
    >>> round(float(temperature_band(fit, 20.0)[1]), 3)
    0.0
    """
    time = np.asarray(time_min, dtype=np.float64)
    known = _slopes(fit, fit.time_min)
    covariance = np.linalg.pinv(known.T @ known) * fit.error_c**2
    wanted = _slopes(fit, np.atleast_1d(time))
    half = fit.factor * np.sqrt(
        np.maximum(np.einsum("ij,jk,ik->i", wanted, covariance, wanted), 0.0)
    )
    curve = temperature_at(time, fit.start_c, fit.room_c, fit.rate_per_min)
    return curve, np.asarray(half.reshape(time.shape))


def rate_tolerance(fit: CoolingFit) -> float:
    """Half-width of the 95 % interval of the rate constant.

    factor sqrt(C_kk), C the covariance of the fitted numbers.

    Parameters
    ----------
    fit
        The fitted curve. [min, °C]

    Returns
    -------
    float
        Half-width. [1/min]

    Notes
    -----
    Of first order.

    References
    ----------
    Propagation of errors.

    Examples
    --------
    >>> from preservecheck.chemistry.cooling_fit import fitted_cooling
    >>> fit = fitted_cooling([0, 10, 20], temperature_at([0, 10, 20], 74, 21, 0.02), 21.0)
    >>> round(rate_tolerance(fit), 6)
    0.0
    """
    known = _slopes(fit, fit.time_min)
    covariance = np.linalg.pinv(known.T @ known) * fit.error_c**2
    return float(fit.factor * math.sqrt(max(covariance[1, 1], 0.0)))


def _slopes(fit: CoolingFit, time: Floats) -> Floats:
    """Change of the curve with start, rate and (where fitted) room. (m, 2 or 3)"""
    fall = np.exp(-fit.rate_per_min * time)
    columns = [fall, -(fit.start_c - fit.room_c) * time * fall]
    return np.stack(columns if fit.room_known else [*columns, 1 - fall], axis=-1)
