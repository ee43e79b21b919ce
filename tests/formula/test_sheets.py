"""Workbooks and CSV sheets say the same as TOML, and are refused where they could be misread."""

import datetime as dt
import io
import tomllib

import openpyxl
import pytest

from preservecheck.formula.starter import raw_to_sheets

EVERYTHING = """\
format = 1
[product]
name = "Oat milk curl cream"
use = "leave-on"
type = "leave-in"
markets = ["EU", "GB"]
users = "under-10"
package = "pump"
batch = "17 oz"
scale_step = "0.1 g"
on_market = 2026-12-01
[measured]
ph = 5.12345678901234
ph_tolerance = 0.3
temperature = "75.2 °F"
water_activity = 0.98
water_activity_tolerance = 0.004
[[phase]]
name = "1"
heated_to = "167 °F"
held = "0.5 h"
items = [
  { ingredient = "Water", rest = true, note = "freshly boiled" },
  { ingredient = "Glycerin", percent = 0.1 },
  { ingredient = "my wax", percent = 3.33333333333333 },
  { ingredient = "Cocamidopropyl betaine", percent = 7, strength = 30 },
  { ingredient = "Phenoxyethanol", percent = 0.1 },
]
[[phase]]
name = "cool-down"
added_at = "39.9 °C"
items = [
  { ingredient = "nettle, fresh", percent = 3 },
  { preservative = "benzyl-alcohol-dehydroacetic-acid", percent = 0.8 },
  { preservative = "sodium-benzoate", percent = 0.3 },
]
[blend."my wax"]
"Cetearyl alcohol" = 75.1
"inner" = 24.9
[blend."inner"]
"Behentrimonium methosulfate" = 100
[ingredient."nettle, fresh"]
role = "botanical"
inci = "Urtica Dioica Juice"
aliases = ["stinging juice", "nettle"]
water_fraction = 0.953
nutrient_load = "high"
[ingredient."chalk"]
role = "powder"
"""


def bare(formula):
    """A formula without what tells its file."""
    return formula.model_copy(update={"sha256": "", "path": None})


@pytest.mark.parametrize("kind", ["percent", "grams"])
def test_all_forms_say_the_same(write_workbook, write_csv, tmp_path, load, kind):
    """TOML, workbook and CSV of a formula with everything give the same formula, to the 15 digits
    of a spreadsheet."""
    text = EVERYTHING.replace("percent =", f"{kind} =")
    toml = tmp_path / "cream.toml"
    toml.write_text(text, encoding="utf-8")
    sheets = raw_to_sheets(tomllib.loads(text))
    expected = bare(load(toml))
    assert expected.own_ingredients[0].aliases == ("stinging juice", "nettle", "nettle, fresh")
    assert bare(load(write_workbook(sheets))) == expected
    assert bare(load(write_csv(sheets))) == expected
    for separator, decimal in ((";", ","), ("\t", ",")):
        assert bare(load(write_csv(sheets, separator, decimal))) == expected


def test_any_file_of_the_set(write_csv, tmp_path, load, sheets):
    """Whichever CSV file is named, the whole set is read, and its digest is the same."""
    write_csv(sheets)
    found = [load(tmp_path / f"cream.{name}.csv") for name in sheets]
    assert {bare(f).model_dump_json() for f in found} == {bare(found[0]).model_dump_json()}
    assert len({f.sha256 for f in found}) == 1


def test_headings(write_workbook, write_csv, load, sheets):
    """Headings may carry a unit, which then holds for bare numbers, and may be written in any
    case."""
    sheets["Phases"] = [
        ["PHASE", "Heated to (°F)", "added_at °C", "Held min"],
        ["heated", 167, None, 20],
        ["cool-down", "75 °C", 40, None],
    ]
    sheets["Formula"][0] = ["Phase", "Ingredient:", "%", "Strength (%)", "Note"]
    sheets["Product"] += [["Batch (kg)", 0.5], ["sample temperature °F", 75.2]]
    sheets["Product"] = [
        r for r in sheets["Product"] if r[0] not in ("batch", "sample temperature")
    ]
    for path in (write_workbook(sheets), write_csv(sheets)):
        formula = load(path)
        assert formula.product.batch_g == 500
        assert formula.measured.temperature_c == 24
        assert [(p.heated_to_c, p.added_at_c, p.held_min) for p in formula.phases] == [
            (75, None, 20),
            (75, 40, None),
        ]


