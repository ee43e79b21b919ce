"""Writes a filled-in formula to start from, in either form. The formula is made up for this
purpose."""

from __future__ import annotations

import csv
import io
import os
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from preservecheck.errors import FormulaError
from preservecheck.formula.sheet_form import MEASURED_FIELDS, PRODUCT_FIELDS, SHEETS

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

Rows = list[list[Any]]

_TOML = """\
# A formula for preservecheck. Everything after a # is a remark.
# Change what is here to what you make, then:  preservecheck review THIS_FILE
format = 1

[product]
name = "Oat rinse conditioner for the market stall"
use = "rinse-off"                 # leave-on or rinse-off
type = "conditioner"              # conditioner, shampoo, leave-in, styling, scalp or mask
markets = ["EU", "GB"]            # where you sell: EU, GB, US, CA, JP, ASEAN
users = "adults"                  # adults, under-3 or under-10
package = "bottle"                # jar, pump, tube, spray or bottle
batch = "500 g"                   # g, kg, oz or lb
scale_step = "0.1 g"              # the smallest step that your scale shows
on_market = 2026-12-01            # the law of that day is applied; left out, that of today

# What you have measured. Leave out what you have not: never guess.
[measured]
ph = 4.4
ph_tolerance = 0.1                # 0.1 with a meter calibrated the same day, 0.5 with strips
temperature = "23 °C"             # of the sample when the pH was read; °F is read as well
# water_activity = 0.98           # only if you had it measured
# water_activity_tolerance = 0.005

# Each phase: what goes in together. Amounts are percent of the whole (or grams, in the whole file).
[[phase]]
name = "heated"
heated_to = "75 °C"               # the hottest that this phase gets
held = "20 min"
items = [
  { ingredient = "Aqua", rest = true },                 # rest: fills up to 100 %
  { ingredient = "Glycerin", percent = 2.5 },
  { ingredient = "conditioning wax", percent = 5.5 },   # a blend, see below
  { ingredient = "Cetearyl Alcohol", percent = 1.5 },
]

[[phase]]
name = "cool-down"
added_at = "38 °C"                # temperature of the batch when this goes in
items = [
  { ingredient = "oat glycerite", percent = 2.0, note = "stir in before the preservative" },
  # the id of a preservative; 'preservecheck tables list systems' shows them all
  { preservative = "benzyl-alcohol-dehydroacetic-acid", percent = 0.8 },
  # sold as a solution? { ingredient = "Cocamidopropyl Betaine", percent = 10, strength = 30 }
]

# What a raw material is made of, in percent, from its supplier's papers.
[blend."conditioning wax"]
"Cetearyl Alcohol" = 75
"Behentrimonium Methosulfate" = 25

[blend."oat glycerite"]
"Glycerin" = 70
"Aqua" = 29.4
"Phenoxyethanol" = 0.6            # a preservative that a raw material brings along counts

# An ingredient that the tables do not know, for this formula alone:
# [ingredient."my new powder"]
# role = "powder"
# water_fraction = 0
"""

_READ_ME = (
    "A formula for preservecheck. Change what is here to what you make, save, then: preservecheck "
    "review THIS_FILE",
    "Product: what you make and what you have measured. Leave blank what you have not measured: "
    "never guess.",
    "Formula: one line an ingredient. Amounts are percent of the whole, or name the column grams "
    "and give grams.",
    "The word rest in the place of the amount marks the line that fills up to 100 %.",
    "A preservative goes into the column ingredient under its id; preservecheck tables list "
    "systems shows them all.",
    "Strength: percent of active substance, for what is sold as a solution.",
    "Phases: the hottest that a phase gets, how long it is held there, and the temperature of the "
    "batch when it "
    "goes in. Write the unit: 75 °C or 167 °F, 20 min.",
    "Blends: what a raw material is made of, in percent, from its supplier's papers; each adds up "
    "to 100.",
    "An ingredient that the tables do not know goes into a sheet Ingredients with the columns "
    "ingredient, role, "
    "water fraction.",
    "Sheets whose name begins with Read me are not read.",
)
_WIDTHS = {"field": 26, "value": 44, "phase": 16, "ingredient": 38, "blend": 26, "note": 40}
_HEADING_COLOUR = "FFDDE8E4"


def starter_toml() -> str:
    """The starter formula as TOML, with remarks on every field."""
    return _TOML


def starter_sheets() -> dict[str, Rows]:
    """The starter formula as sheets: name to rows, the headings first."""
    return raw_to_sheets(tomllib.loads(_TOML))


