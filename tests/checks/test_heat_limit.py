"""Check heat-limit: does the preservative go in below its heat limit, and stay below it?"""

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

ID = "heat-limit"
WATER = {"ingredient": "Water", "rest": True}
ACID = {"systems": {"benzyl-alcohol-dehydroacetic-acid": 0.8}}
DUAL = "imidazolidinyl-urea-methylparaben-propylparaben"


def phases(*kinds):
    """Phases from (fields, items)."""
    return {
        "phases": [
            {"name": f"phase {i}", **fields, "items": items}
            for i, (fields, items) in enumerate(kinds)
        ]
    }


def test_rows_behind_the_numbers_below():
    """The limits that the tests below rest on."""
    rows = {s.id: s for s in load_tables().systems}
    acid, plain = rows["benzyl-alcohol-dehydroacetic-acid"], rows["phenoxyethanol"]
    assert (acid.heat_limit_c, acid.preferred_add_below_c) == (40, 40)
    assert (plain.heat_limit_c, plain.preferred_add_below_c) == (85, 45)
    assert [(p.heat_limit_c, p.preferred_add_below_c) for p in rows[DUAL].parts] == [
        (40, 40),
        (80, 70),
    ]


@pytest.mark.parametrize(
    ("added_at", "expected"),
    [
        ("25 °C", "pass"),
        ("38 °C", "pass"),
        ("38.1 °C", "warn"),
        ("40 °C", "warn"),
        ("42 °C", "warn"),
        ("42.1 °C", "serious"),
        ("75 °C", "serious"),
        ("100 °F", "pass"),
        ("120 °F", "serious"),
    ],
)
def test_limit_with_the_thermometer(added_at, expected):
    """Against 40 °C: up to 38 passes, 40 ± 2 is too close to call, from 42 on it is above even at
    the best reading.

    100 °F are 37.8 °C, 120 °F are 48.9 °C.
    """
    assert outcome(the(ID, ACID, added_at=added_at)) == expected


@pytest.mark.parametrize(
    ("added_at", "expected"), [("45 °C", "pass"), ("45.1 °C", "warn"), ("75 °C", "warn")]
)
def test_where_it_does_most_good(added_at, expected):
    """Above 45 °C by the reading phenoxyethanol only warns: its limit of 85 °C is far off."""
    assert outcome(the(ID, {"systems": {"phenoxyethanol": 0.8}}, added_at=added_at)) == expected


def test_figures():
    """Other programs read temperature_c and limit_c."""
    found = the(ID, ACID, added_at="35 °C")
    assert [value(found, n) for n in ("temperature_c", "limit_c")] == [35, 40]
    assert found.figure("temperature_c").tolerance == 2
    assert found.about == "benzyl-alcohol-dehydroacetic-acid"


def test_no_temperature():
    """A cool-down phase without a temperature is unknown, and asks for a reading, where another
    phase is hot."""
    line = [{"preservative": "benzyl-alcohol-dehydroacetic-acid", "percent": 0.8}]
    found = the(ID, phases(({"heated_to": "75 °C"}, [WATER]), ({}, line)))
    assert (outcome(found), found.chance) == ("unknown", None)
    assert "added_at" in (found.do or "")


def test_nothing_is_heated():
    """A file that names no temperature is a cold process: room temperature, 25 °C."""
    found = the(ID, ACID, added_at=None)
    assert (value(found, "temperature_c"), outcome(found)) == (25, "pass")
    assert "Nothing is heated" in found.because


@pytest.mark.parametrize(("first", "expected"), [("30 °C", "pass"), ("31 °C", "unknown")])
def test_cold_process(first, expected):
    """Up to 30 °C is still cold; a warmer phase leaves the temperature of the others open."""
    line = [{"preservative": "benzyl-alcohol-dehydroacetic-acid", "percent": 0.8}]
    found = the(ID, phases(({"added_at": first}, [WATER]), ({}, line)))
    assert outcome(found) == expected


@pytest.mark.parametrize(
    "system", ["sodium-benzoate", "potassium-sorbate", "sodium-benzoate-potassium-sorbate"]
)
def test_salts_stand_the_heated_phase(system):
    """Salts of acids do not go off with steam: 70 °C against their limit of 80 °C says nothing,
    alone or together."""
    rows = {s.id: s for s in load_tables().systems}
    assert (rows[system].heat_limit_c, rows[system].preferred_add_below_c) == (80, None)
    assert outcome(the(ID, {"systems": {system: 0.5}}, added_at="70 °C")) == "pass"


