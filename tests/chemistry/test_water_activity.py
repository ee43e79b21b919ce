"""Water activity: each rule alone, and the product."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from preservecheck.chemistry import water_activity as wa

MW = 0.0180153
# sources: sodium and potassium chloride May et al. 2011, doi 10.1021/je2009329; calcium chloride
# Pitzer & Mayorga 1973
NACL = wa.Pitzer(1, -1, 1, 1, 0.07831, 0.2677, math.nan, 0.000864, 2.0, math.nan, 6.148)
KCL = wa.Pitzer(1, -1, 1, 1, 0.04874, 0.2215, math.nan, -0.00098, 2.0, math.nan, 4.8)
CACL2 = wa.Pitzer(2, -1, 1, 2, 0.3159, 1.614, math.nan, -0.00034, 2.0, math.nan, 2.5)
NONE = wa.Pitzer(*([[]] * 11))
NO_SOLUTE = wa.Norrish([], [], [])


def together(*salts):
    """Constants of several salts, column by column."""
    return wa.Pitzer(*(np.array(column) for column in zip(*salts, strict=True)))


class TestNorrish:
    """Nonelectrolytes."""

    def test_nothing_dissolved(self):
        """Without a solute ln aw is exactly 0, with or without columns."""
        assert wa.norrish_ln_aw([0.0, 0.0], [-1.16, -6.47], [0.0, 0.0]) == 0.0
        assert wa.norrish_ln_aw([], [], []) == 0.0

    def test_sign_is_pinned_by_sucrose(self):
        """1 mol/kg sucrose lies below Raoult's law."""
        raoult = -math.log1p(MW)
        assert wa.norrish_ln_aw([1.0], [-6.47], [0.0]) < raoult

    def test_sign_is_pinned_by_urea(self):
        """5 mol/kg urea lies above Raoult's law."""
        raoult = -math.log1p(5 * MW)
        assert wa.norrish_ln_aw([5.0], [1.237], [-3.167]) > raoult

    def test_zero_constants_are_raoult(self):
        """With K = 0 the water activity is the mole fraction of water, 55.508 / 57.508."""
        aw = np.exp(wa.norrish_ln_aw([2.0], [0.0], [0.0]))
        assert aw == pytest.approx(55.508 / 57.508, abs=1e-5)

    def test_cubic_term(self):
        """K3 adds K3 x³: at 10 mol/kg x = 0.180153 / 1.180153, x³ = 0.0035572."""
        without = wa.norrish_ln_aw([10.0], [-1.0], [0.0])
        with_cube = wa.norrish_ln_aw([10.0], [-1.0], [2.0])
        assert with_cube - without == pytest.approx(2 * 0.0035572, rel=1e-4)

    def test_pooling_keeps_cross_terms(self):
        """Two solutes are one pseudo-solute: x = x1 + x2 and K weighted by moles."""
        m, k = np.array([1.0, 3.0]), np.array([-6.0, -2.0])
        x = 4 * MW / (1 + 4 * MW)
        expected = math.log(1 - x) + (-3.0) * x**2
        assert wa.norrish_ln_aw(m, k, np.zeros(2)) == pytest.approx(expected)

    @given(st.lists(st.floats(0.0, 3.0), min_size=2, max_size=4))
    def test_one_solute_in_parts(self, parts):
        """A solute entered in parts counts the same as entered once."""
        n = len(parts)
        split = wa.norrish_ln_aw(parts, np.full(n, -1.16), np.full(n, 0.5))
        assert split == pytest.approx(wa.norrish_ln_aw([sum(parts)], [-1.16], [0.5]), abs=1e-14)

    @given(st.floats(0.0, 14.0), st.floats(0.01, 2.0))
    def test_more_glycerin_is_drier(self, m, step):
        """More glycerin lowers the water activity."""
        lower = wa.norrish_ln_aw([m + step], [-1.16], [0.0])
        assert lower < wa.norrish_ln_aw([m], [-1.16], [0.0]) <= 0.0

    def test_outside_needs_the_solute(self):
        """An absent solute is never outside, an unknown range is outside as soon as it is used."""
        limits = [0.02, math.nan]
        m = [[1.0, 0.0], [1.5, 0.0], [0.0, 0.1], [0.0, 0.0]]
        assert wa.beyond_mole_fraction(m, limits).tolist() == [False, True, True, False]

    def test_outside_adds_up(self):
        """Two solutes at 0.6 of their limits are together outside."""
        # x = 0.01 each: m = 0.01 / 0.98 * 55.508 = 0.5664
        assert wa.beyond_mole_fraction([0.5664, 0.5664], [0.0167, 0.0167])
        assert not wa.beyond_mole_fraction([0.5664, 0.0], [0.0167, 0.0167])


