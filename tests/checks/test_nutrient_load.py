"""Check nutrient-load: how much food is there, and what stands in the way besides the preservative?

The lines and weights are judgement of this program (common practice, no source); these tests hold
them still.
"""

import pytest

from preservecheck.reference.load import load_tables
from tests.helpers import make_formula, outcome, same_alone_and_together, the, value

ID = "nutrient-load"
LOW_DOSE = {"phenoxyethanol": 0.74}  # range 0.5 to 1.0: upper half from 0.75
PROTEIN = "Hydrolyzed Wheat Protein"  # load high, weight 1


def test_rows_behind_the_numbers_below():
    """Loads that the tests below rest on."""
    rows = {i.inci: i for i in load_tables().ingredients}
    assert (rows[PROTEIN].nutrient_load, rows[PROTEIN].water_fraction) == ("high", 0)
    assert (rows["Glycerin"].nutrient_load, rows["Xanthan Gum"].nutrient_load) == ("low", "medium")
    flax = rows["Linum Usitatissimum Seed Extract"]
    assert (flax.nutrient_load, flax.water_fraction, "unpreserved" in flax.tags) == (
        "high",
        0.97,
        True,
    )


@pytest.mark.parametrize(
    ("percent", "expected"), [(0.2, "pass"), (0.21, "warn"), (1.0, "warn"), (1.01, "serious")]
)
def test_load_without_a_hurdle(percent, expected):
    """Low load passes, medium (above 0.2 %) warns, high (above 1 %) is serious where no second
    hurdle stands."""
    found = the(ID, {"items": {PROTEIN: percent}, "systems": LOW_DOSE}, ph=6)
    assert value(found, "nutrient_percent") == pytest.approx(percent)
    assert value(found, "hurdles") == 0
    assert outcome(found) == expected


def test_nutrients_by_hand():
    """Glycerin 5 % at 0.02, xanthan 0.5 % at 0.3 and flax gel 4 % with 3 % dry at 1: 0.1 + 0.15 +
    0.12 = 0.37 %."""
    items = {"Glycerin": 5, "Xanthan Gum": 0.5, "Linum Usitatissimum Seed Extract": 4}
    found = the(ID, {"items": items, "systems": LOW_DOSE}, ph=6)
    assert value(found, "nutrient_percent") == pytest.approx(0.37)
    assert value(found, "unpreserved_percent") == pytest.approx(4)


@pytest.mark.parametrize(("percent", "expected"), [(4.9, "pass"), (5, "serious")])
def test_unpreserved_gel(percent, expected):
    """From 5 % on an unpreserved gel is a high load, however little of it is dry."""
    items = {"Linum Usitatissimum Seed Extract": percent}
    assert outcome(the(ID, {"items": items, "systems": LOW_DOSE}, ph=6)) == expected


@pytest.mark.parametrize(
    ("change", "hurdles"),
    [
        ({}, 0),
        ({"systems": {"phenoxyethanol": 0.75}}, 1),
        ({"ph": 5.0}, 1),
        ({"ph": 5.01}, 0),
        ({"water_activity": 0.95}, 1),
        ({"water_activity": 0.951}, 0),
        ({"items": {PROTEIN: 2, "Disodium EDTA": 0.05}}, 1),
        ({"items": {PROTEIN: 2, "Disodium EDTA": 0.049}}, 0),
    ],
)
def test_each_hurdle(change, hurdles):
    """The upper half of the dose, pH 5, a water activity of 0.95 and 0.05 % of chelator are one
    hurdle each."""
    found = the(ID, {"items": {PROTEIN: 2}, "systems": LOW_DOSE, "ph": 6} | change)
    assert value(found, "hurdles") == hurdles
    assert outcome(found) == ("warn" if hurdles else "serious")


def test_two_hurdles_are_enough():
    """High load with two further hurdles passes."""
    items = {PROTEIN: 2, "Disodium EDTA": 0.1}
    assert outcome(the(ID, {"items": items, "systems": LOW_DOSE}, ph=4.8)) == "pass"


@pytest.mark.parametrize(("package", "expected"), [("pump", "pass"), ("jar", "warn")])
def test_jar(package, expected):
    """An open jar counts as one step of load more."""
    assert (
        outcome(the(ID, {"items": {"Glycerin": 3}, "systems": LOW_DOSE}, ph=6, package=package))
        == expected
    )


@pytest.mark.parametrize(
    ("package", "hurdles", "expected"), [("pump", 1, "warn"), ("jar", 0, "serious")]
)
def test_dose_in_a_jar(package, hurdles, expected):
    """The dose is the preservative itself: beside a high load in a jar it is no further hurdle."""
    formula = {"items": {PROTEIN: 2}, "systems": {"phenoxyethanol": 1.0}}
    found = the(ID, formula, ph=6, package=package)
    assert (value(found, "hurdles"), outcome(found)) == (hurdles, expected)


@pytest.mark.parametrize(
    ("items", "ph", "expected"),
    [({}, 6, "serious"), ({}, 4.8, "warn"), ({"Disodium EDTA": 0.1}, 4.8, "pass")],
)
def test_high_load_in_a_jar(items, ph, expected):
    """In a jar one of chelator, low pH and low water activity makes it a warning, two are enough."""
    found = the(ID, {"items": {PROTEIN: 2} | items, "systems": LOW_DOSE}, ph=ph, package="jar")
    assert outcome(found) == expected


