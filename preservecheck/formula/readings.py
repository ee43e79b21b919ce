"""Reads a table of readings, CSV or workbook: columns by name, units, lines above the heading; all
faults at once.

What the columns mean is the caller's; here a cell becomes a number, a date or a text, or a fault.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from preservecheck.errors import FormulaError, ReadingsError, UnitError
from preservecheck.formula.csv import MAX_COLUMNS, MAX_ROWS, SEPARATORS
from preservecheck.formula.faults import Faults, not_known, shown
from preservecheck.formula.files import MAX_TEXT_BYTES, MAX_WORKBOOK_BYTES, Kind, file_bytes
from preservecheck.formula.sheet_form import Cell, Grid, text
from preservecheck.formula.toml import decoded
from preservecheck.text import join_or
from preservecheck.units import plain_number

READINGS = Kind(
    "a readings file", "readings are a .csv file or an .xlsx workbook", "write the readings into it"
)
# columns whose heading begins so are the maker's own remarks
_REMARKS = ("note", "remark", "comment")
_MISSING = ("n/a", "na", "nan", "-", "–", "—", "?", "none", "null", "missing")
_HEADER_LINE = re.compile(r"#?\s*([^:=]{1,60}?)\s*[:=]\s*(.{1,200})")
_GERMAN_DAY = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})")
_YEARS = (1990, 2100)


@dataclass(frozen=True)
class Row:
    """One row with its cells by column; blank cells are left out."""

    number: int  # as the spreadsheet shows it
    cells: Mapping[str, Cell]


@dataclass
class Table:
    """A file of readings with its columns found."""

    where: str
    units: Mapping[str, str | None]  # column -> the unit in its heading
    rows: list[Row]
    header: dict[str, Cell]  # lines above the heading
    faults: Faults
    comma_is_decimal: bool = False

    def has(self, column: str) -> bool:
        """Whether the column is there."""
        return column in self.units

    def fault(self, row: Row, what: str) -> None:
        """Note a fault of one row."""
        self.faults.add(f"row {row.number}: {what}")

    def number(
        self, row: Row, column: str, low: float, high: float, give: str, *, needed: bool = True
    ) -> float | None:
        """A number from ``low`` to ``high``, or ``None`` with a fault noted."""
        cell = row.cells.get(column)
        if is_missing(cell):
            if needed:
                self.fault(row, f"{column} is missing; {give}, or delete the row")
            return None
        try:
            value = as_number(cell, self.comma_is_decimal)
        except UnitError as error:
            self.fault(row, f"{column}: {error.messages[0]}; {give}")
            return None
        if not low <= value <= high:
            self.fault(row, f"{column} is {shown(value)}; {give}")
            return None
        return value

    def day(self, row: Row, column: str) -> dt.date | None:
        """A calendar day, or ``None`` with a fault noted."""
        cell = row.cells.get(column)
        give = "give a day as year-month-day, such as 2026-12-01"
        if is_missing(cell):
            self.fault(row, f"{column} is missing; {give}, or delete the row")
            return None
        day = as_day(cell)
        if day is None or not _YEARS[0] <= day.year <= _YEARS[1]:
            self.fault(row, f"{column} is {shown(cell)}; {give}")
            return None
        return day


@dataclass(frozen=True)
class Columns:
    """What a file of readings may hold.

    Parameters
    ----------
    names
        Heading in small letters, without brackets and underscores, to the column and the unit that
        it means.
    needed
        Groups of columns; one of each group must be there.
    header
        Lines that may stand above the heading, or be columns of their own.
    example
        A heading that is right, for messages.
    """

    names: Mapping[str, tuple[str, str | None]]
    needed: Sequence[Sequence[str]]
    example: str
    header: Sequence[str] = field(default=())


def read_readings(path: str | Path, columns: Columns) -> Table:
    """A file of readings with its columns found; the cells are judged by the caller.

    Parameters
    ----------
    path
        A ``.csv`` or ``.xlsx`` file.
    columns
        What it may hold.

    Raises
    ------
    ReadingsError
        The file cannot be read, or its columns are wrong; all faults at once.
    """
    return _table(grid_of(path), str(path), columns)


def grid_of(path: str | Path) -> Grid:
    """The cells of a file of readings as they stand.

    Raises
    ------
    ReadingsError
        The file cannot be read.
    """
    try:
        return _grid(Path(path))
    except FormulaError as error:
        raise ReadingsError(_reworded(m) for m in error.messages) from None


def _reworded(message: str) -> str:
    return message.replace(
        "more than a formula needs; copy the formula's sheets", "too much; copy the readings"
    )


def _grid(path: Path) -> Grid:
    suffix = path.suffix.casefold()
    if suffix == ".xlsx":
        from preservecheck.formula.workbook import read_first_sheet

        return read_first_sheet(file_bytes(path, MAX_WORKBOOK_BYTES, kind=READINGS), str(path))
    file_bytes(path, MAX_WORKBOOK_BYTES, only_look=True, kind=READINGS)
    if suffix not in (".csv", ".tsv", ".txt"):
        raise FormulaError(f"{path}: {READINGS.forms}; save it as one of them")
    return _csv_grid(decoded(file_bytes(path, MAX_TEXT_BYTES, kind=READINGS), str(path)), str(path))


def _csv_grid(content: str, where: str) -> Grid:
    """Lines split at the separator that most of them hold."""
    head, _, rest = content.partition("\n")
    skipped = 0
    if head.casefold().startswith("sep=") and len(head.strip()) == len("sep=;"):
        separator, content, skipped = head[4], rest, 1
    else:
        lines = [line for line in content.split("\n", 60)[:60] if line.strip()]
        separator = max(SEPARATORS, key=lambda s: (sum(s in line for line in lines), s == ";"))
    if separator not in SEPARATORS:
        raise FormulaError(
            f"{where}: the separator {separator!r} is not read here; use comma, semicolon or tab"
        )
    reader = csv.reader(io.StringIO(content, newline=""), delimiter=separator, strict=True)
    rows: list[tuple[int, list[Cell]]] = []
    try:
        for number, cells in enumerate(reader, 1 + skipped):
            if number > MAX_ROWS or len(cells) > MAX_COLUMNS:
                raise FormulaError(
                    f"{where}: more than {MAX_ROWS:,} rows or {MAX_COLUMNS} columns; keep only "
                    "the readings"
                )
            rows.append((number, [cell.strip() or None for cell in cells]))
    except csv.Error as error:
        raise FormulaError(
            f"{where}, line {reader.line_num}: not readable as CSV ({error})"
        ) from None
    return Grid("", rows, comma_is_decimal=separator != ",")


def _table(grid: Grid, where: str, columns: Columns) -> Table:
    faults = Faults(where, ReadingsError)
    filled = [(n, cells) for n, cells in grid.rows if any(text(c) for c in cells)]
    header: dict[str, Cell] = {}
    table = Table(where, {}, [], header, faults, grid.comma_is_decimal)
    while filled and _header_line(filled[0][1], header, columns):
        filled.pop(0)
    if not filled:
        faults.add(
            f"there is no reading in it; its first row names the columns, such as {columns.example}"
        )
        faults.raise_if_any()
    first, headings = filled[0]
    found = [_heading(text(cell), columns) for cell in headings]
    _check_headings(first, headings, [name for name, _ in found], header, columns, faults)
    faults.raise_if_any()
    table.units = {name: unit for name, unit in found if name}
    long: list[int] = []
    for number, cells in filled[1:]:
        if any(text(c) for c in cells[len(found) :]):
            long.append(number)
            continue
        pairs = zip(found, cells, strict=False)
        table.rows.append(Row(number, {name: c for (name, _), c in pairs if name and text(c)}))
    if long:
        hint = (
            ""
            if grid.comma_is_decimal
            else "; with decimal commas separate the columns by semicolons"
        )
        faults.add(f"{rows_text(long)}: more cells than the {len(found)} headings{hint}")
    if not table.rows and not faults:
        faults.add("there is no reading below the heading")
    return table


def _check_headings(
    first: int,
    headings: Sequence[Cell],
    names: Sequence[str | None],
    header: Mapping[str, Cell],
    columns: Columns,
    faults: Faults,
) -> None:
    """Note unknown, double and missing columns."""
    known = [name for name, _ in columns.names.values()]
    if not any(names):
        faults.add(
            f"row {first}: no column is known; the first row names the columns, such as "
            f"{columns.example}"
        )
        faults.raise_if_any()
    for cell, name in zip(headings, names, strict=True):
        if name is None and text(cell):
            words = tuple(dict.fromkeys(known))
            faults.add(
                f"row {first}: the column {shown(text(cell))} {not_known(text(cell), words)}. "
                "Begin the name of a column of your own with 'note'"
            )
    for name in dict.fromkeys(n for n in names if n):
        if names.count(name) > 1:
            faults.add(f"row {first}: two columns give {name}; keep one, in one unit")
    for group in columns.needed:
        if not set(group) & {*names, *header}:
            faults.add(
                f"row {first}: there is no column {join_or(group)}; the first row names the "
                "columns, such as "
                f"{columns.example}"
            )


def _header_line(cells: Sequence[Cell], header: dict[str, Cell], columns: Columns) -> bool:
    """Take a line above the heading, such as ``sample_grams: 50``; false where it is the heading or
    something else."""
    held = [c for c in cells if text(c)]
    match = _HEADER_LINE.fullmatch(text(held[0])) if len(held) == 1 else None
    name, value = (
        (match.group(1), match.group(2)) if match else (text(held[0]).lstrip("# "), held[-1])
    )
    small = _small(name)
    if len(held) <= 2 and small in columns.header and (match or len(held) == 2):  # noqa: PLR2004
        if len(held) == 2 and _heading(text(value), columns)[0] is not None:  # noqa: PLR2004
            return False
        header[small.replace(" ", "_")] = value
        return True
    return text(held[0]).startswith("#")


def _small(heading: str) -> str:
    tidy = unicodedata.normalize("NFKC", heading.replace("º", "°")).casefold().replace("_", " ")
    return " ".join(re.sub(r"[()\[\],:]", " ", tidy).split())


def _heading(written: str, columns: Columns) -> tuple[str | None, str | None]:
    """The column that a heading means, with its unit; an empty name for the maker's own remarks."""
    small = _small(written)
    if small in columns.names:
        return columns.names[small]
    return ("", None) if small.startswith(_REMARKS) else (None, None)


