"""Writes a filled-in formula to start from, in either form. The formula is made up for this
purpose."""

from __future__ import annotations

import csv
import io
import os
import tomllib
from collections.abc import Mapping
from pathlib import Path
from string import Template
from typing import TYPE_CHECKING, Any

from preservecheck.errors import NO_WORDS, FormulaError, Hint
from preservecheck.files import write_all
from preservecheck.formula.model import PACKAGES, PRODUCT_TYPES, USERS, USES
from preservecheck.formula.settled import KEYS as ANSWER
from preservecheck.formula.settled import in_one_cell
from preservecheck.formula.sheets import MEASURED_FIELDS, PRODUCT_FIELDS, SHEETS
from preservecheck.reference.load import load_tables
from preservecheck.text import join_or

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

Rows = list[list[Any]]

_TOML = Template("""\
# A formula for preservecheck. Everything after a # is a remark.
# Change what is here to what you make.$review
format = 1

[product]
name = "Oat rinse conditioner for the market stall"
use = "rinse-off"                 # $uses
type = "conditioner"              # $types
# kind = "co-wash"                # finer, from the table product_kinds
markets = ["EU", "GB"]            # where you sell: $markets
users = "adults"                  # $users
package = "bottle"                # $packages
batch = "500 g"                   # g, kg, oz or lb
scale_step = "0.1 g"              # the smallest step that your scale shows
on_market = 2026-12-01            # the law of that day is applied; left out, that of today
shelf_life = "30 months"          # what the unopened pack should keep; months or years

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
  # the id of a preservative system$systems
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
""")
_READ_ME = (
    "A formula for preservecheck. Change what is here to what you make, and save.$review",
    "Product: what you make and what you have measured. Leave blank what you have not measured: "
    "never guess.",
    "Formula: one line an ingredient. Amounts are percent of the whole, or name the column grams "
    "and give grams.",
    "The word rest in the place of the amount marks the line that fills up to 100 %.",
    "A preservative goes into the column ingredient under its id$systems.",
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


def starter_toml(hints: Mapping[Hint, str] = NO_WORDS) -> str:
    """The starter formula as TOML, with remarks on every field; those on what to do next in the
    words of a front end."""
    return _TOML.substitute(
        _next_steps(hints),
        uses=join_or(USES),
        types=join_or(PRODUCT_TYPES),
        markets=", ".join(market.id for market in load_tables().markets),
        users=join_or(USERS),
        packages=join_or(PACKAGES),
    )


def _next_steps(hints: Mapping[Hint, str]) -> dict[str, str]:
    review, systems = hints.get(Hint.REVIEW), hints.get(Hint.LIST_SYSTEMS)
    return {
        "review": f" Then {review}." if review else "",
        "systems": f"; {systems}" if systems else "",
    }


def starter_sheets() -> dict[str, Rows]:
    """The starter formula as sheets: name to rows, the headings first."""
    return raw_to_sheets(tomllib.loads(starter_toml()))


def raw_to_sheets(raw: dict[str, Any]) -> dict[str, Rows]:
    """A formula in the layout of the TOML form as sheets; the reverse of reading them."""
    sections = (("product", PRODUCT_FIELDS), ("measured", MEASURED_FIELDS))
    product: Rows = [["field", "value"]]
    for section, fields in sections:
        for field, key in fields.items():
            value = raw.get(section, {}).get(key)
            product.append([field, ", ".join(value) if isinstance(value, list) else value])
    items = [(phase.get("name"), item) for phase in raw["phase"] for item in phase["items"]]
    amount = "grams" if any("grams" in item for _, item in items) else "percent"
    purpose = any("purpose" in item for _, item in items)
    lines: Rows = [["phase", "ingredient", amount, "strength", *["purpose"] * purpose, "note"]]
    lines += [
        [
            phase,
            item.get("ingredient") or item.get("preservative"),
            "rest" if item.get("rest") else item.get(amount),
            item.get("strength"),
            *[item.get("purpose")] * purpose,
            item.get("note"),
        ]
        for phase, item in items
    ]
    phases: Rows = [["phase", "heated to", "added at", "held"]]
    phases += [
        [p.get("name"), p.get("heated_to"), p.get("added_at"), p.get("held")] for p in raw["phase"]
    ]
    sheets = {"Product": product, "Formula": lines, "Phases": phases}
    if blends := raw.get("blend"):
        sheets["Blends"] = [
            list(SHEETS["Blends"]),
            *([b, part, share] for b, parts in blends.items() for part, share in parts.items()),
        ]
    if answers := raw.get("settled"):
        sheets["Settled"] = [
            list(SHEETS["Settled"]),
            *([_figures(a.get(k)) for k in ANSWER] for a in answers),
        ]
    if own := raw.get("ingredient"):
        columns = list(dict.fromkeys(k for block in own.values() for k in block))
        sheets["Ingredients"] = [
            ["ingredient", *(c.replace("_", " ") for c in columns)],
            *([name, *(_joined(block.get(c)) for c in columns)] for name, block in own.items()),
        ]
    return sheets


def _figures(value: Any) -> Any:
    return in_one_cell(value) if isinstance(value, dict) else value


def _joined(value: Any) -> Any:
    return "|".join(value) if isinstance(value, list) else value


def write_starter(
    path: str | os.PathLike[str], *, force: bool = False, hints: Mapping[Hint, str] = NO_WORDS
) -> list[Path]:
    """Write the starter formula; gives the files that were written.

    ``NAME.csv`` becomes a set of CSV files. The hints say what to do next, as a front end words it.
    A ``FormulaError`` where a file exists already, the folder does not, or the name ends in
    something else.
    """
    path = Path(path)
    stem = path.stem
    if stem.rpartition(".")[2].casefold() in {s.casefold() for s in SHEETS}:
        stem = stem.rpartition(".")[0]
    sheets = [path.with_name(f"{stem}.{name}.csv") for name in SHEETS if name in starter_sheets()]
    suffix = path.suffix.casefold()
    if suffix not in (".toml", ".xlsx", ".csv"):
        raise FormulaError("", "give a name that ends in .toml, .xlsx or .csv", where=str(path))
    files = sheets if suffix == ".csv" else [path]
    if not path.parent.is_dir():
        found = f"there is no folder {path.parent}"
        raise FormulaError(found, "make it first", where=str(path))
    for file in files:
        if file.is_dir():
            raise FormulaError("is a folder", "choose another name", where=str(file))
        if file.exists() and not force:
            raise FormulaError("exists already", where=str(file), hint=Hint.OVERWRITE)
    if suffix == ".csv":
        contents = [csv_bytes(rows) for rows in starter_sheets().values()]
    elif suffix == ".xlsx":
        contents = [workbook_bytes(starter_sheets(), hints)]
    else:
        contents = [starter_toml(hints).encode()]
    write_all(dict(zip(files, contents, strict=True)), FormulaError)
    return files


def csv_bytes(rows: Rows) -> bytes:
    """One sheet as CSV, marked as UTF-8 so that spreadsheet programs show the degree sign."""
    buffer = io.StringIO(newline="")
    csv.writer(buffer, lineterminator="\n").writerows(rows)
    return buffer.getvalue().encode("utf-8-sig")


def workbook_bytes(sheets: dict[str, Rows], hints: Mapping[Hint, str] = NO_WORDS) -> bytes:
    """Sheets as a workbook, with headings that stay in sight and a sheet that explains them."""
    import openpyxl

    book = openpyxl.Workbook()
    first = book.active
    assert first is not None
    first.title = "Read me"
    for sentence in _READ_ME:
        first.append([Template(sentence).substitute(_next_steps(hints))])
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
