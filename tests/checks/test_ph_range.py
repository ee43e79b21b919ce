"""Check ph-range: is the measured pH inside the range in which the preservative works?"""

import pytest

from preservecheck.reference.load import load_tables
from tests.helpers import (
    about,
    make_formula,
    outcome,
    run_check,
    same_alone_and_together,
    the,
    value,
)

ID = "ph-range"
SORBATE = {"systems": {"potassium-sorbate": 0.3}}


def test_row_behind_the_numbers_below():
    """The row of potassium sorbate reads 2.5 to 6.0; if it is changed these tests want new
    numbers."""
    row = next(s for s in load_tables().systems if s.id == "potassium-sorbate")
    assert (row.ph_min, row.ph_max) == (2.5, 6.0)


@pytest.mark.parametrize(
    ("ph", "expected"),
    [
        (2.39, "serious"),
        (2.4, "warn"),
        (2.59, "warn"),
        (2.6, "pass"),
        (4.5, "pass"),
        (5.9, "pass"),
        (5.91, "warn"),
        (6.1, "warn"),
        (6.11, "serious"),
    ],
)
def test_edges(ph, expected):
    """A pH ± 0.1 inside 2.5 to 6.0 passes, reaching over an edge warns, wholly outside is
    serious."""
    assert outcome(the(ID, SORBATE, ph=ph, ph_tolerance=0.1)) == expected


def test_strips_need_more_room():
    """The same pH passes by meter and warns by strip."""
    assert outcome(the(ID, SORBATE, ph=5.6, ph_tolerance=0.1)) == "pass"
    assert outcome(the(ID, SORBATE, ph=5.6, ph_tolerance=0.5)) == "warn"


def test_figures():
    """Other programs read ph, ph_min and ph_max."""
    found = the(ID, SORBATE, ph=5.1, ph_tolerance=0.2)
    assert found.about == "potassium-sorbate"
    assert [value(found, n) for n in ("ph", "ph_min", "ph_max")] == [5.1, 2.5, 6.0]
    assert found.figure("ph").tolerance == 0.2


def test_not_measured():
    """Without a pH nothing is passed, and there is no chance to state."""
    found = the(ID, SORBATE)
    assert (outcome(found), found.chance, found.value("ph")) == ("unknown", None, None)
    assert "Measure" in (found.do or "")


def test_range_not_known():
    """A recognised active without a row of its own has no range here."""
    assert outcome(the(ID, {"items": {"o-Cymen-5-ol": 0.1}}, ph=5)) == "unknown"


def test_each_system_by_itself():
    """Of two systems each gets its own verdict: at pH 6.5 phenoxyethanol works and sorbate does
    not."""
    found = run_check(ID, {"systems": {"phenoxyethanol": 0.8, "potassium-sorbate": 0.3}}, ph=6.5)
    assert outcome(about(found, "phenoxyethanol")) == "pass"
    assert outcome(about(found, "potassium-sorbate")) == "serious"


def test_no_system_no_finding():
    """An unpreserved formula is another check's affair."""
    assert run_check(ID, {"items": {"Glycerin": 3}}, ph=5) == []


@pytest.mark.parametrize(("ph", "target"), [(6.6, "5.9"), (2.0, "2.6")])
def test_remedy(ph, target):
    """The remedy names the pH at which the whole tolerance fits: 6.0 - 0.1 or 2.5 + 0.1."""
    assert target in (the(ID, SORBATE, ph=ph, ph_tolerance=0.1).do or "")


def test_batch():
    """A batch reads like its formulas one by one."""
    same_alone_and_together(
        ID,
        make_formula({}, {"potassium-sorbate": 0.3, "phenoxyethanol": 0.8}, ph=5.95),
        make_formula({"Glycerin": 3}),
        make_formula({}, {"bronopol": 0.05}, ph_tolerance=0.5, ph=7),
    )
