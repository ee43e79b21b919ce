"""Check incompatibilities: do two things in it disable each other, spoil the product or make something
harmful?"""

import pytest

from preservecheck.assess.findings import findings_of
from preservecheck.reference.load import load_tables
from tests.helpers import (
    about,
    case_of,
    every_row,
    make_formula,
    outcome,
    run_check,
    same_alone_and_together,
    value,
)

ID = "incompatibilities"
ROWS = {r.id: r for r in load_tables().incompatibilities}
BENZOATE = {"sodium-benzoate": 0.4}
BRONOPOL = "2-Bromo-2-Nitropropane-1,3-Diol"
TOO_LITTLE = "too little works at this pH"


def one(formula, subject, **changes):
    """Outcome about a subject; ``None`` where nothing is said about it."""
    found = [f for f in run_check(ID, formula, **changes) if f.about == subject]
    assert len(found) <= 1
    return outcome(found[0]) if found else None


@pytest.mark.parametrize(
    ("percent", "expected"), [(0.0009, None), (0.0011, "serious"), (0.5, "serious")]
)
def test_two_substances(percent, expected):
    """Benzoate with ascorbic acid can form benzene: serious, from a trace of 0.001 % on."""
    assert ROWS["sodium-benzoate-ascorbic-acid"].severity == "serious"
    found = one(
        {"items": {"Ascorbic Acid": percent}, "systems": BENZOATE},
        "Sodium Benzoate × Ascorbic Acid",
        ph=4,
    )
    assert found == expected


@pytest.mark.parametrize(
    ("anionic", "expected"),
    [(0.49, None), (0.5, "warn"), (3.9, "warn"), (8.0, "warn"), (8.1, None)],
)
def test_amounts_of_the_row(anionic, expected):
    """Cationic polymer with 0.5 to 8 % of anionic surfactant: a caution; above 8 % the shampoo is
    built that way."""
    row = ROWS["cationic-polymer-anionic-surfactant"]
    assert (row.second_min_percent, row.second_max_percent, row.severity) == (0.5, 8, "caution")
    formula = {"items": {"Polyquaternium-10": 0.3, "Sodium Laureth Sulfate": anionic}}
    assert one(formula, "Polyquaternium-10 × Sodium Laureth Sulfate", ph=5) == expected


@pytest.mark.parametrize(
    ("ph", "expected"),
    [
        (6.89, None),
        (6.91, "warn"),
        (7.09, "warn"),
        (7.11, "serious"),
        (9, "serious"),
        (None, "unknown"),
    ],
)
def test_ph_of_the_row(ph, expected):
    """Bronopol from pH 7 up is serious; within ± 0.1 of it only a warning; without a pH unknown."""
    row = ROWS["bronopol-ph-above-7"]
    assert (row.ph_from, row.ph_to, row.severity) == (7, None, "serious")
    assert one({"systems": {"bronopol": 0.05}}, BRONOPOL, ph=ph) == expected


@pytest.mark.parametrize(("percent", "expected"), [(0.199, None), (0.2, "warn")])
def test_amount_of_the_first_side(percent, expected):
    """Below 0.2 % of benzoate the row on its pKa does not speak."""
    assert ROWS["benzoic-acid-ph-above-pka"].first_min_percent == 0.2
    formula = {"systems": {"sodium-benzoate": percent}}
    assert one(formula, f"Sodium Benzoate × {TOO_LITTLE}", ph=6) == expected


class TestAboveThePka:
    """An acid one unit above its pKa is a caution with the pH as its root, and nothing where enough
    of something else works."""

    def test_root(self):
        """Benzoate alone at pH 6, range up to 5: ph-range is the root."""
        formula = make_formula({}, BENZOATE, ph=6)
        found = [f.finding for f in findings_of(case_of(formula)) if f.finding.id == ID]
        row = about(found, f"Sodium Benzoate × {TOO_LITTLE}")
        assert (outcome(row), row.root) == ("warn", ("ph-range", "sodium-benzoate"))

    def test_another_active_works(self):
        """Phenoxyethanol with a little benzoic and dehydroacetic acid at pH 5.6 holds every microbe
        inside its range: nothing to say of the benzoic acid."""
        formula = {"systems": {"phenoxyethanol-benzoic-dehydroacetic": 1}}
        subjects = [f.about for f in run_check(ID, formula, ph=5.6)]
        assert not [a for a in subjects if TOO_LITTLE in a]


