"""Charge of surfactants, polymers and preservatives, as amounts that can be compared."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# 1 per cent of a kilogram
_G_PER_KG_PER_PERCENT: Final = 10.0
_MEQ_PER_EQ: Final = 1000.0


def charge_meq_kg(
    percent: ArrayLike, molar_mass_g_mol: ArrayLike, charge_number: ArrayLike
) -> Floats:
    """Charge that an ionic substance brings into a product.

    meq/kg = percent * 10 / M * 1000 * z; fully charged.

    Parameters
    ----------
    percent
        Substance in the whole formula, as 100 per cent active. [% w/w]
    molar_mass_g_mol
        Molar mass with its counter-ion. [g/mol]
    charge_number
        Charges per molecule, with their sign. [-]

    Returns
    -------
    Floats
        Charge per kilogram of product, with the sign of ``charge_number``. [meq/kg]

    Notes
    -----
    For an acid or base that is only partly ionised multiply by the ionised share.

    References
    ----------
    Arithmetic.

    Examples
    --------
    0.1 % benzalkonium chloride of 360 g/mol: 1 g/kg / 360 = 2.78 mmol/kg.

    >>> round(float(charge_meq_kg(0.1, 360, 1)), 2)
    2.78
    """
    mass = _G_PER_KG_PER_PERCENT * np.asarray(percent, dtype=np.float64)
    moles = mass / np.asarray(molar_mass_g_mol, dtype=np.float64)
    result: Floats = moles * _MEQ_PER_EQ * np.asarray(charge_number)
    return result


def charge_meq_kg_polymer(percent: ArrayLike, meq_per_g: ArrayLike) -> Floats:
    """Charge that a charged polymer brings into a product.

    meq/kg = percent * 10 * charge density.

    Parameters
    ----------
    percent
        Dry polymer in the whole formula. [% w/w]
    meq_per_g
        Charge density of the dry polymer, negative for anionic ones. [meq/g]

    Returns
    -------
    Floats
        Charge per kilogram of product, with the sign of ``meq_per_g``. [meq/kg]

    Notes
    -----
    The density of weak polyacids such as carbomer is that at the product's pH.

    References
    ----------
    Arithmetic.

    Examples
    --------
    >>> round(float(charge_meq_kg_polymer(0.2, 1.2)), 2)  # 2 g/kg x 1.2
    2.4
    """
    mass = _G_PER_KG_PER_PERCENT * np.asarray(percent, dtype=np.float64)
    result: Floats = mass * np.asarray(meq_per_g, dtype=np.float64)
    return result


def cationic_anionic_meq_kg(charges_meq_kg: ArrayLike) -> tuple[Floats, Floats]:
    """Positive and negative charge of a formula, each as an amount.

    cationic = sum of the positive charges, anionic = minus the sum of the negative ones.

    Parameters
    ----------
    charges_meq_kg
        Charge of each ingredient with its sign, shape (..., n). [meq/kg]

    Returns
    -------
    cationic : Floats
        Positive charge, shape (...). [meq/kg]
    anionic : Floats
        Negative charge as a positive number, shape (...). [meq/kg]

    Notes
    -----
    Amphoteric ingredients belong to neither and are left out by the caller.

    References
    ----------
    Arithmetic.

    Examples
    --------
    >>> cationic, anionic = cationic_anionic_meq_kg([50.0, -20.0, 2.5])
    >>> float(cationic), float(anionic)
    (52.5, 20.0)
    """
    charges = np.asarray(charges_meq_kg, dtype=np.float64)
    cationic: Floats = np.sum(np.maximum(charges, 0.0), axis=-1)
    anionic: Floats = np.sum(np.maximum(-charges, 0.0), axis=-1)
    return cationic, anionic


def net_charge_meq_kg(charges_meq_kg: ArrayLike) -> Floats:
    """Charge that remains after all opposite charges have met.

    net = sum of the charges with their signs.

    Parameters
    ----------
    charges_meq_kg
        Charge of each ingredient with its sign, shape (..., n). [meq/kg]

    Returns
    -------
    Floats
        Net charge, shape (...); above 0 the formula is cationic. [meq/kg]

    Notes
    -----
    Takes binding as one to one, the worst case.

    References
    ----------
    Arithmetic.

    Examples
    --------
    >>> float(net_charge_meq_kg([50.0, -20.0, 2.5]))
    32.5
    """
    result: Floats = np.sum(np.asarray(charges_meq_kg, dtype=np.float64), axis=-1)
    return result


def neutralisation_ratio(charge_meq_kg_own: ArrayLike, opposite_meq_kg: ArrayLike) -> Floats:
    """Opposite charge available per charge of a preservative.

    ratio = |opposite| / |own|.

    Parameters
    ----------
    charge_meq_kg_own
        Charge of the preservative, with or without its sign. [meq/kg]
    opposite_meq_kg
        Charge of the other sign in the rest of the formula, with or without its sign. [meq/kg]

    Returns
    -------
    Floats
        Ratio; from 1 on all of the preservative can be bound; nan where it has no charge. [-]

    Notes
    -----
    Not capped at 1: how large the excess is matters for the wording.

    References
    ----------
    Arithmetic; sulfate and sulfonate surfactants bind quats nearly one to one.

    Examples
    --------
    >>> float(neutralisation_ratio(2.5, 50.0))
    20.0
    >>> float(neutralisation_ratio(0.0, 50.0))
    nan
    """
    own = np.abs(np.asarray(charge_meq_kg_own, dtype=np.float64))
    other = np.abs(np.asarray(opposite_meq_kg, dtype=np.float64))
    result: Floats = np.where(own > 0.0, other, np.nan) / np.where(own > 0.0, own, 1.0)
    return result
