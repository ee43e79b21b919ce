"""Charges of a formula, as amounts that can be compared: worked out by hand from what a maker
weighs."""

from __future__ import annotations

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.helpers import case_of, make_formula


def surfactant(mass, z):
    """An own material of a molar mass and charge; its sign makes it cationic or anionic."""
    side = "cationic" if z > 0 else "anionic"
    return {
        "role": f"{side} surfactant",
        "charge": side,
        "molar_mass_g_mol": mass,
        "charge_number": z,
        "water_fraction": 0,
    }


def polymer(meq_g):
    """An own polymer of a charge density."""
    side = "cationic" if meq_g > 0 else "anionic"
    return {
        "role": f"{side} polymer",
        "charge": side,
        "charge_meq_g": meq_g,
        "water_fraction": 0,
    }


def charges(*amounts):
    """Cationic and anionic charge of a formula of own materials, each with its per cent. [meq/kg]"""
    own = {f"Material {i}": row for i, (_, row) in enumerate(amounts)}
    items = {f"Material {i}": percent for i, (percent, _) in enumerate(amounts)}
    case = case_of(make_formula(items, own=own))
    return [float(side[0]) for side in case.charge], float(case.unpaired[0])


def test_quat_in_conditioner():
    """2 % of a quat of 400 g/mol: 20 g/kg / 400 = 0.05 mol/kg = 50 meq/kg."""
    assert charges((2.0, surfactant(400, 1)))[0] == pytest.approx([50.0, 0.0])


def test_number_of_charges():
    """A trianion counts three times: 0.2 % of 294.1 g/mol, -3."""
    assert charges((0.2, surfactant(294.1, -3)))[0] == pytest.approx([0.0, 3 * 2000.0 / 294.1])


def test_polymer():
    """0.5 % of a polymer with 1.2 meq/g: 5 g/kg x 1.2."""
    assert charges((0.5, polymer(1.2)))[0] == pytest.approx([6.0, 0.0])


def test_two_sides():
    """2 % of +1 of 400 g/mol, 0.8 % of -1 of 400 g/mol and 0.25 % at +1 meq/g: 50 + 2.5 against
    20."""
    found = charges((2, surfactant(400, 1)), (0.8, surfactant(400, -1)), (0.25, polymer(1.0)))[0]
    assert found == pytest.approx([52.5, 20.0])


def test_water_has_no_charge():
    """Water alone has no charge on either side, and nothing is paired off."""
    (cationic, anionic), _ = charges()
    assert cationic == anionic == 0.0


@pytest.mark.parametrize(("anionic", "free"), [(0.2, 0.9), (1.0, 0.5), (2.0, 0.0), (40.0, 0.0)])
def test_cations_pair_off_one_to_one(anionic, free):
    """2 % of +1 and so much of -1, both of 400 g/mol: 50 meq/kg less 25 for each per cent, never
    below none."""
    assert charges((2, surfactant(400, 1)), (anionic, surfactant(400, -1)))[1] == pytest.approx(
        free
    )


@given(st.floats(0.01, 20), st.floats(0.01, 20))
def test_sides_do_not_touch_each_other(cationic, anionic):
    """What one side carries does not depend on the other."""
    both = charges((cationic, surfactant(400, 1)), (anionic, surfactant(300, -2)))[0]
    assert both == pytest.approx([10 * cationic / 400 * 1000, 10 * anionic / 300 * 2000])


@pytest.mark.parametrize(
    ("percent", "mass", "z"), [(0.1, 360.0, 1), (2.0, 399.1, 1), (1.5, 90.0, 2)]
)
def test_charge_with_units(percent, mass, z):
    """Per cent over molar mass is the same number when a unit library carries the units along."""
    unit = pint.UnitRegistry()
    share = percent / 100 * unit.gram / unit.gram
    amount = (share / (mass * unit.gram / unit.mole) * z).to("millimole / kilogram")
    assert charges((percent, surfactant(mass, z)))[0][0] == pytest.approx(amount.magnitude)