def test_sisters_have_one_limit():
    """Systems of the same substances have the same limit, whatever their suppliers advise."""
    rows = {s.id: s for s in load_tables().systems}
    for first, second in (
        ("sodium-benzoate-potassium-sorbate", "water-sodium-benzoate-potassium-sorbate"),
        ("phenoxyethanol-caprylyl-glycol", "phenoxyethanol-caprylyl-glycol-hexylene-glycol"),
    ):
        assert rows[first].heat_limit_c == rows[second].heat_limit_c
    assert rows["benzyl-alcohol-benzoic-dehydroacetic"].heat_limit_c == 45


def test_limit_not_known():
    """A recognised active without a limit in the tables is unknown, however cool it goes in."""
    items = [WATER, {"ingredient": "o-Cymen-5-ol", "percent": 0.1}]
    assert outcome(the(ID, phases(({"added_at": "25 °C"}, items)))) == "unknown"


def test_heated_phase_without_added_at():
    """In the heated phase it meets that phase's temperature."""
    items = [WATER, {"preservative": "benzyl-alcohol-dehydroacetic-acid", "percent": 0.8}]
    found = the(ID, phases(({"heated_to": "75 °C"}, items)))
    assert (value(found, "temperature_c"), outcome(found)) == (75, "serious")


def test_later_peak():
    """What went in cool and is heated afterwards meets the later temperature."""
    items = [WATER, {"preservative": "benzyl-alcohol-dehydroacetic-acid", "percent": 0.8}]
    later = [{"ingredient": "Cetearyl Alcohol", "percent": 3}]
    found = the(ID, phases(({"added_at": "25 °C"}, items), ({"heated_to": "70 °C"}, later)))
    assert (value(found, "added_at_c"), value(found, "temperature_c"), outcome(found)) == (
        25,
        70,
        "serious",
    )
    assert "later" in found.because


def test_hot_phase_added_to_a_cool_batch():
    """A later phase with its own added_at brings the batch to that temperature, not to its own
    heat."""
    items = [WATER, {"preservative": "benzyl-alcohol-dehydroacetic-acid", "percent": 0.8}]
    later = [{"ingredient": "Glycerin", "percent": 3}]
    found = the(
        ID,
        phases(
            ({"added_at": "25 °C"}, items), ({"heated_to": "70 °C", "added_at": "30 °C"}, later)
        ),
    )
    assert (value(found, "temperature_c"), outcome(found)) == (30, "pass")


def test_part_by_part():
    """A system with two addition points at 60 °C: the urea is above its 40 °C, the parabens below
    their 80 °C."""
    found = run_check(ID, {"systems": {DUAL: 0.6}}, added_at="60 °C")
    assert outcome(about(found, f"{DUAL} (Imidazolidinyl Urea)")) == "serious"
    assert outcome(about(found, f"{DUAL} (Methylparaben + Propylparaben)")) == "pass"


def test_each_addition():
    """A system added twice is judged twice."""
    line = [{"preservative": "phenoxyethanol", "percent": 0.4}]
    found = run_check(
        ID, phases(({"added_at": "90 °C"}, [WATER, *line]), ({"added_at": "40 °C"}, line))
    )
    assert [outcome(f) for f in found] == ["serious", "pass"]


def test_chance():
    """At the limit itself half of the draws pass, within four standard errors; far below all do."""
    assert the(ID, ACID, added_at="40 °C").chance == pytest.approx(0.5, abs=four_sigma(0.5))
    assert the(ID, ACID, added_at="25 °C").chance == 1.0


def test_remedy_names_a_temperature():
    """The remedy lies 2 °C below the limit, in both units: 38 °C are 100.4 °F."""
    assert "38 °C (100 °F)" in (the(ID, ACID, added_at="60 °C").do or "")


def test_batch():
    """A batch reads like its formulas one by one, also with more additions and parts in one of
    them."""
    line = [{"preservative": "phenoxyethanol", "percent": 0.4}]
    twice = phases(({"heated_to": "70 °C"}, [WATER, *line]), ({"added_at": "40 °C"}, line))
    same_alone_and_together(
        ID,
        make_formula(**twice),
        make_formula({}, {DUAL: 0.6}, added_at="60 °C"),
        make_formula({"Glycerin": 3}),
        make_formula(**ACID, added_at=None),
    )
