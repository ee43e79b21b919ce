"""How well a forecast agrees with published challenge tests: rank, Brier score, calibration."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
SEED = 20261201
# weak prior on intercept and slope: what an earlier fit on other results gave
PRIOR_MEAN, PRIOR_SD = np.array([1.5, 1.0]), np.array([1.5, 0.5])
# published rows favour successes, so a failure counts for more than one; chosen so that a chance
# of 0.8 stands above the sums of published passes that failed
FAILURE_WEIGHT = 1.8


def area_under_curve(score: ArrayLike, passed: ArrayLike) -> float:
    """Chance that a test that passed has the higher score than one that failed; ties count half.

    nan where all passed or all failed.

    >>> area_under_curve([0.9, 0.8, 0.3, 0.3], [True, False, True, False])
    0.625
    """
    s, y = np.asarray(score, dtype=np.float64), np.asarray(passed, dtype=bool)
    high, low = s[y, None], s[~y]
    if high.size == 0 or low.size == 0:
        return float("nan")
    return float(((high > low) + 0.5 * (high == low)).mean())


def brier(chance: ArrayLike, passed: ArrayLike) -> float:
    """Mean squared distance between the chance and what came out; 0 is best.

    0.1 squared and 0.6 squared, over two: 0.185.

    >>> round(brier([0.9, 0.6], [True, False]), 3)
    0.185
    """
    p, y = np.asarray(chance, dtype=np.float64), np.asarray(passed, dtype=np.float64)
    return float(((p - y) ** 2).mean())


def bootstrap_interval(
    score: ArrayLike,
    passed: ArrayLike,
    formula: Sequence[str],
    *,
    draws: int = 2000,
    seed: int = SEED,
) -> tuple[float, float]:
    """Interval of 95 % of the area under the curve, whole formulas drawn again and again.

    The results of one formula are alike, so formulas are drawn, not results.
    """
    s, y = np.asarray(score, dtype=np.float64), np.asarray(passed, dtype=bool)
    names = sorted(set(formula))
    members = [np.flatnonzero(np.asarray(formula) == n) for n in names]
    rng = np.random.default_rng(seed)
    areas = []
    for _ in range(draws):
        picked = np.concatenate([members[i] for i in rng.integers(0, len(names), len(names))])
        areas.append(area_under_curve(s[picked], y[picked]))
    low, high = np.nanpercentile(areas, [2.5, 97.5])
    return float(low), float(high)


def calibration(
    chance: ArrayLike,
    passed: ArrayLike,
    edges: Sequence[float] = (0.0, 0.2, 0.4, 0.6, 0.8, 0.9, 1.0),
) -> list[tuple[float, float, int, float, float]]:
    """Per band of the chance: its edges, number of results, mean chance and share that passed.

    >>> calibration([0.1, 0.95, 0.93], [False, True, True], edges=(0.0, 0.5, 1.0))
    [(0.0, 0.5, 1, 0.1, 0.0), (0.5, 1.0, 2, 0.94, 1.0)]
    """
    p, y = np.asarray(chance, dtype=np.float64), np.asarray(passed, dtype=bool)
    rows = []
    for low, high in zip(edges[:-1], edges[1:], strict=True):
        inside = (p >= low) & ((p < high) if high < edges[-1] else (p <= high))
        if inside.any():
            mean, share = round(float(p[inside].mean()), 3), round(float(y[inside].mean()), 3)
            rows.append((low, high, int(inside.sum()), mean, share))
    return rows


def logistic(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Intercept and slope with their covariance, by Newton's method."""
    design, prior = np.column_stack([np.ones_like(x), x]), np.diag(PRIOR_SD**-2.0)
    theta, weight = PRIOR_MEAN.copy(), np.where(y == 1, 1.0, FAILURE_WEIGHT)
    for _ in range(60):
        p = 1 / (1 + np.exp(-design @ theta))
        hessian = (design.T * (weight * p * (1 - p))) @ design + prior
        theta = theta + np.linalg.solve(
            hessian, design.T @ (weight * (y - p)) - prior @ (theta - PRIOR_MEAN)
        )
    return theta, np.linalg.inv(hessian)
