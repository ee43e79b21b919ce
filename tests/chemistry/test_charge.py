"""Amounts of charge."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from preservecheck.chemistry import charge as ch

CHARGES = st.lists(st.floats(-500.0, 500.0), max_size=6)


def test_quat_in_conditioner():
    """2 % of a quat of 400 g/mol: 20 g/kg / 400 = 0.05 mol/kg = 50 meq/kg."""
    assert ch.charge_meq_kg(2.0, 400.0, 1) == pytest.approx(50.0)


def test_sign_and_number_of_charges():
    """A dianion counts twice and keeps its sign: 0.2 % of 294.1 g/mol, -3."""
    assert ch.charge_meq_kg(0.2, 294.1, -3) == pytest.approx(-3 * 2000.0 / 294.1)


def test_polymer():
    """0.5 % of a polymer with 1.2 meq/g: 5 g/kg x 1.2."""
    assert ch.charge_meq_kg_polymer(0.5, 1.2) == pytest.approx(6.0)


def test_two_sides():
    """Cationic and anionic charge are both amounts above zero; uncharged adds to neither."""
    cationic, anionic = ch.cationic_anionic_meq_kg([[50.0, -20.0, 0.0], [0.0, -1.0, -2.0]])
    assert cationic.tolist() == [50.0, 0.0]
    assert anionic.tolist() == [20.0, 3.0]


def test_empty_formula_has_no_charge():
    """Without ingredients all sums are 0."""
    cationic, anionic = ch.cationic_anionic_meq_kg(np.zeros((2, 0)))
    assert cationic.tolist() == anionic.tolist() == [0.0, 0.0]
    assert ch.net_charge_meq_kg([]) == 0.0


@given(CHARGES)
def test_net_is_the_difference(charges):
    """The net charge is the cationic less the anionic amount."""
    cationic, anionic = ch.cationic_anionic_meq_kg(charges)
    assert ch.net_charge_meq_kg(charges) == pytest.approx(cationic - anionic, abs=1e-9)


def test_neutralisation_ratio_ignores_signs():
    """10 meq/kg of anion against 2.5 meq/kg of preservative is a ratio of 4 in any notation."""
    got = ch.neutralisation_ratio([2.5, -2.5, 2.5], [10.0, 10.0, -10.0])
    assert got.tolist() == [4.0, 4.0, 4.0]


def test_uncharged_preservative_has_no_ratio():
    """What has no charge cannot be neutralised: the ratio is unknown, not zero."""
    assert math.isnan(ch.neutralisation_ratio(0.0, 10.0))


@pytest.mark.parametrize("shape", [(), (3,), (2, 3)])
def test_shape_is_kept(shape):
    """Scalars give scalars, arrays give arrays of the same shape."""
    x = np.full(shape, 0.5)
    assert np.shape(ch.charge_meq_kg(x, 360.0, 1)) == shape
    assert np.shape(ch.charge_meq_kg_polymer(x, 1.0)) == shape
    assert np.shape(ch.neutralisation_ratio(x, 1.0)) == shape
