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
from dataclasses import dataclass
from pathlib import Path

from preservecheck.errors import RawPath, ReadingsError, UnitError
from preservecheck.files import MAX_TEXT_BYTES, MAX_WORKBOOK_BYTES, Kind, decoded, file_bytes
from preservecheck.formula.faults import Faults, not_known, shown
from preservecheck.formula.grid import Cell, Grid, csv_grid, text
from preservecheck.text import join_or
from preservecheck.units import plain_number

READINGS = Kind(
    "a readings file",
    "readings are a .csv file or an .xlsx workbook",
    ReadingsError,
    "write the readings into it",
)
# columns whose heading begins so are the maker's own remarks
_REMARKS = ("note", "remark", "comment")
# a reading that is missing
_LEAVE_OUT = "leave the reading out"
_NAMES_COLUMNS = "the heading names the columns, such as"
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

    def fault(
        self, row: Row, column: str, found: str, allowed: str = "", *, value: str = ""
    ) -> None:
        """Note a fault of one cell; without a column, of the row."""
        self.faults.add(
            found,
            allowed,
            path=(row.number, column) if column else (row.number,),
            place=f"row {row.number}",
            name=column,
            value=value,
        )

    def number(
        self, row: Row, column: str, low: float, high: float, allowed: str, *, needed: bool = True
    ) -> float | None:
        """A number from ``low`` to ``high``, or ``None`` with a fault noted."""
        cell = row.cells.get(column)
        if is_missing(cell):
            if needed:
                self.fault(row, column, "is missing", f"{allowed}, or {_LEAVE_OUT}")
            return None
        try:
            value = as_number(cell, self.comma_is_decimal)
        except UnitError as error:
            fault = error.faults[0]
            self.fault(row, column, fault.found, allowed, value=fault.value)
            return None
        if not low <= value <= high:
            self.fault(row, column, "", allowed, value=shown(value))
            return None
        return value

    def day(self, row: Row, column: str) -> dt.date | None:
        """A calendar day, or ``None`` with a fault noted."""
        cell = row.cells.get(column)
        allowed = "give a day as year-month-day, such as 2026-12-01"
        if is_missing(cell):
            self.fault(row, column, "is missing", f"{allowed}, or {_LEAVE_OUT}")
            return None
        day = as_day(cell)
        if day is None or not _YEARS[0] <= day.year <= _YEARS[1]:
            self.fault(row, column, "", allowed, value=shown(cell))
            return None
        return day


@dataclass(frozen=True)
class Columns:
    """What a file of readings may hold."""

    # heading in small letters, without brackets and underscores -> column and unit that it means
    names: Mapping[str, tuple[str, str | None]]
    needed: Sequence[Sequence[str]]  # groups of columns; one of each must be there
    example: str  # a heading that is right, for messages
    header: Sequence[str] = ()  # lines that may stand above the heading, or be columns


def read_readings(path: str | Path, columns: Columns) -> Table:
    """A file of readings with its columns found, whose cells the caller judges; a ``ReadingsError``
    with all faults of the file and its columns."""
    return _table(grid_of(path), str(path), columns)


def grid_of(path: str | Path) -> Grid:
    """The cells of a file of readings as they stand; a ``ReadingsError`` where it cannot be
    read."""
    path = Path(path)
    suffix = path.suffix.casefold()
    if suffix == ".xlsx":
        from preservecheck.formula.workbook import read_first_sheet

        data = file_bytes(path, MAX_WORKBOOK_BYTES, READINGS)
        return read_first_sheet(data, str(path), ReadingsError)
    file_bytes(path, MAX_WORKBOOK_BYTES, READINGS, only_look=True)
    if suffix not in (".csv", ".tsv", ".txt"):
        raise ReadingsError(READINGS.forms, "save it as one of them", where=str(path))
    return csv_grid(file_bytes(path, MAX_TEXT_BYTES, READINGS), str(path), "", ReadingsError)


