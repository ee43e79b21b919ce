"""Published challenge tests: the data are whole, and the forecast does not get worse."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from preservecheck.assess.findings import arrays_of
from preservecheck.checks.free_active import CALIBRATION, WITH_CASE
from preservecheck.formula.load import load_formula
from preservecheck.reference.load import load_tables
from tests.helpers import TODAY
from tests.outside.challenge import __main__ as scorer
from tests.outside.challenge.fit import fitted
from tests.outside.challenge.score import area_under_curve, brier

# floors of the score, a little below what the program reached when they were set; they only go up
LEAST_AREA, MOST_BRIER, MOST_FALSE_PASS = 0.85, 0.125, 0.01
LEAST_AREA_LEFT_OUT = 0.88


class TestData:
    """The cases themselves."""

    def test_every_case_has_its_formula_and_its_publication(self):
        """No row without a formula file and a publication."""
        with (scorer.HERE / "publications.csv").open(encoding="utf-8") as lines:
            known = {r["key"] for r in csv.DictReader(lines)}
        for case in scorer.cases():
            assert case.publication in known
            assert (scorer.HERE / "formulas" / f"{case.formula}.toml").exists()

    def test_no_result_stands_twice(self):
        """One row for each formula and microbe, except where two strains were tested."""
        pairs = [(c.formula, c.microbe) for c in scorer.cases()]
        assert len(pairs) == len(set(pairs))


@pytest.fixture(scope="module")
def answered():
    """Cases that the program gives a chance for, with that chance and verdict."""
    kept, said = scorer.scored()
    return [(c, a) for c, a in zip(kept, said, strict=True) if not math.isnan(a.chance)]


class TestScore:
    """A change that makes the forecast worse fails here."""

    def test_rank(self, answered):
        """Passed tests have the higher chance."""
        area = area_under_curve([a.chance for _, a in answered], [c.passed for c, _ in answered])
        assert area >= LEAST_AREA

    def test_brier(self, answered):
        """Mean squared distance, below that of a constant rate (0.15)."""
        assert brier([a.chance for _, a in answered], [c.passed for c, _ in answered]) <= MOST_BRIER

    def test_false_passes(self, answered):
        """Of all results at most 3 % are called a pass and failed."""
        wrong = sum(a.verdict == "pass" and not c.passed for c, a in answered)
        assert wrong / len(answered) <= MOST_FALSE_PASS

    def test_high_chances_hold(self, answered):
        """Of results given above 0.9 at least 95 % passed."""
        high = np.array([c.passed for c, a in answered if a.chance > 0.9])
        assert high.mean() >= 0.95

    def test_each_publication_left_out(self, answered):
        """The fit holds on publications that it was not made on."""
        fit = fitted()
        assert fit.area_left_out >= LEAST_AREA_LEFT_OUT
        assert fit.brier_left_out <= MOST_BRIER

    def test_numbers_of_the_program_are_those_of_the_fit(self, answered):
        """Intercept, slope and their covariance stand in the program as the fit gives them."""
        fit, used = fitted(), CALIBRATION
        assert fit.theta == pytest.approx([used.intercept, used.slope], abs=0.002)
        assert fit.covariance[0] == pytest.approx(
            [used.intercept_variance, used.covariance], abs=0.002
        )
        assert fit.covariance[1, 1] == pytest.approx(used.slope_variance, abs=0.002)


def test_actives_with_a_case():
    """The actives that count as tested are those of the published formulas."""
    formulas = {c.formula for c in scorer.cases()}
    found = set()
    for name in formulas:
        formula = load_formula(scorer.HERE / "formulas" / f"{name}.toml")
        case = arrays_of(formula, load_tables(), TODAY)
        names = case.reference.forms.names
        found |= {names[f] for f in np.flatnonzero(case.acting_pct[0] > 0)}
    assert found == WITH_CASE


def test_the_readme_prints_the_score():
    """The README's table of accuracy is that of a run."""
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    lines = scorer.report().splitlines()
    table = [line for line in lines[2 : lines.index("", 2)] if line.startswith("|")]
    assert len(table) == 8
    assert "\n".join(table) in readme
    assert lines[-1] in readme
