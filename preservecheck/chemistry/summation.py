"""Sums whose last digit does not depend on what else is in the arrays.

Floating-point addition is not associative, and numpy picks its order by shape and memory layout.
Here terms are added one after the other along the last axis, so that adding zeros, or more cases
beside a case, never changes its figures.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
# from so many cases on, weights of zero are passed over one by one
MANY = 64


def ordered_sum(values: ArrayLike) -> Floats:
    """Sum over the last axis, term by term from the first to the last.

    Parameters
    ----------
    values
        Terms, shape (..., n). [any]

    Returns
    -------
    Floats
        Sums, shape (...,). [as the terms]

    Examples
    --------
    >>> float(ordered_sum([1.0, 2.0, 3.0]))
    6.0
    """
    terms = np.asarray(values, dtype=np.float64)
    out: Floats = np.zeros(terms.shape[:-1])
    for i in range(terms.shape[-1]):
        out = out + terms[..., i]
    return out


def weighed_sum(amount: ArrayLike, weights: ArrayLike) -> Floats:
    """Amounts times weights, summed over the last axis of the amounts, term by term.

    Parameters
    ----------
    amount
        Amounts, shape (..., n). [any]
    weights
        One weight, or a row of weights, for each: shape (n,) or (n, m). [any]

    Returns
    -------
    Floats
        Sums, shape (...,) or (..., m). [amount times weight]

    Notes
    -----
    Amounts that are zero in every case, and weights of zero, are passed over; they would add
    nothing.

    Examples
    --------
    >>> float(weighed_sum([2.0, 3.0], [10.0, 1.0]))
    23.0
    """
    amounts = np.asarray(amount, dtype=np.float64)
    table = np.asarray(weights, dtype=np.float64)
    used = np.flatnonzero(np.any(amounts != 0, axis=tuple(range(amounts.ndim - 1))))
    if table.ndim == 1:
        total: Floats = np.zeros(amounts.shape[:-1])
        for k in used[table[used] != 0]:
            total += amounts[..., k] * table[k]
        return total
    used = used[table[used].any(axis=1)]
    if amounts.size < MANY * amounts.shape[-1]:
        few: Floats = np.zeros((*amounts.shape[:-1], table.shape[1]))
        for k in used:
            few += amounts[..., k, np.newaxis] * table[k]
        return few
    many = np.zeros((table.shape[1], *amounts.shape[:-1]))
    for k in used:
        column = amounts[..., k]
        for j in np.flatnonzero(table[k]):
            many[j] += column if table[k, j] == 1 else column * table[k, j]
    return np.moveaxis(many, 0, -1)
