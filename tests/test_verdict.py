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
    assert figure(value, "%").value is None
    assert figure(1.0, "%", value).tolerance is None


def test_figure():
    """A numpy scalar becomes a plain number."""
    made = figure(np.float64(0.5), "%", np.float32(0.25))
    assert (made.value, made.tolerance, made.unit) == (0.5, 0.25, "%")
    assert type(made.value) is float
