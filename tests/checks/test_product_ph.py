"""Check product-ph: does the pH suit the product and its raw materials?"""

import pytest

from preservecheck.assess.findings import findings_of
from preservecheck.reference.load import load_tables
from tests.helpers import (
    case_of,
    four_sigma,
    make_formula,
    outcome,
    same_alone_and_together,
    the,
    value,
)

ID = "product-ph"
PLAIN = {"items": {"Glycerin": 3}}


@pytest.mark.parametrize(
    ("ph", "expected"),
    [
        (3.0, "warn"),
        (3.69, "warn"),
        (3.7, "pass"),
        (4.3, "pass"),
        (4.9, "pass"),
        (4.91, "warn"),
        (9.0, "warn"),
    ],
)
def test_window(ph, expected):
    """A rinse-off conditioner is customary from 3.8 to 4.8, which is no limit: it warns where all
    of pH ± 0.1 lies outside, and never more."""
    found = the(ID, PLAIN, ph=ph)
    assert outcome(found) == expected
    assert [value(found, n) for n in ("ph", "ph_min", "ph_max")] == [ph, 3.8, 4.8]


def test_not_measured():
    """Without a pH it is unknown."""
    assert outcome(the(ID, PLAIN)) == "unknown"


@pytest.mark.parametrize(
    ("use", "type_", "low", "high"),
    [
        ("leave-on", "conditioner", 4.2, 5.5),
        ("leave-on", "leave-in", 4.2, 5.5),
        ("rinse-off", "shampoo", 4.8, 5.8),
        ("leave-on", "scalp", 4.5, 5.8),
        ("leave-on", "styling", 4.2, 5.5),
        ("rinse-off", "mask", 3.8, 4.8),
    ],
)
def test_windows_of_the_types(use, type_, low, high):
    """The windows are the customary ones of facts/process.md, section 6 (common practice, no
    source)."""
    found = the(ID, PLAIN | {"use": use, "type": type_}, ph=5)
    assert [value(found, n) for n in ("ph_min", "ph_max")] == [low, high]


