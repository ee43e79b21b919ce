"""What a listed preservative is there for: asked where the law differs."""

import pytest

from preservecheck.errors import FormulaError
from preservecheck.plan.review import review
from tests.helpers import TODAY, compose, formula_of, outcome

HEAD = """
format = 1
[product]
name = "Scalp serum"
use = "rinse-off"
type = "scalp"
markets = ["EU"]
on_market = 2026-12-01
[measured]
ph = 3.8
[[phase]]
name = "all"
items = [
  { ingredient = "Water", rest = true },
  %s,
  { preservative = "phenoxyethanol-ethylhexylglycerin-90-10", percent = 0.9 },
]
"""
# EU Annex V/3: 0.5 % as a preservative; Annex III/98: 3 % for another purpose in hair products
# that are rinsed off
PLAIN = HEAD % '{ ingredient = "Salicylic Acid", percent = 1.5 }'
GIVEN = HEAD % '{ ingredient = "Salicylic Acid", percent = 1.5, purpose = "scalp active" }'


def legal(text):
    """Outcome of the law on salicylic acid."""
    report = review(formula_of(text), today=TODAY)
    found = [
        f for f in report.checks if f.id == "legal-limit" and f.about.startswith("Salicylic Acid")
    ]
    return {outcome(f) for f in found}, report.remarks


def test_asked_where_it_changes_the_law():
    """1.5 % is over the 0.5 % of a preservative: the report asks what it is there for."""
    found, remarks = legal(PLAIN)
    assert found == {"serious"}
    assert [r for r in remarks if r.startswith("Salicylic Acid") and "purpose" in r]


def test_answered():
    """As a scalp active it is judged by the row for other purposes, and nothing is asked."""
    found, remarks = legal(GIVEN)
    assert found == {"pass"}
    assert not [r for r in remarks if "purpose" in r]


def test_no_question_without_a_difference():
    """Phenoxyethanol has one limit, whatever it is there for."""
    text = HEAD % '{ ingredient = "Phenoxyethanol", percent = 0.1 }'
    assert not [r for r in review(formula_of(text), today=TODAY).remarks if "purpose" in r]


def test_no_system_with_a_purpose():
    """It stands for no system, but it is in the formula, and works in it."""
    plain, given = compose(formula_of(PLAIN)), compose(formula_of(GIVEN))
    assert "salicylic-acid" in [s.id for s in plain.systems]
    assert [s.id for s in given.systems] == ["phenoxyethanol-ethylhexylglycerin-90-10"]
    assert given.total("Salicylic Acid") == 1.5


def test_on_an_ingredient_only():
    """A system is there to preserve."""
    text = (HEAD % '{ ingredient = "Glycerin", percent = 3 }').replace(
        "percent = 0.9", 'percent = 0.9, purpose = "scent"'
    )
    with pytest.raises(FormulaError) as caught:
        formula_of(text)
    assert [f.path[-1] for f in caught.value.faults] == ["purpose"]
