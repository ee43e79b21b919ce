"""Newton's law, heat balance and the fit, against hand calculation and what must hold always."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from preservecheck.chemistry import cooling

TIMES = np.arange(0, 41, 5.0)


def course(rate=0.02, room=21.0, start=74.0, times=TIMES):
    """Readings that lie on the law."""
    return room + (start - room) * np.exp(-rate * times)


@given(st.floats(0, 500), st.floats(30, 100), st.floats(0, 29), st.floats(1e-4, 1))
def test_never_undershoots_the_room(time, start, room, rate):
    """A cooling batch stays between its start and the room."""
    found = float(cooling.temperature_at(time, start, room, rate))
    assert room - 1e-9 <= found <= start + 1e-9


@given(st.floats(0.001, 0.2), st.floats(25, 70))
def test_time_and_temperature_are_each_other_reversed(rate, target):
    """The temperature at the time to a target is the target."""
    time = cooling.minutes_to(target, 80.0, 20.0, rate)
    assert float(cooling.temperature_at(time, 80.0, 20.0, rate)) == pytest.approx(target)


@pytest.mark.parametrize("target", [20.0, 15.0])
def test_room_is_never_reached(target):
    """A target at the room or below it has no time."""
    assert math.isnan(float(cooling.minutes_to(target, 80.0, 20.0, 0.05)))


def test_arrays_keep_their_shape():
    """Arrays go in and come out with the shape they have together."""
    assert cooling.temperature_at(np.zeros((3, 1)), 70.0, np.array([20.0, 21.0]), 0.1).shape == (
        3,
        2,
    )
    assert cooling.mixed_temperature_c(np.ones((4, 2)), [4.0, 2.0], [60.0, 20.0]).shape == (4,)


def test_equal_portions_meet_in_the_middle():
    """Two equal portions of one stuff at 60 and 20 °C come to 40 °C."""
    assert float(cooling.mixed_temperature_c([1, 1], [4.18, 4.18], [60, 20])) == pytest.approx(40)


@pytest.mark.parametrize("room", [21.0, None])
def test_fit_finds_what_readings_lie_on(room):
    """Readings on the law give back its rate, start and room."""
    fit = cooling.fitted_cooling(TIMES, course(), room)
    assert fit.rate_per_min == pytest.approx(0.02, rel=1e-4)
    assert fit.room_c == pytest.approx(21, abs=0.01)
    assert fit.start_c == pytest.approx(74, abs=0.01)
    assert fit.error_c == pytest.approx(0, abs=1e-3)


def test_fit_does_not_depend_on_where_time_begins():
    """The same readings an hour later give the same rate and the same wait."""
    early = cooling.fitted_cooling(TIMES, course() + 0.1 * np.cos(TIMES), 21.0)
    late = cooling.fitted_cooling(TIMES + 60, course() + 0.1 * np.cos(TIMES), 21.0)
    assert late.rate_per_min == pytest.approx(early.rate_per_min, rel=1e-6)
    assert cooling.minutes_band(late, 40.0)[0] - 60 == pytest.approx(
        cooling.minutes_band(early, 40.0)[0], abs=0.01
    )


@pytest.mark.parametrize(
    ("times", "temps", "room"),
    [([0, 10], [74, 66], None), ([0], [74], 21.0), ([0, 10, 20], [60, 66, 70], 21.0)],
    ids=["fewer than the numbers", "one", "rising"],
)
def test_no_fit_where_nothing_cools(times, temps, room):
    """Too few readings or rising ones give no fit rather than a wrong one."""
    assert cooling.fitted_cooling(times, temps, room) is None


def test_band_grows_with_the_scatter():
    """Twice the scatter, twice the band, nearly."""
    rng = np.random.default_rng(1)
    noise = rng.normal(0, 0.1, TIMES.size)
    widths = []
    for factor in (1, 2):
        fit = cooling.fitted_cooling(TIMES, course() + factor * noise, 21.0)
        low, high = cooling.minutes_band(fit, 40.0)
        widths.append(high - low)
    assert widths[1] / widths[0] == pytest.approx(2, rel=0.1)


def test_no_latest_time_where_it_may_not_fall():
    """Three scattered readings that hardly fall give an open end."""
    fit = cooling.fitted_cooling([0, 5, 10], [60.0, 61.5, 59.0], 21.0)
    assert math.isinf(cooling.minutes_band(fit, 40.0)[1])


def test_two_readings_take_the_assumed_scatter():
    """With no freedom left the stated scatter counts, by the normal distribution."""
    fit = cooling.fitted_cooling([0, 10], [74, 66], 21.0, assumed_error_c=0.5)
    assert (fit.error_c, fit.dof) == (0.5, 0)
    assert fit.factor == pytest.approx(1.96, abs=0.001)


def test_rate_tolerance_by_hand():
    """Two readings, room known: k = ln(x0/x1)/t, so its error is s sqrt(1/x0^2 + 1/x1^2) / t."""
    fit = cooling.fitted_cooling([0, 10], [74, 66], 21.0, assumed_error_c=0.5)
    by_hand = 1.96 * 0.5 * math.sqrt(1 / 53**2 + 1 / 45**2) / 10
    assert cooling.rate_tolerance(fit) == pytest.approx(by_hand, rel=1e-3)
