"""Workbooks and CSV sheets say the same as TOML, and are refused where they could be misread."""

import datetime as dt
import io
import tomllib

import openpyxl
import pytest

from preservecheck.formula.starter import csv_bytes, raw_to_sheets, workbook_bytes

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


def write_workbook(folder, sheets, name="cream.xlsx"):
    """A workbook of these sheets."""
    path = folder / name
    path.write_bytes(workbook_bytes(sheets))
    return path


def write_csv(folder, sheets, separator=",", decimal="."):
    """CSV files of these sheets; gives the one of the lines."""
    for name, rows in sheets.items():
        text = csv_bytes(rows).decode("utf-8-sig") if separator == "," else "\n".join(
            separator.join("" if c is None else str(c).replace(".", decimal) if isinstance(c, float) else str(c)
                           for c in row) for row in rows)
        (folder / f"cream.{name}.csv").write_text(text, encoding="utf-8")
    return folder / "cream.Formula.csv"


def bare(formula):
    """A formula without what tells its file."""
    return formula.model_copy(update={"sha256": "", "path": None})


@pytest.mark.parametrize("kind", ["percent", "grams"])
def test_all_forms_say_the_same(tmp_path, load, kind):
    """TOML, workbook and CSV of a formula with everything give the same formula, to the 15 digits of a spreadsheet."""
    text = EVERYTHING.replace("percent =", f"{kind} =")
    toml = tmp_path / "cream.toml"
    toml.write_text(text, encoding="utf-8")
    sheets = raw_to_sheets(tomllib.loads(text))
    expected = bare(load(toml))
    assert expected.own_ingredients[0].aliases == ("stinging juice", "nettle", "nettle, fresh")
    assert bare(load(write_workbook(tmp_path, sheets))) == expected
    assert bare(load(write_csv(tmp_path, sheets))) == expected
    for separator, decimal in ((";", ","), ("\t", ",")):
        assert bare(load(write_csv(tmp_path, sheets, separator, decimal))) == expected


@pytest.fixture
def sheets(raw):
    """The sheets of a formula without fault."""
    return raw_to_sheets(raw)


def test_any_file_of_the_set(tmp_path, load, sheets):
    """Whichever CSV file is named, the whole set is read, and its digest is the same."""
    write_csv(tmp_path, sheets)
    found = [load(tmp_path / f"cream.{name}.csv") for name in sheets]
    assert {bare(f).model_dump_json() for f in found} == {bare(found[0]).model_dump_json()}
    assert len({f.sha256 for f in found}) == 1


def test_headings(tmp_path, load, sheets):
    """Headings may carry a unit, which then holds for bare numbers, and may be written in any case."""
    sheets["Phases"] = [["PHASE", "Heated to (°F)", "added_at °C", "Held min"], ["heated", 167, None, 20],
                        ["cool-down", "75 °C", 40, None]]
    sheets["Formula"][0] = ["Phase", "Ingredient:", "%", "Strength (%)", "Note"]
    sheets["Product"] += [["Batch (kg)", 0.5], ["sample temperature °F", 75.2]]
    sheets["Product"] = [r for r in sheets["Product"] if r[0] not in ("batch", "sample temperature")]
    for path in (write_workbook(tmp_path, sheets), write_csv(tmp_path, sheets)):
        formula = load(path)
        assert formula.product.batch_g == 500
        assert formula.measured.temperature_c == 24
        assert [(p.heated_to_c, p.added_at_c, p.held_min) for p in formula.phases] == [(75, None, 20), (75, 40, None)]


@pytest.mark.parametrize("written", ["rest", "REST", "q.s.", "qs", "q.s. to 100", "qs ad 100 %", "ad 100", "to 100%"])
def test_rest(tmp_path, load, sheets, written):
    """The rest line says so in any of the usual ways."""
    sheets["Formula"][1][2] = written
    assert load(write_csv(tmp_path, sheets)).phases[0].lines[0].rest


def test_percent_cells(tmp_path, load, sheets):
    """A cell that is shown as 7 % is stored as 0.07 and read as 7; a percent sign that is only printed changes nothing."""
    sheets["Formula"][2][2], sheets["Formula"][3][2] = 0.07, 1
    path = write_workbook(tmp_path, sheets)
    book = openpyxl.load_workbook(path)
    book["Formula"]["C3"].number_format = "0.0%"
    book["Formula"]["C4"].number_format = '0.0"%"'
    book.save(path)
    formula = load(path)
    assert formula.phases[0].lines[1].amount == 7
    assert formula.phases[1].lines[0].amount == 1


