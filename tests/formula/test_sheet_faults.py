"""Sheets are refused where they could be misread, with sheet and row."""

import datetime as dt

import openpyxl
import pytest


@pytest.mark.parametrize("ref", ["C2:C3", "A2:B2", "A1:B1", "B4:E4", "A1:A2"])
def test_other_merged_cells(write_workbook, refused, sheets, ref):
    """Any other merge hides what belongs to which row."""
    path = write_workbook(sheets)
    book = openpyxl.load_workbook(path)
    book["Formula"].merge_cells(ref)
    book.save(path)
    assert refused(path) == [
        f"cream.xlsx: sheet Formula: the cells {ref} are merged, so it cannot be told what belongs"
        " to which row; take the merging apart and fill in each cell"
    ]


def test_a_merge_over_a_whole_sheet(write_workbook, refused, sheets):
    """A merge over all cells of a sheet is refused without making those cells."""
    path = write_workbook(sheets)
    book = openpyxl.load_workbook(path)
    book["Formula"].merged_cells.add("A1:XFD1048576")
    book.save(path)
    (message,) = refused(path)
    assert "the cells A1:XFD1048576 are merged" in message


def test_unsaved_formulas(write_workbook, refused, sheets):
    """A formula whose result was never saved is not taken for an empty cell."""
    path = write_workbook(sheets)
    book = openpyxl.load_workbook(path)
    book["Formula"]["C3"], book["Formula"]["C4"] = "=1+2", "=SUM(C3)"
    book.save(path)
    assert refused(path) == [
        "cream.xlsx: sheet Formula: C3, C4 hold a formula without a saved result; open it in a"
        " spreadsheet program and save it again as .xlsx, or write the number"
    ]


def test_error_cells(write_workbook, refused, sheets):
    """A cell that holds an error of the spreadsheet is named."""
    sheets["Formula"][2][2] = "#REF!"
    assert refused(write_workbook(sheets)) == [
        "cream.xlsx: sheet Formula, cell C3 holds the error #REF!; correct it in the spreadsheet "
        "and save again"
    ]


def test_other_sheets(write_workbook, load, refused, sheets):
    """Sheets that are empty or called Read me are passed over; any other is refused, lest a
    misspelt one be lost."""
    load(write_workbook(sheets | {"Sheet1": [[None]], "Read me too": [["hello"]]}))
    assert refused(write_workbook(sheets | {"Phase": [["phase"], ["x"]]})) == [
        "cream.xlsx: sheet Phase is not known here; the sheets are Product, Formula, Phases,"
        " Blends, Ingredients, Settled. Begin the name of a sheet that is not to be read with 'Read me'"
    ]


FIELDS = (
    "name, use, type, kind, markets, users, package, batch, scale step, on market, shelf life, ph,"
    " ph tolerance, sample temperature, water activity, water activity tolerance"
)


