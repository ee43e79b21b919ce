"""Water activity over uncharged solutes, pooled into one pseudo-solute (Norrish); constants for 25
°C."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from preservecheck.chemistry.summation import ordered_sum, weighed_sum

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# molar mass of water (library: IUPAC 2021 weights)
MOLAR_MASS_WATER_KG_MOL: Final = 0.0180153


class Norrish(NamedTuple):
    """Constants of nonelectrolytes, one entry per solute.

    k and k3 belong to the natural logarithm, negative where water is bound; 0 means ideal. [-]
    valid_max_mole_fraction is the highest mole fraction the constants were checked at. [-]
    """

    k: ArrayLike
    k3: ArrayLike
    valid_max_mole_fraction: ArrayLike


def norrish_pooled(molality_mol_kg: ArrayLike, k: ArrayLike, k3: ArrayLike) -> Floats:
    """Logarithm of the water activity over several nonelectrolytes.

    ln aw = ln x_w + K X^2 + K3 X^3, with x_w the mole fraction of water, X = 1 - x_w, and K, K3
    the means over the solutes by mole share; 25 °C, within the validity of each constant.

    Parameters
    ----------
    molality_mol_kg
        Molality of each solute, shape (..., S). [mol/kg]
    k
        Norrish constant of each solute, natural logarithm, negative where water is bound, shape
        (S,) or (..., S). [-]
    k3
        Coefficient of the cubic term, same shape as ``k``. [-]

    Returns
    -------
    Floats
        ln aw, shape (...); 0 without any solute. [-]

    Notes
    -----
    Constants printed for log10, or printed without their minus sign, must be converted first
    (factor 2.3026). K = K3 = 0 is Raoult's law. A pseudo-solute keeps the cross terms that a
    plain sum of K_i x_i^2 loses.

    References
    ----------
    norrish-1966 for one solute; ferro-fontan-1981 for the pooling.

    Examples
    --------
    Sucrose, 1 mol/kg, K = -6.47: X = 0.0180153 / 1.0180153 = 0.0176965; ln x_w = -ln 1.0180153 =
    -0.0178549; -0.0178549 - 6.47 x 0.00031317 = -0.0198811.

    >>> round(float(norrish_pooled([1.0], [-6.47], [0.0])), 6)
    -0.019881
    """
    m = np.asarray(molality_mol_kg, dtype=np.float64)
    total = ordered_sum(m)
    share = np.where(total > 0.0, total, 1.0)
    mixed = weighed_sum(m, k) / share
    mixed3 = weighed_sum(m, k3) / share
    particles = MOLAR_MASS_WATER_KG_MOL * total
    x = particles / (1.0 + particles)
    result: Floats = -np.log1p(particles) + x**2 * (mixed + mixed3 * x)
    return result


def beyond_mole_fraction(molality_mol_kg: ArrayLike, valid_max_mole_fraction: ArrayLike) -> Bools:
    """Whether nonelectrolytes are more concentrated than their constants were checked for.

    True where sum of x_i / x_i,max is above 1; for one solute that is x > x_max.

    Parameters
    ----------
    molality_mol_kg
        Molality of each solute, shape (..., S). [mol/kg]
    valid_max_mole_fraction
        Highest mole fraction each constant was checked at, shape (S,). [-]

    Returns
    -------
    Bools
        Flag, shape (...). [-]

    Notes
    -----
    The sum makes a mixture of several solutes, each just inside, count as outside. A solute whose
    range is unknown (nan) counts as outside as soon as there is any of it.

    References
    ----------
    A rule of this program.

    Examples
    --------
    Urea to x = 0.02: 1 mol/kg is x = 0.0177, 2 mol/kg is x = 0.0348.

    >>> beyond_mole_fraction([[1.0], [2.0]], [0.02]).tolist()
    [False, True]
    """
    m = np.asarray(molality_mol_kg, dtype=np.float64)
    limit = np.asarray(valid_max_mole_fraction, dtype=np.float64)
    unknown = np.isnan(limit)
    total = 1.0 / MOLAR_MASS_WATER_KG_MOL + ordered_sum(m)
    used = weighed_sum(m, np.where(unknown, 0.0, 1.0 / limit)) / total
    result: Bools = np.asarray((used > 1.0) | np.any(m[..., unknown] > 0.0, axis=-1))
    return result[()]
