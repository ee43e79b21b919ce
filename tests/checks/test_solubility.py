"""Check solubility: does the preservative stay dissolved?"""

import pytest

from preservecheck.reference.load import load_tables
from tests.helpers import (
    about,
    four_sigma,
    make_formula,
    outcome,
    run_check,
    same_alone_and_together,
    the,
    value,
)

ID = "solubility"
ACID = "Benzoic Acid"
SOLUBILITY = {a.inci: a.water_solubility_g_l for a in load_tables().actives}


@pytest.mark.parametrize(
    ("percent", "expected"),
    [(1.0, "pass"), (2.49, "pass"), (2.51, "warn"), (2.87, "warn"), (2.88, "serious")],
)
def test_lines(percent, expected):
    """Phenoxyethanol, 25 g/L, read, so good to a factor 1.15: over it only warns up to
    28.75 g/L."""
    assert SOLUBILITY["Phenoxyethanol"] == 25
    found = the(ID, {"items": {"Phenoxyethanol": percent}}, ph=5)
    assert value(found, "dissolved_g_l") == pytest.approx(10 * percent, rel=1e-6)
    assert (value(found, "solubility_g_l"), outcome(found), found.about) == (
        25,
        expected,
        "Phenoxyethanol",
    )


@pytest.mark.parametrize(
    ("percent", "expected"), [(0.599, "pass"), (0.601, "warn"), (0.899, "warn"), (0.901, "serious")]
)
def test_recalled_solubility(percent, expected):
    """Chlorphenesin, 6 g/L, recalled, so good to a factor 1.5: over it only warns up to 9
    g/L."""
    assert SOLUBILITY["Chlorphenesin"] == 6
    assert outcome(the(ID, {"items": {"Chlorphenesin": percent}}, ph=5)) == expected


@pytest.mark.parametrize(("percent", "expected"), [(0.6, "pass"), (1.0, "warn"), (3.0, "warn")])
def test_booster_disperses(percent, expected):
    """Caprylyl glycol, 7.5 g/L, disperses rather than crystallises: over it only warns."""
    assert SOLUBILITY["Caprylyl Glycol"] == 7.5
    assert outcome(the(ID, {"items": {"Caprylyl Glycol": percent}}, ph=5)) == expected


@pytest.mark.parametrize(("ph", "expected"), [(3.0, "serious"), (4.0, "warn"), (4.8, "pass")])
def test_acid_by_ph(ph, expected):
    """Benzoic acid 0.5 % by pH, pKa 4.202, no other ions: 5 g/L x f against 2.9 g/L.

    pH 3: f = 0.941, 4.70 g/L; pH 4: f = 0.614, 3.07 g/L; pH 4.8: f = 0.2015, 1.01 g/L.
    """
    assert SOLUBILITY["Benzoic Acid"] == 2.9
    found = the(ID, {"items": {"Benzoic Acid": 0.5}}, ph=ph)
    assert value(found, "dissolved_g_l") == pytest.approx(5 / (1 + 10 ** (ph - 4.202)), rel=2e-3)
    assert outcome(found) == expected


class TestCosolvents:
    """Ethanol, glycols and glycerin raise it: log10 by sigma f, f their share of the water phase."""

    @pytest.mark.parametrize(
        ("solvent", "percent", "expected"),
        [
            # f = 10/1.03/100 = 0.0971; log P of benzoic acid 1.88: sigma 0.78 x 1.88 + 0.37 = 1.836
            ("Propylene Glycol", 10, 2.9 * 10 ** (1.8364 * 0.0971)),
            # f = 10/0.79/100 = 0.1266; sigma 0.95 x 1.88 + 0.30 = 2.086
            ("Alcohol", 10, 2.9 * 10 ** (2.086 * 0.1266)),
            # f = 10/1.26/100 = 0.0794; sigma 0.35 x 1.88 + 0.28 = 0.938
            ("Glycerin", 10, 2.9 * 10 ** (0.938 * 0.0794)),
            # 50 % of glycol is more than the relation was made for: f is taken as 0.3
            ("Propylene Glycol", 50, 2.9 * 10 ** (1.8364 * 0.3)),
        ],
    )
    def test_by_hand(self, solvent, percent, expected):
        """Benzoic acid, 2.9 g/L in water."""
        assert {a.inci: a.log_p for a in load_tables().actives}["Benzoic Acid"] == 1.88
        found = about(run_check(ID, {"items": {"Benzoic Acid": 0.1, solvent: percent}}, ph=4), ACID)
        assert value(found, "solubility_g_l") == pytest.approx(expected, rel=2e-3)

    def test_error_widens(self):
        """Half-width with 10 % of propylene glycol: 1.15 x 10^(0.14 x 0.0971) - 1 = 0.1866 of it."""
        items = {"Benzoic Acid": 0.1, "Propylene Glycol": 10}
        figure = about(run_check(ID, {"items": items}, ph=4), ACID).figure("solubility_g_l")
        assert figure.tolerance / figure.value == pytest.approx(0.1866, rel=2e-3)


