"""Which kind of product a recipe is taken for, and what a file may call it."""

import pytest

from preservecheck.errors import FormulaError
from tests.helpers import case_of, make_formula

LEAVE_ON = {"use": "leave-on"}
# what a formulator would call each of these recipes
RECIPES = {
    "sulfate-shampoo": ({"Sodium Laureth Sulfate": 10}, {"type": "shampoo"}),
    "sulfate-free-shampoo": ({"Coco-Glucoside": 10}, {"type": "shampoo"}),
    "children-shampoo": ({"Coco-Glucoside": 10}, {"type": "shampoo", "users": "under-3"}),
    "soap-shampoo": ({"Potassium Cocoate": 15}, {"type": "shampoo"}),
    "clay-wash": ({"Kaolin": 12, "Coco-Glucoside": 5}, {"type": "shampoo"}),
    "conditioner": ({"Behentrimonium Methosulfate": 2, "Cetearyl Alcohol": 5}, {}),
    "co-wash": ({"Behentrimonium Methosulfate": 2, "Cocamidopropyl Betaine": 4}, {}),
    "acid-rinse": ({"Citric Acid": 0.5, "Glycerin": 2}, {}),
    "mask": ({"Behentrimonium Methosulfate": 3}, {"type": "mask"}),
    "low-water-scrub": ({"Sucrose": 60, "Glycerin": 10}, {"type": "scalp"}),
    "alcohol-tonic": ({"Alcohol": 30}, {"type": "scalp", **LEAVE_ON}),
    "mist": ({"Panthenol": 1}, {"type": "leave-in", "package": "spray", **LEAVE_ON}),
    "leave-in-milk": ({"Behentrimonium Methosulfate": 1}, {"type": "leave-in", **LEAVE_ON}),
    "carbomer-gel": ({"Carbomer": 0.5}, {"type": "styling", **LEAVE_ON}),
    "carbomer-cream": ({"Carbomer": 0.5, "Cetearyl Alcohol": 4}, {"type": "styling", **LEAVE_ON}),
    "plant-gel": (
        {"Linum Usitatissimum Seed Extract": 60},
        {"type": "styling", **LEAVE_ON},
    ),
    "gum-gel": ({"Hydroxyethylcellulose": 1.5}, {"type": "styling", **LEAVE_ON}),
    "scalp-serum": ({"Niacinamide": 2}, {"type": "scalp", **LEAVE_ON}),
}


def kind(items, **product):
    """The id of the kind that is taken."""
    return case_of(make_formula(items, **product)).kind_of().id


@pytest.mark.parametrize("expected", RECIPES)
def test_recipe(expected):
    """A recipe without a kind is taken for what it looks like."""
    items, product = RECIPES[expected]
    assert kind(items, **product) == expected


def test_many_as_one():
    """A kind does not depend on what other formulas are read with it."""
    formulas = [make_formula(items, **product) for items, product in RECIPES.values()]
    case = case_of(*formulas)
    assert [case.kind_of(n).id for n in range(len(formulas))] == list(RECIPES)


@pytest.mark.parametrize(
    "written", ["co-wash", "Co Wash", "COWASH", "cleansing conditioner", "cleansing-conditioner"]
)
def test_written_kind(written):
    """A kind that the file names is taken whatever the recipe, the case and the hyphens."""
    assert kind({"Cetearyl Alcohol": 5}, kind=written) == "co-wash"


@pytest.mark.parametrize(
    ("items", "written", "expected"),
    [
        ({"Carbomer": 0.5, "Cetearyl Alcohol": 4}, "styling cream", "carbomer-cream"),
        ({"Behentrimonium Methosulfate": 2, "Cetearyl Alcohol": 4}, "curl cream", "styling-cream"),
        ({"Aloe Barbadensis Leaf Juice": 60}, "plant gel", "aloe-gel"),
        ({"Linum Usitatissimum Seed Extract": 60}, "plant gel", "plant-gel"),
    ],
)
def test_finer_kind(items, written, expected):
    """A wide name means the finer kind whose conditions the recipe meets."""
    assert kind(items, kind=written, type="styling", use="leave-on") == expected


def test_unknown_kind():
    """A kind that no row names is refused, with the nearest one."""
    with pytest.raises(FormulaError, match="did you mean plant-gel"):
        make_formula({"Glycerin": 2}, kind="plant gell")