def test_dates_and_numbers_in_cells(tmp_path, load, sheets):
    """A date cell is a day, a number as a name is a text."""
    sheets["Product"] = [["field", "value"], ["name", 7], ["use", "leave-on"], ["type", "leave-in"],
                         ["markets", "EU; gb".upper()], ["on market", dt.datetime(2026, 12, 1)]]
    product = load(write_workbook(tmp_path, sheets)).product
    assert (product.name, product.markets, product.on_market) == ("7", ("EU", "GB"), dt.date(2026, 12, 1))


@pytest.mark.parametrize(("written", "kind", "name"), [
    ("sodium-benzoate", "preservative", "sodium-benzoate"), ("Sodium-Benzoate", "preservative", "sodium-benzoate"),
    ("sodium benzoate", "ingredient", "sodium benzoate"), ("phenoxyethanol", "preservative", "phenoxyethanol"),
    ("Phenoxyethanol", "ingredient", "Phenoxyethanol")])
def test_system_or_ingredient(tmp_path, load, sheets, written, kind, name):
    """In a sheet an id as printed is the system, the INCI name the pure substance."""
    sheets["Formula"][-1][1] = written
    line = load(write_csv(tmp_path, sheets)).phases[1].lines[1]
    assert (line.kind, line.name) == (kind, name)


def test_a_blend_of_the_name_of_a_system(tmp_path, load, sheets):
    """A blend of the formula wins over the id of a system."""
    sheets["Blends"] = [["blend", "ingredient", "percent"], ["phenoxyethanol", "Glycerin", 100]]
    assert load(write_csv(tmp_path, sheets)).phases[1].lines[1].kind == "ingredient"


def test_merged_phase_cells(tmp_path, load, sheets):
    """Phase cells merged downwards, or left blank, repeat the phase above."""
    expected = bare(load(write_workbook(tmp_path, sheets)))
    path = write_workbook(tmp_path, sheets)
    book = openpyxl.load_workbook(path)
    book["Formula"].merge_cells("A2:A3")
    book["Formula"]["A5"] = None
    book.save(path)
    assert bare(load(path)) == expected


@pytest.mark.parametrize("ref", ["C2:C3", "A2:B2", "A1:B1", "B4:E4", "A1:A2"])
def test_other_merged_cells(tmp_path, refused, sheets, ref):
    """Any other merge hides what belongs to which row."""
    path = write_workbook(tmp_path, sheets)
    book = openpyxl.load_workbook(path)
    book["Formula"].merge_cells(ref)
    book.save(path)
    assert refused(path) == [
        f"cream.xlsx: sheet Formula: the cells {ref} are merged, so it cannot be told what belongs to which row; take "
        "the merging apart and fill in each cell"]


def test_a_merge_over_a_whole_sheet(tmp_path, refused, sheets):
    """A merge over all cells of a sheet is refused without making those cells."""
    path = write_workbook(tmp_path, sheets)
    book = openpyxl.load_workbook(path)
    book["Formula"].merged_cells.add("A1:XFD1048576")
    book.save(path)
    message, = refused(path)
    assert "the cells A1:XFD1048576 are merged" in message


def test_unsaved_formulas(tmp_path, refused, sheets):
    """A formula whose result was never saved is not taken for an empty cell."""
    sheets["Formula"][2][2] = "=1+2"
    sheets["Formula"][3][2] = "=SUM(C3)"
    assert refused(write_workbook(tmp_path, sheets)) == [
        "cream.xlsx: sheet Formula: C3, C4 hold a formula without a saved result; open it in a spreadsheet program and "
        "save it again as .xlsx, or write the number"]


def test_error_cells(tmp_path, refused, sheets):
    """A cell that holds an error of the spreadsheet is named."""
    sheets["Formula"][2][2] = "#REF!"
    assert refused(write_workbook(tmp_path, sheets)) == [
        "cream.xlsx: sheet Formula, cell C3 holds the error #REF!; correct it in the spreadsheet and save again"]


def test_other_sheets(tmp_path, load, refused, sheets):
    """Sheets that are empty or called Read me are passed over; any other is refused, so that no misspelt one is lost."""
    load(write_workbook(tmp_path, sheets | {"Sheet1": [[None]], "Read me too": [["hello"]]}))
    assert refused(write_workbook(tmp_path, sheets | {"Phase": [["phase"], ["x"]]})) == [
        "cream.xlsx: sheet Phase is not known here; the sheets are Product, Formula, Phases, Blends, Ingredients. Begin "
        "the name of a sheet that is not to be read with 'Read me'"]


FIELDS = ("name, use, type, markets, users, package, batch, scale step, on market, ph, ph tolerance, sample temperature, "
          "water activity, water activity tolerance")


