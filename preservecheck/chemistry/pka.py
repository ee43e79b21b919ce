"""Dissociation constants at the temperature and the ionic strength of a product."""

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