class TestWhatBreaks:
    """Edges of stability_windows.csv at which something breaks; those of feel are silent."""

    def test_rows(self):
        """The rows that the tests rest on."""
        rows = {row.id: row for row in load_tables().stability_windows}
        assert (rows["esterquat"].ph_max, rows["esterquat"].above) == (5, "breaks")
        assert (rows["carbomer"].ph_min, rows["carbomer"].below) == (5.5, "breaks")
        assert (rows["carbomer"].min_percent, rows["carbomer"].ph_max) == (0.1, 10)
        assert (rows["niacinamide"].below, rows["niacinamide"].above) == ("feel", "feel")
        pomade = rows["stearate-emulsion"]
        assert (pomade.materials, pomade.ph_min) == (("inci:Stearic Acid",), 7)
        assert "role:base" in pomade.beside

    @pytest.mark.parametrize(
        ("ph", "expected"), [(4.7, "pass"), (4.89, "pass"), (4.91, "warn"), (5.2, "warn")]
    )
    def test_tolerance_reaches_over_the_edge(self, ph, expected):
        """An esterquat breaks above pH 5: 4.91 ± 0.1 may be above, 4.89 is not. In a leave-in, 4.2
        to 5.5, the custom says nothing."""
        leave_in = {"use": "leave-on", "type": "leave-in"}
        items = {"Distearoylethyl Dimonium Chloride": 2}
        assert outcome(the(ID, {"items": items} | leave_in, ph=ph)) == expected

    @pytest.mark.parametrize(("percent", "expected"), [(0.09, "pass"), (0.1, "warn")])
    def test_amount(self, percent, expected):
        """Carbomer counts from 0.1 % on."""
        gel = {"use": "leave-on", "type": "styling", "items": {"Carbomer": percent}}
        assert outcome(the(ID, gel, ph=5.2)) == expected

    @pytest.mark.parametrize(("ph", "expected"), [(5.5, "warn"), (5.6, "pass"), (6.9, "pass")])
    def test_polymer_before_type(self, ph, expected):
        """A carbomer gel is customary from 5.5 to 7 and collapses below 5.5; the 4.2 to 5.5 of a
        styling product do not speak."""
        gel = {"use": "leave-on", "type": "styling", "items": {"Carbomer": 0.5}}
        found = the(ID, gel, ph=ph)
        assert [value(found, n) for n in ("ph_min", "ph_max")] == [5.5, 7]
        assert outcome(found) == expected

    def test_named(self):
        """The finding names the material, its edge and what happens."""
        gel = {"use": "leave-on", "type": "styling", "items": {"Carbomer": 0.5}}
        found = the(ID, gel, ph=5.2)
        assert "carbomer wants pH 5.5 or higher: below 5.5 it thins" in found.because
        assert value(found, "material_min") == 5.5

    @pytest.mark.parametrize(("ph", "expected"), [(6.9, "warn"), (7.8, "pass")])
    def test_soap_emulsifier(self, ph, expected):
        """Stearic acid with a base makes a soap that breaks below 7; nobody wrote a soap down."""
        pomade = {
            "use": "leave-on",
            "type": "styling",
            "items": {"Stearic Acid": 5, "Potassium Hydroxide": 0.4},
        }
        assert outcome(the(ID, pomade, ph=ph)) == expected

    def test_stearic_acid_alone(self):
        """Without a base stearic acid is a wax and stands any pH."""
        formula = {"use": "leave-on", "type": "leave-in", "items": {"Stearic Acid": 5}}
        assert outcome(the(ID, formula, ph=4.7)) == "pass"

    def test_soap(self):
        """A true soap wants 9 to 10.3, whatever is customary for a shampoo."""
        soap = {"items": {"Potassium Cocoate": 20}, "type": "shampoo"}
        assert [outcome(the(ID, soap, ph=ph)) for ph in (5.3, 9.5)] == ["warn", "pass"]

    def test_feel_is_silent(self):
        """Niacinamide is kept from 4.5 to 7, linseed gel is thickest from 5 to 9: nothing breaks at
        4.4."""
        items = {"Niacinamide": 3, "Linum Usitatissimum Seed Extract": 10}
        found = the(ID, {"items": items, "use": "leave-on", "type": "leave-in"}, ph=4.4)
        assert outcome(found) == "pass"

    def test_own_material(self):
        """The pH range that a maker writes down for a material of their own counts as what it
        stands."""
        own = {"my ester": {"role": "ester", "ph_min": 4.5, "ph_max": 6.0}}
        formula = {"items": {"my ester": 2}, "own": own, "use": "leave-on", "type": "leave-in"}
        assert [outcome(the(ID, formula, ph=ph)) for ph in (4.4, 4.7)] == ["warn", "pass"]

    def test_no_ph_suits_both(self):
        """An esterquat at most 5 and carbomer at least 5.5: the finding says that one of them has to
        go."""
        items = {"Distearoylethyl Dimonium Chloride": 2, "Carbomer": 0.5}
        found = the(ID, {"items": items, "use": "leave-on", "type": "leave-in"}, ph=5.2)
        assert outcome(found) == "warn"
        assert "No pH suits" in (found.do or "")


def test_root():
    """One wrong pH is one cause: outside the preservative's range it is the root of this finding.

    Benzoate works up to pH 5; a shampoo is customary from 4.8 to 5.8.
    """
    formula = make_formula({}, {"sodium-benzoate": 0.5}, type="shampoo", ph=6.4)
    found = {f.finding.id: f.finding for f in findings_of(case_of(formula))}
    assert found["ph-range"].root is None
    assert found[ID].root == ("ph-range", "sodium-benzoate")


def test_without_water():
    """Without water there is no pH to judge."""
    assert outcome(the(ID, {"items": {"Squalane": 100}, "water": None})) == "pass"


def test_chance():
    """On the edge of the window half of the draws pass, within four standard errors."""
    assert the(ID, PLAIN, ph=4.8).chance == pytest.approx(0.5, abs=four_sigma(0.5))


def test_batch():
    """A batch reads like its formulas one by one."""
    same_alone_and_together(
        ID,
        make_formula({"Niacinamide": 3}, ph=4.3),
        make_formula({"Glycerin": 3}),
        make_formula({"Carbomer": 0.5}, use="leave-on", type="styling", ph=5, ph_tolerance=0.5),
    )