@pytest.mark.parametrize(("sheet", "row", "cells", "message"), [
    ("Product", -1, ["pH value", 5], f'sheet Product, row 15: the field "pH value" is not known here; allowed are {FIELDS}'),
    ("Product", -1, ["packing", "jar"],
     f'sheet Product, row 15: the field "packing" is not known here; did you mean package? Allowed are {FIELDS}'),
    ("Product", -1, ["name", "x"], "sheet Product, row 15: the field name stands already on row 2; keep one"),
    ("Formula", 0, ["phase", "ingredient", "percent", "strength", "cost"],
     'sheet Formula, row 1: the column "cost" is not known here; allowed are phase, ingredient, percent, grams, '
     "strength, note"),
    ("Formula", 0, ["phase", "ingredient", "percent", "percent", "note"],
     "sheet Formula, row 1: the column percent stands twice; keep one"),
    ("Formula", 0, ["phase", "ingredient", None, "strength", "note"],
     "sheet Formula, row 1: the column percent or grams is missing; the first row names the columns phase, ingredient, "
     "percent, grams, strength, note"),
    ("Formula", 1, [None, "Water", "rest"],
     "sheet Formula, row 2: no phase; name it, such as heated or cool-down. A blank cell repeats the phase above"),
    ("Formula", 2, ["heated", None, 100],
     "sheet Formula, row 3: no ingredient; name it, or delete the row (a row of totals is not read)"),
    ("Formula", 2, ["heated", "Glycerin", 3, None, None, "dear"],
     'sheet Formula, row 3: "dear" stands under no heading; delete it or move it to another file'),
    ("Phases", 2, ["heated", None, "40 °C"],
     'sheet Phases, row 3: phase "heated" stands already on row 2; keep one row a phase'),
    ("Phases", 2, [None, None, "40 °C"], "sheet Phases, row 3: no phase; name it as in the sheet Formula"),
    ("Blends", 1, ["wax", "Glycerin", None],
     "sheet Blends, row 2: a row names the blend, one ingredient of it and its percent of the blend; fill in all three"),
    ("Blends", 2, ["wax", "Glycerin", 50],
     'sheet Blends, row 3: "Glycerin" stands twice in blend "wax"; keep one'),
    ("Ingredients", 1, [None, "powder"], "sheet Ingredients, row 2: no ingredient; name it"),
    ("Ingredients", 2, ["chalk", "powder"], 'sheet Ingredients, row 3: "chalk" stands twice; keep one row'),
])
def test_sheet_faults(tmp_path, refused, sheets, sheet, row, cells, message):
    """What cannot be understood in a sheet is named with sheet and row, alike in a workbook and in CSV."""
    sheets |= {"Blends": [["blend", "ingredient", "percent"], ["wax", "Glycerin", 50], ["wax", "Water", 50]],
               "Ingredients": [["ingredient", "role"], ["chalk", "powder"], ["clay", "powder"]]}
    if row == -1:
        sheets[sheet] = [r for r in sheets[sheet] if r[0] != "water activity tolerance"] + [cells]
    else:
        sheets[sheet][row] = cells
    assert refused(write_workbook(tmp_path, sheets)) == [f"cream.xlsx: {message}"]
    assert refused(write_csv(tmp_path, sheets)) == [f"cream.*.csv: {message}"]


def test_a_phase_that_has_no_lines(tmp_path, refused, sheets):
    """A phase of the sheet Phases that no line names is refused like an empty phase."""
    sheets["Phases"].append(["heatd", "75 °C", None, None])
    message, = refused(write_workbook(tmp_path, sheets))
    assert message.startswith('cream.xlsx: phase "heatd" is empty')


def test_cells_that_are_no_number(tmp_path, refused, sheets):
    """Text, dates and numbers that can be read in two ways are refused where a number is needed."""
    sheets["Formula"][2][2] = "1,500"
    sheets["Formula"][3][2] = dt.datetime(2026, 5, 1)
    sheets["Phases"][1][1] = 75
    assert refused(write_workbook(tmp_path, sheets)) == [
        'cream.xlsx: phase "heated": heated_to: "75" has no unit; give a temperature in °C or °F, such as "40 °C" or '
        '"104 °F"',
        'cream.xlsx: phase "heated", line 2 (Glycerin): percent is "1,500"; give a number from 0 to 100',
        'cream.xlsx: phase "cool-down", line 1 (Avena sativa kernel extract): percent is "2026-05-01T00:00:00"; give a '
        "number from 0 to 100"]