def readings_text(path: str | Path) -> str:
    """What a file of readings holds: a text as it stands, of a workbook its first sheet with commas
    between the cells; a ``ReadingsError`` where it cannot be read."""
    path = Path(path)
    grid = grid_of(path)
    if path.suffix.casefold() != ".xlsx":
        return decoded(path.read_bytes(), str(path), ReadingsError)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    at = 1
    for number, cells in grid.rows:
        # an empty row keeps its line, so that the lines have the numbers of the sheet's rows
        out.write("\n" * (number - at))
        writer.writerow([_as_written(cell) for cell in cells])
        at = number + 1
    return out.getvalue()


def _as_written(cell: Cell) -> str:
    """A cell on one line: a day without its hour, a number with all of its digits."""
    if isinstance(cell, dt.datetime):
        return cell.date().isoformat()
    if isinstance(cell, dt.date):
        return cell.isoformat()
    return " ".join(text(cell).split())


def _table(grid: Grid, where: str, columns: Columns) -> Table:
    faults = Faults(where, ReadingsError)
    filled = grid.filled()
    header: dict[str, Cell] = {}
    table = Table(where, {}, [], header, faults, grid.comma_is_decimal)
    while filled and _header_line(filled[0][1], header, columns):
        filled.pop(0)
    if not filled:
        faults.add("there is no reading in it", f"{_NAMES_COLUMNS} {columns.example}")
        faults.raise_if_any()
    first, headings = filled[0]
    known = [_heading(text(cell), columns) for cell in headings]
    _check_headings(first, headings, [name for name, _ in known], header, columns, faults)
    faults.raise_if_any()
    table.units = {name: unit for name, unit in known if name}
    long: list[int] = []
    for number, cells in filled[1:]:
        if any(text(c) for c in cells[len(known) :]):
            long.append(number)
            continue
        pairs = zip(known, cells, strict=False)
        table.rows.append(Row(number, {name: c for (name, _), c in pairs if name and text(c)}))
    if long:
        decimal = "with decimal commas separate the columns by semicolons"
        faults.add(
            f"more cells than the {len(known)} headings",
            "" if grid.comma_is_decimal else decimal,
            path=(long[0],),
            place=rows_text(long),
        )
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
    path: RawPath = (first,)
    place, example = f"row {first}", f"{_NAMES_COLUMNS} {columns.example}"
    if not any(names):
        faults.add("no column is known", example, path=path, place=place)
        faults.raise_if_any()
    known = tuple(dict.fromkeys(name for name, _ in columns.names.values()))
    for cell, name in zip(headings, names, strict=True):
        if name is None and text(cell):
            found, allowed = not_known(text(cell), known)
            faults.add(
                found,
                f"{allowed}. Begin the name of a column of your own with 'note'",
                path=path,
                place=place,
                name=f"the column {shown(text(cell))}",
            )
    for name in dict.fromkeys(n for n in names if n):
        if names.count(name) > 1:
            found = f"two columns give {name}"
            faults.add(found, "keep one, in one unit", path=(first, name), place=place)
    for group in columns.needed:
        if not set(group) & {*names, *header}:
            found = f"there is no column {join_or(group)}"
            faults.add(found, example, path=(first, group[0]), place=place)


def _header_line(cells: Sequence[Cell], header: dict[str, Cell], columns: Columns) -> bool:
    """Take a line above the heading, such as ``sample_grams: 50``; false where it is the heading or
    something else."""
    filled = [c for c in cells if text(c)]
    match = _HEADER_LINE.fullmatch(text(filled[0])) if len(filled) == 1 else None
    name, value = (
        (match.group(1), match.group(2)) if match else (text(filled[0]).lstrip("# "), filled[-1])
    )
    small = _small(name)
    if len(filled) <= 2 and small in columns.header and (match or len(filled) == 2):  # noqa: PLR2004
        if len(filled) == 2 and _heading(text(value), columns)[0] is not None:  # noqa: PLR2004
            return False
        header[small.replace(" ", "_")] = value
        return True
    return text(filled[0]).startswith("#")


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
    """A cell as a number, also ``1.2e5`` and ``1,2E5``; a ``UnitError`` where it is none."""
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        if not math.isfinite(cell):
            raise UnitError("is not a number", value=str(cell))
        return float(cell)
    if not isinstance(cell, str):
        raise UnitError("is not a number", value=shown(cell))
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
