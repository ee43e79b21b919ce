"""Check water-activity: can microbes grow, and is there a preservative if they can?"""

import math

import pytest

from tests.helpers import (
    four_sigma,
    make_formula,
    outcome,
    run_check,
    same_alone_and_together,
    the,
    value,
)

ID = "water-activity"
SYSTEM = {"phenoxyethanol": 0.8}


def test_figure_by_hand():
    """Sucrose 10 %: x = (10/342.297) / (10/342.297 + 90/18.015) = 0.0058137; ln a_w = ln(1 - x) -
    6.47 x^2."""
    solute, water = 10 / 342.297, 90 / 18.015
    x = solute / (solute + water)
    expected = math.exp(math.log(1 - x) - 6.47 * x**2)
    assert expected == pytest.approx(0.99397, abs=5e-6)
    assert value(the(ID, {"items": {"Sucrose": 10}}), "water_activity") == pytest.approx(
        expected, abs=2e-5
    )


def test_measured_value_wins():
    """A measured water activity is shown as it is, with its own tolerance."""
    figure = the(
        ID,
        {"items": {"Glycerin": 3}, "systems": SYSTEM},
        water_activity=0.98,
        water_activity_tolerance=0.004,
    ).figure("water_activity")
    assert (figure.value, figure.tolerance, figure.unit) == (0.98, 0.004, "")


def test_preserved_passes():
    """Wet and preserved passes here; the other checks judge the preservative."""
    assert outcome(the(ID, {"items": {"Glycerin": 3}, "systems": SYSTEM})) == "pass"


def test_unpreserved_is_serious():
    """Wet and unpreserved must not be filled."""
    finding = the(ID, {"items": {"Glycerin": 3}})
    assert outcome(finding) == "serious"
    assert finding.do is not None
    assert finding.about == "formula"


@pytest.mark.parametrize(("percent", "expected"), [(0.29, "serious"), (0.3, "warn"), (0.5, "warn")])
def test_boosters_alone(percent, expected):
    """Boosters from 0.3 % on soften the fault to a warning, never to a pass."""
    assert outcome(the(ID, {"items": {"Caprylyl Glycol": percent}})) == expected


@pytest.mark.parametrize(
    ("activity", "expected"),
    [(0.7449, "pass"), (0.7451, "warn"), (0.7549, "warn"), (0.7551, "serious"), (0.90, "serious")],
)
def test_measured_line(activity, expected):
    """Without a preservative 0.75 must lie clear of the ± 0.005 of the meter, on either side."""
    found = the(
        ID, {"items": {"Glycerin": 50}}, water_activity=activity, water_activity_tolerance=0.005
    )
    assert outcome(found) == expected


@pytest.mark.parametrize("system", [None, SYSTEM])
def test_estimate_in_the_doubtful_band(system):
    """An estimate between 0.70 and 0.80 decides nothing, preserved or not: have it measured.

    Glycerin 60 % reads about 0.77 in humidity-standard tables.
    """
    found = the(ID, {"items": {"Glycerin": 60}, "systems": system})
    assert 0.70 < value(found, "water_activity") < 0.80
    assert outcome(found) == "warn"
    assert "measured" in (found.do or "")


def test_measured_value_in_that_band_decides():
    """A reading of 0.72 is dry even though an estimate of 0.72 would not be."""
    assert outcome(the(ID, {"items": {"Glycerin": 60}}, water_activity=0.72)) == "pass"


def test_without_water():
    """An oil mixture without water passes and says what undoes it."""
    found = the(ID, {"items": {"Sunflower oil": 60, "Squalane": 40}, "water": None})
    assert outcome(found) == "pass"
    assert value(found, "water_percent") == 0


@pytest.mark.parametrize(
    ("ph", "expected"),
    [(2.89, "warn"), (2.91, "serious"), (7.0, "serious"), (10.09, "serious"), (10.11, "warn")],
)
def test_extreme_ph(ph, expected):
    """A pH that is wholly below 3 or above 10 (± 0.1) is a low-risk criterion of its own, and only
    warns."""
    assert outcome(the(ID, {"items": {"Glycerin": 3}}, ph=ph)) == expected


def test_chance():
    """A reading on the line itself passes in half of the draws, within four standard errors."""
    found = the(ID, {"items": {"Glycerin": 50}}, water_activity=0.75, water_activity_tolerance=0.01)
    assert found.chance == pytest.approx(0.5, abs=four_sigma(0.5))
    assert the(ID, {"items": {"Glycerin": 3}, "systems": SYSTEM}).chance == 1.0


def test_alcohol_counts_only_from_twenty_per_cent():
    """Alcohol is a preservative system from 20 % of the product on (ISO 29621, recalled by the
    tables)."""
    assert outcome(the(ID, {"items": {"Alcohol": 19.9}})) == "serious"
    assert outcome(the(ID, {"items": {"Alcohol": 20}})) == "pass"


def test_batch():
    """A batch reads like its formulas one by one."""
    same_alone_and_together(
        ID,
        make_formula({"Glycerin": 30, "Sodium Chloride": 1}, SYSTEM),
        make_formula({"Sucrose": 5}, water_activity=0.74, ph=2.5),
        make_formula({"Urea": 4}),
    )


def test_one_finding_for_the_formula():
    """However many systems there are, the formula is judged once."""
    assert (
        len(run_check(ID, {"items": {"Glycerin": 3}, "systems": SYSTEM | {"sodium-benzoate": 0.3}}))
        == 1
    )


@pytest.mark.parametrize(("percent", "expected"), [(30, "pass"), (20, "pass"), (19.9, "unknown")])
def test_alcohol_that_protects(percent, expected):
    """From 20 % on alcohol alone keeps microbes from growing (ISO 29621): an estimate that the
    model was not made for decides nothing, and nothing has to be measured."""
    items = {"Alcohol": percent, "Glycerin": 30}
    found = the(ID, {"items": items, "systems": {"phenoxyethanol": 0.8}}, ph=5)
    assert outcome(found) == expected
