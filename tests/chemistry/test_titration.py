"""Reading a titration as a monotone curve."""

import math

import numpy as np
import pytest
import scipy.interpolate  # noqa: F401  before hypothesis takes the time of a call
from hypothesis import given
from hypothesis import strategies as st

from preservecheck.chemistry import titration as t

GRAMS, PH = [0, 0.1, 0.2, 0.4], [6.2, 5.8, 5.1, 4.4]
STEPS = st.lists(st.tuples(st.floats(0.01, 1), st.floats(0, 1)), min_size=2, max_size=12)


@given(STEPS, st.floats(0, 1))
def test_curve_stays_between_its_neighbours(steps, share):
    """Nowhere does the curve leave the two readings that it lies between."""
    x = np.cumsum([0, *(s for s, _ in steps)])
    y = 7 - np.cumsum([0, *(s for _, s in steps)])
    place = x[0] + share * (x[-1] - x[0])
    i = min(int(np.searchsorted(x, place, side="right")) - 1, len(x) - 2)
    found = float(t.interpolated(x, y, place))
    assert min(y[i], y[i + 1]) - 1e-9 <= found <= max(y[i], y[i + 1]) + 1e-9


@given(st.lists(st.floats(2, 12), min_size=1, max_size=15), st.booleans())
def test_smoothed_readings_run_one_way(values, rising):
    """What is smoothed never runs against its trend, and keeps its mean."""
    found = t.monotone(values, rising=rising)
    steps = np.diff(found) if rising else -np.diff(found)
    assert (steps >= -1e-9).all()
    assert found.mean() == pytest.approx(np.mean(values))


def test_monotone_readings_stay():
    """Readings that run one way are not touched."""
    assert t.monotone(PH, rising=False).tolist() == PH


def test_amount_and_ph_are_each_other_reversed():
    """The curve at the amount for a pH has that pH."""
    grams = t.amount_for(GRAMS, PH, 5.4)
    assert float(t.interpolated(GRAMS, PH, grams)) == pytest.approx(5.4)


def test_two_readings_are_a_straight_line():
    """Half-way in pH is half-way in grams."""
    assert t.amount_for([0, 2], [6, 5], 5.5) == pytest.approx(1)


@pytest.mark.parametrize("ph", [6.3, 4.3])
def test_nothing_beyond_the_readings(ph):
    """A pH that no reading reaches has no amount."""
    assert math.isnan(t.amount_for(GRAMS, PH, ph))
    assert math.isnan(float(t.interpolated(GRAMS, PH, 0.5)))


def test_capacity_of_a_straight_titration():
    """0.03 mol/kg over 1.5 pH is 0.02 mol per kg and pH, in either direction."""
    assert t.buffer_capacity([0, 0.015, 0.03], [6.5, 5.75, 5.0], 5.5) == pytest.approx(0.02)
    assert t.buffer_capacity([0, 0.015, 0.03], [5.0, 5.75, 6.5], 5.5) == pytest.approx(0.02)


def test_capacity_is_unknown_outside():
    """Outside the readings no capacity is told."""
    assert math.isnan(t.buffer_capacity([0, 1, 2], [6, 5, 4], 6.5))


def test_curve_by_hand():
    """Readings 0, 1, 4 at 0, 1, 2: secants 1 and 3, so slopes 0 (3 x 1 - 3 over 2), 2 x 3 / (1 + 3) =
    1.5; half-way to 1 it is 0.5 - 1.5 / 8."""
    assert float(t.interpolated([0, 1, 2], [0, 1, 4], 0.5)) == pytest.approx(0.5 - 1.5 / 8)


@pytest.mark.parametrize("at", range(4))
def test_a_reading_is_its_own_amount(at):
    """A pH that was read has the grams that it was read at, also the first and the last."""
    assert t.amount_for(GRAMS, PH, PH[at]) == GRAMS[at]


def test_level_readings():
    """Where two readings are alike the first of them has that pH, and the curve goes on below it."""
    assert t.amount_for([0, 1, 2, 3], [6, 5, 5, 4], 5) == 1
    assert 2 < t.amount_for([0, 1, 2, 3], [6, 5, 5, 4], 4.5) < 3
