"""Forms of acids and bases, and the pH of mixtures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from preservecheck.chemistry import speciation as sp

PH = st.floats(0.0, 14.0)
PKA = st.floats(0.0, 14.0)
NAN = float("nan")


class TestDavies:
    """Activity coefficients."""

    @pytest.mark.parametrize(
        ("strength", "shift"), [(0.01, -0.045), (0.05, -0.085), (0.10, -0.107), (0.20, -0.127)]
    )
    def test_shift_table(self, strength, shift):
        """By hand: 0.509 (0.1 / 1.1 - 0.003) = 0.0447 at I = 0.01, and so on."""
        assert sp.davies_log10_gamma(1, strength) == pytest.approx(shift, abs=0.0006)

    @pytest.mark.parametrize(("temp_c", "a"), [(20.0, 0.505), (25.0, 0.509), (40.0, 0.524)])
    def test_slope_at_given_temperatures(self, temp_c, a):
        """The slope A meets its three given values: at I = 0.25 the bracket is 0.258333."""
        gamma = sp.davies_log10_gamma(1, 0.25, temp_c)
        assert gamma == pytest.approx(-a * (1 / 3 - 0.075), abs=1e-12)

    def test_grows_with_square_of_charge(self):
        """A double charge counts four times, whatever its sign."""
        one = sp.davies_log10_gamma(1, 0.1)
        assert sp.davies_log10_gamma(-2, 0.1) == pytest.approx(4 * one)

    def test_nothing_without_charge_or_salt(self):
        """An uncharged species and pure water have a coefficient of 1."""
        assert sp.davies_log10_gamma(0, 0.3) == 0.0
        assert sp.davies_log10_gamma(1, 0.0) == 0.0

    def test_held_above_half_molar(self):
        """Above 0.5 mol/L the value stays where it is at 0.5."""
        assert sp.davies_log10_gamma(1, 3.0) == sp.davies_log10_gamma(1, 0.5)
        assert sp.davies_log10_gamma(1, 0.49) != sp.davies_log10_gamma(1, 0.5)


class TestPka:
    """Constants at other temperatures and in salt."""

    @pytest.mark.parametrize(
        ("temp_c", "pka"), [(10.0, 7.76), (25.0, 7.61), (40.0, 7.47), (55.0, 7.35)]
    )
    def test_phenol_with_temperature(self, temp_c, pka):
        """4-Hydroxybenzaldehyde follows Serjeant and Dempsey's series with 16.3 kJ/mol."""
        assert sp.pka_at(7.61, 16.3, temp_c) == pytest.approx(pka, abs=0.005)

    @pytest.mark.parametrize(
        ("temp_c", "pka"),
        [(15.0, 4.218), (20.0, 4.208), (25.0, 4.202), (30.0, 4.205), (35.0, 4.210), (40.0, 4.219)],
    )
    def test_benzoic_acid_with_temperature(self, temp_c, pka):
        """Benzoic acid (Serjeant and Dempsey, entry 3388) moves less than 0.025 with 0.7 kJ/mol."""
        assert sp.pka_at(4.202, 0.7, temp_c) == pytest.approx(pka, abs=0.025)

    def test_acid_goes_down_base_goes_up(self):
        """In salt HA / A- has a lower and BH+ / B an equally higher constant."""
        assert sp.pka_mixed(4.202, 0, 0.05) == pytest.approx(4.117, abs=0.001)
        assert sp.pka_mixed(6.5, 1, 0.05) == pytest.approx(6.585, abs=0.001)

    def test_second_step_moves_three_times(self):
        """HA- / A2- moves by 2² - 1² = 3 times the shift of HA / A-."""
        first = sp.pka_mixed(0.0, 0, 0.1)
        assert sp.pka_mixed(0.0, -1, 0.1) == pytest.approx(3 * first)

    def test_concentration_constant_of_benzoic_acid(self):
        """At I = 0.1 the concentration constant 4.202 - 2 x 0.107 = 3.988; listed is 4.01."""
        mixed = sp.pka_mixed(4.202, 0, 0.1)
        concentration = mixed + sp.davies_log10_gamma(1, 0.1)
        assert concentration == pytest.approx(4.01, abs=0.03)


