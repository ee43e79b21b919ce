"""The cooling batch: when it is cool enough, what went in too hot, and what is refused."""

from __future__ import annotations

import json
import math

import pytest
from typer.testing import CliRunner

from preservecheck.bench.cooling import cooldown, specific_heat
from preservecheck.checks.base import warmer
from preservecheck.cli.main import app
from preservecheck.errors import ReadingsError
from preservecheck.reference.load import load_tables
from preservecheck.report.cooling import document
from tests.helpers import TODAY, make_formula

SYSTEM = "benzyl-alcohol-dehydroacetic-acid"  # heat limit 40 °C


def formula(**changes):
    """A conditioner with a heated phase and a cool-down phase."""
    phases = [
        {
            "name": "heated",
            "heated_to": "75 °C",
            "held": "20 min",
            "items": [
                {"ingredient": "Water", "rest": True},
                {"ingredient": "Cetearyl Alcohol", "percent": 6},
            ],
        },
        {
            "name": "cool-down",
            **changes,
            "items": [
                {"ingredient": "Glycerin", "percent": 10},
                {"preservative": SYSTEM, "percent": 0.8},
            ],
        },
    ]
    return make_formula(phases=phases, batch="500 g")


def read(*pairs, **options):
    """What typed readings tell."""
    return cooldown(pairs, today=TODAY, **options)


def reach(found, what):
    """One entry of the list of temperatures."""
    return next(r for r in found.reach if what in r.what)


def test_time_by_hand():
    """Readings on the law, room 21 °C: 40 °C after ln(53 / 19) / 0.02 = 51.3 min, with its clock
    time."""
    temps = [f"{t}={21 + 53 * math.exp(-0.02 * t):.2f}C" for t in (0, 10, 20, 30)]
    found = reach(read(*temps, room_c=21.0, start="14:05"), "customary")
    assert found.minutes == pytest.approx(51.29, abs=0.1)
    assert found.minutes_low < 51.29 < found.minutes_high
    assert found.clock == "14:56"


def test_gate_stands_the_error_of_the_thermometer_below_the_limit():
    """As on the batch sheet: the limit is 40 °C, so that a thermometer good to ± 2 °C has to show
    38 °C.

    Readings on the law, room 21 °C: 38 °C after ln(53 / 17) / 0.02 = 56.9 min, where 40 °C takes
    51.3.
    """
    temps = [f"{t}={21 + 53 * math.exp(-0.02 * t):.2f}C" for t in (0, 10, 20, 30)]
    found = read(*temps, room_c=21.0, start="14:05", formula=formula())
    (gate,) = found.gates
    assert (gate.name, gate.phase, gate.below_c) == (SYSTEM, "cool-down", 38)
    assert gate.reach.minutes == pytest.approx(56.85, abs=0.1)
    assert gate.reach.clock == "15:02"
    (written,) = found.to_json()["gates"]
    assert written["below_c"] == 38
    assert written["reach"]["clock"] == "15:02"


@pytest.mark.parametrize(
    ("last", "words"),
    [(38.0, "so it may go in"), (39.0, "May go in when the thermometer shows 38 °C")],
)
def test_gate_opens_by_a_reading_alone(last, words):
    """38 °C on the thermometer opens it, 39 °C, which is below the limit, does not."""
    page = document(read("0=74C", "20=52C", f"52={last}C", room_c=21.0, formula=formula()))
    (section,) = [s for s in page.sections if s.title == "When it may go in"]
    assert words in section.blocks[0].texts[0]


def test_nothing_waits_once_it_is_in():
    """Of what went in, the judgement is told instead."""
    found = read("0=74C", "20=52C", "52=38C", room_c=21.0, added="52", formula=formula())
    assert found.gates == ()
    assert found.added


def test_already_cool_is_read_off():
    """A temperature that was passed is told from the two readings around it."""
    found = reach(read("0=70C", "10=50C", "20=38C", room_c=21.0), "customary")
    assert found.measured
    assert found.minutes == pytest.approx(10 + 10 * 10 / 12)
    assert (found.minutes_low, found.minutes_high) == (10, 20)


