"""Customary figures of the trade: common practice, no source, unless a docstring names one.

They hold the program to what makers do at the bench; where it differs there has to be a reason.
"""

import pytest

from preservecheck.reference.load import load_tables
from preservecheck.units import temperature_c
from tests.helpers import make_formula, outcome, run_check, the

TABLES = load_tables()
WATER = {"ingredient": "Water", "rest": True}
# what is heat-proof and customarily melts or dissolves warm: parabens, chlorphenesin, glycols,
# quats, anisic acid
WARM = {
    "1-2-hexanediol-caprylyl-glycol",
    "benzalkonium-chloride",
    "cetrimonium-chloride",
    "chlorphenesin-phenoxyethanol",
    "glyceryl-caprylate-glyceryl-undecylenate",
    "imidazolidinyl-urea-methylparaben-propylparaben",
    "low-water-activity-high-glycol",
    "methylparaben-propylparaben-in-phenoxyethanol",
    "p-anisic-acid",
    "pentylene-glycol",
    "caprylhydroxamic-acid-caprylyl-glycol-glycerin",
    "polyaminopropyl-biguanide",
    "propylene-glycol-diazolidinyl-urea-parabens",
    "ethanol-20-percent-or-more",
}
# salts of acids do not go off with steam: they may go into the heated water, as long as no acid is
# in it yet
SALTS = {
    "glycerin-water-sodium-levulinate-sodium-anisate",
    "potassium-sorbate",
    "sodium-benzoate",
    "sodium-benzoate-potassium-sorbate",
    "water-sodium-benzoate-potassium-sorbate",
    "water-sodium-levulinate-potassium-sorbate",
}


@pytest.mark.parametrize("system", sorted(SALTS))
def test_salts_have_no_cool_down_mark(system):
    """They stand 80 °C and have no temperature below which they do more good."""
    row = next(s for s in TABLES.systems if s.id == system)
    assert (row.preferred_add_below_c, row.heat_limit_c) == (None, 80)


@pytest.mark.parametrize("system", [s.id for s in TABLES.systems if s.id not in WARM | SALTS])
def test_cool_down_mark(system):
    """Preservatives go in when the batch has cooled to 40 to 45 °C (104 to 113 °F)."""
    row = next(s for s in TABLES.systems if s.id == system)
    assert 40 <= row.preferred_add_below_c <= 45


@pytest.mark.parametrize(
    "system",
    [
        s.id
        for s in TABLES.systems
        if s.add_phase == "cool-down" and s.id != "ethanol-20-percent-or-more"
    ],
)
def test_added_at_35_is_never_too_hot(system):
    """At 35 °C, the lower end of the cool-down, no preservative but alcohol is too hot."""
    found = run_check("heat-limit", {"systems": {system: 0.5}}, added_at="35 °C")
    assert {outcome(f) for f in found} == {"pass"}


@pytest.mark.parametrize("heat", ["70 °C", "75 °C", "165 °F"])
def test_hot_phase(heat):
    """Both phases are held at 70 to 75 °C ('about 165 °F'); what is put into them does not stay
    cool-down material."""
    items = [
        WATER,
        {"preservative": "benzyl-alcohol-dehydroacetic-acid", "percent": 0.8},
        {"preservative": "bronopol", "percent": 0.05},
    ]
    found = run_check(
        "heat-limit",
        {"phases": [{"name": "hot", "heated_to": heat, "held": "20 min", "items": items}]},
    )
    assert [outcome(f) for f in found] == ["serious", "serious"]


@pytest.mark.parametrize(
    "inci",
    [
        "Behentrimonium Methosulfate",
        "Behentrimonium Chloride",
        "Cetearyl Alcohol",
        "Cetyl Alcohol",
        "Stearyl Alcohol",
        "Glyceryl Stearate",
    ],
)
def test_waxes_bear_the_hot_phase(inci):
    """Quats and fatty alcohols that are melted at 70 to 75 °C bear 75 °C."""
    row = next(i for i in TABLES.ingredients if i.inci == inci)
    assert row.max_temp_c is None or row.max_temp_c >= 75


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    [(104, 40.0), (110, 43.3), (113, 45.0), (122, 50.0), (140, 60.0), (158, 70.0), (165, 73.9)],
)
def test_unit_trap(fahrenheit, celsius):
    """A hobby page pairs 50 °C with 140 °F and 45 °C with 122 °F; true are these, by arithmetic."""
    assert temperature_c(f"{fahrenheit} °F") == pytest.approx(celsius, abs=0.05)