class TestPitzer:
    """Salts."""

    @pytest.mark.parametrize(("m", "aw"), [(1.0, 0.96680), (3.0, 0.89283), (6.0, 0.76000)])
    def test_sodium_chloride(self, m, aw):
        """Sodium chloride follows the form of Archer 1992 (library pytzer 0.6.0) within 0.0002."""
        ln_aw, outside = wa.salt_ln_aw(m, NACL)
        assert np.exp(ln_aw) == pytest.approx(aw, abs=0.0002)
        assert not outside

    @pytest.mark.parametrize(("m", "aw"), [(0.1, 0.99665), (0.5, 0.98355), (1.0, 0.96686)])
    def test_robinson_stokes(self, m, aw):
        """Dilute sodium chloride follows Robinson & Stokes' table (from memory) within 0.0001."""
        ln_aw, _ = wa.salt_ln_aw(m, NACL)
        assert np.exp(ln_aw) == pytest.approx(aw, abs=0.0001)

    def test_calcium_chloride(self):
        """2 mol/kg calcium chloride (ionic strength 6) is 0.8618 by Robinson & Stokes (memory)."""
        ln_aw, outside = wa.salt_ln_aw(6.0, CACL2)
        assert np.exp(ln_aw) == pytest.approx(0.8618, abs=0.002)
        assert not outside

    def test_term_of_two_two_salts(self):
        """beta2 at 0.01 mol/kg: 0.01 x -40.15 x exp(-12 x 0.2) = -0.036423 in phi."""
        sulfate = wa.Pitzer(2, -2, 1, 1, 0.2153, 3.29, -40.15, 0.02794, 1.4, 12.0, 3.6)
        with_term, _ = wa.salt_ln_aw(0.04, sulfate)
        without, _ = wa.salt_ln_aw(0.04, sulfate._replace(beta2=math.nan))
        assert with_term - without == pytest.approx(MW * 2 * 0.01 * 0.036423, rel=1e-4)

    def test_no_ions(self):
        """At ionic strength 0 ln aw is 0."""
        ln_aw, outside = wa.salt_ln_aw(0.0, NACL)
        assert ln_aw == 0.0
        assert not outside

    def test_flag_beyond_validity(self):
        """Just above the valid molality the flag is set and the value goes on without a jump."""
        ln_in, inside = wa.salt_ln_aw(4.8, KCL)
        ln_out, outside = wa.salt_ln_aw(4.8001, KCL)
        assert (bool(inside), bool(outside)) == (False, True)
        assert ln_out == pytest.approx(ln_in, abs=1e-4)

    def test_osmotic_coefficient_is_held(self):
        """Beyond validity only the number of particles rises: ln aw doubles with the molality."""
        ln_aw, _ = wa.salt_ln_aw([4.8, 9.6], KCL)
        assert ln_aw[1] == pytest.approx(2 * ln_aw[0])

    @given(st.floats(0.0, 20.0), st.floats(0.01, 2.0))
    def test_more_salt_is_drier(self, strength, step):
        """More salt lowers the water activity, also beyond validity."""
        for salt in (NACL, KCL, CACL2):
            ln_aw, _ = wa.salt_ln_aw([strength, strength + step], salt)
            assert ln_aw[1] < ln_aw[0]

    def test_pooled_single_is_alone(self):
        """One salt pooled is that salt alone: 2 mol/kg calcium chloride has I = 6."""
        ln_pool, _ = wa.salts_ln_aw([0.0, 2.0], together(NACL, CACL2))
        ln_alone, _ = wa.salt_ln_aw(6.0, CACL2)
        assert ln_pool == pytest.approx(ln_alone)

    def test_pooled_weights_by_ionic_strength(self):
        """Sodium chloride 1 and calcium chloride 1: I = 4, weights 1/4 and 3/4."""
        ln_pool, _ = wa.salts_ln_aw([1.0, 1.0], together(NACL, CACL2))
        sodium, _ = wa.salt_ln_aw(4.0, NACL)
        calcium, _ = wa.salt_ln_aw(4.0, CACL2)
        assert ln_pool == pytest.approx(sodium / 4 + 3 * calcium / 4)

    def test_pooled_flag_needs_the_salt(self):
        """Potassium chloride's range counts only where there is potassium chloride."""
        _, outside = wa.salts_ln_aw([[5.5, 0.0], [5.4, 0.1]], together(NACL, KCL))
        assert outside.tolist() == [False, True]

    def test_nothing_dissolved(self):
        """Without salt ln aw is 0 and nothing is outside."""
        ln_aw, outside = wa.salts_ln_aw([0.0, 0.0], together(NACL, KCL))
        assert (float(ln_aw), bool(outside)) == (0.0, False)
        ln_aw, outside = wa.salts_ln_aw([], NONE)
        assert (float(ln_aw), bool(outside)) == (0.0, False)


