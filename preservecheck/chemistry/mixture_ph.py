"""The pH of a mixture of acids, bases and salts."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from preservecheck.chemistry.acid_forms import species_fractions
from preservecheck.chemistry.pka import davies_log10_gamma

Floats = NDArray[np.float64]

# ionic product of water at 25 C (recalled)
PKW_25C: Final = 14.0
# widest pH that is searched for a mixture
_PH_LOWEST: Final = -2.0
_PH_HIGHEST: Final = 16.0


def charge_balance_ph(  # noqa: PLR0913
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


def _balanced_ph(  # noqa: PLR0913, PLR0917
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