def test_unit_trap_in_a_formula():
    """Who copies '140 °F' for 50 °C adds at 60 °C: within a limit of 50 °C that is serious and not
    a pass."""
    formula = {"systems": {"mci-mi": 0.05}}
    assert next(s for s in TABLES.systems if s.id == "mci-mi").heat_limit_c == 50
    assert outcome(the("heat-limit", formula, added_at="140 °F")) == "serious"
    assert outcome(the("heat-limit", formula, added_at="100 °F")) == "pass"


@pytest.mark.parametrize(
    ("type_", "use", "ph"),
    [
        ("shampoo", "rinse-off", 5.3),
        ("conditioner", "rinse-off", 4.3),
        ("leave-in", "leave-on", 4.8),
        ("styling", "leave-on", 5.0),
        ("scalp", "leave-on", 5.2),
        ("mask", "rinse-off", 4.3),
    ],
)
def test_customary_ph(type_, use, ph):
    """The middle of what is customary passes: shampoo 4.8 to 5.8, conditioner 3.8 to 4.8, leave-in
    4.2 to 5.5."""
    formula = make_formula({"Glycerin": 2}, use=use, type=type_, ph=ph)
    assert outcome(the("product-ph", formula)) == "pass"


@pytest.mark.parametrize(
    ("type_", "use", "ph"),
    [
        ("shampoo", "rinse-off", 7.5),
        ("conditioner", "rinse-off", 6.5),
        ("leave-in", "leave-on", 7.0),
    ],
)
def test_uncustomary_ph(type_, use, ph):
    """Hair products near or above neutral warn. A survey of 123 shampoos found 3.5 to 9.0, 38 % at
    or below 5.5

    (Gavazzoni Dias et al. 2014, read): so it is a warning and never a fault.
    """
    formula = make_formula({"Glycerin": 2}, use=use, type=type_, ph=ph)
    assert outcome(the("product-ph", formula)) == "warn"


def test_strips_want_half_a_unit():
    """With strips (± 0.5) a limit of 5.0 becomes 4.5: sodium benzoate at 4.4 passes, at 4.6 it does
    not."""
    formula = {"systems": {"sodium-benzoate": 0.4}}
    assert outcome(the("ph-range", formula, ph=4.4, ph_tolerance=0.5)) == "pass"
    assert outcome(the("ph-range", formula, ph=4.6, ph_tolerance=0.5)) == "warn"


def test_kitchen_scale():
    """0.5 g on a 0.1 g scale is off by 20 %, on a 0.01 g scale by 2 %: the smallest dose is about
    50 steps."""
    formula = {"systems": {"phenoxyethanol": 0.5}, "batch": "100 g"}
    coarse, fine = (the("weighing", formula, scale_step=step) for step in ("0.1 g", "0.01 g"))
    assert (outcome(coarse), coarse.value("error_percent")) == (
        "serious",
        pytest.approx(20),
    )
    assert (outcome(fine), fine.value("error_percent")) == ("pass", pytest.approx(2))


def test_isothiazolinone_on_a_kitchen_scale():
    """15 ppm of methylisothiazolinone in 100 g are 15.8 mg of a 9.5 % solution: not to be weighed
    on a 0.1 g scale."""
    found = the(
        "weighing",
        {"systems": {"methylisothiazolinone": 0.0158}, "batch": "100 g"},
        scale_step="0.1 g",
    )
    assert found.value("grams") == pytest.approx(0.0158)
    assert outcome(found) == "serious"


def test_carbomer_and_acid_preservatives_want_opposite_ph():
    """A carbomer gel wants pH 5.5 to 7, benzoate at most 5: no pH suits both."""
    formula = {
        "items": {"Sodium Carbomer": 0.5},
        "systems": {"sodium-benzoate": 0.4},
        "use": "leave-on",
        "type": "styling",
    }
    for ph in (4.5, 5.0, 5.5, 6.0, 6.5):
        found = {
            outcome(f)
            for check in ("ph-range", "product-ph")
            for f in run_check(check, formula, ph=ph)
        }
        assert found & {"warn", "serious"}, ph