class TestProduct:
    """The grouped estimate."""

    def test_is_the_product_of_the_groups(self):
        """Glycerin, salt and a polymer multiply."""
        glycerin = wa.Norrish([-1.16], [0.0], [0.2082])
        got = wa.water_activity([2.0], glycerin, [0.5], together(NACL), 0.01)
        ln_salt, _ = wa.salt_ln_aw(0.5, NACL)
        expected = math.exp(wa.norrish_ln_aw([2.0], [-1.16], [0.0]) + ln_salt - 0.01 * MW)
        assert got.aw == pytest.approx(expected)
        assert not got.outside

    def test_polymer_alone_is_negligible(self):
        """0.3 % neutralised carbomer, about 0.01 osmol/kg, lowers aw by 0.0002."""
        got = wa.water_activity([], NO_SOLUTE, [], NONE, 0.01)
        assert 1.0 - got.aw == pytest.approx(0.00018, abs=0.00001)

    def test_flags_combine(self):
        """Either group outside its range marks the estimate."""
        glycerin = wa.Norrish([-1.16], [0.0], [0.2082])
        m = np.array([[1.0], [20.0], [1.0]])
        salt = np.array([[1.0], [1.0], [7.0]])
        got = wa.water_activity(m, glycerin, salt, together(NACL))
        assert got.outside.tolist() == [False, True, True]

    def test_leading_axes(self):
        """Any leading axes pass through, each case as if alone."""
        rng = np.random.default_rng(1)
        m, salt, osm = rng.random((4, 3, 2)), rng.random((4, 3, 2)), rng.random((4, 3))
        solutes = wa.Norrish([-1.16, -6.47], [0.0, 0.0], [0.2, 0.1])
        got = wa.water_activity(m, solutes, salt, together(NACL, CACL2), osm)
        one = wa.water_activity(m[2, 1], solutes, salt[2, 1], together(NACL, CACL2), osm[2, 1])
        assert got.aw.shape == got.outside.shape == (4, 3)
        assert np.ndim(one.aw) == np.ndim(one.outside) == 0
        assert got.aw[2, 1] == pytest.approx(one.aw)

    @given(st.floats(0.0, 5.0), st.floats(0.0, 2.0), st.floats(0.0, 1.0))
    def test_between_zero_and_one(self, m, salt, osm):
        """An estimate never leaves 0 to 1."""
        got = wa.water_activity([m], wa.Norrish([-1.16], [0.0], [0.2]), [salt], together(NACL), osm)
        assert 0.0 < got.aw <= 1.0


class TestError:
    """Half-width of the estimate."""

    @pytest.mark.parametrize(
        ("low", "high", "half_width"),
        [(0.97, 1.0, 0.003), (0.93, 0.97, 0.006), (0.85, 0.93, 0.015), (0.5, 0.85, 0.03)],
    )
    def test_meets_the_bands(self, low, high, half_width):
        """In each band the half-width is reached and never undercut."""
        inside = np.linspace(low, high, 101)[1:-1]
        width = wa.estimate_error(inside)
        assert width.min() == pytest.approx(half_width)

    @given(st.floats(0.4, 1.0), st.floats(0.0, 0.2))
    def test_never_falls_as_it_dries(self, aw, step):
        """A drier estimate is never claimed to be more certain."""
        assert wa.estimate_error(aw - step) >= wa.estimate_error(aw)

    def test_continuous(self):
        """There is no jump between bands: 0.015 over 0.01 is the steepest slope."""
        aw = np.linspace(0.8, 1.0, 2001)
        assert np.abs(np.diff(wa.estimate_error(aw))).max() <= 1.51 * 1e-4

    def test_doubles_outside(self):
        """Constants used outside their range double the half-width."""
        got = wa.estimate_error([0.99, 0.99], [False, True])
        assert got == pytest.approx([0.003, 0.006])

    def test_unknown_stays_unknown(self):
        """Nan gives nan."""
        assert math.isnan(wa.estimate_error(math.nan))