def raw_to_sheets(raw: dict[str, Any]) -> dict[str, Rows]:
    """A formula in the layout of the TOML form as sheets; the reverse of reading them.

    Parameters
    ----------
    raw
        The formula as nested dictionaries.
    """
    sections = (("product", PRODUCT_FIELDS), ("measured", MEASURED_FIELDS))
    product: Rows = [["field", "value"]]
    for section, fields in sections:
        for field, key in fields.items():
            value = raw.get(section, {}).get(key)
            product.append([field, ", ".join(value) if isinstance(value, list) else value])
    items = [(phase.get("name"), item) for phase in raw["phase"] for item in phase["items"]]
    amount = "grams" if any("grams" in item for _, item in items) else "percent"
    lines: Rows = [["phase", "ingredient", amount, "strength", "note"]]
    lines += [
        [
            phase,
            item.get("ingredient") or item.get("preservative"),
            "rest" if item.get("rest") else item.get(amount),
            item.get("strength"),
            item.get("note"),
        ]
        for phase, item in items
    ]
    phases: Rows = [list(SHEETS["Phases"])]
    phases += [
        [p.get("name"), p.get("heated_to"), p.get("added_at"), p.get("held")] for p in raw["phase"]
    ]
    sheets = {"Product": product, "Formula": lines, "Phases": phases}
    if blends := raw.get("blend"):
        sheets["Blends"] = [
            list(SHEETS["Blends"]),
            *([b, part, share] for b, parts in blends.items() for part, share in parts.items()),
        ]
    if own := raw.get("ingredient"):
        columns = list(dict.fromkeys(k for block in own.values() for k in block))
        sheets["Ingredients"] = [
            ["ingredient", *(c.replace("_", " ") for c in columns)],
            *([name, *(_joined(block.get(c)) for c in columns)] for name, block in own.items()),
        ]
    return sheets


def _joined(value: Any) -> Any:
    return "|".join(value) if isinstance(value, list) else value


def write_starter(path: str | os.PathLike[str], *, force: bool = False) -> list[Path]:
    """Write the starter formula in the form that the file's name asks for.

    Parameters
    ----------
    path
        ``NAME.toml``, ``NAME.xlsx``, or ``NAME.csv`` for a set of CSV files.
    force
        Overwrite what is there.

    Returns
    -------
    list[Path]
        The files written.

    Raises
    ------
    FormulaError
        A file exists already, the folder does not, or the name ends in something else.
    """
    path = Path(path)
    match path.suffix.casefold():
        case ".toml":
            files: dict[Path, Callable[[], bytes]] = {path: starter_toml().encode}
        case ".xlsx":
            files = {path: lambda: workbook_bytes(starter_sheets())}
        case ".csv":
            stem = path.stem
            if stem.rpartition(".")[2].casefold() in {s.casefold() for s in SHEETS}:
                stem = stem.rpartition(".")[0]
            files = {
                path.with_name(f"{stem}.{name}.csv"): (lambda rows=rows: csv_bytes(rows))  # type: ignore[misc]
                for name, rows in starter_sheets().items()
            }
        case _:
            raise FormulaError(f"{path}: give a name that ends in .toml, .xlsx or .csv")
    if not path.parent.is_dir():
        raise FormulaError(f"{path}: there is no folder {path.parent}; make it first")
    for file in files:
        if file.is_dir():
            raise FormulaError(f"{file}: is a folder; choose another name")
        if file.exists() and not force:
            raise FormulaError(
                f"{file}: exists already; choose another name, or overwrite it with --force"
            )
    for file, content in files.items():
        _write_whole(file, content())
    return list(files)


def _write_whole(path: Path, data: bytes) -> None:
    """Write a file so that it is there as a whole or not at all."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        part.write_bytes(data)
        part.replace(path)
    except OSError as error:
        raise FormulaError(f"{path}: cannot be written: {error.strerror or error}") from None
    finally:
        part.unlink(missing_ok=True)


def csv_bytes(rows: Rows) -> bytes:
    """One sheet as CSV, marked as UTF-8 so that spreadsheet programs show the degree sign."""
    buffer = io.StringIO(newline="")
    csv.writer(buffer, lineterminator="\n").writerows(rows)
    return buffer.getvalue().encode("utf-8-sig")


def workbook_bytes(sheets: dict[str, Rows]) -> bytes:
    """Sheets as a workbook, with headings that stay in sight and a sheet that explains them."""
    import openpyxl

    book = openpyxl.Workbook()
    first = book.active
    assert first is not None
    first.title = "Read me"
    for sentence in _READ_ME:
        first.append([sentence])
    first.column_dimensions["A"].width = 110
    for name, rows in sheets.items():
        _fill(book.create_sheet(name), rows)
    book.active = 1
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def _fill(sheet: Worksheet, rows: Rows) -> None:
    from openpyxl.styles import Alignment, Font, PatternFill
    from openpyxl.utils import get_column_letter

    for row in rows:
        sheet.append(row)
        for cell in sheet[sheet.max_row]:
            if isinstance(cell.value, str):
                cell.data_type = "s"  # a name that begins with = is a name
    for at, heading in enumerate(rows[0], 1):
        cell = sheet.cell(1, at)
        cell.font = Font(bold=True)
        cell.fill = PatternFill("solid", fgColor=_HEADING_COLOUR)
        cell.alignment = Alignment(horizontal="left")
        sheet.column_dimensions[get_column_letter(at)].width = _WIDTHS.get(str(heading), 14)
    sheet.freeze_panes = "A2"