@pytest.mark.parametrize(
    ("pairs", "room", "said"),
    [
        (["0=74C"], 21.0, "one reading"),
        (["0=74C", "1=72C"], 21.0, "too short a time"),
        (["0=74C", "10=73C"], 21.0, "hardly more than the thermometer"),
        (["0=60C", "10=66C", "20=70C"], 21.0, "rises"),
        (["0=74C", "10=66C"], 70.0, "as warm as the last reading"),
        (["0=74C", "10=66C", "20=59C"], None, "too few"),
        (["0=74C", "10=69C", "20=64C", "30=59C"], None, "Measure the room"),
        (["0=90C", "5=70C", "10=62C", "15=61C", "20=60.9C"], None, "Measure the room"),
    ],
    ids=[
        "one",
        "a minute apart",
        "hardly fell",
        "rising",
        "room too warm",
        "room unknown",
        "straight line",
        "room at the end",
    ],
)
def test_refuses_what_readings_cannot_carry(pairs, room, said):
    """No time is told, the reason is, and the result counts as unknown."""
    found = read(*pairs, room_c=room)
    entry = reach(found, "customary")
    assert (entry.minutes, entry.clock) == (None, None)
    assert said in found.because
    assert found.verdict == "unknown"


def test_never_below_the_room():
    """A mark at the room or under it is never reached by itself."""
    assert (
        "Never by itself"
        in reach(read("0=74C", "10=66C", "20=60C", room_c=41.0), "customary").because
    )


def test_heating_up_and_holding_is_left_out():
    """The law is fitted from the end of the hold on."""
    found = read("0=40C", "10=75C", "30=75C", "40=66C", "50=58.6C", "60=52.3C", room_c=21.0)
    assert found.forecast.fit.time_min[0] == 30
    assert any("not cooling yet" in r for r in found.remarks)


@pytest.mark.parametrize(
    ("hottest", "verdict", "serious"),
    [("37C", "pass", False), ("39C", "warn", False), ("41C", "warn", False), ("43C", "warn", True)],
)
def test_what_went_in_too_hot(hottest, verdict, serious):
    """The limit is 40 °C ± 2 °C: clear below passes, clear above is serious, between it is too
    close to call."""
    found = read("0=70C", f"30={hottest}", "60=30C", formula=formula(), room_c=21.0, added="30")
    one = next(a for a in found.added if a.preservative == SYSTEM)
    assert (one.verdict, one.serious) == (verdict, serious)
    assert found.verdict == verdict


def test_heat_after_the_addition_counts():
    """A batch that is warmed again later shows its later peak."""
    found = read("0=70C", "30=36C", "40=50C", "60=36C", formula=formula(), room_c=21.0, added="30")
    assert (found.added[0].temperature_c, found.added[0].serious) == (50, True)
    # 4.29 min up from 40 to 50 °C between 30 and 40 min: 10 x 10 / 14; down 20 x 10 / 14
    assert "21.4 min" in found.added[0].because


def test_between_readings_but_never_outside():
    """A moment between two readings is interpolated; one outside is refused."""
    found = read("0=70C", "20=50C", "30=30C", formula=formula(), room_c=21.0, added="25")
    assert found.added[0].temperature_c == pytest.approx(40)
    with pytest.raises(ReadingsError, match="nothing is extrapolated"):
        read("0=70C", "20=50C", formula=formula(), added="25")


def test_nothing_is_in_before_its_temperature():
    """Without a moment, what the formula adds at 38 °C counts as in only once the readings are down
    there."""
    assert read("0=70C", "20=50C", formula=formula(added_at="38 °C"), room_c=21.0).added == ()
    assert (
        read("0=70C", "60=36C", formula=formula(added_at="38 °C"), room_c=21.0)
        .added[0]
        .temperature_c
        == 38
    )


def test_heat_hold():
    """Minutes at 70 °C or more: 20 between the readings, and a third of the fall from 75 to 60 °C
    in 15 min."""
    found = read("0=75C", "20=75C", "35=60C", "45=52C", formula=formula(), room_c=21.0)
    assert found.held_min == pytest.approx(20 + 15 * 5 / 15)
    short = read("0=75C", "5=70C", "35=50C", formula=formula(), room_c=21.0)
    assert any("holds phase heated for 20 min" in r for r in short.remarks)