@pytest.mark.parametrize(
    ("ph", "expected"), [(4.8, "serious"), (4.91, "warn"), (5.09, "warn"), (5.11, None)]
)
def test_row_that_holds_below_a_ph(ph, expected):
    """Carbomer collapses at pH 5 and below."""
    assert ROWS["acrylate-gels-ph-below-5"].ph_to == 5
    assert one({"items": {"Carbomer": 0.5}}, "Carbomer", ph=ph) == expected


@pytest.mark.parametrize(
    ("others", "expected"),
    [({}, "serious"), ({"Carbomer": 0.3}, None), ({"Glycerin": 5}, "serious")],
)
def test_row_that_holds_only_without(others, expected):
    """Stearic acid with a base is a soap that breaks in acid; beside carbomer the base is the
    gel's, and stearic acid a wax."""
    row = ROWS["stearate-made-in-the-pot-ph-below-7"]
    assert (row.ph_to, row.severity) == (6.5, "serious")
    assert "inci:Carbomer" in row.without
    items = {"Stearic Acid": 3, "Triethanolamine": 0.8} | others
    assert one({"items": items}, "Stearic Acid × Triethanolamine", ph=5.8) == expected


@pytest.mark.parametrize(
    ("added_at", "expected"),
    [
        ("37.9 °C", None),
        ("38.1 °C", "warn"),
        ("42 °C", "warn"),
        ("42.1 °C", "serious"),
        (None, None),
    ],
)
def test_heat_of_the_row(added_at, expected):
    """Bronopol above 40 °C: ± 2 °C for the thermometer warns, beyond is serious; where nothing is
    heated it is none of it."""
    assert ROWS["bronopol-heat-above-40"].heat_above_c == 40
    found = [
        outcome(f)
        for f in every_row(ID, make_formula({}, {"bronopol": 0.05}, added_at=added_at, ph=5))
        if f.figure("heat_above_c") is not None and value(f, "heat_above_c") == 40
    ]
    assert found == ([expected] if expected else [])


def test_heat_has_its_root():
    """What the heat does to bronopol comes down to the finding on its addition."""
    formula = make_formula({}, {"bronopol": 0.05}, added_at="60 °C", ph=5)
    found = [f.finding for f in findings_of(case_of(formula)) if f.finding.id == ID]
    assert about(found, BRONOPOL).root == ("heat-limit", "bronopol")


def test_heat_of_another_system_does_not_count():
    """The heat that matters is that of the substance's own addition."""
    water = {"ingredient": "Water", "rest": True}
    hot = [water, {"preservative": "phenoxyethanol", "percent": 0.5}]
    phases = [
        {"name": "hot", "heated_to": "75 °C", "items": hot},
        {
            "name": "cool",
            "added_at": "30 °C",
            "items": [{"preservative": "bronopol", "percent": 0.05}],
        },
    ]
    assert one({"phases": phases}, "2-Bromo-2-Nitropropane-1,3-Diol", ph=5) is None


def test_benefit():
    """A chelator beside a preservative helps: shown as a pass, without a remedy."""
    found = about(
        run_check(ID, {"items": {"Disodium EDTA": 0.1}, "systems": BENZOATE}, ph=4.5),
        "Disodium EDTA × Sodium Benzoate",
    )
    assert (outcome(found), found.do) == ("pass", None)
    assert "this helps" in found.because


