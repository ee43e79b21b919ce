"""The chance that a check passes: against the normal distribution, and repeatable."""

import math

import numpy as np
import pytest

from preservecheck.assess.uncertainty import DRAWS, chances, drawn
from preservecheck.checks import BY_ID, CHECKS
from preservecheck.reference.load import load_tables
from tests.helpers import about, case_of, four_sigma, make_formula, run_check, the, value

SORBATE = {"systems": {"potassium-sorbate": 0.3}}  # pH 2.5 to 6.0
ACID = {
    "systems": {"benzyl-alcohol-dehydroacetic-acid": 0.8}
}  # heat limit and preferred temperature 40 °C


def normal(z):
    """Share of a normal distribution below z standard deviations."""
    return 0.5 * (1 + math.erf(z / math.sqrt(2)))


@pytest.mark.parametrize("ph", [5.85, 5.95, 6.0, 6.02, 6.08])
@pytest.mark.parametrize("tolerance", [0.1, 0.3])
def test_one_edge(ph, tolerance):
    """The chance is Phi((limit - pH) / (tolerance / 1.96)): the tolerance holds 95 of 100
    readings."""
    share = normal((6.0 - ph) / (tolerance / 1.96))
    assert the("ph-range", SORBATE, ph=ph, ph_tolerance=tolerance).chance == pytest.approx(
        share, abs=four_sigma(share)
    )


def test_two_edges():
    """Between two edges it is the difference: levulinate-anisate works from 4.5 to 5.5, pH 5.0 ±
    0.5 is 95 %."""
    system = {"glycerin-water-sodium-levulinate-sodium-anisate": 2}
    found = the("ph-range", {"systems": system}, ph=5.0, ph_tolerance=0.5)
    share = normal(1.96) - normal(-1.96)
    assert share == pytest.approx(0.95, abs=1e-4)
    assert found.chance == pytest.approx(share, abs=four_sigma(share))


@pytest.mark.parametrize("added_at", [38.5, 39, 40, 41])
def test_thermometer(added_at):
    """Heat goes by the thermometer's ± 2 °C: Phi((40 - T) / (2 / 1.96))."""
    share = normal((40 - added_at) / (2 / 1.96))
    found = the("heat-limit", ACID, added_at=f"{added_at} °C")
    assert found.chance == pytest.approx(share, abs=four_sigma(share))


@pytest.mark.parametrize("percent", [0.2, 0.32, 0.5, 0.9])
def test_mic(percent):
    """Phenoxyethanol alone against Pseudomonas hangs on its MIC: Phi(ln(c / MIC) / (ln(factor) /
    1.96))."""
    row = next(
        m
        for m in load_tables().mic
        if (m.active, m.organism, m.preferred)
        == ("Phenoxyethanol", "Pseudomonas aeruginosa", "yes")
    )
    share = normal(
        math.log(percent / (row.mic_mg_l / 10_000)) / (math.log(row.uncertainty_factor) / 1.96)
    )
    found = about(
        run_check("free-active", {"items": {"Phenoxyethanol": percent}}, ph=5),
        "Pseudomonas aeruginosa",
    )
    assert value(found, "chance_enough") == pytest.approx(share, abs=four_sigma(share))


def test_far_inside_and_far_outside():
    """Far from an edge the chance is 1 or 0."""
    assert the("ph-range", SORBATE, ph=4.5).chance == 1.0
    assert the("ph-range", SORBATE, ph=7.0).chance == 0.0


def test_no_tolerance_no_spread():
    """A reading without tolerance passes always or never."""
    assert the("ph-range", SORBATE, ph=5.99, ph_tolerance=0).chance == 1.0
    assert the("ph-range", SORBATE, ph=6.01, ph_tolerance=0).chance == 0.0


def test_repeats_exactly():
    """The same formula gives the same chances, to the last digit."""
    first, second = (
        [f.chance for f in run_check("free-active", {"items": {"Sodium Benzoate": 0.18}}, ph=4.8)]
        for _ in range(2)
    )
    assert first == second
    assert any(0 < c < 1 for c in first)


def test_another_seed_draws_otherwise():
    """The draws hang on the seed and on nothing else."""
    case = case_of(make_formula(**SORBATE, ph=6.0))
    one, same, other = (drawn(case, seed=s).ph for s in (1, 1, 2))
    np.testing.assert_array_equal(one, same)
    assert not np.array_equal(one, other)


def test_spread_of_the_draws():
    """Mean pH, and a standard deviation of tolerance / 1.96, within four standard errors."""
    ph = drawn(case_of(make_formula(**SORBATE, ph=5.0, ph_tolerance=0.4))).ph
    sd = 0.4 / 1.96
    assert ph.size == DRAWS >= 1000
    assert ph.mean() == pytest.approx(5.0, abs=4 * sd / math.sqrt(DRAWS))
    assert ph.std() == pytest.approx(sd, rel=4 / math.sqrt(2 * DRAWS))


def test_readings_stay_possible():
    """No draw leaves pH 0 to 14 or a water activity of 1."""
    cloud = drawn(
        case_of(
            make_formula(
                **SORBATE,
                ph=0.5,
                ph_tolerance=3,
                water_activity=0.999,
                water_activity_tolerance=0.2,
            )
        )
    )
    assert cloud.ph.min() == 0
    assert cloud.aw_measured.max() == 1
    assert cloud.aw_measured.min() > 0


@pytest.mark.parametrize("check", [c.id for c in CHECKS if not c.tolerances])
def test_checks_without_tolerance(check):
    """A check that no reading can change states no chance."""
    case = case_of(make_formula(**SORBATE, ph=5, batch="500 g", scale_step="0.1 g"))
    assert chances(BY_ID[check], drawn(case)) is None
    assert {
        f.chance for f in run_check(check, SORBATE, ph=5, batch="500 g", scale_step="0.1 g")
    } == {None}


def test_checks_with_tolerance():
    """The contract wants a chance wherever a reading's tolerance matters."""
    assert {c.id for c in CHECKS if c.tolerances} == {
        "water-activity",
        "ph-range",
        "free-active",
        "solubility",
        "heat-limit",
        "incompatibilities",
        "nutrient-load",
        "product-ph",
    }


def test_unknown_has_no_chance():
    """What cannot be judged has no chance."""
    assert the("ph-range", SORBATE).chance is None
