"""Check use-level: is the amount inside the supplier's usage range?"""

import pytest

from preservecheck.reference.load import load_tables
from tests.helpers import make_formula, outcome, run_check, same_alone_and_together, the, value

ID = "use-level"


def test_row_behind_the_numbers_below():
    """The row of phenoxyethanol reads 0.5 to 1.0 %; if it is changed these tests want new
    numbers."""
    row = next(s for s in load_tables().systems if s.id == "phenoxyethanol")
    assert (row.usage_min_percent, row.usage_max_percent) == (0.5, 1.0)


@pytest.mark.parametrize(
    ("percent", "expected"),
    [
        (0.1, "serious"),
        (0.499, "serious"),
        (0.5, "pass"),
        (0.75, "pass"),
        (1.0, "pass"),
        (1.001, "serious"),
        (3, "serious"),
    ],
)
def test_edges(percent, expected):
    """The ends of the range belong to it; beyond either the batch should not be filled."""
    found = the(ID, {"systems": {"phenoxyethanol": percent}})
    assert outcome(found) == expected
    assert [value(found, n) for n in ("percent", "percent_min", "percent_max")] == [
        percent,
        0.5,
        1.0,
    ]


@pytest.mark.parametrize(
    ("percent", "expected"), [(0.499, "warn"), (0.5, "pass"), (1.001, "serious")]
)
def test_recognised_single_substance(percent, expected):
    """A substance that nobody named as the system may be there as a helper: below the range it only
    warns."""
    found = the(ID, {"items": {"Phenoxyethanol": percent}})
    assert (found.about, outcome(found)) == ("phenoxyethanol", expected)


def test_lines_add_up():
    """Two lines of one system, 0.3 % each, are 0.6 % of it."""
    items = [
        {"preservative": "phenoxyethanol", "percent": 0.3},
        {"ingredient": "Water", "rest": True},
    ]
    found = the(ID, {"phases": [{"name": "a", "items": items}, {"name": "b", "items": items[:1]}]})
    assert value(found, "percent") == pytest.approx(0.6)
    assert outcome(found) == "pass"


def test_carried_in_is_no_dose():
    """What a raw material carries in is counted by the law and by free-active, not as a dose."""
    blends = {"extract": {"Glycerin": 99, "Phenoxyethanol": 1}}
    assert run_check(ID, {"items": {"extract": 5}, "blends": blends}) == []


def test_range_not_known():
    """A recognised active without a row of its own has no range: unknown, not passed."""
    found = the(ID, {"items": {"o-Cymen-5-ol": 0.1}})
    assert (outcome(found), found.value("percent_max")) == ("unknown", None)


def test_remedy_in_grams():
    """The remedy gives the grams of this batch: 1 % of 500 g are 5 g, 0.5 % are 2.5 g."""
    assert "(5 g" in (the(ID, {"systems": {"phenoxyethanol": 2}}, batch="500 g").do or "")
    assert "(2.5 g" in (the(ID, {"systems": {"phenoxyethanol": 0.2}}, batch="500 g").do or "")


def test_no_chance():
    """No reading's tolerance can change a dose, so none is stated."""
    assert the(ID, {"systems": {"phenoxyethanol": 0.8}}).chance is None


def test_batch():
    """A batch reads like its formulas one by one."""
    same_alone_and_together(
        ID,
        make_formula({"Glycerin": 3}, {"phenoxyethanol": 0.8, "sodium-benzoate": 0.1}),
        make_formula({"Phenoxyethanol": 0.2}),
        make_formula({"Glycerin": 3}),
    )
