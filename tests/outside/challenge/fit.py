"""Fits the chance of passing to the published challenge tests: ``python -m
tests.outside.challenge.fit`` prints the numbers that stand in ``checks/free_active.py``."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from . import __main__ as cases
from .score import area_under_curve, brier, logistic

Floats = NDArray[np.float64]


class Fit(NamedTuple):
    """Intercept and slope, their covariance over publications, and the score when each publication
    is left out in turn."""

    theta: Floats
    covariance: Floats
    results: int
    area_left_out: float
    brier_left_out: float


def fitted() -> Fit:
    """The fit on all results of single microbes with a known sum."""
    kept, said = cases.scored()
    pairs = [
        (c, a)
        for c, a in zip(kept, said, strict=True)
        if c.microbe != "panel" and not math.isnan(a.ratio_sum)
    ]
    y = np.array([float(c.passed) for c, _ in pairs])
    x = np.log(np.maximum([a.ratio_sum for _, a in pairs], cases.LEAST))
    source = np.array([c.publication for c, _ in pairs])
    theta, plain = logistic(x, y)
    names = sorted(set(source))
    without = {n: logistic(x[source != n], y[source != n])[0] for n in names}
    off = np.array(list(without.values())) - np.mean(list(without.values()), axis=0)
    # each left out in turn: results of one publication are not independent
    between = (len(names) - 1) / len(names) * off.T @ off
    left = np.array(
        [
            1 / (1 + np.exp(-(without[s][0] + without[s][1] * v)))
            for s, v in zip(source, x, strict=True)
        ]
    )
    covariance = between if np.trace(between) > np.trace(plain) else plain
    return Fit(theta, covariance, len(y), area_under_curve(left, y), brier(left, y))


def main() -> None:
    """Print the numbers."""
    fit = fitted()
    print(f"{fit.results} results; intercept {fit.theta[0]:.4f}, slope {fit.theta[1]:.4f}")
    sd = np.sqrt(np.diag(fit.covariance))
    print(f"standard deviations {sd[0]:.4f}, {sd[1]:.4f}; covariance {fit.covariance[0, 1]:.4f}")
    print(f"left out in turn: area {fit.area_left_out:.3f}, Brier {fit.brier_left_out:.3f}")


if __name__ == "__main__":
    main()
