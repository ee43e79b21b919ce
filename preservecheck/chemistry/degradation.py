"""Loss of preservatives over a product's life: first-order rates that depend on pH and temperature.

Months are twelfths of a year of 365.25 days. Coefficients stand in ``degradation.csv``.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_GAS_KJ: Final = 0.00831446
_REFERENCE_K: Final = 298.15
HOURS_A_MONTH: Final = 730.5


def loss_rate(  # noqa: PLR0913, PLR0917
    ph: ArrayLike,
    temp_c: ArrayLike,
    reference_rate_per_month: ArrayLike,
    ph_reference: ArrayLike,
    ph_slope: ArrayLike,
    activation_kj_mol: ArrayLike,
    pka: ArrayLike = np.inf,
    ph_low: ArrayLike = 0.0,
    ph_high: ArrayLike = 14.0,
) -> Floats:
    """First-order rate constant at a pH and a storage temperature.

    k = k_ref 10^(slope (pH - pH_ref)) f(pH) / f(pH_ref) exp(-Ea / R (1/T - 1/298.15)), f the
    undissociated share; beyond ``ph_low`` and ``ph_high`` the rate of that end.

    Parameters
    ----------
    ph
        pH of the product. [-]
    temp_c
        Storage temperature. [°C]
    reference_rate_per_month
        Rate at 25 °C and the reference pH. [1/month]
    ph_reference, ph_slope
        Reference pH [-] and rise of log10 k per unit of pH: 1 for hydroxide, -1 for acid. [-]
    activation_kj_mol
        Activation energy of the observed rate; nan: that of 25 °C is taken. [kJ/mol]
    pka
        pKa where only the undissociated form reacts, inf otherwise. [-]
    ph_low, ph_high
        Range of pH that the law was read in. [-]

    Returns
    -------
    Floats
        k. [1/month]

    Notes
    -----
    Buffers, light, metals and amines change rates: see the factor of error of each row.

    References
    ----------
    Arrhenius; specific hydroxide and acid catalysis.

    Examples
    --------
    0.0248 a month at pH 7.33 with slope 0.88, no pKa: at pH 6.33 0.0248 / 10^0.88 = 0.003269.
    A factor 4 for 10 °C (102.4 kJ/mol, from 20 to 30 °C): exp(-12.316 x -0.11252) = 4.0.

    >>> round(float(loss_rate(6.33, 25, 0.0248, 7.33, 0.88, 102.0)), 6)
    0.003269
    >>> hot, cold = (loss_rate(7, t, 1.0, 7, 0, 102.4) for t in (30, 20))
    >>> round(float(hot / cold), 2)
    4.0
    """
    at = np.clip(ph, ph_low, ph_high)
    reference = np.asarray(ph_reference, dtype=np.float64)
    shift = np.asarray(ph_slope, dtype=np.float64) * (at - reference)
    with np.errstate(over="ignore"):
        form = (1.0 + 10.0 ** (reference - np.asarray(pka))) / (
            1.0 + 10.0 ** (at - np.asarray(pka))
        )
    inverse = 1.0 / (np.asarray(temp_c, dtype=np.float64) + 273.15) - 1.0 / _REFERENCE_K
    energy = np.nan_to_num(np.asarray(activation_kj_mol, dtype=np.float64))
    result: Floats = (
        np.asarray(reference_rate_per_month)
        * 10.0**shift
        * form
        * np.exp(-energy / _GAS_KJ * inverse)
    )
    return result


def left_fraction(rate_per_month: ArrayLike, months: ArrayLike) -> Floats:
    """Share that is left after some months.

    exp(-k t).

    Parameters
    ----------
    rate_per_month
        First-order rate constant. [1/month]
    months
        Time. [month]

    Returns
    -------
    Floats
        Share. [-]

    References
    ----------
    First-order kinetics.

    Examples
    --------
    25 % lost in 12 months is k = -ln 0.75 / 12 = 0.02397; 30 months leave 0.75^2.5 = 0.487.

    >>> round(float(left_fraction(0.0239735, 30)), 3)
    0.487
    """
    result: Floats = np.exp(-np.asarray(rate_per_month, dtype=np.float64) * np.asarray(months))
    return result


def half_life_months(rate_per_month: ArrayLike) -> Floats:
    """Time in which half is lost.

    ln 2 / k; inf where nothing is lost.

    Parameters
    ----------
    rate_per_month
        First-order rate constant. [1/month]

    Returns
    -------
    Floats
        Half-life. [month]

    References
    ----------
    First-order kinetics.

    Examples
    --------
    >>> half_life_months([0.1, 0.0]).round(2).tolist()
    [6.93, inf]
    """
    k = np.asarray(rate_per_month, dtype=np.float64)
    with np.errstate(divide="ignore"):
        result: Floats = np.log(2.0) / k
    return result


def rate_from_half_life(months: ArrayLike) -> Floats:
    """Rate constant from a half-life: ln 2 / t.

    Parameters
    ----------
    months
        Half-life. [month]

    Returns
    -------
    Floats
        k. [1/month]

    References
    ----------
    First-order kinetics.

    Examples
    --------
    >>> round(float(rate_from_half_life(2.0)), 4)
    0.3466
    """
    result: Floats = np.log(2.0) / np.asarray(months, dtype=np.float64)
    return result


def band(rate_per_month: ArrayLike, factor: ArrayLike, months: ArrayLike) -> tuple[Floats, Floats]:
    """Least and most that may be left, the rate off by a factor either way.

    exp(-k factor t), exp(-k t / factor).

    Parameters
    ----------
    rate_per_month
        First-order rate constant. [1/month]
    factor
        How far the rate may be off, times and divided by. [-]
    months
        Time. [month]

    Returns
    -------
    tuple[Floats, Floats]
        Low and high share. [-]

    References
    ----------
    Definition.

    Examples
    --------
    k t = 0.3 with a factor 3: exp(-0.9) = 0.407, exp(-0.1) = 0.905.

    >>> [round(float(x), 3) for x in band(0.03, 3.0, 10)]
    [0.407, 0.905]
    """
    k, f = np.asarray(rate_per_month, dtype=np.float64), np.asarray(factor, dtype=np.float64)
    return left_fraction(k * f, months), left_fraction(k / f, months)
