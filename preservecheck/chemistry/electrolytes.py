"""Water activity over salts, pooled at the total ionic strength (Pitzer); constants for 25 °C."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from preservecheck.chemistry.nonelectrolytes import MOLAR_MASS_WATER_KG_MOL
from preservecheck.chemistry.summation import weighed_sum

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Debye-Hückel slope for the osmotic coefficient at 25 C, as used today (pitzer-1973: 0.392)
A_PHI_25C: Final = 0.3915
# constant of the Debye-Hückel term, pitzer-1973
_B_PITZER: Final = 1.2


class Pitzer(NamedTuple):
    """Constants of salts, one entry per salt.

    Charges z and ion numbers nu [-]; beta0, beta1, beta2 [kg/mol]; c_phi [kg²/mol²]; alpha1,
    alpha2 [(kg/mol)^0.5]; valid_max_molality is the highest molality the constants were checked
    at. [mol/kg] nan in beta2 or alpha2 means that the salt has no such term.
    """

    z_plus: ArrayLike
    z_minus: ArrayLike
    nu_plus: ArrayLike
    nu_minus: ArrayLike
    beta0: ArrayLike
    beta1: ArrayLike
    beta2: ArrayLike
    c_phi: ArrayLike
    alpha1: ArrayLike
    alpha2: ArrayLike
    valid_max_molality: ArrayLike


def pitzer_osmotic_ln_aw(  # noqa: PLR0913, PLR0917
    ionic_strength_mol_kg: ArrayLike,
    z_plus: ArrayLike,
    z_minus: ArrayLike,
    nu_plus: ArrayLike,
    nu_minus: ArrayLike,
    beta0: ArrayLike,
    beta1: ArrayLike,
    beta2: ArrayLike,
    c_phi: ArrayLike,
    alpha1: ArrayLike,
    alpha2: ArrayLike,
    valid_max_molality: ArrayLike,
) -> tuple[Floats, Bools]:
    """Logarithm of the water activity over one salt alone at a given ionic strength.

    phi = 1 - |z+ z-| A sqrt(I) / (1 + 1.2 sqrt(I)) + m (2 nu+ nu- / nu) B + m^2 (2 (nu+ nu-)^1.5
    / nu) Cphi, B = beta0 + beta1 exp(-alpha1 sqrt(I)) + beta2 exp(-alpha2 sqrt(I)), ln aw = -Mw
    nu m phi, A = 0.3915; 25 °C.

    Parameters
    ----------
    ionic_strength_mol_kg
        Ionic strength I, any shape that broadcasts with the constants. [mol/kg]
    z_plus, z_minus
        Charge numbers of the ions. [-]
    nu_plus, nu_minus
        Numbers of the ions in one formula unit. [-]
    beta0, beta1, beta2
        Coefficients of the second-order term; nan in beta2 means none. [kg/mol]
    c_phi
        Coefficient of the third-order term. [kg²/mol²]
    alpha1, alpha2
        Constants in the exponents, 2 and none, or 1.4 and 12 for salts such as magnesium sulfate.
        [(kg/mol)^0.5]
    valid_max_molality
        Highest molality of the salt alone that the constants were checked at. [mol/kg]

    Returns
    -------
    ln_aw : Floats
        ln aw. [-]
    outside : Bools
        Whether the salt alone would be above its valid molality. [-]

    Notes
    -----
    Above ``valid_max_molality`` the osmotic coefficient is held at its value there (a negative
    Cphi would make it turn round), the number of particles goes on rising, and the flag is set. A
    source that lists C0 means Cphi = 2 C0 sqrt(|z+ z-|).

    References
    ----------
    pitzer-1973.

    Examples
    --------
    Sodium chloride, 6 mol/kg (Robinson and Stokes: 0.7598).

    >>> ln_aw, outside = pitzer_osmotic_ln_aw(
    ...     6.0, 1, -1, 1, 1, 0.07831, 0.2677, 0, 0.000864, 2, 12, 6.148
    ... )
    >>> round(float(np.exp(ln_aw)), 3), bool(outside)
    (0.76, False)
    """
    zp, zm = np.asarray(z_plus, dtype=np.float64), np.asarray(z_minus, dtype=np.float64)
    np_, nm = np.asarray(nu_plus, dtype=np.float64), np.asarray(nu_minus, dtype=np.float64)
    b2, a2 = np.asarray(beta2, dtype=np.float64), np.asarray(alpha2, dtype=np.float64)
    absent = np.isnan(b2) | np.isnan(a2)
    b2, a2 = np.where(absent, 0.0, b2), np.where(absent, 0.0, a2)
    limit = np.asarray(valid_max_molality, dtype=np.float64)
    per_molality = 0.5 * (np_ * zp**2 + nm * zm**2)
    m = np.asarray(ionic_strength_mol_kg, dtype=np.float64) / per_molality
    outside: Bools = np.asarray(~(m <= limit))
    held = np.minimum(m, np.where(np.isnan(limit), np.inf, limit))
    root = np.sqrt(held * per_molality)
    nu = np_ + nm
    b = np.asarray(beta0) + np.asarray(beta1) * np.exp(-np.asarray(alpha1) * root)
    b = b + b2 * np.exp(-a2 * root)
    phi = 1.0 - np.abs(zp * zm) * A_PHI_25C * root / (1.0 + _B_PITZER * root)
    phi = phi + held * (2.0 * np_ * nm / nu) * b
    phi = phi + held**2 * (2.0 * (np_ * nm) ** 1.5 / nu) * np.asarray(c_phi)
    ln_aw: Floats = -MOLAR_MASS_WATER_KG_MOL * nu * m * phi
    return ln_aw, outside[()]


def electrolytes_pooled(  # noqa: PLR0913, PLR0917
    molality_mol_kg: ArrayLike,
    z_plus: ArrayLike,
    z_minus: ArrayLike,
    nu_plus: ArrayLike,
    nu_minus: ArrayLike,
    beta0: ArrayLike,
    beta1: ArrayLike,
    beta2: ArrayLike,
    c_phi: ArrayLike,
    alpha1: ArrayLike,
    alpha2: ArrayLike,
    valid_max_molality: ArrayLike,
) -> tuple[Floats, Bools]:
    """Logarithm of the water activity over several salts.

    ln aw = sum of (I_i / I) * ln aw of salt i alone at the total ionic strength I; 25 °C.

    Parameters
    ----------
    molality_mol_kg
        Molality of each salt, shape (..., E). [mol/kg]
    z_plus, z_minus
        Charge numbers, shape (E,). [-]
    nu_plus, nu_minus
        Numbers of the ions in one formula unit, shape (E,). [-]
    beta0, beta1, beta2
        Coefficients of the second-order term, shape (E,); nan in beta2 means none. [kg/mol]
    c_phi
        Coefficients of the third-order term, shape (E,). [kg²/mol²]
    alpha1, alpha2
        Constants in the exponents, shape (E,). [(kg/mol)^0.5]
    valid_max_molality
        Highest molality of each salt alone that its constants were checked at, shape (E,). [mol/kg]

    Returns
    -------
    ln_aw : Floats
        ln aw, shape (...); 0 without any salt. [-]
    outside : Bools
        Whether a salt that is there would, alone at I, be above its valid molality, shape (...).
        [-]

    Notes
    -----
    Measured error on isopiestic mixtures of two salts: mean about 0.001, largest 0.0085 (calcium
    chloride with sodium chloride at 0.77). Ions that would precipitate or form a gas are not
    seen. A ``Pitzer`` can be passed as ``*constants``.

    References
    ----------
    ferro-fontan-1980 for the rule, pitzer-1973 for each salt.

    Examples
    --------
    One salt entered in two halves is the same as entered once.

    >>> constants = Pitzer(1, -1, 1, 1, 0.07831, 0.2677, 0, 0.000864, 2, 12, 6.148)
    >>> twice = Pitzer(*([float(c)] * 2 for c in constants))
    >>> ln_aw, outside = electrolytes_pooled([1.0, 2.0], *twice)
    >>> alone, _ = pitzer_osmotic_ln_aw(3.0, *constants)
    >>> bool(np.isclose(ln_aw, alone)), bool(outside)
    (True, False)
    """
    m = np.asarray(molality_mol_kg, dtype=np.float64)
    ions = (z_plus, z_minus, nu_plus, nu_minus)
    rest = (beta0, beta1, beta2, c_phi, alpha1, alpha2, valid_max_molality)
    columns = [
        np.broadcast_to(np.asarray(c, dtype=np.float64), m.shape[-1:]) for c in (*ions, *rest)
    ]
    zp, zm, np_, nm = columns[:4]
    per_molality = 0.5 * (np_ * zp**2 + nm * zm**2)
    strength = weighed_sum(m, per_molality)
    divisor = np.where(strength > 0.0, strength, 1.0)
    ln_aw = np.zeros(m.shape[:-1])
    outside = np.zeros(m.shape[:-1], dtype=np.bool_)
    for i in range(m.shape[-1]):
        here = m[..., i]
        if not np.any(here != 0.0):
            continue
        alone, beyond = pitzer_osmotic_ln_aw(strength, *(c[i] for c in columns))
        ln_aw = ln_aw + here * per_molality[i] / divisor * alone
        outside = outside | ((here > 0.0) & beyond)
    return ln_aw[()], outside[()]
