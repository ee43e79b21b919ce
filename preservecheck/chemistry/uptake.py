"""Uptake by micelles, lamellar gel networks and polymers; activity in glycols, alcohol and salt.

Pure relations: numbers in, numbers out. Their coefficients and errors stand in ``relations.csv``.
All hold for the uncharged form at 25 °C unless said; measured values come before any of them.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# moles of water in a litre
_WATER_MOL_L: Final = 55.4
# counter-ions that a mole of a long-chain quat holds at most, 0.75: degree of binding of bromide
# and chloride micelles (recalled)
MOST_BOUND: Final = 0.75
# grams per millilitre of fatty alcohols and quats in a gel network (skin lipid: 0.90, read)
_LAMELLA_DENSITY: Final = 0.90


def linear_free_energy(descriptors: ArrayLike, coefficients: ArrayLike, constant: float) -> Floats:
    """Logarithm of a partition coefficient from the five solute descriptors.

    log10 K = c + e E + s S + a A + b B + v V.

    Parameters
    ----------
    descriptors
        E, S, A, B, V of each substance, shape (..., 5). [-]
    coefficients
        e, s, a, b, v of the phase, shape (5,). [-]
    constant
        c. [-]

    Returns
    -------
    Floats
        log10 K in the unit of the relation, shape (...). [-]

    References
    ----------
    Abraham's equation for condensed phases; coefficients of ``relations.csv``.

    Examples
    --------
    Methylparaben (0.93, 1.46, 0.71, 0.46, 1.131) in n-dodecane: 0.168 + 0.814 - 2.825 - 2.562 -
    2.231 + 5.016 = -1.621; measured in liquid paraffin 0.02, log -1.70.

    >>> e = (0.875, -1.935, -3.609, -4.851, 4.435)
    >>> round(float(linear_free_energy([0.93, 1.46, 0.71, 0.46, 1.131], e, 0.168)), 2)
    -1.62
    """
    d, c = np.asarray(descriptors, dtype=np.float64), np.asarray(coefficients, dtype=np.float64)
    result: Floats = constant + np.sum(d * c, axis=-1)
    return result


def binding_from_micelle(log_kx: ArrayLike, molar_mass_g_mol: ArrayLike) -> Floats:
    """Uptake per per cent of surfactant from the mole-fraction coefficient of its micelle.

    k = Kx / 55.4 x 10 / M.

    Parameters
    ----------
    log_kx
        log10 of mole fraction in the micelle over mole fraction in water. [-]
    molar_mass_g_mol
        Molar mass of the surfactant. [g/mol]

    Returns
    -------
    Floats
        k in total / free = 1 + k S, S the surfactant above its cmc in % w/v. [1/%]

    References
    ----------
    Definition; loading far below one solute per surfactant molecule.

    Examples
    --------
    Benzyl alcohol in sodium lauryl sulfate, log Kx 2.87, M 288.4: 741.3 / 55.4 x 10 / 288.4 =
    0.464.

    >>> round(float(binding_from_micelle(2.87, 288.4)), 3)
    0.464
    """
    kx = np.power(10.0, np.asarray(log_kx, dtype=np.float64))
    result: Floats = kx / _WATER_MOL_L * 10.0 / np.asarray(molar_mass_g_mol, dtype=np.float64)
    return result


def binding_per_mole(k_per_pct: ArrayLike, from_g_mol: ArrayLike, to_g_mol: ArrayLike) -> Floats:
    """Uptake constant carried from one micelle to another mole for mole.

    k2 = k1 M1 / M2: a mole of surfactant takes up about alike whatever its head.

    Parameters
    ----------
    k_per_pct
        Constant of the measured micelle. [1/%]
    from_g_mol, to_g_mol
        Molar masses of the measured surfactant and of the other. [g/mol]

    Returns
    -------
    Floats
        Constant of the other. [1/%]

    Notes
    -----
    Within a factor 2.3 (log sd 0.35).

    References
    ----------
    Amount matters more than kind (abstract read); an assumption for heads not measured.

    Examples
    --------
    From polysorbate 80 (1310) to a laureth sulfate (420): x 3.12.

    >>> round(float(binding_per_mole(0.1, 1310.0, 420.0)), 3)
    0.312
    """
    m1, m2 = np.asarray(from_g_mol, dtype=np.float64), np.asarray(to_g_mol, dtype=np.float64)
    result: Floats = np.asarray(k_per_pct, dtype=np.float64) * m1 / m2
    return result


def lamellar_volume_ratio(lipid_pct: ArrayLike, swelling_pct: ArrayLike) -> Floats:
    """Volume of a lamellar gel network per volume of water phase.

    phi = (lipid + swelling surfactant) / 0.90 / 100; 0 without either: unswollen wax is no phase
    for a preservative.

    Parameters
    ----------
    lipid_pct
        Fatty alcohol and glyceryl stearate over the water phase. [% w/v]
    swelling_pct
        Long-chain quat or other swelling surfactant over the water phase. [% w/v]

    Returns
    -------
    Floats
        phi. [-]

    Notes
    -----
    The water between the layers belongs to the water phase.

    References
    ----------
    Rule of this program; density of ordered skin lipid read.

    Examples
    --------
    5 % fatty alcohol with 1.5 % quat: 6.5 / 0.9 / 100 = 0.0722.

    >>> lamellar_volume_ratio([5.0, 5.0], [1.5, 0.0]).round(4).tolist()
    [0.0722, 0.0]
    """
    lipid, swelling = (np.asarray(p, dtype=np.float64) for p in (lipid_pct, swelling_pct))
    result: Floats = np.where(
        (lipid > 0) & (swelling > 0), (lipid + swelling) / _LAMELLA_DENSITY / 100.0, 0.0
    )
    return result


def lamellar_partition(log_p: ArrayLike) -> Floats:
    """Partition coefficient in a lamellar gel network, central value.

    K = 0.90 x 10^(0.69 logP), the relation of ordered skin lipid.

    Parameters
    ----------
    log_p
        Octanol-water log P of the uncharged form. [-]

    Returns
    -------
    Floats
        K, concentration in the layers over concentration in water. [-]

    Notes
    -----
    Log sd 0.45. No gel network was ever measured with a preservative: the lower bound is 0, the
    upper one the fluid bilayer (``linear_free_energy`` with the row ``membrane``), which lies
    0.6 log units higher on nine read values.

    References
    ----------
    Exponent and density read in a skin model; that a gel network behaves so is an assumption.

    Examples
    --------
    logP 2: 0.90 x 10^1.38 = 21.6.

    >>> round(float(lamellar_partition(2.0)), 1)
    21.6
    """
    result: Floats = _LAMELLA_DENSITY * np.power(10.0, 0.69 * np.asarray(log_p, dtype=np.float64))
    return result


def ion_ratio(
    central: ArrayLike, anion_mol: ArrayLike, quat_mol: ArrayLike, most: float = MOST_BOUND
) -> Floats:
    """Total over free of a preservative's anion beside micelles or layers of a long-chain quat.

    R_A = min(central, A / (A - most Q)): what is bound never exceeds ``most`` moles per mole of
    quat; 1 without quat.

    Parameters
    ----------
    central
        Ratio while the quat is in excess. [-]
    anion_mol, quat_mol
        Moles of the anion and of the quat in the same amount of product. [mol]
    most
        Moles of anion that a mole of quat holds at most. [-]

    Returns
    -------
    Floats
        R_A. [-]

    Notes
    -----
    Central 5, range 1 to 30 (log sd 0.5): benzoate displaces bromide 13-fold (abstract read); the
    ratio itself is an assumption.

    References
    ----------
    Mass balance for the cap.

    Examples
    --------
    10 mmol of anion, 4 mmol of quat: at most 3 bound, 10 / 7 = 1.43. With 20 mmol quat 5 stands.

    >>> ion_ratio(5.0, 10.0, [4.0, 20.0, 0.0]).round(2).tolist()
    [1.43, 5.0, 1.0]
    """
    anion, held = np.asarray(anion_mol, dtype=np.float64), most * np.asarray(quat_mol)
    left = anion - held
    cap = np.where(left > 0, anion / np.where(left > 0, left, 1.0), np.inf)
    result: Floats = np.where(held > 0, np.minimum(central, cap), 1.0)
    return result


def cosolvent_log_activity(sigma: ArrayLike, volume_fraction: ArrayLike) -> Floats:
    """Change of log10 activity of a dissolved preservative by an alcohol or glycol in the water.

    -sigma f; the same change holds for log10 K and log10 k of oils and binders.

    Parameters
    ----------
    sigma
        Solubilising power of the cosolvent for this substance: slope x logP + c. [-]
    volume_fraction
        Cosolvent in the water phase by volume, up to 0.3. [-]

    Returns
    -------
    Floats
        log10 of the factor on the activity that the MIC stands for. [-]

    Notes
    -----
    The free concentration rises as less is taken up, the activity of each free molecule falls.

    References
    ----------
    Log-linear law of Yalkowsky; coefficients recalled, checked on ten read values (rms 0.07 for
    propylene glycol, 0.10 for ethanol).

    Examples
    --------
    Phenoxyethanol (logP 1.16) with 5 % propylene glycol: sigma 0.78 x 1.16 + 0.37 = 1.275;
    10^(-1.275 x 0.05) = 0.863.

    >>> round(float(10 ** cosolvent_log_activity(0.78 * 1.16 + 0.37, 0.05)), 3)
    0.863
    """
    result: Floats = -np.asarray(sigma, dtype=np.float64) * np.asarray(volume_fraction)
    return result


def salting_log_activity(log_p: ArrayLike, salt_mol_l: ArrayLike) -> Floats:
    """Change of log10 activity of an uncharged solute by sodium chloride (Setschenow).

    Ks m, Ks = 0.040 logP + 0.114.

    Parameters
    ----------
    log_p
        Octanol-water log P of the uncharged form. [-]
    salt_mol_l
        Sodium chloride in the water phase. [mol/L]

    Returns
    -------
    Floats
        log10 of the activity coefficient, 0 without salt. [-]

    Notes
    -----
    Ks is good to 0.05 L/mol. For other salts take the ionic strength (assumption).

    References
    ----------
    Ni & Yalkowsky 2003, relation read.

    Examples
    --------
    logP 2, 0.17 mol/L (1 %): 0.194 x 0.17 = 0.033, a factor 1.079.

    >>> round(float(10 ** salting_log_activity(2.0, 0.17)), 3)
    1.079
    """
    ks = 0.040 * np.asarray(log_p, dtype=np.float64) + 0.114
    result: Floats = ks * np.asarray(salt_mol_l, dtype=np.float64)
    return result