@pytest.mark.parametrize(
    "written", ["rest", "REST", "q.s.", "qs", "q.s. to 100", "qs ad 100 %", "ad 100", "to 100%"]
)
def test_rest(write_csv, load, sheets, written):
    """The rest line says so in any of the usual ways."""
    sheets["Formula"][1][2] = written
    assert load(write_csv(sheets)).phases[0].lines[0].rest


def test_percent_cells(write_workbook, load, sheets):
    """A cell shown as 7 % is stored as 0.07 and read as 7; a percent sign that is only printed
    changes nothing."""
    sheets["Formula"][2][2], sheets["Formula"][3][2] = 0.07, 1
    path = write_workbook(sheets)
    book = openpyxl.load_workbook(path)
    book["Formula"]["C3"].number_format = "0.0%"
    book["Formula"]["C4"].number_format = '0.0"%"'
    book.save(path)
    formula = load(path)
    assert formula.phases[0].lines[1].amount == 7
    assert formula.phases[1].lines[0].amount == 1


def test_dates_and_numbers_in_cells(write_workbook, load, sheets):
    """A date cell is a day, a number as a name is a text."""
    sheets["Product"] = [
        ["field", "value"],
        ["name", 7],
        ["use", "leave-on"],
        ["type", "leave-in"],
        ["markets", "EU; gb".upper()],
        ["on market", dt.datetime(2026, 12, 1)],
    ]
    product = load(write_workbook(sheets)).product
    assert (product.name, product.markets, product.on_market) == (
        "7",
        ("EU", "GB"),
        dt.date(2026, 12, 1),
    )


@pytest.mark.parametrize(
    ("written", "kind", "name"),
    [
        ("sodium-benzoate", "preservative", "sodium-benzoate"),
        ("Sodium-Benzoate", "preservative", "sodium-benzoate"),
        ("sodium benzoate", "ingredient", "sodium benzoate"),
        ("phenoxyethanol", "preservative", "phenoxyethanol"),
        ("Phenoxyethanol", "ingredient", "Phenoxyethanol"),
    ],
)
def test_system_or_ingredient(write_csv, load, sheets, written, kind, name):  # noqa: PLR0917
    """In a sheet an id as printed is the system, the INCI name the pure substance."""
    sheets["Formula"][-1][1] = written
    line = load(write_csv(sheets)).phases[1].lines[1]
    assert (line.kind, line.name) == (kind, name)


def test_a_blend_of_the_name_of_a_system(write_csv, load, sheets):
    """A blend of the formula wins over the id of a system."""
    sheets["Blends"] = [["blend", "ingredient", "percent"], ["phenoxyethanol", "Glycerin", 100]]
    assert load(write_csv(sheets)).phases[1].lines[1].kind == "ingredient"


def test_merged_phase_cells(write_workbook, load, sheets):
    """Phase cells merged downwards, or left blank, repeat the phase above."""
    expected = bare(load(write_workbook(sheets)))
    path = write_workbook(sheets)
    book = openpyxl.load_workbook(path)
    book["Formula"].merge_cells("A2:A3")
    book["Formula"]["A5"] = None
    book.save(path)
    assert bare(load(path)) == expected


def test_separator_line(write_csv, load, sheets):
    """The line with which a spreadsheet program names the separator is understood."""
    expected = bare(load(write_csv(sheets)))
    path = write_csv(sheets, ";", ",")
    path.write_text("sep=;\n" + path.read_text())
    assert bare(load(path)) == expected


def test_cells_are_streamed(write_workbook, load, sheets):
    """A wrong statement of its size in a workbook does not hide rows."""
    path = write_workbook(sheets)
    expected = bare(load(path))
    import zipfile

    out = io.BytesIO()
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            data = old.read(name)
            if "worksheets" in name:
                start = data.index(b"<dimension")
                data = (
                    data[:start]
                    + b'<dimension ref="A1:B2"/>'
                    + data[data.index(b"/>", start) + 2 :]
                )
            new.writestr(name, data)
    path.write_bytes(out.getvalue())
    assert bare(load(path)) == expected


def test_answers_of_trials(write_workbook, load, sheets):
    """A sheet Settled holds what trials showed, with the figures of the day in one cell."""
    sheets["Settled"] = [
        ["check", "about", "on", "by", "saw", "rests on"],
        ["ionic", "phenoxyethanol", "2026-11-20", "M. R.", "clear", "percent = 0.8; ph = 4.5"],
    ]
    (answer,) = load(write_workbook(sheets)).settled
    assert (answer.check, answer.on, answer.by) == ("ionic", dt.date(2026, 11, 20), "M. R.")
    assert answer.rests_on == {"percent": 0.8, "ph": 4.5}
