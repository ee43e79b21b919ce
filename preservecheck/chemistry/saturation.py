"""How much of a solute dissolves: what lies above its solubility is a solid and lowers nothing."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


class Dissolved(NamedTuple):
    """Molality in solution and molality that stays solid [mol/kg], each of shape (..., S)."""

    dissolved: Floats
    solid: Floats


def dissolved(
    molality_mol_kg: ArrayLike, solubility_g_100g: ArrayLike, molar_mass_g_mol: ArrayLike
) -> Dissolved:
    """Divide each solute into what dissolves and what stays solid.

    limit = 10 x solubility / molar mass.

    Parameters
    ----------
    molality_mol_kg
        Amount of each solute as if all of it dissolved, shape (..., S). [mol/kg]
    solubility_g_100g
        Solubility of each, anhydrous, shape (S,); nan for what mixes in every proportion or is not
        known. [g/100 g water]
    molar_mass_g_mol
        Molar mass of each, shape (S,). [g/mol]

    Returns
    -------
    Dissolved
        What dissolves and what does not.

    Notes
    -----
    Each solute as if alone: other solutes salt it out or in, which is not counted. A solid that is
    a hydrate takes some water along; the solution stays saturated, so its water activity does not
    change.

    References
    ----------
    Definition of solubility; figures of ``solutes.csv``, 25 °C.

    Examples
    --------
    Sodium bicarbonate, 10.4 g: 104 / 84.007 = 1.238 mol/kg.

    >>> both = dissolved([5.0], [10.4], [84.007])
    >>> both.dissolved.round(3).tolist(), both.solid.round(3).tolist()
    ([1.238], [3.762])
    """
    m = np.asarray(molality_mol_kg, dtype=np.float64)
    limit = 10.0 * np.asarray(solubility_g_100g, dtype=np.float64) / np.asarray(molar_mass_g_mol)
    inside: Floats = np.minimum(m, np.where(np.isnan(limit), np.inf, limit))
    return Dissolved(inside, m - inside)


def corrected_at_saturation(
    aw: ArrayLike, solid_mol_kg: ArrayLike, table_aw: ArrayLike, model_aw: ArrayLike
) -> Floats:
    """Water activity beside undissolved solute, brought to the tables of saturated solutions.

    aw times table / model for each solute of which some is solid.

    Parameters
    ----------
    aw
        Estimate with the dissolved part, shape (...). [-]
    solid_mol_kg
        Solid part of each solute, shape (..., S). [mol/kg]
    table_aw
        Measured water activity over the saturated solution of each alone, shape (S,); nan where
        unknown. [-]
    model_aw
        What the model says of that solution, shape (S,). [-]

    Returns
    -------
    Floats
        Water activity. [-]

    Notes
    -----
    Exact for one solute alone; further solutes lower the water activity as they do in the model.

    References
    ----------
    Tables of saturated solutions, 25 °C.

    Examples
    --------
    Potassium acetate, far beyond the range of its constants: the model says 0.28, the table 0.225.

    >>> corrected_at_saturation([0.28, 0.28], [[1.0], [0.0]], [0.225], [0.28]).tolist()
    [0.225, 0.28]
    """
    over = np.asarray(solid_mol_kg, dtype=np.float64) > 0
    ratio = np.asarray(table_aw, dtype=np.float64) / np.asarray(model_aw, dtype=np.float64)
    known = over & ~np.isnan(ratio)
    result: Floats = np.asarray(aw, dtype=np.float64)
    for i in np.flatnonzero(known.any(axis=tuple(range(known.ndim - 1)))):
        result = result * np.where(known[..., i], ratio[i], 1.0)
    return result


def far_outside(used: ArrayLike, aw: ArrayLike, most: float = 1.25, matters: float = 0.95) -> Bools:
    """Whether an estimate is too far outside the range of its constants to decide anything.

    True where the largest concentration is more than ``most`` times the end of its range and the
    water activity is below ``matters``.

    Parameters
    ----------
    used
        Largest concentration over the end of its range: molality of a salt at the total ionic
        strength, or mole fraction. [-]
    aw
        Estimated water activity. [-]
    most, matters
        Limits of the rule. [-]

    Returns
    -------
    Bools
        The answer is then unknown: have it measured. [-]

    References
    ----------
    A rule of this program; inside 1.25 times the range the estimates at saturation lie within 0.02
    of the tables.

    Examples
    --------
    >>> far_outside([1.1, 1.6, 1.6], [0.80, 0.80, 0.97]).tolist()
    [False, True, False]
    """
    result: Bools = (np.asarray(used) > most) & (np.asarray(aw) < matters)
    return result
