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

from preservecheck.chemistry.summation import ordered_sum, weighed_sum

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# molar mass of water (library: IUPAC 2021 weights)
MOLAR_MASS_WATER_KG_MOL: Final = 0.0180153
# Debye-Hückel slope for the osmotic coefficient at 25 C, as used today (pitzer-1973: 0.392)
A_PHI_25C: Final = 0.3915
# constant of the Debye-Hückel term, pitzer-1973
_B_PITZER: Final = 1.2
# half-widths of the error at these water activities, made for this program; see estimate_error
_ERROR_AW: Final = (0.85, 0.86, 0.93, 0.94, 0.97, 0.98)
_ERROR_HALF_WIDTH: Final = (0.03, 0.015, 0.015, 0.006, 0.006, 0.003)
_OUTSIDE_FACTOR: Final = 2.0


class Norrish(NamedTuple):
    """Constants of nonelectrolytes, one entry per solute.

    k and k3 belong to the natural logarithm, negative where water is bound; 0 means ideal. [-]
    valid_max_mole_fraction is the highest mole fraction the constants were checked at. [-]
    """

    k: ArrayLike
    k3: ArrayLike
    valid_max_mole_fraction: ArrayLike


class Pitzer(NamedTuple):
    """Constants of salts, one entry per salt.

    Charges z and ion numbers nu [-]; beta0, beta1, beta2 [kg/mol]; c_phi [kg²/mol²]; alpha1,
    alpha2 [(kg/mol)^0.5], 2 and none, or 1.4 and 12 for salts such as magnesium sulfate;
    valid_max_molality is the highest molality the constants were checked at. [mol/kg] nan in beta2
    or alpha2 means that the salt has no such term.
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


class WaterActivity(NamedTuple):
    """Estimated water activity [-], whether a constant was used outside its range [-], and how much
    of the range is used up [-]."""

    aw: Floats
    outside: Bools
    used: Floats


def norrish_ln_aw(molality_mol_kg: ArrayLike, k: ArrayLike, k3: ArrayLike) -> Floats:
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

    >>> round(float(norrish_ln_aw([1.0], [-6.47], [0.0])), 6)
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


def mole_fraction_used(molality_mol_kg: ArrayLike, valid_max_mole_fraction: ArrayLike) -> Floats:
    """How much of the range of their constants nonelectrolytes use up together.

    X / (sum of share_i x_i,max), X the mole fraction of all, share_i that of one among them.

    Parameters
    ----------
    molality_mol_kg
        Molality of each solute, shape (..., S). [mol/kg]
    valid_max_mole_fraction
        Highest mole fraction each constant was checked at, shape (S,). [-]

    Returns
    -------
    Floats
        Share of the range, shape (...); 0 without any solute. [-]

    Notes
    -----
    A trace of something checked only in thin solutions hardly counts. A solute whose range is
    unknown (nan) has none.

    References
    ----------
    A rule of this program.

    Examples
    --------
    Urea to x = 0.02: 1 mol/kg is x = 0.0177, 2 mol/kg is x = 0.0348.

    >>> mole_fraction_used([[1.0], [2.0]], [0.02]).round(2).tolist()
    [0.88, 1.74]
    """
    m = np.asarray(molality_mol_kg, dtype=np.float64)
    limit = np.nan_to_num(np.asarray(valid_max_mole_fraction, dtype=np.float64))
    solutes = ordered_sum(m)
    x = solutes / (1.0 / MOLAR_MASS_WATER_KG_MOL + solutes)
    return _over_range(x, solutes, weighed_sum(m, limit))


def _over_range(value: Floats, total: Floats, weighed_limit: Floats) -> Floats:
    """A value over the mean of the ends of several ranges, each weighed with its part of a
    total."""
    there = total > 0.0
    mean = np.where(there, weighed_limit / np.where(there, total, 1.0), 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        result: Floats = np.where(there, value / mean, 0.0)
    return result[()]


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


def salt_ln_aw(ionic_strength_mol_kg: ArrayLike, salt: Pitzer) -> tuple[Floats, Bools]:
    """Logarithm of the water activity over one salt alone at a given ionic strength.

    phi = 1 - |z+ z-| A sqrt(I) / (1 + 1.2 sqrt(I)) + m (2 nu+ nu- / nu) B + m^2 (2 (nu+ nu-)^1.5
    / nu) Cphi, B = beta0 + beta1 exp(-alpha1 sqrt(I)) + beta2 exp(-alpha2 sqrt(I)), ln aw = -Mw
    nu m phi, A = 0.3915; 25 °C.

    Parameters
    ----------
    ionic_strength_mol_kg
        Ionic strength I, any shape that broadcasts with the constants. [mol/kg]
    salt
        Its constants. [as Pitzer]

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

    >>> salt = Pitzer(1, -1, 1, 1, 0.07831, 0.2677, 0, 0.000864, 2, 12, 6.148)
    >>> ln_aw, outside = salt_ln_aw(6.0, salt)
    >>> round(float(np.exp(ln_aw)), 3), bool(outside)
    (0.76, False)
    """
    constants = [np.asarray(c, dtype=np.float64) for c in salt]
    zp, zm, np_, nm, beta0, beta1, beta2, c_phi, alpha1, alpha2, limit = constants
    absent = np.isnan(beta2) | np.isnan(alpha2)
    beta2, alpha2 = np.where(absent, 0.0, beta2), np.where(absent, 0.0, alpha2)
    per_molality = 0.5 * (np_ * zp**2 + nm * zm**2)
    m = np.asarray(ionic_strength_mol_kg, dtype=np.float64) / per_molality
    outside: Bools = np.asarray(~(m <= limit))
    valid_m = np.minimum(m, np.where(np.isnan(limit), np.inf, limit))
    root = np.sqrt(valid_m * per_molality)
    nu = np_ + nm
    b = beta0 + beta1 * np.exp(-alpha1 * root) + beta2 * np.exp(-alpha2 * root)
    phi = 1.0 - np.abs(zp * zm) * A_PHI_25C * root / (1.0 + _B_PITZER * root)
    phi = phi + valid_m * (2.0 * np_ * nm / nu) * b
    phi = phi + valid_m**2 * (2.0 * (np_ * nm) ** 1.5 / nu) * c_phi
    ln_aw: Floats = -MOLAR_MASS_WATER_KG_MOL * nu * m * phi
    return ln_aw, outside[()]


def salts_ln_aw(molality_mol_kg: ArrayLike, salts: Pitzer) -> tuple[Floats, Bools]:
    """Logarithm of the water activity over several salts.

    ln aw = sum of (I_i / I) * ln aw of salt i alone at the total ionic strength I; 25 °C.

    Parameters
    ----------
    molality_mol_kg
        Molality of each salt, shape (..., E). [mol/kg]
    salts
        Their constants, shape (E,) each. [as Pitzer]

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
    chloride with sodium chloride at 0.77). Ions that would precipitate or form a gas are not seen.

    References
    ----------
    ferro-fontan-1980 for the rule, pitzer-1973 for each salt.

    Examples
    --------
    One salt entered in two halves is the same as entered once.

    >>> salt = Pitzer(1, -1, 1, 1, 0.07831, 0.2677, 0, 0.000864, 2, 12, 6.148)
    >>> ln_aw, outside = salts_ln_aw([1.0, 2.0], Pitzer(*([float(c)] * 2 for c in salt)))
    >>> bool(np.isclose(ln_aw, salt_ln_aw(3.0, salt)[0])), bool(outside)
    (True, False)
    """
    m = np.asarray(molality_mol_kg, dtype=np.float64)
    columns = [np.broadcast_to(np.asarray(c, dtype=np.float64), m.shape[-1:]) for c in salts]
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
        alone, beyond = salt_ln_aw(strength, Pitzer(*(c[i] for c in columns)))
        ln_aw = ln_aw + here * per_molality[i] / divisor * alone
        outside = outside | ((here > 0.0) & beyond)
    return ln_aw[()], outside[()]


def molality_used(molality_mol_kg: ArrayLike, salts: Pitzer) -> Floats:
    """How much of the range of their constants salts use up together.

    I / (sum of I_i / I times I_i,max), I_i the ionic strength of one salt, I_i,max that at its
    valid molality.

    Parameters
    ----------
    molality_mol_kg
        Molality of each salt, shape (..., E). [mol/kg]
    salts
        Their constants, shape (E,) each. [as Pitzer]

    Returns
    -------
    Floats
        Share of the range, shape (...); 0 without any salt. [-]

    Notes
    -----
    A trace of a salt checked only in thin solutions hardly counts.

    References
    ----------
    A rule of this program.

    Examples
    --------
    Sodium chloride, 3.074 of 6.148 mol/kg.

    >>> salt = Pitzer(*([c] for c in (1, -1, 1, 1, 0.07831, 0.2677, 0, 0.000864, 2, 12, 6.148)))
    >>> float(molality_used([3.074], salt))
    0.5
    """
    m = np.asarray(molality_mol_kg, dtype=np.float64)
    zp, zm, np_, nm = (np.asarray(c, dtype=np.float64) for c in salts[:4])
    limit = np.nan_to_num(np.asarray(salts.valid_max_molality, dtype=np.float64), posinf=1e9)
    per_molality = np.broadcast_to(0.5 * (np_ * zp**2 + nm * zm**2), m.shape[-1:])
    strength = weighed_sum(m, per_molality)
    return _over_range(strength, strength, weighed_sum(m, per_molality**2 * limit))


def water_activity(
    nonelectrolyte_mol_kg: ArrayLike,
    nonelectrolytes: Norrish,
    electrolyte_mol_kg: ArrayLike,
    electrolytes: Pitzer,
    osmolality_osmol_kg: ArrayLike = 0.0,
) -> WaterActivity:
    """Estimate the water activity of an aqueous phase.

    aw = aw(nonelectrolytes pooled) * aw(salts pooled) * exp(-Mw * osmolality of ideal particles);
    20 to 30 °C, constants for 25 °C.

    Parameters
    ----------
    nonelectrolyte_mol_kg
        Molality of each nonelectrolyte, shape (..., S); S may be 0. [mol/kg]
    nonelectrolytes
        Their constants, shape (S,). [-]
    electrolyte_mol_kg
        Molality of each salt, shape (..., E); E may be 0. [mol/kg]
    electrolytes
        Their constants, shape (E,). [as Pitzer]
    osmolality_osmol_kg
        Particles taken as ideal, shape (...): polymers, proteins, gums, and salts without constants
        by their molality times their effective number of particles. [osmol/kg]

    Returns
    -------
    WaterActivity
        ``aw`` [-], ``outside`` [-] and ``used`` [-], each of shape (...).

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
    ln_salts, outside_salts = salts_ln_aw(electrolyte_mol_kg, electrolytes)
    ln_neutral = norrish_ln_aw(nonelectrolyte_mol_kg, nonelectrolytes.k, nonelectrolytes.k3)
    outside = beyond_mole_fraction(nonelectrolyte_mol_kg, nonelectrolytes.valid_max_mole_fraction)
    used = np.maximum(
        mole_fraction_used(nonelectrolyte_mol_kg, nonelectrolytes.valid_max_mole_fraction),
        molality_used(electrolyte_mol_kg, electrolytes),
    )
    ln_ideal = -MOLAR_MASS_WATER_KG_MOL * np.asarray(osmolality_osmol_kg, dtype=np.float64)
    aw: Floats = np.exp(ln_neutral + ln_salts + ln_ideal)
    flag = np.asarray(outside | outside_salts)
    flags = (np.broadcast_to(each, np.shape(aw))[()] for each in (flag, used))
    return WaterActivity(aw, *flags)


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
