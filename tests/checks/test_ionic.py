"""Check ionic: do the charges in the formula let the preservative be?"""

import pytest

from preservecheck.reference.load import load_tables
from tests.helpers import (
    about,
    make_formula,
    outcome,
    run_check,
    same_alone_and_together,
    the,
    value,
)

ID = "ionic"
QUAT = {"systems": {"benzalkonium-chloride": 0.2}}


def test_rows_behind_the_verdicts_below():
    """What the rows say about the classes used below."""
    rows = {s.id: s for s in load_tables().systems}
    quat, benzoate, plain = (
        rows["benzalkonium-chloride"],
        rows["sodium-benzoate"],
        rows["phenoxyethanol"],
    )
    assert (quat.with_anionic_surfactant.word, quat.with_nonionic_ethoxylates.word) == (
        "avoid",
        "caution",
    )
    assert (quat.with_proteins.word, quat.with_electrolytes.word) == ("caution", "caution")
    assert (benzoate.with_cationic_surfactant.word, plain.with_cationic_surfactant.word) == (
        "caution",
        "ok",
    )


@pytest.mark.parametrize(
    ("items", "expected"),
    [
        ({"Glycerin": 3}, "pass"),
        ({"Behentrimonium Methosulfate": 2}, "pass"),
        ({"Behentrimonium Methosulfate": 2, "Sodium Laureth Sulfate": 0.099}, "pass"),
        ({"Behentrimonium Methosulfate": 2, "Sodium Laureth Sulfate": 0.1}, "serious"),
        ({"Polysorbate 20": 2.99}, "pass"),
        ({"Polysorbate 20": 3.0}, "warn"),
        ({"Hydrolyzed Wheat Protein": 0.499}, "pass"),
        ({"Hydrolyzed Wheat Protein": 0.5}, "warn"),
        ({"Sodium Chloride": 0.29}, "pass"),
        ({"Sodium Chloride": 0.3}, "warn"),
        ({"Sodium Chloride": 0.3, "Sodium Laureth Sulfate": 5}, "serious"),
    ],
)
def test_classes_of_a_cationic_preservative(items, expected):
    """Benzalkonium: avoid with anionic surfactant from 0.1 %, care with ethoxylates 3 %, protein
    0.5 %, salts 0.3 %.

    2 % of a quat beside it (41.7 meq/kg) keeps 0.1 % of laureth sulfate (2.4 meq/kg) from pairing
    off a tenth of it.
    """
    assert outcome(the(ID, QUAT | {"items": items})) == expected


@pytest.mark.parametrize(("percent", "expected"), [(0.05, "pass"), (0.2, "warn")])
def test_few_anions_among_many_cations(percent, expected):
    """2 % behentrimonium methosulfate (41.7 meq/kg) beside benzoate at pH 5, where 1 - f = 0.863
    and more of it is anion: 0.05 % is 10 x 0.05 / 144.1 x 1000 x 0.863 = 3.0 meq/kg, less than a
    quarter of the cations; 0.2 % is 12 meq/kg, more."""
    formula = {
        "items": {"Behentrimonium Methosulfate": 2},
        "systems": {"sodium-benzoate": percent},
    }
    found = the(ID, formula, ph=5)
    assert value(found, "cationic_meq_kg") == pytest.approx(41.7, abs=0.1)
    assert outcome(found) == expected


@pytest.mark.parametrize(
    ("percent", "share", "expected"),
    [
        (0.0116, 0.901, "pass"),
        (0.0118, 0.899, "warn"),
        (0.058, 0.503, "warn"),
        (0.059, 0.494, "serious"),
    ],
)
def test_what_is_paired_off(percent, share, expected):
    """Cationic preservative against anionic charge, 2.778 against 23.81 meq/kg for each per cent of
    laureth sulfate.

    More than a tenth paired off warns, more than half is serious, also where no class of the row is
    reached.
    """
    found = the(ID, QUAT | {"items": {"Sodium Laureth Sulfate": percent}})
    assert value(found, "unpaired_share") == pytest.approx(share, abs=0.001)
    assert outcome(found) == expected


def test_anionic_gum_pairs_off_too():
    """Xanthan gum 0.2 % carries 3.4 meq/kg, more than the 2.778 of the preservative: nothing is
    left."""
    found = the(ID, QUAT | {"items": {"Xanthan Gum": 0.2}})
    assert (value(found, "unpaired_share"), outcome(found)) == (0, "serious")
    assert "nonionic gum" in (found.do or "")


def test_anionic_charge_does_not_touch_a_neutral_system():
    """Phenoxyethanol carries no charge: 5 % of laureth sulfate leave it be."""
    found = the(ID, {"items": {"Sodium Laureth Sulfate": 5}, "systems": {"phenoxyethanol": 0.8}})
    assert (value(found, "unpaired_share"), outcome(found)) == (1, "pass")


