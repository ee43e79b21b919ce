"""Reading tables of readings: separators, units, clock times, and one clear message for each
fault."""

from __future__ import annotations

import datetime as dt

import openpyxl
import pytest

from preservecheck.errors import FormulaError, ReadingsError
from preservecheck.formula.cooling_readings import file_course, read_course, typed_course
from preservecheck.formula.load import load_formula
from preservecheck.formula.readings import as_day, as_number


@pytest.fixture
def write(tmp_path):
    """A file with some text."""

    def written(text, name="r.csv", encoding="utf-8"):
        path = tmp_path / name
        path.write_text(text, encoding=encoding)
        return path

    return written


def messages(path):
    """What reading a file complains of, the folder left out."""
    with pytest.raises(ReadingsError) as caught:
        file_course(path)
    return [m.replace(f"{path.parent}/", "") for m in caught.value.messages]


# ---- files that are right ----


@pytest.mark.parametrize(
    "text",
    [
        "minutes,temperature_c\n0,74.5\n10,66\n",
        "minutes;temperature_c\n0;74,5\n10;66\n",
        "minutes\ttemperature_c\n0\t74,5\n10\t66\n",
        "sep=;\nminutes;temperature_c\n0;74,5\n10;66\n",
        'minutes,temperature_c\n"0","74,5"\n10,66\n',
        "Time (min),Temp (°C)\n0,74.5\n10,66\n",
        "time h,celsius\n0,74.5\n0.16666666666666666,66\n",
        "minutes,temperature\n0,74.5 °C\n10,66C\n",
        "minutes,temperature\n0,166.1 °F\n10,150.8F\n",
        "# from the kitchen\nminutes,temperature_c,note\n0,74.5,\n\n10,66,stirred\n",
    ],
)
def test_same_course_in_many_spellings(write, text):
    """Separators, decimal commas, headings, units and blank lines make no difference."""
    course = file_course(write(text))
    assert course.time_min == pytest.approx((0, 10))
    assert course.temp_c == pytest.approx((74.5, 66))


@pytest.mark.parametrize(
    "times",
    [("14:05", "14:15"), ("2:05 pm", "2:15 PM"), ("23:55", "00:05"), ("14:05:30", "14:15:30")],
)
def test_clock_times(write, times):
    """Clock times count from the first, also past midnight."""
    course = file_course(write(f"time,temperature_c\n{times[0]},74\n{times[1]},66\n"))
    assert course.time_min == pytest.approx((0, 10))
    assert course.clock(10) == {
        "2:15 PM": "14:15",
        "00:05": "00:05 (+1 d)",
        "14:15:30": "14:16",
    }.get(times[1], times[1])


def test_workbook(tmp_path):
    """A workbook's first sheet is read, with its own times and numbers."""
    book = openpyxl.Workbook()
    sheet = book.active
    for row in (["time", "temperature_f"], [dt.time(14, 5), 165], [dt.time(14, 15), 150]):
        sheet.append(row)
    book.save(tmp_path / "r.xlsx")
    course = file_course(tmp_path / "r.xlsx")
    assert course.time_min == (0, 10)
    assert course.temp_c == pytest.approx((73.889, 65.556), abs=0.001)


def test_typed_pairs():
    """Typed pairs in minutes or clock times, °C or °F; a start gives minutes their clock."""
    assert typed_course(["0=74C", "10=66°C"]).temp_c == (74, 66)
    assert typed_course(["14:05=165F 14:15=150F"]).time_min == (0, 10)
    assert read_course(["0=74C", "10=66C"], "14:05").clock(10) == "14:15"


# ---- faults ----


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "minutes,temperature_c\n0,74,5\n10,66,2\n",
            "rows 2, 3: more cells than the 2 headings; with decimal commas",
        ),
        ("minutes,warmth\n0,74\n", '"warmth" is not known here'),
        ("minutes,note\n0,x\n", "no column temperature"),
        ("minutes,temperature_c\n0,74\n10,\n", "row 3: temperature is missing"),
        ("minutes,temperature_c\n0,74\n10,n/a\n", "row 3: temperature is missing"),
        (
            "minutes,temperature_c\n0,74\n10,warm\n",
            'row 3: the temperature: "warm" is not a number with a unit',
        ),
        ("minutes,temperature_c\n0,74\n10,740\n", "row 3: the temperature is 740 °C"),
        ("minutes,temperature\n0,74\n10,66\n", "row 2, row 3: the temperature has no unit"),
        ("minutes,temperature\n0,74 C\n10,66 C\n20,138 F\n", "row 4 in °F, the others in °C"),
        ("minutes,temperature_c\n0,74\n10,150 F\n", "is under a heading that says °C"),
        ("minutes,temperature_c,temperature_f\n0,74,165\n", "two columns give temperature"),
        ("minutes,temperature_c\n0,74\n0,73\n", "this time is there already"),
        ("minutes,temperature_c\n10,74\n5,73\n", "put the readings in the order of time"),
        ("time,temperature_c\n14:05,74\n10,73\n", "in minutes, the others in clock times"),
        ("time,temperature_c\n14:75,74\n", "the time is"),
        ("minutes,temperature_c\n", "no reading below the heading"),
        ("0,74\n10,66\n", "the heading names the columns"),
    ],
)
def test_one_clear_message(write, text, said):
    """Each fault is told once, with its row and what to write."""
    assert sum(said in m for m in messages(write(text))) == 1


