"""Shares of the forms of an acid or base at a pH."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


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