def rows_text(numbers: Sequence[int]) -> str:
    """``row 3``, or ``rows 3, 4, 5 and 9 more``."""
    shown_ = ", ".join(map(str, numbers[:5]))
    more = f" and {len(numbers) - 5} more" if len(numbers) > 5 else ""  # noqa: PLR2004
    return f"row{'s' if len(numbers) > 1 else ''} {shown_}{more}"


def is_missing(cell: Cell) -> bool:
    """Whether a cell holds nothing, or a word for nothing."""
    return cell is None or (isinstance(cell, str) and cell.strip().casefold() in ("", *_MISSING))


def as_number(cell: Cell, comma_is_decimal: bool = False) -> float:
    """A cell as a number; also ``1.2e5`` and ``1,2E5``.

    Raises
    ------
    UnitError
        It is none.
    """
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        if not math.isfinite(cell):
            raise UnitError(f"{cell} is not a number")
        return float(cell)
    if not isinstance(cell, str):
        raise UnitError(f"{shown(cell)} is not a number")
    match = re.fullmatch(r"(.+?)\s*(?:[eE]|[x×*]\s*10\s*\^?)\s*([+-]?\d{1,2})", cell.strip())
    if match:
        return plain_number(match.group(1), comma_is_decimal=comma_is_decimal) * float(
            10 ** int(match.group(2))
        )
    return plain_number(cell, comma_is_decimal=comma_is_decimal)


def as_day(cell: Cell) -> dt.date | None:
    """A cell as a calendar day: a date, ``2026-12-01`` or ``1.12.2026``; ``None`` where it is
    another thing."""
    if isinstance(cell, dt.datetime):
        return cell.date()
    if isinstance(cell, dt.date):
        return cell
    if not isinstance(cell, str):
        return None
    written = cell.strip()
    match = _GERMAN_DAY.fullmatch(written)
    try:
        if match:
            return dt.date(int(match.group(3)), int(match.group(2)), int(match.group(1)))
        return dt.datetime.fromisoformat(written).date()
    except ValueError:
        return None
