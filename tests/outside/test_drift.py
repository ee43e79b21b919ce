"""The slope against scipy, and how often its band holds the next reading."""

import datetime as dt

import numpy as np
import pytest
from scipy.stats import linregress
from scipy.stats import t as student

from preservecheck.chemistry.trend import fitted_line, predicted
from preservecheck.evidence.drift import series_of

DAYS = np.array([0, 7, 14, 21, 28, 42, 56.0])
START = dt.date(2026, 1, 1)


@pytest.mark.parametrize("seed", range(5))
def test_slope_against_scipy(seed):
    """Slope, intercept and the confidence interval of the slope are scipy's."""
    ph = 5.2 - 0.004 * DAYS + np.random.default_rng(seed).normal(0, 0.03, DAYS.size)
    theirs = linregress(DAYS, ph)
    found = series_of(
        "x",
        22.0,
        [(START + dt.timedelta(days=int(d)), p) for d, p in zip(DAYS, ph, strict=True)],
        (4, 6),
    )
    half = student.ppf(0.975, DAYS.size - 2) * theirs.stderr
    assert found.slope_per_day == pytest.approx(theirs.slope)
    assert (found.slope_low, found.slope_high) == pytest.approx(
        (theirs.slope - half, theirs.slope + half)
    )
    assert found.moves == (theirs.pvalue < 0.05)


def test_coverage_of_the_band():
    """Over 1,000 draws the band holds a new reading four weeks on, and the interval the true slope,
    92 to 98 of 100."""
    rng = np.random.default_rng(20261203)
    slope, ahead = -0.004, 84.0
    readings = slopes = 0
    for _ in range(1000):
        line = fitted_line(DAYS, 5.2 + slope * DAYS + rng.normal(0, 0.03, DAYS.size))
        value, half = predicted(line, ahead)
        readings += abs(5.2 + slope * ahead + rng.normal(0, 0.03) - float(value)) <= float(half)
        slopes += abs(line.slope - slope) <= line.slope_error
    assert 920 <= readings <= 980
    assert 920 <= slopes <= 980


def test_no_movement_is_claimed_five_times_of_a_hundred():
    """Of 1,000 products that do not move, about 50 are said to."""
    rng = np.random.default_rng(20261204)
    dates = [START + dt.timedelta(days=int(d)) for d in DAYS]
    moved = 0
    for _ in range(1000):
        ph = 5.0 + rng.normal(0, 0.03, DAYS.size)
        moved += bool(series_of("x", 22.0, list(zip(dates, ph, strict=True)), None).moves)
    assert 20 <= moved <= 80
