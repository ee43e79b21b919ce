"""The chance of passing a challenge test: hand calculations, shape, and what must never happen."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, special, stats

from preservecheck.chemistry.challenge_chance import (
    Calibration,
    challenge_chance,
    combined_log_sd,
    log_sd_between,
    water_activity_share,
)

FIT = Calibration(1.6, 1.6, 0.16, 0.06, -0.03, 0.1, 1.0, 1.5)
SHARP = Calibration(1.6, 1.6, 0.0, 0.0, 0.0, 0.1, 1.0, 1.5)


def test_hand_calculation():
    """Sum 2: z = 1.6 + 1.6 ln 2 = 2.709, chance 1/(1 + e^-2.709) = 0.9376."""
    assert challenge_chance(2.0, 0.0, SHARP).chance == pytest.approx(0.9376, abs=1e-4)


def test_spread_against_the_integral():
    """The closed form lies within 0.02 of the exact mean over a normal spread of ln sum."""
    for total in (0.3, 1.0, 3.0):
        for s in (0.35, 0.7, 1.0):
            exact, _ = integrate.quad(
                lambda x, t=total, sd=s: (
                    special.expit(1.6 + 1.6 * (np.log(t) + x)) * stats.norm.pdf(x, scale=sd)
                ),
                -8,
                8,
            )
            assert challenge_chance(total, s, SHARP).chance == pytest.approx(exact, abs=0.02)


def test_unknown_part_against_the_integral():
    """Five nodes come within 0.02 of the mean over the share of an active of unknown MIC."""
    for known in (0.0, 0.3, 1.0):
        exact, _ = integrate.quad(
            lambda x, k=known: (
                special.expit(1.6 + 1.6 * np.log(max(k + np.exp(x), 0.1)))
                * stats.norm.pdf(x, scale=1.5)
            ),
            -12,
            12,
        )
        assert challenge_chance(known, 0.0, SHARP, True).chance == pytest.approx(exact, abs=0.02)


@given(st.floats(0, 50), st.floats(0, 50), st.floats(0, 2))
def test_more_preservative_never_lowers_the_chance_without_spread(a, b, s):
    """Rises with the sum at a given spread, parameters held."""
    low, high = sorted((a, b))
    assert challenge_chance(low, s, SHARP).chance <= challenge_chance(high, s, SHARP).chance


@given(st.floats(1.0, 50), st.floats(0, 2), st.floats(0, 2))
def test_less_known_is_never_surer(total, a, b):
    """For a sum of 1 and more the chance falls as the spread grows."""
    low, high = sorted((a, b))
    assert challenge_chance(total, high, FIT).chance <= challenge_chance(total, low, FIT).chance


@given(st.floats(0, 1e6), st.floats(0, 5))
def test_stays_inside(total, s):
    """Never 0, never 1, half-width at most one half."""
    out = challenge_chance(total, s, FIT)
    assert 0 < out.chance < 1
    assert 0 <= out.half_width <= 0.5


def test_unknown_sum_is_unknown():
    """A sum that is not a number (pH not measured) gives none."""
    assert np.isnan(challenge_chance(np.nan, 0.0, FIT).chance)


def test_ends_and_parts():
    """ln(4)/3.92 = 0.3537; 3-4-5 triangle."""
    assert log_sd_between(1, 4) == pytest.approx(0.3537, abs=1e-4)
    assert combined_log_sd(3, 4) == 5


def test_share_of_the_water_activity():
    """((1 - 0.90)/(1 - 0.77))^3 = 0.4348^3 = 0.0822; unknown limit 0."""
    assert water_activity_share(0.90, 0.77) == pytest.approx(0.0822, abs=1e-4)
    assert water_activity_share(0.90, np.nan) == 0
