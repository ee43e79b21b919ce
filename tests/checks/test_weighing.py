"""Check weighing: can this scale weigh the preservative?"""

import pytest

from tests.helpers import make_formula, outcome, run_check, same_alone_and_together, the, value

ID = "weighing"
DOSE = {"systems": {"phenoxyethanol": 0.8}}


@pytest.mark.parametrize(
    ("step", "error", "expected"),
    [
        ("0.01 g", 0.25, "pass"),
        ("0.2 g", 5.0, "pass"),
        ("0.32 g", 8.0, "pass"),
        ("0.33 g", 8.25, "warn"),
        ("0.4 g", 10.0, "warn"),
        ("0.41 g", 10.25, "serious"),
        ("1 g", 25.0, "serious"),
    ],
)
def test_lines(step, error, expected):
    """0.8 % of 500 g are 4 g; one step over 4 g is the error: up to 8 % passes, up to 10 %
    warns."""
    found = the(ID, DOSE, batch="500 g", scale_step=step)
    assert value(found, "grams") == pytest.approx(4.0)
    assert value(found, "error_percent") == pytest.approx(error)
    assert (outcome(found), found.about) == (expected, "phenoxyethanol")


@pytest.mark.parametrize("given", [{}, {"batch": "500 g"}, {"scale_step": "0.1 g"}])
def test_not_given(given):
    """Without the step or the batch nothing is passed."""
    assert outcome(the(ID, DOSE, **given)) == "unknown"


def test_batch_from_grams():
    """Where the lines are in grams their sum is the batch: 2 g of 250 g on a 0.1 g scale are off by
    5 %."""
    items = [{"ingredient": "Water", "grams": 248}, {"preservative": "phenoxyethanol", "grams": 2}]
    found = the(ID, {"phases": [{"name": "a", "items": items}]}, scale_step="0.1 g")
    assert value(found, "grams") == pytest.approx(2.0)
    assert value(found, "error_percent") == pytest.approx(5.0)
    assert outcome(found) == "pass"


def test_remedy():
    """The remedy names a scale and a batch that would do: 5 % of 4 g are 0.2 g; 1 g / 5 % is 20 g,
    2500 g at 0.8 %."""
    text = the(ID, DOSE, batch="500 g", scale_step="1 g").do or ""
    assert "0.2 g or less" in text
    assert "2500 g" in text


def test_no_system_no_finding():
    """Nothing to weigh, nothing to say."""
    assert run_check(ID, {"items": {"Glycerin": 3}}, batch="500 g", scale_step="0.1 g") == []


def test_batch():
    """A batch reads like its formulas one by one."""
    two = make_formula(
        {}, {"phenoxyethanol": 0.8, "bronopol": 0.05}, batch="1 kg", scale_step="1 g"
    )
    same_alone_and_together(
        ID, two, make_formula({"Glycerin": 3}), make_formula({}, {"bronopol": 0.05}, batch="100 g")
    )