@pytest.mark.parametrize(
    ("sheet", "row", "cells", "message"),
    [
        (
            "Product",
            -1,
            ["pH value", 5],
            f'sheet Product, row 17: the field "pH value" is not known here; allowed are {FIELDS}',
        ),
        (
            "Product",
            -1,
            ["packing", "jar"],
            (
                'sheet Product, row 17: the field "packing" is not known here; did you mean'
                f" package? Allowed are {FIELDS}"
            ),
        ),
        (
            "Product",
            -1,
            ["name", "x"],
            "sheet Product, row 17: the field name is already on row 2; delete one",
        ),
        (
            "Formula",
            0,
            ["phase", "ingredient", "percent", "strength", "cost"],
            (
                'sheet Formula, row 1: the column "cost" is not known here; allowed are phase,'
                " ingredient, percent, grams, strength, purpose, note"
            ),
        ),
        (
            "Formula",
            0,
            ["phase", "ingredient", "percent", "percent", "note"],
            "sheet Formula, row 1: the column percent appears twice; delete one",
        ),
        (
            "Formula",
            0,
            ["phase", "ingredient", None, "strength", "note"],
            (
                "sheet Formula, row 1: the column percent or grams is missing; the first row names"
                " the columns phase, ingredient, percent, grams, strength, purpose, note"
            ),
        ),
        (
            "Formula",
            1,
            [None, "Water", "rest"],
            (
                "sheet Formula, row 2: no phase; name it, such as heated or cool-down. A blank cell"
                " repeats the phase above"
            ),
        ),
        (
            "Formula",
            2,
            ["heated", None, 100],
            (
                "sheet Formula, row 3: no ingredient; name it, or delete the row (a row of totals "
                "is not read)"
            ),
        ),
        (
            "Formula",
            2,
            ["heated", "Glycerin", 3, None, None, "dear"],
            (
                'sheet Formula, row 3: "dear" is under no heading; delete it or move it to '
                "another file"
            ),
        ),
        (
            "Phases",
            2,
            ["heated", None, "40 °C"],
            'sheet Phases, row 3: phase "heated" is already on row 2; keep one row a phase',
        ),
        (
            "Phases",
            2,
            [None, None, "40 °C"],
            "sheet Phases, row 3: no phase; name it as in the sheet Formula",
        ),
        (
            "Blends",
            1,
            ["wax", "Glycerin", None],
            (
                "sheet Blends, row 2: a row names the blend, one ingredient of it and its percent"
                " of the blend; fill in all three"
            ),
        ),
        (
            "Blends",
            2,
            ["wax", "Glycerin", 50],
            'sheet Blends, row 3: "Glycerin" appears twice in blend "wax"; delete one',
        ),
        ("Ingredients", 1, [None, "powder"], "sheet Ingredients, row 2: no ingredient; name it"),
        (
            "Ingredients",
            2,
            ["chalk", "powder"],
            'sheet Ingredients, row 3: "chalk" appears twice; delete one row',
        ),
    ],
)
def test_sheet_faults(write_workbook, write_csv, refused, sheets, sheet, row, cells, message):  # noqa: PLR0917
    """What cannot be understood in a sheet is named with sheet and row, alike in a workbook and in
    CSV."""
    sheets |= {
        "Blends": [
            ["blend", "ingredient", "percent"],
            ["wax", "Glycerin", 50],
            ["wax", "Water", 50],
        ],
        "Ingredients": [["ingredient", "role"], ["chalk", "powder"], ["clay", "powder"]],
    }
    if row == -1:
        sheets[sheet] = [r for r in sheets[sheet] if r[0] != "water activity tolerance"] + [cells]
    else:
        sheets[sheet][row] = cells
    assert refused(write_workbook(sheets)) == [f"cream.xlsx: {message}"]
    assert refused(write_csv(sheets)) == [f"cream.*.csv: {message}"]


def test_a_phase_that_has_no_lines(write_workbook, refused, sheets):
    """A phase of the sheet Phases that no line names is refused like an empty phase."""
    sheets["Phases"].append(["heatd", "75 °C", None, None])
    (message,) = refused(write_workbook(sheets))
    assert message.startswith('cream.xlsx: phase "heatd" is empty')


def test_cells_that_are_no_number(write_workbook, refused, sheets):
    """Text, dates and numbers that can be read in two ways are refused where a number is needed."""
    sheets["Formula"][2][2] = "1,500"
    sheets["Formula"][3][2] = dt.datetime(2026, 5, 1)
    sheets["Phases"][1][1] = 75
    assert refused(write_workbook(sheets)) == [
        (
            'cream.xlsx: phase "heated": heated_to: "75" has no unit; give a temperature in °C or'
            ' °F, such as "40 °C" or "104 °F"'
        ),
        (
            'cream.xlsx: phase "heated", line 2 (Glycerin): percent is "1,500"; give a number '
            "from 0 to 100"
        ),
        (
            'cream.xlsx: phase "cool-down", line 1 (Avena sativa kernel extract): percent is'
            ' "2026-05-01T00:00:00"; give a number from 0 to 100'
        ),
    ]


