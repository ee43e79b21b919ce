"""How much of a preservative is free and working in the water, and what that is worth."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from preservecheck.chemistry.partition import (
    ARYL_ALCOHOL_HYDROCARBON,
    ESTER_TO_VEGETABLE,
    ETHOXYLATE_FACTOR,
    ETHOXYLATE_RMS_LOG10,
    HYDROCARBON_OIL_FACTOR,
    HYDROCARBON_OIL_RMS_LOG10,
    OIL_CLASSES,
    VEGETABLE_OIL_FACTOR,
    VEGETABLE_OIL_RMS_LOG10,
    binding_from_log_p,
    hydrocarbon_oil_partition,
    partition_from_log_p,
    vegetable_oil_partition,
)

__all__ = [
    "ARYL_ALCOHOL_HYDROCARBON",
    "ESTER_TO_VEGETABLE",
    "ETHOXYLATE_FACTOR",
    "ETHOXYLATE_RMS_LOG10",
    "HYDROCARBON_OIL_FACTOR",
    "HYDROCARBON_OIL_RMS_LOG10",
    "OIL_CLASSES",
    "VEGETABLE_OIL_FACTOR",
    "VEGETABLE_OIL_RMS_LOG10",
    "Bools",
    "Floats",
    "binding_from_log_p",
    "free_capped",
    "free_undissociated",
    "hydrocarbon_oil_partition",
    "oil_water_volume_ratio",
    "partition_from_log_p",
    "sum_of_ratios",
    "total_for_free",
    "total_to_free_ratio",
    "vegetable_oil_partition",
    "water_phase_total",
]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


def oil_water_volume_ratio(
    oil_g: ArrayLike,
    water_g: ArrayLike,
    oil_density_g_ml: ArrayLike = 0.92,
    water_density_g_ml: ArrayLike = 1.0,
) -> Floats:
    """Volume of liquid oil per volume of water phase.

    phi = (oil / oil density) / (water / water density).

    Parameters
    ----------
    oil_g
        Mass of oil that is liquid in the finished product. [g]
    water_g
        Mass of the water phase, more than 0. [g]
    oil_density_g_ml
        Density of the oil: 0.85 mineral, 0.92 vegetable, 0.96 castor. [g/mL]
    water_density_g_ml
        Density of the water phase: 1.00, up to 1.05 with polyols. [g/mL]

    Returns
    -------
    Floats
        phi. [-]

    Notes
    -----
    Waxes and fatty alcohols that are solid at room temperature take up none: leave them out.

    References
    ----------
    Definition, as in bean-1965.

    Examples
    --------
    9.2 g vegetable oil to 100 g water: 10 mL to 100 mL.

    >>> round(float(oil_water_volume_ratio(9.2, 100)), 6)
    0.1
    """
    oil_ml = np.asarray(oil_g, dtype=np.float64) / np.asarray(oil_density_g_ml, dtype=np.float64)
    water_ml = np.asarray(water_g, dtype=np.float64) / np.asarray(water_density_g_ml)
    result: Floats = oil_ml / water_ml
    return result


def water_phase_total(emulsion_pct: ArrayLike, phi: ArrayLike) -> Floats:
    """Total preservative of an emulsion, per volume of its water phase.

    C(water, total) = C (1 + phi), as if all of it were in the water.

    Parameters
    ----------
    emulsion_pct
        Concentration in the whole emulsion. [% w/v]
    phi
        Volume ratio of oil to water. [-]

    Returns
    -------
    Floats
        Concentration per volume of water phase. [% w/v]

    Notes
    -----
    Per cent by weight equals per cent w/v within 5 % for water-rich products.

    References
    ----------
    bean-1965, equation on page 18.

    Examples
    --------
    >>> round(float(water_phase_total(0.4237, 0.10)), 4)
    0.4661
    """
    result: Floats = np.asarray(emulsion_pct, dtype=np.float64) * (1.0 + np.asarray(phi))
    return result


def total_to_free_ratio(binder_pct: ArrayLike, k_per_pct: ArrayLike) -> Floats:
    """Ratio of total to free preservative in a water phase that holds surfactants or polymers.

    R = 1 + sum of k_i S_i; while no binder is near saturation.

    Parameters
    ----------
    binder_pct
        Binder in the water phase, shape (..., B); B may be 0. [% w/v]
    k_per_pct
        Binding constant of each, shape (B,) or (..., B). [1/%]

    Returns
    -------
    Floats
        R, 1 or more, shape (...). [-]

    Notes
    -----
    Only what is above the critical micelle concentration counts.

    References
    ----------
    bean-1972, page 714.

    Examples
    --------
    0.5 % of polysorbate 80, k = 0.37: 1 + 0.185.

    >>> round(float(total_to_free_ratio([0.5], [0.37])), 3)
    1.185
    """
    binder = np.asarray(binder_pct, dtype=np.float64)
    result: Floats = 1.0 + np.sum(binder * np.asarray(k_per_pct, dtype=np.float64), axis=-1)
    return result


def free_undissociated(
    total_water_pct: ArrayLike,
    k_phi: ArrayLike,
    r_bound: ArrayLike,
    fraction: ArrayLike,
    r_ion: ArrayLike = 1.0,
) -> Floats:
    """Concentration of the working form that is free in the water.

    free = C / (K phi + R + R_A (1 - f) / f); only the uncharged form enters oil and binders (R),
    the ion stays in the water or is bound by R_A.

    Parameters
    ----------
    total_water_pct
        Total of the preservative per volume of water phase, C, counted as the working form. [% w/v]
    k_phi
        Partition coefficient of the uncharged form times the oil-water volume ratio; for a mixed
        oil the sum. [-]
    r_bound
        Total to free ratio of the uncharged form in the water phase, 1 without binders. [-]
    fraction
        Share of the working form, f: undissociated acid, or free base for a base; 1 for what does
        not ionise. [-]
    r_ion
        Total to free ratio of the ion: 1 with nonionic and anionic surfactants, more with
        cationic ones. [-]

    Returns
    -------
    Floats
        Free working form. [% w/v]

    Notes
    -----
    Goes to 0 smoothly as f does. Not capped at the solubility: see ``free_capped``. May exceed
    the added per cent where K is below 1: the oil then pushes the preservative into the water. A
    base is the mirror image with its free-base share.

    References
    ----------
    bean-1965 for f = 1 and R = 1, bean-1972 for R; the term of the ion follows from mass balance.

    Examples
    --------
    Phenol 0.4 % in equal volumes of mineral oil (K = 0.067) and water: 0.8 / 1.067 = 0.750.
    Benzoic acid at f = 0.1717 with K phi = 0.533: 0.4661 / (0.533 + 1 + 4.824) = 0.0733.

    >>> round(float(free_undissociated(0.8, 0.067, 1.0, 1.0)), 3)
    0.75
    >>> round(float(free_undissociated(0.4661, 0.533, 1.0, 0.1717)), 4)
    0.0733
    """
    f = np.asarray(fraction, dtype=np.float64)
    held = np.asarray(k_phi, dtype=np.float64) + np.asarray(r_bound)
    result: Floats = np.asarray(total_water_pct) * f / (held * f + np.asarray(r_ion) * (1.0 - f))
    return result


def total_for_free(
    free_pct: ArrayLike,
    k_phi: ArrayLike,
    r_bound: ArrayLike,
    fraction: ArrayLike,
    r_ion: ArrayLike = 1.0,
) -> Floats:
    """Total preservative needed for a wanted free concentration.

    C = free * (K phi + R + R_A (1 - f) / f), the inverse of ``free_undissociated``.

    Parameters
    ----------
    free_pct
        Wanted free working form. [% w/v]
    k_phi
        Partition coefficient of the uncharged form times the oil-water volume ratio. [-]
    r_bound
        Total to free ratio of the uncharged form in the water phase. [-]
    fraction
        Share of the working form. [-]
    r_ion
        Total to free ratio of the ion. [-]

    Returns
    -------
    Floats
        Total per volume of water phase; inf where the working form does not exist (f = 0). [% w/v]

    Notes
    -----
    None is needed for a wanted 0, whatever f.

    References
    ----------
    As ``free_undissociated``.

    Examples
    --------
    Benzoic acid between equal volumes of peanut oil and water, pH 4.0, K = 5.33, Ka = 6.3e-5, so
    f = 1 / 1.63; wanted 0.025 %: 0.025 x (5.33 + 1 + 0.63) = 0.174.

    >>> round(float(total_for_free(0.025, 5.33, 1.0, 1 / 1.63)), 3)
    0.174
    """
    free, f = np.asarray(free_pct, dtype=np.float64), np.asarray(fraction, dtype=np.float64)
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        ratio = np.asarray(k_phi) + np.asarray(r_bound) + np.asarray(r_ion) * (1.0 - f) / f
        needed = free * ratio
    result: Floats = np.where((free == 0.0) & ~np.isnan(f), 0.0, needed)[()]
    return result


def free_capped(free_pct: ArrayLike, solubility_pct: ArrayLike) -> tuple[Floats, Bools]:
    """Free concentration, no higher than the water dissolves.

    capped = min(free, solubility).

    Parameters
    ----------
    free_pct
        Free uncharged form if all of it dissolved. [% w/v]
    solubility_pct
        Solubility of the uncharged form in the water phase; nan where unknown. [% w/v]

    Returns
    -------
    capped : Floats
        Free concentration. [% w/v]
    over : Bools
        Whether the rest sits as crystals or droplets. [-]

    Notes
    -----
    With an unknown solubility nothing is capped and ``over`` is False: the caller must say that
    it is unknown.

    References
    ----------
    Definition of solubility.

    Examples
    --------
    >>> capped, over = free_capped([0.2, 0.5], 0.34)
    >>> capped.tolist(), over.tolist()
    ([0.2, 0.34], [False, True])
    """
    free = np.asarray(free_pct, dtype=np.float64)
    limit = np.asarray(solubility_pct, dtype=np.float64)
    over: Bools = free > limit
    capped: Floats = np.where(over, limit, free)[()]
    return capped, over


def sum_of_ratios(free_pct: ArrayLike, mic_pct: ArrayLike) -> tuple[Floats, Bools]:
    """Sum of free concentrations over their inhibitory concentrations, for each microbe.

    S = sum over the actives of C_i / MIC_i; growth should be held from 1 on.

    Parameters
    ----------
    free_pct
        Free working form of each active, shape (..., A); A may be 0. [% w/v]
    mic_pct
        Minimum inhibitory concentration against each microbe, shape (A, M) or (..., A, M); nan
        where unknown. [% w/v]

    Returns
    -------
    total : Floats
        S, shape (..., M). [-]
    counted : Bools
        Which active counts against which microbe, shape (..., A, M). [-]

    Notes
    -----
    What is unknown (nan in either) adds 0 and is not counted, so that S is the known part. Where
    not all are counted and S is below 1 the answer is unknown, not a failure. Simple addition is
    uncertain by a factor 2.

    References
    ----------
    Additivity of inhibitory fractions, an assumption; no claim of synergy.

    Examples
    --------
    0.02 / 0.04 + 0.3 / 0.6 = 1.0 against the first microbe; only 0.02 / 0.08 is known against the
    second.

    >>> total, counted = sum_of_ratios([0.02, 0.3], [[0.04, 0.08], [0.6, float("nan")]])
    >>> total.tolist()
    [1.0, 0.25]
    >>> counted.tolist()
    [[True, True], [True, False]]
    """
    free, mic = np.asarray(free_pct, dtype=np.float64), np.asarray(mic_pct, dtype=np.float64)
    unknown_mic, unknown_free = np.isnan(mic), np.isnan(free)
    inverse = np.where(unknown_mic, 0.0, 1.0 / mic)
    known = np.where(unknown_free, 0.0, free)
    total: Floats = np.matmul(known[..., np.newaxis, :], inverse)[..., 0, :]
    counted: Bools = ~(unknown_mic | unknown_free[..., np.newaxis])
    return total, counted
