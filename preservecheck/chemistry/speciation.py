"""How much of an acid or base is in which form, and what pH a mixture of them has."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# gas constant, CODATA 2018 (exact)
GAS_CONSTANT_J_MOL_K: Final = 8.314462618
KELVIN_AT_0_C: Final = 273.15
KELVIN_AT_25_C: Final = 298.15
# above this the Davies equation is not used as it stands (davies-1962: good to about 0.5 mol/L)
DAVIES_MAX_MOL_L: Final = 0.5
# ionic product of water at 25 C (recalled)
PKW_25C: Final = 14.0
# widest pH that is searched for a mixture
_PH_LOWEST: Final = -2.0
_PH_HIGHEST: Final = 16.0


def undissociated_fraction(ph: ArrayLike, pka: ArrayLike) -> Floats:
    """Share of a monoprotic acid that carries no charge.

    fraction = 1 / (1 + 10**(ph - pka)); pKa for the same medium and temperature as the pH.

    Parameters
    ----------
    ph
        pH of the water phase. [-]
    pka
        Dissociation constant, same medium and temperature. [-]

    Returns
    -------
    Floats
        Undissociated share, 0 to 1. [-]

    Notes
    -----
    Small shares keep their full relative precision; nothing overflows.

    References
    ----------
    anderson-chow-1967, Table IV: half of the benzoic acid is undissociated at pH 4.2.

    Examples
    --------
    >>> float(undissociated_fraction(4.2, 4.2))
    0.5
    >>> round(float(undissociated_fraction(6.2, 4.2)), 6)  # 1 / 101
    0.009901
    """
    with np.errstate(over="ignore"):
        odds = np.power(10.0, np.asarray(ph, dtype=np.float64) - np.asarray(pka, dtype=np.float64))
    result: Floats = 1.0 / (1.0 + odds)
    return result


def free_base_fraction(ph: ArrayLike, pka: ArrayLike) -> Floats:
    """Share of a base that carries no charge.

    fraction = 1 / (1 + 10**(pka - ph)); pKa of the protonated base, same medium and temperature
    as the pH.

    Parameters
    ----------
    ph
        pH of the water phase. [-]
    pka
        Dissociation constant of the protonated base BH+. [-]

    Returns
    -------
    Floats
        Share of the free base, 0 to 1. [-]

    Notes
    -----
    The mirror of ``undissociated_fraction``.

    References
    ----------
    Law of mass action.

    Examples
    --------
    >>> round(float(free_base_fraction(5.5, 6.5)), 6)  # 1 / 11
    0.090909
    """
    return undissociated_fraction(pka, ph)


def species_fractions(ph: ArrayLike, pkas: ArrayLike) -> Floats:
    """Shares of all forms of an acid with several protons.

    fraction of the form that has lost j protons = 10**(j ph - pka_1 - ... - pka_j) / sum over all
    j.

    Parameters
    ----------
    ph
        pH of the water phase, shape (...). [-]
    pkas
        Dissociation constants in the order in which the protons leave, shape (..., n); nan at the
        end of the row means that there is no such step. [-]

    Returns
    -------
    Floats
        Shares, shape (..., n + 1), the fully protonated form first; they sum to 1. [-]

    Notes
    -----
    Computed in logarithms, so that no pH overflows.

    References
    ----------
    Law of mass action.

    Examples
    --------
    Halfway between two far-apart constants nearly all has lost one proton; at each constant its
    two forms are equal.

    >>> [round(float(x), 3) for x in species_fractions(6.0, [3.0, 9.0])]
    [0.001, 0.998, 0.001]
    >>> [round(float(x), 3) for x in species_fractions(3.0, [3.0, float("nan")])]
    [0.5, 0.5, 0.0]
    """
    steps = np.asarray(pkas, dtype=np.float64)
    steps = np.where(np.isnan(steps), np.inf, steps)
    lost = np.cumsum(np.asarray(ph, dtype=np.float64)[..., np.newaxis] - steps, axis=-1)
    logs = np.concatenate([np.zeros((*lost.shape[:-1], 1)), lost], axis=-1)
    weights = np.power(10.0, logs - np.max(logs, axis=-1, keepdims=True))
    result: Floats = weights / np.sum(weights, axis=-1, keepdims=True)
    return result


def mean_charge(ph: ArrayLike, pkas: ArrayLike, charge_protonated: ArrayLike) -> Floats:
    """Average charge of an acid or base over its forms.

    mean charge = z - sum over j of j * fraction_j, with z the charge of the fully protonated form.

    Parameters
    ----------
    ph
        pH of the water phase, shape (...). [-]
    pkas
        Dissociation constants, shape (..., n), nan where there is no step. [-]
    charge_protonated
        Charge of the fully protonated form, shape (...): 0 for citric acid, +1 for an amine, +2
        for arginine. [-]

    Returns
    -------
    Floats
        Mean charge number, shape (...). [-]

    Notes
    -----
    Falls as the pH rises, always.

    References
    ----------
    Law of mass action.

    Examples
    --------
    >>> float(mean_charge(4.2, [4.2], 0))
    -0.5
    >>> float(mean_charge(9.0, [9.0], 1))
    0.5
    """
    shares = species_fractions(ph, pkas)
    lost = np.arange(shares.shape[-1], dtype=np.float64)
    result: Floats = np.asarray(charge_protonated, dtype=np.float64) - shares @ lost
    return result


def davies_log10_gamma(
    charge: ArrayLike, ionic_strength_mol_l: ArrayLike, temp_c: ArrayLike = 25.0
) -> Floats:
    """Decimal logarithm of the activity coefficient of an ion.

    log10 gamma = -A z^2 (sqrt(I) / (1 + sqrt(I)) - 0.3 I); water, I up to about 0.5 mol/L.

    Parameters
    ----------
    charge
        Charge number z of the ion, with or without its sign. [-]
    ionic_strength_mol_l
        Ionic strength I of the water phase, 0 or more. [mol/L]
    temp_c
        Temperature. [°C]

    Returns
    -------
    Floats
        log10 of the activity coefficient, 0 for an uncharged species. [-]

    Notes
    -----
    A is the parabola through 0.505 at 20 °C, 0.509 at 25 °C and 0.524 at 40 °C; at 0 °C and 75 °C
    it is still within 0.01 of tabulated values (recalled). Above 0.5 mol/L the value at 0.5 mol/L
    is used: the equation turns round near 0.4 mol/L and would later give coefficients above 1.

    References
    ----------
    davies-1962, the equation with the coefficient 0.3; the values of A are recalled.

    Examples
    --------
    sqrt(0.25) = 0.5, so 0.509 x (0.5 / 1.5 - 0.075) = 0.509 x 0.258333 = 0.13149.

    >>> round(float(davies_log10_gamma(-1, 0.25)), 5)
    -0.13149
    """
    t = np.asarray(temp_c, dtype=np.float64)
    strength = np.minimum(np.asarray(ionic_strength_mol_l, dtype=np.float64), DAVIES_MAX_MOL_L)
    z = np.asarray(charge, dtype=np.float64)
    a = 0.505 + 0.0008 * (t - 20.0) + 1e-5 * (t - 20.0) * (t - 25.0)
    root = np.sqrt(strength)
    result: Floats = -a * z**2 * (root / (1.0 + root) - 0.3 * strength)
    return result


def pka_at(pka_25c: ArrayLike, dh_ion_kj_mol: ArrayLike, temp_c: ArrayLike) -> Floats:
    """Dissociation constant at another temperature.

    pKa(T) = pKa(25 °C) + dH / (R ln 10) * (1/T - 1/298.15); the enthalpy dH is taken as constant,
    10 to 45 °C.

    Parameters
    ----------
    pka_25c
        pKa at 25 °C. [-]
    dh_ion_kj_mol
        Enthalpy of dissociation. [kJ/mol]
    temp_c
        Temperature wanted. [°C]

    Returns
    -------
    Floats
        pKa at that temperature. [-]

    Notes
    -----
    Carboxylic acids pass a flat minimum near room temperature, so a constant dH holds only near
    25 °C; the change is below 0.02 between 10 and 45 °C. Phenols fall by about 0.01 per degree.

    References
    ----------
    serjeant-dempsey-1979 for the series it was checked on; the relation itself is van 't Hoff's.

    Examples
    --------
    A phenol with 16.3 kJ/mol: 16300 / (8.3145 x 2.302585) = 851.4 K; 1/313.15 - 1/298.15 =
    -1.6066e-4 per K; 7.61 - 0.1368 = 7.473.

    >>> round(float(pka_at(7.61, 16.3, 40.0)), 3)
    7.473
    """
    kelvin = np.asarray(temp_c, dtype=np.float64) + KELVIN_AT_0_C
    slope = 1000.0 * np.asarray(dh_ion_kj_mol) / (GAS_CONSTANT_J_MOL_K * np.log(10.0))
    result: Floats = np.asarray(pka_25c) + slope * (1.0 / kelvin - 1.0 / KELVIN_AT_25_C)
    return result


def pka_mixed(
    pka: ArrayLike,
    acid_charge: ArrayLike,
    ionic_strength_mol_l: ArrayLike,
    temp_c: ArrayLike = 25.0,
) -> Floats:
    """Dissociation constant to use with the reading of a pH meter in a salt solution.

    pKa' = pKa + log10 gamma(z - 1) - log10 gamma(z), with z the charge of the protonated form; H+
    as activity, the species as concentrations; up to about 0.5 mol/L.

    Parameters
    ----------
    pka
        pKa at zero ionic strength, at ``temp_c``. [-]
    acid_charge
        Charge of the protonated form: 0 for HA, +1 for BH+, -1 for the second step of a diacid. [-]
    ionic_strength_mol_l
        Ionic strength of the water phase. [mol/L]
    temp_c
        Temperature. [°C]

    Returns
    -------
    Floats
        Mixed constant pKa'. [-]

    Notes
    -----
    HA / A- goes down, BH+ / B goes up by the same amount. The uncharged form is taken as ideal
    (no salting out). Above 0.5 mol/L the correction stays where it is at 0.5.

    References
    ----------
    davies-1962.

    Examples
    --------
    log10 gamma(1) is -0.1315 at 0.25 mol/L (see ``davies_log10_gamma``).

    >>> round(float(pka_mixed(4.2, 0, 0.25)), 4)
    4.0685
    >>> round(float(pka_mixed(7.0, 1, 0.25)), 4)
    7.1315
    """
    z = np.asarray(acid_charge, dtype=np.float64)
    # gamma goes with z squared, so both coefficients come from that of a single charge
    single = davies_log10_gamma(1.0, ionic_strength_mol_l, temp_c)
    result: Floats = np.asarray(pka) + single * ((z - 1.0) ** 2 - z**2)
    return result


def charge_balance_ph(
    total_mol_l: ArrayLike,
    pkas: ArrayLike,
    charge_protonated: ArrayLike,
    strong_charge_mol_l: ArrayLike = 0.0,
    *,
    temp_c: ArrayLike = 25.0,
    background_mol_l: ArrayLike = 0.0,
    davies: bool = True,
    pkw: ArrayLike = PKW_25C,
) -> Floats:
    """Find the pH at which weak acids, weak bases and strong ions together carry no net charge.

    strong + [H+] - [OH-] + sum of c_i * mean charge_i(pH) = 0; dilute water phase, up to about
    0.5 mol/L of ions.

    Parameters
    ----------
    total_mol_l
        Total concentration of each acid or base over all its forms, shape (..., n). [mol/L]
    pkas
        Dissociation constants at zero ionic strength and at ``temp_c``, shape (n, k) or (..., n,
        k); nan where there is no step. [-]
    charge_protonated
        Charge of the fully protonated form of each, shape (n,). [-]
    strong_charge_mol_l
        Sum of the charges of the ions that never change, such as Na+ (plus) and Cl- (minus),
        shape (...). [mol/L]
    temp_c
        Temperature, shape (...). [°C]
    background_mol_l
        Ionic strength of other salts, shape (...). [mol/L]
    davies
        Whether the constants are corrected for the ionic strength of the solution itself. [-]
    pkw
        Ionic product of water at ``temp_c`` and zero ionic strength; 14.0 at 25 °C, elsewhere
        ``pka_at(14.0, 55.8, temp_c)`` (enthalpy recalled). [-]

    Returns
    -------
    Floats
        pH as a meter shows it (activity of H+), shape (...). [-]

    Notes
    -----
    Newton's method, held inside a bracket from pH -2 to 16, so it always ends; a mixture with no
    solution inside ends at the bracket. The strong charge is taken as singly charged ions for the
    ionic strength. nan in, nan out.

    References
    ----------
    davies-1962 for the correction.

    Examples
    --------
    Water alone, then a buffer with as much acid as salt (ideal): [H+] = 6.3e-5 mol/L moves the
    ratio from 1 to 0.04994 / 0.05006, so the pH is above 4.2 by log10(0.05006 / 0.04994) =
    0.0011.

    >>> round(float(charge_balance_ph([], [], [])), 2)
    7.0
    >>> round(float(charge_balance_ph([0.1], [[4.2]], [0], 0.05, davies=False)), 4)
    4.2011
    """
    total = np.asarray(total_mol_l, dtype=np.float64)
    constants = np.asarray(pkas, dtype=np.float64)
    if total.shape[-1] == 0:
        constants = constants.reshape((0, 1))
    # charge of each acid before each of its steps, shape (n, k)
    first = np.asarray(charge_protonated, dtype=np.float64)
    before = first[..., np.newaxis] - np.arange(constants.shape[-1], dtype=np.float64)
    strong, temp, salt, water = np.broadcast_arrays(
        np.asarray(strong_charge_mol_l, dtype=np.float64),
        np.asarray(temp_c, dtype=np.float64),
        np.asarray(background_mol_l, dtype=np.float64),
        np.asarray(pkw, dtype=np.float64),
    )
    shape = np.broadcast_shapes(strong.shape, total.shape[:-1], constants.shape[:-2])
    strength = np.zeros(shape) + salt
    ph = np.full(shape, 7.0)
    for _ in range(40 if davies else 1):
        gamma = davies_log10_gamma(1.0, strength, temp) if davies else np.zeros(shape)
        shifted = constants + gamma[..., np.newaxis, np.newaxis] * ((before - 1.0) ** 2 - before**2)
        ph = _balanced_ph(ph, total, shifted, first, strong, water, gamma)
        # strength that this pH implies
        shares = species_fractions(ph[..., np.newaxis], shifted)
        charges = first[..., np.newaxis] - np.arange(shares.shape[-1], dtype=np.float64)
        weak = np.sum(total * np.sum(shares * charges**2, axis=-1), axis=-1)
        protons = 10.0 ** (-ph - gamma) + 10.0 ** (ph - water - gamma)
        previous, strength = strength, salt + 0.5 * (np.abs(strong) + weak + protons)
        if not np.any(np.abs(strength - previous) > 1e-8):
            break
    result: Floats = ph[()]
    return result


def _balanced_ph(
    start: Floats,
    total: Floats,
    pkas: Floats,
    charge_protonated: Floats,
    strong: Floats,
    pkw: Floats,
    gamma: Floats,
) -> Floats:
    """Solve the charge balance at fixed constants: Newton's steps, halving where one strays."""
    ph = start.copy()
    low, high = np.full(ph.shape, _PH_LOWEST), np.full(ph.shape, _PH_HIGHEST)
    ln10 = np.log(10.0)
    for _ in range(100):
        shares = species_fractions(ph[..., np.newaxis], pkas)
        lost = np.arange(shares.shape[-1], dtype=np.float64)
        mean = shares @ lost
        spread = shares @ lost**2 - mean**2
        protons, hydroxide = 10.0 ** (-ph - gamma), 10.0 ** (ph - pkw - gamma)
        charge = strong + protons - hydroxide + np.sum(total * (charge_protonated - mean), axis=-1)
        slope = -ln10 * (protons + hydroxide + np.sum(total * spread, axis=-1))
        low, high = np.where(charge > 0.0, ph, low), np.where(charge < 0.0, ph, high)
        new = ph - charge / slope
        new = np.where((new >= low) & (new <= high), new, (low + high) / 2.0)
        new = np.where(np.isnan(charge), np.nan, new)
        moved = np.abs(new - ph)
        ph = new
        if not np.any(moved > 1e-8):
            break
    return ph


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