def test_all_faults_at_once(write):
    """Every faulty row is told, not the first alone."""
    assert len(messages(write("minutes,temperature_c\n0,x\n5,y\n10,66\n15,z\n"))) == 3


def test_missing_empty_and_strange_files(write, tmp_path):
    """A file that is not there, empty, of another kind or not UTF-8 is refused in the words of
    readings."""
    assert "no such file" in messages(tmp_path / "nowhere.csv")[0]
    assert "write the readings into it" in messages(write(""))[0]
    assert "a .csv file or an .xlsx workbook" in messages(write("x", "r.ods"))[0]
    assert "not UTF-8" in messages(write("minutes,temperature_°c\n", encoding="latin-1"))[0]
    assert "not a workbook" in messages(write("x", "r.xlsx"))[0]
    assert "is a folder" in messages(tmp_path)[0]


def test_too_many_rows(write):
    """A file of more rows than anybody reads is refused before it is worked through."""
    assert "more than 5,000 rows" in messages(write("minutes,temperature_c\n" + "1,70\n" * 5001))[0]


@pytest.mark.parametrize("text", ["1.2e5", "1,2E5", "1.2x10^5", "1.2 × 10^5", "120000"])
def test_large_numbers(text):
    """Counts may be written with a power of ten."""
    assert as_number(text) == pytest.approx(120000)


def test_days():
    """Days as year-month-day or with dots; a day with strokes can be read in two ways and is
    none."""
    assert as_day("2026-12-01") == as_day("1.12.2026") == dt.date(2026, 12, 1)
    assert as_day("01/12/2026") is None


# ---- a formula that names readings ----

FORMULA = """
format = 1
[product]
name = "x"
use = "leave-on"
type = "leave-in"
markets = ["EU"]
[[phase]]
name = "main"
heated_to = "75 °C"
items = [{{ ingredient = "Water", rest = true }}]
[[phase]]
name = "cool-down"
added_at = "{}"
items = [{{ preservative = "benzyl-alcohol-dehydroacetic-acid", percent = 0.8 }}]
"""
COOLING = "time,temperature_c\n14:00,70\n14:10,50\n14:30,34\n14:40,36\n"


@pytest.mark.parametrize(
    ("added_at", "temperature", "later"),
    [
        ("cool.csv@14:10", 50, None),
        ("cool.csv@14:20", 42, None),
        ("cool.csv@30", 34, 36),
        ("cool.csv", 36, None),
    ],
    ids=["read", "between two readings", "hotter later", "last reading"],
)
def test_added_at_from_readings(write, added_at, temperature, later):
    """The temperature at a moment is read off or put between two readings; a hotter one later
    counts as heat."""
    write(COOLING, "cool.csv")
    phase = load_formula(write(FORMULA.format(added_at), "f.toml")).phases[1]
    assert (phase.added_at_c, phase.heated_to_c) == (temperature, later)
    assert phase.added_at_from.startswith("cool.csv at 14:")


@pytest.mark.parametrize(
    ("added_at", "said"),
    [
        ("cool.csv@15:10", "nothing is extrapolated"),
        ("nowhere.csv", "no such file"),
        ("../cool.csv", "without a folder"),
        ("cool.csv@soon", '"soon" is not a time'),
    ],
)
def test_added_at_faults(write, added_at, said):
    """What cannot be read is a fault of the formula."""
    write(COOLING, "cool.csv")
    with pytest.raises(FormulaError, match=said):
        load_formula(write(FORMULA.format(added_at), "f.toml"))


def test_readings_belong_to_the_digest(write):
    """Readings that change make another formula, so that a test kept beside it no longer covers
    it."""
    write(COOLING, "cool.csv")
    path = write(FORMULA.format("cool.csv@14:10"), "f.toml")
    before = load_formula(path).sha256
    assert load_formula(path).sha256 == before
    write(COOLING.replace("50", "51"), "cool.csv")
    assert load_formula(path).sha256 != before