def test_missing_sheets(write_workbook, write_csv, refused, sheets):
    """The product and the lines are needed, in a workbook and in CSV."""
    del sheets["Product"]
    expected = (
        "there is no sheet Product; the sheets are Product, Formula, Phases, Blends, Ingredients,"
        " Settled, and the first two are needed. 'preservecheck new' writes an example"
    )
    assert refused(write_workbook(sheets)) == [f"cream.xlsx: {expected}"]
    assert refused(write_csv(sheets)) == [f"cream.*.csv: {expected}"]


def test_empty_sheet(write_workbook, refused, sheets):
    """A sheet that is needed and blank is named."""
    sheets["Formula"] = [[None]]
    assert refused(write_workbook(sheets)) == [
        "cream.xlsx: sheet Formula is empty; its first row names the columns phase, ingredient,"
        " percent, grams, strength, purpose, note"
    ]


def test_large_sheets(write_workbook, write_csv, refused, sheets):
    """More rows or columns than a recipe has are refused in a workbook and in CSV."""
    limit = "more than 5,000 rows or 50 columns; keep only what is to be read"
    more = [["heated", "Glycerin", 0]] * 5000
    long = sheets | {"Formula": [*sheets["Formula"], *more]}
    wide = sheets | {
        "Formula": [[*sheets["Formula"][0], *([None] * 50), "x"], *sheets["Formula"][1:]]
    }
    for big in (long, wide):
        assert refused(write_csv(big)) == [f"cream.Formula.csv: {limit}"]
    assert refused(write_workbook(wide)) == [f"cream.xlsx: sheet Formula: {limit}"]
    path = write_workbook(sheets)
    book = openpyxl.load_workbook(path)
    for row in more:
        book["Formula"].append(row)
    book.save(path)
    assert refused(path) == [f"cream.xlsx: sheet Formula: {limit}"]


def test_a_cell_far_away(write_workbook, refused, sheets):
    """A lone cell at the end of the sheet is found without walking there."""
    path = write_workbook(sheets)
    book = openpyxl.load_workbook(path)
    book["Formula"]["XFD1048576"] = "x"
    book.save(path)
    assert refused(path) == [
        "cream.xlsx: sheet Formula: more than 5,000 rows or 50 columns; keep only what is to be "
        "read"
    ]


def test_csv_names(tmp_path, refused):
    """A CSV file without a sheet in its name is told how the files are called."""
    path = tmp_path / "cream.csv"
    path.write_text("phase,ingredient,percent\n")
    (message,) = refused(path)
    assert message.startswith(
        "cream.csv: is not a sheet of a formula; a formula in CSV is a set of files of one name: NAME.Product.csv and "
        "NAME.Formula.csv"
    )


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            'phase,ingredient\n"heated,Water\n',
            (
                ": line 2: not readable as CSV (unexpected end of data); put a cell that holds a "
                "separator or a line break in quotation marks"
            ),
        ),
        (
            "sep=|\nphase|ingredient|percent\n",
            ": the separator '|' is not read here; use comma, semicolon or tab",
        ),
    ],
)
def test_broken_csv(write_csv, refused, sheets, text, message):
    """A CSV file that cannot be taken apart is named with its line."""
    path = write_csv(sheets)
    path.write_text(text)
    assert refused(path) == [f"cream.Formula.csv{message}"]


def test_csv_in_another_encoding(write_csv, tmp_path, refused, sheets):
    """CSV that is not UTF-8 names the byte; faults of several files come together."""
    write_csv(sheets)
    (tmp_path / "cream.Product.csv").write_bytes("field,value\nname,Crème\n".encode("cp1252"))
    (tmp_path / "cream.Phases.csv").write_bytes("phase\n".encode("utf-16"))
    assert refused(tmp_path / "cream.Formula.csv") == [
        (
            "cream.Product.csv: not UTF-8: byte 19 on line 2 is 0xE8; save it as UTF-8 (in a "
            "spreadsheet: 'CSV UTF-8')"
        ),
        "cream.Phases.csv: written as UTF-16; save it as UTF-8 (in a spreadsheet: 'CSV UTF-8')",
    ]
