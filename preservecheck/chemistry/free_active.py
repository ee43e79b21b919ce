"""How much of a preservative is free and working in the water."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


def taken_up(amount: ArrayLike, constant: ArrayLike) -> Floats:
    """Preservative that oils or binders hold, per preservative that is free in the water.

    sum over the classes of constant * amount: K phi for oils, R - 1 = k S for surfactants and
    polymers while none is near saturation.

    Parameters
    ----------
    amount
        Volume of each class of oil per volume of water phase, phi [-], or binder in the water
        phase, S [% w/v]; shape (..., C).
    constant
        Partition coefficient K [-], or binding constant k [1/%], of each preservative in each
        class; shape (F, C) or (..., F, C).

    Returns
    -------
    Floats
        Held over free, shape (..., F). [-]

    Notes
    -----
    A class that is not there takes up nothing, also where its constant is unknown (nan); an
    unknown constant of one that is there makes the sum unknown. Waxes that are solid at room
    temperature take up none, and of a surfactant only what is above its critical micelle
    concentration counts: leave them out.

    References
    ----------
    bean-1965, page 18, for oils; bean-1972, page 714, for binders.

    Examples
    --------
    0.5 % of polysorbate 80, k = 0.37, then none of it.

    >>> taken_up([0.5], [[0.37]]).tolist(), taken_up([0.0], [[float("nan")]]).tolist()
    ([0.185], [0.0])
    """
    amounts, constants = np.asarray(amount, dtype=np.float64), np.asarray(constant)
    total: Floats = np.zeros(np.broadcast_shapes((*amounts.shape[:-1], 1), constants.shape[:-1]))
    for i in range(amounts.shape[-1]):
        if amounts[..., i].any():
            one = amounts[..., i, np.newaxis]
            total = total + np.where(one > 0, one * constants[..., i], 0.0)
    return total


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
    uncharged = np.asarray(k_phi, dtype=np.float64) + np.asarray(r_bound)
    ion = np.asarray(r_ion) * (1.0 - f)
    result: Floats = np.asarray(total_water_pct) * f / (uncharged * f + ion)
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
