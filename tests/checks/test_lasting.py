"""Check lasting: does the preservative last as long as the product?

The shares that are left are worked out here from the printed half-lives and rates.
"""

import math

import pytest

from preservecheck.checks.free_active import CHECK as FREE_ACTIVE
from preservecheck.checks.lasting import chances_over
from tests.helpers import (
    about,
    case_of,
    make_formula,
    outcome,
    run_check,
    same_alone_and_together,
    value,
)

ID = "lasting"
BRONOPOL = "2-Bromo-2-Nitropropane-1,3-Diol"


def bronopol(ph, percent=0.05, **product):
    return about(run_check(ID, {"items": {BRONOPOL: percent}, **product}, ph=ph), BRONOPOL)


@pytest.mark.parametrize(("ph", "years_at_20_c"), [(4, 5), (8, 2 / 12)])
def test_printed_half_lives_of_bronopol(ph, years_at_20_c):
    """Five years at pH 4 and two months at pH 8, both at 20 °C; twice as fast at 25 °C, since it is
    four times for 10 °C."""
    found = bronopol(ph)
    half_life = value(found, "half_life_months", BRONOPOL)
    assert half_life == pytest.approx(12 * years_at_20_c / 2, rel=0.03)
    left = 100 * 0.5 ** (30 / half_life)
    assert value(found, "left_percent", BRONOPOL) == pytest.approx(left, rel=1e-9)


def test_between_the_printed_values():
    """The logarithm of the rate is straight between them: at pH 6 the root of 30 and 1 months, 5.48;
    30 months leave 2.2 %, and with the rate off by 2.5 either way 0.007 to 22 %."""
    found = bronopol(6)
    assert value(found, "half_life_months", BRONOPOL) == pytest.approx(math.sqrt(30), rel=0.03)
    figure = found.figure("left_percent", BRONOPOL)
    low, high = (100 * 0.5 ** (30 / 5.48 * f) for f in (2.5, 1 / 2.5))
    assert figure.value == pytest.approx(100 * 0.5 ** (30 / 5.48), rel=0.05)
    assert figure.tolerance == pytest.approx((high - low) / 2, rel=0.03)


def test_paraben_at_ph_7():
    """A quarter of the methylparaben is lost in twelve months at pH 7 to 7.5: 49 % are left after
    30."""
    found = about(run_check(ID, {"items": {"Methylparaben": 0.25}}, ph=7.25), "Methylparaben")
    assert value(found, "left_percent", "Methylparaben") == pytest.approx(100 * 0.75**2.5, abs=4)


class TestVerdict:
    """What follows for the microbes."""

    def test_no_longer_held(self):
        """0.02 % of bronopol at pH 6: 2 % of it after 30 months hold nothing."""
        found = bronopol(6, 0.02)
        assert outcome(found) == "serious"
        months = [f for f in found.figures if f.name == "held_months"]
        assert months
        assert all(0 < f.value < 30 for f in months)

    def test_shorter_life(self):
        """After three months 68 % of it are left, and all that was held still is."""
        found = bronopol(6, 0.05, shelf_life="3 months")
        assert value(found, "shelf_life_months") == 3
        assert value(found, "left_percent", BRONOPOL) == pytest.approx(
            100 * 0.5 ** (3 / 5.48), rel=0.02
        )
        assert outcome(found) == "pass"

    def test_what_lasts(self):
        """Parabens at pH 5.2 lose 2 % in 30 months."""
        found = run_check(ID, {"items": {"Methylparaben": 0.25, "Propylparaben": 0.1}}, ph=5.2)
        assert {outcome(f) for f in found} == {"pass"}

    def test_what_holds_without_it(self):
        """Bronopol that is lost is no fault beside 1 % of phenoxyethanol, which holds alone, for the
        microbes that it holds."""
        items = {BRONOPOL: 0.005, "Phenoxyethanol": 1.0}
        found = about(run_check(ID, {"items": items}, ph=7), BRONOPOL)
        assert value(found, "left_percent", BRONOPOL) < 1
        assert outcome(found) == "pass"

    def test_no_rate_is_said_once(self):
        """Phenoxyethanol and benzyl alcohol have no rate: one finding, which passes."""
        items = {"Phenoxyethanol": 0.8, "Benzyl Alcohol": 0.3}
        (found,) = run_check(ID, {"items": items}, ph=5)
        assert outcome(found) == "pass"
        assert "Benzyl Alcohol and Phenoxyethanol" in found.because

    def test_releasers_by_class(self):
        """A reservoir is told, and what opens fully."""
        (found,) = run_check(ID, {"items": {"DMDM Hydantoin": 0.3}}, ph=6)
        assert "reservoir" in found.because
        (found,) = run_check(ID, {"items": {"Sodium Hydroxymethylglycinate": 0.4}}, ph=8)
        assert "opens fully" in found.because

    def test_ph_not_measured(self):
        """The rate hangs on the pH."""
        found = about(run_check(ID, {"items": {BRONOPOL: 0.05}}), BRONOPOL)
        assert outcome(found) == "unknown"
        assert found.value("left_percent", BRONOPOL) is None

    def test_dry_product(self):
        """Where nothing can grow, nothing has to last."""
        assert (
            run_check(ID, {"items": {BRONOPOL: 0.05, "Glycerin": 60}}, ph=6, water_activity=0.6)
            == []
        )


def test_course_over_the_months():
    """The chances start at those of free-active and only fall, as far as sums tell them apart."""
    case = case_of(make_formula({BRONOPOL: 0.02}, ph=6))
    today = FREE_ACTIVE.compute(case)["challenge_chance"][0]
    course = chances_over(case, [0.0, 6.0, 12.0, 30.0])
    assert course[0] == pytest.approx(today)
    assert (course[1:] <= course[:-1]).all()
    assert (course[1:, :3] < course[:-1, :3]).all()


def test_batch():
    """A batch reads like its formulas one by one."""
    same_alone_and_together(
        ID,
        make_formula({BRONOPOL: 0.02}, ph=6),
        make_formula({"Methylparaben": 0.2, "Phenoxyethanol": 0.5}, ph=7),
        make_formula({"Glycerin": 3}, ph=5),
    )
