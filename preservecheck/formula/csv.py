"""Reads a formula kept as CSV files side by side: ``cream.Product.csv``, ``cream.Formula.csv`` and
so on."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from preservecheck.errors import FormulaError
from preservecheck.formula.sheet_form import SHEETS, Grid
from preservecheck.formula.toml import decoded

MAX_ROWS = 5000
MAX_COLUMNS = 50
SEPARATORS = ",;\t"
_HELP = (
    "a formula in CSV is a set of files of one name: NAME.Product.csv and NAME.Formula.csv, and "
    "where needed "
    "NAME.Phases.csv, NAME.Blends.csv, NAME.Ingredients.csv; give any one of them"
)


def sheet_files(path: Path) -> dict[str, Path]:
    """The files that belong together with one of them, by sheet, in the fixed order of the sheets.

    Parameters
    ----------
    path
        Any file of the set.

    Raises
    ------
    FormulaError
        The name has no sheet in it.
    """
    by_small = {name.casefold(): name for name in SHEETS}
    stem, dot, sheet = path.stem.rpartition(".")
    if not dot or sheet.casefold() not in by_small:
        raise FormulaError(f"{path}: {_HELP}")
    found: dict[str, Path] = {}
    for other in sorted(path.parent.iterdir()):
        name, _, suffix = other.stem.rpartition(".")
        if name == stem and other.suffix.casefold() == ".csv" and suffix.casefold() in by_small:
            found.setdefault(by_small[suffix.casefold()], other)
    found[by_small[sheet.casefold()]] = path
    return {name: found[name] for name in SHEETS if name in found}


def read_csv(data: bytes, where: str, place: str) -> Grid:
    """One CSV file as a grid; the separator is the one that the first line holds most of.

    Parameters
    ----------
    data
        The file, UTF-8.
    where
        File name for messages.
    place
        The sheet as messages about its rows name it.

    Raises
    ------
    FormulaError
        Not UTF-8, not CSV, or larger than any formula.
    """
    text = decoded(data, where)
    head, _, rest = text.partition("\n")
    if head.casefold().startswith("sep=") and len(head.strip()) == len("sep=;"):
        separator, text, skipped = head[4], rest, 1
    else:
        lines = (line for line in text.split("\n", 20) if line.strip())
        first = next(lines, "")
        separator, skipped = max(SEPARATORS, key=first.count), 0
    if separator not in SEPARATORS:
        raise FormulaError(
            f"{where}: the separator {separator!r} is not read here; use comma, semicolon or tab"
        )
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    rows = []
    try:
        for number, cells in enumerate(reader, 1 + skipped):
            if number > MAX_ROWS or len(cells) > MAX_COLUMNS:
                raise FormulaError(
                    f"{where}: more than {MAX_ROWS:,} rows or {MAX_COLUMNS} columns; keep only "
                    "the formula in this file"
                )
            rows.append((number, [cell.strip() or None for cell in cells]))
    except csv.Error as error:
        raise FormulaError(
            f"{where}, line {reader.line_num}: not readable as CSV ({error}); put a cell that "
            "holds a "
            "separator or a line break in quotation marks"
        ) from None
    return Grid(place, [(n, list(cells)) for n, cells in rows], comma_is_decimal=separator == ";")
