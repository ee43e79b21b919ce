"""Water activity of the aqueous phase from what is dissolved in it.

Nonelectrolytes are pooled into one pseudo-solute (Norrish), salts are pooled at the total ionic
strength (Pitzer), polymers and salts without constants count as ideal particles; the three water
activities are multiplied. All compositions are per kilogram of water in the aqueous phase, all
constants are for 25 °C.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from preservecheck.chemistry.electrolytes import (
    A_PHI_25C,
    Pitzer,
    electrolytes_pooled,
    pitzer_osmotic_ln_aw,
)
from preservecheck.chemistry.nonelectrolytes import (
    MOLAR_MASS_WATER_KG_MOL,
    Norrish,
    beyond_mole_fraction,
    norrish_pooled,
)

__all__ = [
    "A_PHI_25C",
    "MOLAR_MASS_WATER_KG_MOL",
    "Bools",
    "Floats",
    "Norrish",
    "Pitzer",
    "WaterActivity",
    "beyond_mole_fraction",
    "electrolytes_pooled",
    "estimate_error",
    "ideal_ln_aw",
    "molality",
    "norrish_pooled",
    "pitzer_osmotic_ln_aw",
    "water_activity",
]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# half-widths of the error at these water activities, made for this program; see estimate_error
_ERROR_AW: Final = (0.85, 0.86, 0.93, 0.94, 0.97, 0.98)
_ERROR_HALF_WIDTH: Final = (0.03, 0.015, 0.015, 0.006, 0.006, 0.003)
_OUTSIDE_FACTOR: Final = 2.0


class WaterActivity(NamedTuple):
    """Estimated water activity [-], and whether a constant was used outside its range [-]."""

    aw: Floats
    outside: Bools


def molality(mass_g: ArrayLike, molar_mass_g_mol: ArrayLike, water_g: ArrayLike) -> Floats:
    """Amount of a solute per kilogram of water.

    m = 1000 * mass / (molar mass * mass of water).

    Parameters
    ----------
    mass_g
        Mass of the dissolved pure substance. [g]
    molar_mass_g_mol
        Its molar mass. [g/mol]
    water_g
        Mass of water in the aqueous phase, all sources together; more than 0. [g]

    Returns
    -------
    Floats
        Molality. [mol/kg]

    Notes
    -----
    Water held in hydrates, syrups and pastes belongs to ``water_g``, not to the solute.

    References
    ----------
    Definition.

    Examples
    --------
    10 g glycerin in 90 g water: 10000 / (92.094 x 90) = 1.2065.

    >>> round(float(molality(10, 92.094, 90)), 4)
    1.2065
    """
    water = np.asarray(molar_mass_g_mol, dtype=np.float64) * np.asarray(water_g, dtype=np.float64)
    result: Floats = 1000.0 * np.asarray(mass_g, dtype=np.float64) / water
    return result


def ideal_ln_aw(osmolality_osmol_kg: ArrayLike) -> Floats:
    """Logarithm of the water activity over particles taken as ideal.

    ln aw = -Mw * osmolality; for polymers, proteins, gums and salts without constants at small
    amounts.

    Parameters
    ----------
    osmolality_osmol_kg
        Sum of the dissolved particles per kilogram of water. [osmol/kg]

    Returns
    -------
    Floats
        ln aw. [-]

    Notes
    -----
    For a salt without constants the osmolality is its molality times its effective number of
    particles.

    References
    ----------
    Definition of the osmotic coefficient, with the value 1.

    Examples
    --------
    >>> round(float(ideal_ln_aw(1.0)), 7)
    -0.0180153
    """
    result: Floats = -MOLAR_MASS_WATER_KG_MOL * np.asarray(osmolality_osmol_kg, dtype=np.float64)
    return result


def water_activity(
    nonelectrolyte_mol_kg: ArrayLike,
    nonelectrolytes: Norrish,
    electrolyte_mol_kg: ArrayLike,
    electrolytes: Pitzer,
    osmolality_osmol_kg: ArrayLike = 0.0,
) -> WaterActivity:
    """Estimate the water activity of an aqueous phase.

    aw = aw(nonelectrolytes pooled) * aw(salts pooled) * aw(ideal particles); 20 to 30 °C,
    constants for 25 °C.

    Parameters
    ----------
    nonelectrolyte_mol_kg
        Molality of each nonelectrolyte, shape (..., S); S may be 0. [mol/kg]
    nonelectrolytes
        Their constants, shape (S,). [-]
    electrolyte_mol_kg
        Molality of each salt, shape (..., E); E may be 0. [mol/kg]
    electrolytes
        Their constants, shape (E,). [-]
    osmolality_osmol_kg
        Particles taken as ideal, shape (...). [osmol/kg]

    Returns
    -------
    WaterActivity
        ``aw`` [-] and ``outside`` [-], each of shape (...).

    Notes
    -----
    Per kilogram of water in the aqueous phase: oils, waxes and undissolved powders are left out.
    A plain product over single solutes reads too high in concentrated mixtures.

    References
    ----------
    norrish-1966, pitzer-1973, ferro-fontan-1980, ferro-fontan-1981; the product of the groups
    follows ross-1975.

    Examples
    --------
    Nothing dissolved, then 1 osmol/kg: exp(-0.0180153) = 0.98215.

    >>> none = Norrish([], [], []), Pitzer(*([[]] * 11))
    >>> float(water_activity([], none[0], [], none[1]).aw)
    1.0
    >>> round(float(water_activity([], none[0], [], none[1], 1.0).aw), 5)
    0.98215
    """
    ln_salts, outside_salts = electrolytes_pooled(electrolyte_mol_kg, *electrolytes)
    ln_pool = norrish_pooled(nonelectrolyte_mol_kg, nonelectrolytes.k, nonelectrolytes.k3)
    outside = beyond_mole_fraction(nonelectrolyte_mol_kg, nonelectrolytes.valid_max_mole_fraction)
    aw: Floats = np.exp(ln_pool + ln_salts + ideal_ln_aw(osmolality_osmol_kg))
    flag: Bools = np.asarray(outside | outside_salts)
    return WaterActivity(aw, np.broadcast_to(flag, np.shape(aw))[()])


def estimate_error(aw: ArrayLike, outside: ArrayLike = False) -> Floats:
    """Half-width within which about 95 of 100 estimates of water activity lie.

    0.003 down to aw 0.98, 0.006 from 0.97 to 0.94, 0.015 from 0.93 to 0.86, 0.03 below 0.85,
    straight lines between; twice that outside the validity of a constant.

    Parameters
    ----------
    aw
        Estimated water activity. [-]
    outside
        Whether a constant was used outside its range. [-]

    Returns
    -------
    Floats
        Half-width. [-]

    Notes
    -----
    The bands (edges 0.97, 0.93, 0.85) are made continuous upwards, so the half-width
    is never below that of the band.

    References
    ----------
    Estimate made for this program from 239 measured solutions.

    Examples
    --------
    >>> estimate_error([0.99, 0.95, 0.90, 0.80]).tolist()
    [0.003, 0.006, 0.015, 0.03]
    >>> float(estimate_error(0.80, True))
    0.06
    """
    width = np.interp(np.asarray(aw, dtype=np.float64), _ERROR_AW, _ERROR_HALF_WIDTH)
    result: Floats = width * np.where(np.asarray(outside), _OUTSIDE_FACTOR, 1.0)
    return result
