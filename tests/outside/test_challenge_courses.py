"""Invented counts on both sides of every line of the three standards.

The lines are those that laboratories' pages print (see test_challenge_standards.py); none of the
standards was read. The counts are invented. ISO: half a log of tolerance on reductions; USP and Ph.
Eur.: none, after rounding.
"""

import pytest

from preservecheck.evidence.challenge import judged
from preservecheck.evidence.counts import Count, Counts
from preservecheck.reference.load import load_tables

TABLES = load_tables()
BACTERIUM, YEAST, MOULD = "Pseudomonas aeruginosa", "Candida albicans", "Aspergillus brasiliensis"


def verdict(standard, organism, reductions, start=6.0):
    """Verdict of one organism whose log reductions are given by day."""
    course = {0: Count(start, False, 1)} | {
        d: Count(start - r, False, 1) for d, r in reductions.items()
    }
    found = judged(Counts("x", None, {organism: course}), standard, TABLES)
    return found.organisms[0].verdict


@pytest.mark.parametrize(
    ("organism", "reductions", "expected"),
    [
        # A: 3 log on day 7 and no increase after; 2.5 is within the half log, 2.4 is not
        (BACTERIUM, {7: 3.0, 14: 3.0, 28: 3.0}, "A"),
        (BACTERIUM, {7: 2.5, 14: 3.0, 28: 3.0}, "A"),
        (BACTERIUM, {7: 2.4, 14: 3.0, 28: 3.0}, "B"),
        # an increase of 0.5 from day 7 to 14 is none, 0.6 is one; B does not ask
        (BACTERIUM, {7: 4.0, 14: 3.5, 28: 3.5}, "A"),
        (BACTERIUM, {7: 4.1, 14: 3.5, 28: 3.5}, "B"),
        # from day 14 to 28 both ask
        (BACTERIUM, {7: 4.0, 14: 4.0, 28: 3.5}, "A"),
        (BACTERIUM, {7: 4.0, 14: 4.0, 28: 3.4}, "fails"),
        # B: 3 log on day 14
        (BACTERIUM, {7: 0.0, 14: 2.5, 28: 2.5}, "B"),
        (BACTERIUM, {7: 0.0, 14: 2.4, 28: 2.5}, "fails"),
        # yeast: 1 log
        (YEAST, {7: 0.5, 14: 1.0, 28: 1.0}, "A"),
        (YEAST, {7: 0.4, 14: 1.0, 28: 1.0}, "B"),
        (YEAST, {7: 0.4, 14: 0.4, 28: 1.0}, "fails"),
        # mould: A no increase by day 14 and 1 log by day 28, B no increase at all
        (MOULD, {14: 0.0, 28: 1.0}, "A"),
        (MOULD, {14: 0.0, 28: 0.5}, "A"),
        (MOULD, {14: 0.0, 28: 0.4}, "B"),
        (MOULD, {14: -0.5, 28: 0.0}, "B"),
        (MOULD, {14: -0.6, 28: 0.0}, "fails"),
        (MOULD, {14: 0.0, 28: -0.6}, "fails"),
    ],
)
def test_iso_11930(organism, reductions, expected):
    """ISO 11930, criteria A and B."""
    assert verdict("iso-11930", organism, reductions) == expected


@pytest.mark.parametrize(
    ("organism", "reductions", "expected"),
    [
        # 2 log on day 14, no tolerance; 1.95 rounds to 2.0, 1.94 does not
        (BACTERIUM, {14: 2.0, 28: 2.0}, "passes"),
        (BACTERIUM, {14: 1.95, 28: 2.0}, "passes"),
        (BACTERIUM, {14: 1.94, 28: 2.0}, "fails"),
        # no increase from day 14 to 28: half a log is none
        (BACTERIUM, {14: 3.0, 28: 2.5}, "passes"),
        (BACTERIUM, {14: 3.0, 28: 2.4}, "fails"),
        # yeast and mould: no increase from the start
        (YEAST, {14: 0.0, 28: -0.5}, "passes"),
        (YEAST, {14: 0.0, 28: -0.6}, "fails"),
        (MOULD, {14: -0.5, 28: 0.0}, "passes"),
        (MOULD, {14: -0.6, 28: 0.0}, "fails"),
    ],
)
def test_usp_51_category_2(organism, reductions, expected):
    """USP <51>, category 2."""
    assert verdict("usp-51", organism, reductions) == expected


@pytest.mark.parametrize(
    ("organism", "reductions", "expected"),
    [
        # A: 2 log on day 2, 3 on day 7, no increase to day 28
        (BACTERIUM, {2: 2.0, 7: 3.0, 14: 3.0, 28: 3.0}, "A"),
        (BACTERIUM, {2: 1.9, 7: 3.0, 14: 3.0, 28: 3.0}, "B"),
        (BACTERIUM, {2: 2.0, 7: 2.9, 14: 3.0, 28: 3.0}, "B"),
        # B: 3 log on day 14
        (BACTERIUM, {2: 1.0, 7: 1.0, 14: 2.9, 28: 3.0}, "fails"),
        # yeast and mould: A 2 log on day 14, B 1 log
        (YEAST, {14: 2.0, 28: 2.0}, "A"),
        (YEAST, {14: 1.9, 28: 2.0}, "B"),
        (YEAST, {14: 1.0, 28: 1.0}, "B"),
        (YEAST, {14: 0.9, 28: 1.0}, "fails"),
        (MOULD, {14: 2.0, 28: 2.0}, "A"),
        (MOULD, {14: 1.0, 28: 1.0}, "B"),
        (MOULD, {14: 0.9, 28: 0.9}, "fails"),
        (MOULD, {14: 2.0, 28: 1.4}, "fails"),
    ],
)
def test_ph_eur_topical(organism, reductions, expected):
    """Ph. Eur. 5.1.3, topical preparations, criteria A and B."""
    assert verdict("ph-eur-5.1.3", organism, reductions) == expected


def test_iso_a_is_no_ph_eur_a():
    """3 log by day 7 is ISO A; without 2 log on day 2 it is Ph. Eur. B."""
    course = {2: 1.0, 7: 3.0, 14: 3.0, 28: 3.0}
    assert (
        verdict("iso-11930", BACTERIUM, course),
        verdict("ph-eur-5.1.3", BACTERIUM, course),
    ) == ("A", "B")


def test_detection_limits_of_the_protocol():
    """Start 1e5: a limit of 100 shows 3 log, enough for ISO A; 1000 shows 2 log and is open, not a
    fail."""
    for limit, expected in ((2.0, "A"), (3.0, "incomplete")):
        course = {0: Count(5.0, False, 1)} | {d: Count(limit, True, 1) for d in (7, 14, 28)}
        found = judged(Counts("x", None, {BACTERIUM: course}), "iso-11930", TABLES)
        assert found.organisms[0].verdict == expected