class TestFractions:
    """Shares of the forms."""

    def test_printed_dose(self):
        """0.055 % benzoic acid at pH 4.2 with pKa 4.2 holds 0.0275 % (Anderson & Chow 1967)."""
        assert 0.055 * sp.undissociated_fraction(4.2, 4.2) == pytest.approx(0.0275)

    @given(PH, PKA)
    def test_acid_and_base_mirror(self, ph, pka):
        """The two forms of a pair add up to one."""
        total = sp.undissociated_fraction(ph, pka) + sp.free_base_fraction(ph, pka)
        assert total == pytest.approx(1.0)

    @given(PH, PKA, st.floats(0.001, 5.0))
    def test_falls_with_ph(self, ph, pka, step):
        """At a higher pH an acid is less undissociated; its ion's share rises by the same rule."""
        low, high = sp.undissociated_fraction([ph, ph + step], pka)
        assert high <= low
        # odds compare without the rounding next to 1
        ion_low, ion_high = sp.free_base_fraction([ph, ph + step], pka)
        assert high / ion_high < low / ion_low

    def test_extremes_do_not_overflow(self):
        """Far away from the constant the share is 0 or 1, without a warning."""
        assert sp.undissociated_fraction(1000.0, 0.0) == 0.0
        assert sp.undissociated_fraction(-1000.0, 0.0) == 1.0

    def test_small_share_is_precise(self):
        """Ten units above the constant the share is 1e-10 / (1 + 1e-10), to all digits."""
        share = sp.undissociated_fraction(14.0, 4.0)
        assert share == pytest.approx(1e-10 / (1 + 1e-10), rel=1e-12)

    @given(PH, st.lists(PKA, min_size=1, max_size=4))
    def test_shares_sum_to_one(self, ph, pkas):
        """The forms of a polyprotic acid sum to one and none is negative."""
        shares = sp.species_fractions(ph, sorted(pkas))
        assert shares.shape == (len(pkas) + 1,)
        assert np.all(shares >= 0.0)
        assert shares.sum() == pytest.approx(1.0)

    @given(PH, PKA)
    def test_one_step_is_the_simple_formula(self, ph, pka):
        """With one constant the general form gives the monoprotic shares."""
        shares = sp.species_fractions(ph, [pka, NAN, NAN])
        assert shares[0] == pytest.approx(sp.undissociated_fraction(ph, pka), rel=1e-9)
        assert shares[2:].tolist() == [0.0, 0.0]

    def test_citric_acid_by_hand(self):
        """At pH 4.761 = pKa2 the shares are 1 : r : r : r x with r = 10^1.633 and x = 10^-1.635."""
        r, x = 10**1.633, 10**-1.635
        expected = np.array([1.0, r, r, r * x]) / (1.0 + 2.0 * r + r * x)
        got = sp.species_fractions(4.761, [3.128, 4.761, 6.396])
        assert got == pytest.approx(expected)

    def test_broadcasts_over_cases(self):
        """Many pH values and one set of constants give one row for each pH."""
        ph = np.linspace(2, 10, 6).reshape(2, 3)
        shares = sp.species_fractions(ph, [3.0, 5.0])
        assert shares.shape == (2, 3, 3)
        assert shares[1, 2] == pytest.approx(sp.species_fractions(10.0, [3.0, 5.0]))

    @given(PH, st.floats(0.01, 3.0))
    def test_mean_charge_falls(self, ph, step):
        """The mean charge of citric acid falls with pH and stays between 0 and -3."""
        pkas = [3.128, 4.761, 6.396]
        low, high = sp.mean_charge(ph, pkas, 0), sp.mean_charge(ph + step, pkas, 0)
        assert -3.0 <= high < low <= 0.0

    def test_mean_charge_of_arginine(self):
        """Arginine (+2, pKa 1.8, 9.0, 12.5) carries +1 halfway between its first two constants."""
        assert sp.mean_charge(5.4, [1.8, 9.0, 12.5], 2) == pytest.approx(1.0, abs=1e-6)


class TestAmounts:
    """Equivalents."""

    @pytest.mark.parametrize(
        ("salt", "acid", "share"),
        [
            (144.10, 122.12, 0.8475),  # sodium benzoate
            (150.22, 112.13, 0.7464),  # potassium sorbate
            (190.13, 168.15, 0.8844),  # sodium dehydroacetate
            (208.14, 168.15, 0.808),  # its monohydrate
            (138.10, 116.12, 0.8408),  # sodium levulinate
            (174.13, 152.15, 0.8738),  # sodium anisate
        ],
    )
    def test_acid_of_salts(self, salt, acid, share):
        """A gram of salt counts for its acid: 122.12 / 144.10 = 0.8475, and so on."""
        assert sp.acid_equivalent(1.0, salt, acid) == pytest.approx(share, abs=0.0005)

    def test_two_acids_in_one_salt(self):
        """Calcium propionate, 186.22 g/mol, holds two propionic acids: 2 x 74.08 / 186.22."""
        assert sp.acid_equivalent(1.0, 186.22, 74.08, 2) == pytest.approx(0.7956, abs=0.0001)