@pytest.mark.parametrize(("ph", "hurdles"), [(5.0, 1), (4.01, 1), (4.0, 2), (3.5, 2)])
def test_very_low_ph_counts_twice(ph, hurdles):
    """A pH of 5 is a hurdle, pH 4 is two."""
    found = the(ID, {"items": {PROTEIN: 2}, "systems": LOW_DOSE}, ph=ph)
    assert value(found, "hurdles") == hurdles


@pytest.mark.parametrize(
    ("items", "ph", "expected"),
    [
        ({}, 2.8, "pass"),
        ({}, 10.2, "pass"),
        ({}, 10.05, "serious"),
        ({"Alcohol": 20}, 6, "pass"),
        ({"Alcohol": 19.9}, 6, "warn"),
    ],
)
def test_low_risk(items, ph, expected):
    """20 % of alcohol, or a pH that is surely below 3 or above 10, leave nothing to hold back (ISO
    29621). 19.9 % is no such line; its water activity (0.9) is one hurdle."""
    formula = {"items": {PROTEIN: 2} | items, "systems": LOW_DOSE}
    assert outcome(the(ID, formula, ph=ph)) == expected


@pytest.mark.parametrize(("ph", "hurdles"), [(4.0, 3), (3.9, 2)])
def test_chelator_that_does_not_act(ph, hurdles):
    """EDTA hardly holds calcium below pH 4: there it is no hurdle (the pH itself is two)."""
    items = {PROTEIN: 2, "Disodium EDTA": 0.1}
    assert value(the(ID, {"items": items, "systems": LOW_DOSE}, ph=ph), "hurdles") == hurdles


def test_surfactants_are_no_food():
    """10 % of a sulfate and 3 % of betaine are no load of food."""
    items = {"Sodium Laureth Sulfate": 10, "Cocamidopropyl Betaine": 3}
    found = the(ID, {"items": items, "systems": LOW_DOSE, "type": "shampoo"}, ph=6)
    assert (value(found, "nutrient_percent"), outcome(found)) == (0, "pass")


@pytest.mark.parametrize(("percent", "expected"), [(1.0, "warn"), (1.01, "serious")])
def test_medium_load_in_a_jar(percent, expected):
    """A jar makes a medium load a high one, but only what is much food by itself is a fault."""
    formula = {"items": {PROTEIN: percent}, "systems": LOW_DOSE}
    assert outcome(the(ID, formula, ph=6, package="jar")) == expected


@pytest.mark.parametrize(("percent", "expected"), [(4.9, "pass"), (5, "serious")])
def test_clay_brings_spores(percent, expected):
    """Clay is no food, but from 5 % on it is a high load of spores."""
    found = the(ID, {"items": {"Kaolin": percent}, "systems": LOW_DOSE}, ph=7.5)
    assert (value(found, "nutrient_percent"), outcome(found)) == (0, expected)


@pytest.mark.parametrize(("percent", "expected"), [(19, "pass"), (20, "serious")])
def test_juice_that_is_sold_preserved(percent, expected):
    """Aloe juice is preserved for itself, not for what it goes into: from 20 % on it is a high load;
    19 % of it holds 0.19 % dry."""
    items = {"Aloe Barbadensis Leaf Juice": percent}
    assert outcome(the(ID, {"items": items, "systems": LOW_DOSE}, ph=6)) == expected


def test_dry_product():
    """Where nothing can grow, food does not count."""
    assert outcome(the(ID, {"items": {"Sucrose": 60}}, ph=6, water_activity=0.7)) == "pass"


def test_oils_are_no_food():
    """Vegetable oil carries no load here."""
    assert (
        value(
            the(ID, {"items": {"Sunflower oil": 20}, "systems": LOW_DOSE}, ph=6), "nutrient_percent"
        )
        == 0
    )


def test_ph_not_measured():
    """An unmeasured pH is no hurdle."""
    assert value(the(ID, {"items": {PROTEIN: 2}, "systems": LOW_DOSE}), "hurdles") == 0


def test_remedy():
    """The remedy lists what is missing."""
    text = the(ID, {"items": {PROTEIN: 2}, "systems": LOW_DOSE}, ph=6, package="jar").do or ""
    for words in ("chelator", "pH to 5", "pump or tube"):
        assert words in text
    assert "upper half" not in text  # it would not count there
    text = the(ID, {"items": {PROTEIN: 2}, "systems": LOW_DOSE}, ph=6).do or ""
    assert "upper half" in text


def test_batch():
    """A batch reads like its formulas one by one."""
    same_alone_and_together(
        ID,
        make_formula({PROTEIN: 2, "Disodium EDTA": 0.1}, LOW_DOSE, ph=4.8),
        make_formula({"Glycerin": 3}, package="jar"),
        make_formula(
            {"Linum Usitatissimum Seed Extract": 60}, {"potassium-sorbate": 0.5, "bronopol": 0.01}
        ),
    )
