"""Faults: data first, words last."""

from __future__ import annotations

import pickle

import pytest

from preservecheck.errors import Fault, FormulaError, Hint

HINTS = {Hint.QUOTES: "text goes in quotation marks", Hint.NEW_INGREDIENT: "paste this block"}


@pytest.mark.parametrize(
    ("fault", "text"),
    [
        (Fault("is empty"), "is empty"),
        (Fault("is empty", "write into it", where="a.csv"), "a.csv: is empty; write into it"),
        (
            Fault("", "give a pH from 0 to 14", name="ph", value="15"),
            "ph is 15; give a pH from 0 to 14",
        ),
        (Fault("has no unit", name="batch", value='"5"'), 'batch: "5" has no unit'),
        (
            Fault("is missing", "give it", where="a", place="row 3", name="ph"),
            "a: row 3: ph is missing; give it",
        ),
        (Fault("", "save it as .xlsx", where="a.xls"), "a.xls: save it as .xlsx"),
    ],
)
def test_words(fault, text):
    """File, place, field, value, what is wrong, what is allowed, in this order."""
    assert fault.text() == text


def test_hint_is_worded_by_a_front_end():
    """A library gets the bare fault; a front end adds its own words, after the rest as a sentence of
    its own."""
    assert Fault("is 7", "give a text", hint=Hint.QUOTES).text() == "is 7; give a text"
    assert Fault("is 7", "give a text", hint=Hint.QUOTES).text(HINTS) == (
        "is 7; give a text. Text goes in quotation marks"
    )
    assert Fault("is 7", hint=Hint.QUOTES).text(HINTS) == "is 7; text goes in quotation marks"


def test_block_to_paste_comes_with_its_hint():
    """A block says nothing without the sentence that asks for it."""
    fault = Fault("is not known", hint=Hint.NEW_INGREDIENT, paste="[x]\n")
    assert fault.text(HINTS) == "is not known; paste this block\n\n[x]\n"
    assert fault.text() == "is not known"


def test_part_of_something_larger():
    """Places are joined from the outside in; a fault that names its file keeps it."""
    fault = Fault("is 7", path=("percent",), place="line 2").within(
        where="a.toml", place="phase 1", path=("phase", 0)
    )
    assert (fault.text(), fault.path) == ("a.toml: phase 1: line 2: is 7", ("phase", 0, "percent"))
    assert fault.within(where="b.toml").where == "a.toml"


def test_error_carries_its_faults_to_another_process():
    """Nothing of a fault is lost in the words of the error."""
    error = FormulaError([Fault("is 7", path=("a", 0), hint=Hint.QUOTES), Fault("is 8")])
    again = pickle.loads(pickle.dumps(error))
    assert (type(again), again.faults, str(again)) == (FormulaError, error.faults, "is 7\nis 8")
