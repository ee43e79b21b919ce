"""pH over time: slope, leaving dates, refusals, and each storage by itself."""

from __future__ import annotations

import datetime as dt
import json

import pytest
from typer.testing import CliRunner

from preservecheck.cli.main import app
from preservecheck.errors import ReadingsError
from preservecheck.evidence.drift import drift, read_ph
from tests.helpers import TODAY, make_formula, make_raw, toml_text

SYSTEM = "benzyl-alcohol-dehydroacetic-acid"
START = dt.date(2026, 1, 1)
# window of a leave-in with this system: pH 4.2 to 5.5
FORMULA = make_formula({"Glycerin": 3}, {SYSTEM: 0.8}, ph=5.0, use="leave-on", type="leave-in")
# days of readings that tell a year ahead
LONG = (0, 14, 30, 60, 90, 120, 180, 240)


@pytest.fixture
def write(tmp_path):
    """Readings as a file; a list of (days, pH, storage)."""

    def written(points, heading="date,ph,storage_c", name="d.csv"):
        path = tmp_path / name
        rows = points if isinstance(points, str) else "\n".join(
            f"{START + dt.timedelta(days=d)},{p},{s}" for d, p, s in points)  # fmt: skip
        path.write_text(f"{heading}\n{rows}\n", encoding="utf-8")
        return path

    return written


def line(slope, storage="22", start=5.0, days=(0, 7, 14, 21, 28, 42), wobble=0.01):
    """Readings about a line."""
    return [
        (d, round(start + slope * d + wobble * (-1) ** i, 3), storage) for i, d in enumerate(days)
    ]


def test_slope_and_leaving_by_hand(write):
    """0.01 pH a day down from 5.0 leaves 4.2 on day 80; with its band somewhat earlier."""
    found = drift(write(line(-0.01, wobble=0.0)), FORMULA, today=TODAY).series[0]
    assert found.slope_per_day == pytest.approx(-0.01, abs=1e-6)
    assert abs((found.leaves_on - START).days - 80) <= 1
    assert found.leaves_on_early < found.leaves_on
    assert found.verdict == "warn"


def test_rising_leaves_at_the_upper_edge(write):
    """0.01 pH a day up from 5.0 leaves 5.5 on day 50."""
    found = drift(write(line(0.01, wobble=0.0)), FORMULA, today=TODAY).series[0]
    assert abs((found.leaves_on - START).days - 51) <= 1


def test_steady_product_passes(write):
    """Readings that only scatter show no movement, and no leaving date."""
    found = drift(write(line(0.0, start=4.9, days=LONG)), FORMULA, today=TODAY).series[0]
    assert (found.moves, found.leaves_on, found.verdict) == (False, None, "pass")
    assert found.slope_low < 0 < found.slope_high
    assert "does not differ from zero" in found.because


@pytest.mark.parametrize(
    ("days", "enough"),
    [((0, 7, 14), False), ((0, 4, 8, 13), False), ((0, 5, 9, 14), True)],
    ids=["three", "thirteen days", "just enough"],
)
def test_too_few(write, days, enough):
    """Fewer than four readings, or under two weeks, give no slope but say when to read again."""
    found = drift(write(line(-0.005, days=days)), FORMULA, today=TODAY).series[0]
    assert (found.slope_per_day is not None) == enough
    assert enough or ("too few" in found.because and found.verdict == "unknown")
    assert found.recheck_on > START


def test_outside_already_is_serious(write):
    """A last reading outside the window is serious, also where the readings are too few for a
    trend."""
    for days in ((0, 7), (0, 7, 14, 28)):
        found = drift(write(line(-0.01, start=4.25, days=days)), FORMULA, today=TODAY).series[0]
        assert (found.verdict, found.serious) == ("warn", True)


def test_storage_is_never_mixed(write):
    """Room and 40 °C are two series; adding one does not change the other."""
    room = drift(write(line(-0.001)), FORMULA, today=TODAY).series[0]
    both = drift(write(line(-0.001) + line(-0.01, "40"), name="b.csv"), FORMULA, today=TODAY)
    assert [s.storage_c for s in both.series] == [22, 40]
    assert both.series[0].slope_per_day == room.slope_per_day
    assert both.series[1].slope_per_day == pytest.approx(-0.01, abs=0.001)


def test_recheck_comes_before_the_earliest_leaving(write):
    """The day to read again lies before the band leaves the window."""
    for slope in (-0.02, -0.01, -0.003):
        found = drift(write(line(slope, days=(0, 7, 14, 21))), FORMULA, today=TODAY).series[0]
        last = found.dates[-1]
        assert last < found.recheck_on
        assert (
            found.leaves_on_early <= last + dt.timedelta(days=1)
            or found.recheck_on < found.leaves_on_early
        )


def test_readings_that_lie_on_a_line_keep_their_rounding(write):
    """Readings to 0.1 that happen to lie on a line still have a band."""
    found = drift(
        write(line(-0.01, days=(0, 10, 20, 30), wobble=0.0)), FORMULA, today=TODAY
    ).series[0]
    assert found.slope_low < found.slope_per_day < found.slope_high