class TestChargeBalance:
    """pH of mixtures."""

    def test_strong_base_and_acid(self):
        """0.001 mol/L of a strong base is pH 11, of a strong acid pH 3 (ideal)."""
        ph = sp.charge_balance_ph([], [], [], [0.001, -0.001], davies=False)
        assert ph == pytest.approx([11.0, 3.0], abs=1e-6)

    def test_strong_acid_with_activity(self):
        """The meter reads activity: 0.01 mol/L acid is pH 2 + 0.0451 (Davies at I = 0.01)."""
        root = math.sqrt(0.01)
        shift = 0.509 * (root / (1 + root) - 0.003)
        assert sp.charge_balance_ph([], [], [], -0.01) == pytest.approx(2.0 + shift, abs=1e-6)

    def test_weak_acid_alone(self):
        """0.1 mol/L of pKa 4 obeys h² = Ka (c - h): h = 0.0031126, pH 2.50687 (ideal)."""
        h = (-1e-4 + math.sqrt(1e-8 + 4e-5)) / 2
        ph = sp.charge_balance_ph([0.1], [[4.0]], [0], davies=False)
        assert ph == pytest.approx(-math.log10(h), abs=1e-5)

    def test_half_neutralised_benzoic_acid(self):
        """0.01 mol/L, half neutralised: 4.2126 ideal, 4.1806 with activities (two libraries)."""
        ideal = sp.charge_balance_ph([0.01], [[4.202]], [0], 0.005, davies=False)
        real = sp.charge_balance_ph([0.01], [[4.202]], [0], 0.005)
        assert ideal == pytest.approx(4.2126, abs=0.0002)
        assert real == pytest.approx(4.1806, abs=0.002)

    def test_amine_and_acid_meet(self):
        """Equal amounts of pKa 5 acid and pKa 9 amine meet halfway, at 7, where H+ equals OH-."""
        pkas, first = [[5.0], [9.0]], [0, 1]
        for davies in (False, True):
            ph = sp.charge_balance_ph([0.05, 0.05], pkas, first, davies=davies)
            assert ph == pytest.approx(7.0, abs=1e-6)

    def test_background_salt_lowers_acid_buffer(self):
        """Salt from elsewhere lowers the pH of an acid buffer."""
        plain = sp.charge_balance_ph([0.02], [[4.2]], [0], 0.01)
        salty = sp.charge_balance_ph([0.02], [[4.2]], [0], 0.01, background_mol_l=0.1)
        assert plain - 0.08 < salty < plain - 0.03

    @given(
        st.lists(st.floats(0.0, 0.2), min_size=3, max_size=3),
        st.floats(-0.1, 0.1),
        st.floats(0.001, 0.1),
    )
    def test_more_base_is_higher_ph(self, totals, strong, more):
        """Adding a strong base raises the pH (ideal, so that only the charge counts)."""
        pkas = [[3.128, 4.761, 6.396], [4.2, NAN, NAN], [9.0, NAN, NAN]]
        ph = sp.charge_balance_ph(totals, pkas, [0, 0, 1], [strong, strong + more], davies=False)
        assert ph[0] < ph[1]

    def test_shape_of_many_cases(self):
        """Leading axes of the amounts and of the base broadcast, each case as if alone."""
        pkas = [[3.128, 4.761, 6.396], [4.2, NAN, NAN]]
        totals = np.array([[0.02, 0.01], [0.0, 0.05]])
        base = np.linspace(0.0, 0.03, 4)[:, np.newaxis]
        ph = sp.charge_balance_ph(totals, pkas, [0, 0], base)
        assert ph.shape == (4, 2)
        alone = sp.charge_balance_ph(totals[1], pkas, [0, 0], base[3, 0])
        assert np.ndim(alone) == 0
        assert ph[3, 1] == pytest.approx(alone, abs=1e-7)

    def test_unknown_amount_stays_unknown(self):
        """Nan in one case gives nan there and leaves the others alone."""
        ph = sp.charge_balance_ph([[NAN], [0.1]], [[4.0]], [0], davies=False)
        assert math.isnan(ph[0])
        assert ph[1] == pytest.approx(2.50687, abs=1e-4)


@pytest.mark.parametrize("shape", [(), (3,), (2, 3)])
def test_shape_is_kept(shape):
    """Scalars give scalars, arrays give arrays of the same shape."""
    ph = np.full(shape, 4.5)
    for result in (
        sp.undissociated_fraction(ph, 4.2),
        sp.free_base_fraction(ph, 4.2),
        sp.pka_at(4.2, 1.0, ph),
        sp.pka_mixed(4.2, 0, ph * 0.01),
        sp.davies_log10_gamma(1, ph * 0.01),
        sp.acid_equivalent(ph, 144.1, 122.1),
        sp.mean_charge(ph, [4.2], 0),
    ):
        assert np.shape(result) == shape