@pytest.mark.parametrize(("percent", "expected"), [(0.099, "pass"), (0.1, "warn")])
def test_weak_acid_with_a_quat(percent, expected):
    """Sodium benzoate wants care with a cationic surfactant from 0.1 % on."""
    found = the(
        ID,
        {"items": {"Behentrimonium Methosulfate": percent}, "systems": {"sodium-benzoate": 0.4}},
        ph=4.5,
    )
    assert outcome(found) == expected


def test_cationic_polymer_counts_as_cationic():
    """A cationic polymer is of the same class as a cationic surfactant."""
    found = the(
        ID, {"items": {"Polyquaternium-10": 0.2}, "systems": {"sodium-benzoate": 0.4}}, ph=4.5
    )
    assert outcome(found) == "warn"


class TestCharges:
    """Charges in meq/kg: percent x 10 x 1000 / (g/mol), or percent x 10 x meq/g for polymers."""

    def test_by_hand(self):
        """BTMS 2 % of 479.8 g/mol: 41.68; laureth sulfate 0.5 % of 420: 11.905; benzalkonium 0.1 %
        of 360: 2.778."""
        found = the(
            ID,
            QUAT | {"items": {"Behentrimonium Methosulfate": 2, "Sodium Laureth Sulfate": 0.5}},
            ph=5,
        )
        assert value(found, "preservative_meq_kg") == pytest.approx(2.778, abs=0.001)
        assert value(found, "cationic_meq_kg") == pytest.approx(41.684, abs=0.001)
        assert value(found, "anionic_meq_kg") == pytest.approx(11.905, abs=0.001)
        assert found.figure("anionic_meq_kg").unit == "meq/kg"

    def test_polymer_by_its_density(self):
        """Xanthan gum 0.5 % at 1.7 meq/g: 8.5 meq/kg."""
        row = next(i for i in load_tables().ingredients if i.inci == "Xanthan Gum")
        assert row.charge_meq_g == -1.7
        found = the(ID, {"items": {"Xanthan Gum": 0.5}, "systems": {"phenoxyethanol": 0.8}})
        assert value(found, "anionic_meq_kg") == pytest.approx(8.5)

    def test_simple_salts_do_not_pair(self):
        """Sodium chloride adds to neither side."""
        found = the(ID, {"items": {"Sodium Chloride": 2}, "systems": {"phenoxyethanol": 0.8}})
        assert [value(found, f"{n}_meq_kg") for n in ("preservative", "cationic", "anionic")] == [
            0,
            0,
            0,
        ]

    def test_weak_acid_by_its_dissociated_share(self):
        """Sodium benzoate 0.5 % at pH 4.8: 34.70 meq/kg of benzoic acid times 1 - f = 0.827 is
        28.7, negative.

        I from 0.0349 mol/L of the salt: log10 gamma -0.075, pKa' 4.127, f = 1/(1 + 10^0.673) =
        0.1751.
        """
        found = the(ID, {"items": {"Glycerin": 3}, "systems": {"sodium-benzoate": 0.5}}, ph=4.8)
        assert value(found, "preservative_meq_kg") == pytest.approx(-34.70 * (1 - 0.1751), rel=3e-3)

    def test_without_a_ph(self):
        """Without a pH the charge of a weak acid is not known; the verdict by classes stands all
        the same."""
        found = the(
            ID, {"items": {"Behentrimonium Methosulfate": 2}, "systems": {"sodium-benzoate": 0.5}}
        )
        assert (found.value("preservative_meq_kg"), outcome(found)) == (None, "warn")


def test_unknown():
    """A recognised active without a row says nothing about quats; where no charge is there, nothing
    is asked."""
    assert (
        outcome(the(ID, {"items": {"Behentrimonium Methosulfate": 2, "o-Cymen-5-ol": 0.1}}))
        == "unknown"
    )
    assert outcome(the(ID, {"items": {"Glycerin": 2, "o-Cymen-5-ol": 0.1}})) == "pass"


def test_each_system():
    """Two systems, two verdicts."""
    systems = {"phenoxyethanol": 0.8} | QUAT["systems"]
    found = run_check(ID, {"items": {"Sodium Laureth Sulfate": 5}, "systems": systems})
    assert outcome(about(found, "phenoxyethanol")) == "pass"
    assert outcome(about(found, "benzalkonium-chloride")) == "serious"


def test_reason_from_the_row():
    """The row's own words say why, and the remedy says what to replace."""
    found = the(ID, QUAT | {"items": {"Sodium Laureth Sulfate": 5}})
    assert "ion pairs" in found.because
    assert "anionic surfactant" in (found.do or "")


def test_batch():
    """A batch reads like its formulas one by one."""
    same_alone_and_together(
        ID,
        make_formula(
            {"Behentrimonium Methosulfate": 2, "Sodium Chloride": 0.5},
            {"sodium-benzoate": 0.5, "bronopol": 0.05},
            ph=4.8,
        ),
        make_formula(
            {"Sodium Laureth Sulfate": 5, "o-Cymen-5-ol": 0.1}, {"benzalkonium-chloride": 0.2}
        ),
        make_formula({"Glycerin": 3}),
    )