def test_digits_that_are_written_count(write):
    """5.00 again and again is read to 0.01, so that a year stays sure; 5.0 is read to 0.1 and
    leaves it open.

    The band a year on: 0.01 / sqrt(12) x t(4; 0.975) = 2.776 x sqrt(1 + 1/6 + (407 - 18.7)^2 /
    1143) = 0.093 pH; ten times as much for 0.1, which reaches beyond pH 4.2 or 5.5 from 5.0.
    """
    for written, verdict in (("5.00", "pass"), ("5.0", "warn"), ("5", "warn")):
        rows = "\n".join(
            f"{START + dt.timedelta(days=d)},{written},22" for d in (0, 7, 14, 21, 28, 42)
        )
        found = drift(write(rows), FORMULA, today=TODAY).series[0]
        assert (found.verdict, found.slope_per_day) == (verdict, 0)
        # of the last digit, and a tenth where none is written
        step = 0.01 if written == "5.00" else 0.1
        assert found.line.error == pytest.approx(step / 12**0.5)


def test_window_is_named(write):
    """What sets the window is told."""
    found = drift(write(line(-0.001)), FORMULA, today=TODAY)
    assert found.window == (4.2, 5.5)
    assert "below pH 4.2 (custom) or above pH 5.5 (custom)" in found.window_because


# ---- reading ----


def test_order_does_not_matter(write):
    """Readings are put in the order of the days."""
    points = line(-0.005)
    assert drift(write(points[::-1]), FORMULA, today=TODAY).series[0].ph == tuple(
        p for _, p, _ in points
    )


def test_without_storage(write):
    """The storage may be left out for all."""
    rows = "2026-01-01,5.0\n2026-01-10,4.9"
    assert list(read_ph(write(rows, "date,ph"))) == [("storage not stated", None)]


@pytest.mark.parametrize(
    ("rows", "heading", "said"),
    [
        ("2026-01-01,5.0,22\n2026-01-01,5.1,22", "date,ph,storage_c", "is already on row 2"),
        ("2026-01-01,,22", "date,ph,storage_c", "ph is missing"),
        ("01/02/2026,5,22", "date,ph,storage_c", "year-month-day"),
        ("2026-01-01,5.0,22\n2026-01-02,5.0,", "date,ph,storage_c", "storage is missing"),
        ("2026-01-01,5.0,22 °C\n2026-01-02,5.0,104 °F", "date,ph,storage", "write one unit"),
        ("2026-01-01,15,22", "date,ph,storage_c", "from 0 to 14"),
        ("2026-01-01,5,0,22", "date,ph,storage_c", "decimal commas"),
        ("2026-01-01,5", "date,acidity", "no column ph"),
        ("2026-01-01,5,warm", "date,ph,storage", "storage"),
    ],
)
def test_faults_of_the_file(write, rows, heading, said):
    """Each fault has one message."""
    with pytest.raises(ReadingsError) as caught:
        read_ph(write(rows, heading))
    assert sum(said in m for m in caught.value.messages) == 1


def test_same_day_in_two_storages(write):
    """One day may have a reading in each storage."""
    assert len(read_ph(write("2026-01-01,5.0,22\n2026-01-01,5.1,40"))) == 2


# ---- the command ----


def run(*arguments):
    """The command in this process."""
    return CliRunner().invoke(app, ["drift", *map(str, arguments)], env={"COLUMNS": "100"})


@pytest.fixture
def product(tmp_path):
    """A formula as a file."""
    path = tmp_path / "f.toml"
    raw = make_raw({"Glycerin": 3}, {SYSTEM: 0.8}, ph=5.0, use="leave-on", type="leave-in")
    path.write_text(toml_text(raw), encoding="utf-8")
    return path


def test_command_json(write, product):
    """One entry for each storage, with the keys of the contract."""
    result = run(write(line(-0.01) + line(-0.02, "40")), "--formula", product, "--format", "json")
    data = json.loads(result.stdout)
    assert len(data["storage"]) == 2
    slope = {"slope_per_day", "slope_low", "slope_high"}
    days = {"leaves_on", "leaves_on_early", "recheck_on"}
    assert data["storage"][0].keys() >= {*slope, *days, "verdict", "because"}
    assert result.exit_code == 1


@pytest.mark.parametrize("form", ["text", "markdown"])
def test_command_words(write, product, form):
    """Text and Markdown name the day to read again."""
    out = run(write(line(-0.01)), "--formula", product, "--format", form).stdout
    assert "Read again on 2026-" in " ".join(out.split())


@pytest.mark.parametrize(
    ("points", "said"),
    [
        (line(0.0, start=4.9, days=LONG), "The pH stays inside the window for 365 days and more"),
        # 0.01 a day down from 5.005 is at 4.205 on day 80 and below 4.2 on day 81: 2026-01-01 + 81
        # d
        (
            line(0.0, wobble=0.0) + line(-0.01, "40", start=5.005, wobble=0.0),
            "40 °C (104 °F): the pH would leave the window on 2026-03-23",
        ),
        (
            line(0.0, wobble=0.0) + [(0, 4.1, "40")],
            "40 °C (104 °F): the last reading, pH 4.1, lies outside the window.",
        ),
        ([(0, 5.0, "22")], "22 °C (71.6 °F): 1 reading over 0 days is too few for a trend"),
    ],
)
def test_worst_storage_is_said_first(write, product, points, said):
    """The first sentence is that of the storage with the worst verdict."""
    out = " ".join(run(write(points), "--formula", product).stdout.split())
    assert said in out
    assert out.index(said) < out.index("Window: pH 4.2 to 5.5")


def test_command_needs_a_formula(write, tmp_path, product):
    """Without a formula there is no window; with a chart one is written."""
    assert run(write(line(-0.01))).exit_code == 2
    run(write(line(-0.01)), "--formula", product, "--plot", tmp_path / "d.png")
    assert (tmp_path / "d.png").read_bytes().startswith(b"\x89PNG")
