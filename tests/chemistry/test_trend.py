"""Straight lines through readings, and the scatter that rounding brings."""

import math

import numpy as np
import pytest

from preservecheck.chemistry import trend


@pytest.mark.parametrize(
    ("readings", "step"),
    [([74, 66, 59], 1), ([74.5, 66, 59], 0.1), ([5.12, 5.1], 0.01), ([700, 600], 1)],
)
def test_rounding_by_the_last_digit(readings, step):
    """The last digit written gives the step; a uniform distribution a standard deviation of step
    over root 12."""
    assert trend.rounding_error(readings) == pytest.approx(step / math.sqrt(12))


def test_computed_numbers_have_no_rounding():
    """Numbers with many decimals were not read off a display."""
    assert trend.rounding_error([1 / 3, 2 / 7]) == 0


def test_line_by_hand():
    """Readings 1 2 2 4 at 0 1 2 3: slope 4.5 / 5, intercept 2.25 - 1.35, squares 0.01 + 0.04 + 0.49
    + 0.16 = 0.70."""
    line = trend.fitted_line([0, 1, 2, 3], [1, 2, 2, 4])
    assert (line.slope, line.intercept) == pytest.approx((0.9, 0.9))
    assert line.error == pytest.approx(math.sqrt(0.70 / 2))
    assert line.slope_error == pytest.approx(4.3027 * math.sqrt(0.35 / 5), rel=1e-4)


def test_least_scatter_holds_where_all_lie_on_the_line():
    """Readings that happen to lie on a line keep the scatter of their rounding."""
    line = trend.fitted_line([0, 7, 14, 21], [5.3, 5.2, 5.1, 5.0], 0.0289)
    assert line.error == 0.0289


def test_band_is_narrowest_in_the_middle():
    """The band widens away from the readings."""
    line = trend.fitted_line([0, 1, 2, 3], [1, 2, 2, 4])
    half = trend.predicted(line, np.array([1.5, 3.0, 10.0]))[1]
    assert half[0] < half[1] < half[2]


def test_no_freedom_no_band():
    """Without a degree of freedom nothing is known of the scatter."""
    assert math.isinf(trend.student_t(0))
