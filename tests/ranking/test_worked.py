"""The ranking on formulas for which a formulator wrote beforehand what to pick and what never to put
first."""

import json
from pathlib import Path

import pytest

from preservecheck.formula.load import load_formula
from preservecheck.ranking.rank import choose
from tests.helpers import TODAY

WORKED = Path(__file__).parents[1] / "examples" / "worked"
NAMES = sorted(p.stem for p in WORKED.glob("[0-9][0-9].toml"))
NEEDS_NONE = {"14", "16"}  # a quarter of alcohol; a measured water activity of 0.68
# what stands in the first ten all the same: a dissolved powder is ranked as the shampoo that it is
ALLOWED = {("20", "mci-mi")}


@pytest.fixture(scope="module", params=NAMES)
def worked(request):
    """The name of a formula, what was written of it, and its ranking."""
    expected = json.loads((WORKED / f"{request.param}.json").read_text(encoding="utf-8"))
    formula = load_formula(WORKED / f"{request.param}.toml")
    return request.param, expected, choose(formula, today=TODAY)


def places(expected, choice):
    """The best rank of each of the three groups of picks."""
    ranks = dict(choice.ranks)
    return [min(ranks[i] for i in group) for group in expected["picks"]]


def test_picks(worked):
    """A formula that needs none is told so; else one of the picks is among the first three, and the
    first pick at least fourth."""
    name, expected, choice = worked
    assert (choice.needs_none is not None) == (name in NEEDS_NONE)
    if choice.needs_none is None:
        best = places(expected, choice)
        assert min(best) <= 3
        assert best[0] <= 4


def test_never_in_the_first_ten(worked):
    """What a formulator would never put first is not among the first ten."""
    name, expected, choice = worked
    first = {option.id for option in choice.systems[:10]}
    never = {system for system, *_ in expected["never"]}
    assert {(name, system) for system in first & never} <= ALLOWED


def test_own_system_has_a_rank(worked):
    """Every system of the formula is in the list."""
    _, _, choice = worked
    if choice.needs_none is None:
        assert all(rank is not None for _, rank in choice.now)


def test_does_not_fit_has_a_fault(worked):
    """What does not fit gives the finding that no change mends."""
    _, _, choice = worked
    for option in choice.systems:
        if option.outcome == "does-not-fit":
            assert option.check is not None, option.id
            assert option.why.startswith(f"{option.check}: "), option.id