def test_cold_phase_by_hand():
    """Hot 83.2 % water (4.18) and 6 % wax (2.3) at 60 °C, cold 10 % glycerin (2.42) and 0.8 %
    preservative at 20 °C."""
    found = read("0=75C", "20=60C", formula=formula(), room_c=20.0)
    hot = 83.2 * 4.18 + 6 * 2.3
    cold = (
        10 * 2.42 + 0.8 * 1.7
    )  # the preservative by a round figure: a quarter of a per cent of the sum
    assert found.mixing.after_c == pytest.approx((hot * 60 + cold * 20) / (hot + cold), abs=0.1)
    assert found.mixing.hot_g == pytest.approx(446)


@pytest.mark.parametrize(("name", "heat"), [("Aqua", 4.18), ("Glycerin", 2.42), ("Alcohol", 2.46)])
def test_specific_heats(name, heat):
    """Water, glycerin and ethanol as in tables of liquids."""
    row = next(i for i in load_tables().ingredients if i.inci == name)
    assert specific_heat(row, name) == pytest.approx(heat)


# ---- the command ----


def run(*arguments):
    """The command in this process."""
    return CliRunner().invoke(app, ["cooldown", *map(str, arguments)], env={"COLUMNS": "80"})


KEYS = {
    "format", "program", "tables_sha256", "formula_sha256", "rate_per_min", "room_c", "fit_error_c", "reach",
    "after_addition_c", "added", "held_min", "because",
}  # fmt: skip


def test_command_json():
    """The JSON holds the keys of the contract."""
    result = run("0=74C", "10=66C", "20=59.3C", "--room", "21 °C", "--format", "json")
    data = json.loads(result.stdout)
    assert data.keys() >= KEYS
    assert data["reach"][0].keys() >= {
        "what",
        "limit_c",
        "minutes",
        "minutes_low",
        "minutes_high",
        "clock",
    }
    assert result.exit_code == 0


@pytest.mark.parametrize("form", ["text", "markdown"])
def test_command_words(form):
    """Text and Markdown tell the time, the band and that only a measurement counts."""
    result = run(
        "0=74C", "10=66C", "20=59.3C", "--room", "21C", "--start", "14:05", "--format", form
    )
    assert "at 15:0" in result.stdout
    assert "(between 1" in result.stdout
    assert "only a measured temperature" in result.stdout.replace("\n", " ").replace("  ", " ")


@pytest.mark.parametrize(
    ("arguments", "status"),
    [
        (("0=74C", "1=73C", "--room", "21C"), 1),
        (("nonsense",), 2),
        (("0=74C", "10=66C", "--room", "warm"), 2),
        (("0=74C", "10=66C", "--plot", "x.pdf", "--room", "21C"), 2),
    ],
)
def test_command_status(arguments, status):
    """1 where nothing can be told, 2 where nothing can be read."""
    assert run(*arguments).exit_code == status


@pytest.mark.parametrize("name", ["c.svg", "c.png"])
def test_command_plot(tmp_path, name):
    """A chart is written in either form, with plain colours."""
    run("0=74C", "10=66C", "20=59.3C", "--room", "21C", "--plot", tmp_path / name)
    data = (tmp_path / name).read_bytes()
    assert data.startswith(b"<svg" if name.endswith("svg") else b"\x89PNG")
    assert b"var(" not in data[:2_000_000] or name.endswith("png")


@pytest.mark.parametrize(
    ("met", "words"),
    [
        (55.0, "above the 40 °C below which"),
        (42.1, "above the 40 °C below which"),
        (41.9, "not clearly below 40 °C"),
    ],
)
def test_what_is_clearly_warmer_is_called_so(met, words):
    """A thermometer good to ± 2 °C that shows 42 °C leaves it open whether 40 °C is passed."""
    assert warmer(met, 2.0, 40.0, "40 °C").startswith(words)