class TestConditions:
    """States of the formula that a row names in words."""

    @pytest.mark.parametrize(
        ("quat", "oil", "expected"),
        [(0.3, 1.0, "warn"), (0.29, 1.0, None), (0.3, 0.69, None), (0.3, 0.71, "warn")],
    )
    def test_cationic_emulsion(self, quat, oil, expected):
        """0.3 % of a quat in 1 % of oil phase; BTMS is a wax and part of the oil phase itself."""
        formula = {
            "items": {"Behentrimonium Methosulfate": quat, "Squalane": oil},
            "systems": BENZOATE,
        }
        assert one(formula, "Sodium Benzoate × cationic emulsion", ph=4) == expected

    @pytest.mark.parametrize(("oil", "expected"), [(20, None), (20.1, "warn")])
    def test_rich_in_oil(self, oil, expected):
        """Benzyl alcohol in more than 20 % of liquid oil; solid wax is none."""
        formula = {
            "items": {"Squalane": oil, "Cetearyl Alcohol": 5},
            "systems": {"benzyl-alcohol-dehydroacetic-acid": 0.8},
        }
        assert one(formula, "Benzyl Alcohol × liquid oils above 20 %", ph=5) == expected

    @pytest.mark.parametrize(
        ("items", "expected"),
        [
            ({"Sunflower oil": 1}, "warn"),
            ({"Sunflower oil": 0.99}, None),
            ({"Squalane": 5}, None),
            ({"Sunflower oil": 5, "Tocopherol": 0.1}, None),
        ],
    )
    def test_unguarded_oil(self, items, expected):
        """1 % of an oil that goes rancid, and no antioxidant."""
        formula = {"items": items, "systems": {"phenoxyethanol": 0.8}}
        assert (
            one(formula, "Phenoxyethanol × unsaturated oil without antioxidant", ph=5) == expected
        )

    @pytest.mark.parametrize(
        ("heated", "other", "expected"),
        [("75 °C", "Squalane", "warn"), (None, "Squalane", None), ("75 °C", "Glycerin", None)],
    )
    def test_melted_into_the_oil(self, heated, other, expected):
        """Caprylyl glycol in a phase that is heated together with oil."""
        items = [
            {"ingredient": "Water", "rest": True},
            {"ingredient": other, "percent": 3},
            {"ingredient": "Caprylyl Glycol", "percent": 0.5},
        ]
        phase = {"name": "a", "items": items} | ({"heated_to": heated} if heated else {})
        assert (
            one({"phases": [phase]}, "Caprylyl Glycol × melted into the oil phase", ph=5)
            == expected
        )


def test_advice_rows_are_no_findings():
    """What the tool cannot see (light, copper, plastic) is a caution and not a finding."""
    assert ROWS["sorbate-air-light"].severity == "advice"
    found = run_check(ID, {"systems": {"potassium-sorbate": 0.3}}, ph=4.5)
    assert found == []


def test_figures():
    """Both amounts are figures, and the readings where they decide."""
    found = about(
        run_check(ID, {"items": {"Ascorbic Acid": 0.5}, "systems": BENZOATE}, ph=4),
        "Sodium Benzoate × Ascorbic Acid",
    )
    assert (value(found, "first_percent"), value(found, "second_percent")) == (0.4, 0.5)
    by_ph = about(run_check(ID, {"systems": BENZOATE}, ph=6), f"Sodium Benzoate × {TOO_LITTLE}")
    assert (value(by_ph, "ph"), value(by_ph, "ph_from"), by_ph.value("ph_to")) == (
        6,
        5.2,
        None,
    )


def test_batch():
    """A batch reads like its formulas one by one."""
    same_alone_and_together(
        ID,
        make_formula(
            {"Ascorbic Acid": 0.5, "Sunflower oil": 3, "Behentrimonium Methosulfate": 1},
            BENZOATE,
            ph=5.25,
        ),
        make_formula(
            {"Polyquaternium-10": 0.3, "Sodium Laureth Sulfate": 4},
            {"bronopol": 0.05},
            added_at="41 °C",
        ),
        make_formula({"Glycerin": 3}),
    )