class TestDissolvedByOthers:
    """Up to 1.2 times the solubility in water is no finding where something else dissolves it."""

    @pytest.mark.parametrize(
        ("others", "expected"),
        [
            ({}, "warn"),
            ({"Behentrimonium Methosulfate": 0.29}, "warn"),
            ({"Behentrimonium Methosulfate": 0.3}, "pass"),
            ({"Benzyl Alcohol": 0.6}, "warn"),
            ({"Benzyl Alcohol": 0.7}, "pass"),
        ],
    )
    def test_dehydroacetic_acid(self, others, expected):
        """0.066 % at pH 3 is 0.66 g/L of 0.6 g/L in water; ten times its weight is 0.66 %."""
        assert SOLUBILITY["Dehydroacetic Acid"] == 0.6
        items = {"Dehydroacetic Acid": 0.066} | others
        found = about(run_check(ID, {"items": items}, ph=3), "Dehydroacetic Acid")
        assert outcome(found) == expected


def test_salt_counts_as_its_acid():
    """Sodium benzoate 0.6 % at pH 3 holds 0.5085 % of acid: over, though the salt itself dissolves
    freely."""
    found = the(ID, {"items": {"Sodium Benzoate": 0.6}}, ph=3)
    assert (found.about, outcome(found)) == ("Benzoic Acid", "serious")


def test_oil_takes_some():
    """What the oil takes up does not have to dissolve in the water: 1 % over a 70 % water phase
    with 30 % oil."""
    plain, with_oil = (
        value(the(ID, {"items": {"Phenoxyethanol": 1} | oil}, ph=5), "dissolved_g_l")
        for oil in ({}, {"Sunflower oil": 30})
    )
    # K 2.6, phi = 30/0.92/70 = 0.4658: 100/70 x 10 / (1 + 1.211) = 6.461 g/L
    assert (plain, with_oil) == (pytest.approx(10), pytest.approx(6.461, rel=1e-3))


def test_miscible():
    """What mixes with water passes, with no figure to compare."""
    found = about(run_check(ID, {"systems": {"dmdm-hydantoin": 0.5}}), "DMDM Hydantoin")
    assert (outcome(found), found.value("solubility_g_l")) == ("pass", None)


def test_unknown_solubility():
    """An active whose solubility is not in the tables is unknown."""
    assert SOLUBILITY["o-Cymen-5-ol"] is None
    assert outcome(the(ID, {"items": {"o-Cymen-5-ol": 0.1}}, ph=5)) == "unknown"


def test_unknown_ph():
    """Without a pH an acid is unknown, a neutral molecule is not."""
    found = run_check(ID, {"items": {"Benzoic Acid": 0.2, "Phenoxyethanol": 0.8}})
    assert outcome(about(found, "Benzoic Acid")) == "unknown"
    assert outcome(about(found, "Phenoxyethanol")) == "pass"


def test_chance():
    """At the pH where 5 g/L x f is 2.9 g/L half of the draws pass.

    f = 0.58: pH = 4.202 + log10(0.42/0.58) = 4.0618.
    """
    assert the(ID, {"items": {"Benzoic Acid": 0.5}}, ph=4.0618).chance == pytest.approx(
        0.5, abs=four_sigma(0.5)
    )


def test_batch():
    """A batch reads like its formulas one by one."""
    same_alone_and_together(
        ID,
        make_formula({"Benzoic Acid": 0.4, "Phenoxyethanol": 2.4}, ph=3.5),
        make_formula({"o-Cymen-5-ol": 0.1}, {"dmdm-hydantoin": 0.4}),
        make_formula({"Glycerin": 3}),
    )
