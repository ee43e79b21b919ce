"""How much of an acid or base is in which form, and what pH a mixture of them has."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from preservecheck.chemistry.acid_forms import (
    free_base_fraction,
    mean_charge,
    species_fractions,
    undissociated_fraction,
)
from preservecheck.chemistry.mixture_ph import PKW_25C, charge_balance_ph
from preservecheck.chemistry.pka import (
    DAVIES_MAX_MOL_L,
    GAS_CONSTANT_J_MOL_K,
    KELVIN_AT_0_C,
    KELVIN_AT_25_C,
    davies_log10_gamma,
    pka_at,
    pka_mixed,
)

__all__ = [
    "DAVIES_MAX_MOL_L",
    "GAS_CONSTANT_J_MOL_K",
    "KELVIN_AT_0_C",
    "KELVIN_AT_25_C",
    "PKW_25C",
    "Floats",
    "acid_equivalent",
    "charge_balance_ph",
    "davies_log10_gamma",
    "free_base_fraction",
    "ionic_strength",
    "mean_charge",
    "pka_at",
    "pka_mixed",
    "species_fractions",
    "undissociated_fraction",
]

Floats = NDArray[np.float64]


def ionic_strength(conc_mol_l: ArrayLike, charge: ArrayLike) -> Floats:
    """Ionic strength of a solution.

    I = 1/2 sum of c z^2 over the ions.

    Parameters
    ----------
    conc_mol_l
        Concentration of each ion, shape (..., n). [mol/L]
    charge
        Charge number of each ion, shape (n,) or (..., n). [-]

    Returns
    -------
    Floats
        Ionic strength, shape (...). [mol/L]

    Notes
    -----
    Only free ions count: of a long-chain cationic surfactant that is about a quarter of its
    counter-ions.

    References
    ----------
    Definition.

    Examples
    --------
    Calcium chloride, 0.1 mol/L: (0.1 x 4 + 0.2 x 1) / 2 = 0.3.

    >>> round(float(ionic_strength([0.1, 0.2], [2, -1])), 6)
    0.3
    """
    conc = np.asarray(conc_mol_l, dtype=np.float64)
    result: Floats = 0.5 * np.sum(conc * np.asarray(charge, dtype=np.float64) ** 2, axis=-1)
    return result


def acid_equivalent(
    mass: ArrayLike,
    molar_mass_salt_g_mol: ArrayLike,
    molar_mass_acid_g_mol: ArrayLike,
    acids_per_formula: ArrayLike = 1,
) -> Floats:
    """Mass of acid that a salt counts for.

    mass of acid = mass of salt * acids per formula unit * M(acid) / M(salt).

    Parameters
    ----------
    mass
        Amount of the salt; any unit of mass or per cent. [as given]
    molar_mass_salt_g_mol
        Molar mass of the salt, with its crystal water if it has any. [g/mol]
    molar_mass_acid_g_mol
        Molar mass of the acid. [g/mol]
    acids_per_formula
        Acid molecules in one formula unit, 2 for calcium propionate. [-]

    Returns
    -------
    Floats
        Amount of acid, in the unit of ``mass``. [as given]

    Notes
    -----
    The same relation turns any derivative into what a rule is counted in (base, silver,
    formaldehyde).

    References
    ----------
    Arithmetic.

    Examples
    --------
    Half a per cent of sodium benzoate: 0.50 x 122.12 / 144.10 = 0.4237.

    >>> round(float(acid_equivalent(0.50, 144.10, 122.12)), 4)
    0.4237
    """
    ratio = np.asarray(molar_mass_acid_g_mol) / np.asarray(molar_mass_salt_g_mol, dtype=np.float64)
    result: Floats = np.asarray(mass) * np.asarray(acids_per_formula) * ratio
    return result
