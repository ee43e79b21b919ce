"""Check product-ph: does the pH suit the product and its raw materials?"""

import pytest

from preservecheck.reference.load import load_tables
from tests.helpers import four_sigma, make_formula, outcome, same_alone_and_together, the, value

ID = "product-ph"
PLAIN = {"items": {"Glycerin": 3}}


@pytest.mark.parametrize(
    ("ph", "expected"),
    [
        (3.0, "warn"),
        (3.89, "warn"),
        (3.9, "pass"),
        (4.3, "pass"),
        (4.7, "pass"),
        (4.71, "warn"),
        (9.0, "warn"),
    ],
)
def test_window(ph, expected):
    """A rinse-off conditioner is customary from 3.8 to 4.8: pH ± 0.1 inside passes, else it warns
    and never more."""
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


class TestMaterials:
    """Niacinamide wants pH 5 to 7; at 4.3 a conditioner's own window is met and the vitamin's is
    not."""

    def test_row(self):
        """The row that the tests rest on."""
        row = next(i for i in load_tables().ingredients if i.inci == "Niacinamide")
        assert (row.ph_min, row.ph_max) == (5, 7)

    @pytest.mark.parametrize(("percent", "expected"), [(0.09, "pass"), (0.1, "warn"), (3, "warn")])
    def test_amount(self, percent, expected):
        """A material counts from 0.1 % on."""
        assert outcome(the(ID, {"items": {"Niacinamide": percent}}, ph=4.3)) == expected

    def test_named(self):
        """The finding names the material and what it wants."""
        found = the(ID, {"items": {"Niacinamide": 3}}, ph=4.3)
        assert "Niacinamide wants pH 5 to 7" in found.because
        assert value(found, "material_min") == 5

    @pytest.mark.parametrize(
        ("ph", "expected"), [(4.3, "warn"), (5.1, "pass"), (6.9, "pass"), (7.0, "warn")]
    )
    def test_window_outside_the_custom(self, ph, expected):
        """Where a material's window lies wholly outside the custom it takes its place: 5 to 7 for
        3.8 to 4.8."""
        found = the(ID, {"items": {"Niacinamide": 3}}, ph=ph)
        assert [value(found, n) for n in ("ph_min", "ph_max")] == [5, 7]
        assert outcome(found) == expected

    def test_soap(self):
        """A true soap wants 9 to 10.5, whatever is customary for a shampoo."""
        soap = {"items": {"Potassium Cocoate": 20}, "type": "shampoo"}
        assert [outcome(the(ID, soap, ph=ph)) for ph in (5.3, 9.5)] == ["warn", "pass"]

    def test_no_ph_suits_both(self):
        """An esterquat at most 5 and urea at least 5.5: the finding says that one of them has to
        go."""
        found = the(ID, {"items": {"Distearoylethyl Dimonium Chloride": 2, "Urea": 3}}, ph=5)
        assert outcome(found) == "warn"
        assert "No pH suits" in (found.do or "")

    def test_narrowest(self):
        """Of several windows the narrowest counts: xanthan gum 3 to 10 with niacinamide leaves 5 to
        7."""
        items = {"Niacinamide": 3, "Xanthan Gum": 0.5}
        found = the(ID, {"items": items, "use": "leave-on", "type": "leave-in"}, ph=5.2)
        assert [value(found, n) for n in ("material_min", "material_max")] == [5, 7]
        assert outcome(found) == "pass"

    def test_aim(self):
        """Where both windows overlap the remedy is the overlap: leave-in 4.2 to 5.5 and 5 to 7
        leave 5 to 5.5."""
        found = the(
            ID, {"items": {"Niacinamide": 3}, "use": "leave-on", "type": "leave-in"}, ph=4.5
        )
        assert found.do is not None
        assert "5 to 5.5" in found.do


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
