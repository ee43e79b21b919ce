"""The law of single states, and substances that exclude each other.

A state has its own rows and those of the whole; the whole has the rows of every state. Triclosan is
banned in Washington from 2025-01-01 (RCW 70A.560.020), in Vermont from 2026-01-01 (9 V.S.A. 2494b),
in Oregon from 2027-01-01 (ORS 431A.345); all three were read.
"""

import datetime as dt

import numpy as np
import pytest

from preservecheck.checks import BY_ID
from tests.helpers import case_of, make_formula, run_check

ID = "legal-limit"


def bans(items, markets, on_market):
    """The findings that something is not allowed."""
    formula = make_formula(items, markets=markets, on_market=dt.date.fromisoformat(on_market))
    return [f for f in run_check(ID, formula) if f.serious]


@pytest.mark.parametrize(
    ("markets", "day", "states"),
    [
        (["US-WA"], "2024-12-31", []),
        (["US-WA"], "2025-01-01", ["US (Washington)"]),
        (["US-VT"], "2025-12-31", []),
        (["US-VT"], "2026-01-01", ["US (Vermont)"]),
        (["US-OR"], "2026-12-31", []),
        (["US-OR"], "2027-01-01", ["US (Oregon)"]),
        (["US-CA"], "2026-12-01", []),
        (["US-CA", "US-VT"], "2026-12-01", ["US (Vermont)"]),
        (["US"], "2026-12-01", ["US (Vermont)", "US (Washington)"]),
    ],
)
def test_triclosan_by_state(markets, day, states):
    """A state is judged by its own bans, the whole by those of every state, each named."""
    found = bans({"Triclosan": 0.2}, markets, day)
    assert sorted(f.about.rpartition(" × ")[2] for f in found) == states


@pytest.mark.parametrize("market", ["EU", "GB"])
@pytest.mark.parametrize(
    ("single", "serious"),
    [
        # the mixture is 3:1: 0.0009 % brings 0.0003 % of methylisothiazolinone
        (0.0003, False),
        (0.0006, True),
    ],
)
def test_the_mixture_and_the_single_one_exclude_each_other(market, single, serious):
    """Annex V/39 and V/57, footnotes 17 and 18 of the consolidated text of 2026-05-18: the mixture
    and methylisothiazolinone alone exclude each other, whatever their sum."""
    items = {"Methylchloroisothiazolinone": 0.0009, "Methylisothiazolinone": single}
    found = bans(items, [market], "2026-12-01")
    assert any("exclude each other" in f.because for f in found) is serious


def test_single_one_alone():
    """Without the mixture 0.0015 % of methylisothiazolinone is allowed in what is rinsed off."""
    formula = make_formula({"Methylisothiazolinone": 0.0015}, markets=["EU"], use="rinse-off")
    assert not [f for f in run_check(ID, formula) if "exclude" in f.because]


def test_a_state_beside_the_whole():
    """Products of one batch, one sold in all states and one in a single one, are judged each by its
    own."""
    whole, state = (
        make_formula({"Triclosan": 0.2}, markets=markets, on_market=dt.date(2026, 12, 1))
        for markets in (["US"], ["US-CA"])
    )
    codes = BY_ID[ID].judge(BY_ID[ID].compute(case_of(whole, state)))
    alone = [BY_ID[ID].judge(BY_ID[ID].compute(case_of(f)))[0] for f in (whole, state)]
    assert np.array_equal(codes, alone)
