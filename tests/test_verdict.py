"""Verdict codes: the fold, the first rule that holds, and figures that are not known."""

import itertools

import numpy as np
import pytest

from preservecheck.verdict import (
    ABSENT,
    PASS,
    SERIOUS,
    UNKNOWN,
    WARN,
    WORDS,
    Evidence,
    Finding,
    code_where,
    figure,
    fold,
)

ORDER = (ABSENT, PASS, UNKNOWN, WARN, SERIOUS)


def test_order():
    """From best to worst: absent, pass, unknown, warn, serious (the contract's fold)."""
    assert sorted(ORDER) == list(ORDER)
    assert [WORDS[c] for c in ORDER] == [None, "pass", "unknown", "warn", "warn"]


@pytest.mark.parametrize("pair", list(itertools.combinations(range(5), 2)))
def test_fold_of_two(pair):
    """Of two codes the worse one stays, in either order."""
    worse = ORDER[max(pair)]
    assert int(fold([ORDER[pair[0]], ORDER[pair[1]]])) == worse
    assert int(fold([ORDER[pair[1]], ORDER[pair[0]]])) == worse


def test_unknown_is_never_passed():
    """Any number of passes beside one unknown is unknown."""
    assert int(fold([PASS] * 50 + [UNKNOWN])) == UNKNOWN


def test_unknown_hides_no_fault():
    """A known fault is not hidden behind an unknown."""
    assert int(fold([UNKNOWN, SERIOUS])) == SERIOUS
    assert int(fold([UNKNOWN, WARN])) == WARN


def test_fold_of_nothing():
    """Nothing at all is absent, not a pass."""
    assert int(fold([])) == ABSENT


def test_fold_on_arrays():
    """The last axis goes, the others stay."""
    folded = fold([[[PASS, WARN], [PASS, PASS]], [[UNKNOWN, PASS], [ABSENT, ABSENT]]])
    assert folded.tolist() == [[WARN, PASS], [UNKNOWN, ABSENT]]
    assert folded.dtype == np.int8


def test_first_rule_that_holds():
    """Earlier rules win over later ones."""
    codes = code_where(([True, False, False], SERIOUS), ([True, True, False], WARN), otherwise=PASS)
    assert codes.tolist() == [SERIOUS, WARN, PASS]
    assert codes.dtype == np.int8


def test_rules_broadcast():
    """A condition on one axis goes with one on another."""
    codes = code_where(
        (np.array([[True], [False]]), UNKNOWN), (np.array([False, True]), WARN), otherwise=PASS
    )
    assert codes.tolist() == [[UNKNOWN, UNKNOWN], [PASS, WARN]]


@pytest.mark.parametrize("value", [None, float("nan"), float("inf"), -float("inf"), np.nan])
def test_figure_not_known(value):
    """Not-a-number, infinity and nothing are ``None``, never a number."""
    assert figure("percent", value, "%").value is None
    assert figure("percent", 1.0, "%", value).tolerance is None


def test_figure():
    """A numpy scalar becomes a plain number."""
    made = figure("percent", np.float64(0.5), "%", np.float32(0.25))
    assert (made.value, made.tolerance, made.unit) == (0.5, 0.25, "%")
    assert type(made.value) is float
    assert (made.key, made.of) == ("percent", None)


def test_figure_of_an_active():
    """The figure of an active is found by its name and the active, never by one alone."""
    free = figure("free_percent", 0.2, "% w/v", of="Benzoic Acid")
    finding = Finding("free-active", "Candida albicans", "pass", serious=False, figures=(free,))
    assert free.key == "free_percent.Benzoic Acid"
    assert finding.figure("free_percent", "Benzoic Acid") is free
    assert finding.value("free_percent", "Benzoic Acid") == 0.2
    assert finding.figure("free_percent") is None
    assert finding.value("free_percent", "Sorbic Acid") is None
    assert list(finding.to_json()["figures"]) == ["free_percent.Benzoic Acid"]


def test_evidence():
    """A source is cited once, with whose figure it is; a row that is only used is not cited."""
    cited = Evidence(what="MIC of Benzoic Acid", said="A handbook, page 7")
    used, own = Evidence(said=None), Evidence(said="your own tables: data sheet", own=True)
    finding = Finding("x", "y", "pass", serious=False, evidence=(cited, used, own, cited))
    assert finding.sources == (
        "MIC of Benzoic Acid: A handbook, page 7",
        "your own tables: data sheet",
    )
    assert finding.own
    assert not Finding("x", "y", "pass", serious=False, evidence=(cited, used)).own