def test_missing_sheets(tmp_path, refused, sheets):
    """The product and the lines are needed, in a workbook and in CSV."""
    del sheets["Product"]
    expected = ("there is no sheet Product; the sheets are Product, Formula, Phases, Blends, Ingredients, and the first "
                "two are needed. 'preservecheck new' writes an example")
    assert refused(write_workbook(tmp_path, sheets)) == [f"cream.xlsx: {expected}"]
    assert refused(write_csv(tmp_path, sheets)) == [f"cream.*.csv: {expected}"]


def test_empty_sheet(tmp_path, refused, sheets):
    """A sheet that is needed and blank is named."""
    sheets["Formula"] = [[None]]
    assert refused(write_workbook(tmp_path, sheets)) == [
        "cream.xlsx: sheet Formula is empty; its first row names the columns phase, ingredient, percent, grams, strength, "
        "note"]


def test_large_sheets(tmp_path, refused, sheets):
    """More rows or columns than a recipe has are refused in a workbook and in CSV."""
    limit = "more than 5,000 rows or 50 columns; keep only the formula in this"
    long = sheets | {"Formula": [*sheets["Formula"], *([["heated", "Glycerin", 0]] * 5000)]}
    wide = sheets | {"Formula": [[*sheets["Formula"][0], *([None] * 50), "x"], *sheets["Formula"][1:]]}
    for big in (long, wide):
        assert refused(write_workbook(tmp_path, big)) == [f"cream.xlsx: sheet Formula: {limit} workbook"]
        assert refused(write_csv(tmp_path, big)) == [f"cream.Formula.csv: {limit} file"]


def test_a_cell_far_away(tmp_path, refused, sheets):
    """A lone cell at the end of the sheet is found without walking there."""
    path = write_workbook(tmp_path, sheets)
    book = openpyxl.load_workbook(path)
    book["Formula"]["XFD1048576"] = "x"
    book.save(path)
    assert refused(path) == [
        "cream.xlsx: sheet Formula: more than 5,000 rows or 50 columns; keep only the formula in this workbook"]


def test_csv_names(tmp_path, refused):
    """A CSV file without a sheet in its name is told how the files are called."""
    path = tmp_path / "cream.csv"
    path.write_text("phase,ingredient,percent\n")
    message, = refused(path)
    assert message.startswith("cream.csv: a formula in CSV is a set of files of one name: NAME.Product.csv and "
                              "NAME.Formula.csv")


@pytest.mark.parametrize(("text", "message"), [
    ('phase,ingredient\n"heated,Water\n', ", line 2: not readable as CSV (unexpected end of data); put a cell that holds a "
                                          "separator or a line break in quotation marks"),
    ("sep=|\nphase|ingredient|percent\n", ": the separator '|' is not read here; use comma, semicolon or tab"),
])
def test_broken_csv(tmp_path, refused, sheets, text, message):
    """A CSV file that cannot be taken apart is named with its line."""
    path = write_csv(tmp_path, sheets)
    path.write_text(text)
    assert refused(path) == [f"cream.Formula.csv{message}"]


def test_separator_line(tmp_path, load, sheets):
    """The line with which a spreadsheet program names the separator is understood."""
    expected = bare(load(write_csv(tmp_path, sheets)))
    path = write_csv(tmp_path, sheets, ";", ",")
    path.write_text("sep=;\n" + path.read_text())
    assert bare(load(path)) == expected


def test_csv_in_another_encoding(tmp_path, refused, sheets):
    """CSV that is not UTF-8 names the byte; faults of several files come together."""
    write_csv(tmp_path, sheets)
    (tmp_path / "cream.Product.csv").write_bytes("field,value\nname,Crème\n".encode("cp1252"))
    (tmp_path / "cream.Phases.csv").write_bytes("phase\n".encode("utf-16"))
    assert refused(tmp_path / "cream.Formula.csv") == [
        "cream.Product.csv: not UTF-8: byte 19 on line 2 is 0xE8; save it as UTF-8 (in a spreadsheet: 'CSV UTF-8')",
        "cream.Phases.csv: written as UTF-16; save it as UTF-8 (in a spreadsheet: 'CSV UTF-8')"]


def test_cells_are_streamed(tmp_path, load, sheets):
    """A wrong statement of its size in a workbook does not hide rows."""
    path = write_workbook(tmp_path, sheets)
    expected = bare(load(path))
    import zipfile  # noqa: PLC0415

    out = io.BytesIO()
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            data = old.read(name)
            if "worksheets" in name:
                start = data.index(b"<dimension")
                data = data[:start] + b'<dimension ref="A1:B2"/>' + data[data.index(b"/>", start) + 2:]
            new.writestr(name, data)
    path.write_bytes(out.getvalue())
    assert bare(load(path)) == expected
