"""Free, working preservative in the water phase."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from preservecheck.chemistry import free_active as fa
from preservecheck.chemistry import partition as pt
from preservecheck.chemistry import speciation as sp

NAN = float("nan")
SHARE = st.floats(1e-6, 1.0)
RATIO = st.floats(0.0, 200.0)


def in_water(emulsion, phi):
    """Total of an emulsion over its water alone: C (1 + phi), Bean et al. 1965, page 18. [% w/v]"""
    return emulsion * (1 + phi)


def dose_for(free, k_phi, bound, fraction, ion=1.0):
    """Dose that a balance of all compartments asks: free form, oil, binders, ion. [% w/v]"""
    return free * (k_phi + bound + ion * (1 - fraction) / fraction)


class TestWorkedExamples:
    """Two printed values, three of textbooks, one by hand."""

    def test_a_phenol_in_mineral_oil(self):
        """Phenol 0.4 %, K 0.067, equal volumes: 0.750 % (Bean et al. 1965, Table II)."""
        total = in_water(0.4, 1.0)
        assert fa.free_undissociated(total, 0.067, 1.0, 1.0) == pytest.approx(0.750, abs=0.0005)

    def test_b_chlorocresol_in_peanut_oil(self):
        """Chlorocresol 4.0 %, K 116.7, equal volumes: 0.068 % (Bean et al. 1965, Table II)."""
        total = in_water(4.0, 1.0)
        assert fa.free_undissociated(total, 116.7, 1.0, 1.0) == pytest.approx(0.068, abs=0.0005)

    def test_c_benzoic_acid_wanted_free(self):
        """1.74 mg/mL leaves 0.25 mg/mL undissociated, pH 4, K 5.33 (Martin's textbook, memory)."""
        # half a unit of the last digit of the dose, 0.0005 in 0.174, is 0.00007 in 0.025
        fraction = sp.undissociated_fraction(4.0, -math.log10(6.3e-5))
        free = fa.free_undissociated(0.174, 5.33 * 1.0, 1.0, fraction)
        assert free == pytest.approx(0.025, abs=0.00007)

    @pytest.mark.parametrize(("free_share", "total"), [(0.43, 0.233), (0.22, 0.455)])
    def test_d_methylparaben_in_polysorbate(self, free_share, total):
        """0.1 % free methylparaben in 5 % polysorbate 80 by both published tables (memory)."""
        got = fa.free_undissociated(total, 0.0, 1.0 / free_share, 1.0)
        assert got == pytest.approx(0.1, abs=0.0005 * free_share)

    def test_e_half_of_the_dose(self):
        """0.055 % benzoic acid at its pKa: 0.0275 % (Anderson & Chow 1967, Table IV: 0.027)."""
        fraction = sp.undissociated_fraction(4.2, 4.2)
        assert fa.free_undissociated(0.055, 0.0, 1.0, fraction) == pytest.approx(0.0275)

    @pytest.mark.parametrize(
        ("k", "binder", "free"),
        [(0.0, 0.0, 0.0800), (0.2, 0.0, 0.0798), (5.33, 0.0, 0.0733), (5.33, 0.5, 0.0712)],
    )
    def test_f_leave_in_with_benzoate(self, k, binder, free):
        """0.50 % sodium benzoate, phi 0.10, pH 4.80, I 0.05, with and without oil and binder."""
        acid = sp.acid_equivalent(0.50, 144.10, 122.12)
        fraction = sp.undissociated_fraction(4.80, sp.pka_mixed(4.202, 0, 0.05))
        total = in_water(acid, 0.10)
        (bound,) = 1 + fa.taken_up([binder], [[0.37]])
        got = fa.free_undissociated(total, k * 0.10, bound, fraction)
        assert got == pytest.approx(free, abs=0.0001)


class TestFreeUndissociated:
    """Limits and directions."""

    def test_nothing_ionises(self):
        """With f = 1 the ion's binding does not matter."""
        plain = fa.free_undissociated(1.0, 0.5, 2.0, 1.0)
        assert plain == pytest.approx(1.0 / 2.5)
        assert fa.free_undissociated(1.0, 0.5, 2.0, 1.0, 50.0) == plain

    def test_all_ionised(self):
        """With f = 0 nothing works and nothing divides by zero."""
        assert fa.free_undissociated(1.0, 0.5, 2.0, 0.0) == 0.0
        assert fa.free_undissociated(1.0, 0.5, 2.0, 1e-300) == pytest.approx(1e-300)

    def test_no_oil_no_binder_is_the_fraction(self):
        """In plain water the free working form is f times the total."""
        assert fa.free_undissociated(0.8, 0.0, 1.0, 0.3) == pytest.approx(0.24)

    def test_mineral_oil_concentrates(self):
        """K below 1 pushes a preservative into the water: above the added per cent."""
        total = in_water(1.0, 1.0)
        assert fa.free_undissociated(total, 0.2, 1.0, 1.0) > 1.0

    def test_ion_binding_draws_the_acid_away(self):
        """A binder of the ion lowers the free acid: 1 / (1 + 4 x 1) against 1 / (1 + 4 x 3)."""
        got = fa.free_undissociated(1.0, 0.0, 1.0, 0.2, [1.0, 3.0])
        assert got == pytest.approx([1 / 5, 1 / 13])

    @given(SHARE, RATIO, st.floats(1.0, 50.0), st.floats(1.0, 50.0), st.floats(0.001, 5.0))
    def test_inverse(self, fraction, k_phi, bound, ion, free):
        """Dosing what the balance of all compartments asks gives the wanted free concentration."""
        total = dose_for(free, k_phi, bound, fraction, ion)
        assert fa.free_undissociated(total, k_phi, bound, fraction, ion) == pytest.approx(free)

    @given(SHARE, SHARE, RATIO, st.floats(1.0, 50.0))
    def test_rises_with_the_fraction(self, one, two, k_phi, bound):
        """More of the working form never means less of it free in the water."""
        low, high = sorted((one, two))
        less = fa.free_undissociated(1.0, k_phi, bound, low)
        assert less <= fa.free_undissociated(1.0, k_phi, bound, high) * (1 + 1e-12)

    @given(SHARE, RATIO, st.floats(1.0, 50.0), st.floats(0.1, 10.0))
    def test_oil_takes_its_part(self, fraction, k_phi, bound, more):
        """More uptake by oil means less in the water, but never less than nothing."""
        before = fa.free_undissociated(1.0, k_phi, bound, fraction)
        assert 0.0 < fa.free_undissociated(1.0, k_phi + more, bound, fraction) < before

    def test_impossible_dose(self):
        """Without any working form no dose, however large, sets any free; an unknown share leaves
        it unknown."""
        assert fa.free_undissociated(1e9, 0.0, 1.0, 0.0) == 0.0
        assert math.isnan(fa.free_undissociated(1.0, 0.0, 1.0, NAN))


class TestRelations:
    """Estimates from octanol-water."""

    def test_named_values(self):
        """By hand at logP 1.96: 10^0.944, 10^-1.097 and 10^-0.364."""
        assert pt.vegetable_oil_partition(1.96) == pytest.approx(8.795, abs=0.01)
        assert pt.hydrocarbon_oil_partition(1.96) == pytest.approx(0.0800, abs=0.0002)
        assert pt.binding_from_log_p(1.96) == pytest.approx(0.4325, abs=0.001)

    @pytest.mark.parametrize(
        ("log_p", "k"), [(1.36, 2.648), (1.88, 7.494), (2.26, 16.03), (0.8, 0.8634), (0.33, 0.3371)]
    )
    def test_table_rows(self, log_p, k):
        """The vegetable-oil estimates listed as such in the partition table come out again."""
        assert pt.vegetable_oil_partition(log_p) == pytest.approx(k, rel=0.001)

    def test_classes_of_oil(self):
        """Esters take twice, fatty alcohols three times as much; silicone is as mineral oil."""
        vegetable = pt.vegetable_oil_partition(2.0)
        assert pt.partition_from_log_p(2.0, "vegetable") == vegetable
        assert pt.partition_from_log_p(2.0, "ester") == pytest.approx(2 * vegetable)
        assert pt.partition_from_log_p(2.0, "fatty-alcohol") == pytest.approx(3 * vegetable)
        mineral = pt.partition_from_log_p(2.0, "hydrocarbon")
        assert mineral == pt.hydrocarbon_oil_partition(2.0)
        assert pt.partition_from_log_p(2.0, "silicone") == mineral

    def test_other_substances_in_mineral_oil(self):
        """What is neither phenol nor acid is held at 0.25 or above, and unknown stays unknown."""
        got = pt.partition_from_log_p([1.1, 4.0, NAN], "hydrocarbon", phenol_or_acid=False)
        assert got[:2] == pytest.approx([0.25, 10**0.78])
        assert math.isnan(got[2])

    def test_unknown_class_is_refused(self):
        """A class that does not exist is an error that lists those that do."""
        with pytest.raises(ValueError, match="unknown oil class 'butter'; known are vegetable"):
            pt.partition_from_log_p(2.0, "butter")

    @pytest.mark.parametrize(
        ("log_p", "measured"),
        [(1.46, 5.6), (1.96, 7.5), (3.04, 80.0), (3.57, 280.0), (3.10, 116.7)],
    )
    def test_vegetable_relation_against_measurements(self, log_p, measured):
        """Phenol, three parabens and chlorocresol (Bean 1965, 1972) lie within a factor 2.5."""
        ratio = pt.vegetable_oil_partition(log_p) / measured
        assert 1 / pt.VEGETABLE_OIL_FACTOR < ratio < pt.VEGETABLE_OIL_FACTOR

    @pytest.mark.parametrize(
        ("log_p", "measured"), [(1.46, 0.067), (1.96, 0.3), (3.04, 0.5), (3.57, 3.0), (3.10, 1.53)]
    )
    def test_hydrocarbon_relation_against_measurements(self, log_p, measured):
        """The same five in mineral oil lie within a factor 4 (methylparaben is 0.02 to 0.3)."""
        ratio = pt.hydrocarbon_oil_partition(log_p) / measured
        assert 1 / 4 < ratio < 4

    def test_binders_add(self):
        """Two binders: 2 x 0.5 + 1 x 0.25; no class of binder, for two preservatives: 0."""
        assert fa.taken_up([2.0, 1.0], [[0.5, 0.25]]) == pytest.approx([1.25])
        assert fa.taken_up([], np.zeros((2, 0))).tolist() == [0.0, 0.0]

    def test_unknown_uptake(self):
        """An unknown constant matters only where there is something of its class."""
        got = fa.taken_up([[0.0, 2.0], [1.0, 2.0]], [[NAN, 0.5]])
        assert got[0] == pytest.approx([1.0])
        assert math.isnan(got[1, 0])

    def test_uptake_keeps_leading_axes(self):
        """Cases in front, preservatives last; constants drawn anew for each case give the same."""
        rng = np.random.default_rng(3)
        amount, k = rng.random((6, 5, 3)), rng.random((4, 3))
        shared = fa.taken_up(amount, k)
        assert shared.shape == (6, 5, 4)
        assert fa.taken_up(amount, np.broadcast_to(k, (6, 5, 4, 3))) == pytest.approx(shared)
        assert shared[4, 2, 3] == pytest.approx(sum(amount[4, 2] * k[3]))


class TestCap:
    """Solubility."""

    def test_at_and_above(self):
        """Exactly at the solubility nothing is over; above it the rest is cut off and flagged."""
        capped, over = fa.free_capped([0.34, 0.35], [0.34, 0.34])
        assert capped.tolist() == [0.34, 0.34]
        assert over.tolist() == [False, True]

    def test_unknown_solubility(self):
        """An unknown solubility caps nothing."""
        capped, over = fa.free_capped(0.5, NAN)
        assert (float(capped), bool(over)) == (0.5, False)


@pytest.mark.parametrize("shape", [(), (3,), (2, 3)])
def test_shape_is_kept(shape):
    """Scalars give scalars, arrays give arrays of the same shape."""
    x = np.full(shape, 0.5)
    capped, over = fa.free_capped(x, 0.4)
    for result in (
        fa.free_undissociated(x, 0.1, 1.0, 0.5),
        pt.vegetable_oil_partition(x),
        pt.hydrocarbon_oil_partition(x),
        pt.binding_from_log_p(x),
        capped,
        over,
    ):
        assert np.shape(result) == shape
