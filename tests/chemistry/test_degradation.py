"""Loss over months against printed rates and hand calculations."""

from __future__ import annotations

import numpy as np
import pytest

from preservecheck.chemistry.degradation import (
    band,
    half_life_months,
    left_fraction,
    loss_rate,
    rate_from_half_life,
)

# ids: methylparaben, bronopol; numbers of degradation.csv
PARABEN = dict(
    reference_rate_per_month=0.0248,
    ph_reference=7.33,
    ph_slope=0.88,
    activation_kj_mol=102.0,
    pka=8.3,
    ph_low=5.5,
    ph_high=9.2,
)
BRONOPOL = dict(
    reference_rate_per_month=0.0230,
    ph_reference=4.0,
    ph_slope=0.371,
    activation_kj_mol=102.4,
    ph_low=4.0,
    ph_high=8.0,
)


class TestParabens:
    """J. Soc. Cosmet. Chem. 25 (1974), Table II (read), 70 °C in 0.1 M phosphate."""

    @pytest.mark.parametrize(
        ("ph", "per_hour"), [(5.49, 0.000414), (7.33, 0.01024), (8.24, 0.0178)]
    )
    def test_rate_at_70_degrees(self, ph, per_hour):
        """Within the stated factor 3 of the printed rate (phosphate makes it faster)."""
        k = loss_rate(ph, 70.0, **PARABEN) / 730.5
        assert per_hour / 3 < k < per_hour * 3

    def test_loss_in_a_year(self):
        """25 % in 12 months at pH 7 to 7.5 and room temperature (read): 20 to 30 % here."""
        lost = 1 - left_fraction(loss_rate(7.25, 25.0, **PARABEN), 12)
        assert 0.20 < lost < 0.30

    def test_hand_calculation(self):
        """At pH 8: 0.0248 x 10^(0.88 x 0.67) x (1 + 10^-0.97)/(1 + 10^-0.3).

        10^0.5896 = 3.887; 1.10715 / 1.50119 = 0.73752; 0.0248 x 3.887 x 0.73752 = 0.07109.
        """
        assert loss_rate(8.0, 25.0, **PARABEN) == pytest.approx(0.07109, abs=2e-5)

    def test_held_below_the_range(self):
        """Below pH 5.5 the rate of pH 5.5 stands."""
        low = loss_rate(3.0, 25.0, **PARABEN)
        assert low == loss_rate(5.5, 25.0, **PARABEN)


class TestBronopol:
    """J. Soc. Cosmet. Chem. 29 (1978), stability section (read): half-lives at 20 °C."""

    @pytest.mark.parametrize(("ph", "months"), [(4.0, 60.0), (8.0, 2.0)])
    def test_half_life_at_20_degrees(self, ph, months):
        """5 years at pH 4, 2 months at pH 8."""
        assert half_life_months(loss_rate(ph, 20.0, **BRONOPOL)) == pytest.approx(months, rel=0.02)

    def test_four_times_per_ten_degrees(self):
        """Printed factor, 20 to 30 °C."""
        hot, cold = (loss_rate(5.0, t, **BRONOPOL) for t in (30.0, 20.0))
        assert hot / cold == pytest.approx(4.0, rel=0.01)


def test_hydroxamic_acid():
    """4.24e9 exp(-80.1/RT) per M and s at 25 °C.

    80.1 / (0.00831446 x 298.15) = 32.312; exp(-32.312) = 9.27e-15; x 4.24e9 = 3.93e-5;
    x 3600 x 730.5 = 103.4 per M and month, at pH 5 1.03e-3.
    """
    k = loss_rate(5.0, 25.0, 0.00103, 5.0, -1.0, 80.1)
    assert k == pytest.approx(
        4.24e9 * np.exp(-80.1 / 0.00831446 / 298.15) * 3600 * 730.5 * 1e-5, rel=0.01
    )
    assert loss_rate(4.0, 25.0, 0.00103, 5.0, -1.0, 80.1) == pytest.approx(0.0103)


def test_half_life_and_rate_are_inverse():
    """A half-life turned into a rate and back is the same: ln 2 / (ln 2 / t) = t."""
    assert half_life_months(rate_from_half_life(7.5)) == pytest.approx(7.5)


def test_band_holds_the_middle():
    """The middle lies between the ends, which are their own powers of it."""
    low, high = band(0.02, 2.5, 30)
    assert low < left_fraction(0.02, 30) < high
    assert low == pytest.approx(float(left_fraction(0.02, 30)) ** 2.5)
