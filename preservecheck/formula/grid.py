"""The cells of a sheet, from a CSV file or a workbook, and how a heading or a cell is read."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from preservecheck.errors import PreservecheckError
from preservecheck.files import csv_dialect, csv_rows, decoded
from preservecheck.formula.faults import shown

# of a sheet; a formula or a course of readings is far smaller
MAX_ROWS = 5000
MAX_COLUMNS = 50
Cell = str | int | float | bool | dt.date | dt.time | dt.timedelta | None


@dataclass
class Grid:
    """One sheet as it was read."""

    place: str  # as messages name it
    rows: list[tuple[int, list[Cell]]]  # number shown by the spreadsheet, cells
    comma_is_decimal: bool = False

    def filled(self) -> list[tuple[int, list[Cell]]]:
        """The rows that hold something."""
        return [(n, cells) for n, cells in self.rows if any(text(c) for c in cells)]


def text(cell: Cell) -> str:
    """A cell as text; a whole number loses its decimal point."""
    if cell is None:
        return ""
    if isinstance(cell, str):
        return cell.strip()
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    plain = isinstance(cell, (int, float)) and not isinstance(cell, bool)
    return str(cell) if plain else shown(cell)


def csv_grid(data: bytes, where: str, place: str, error: type[PreservecheckError]) -> Grid:
    """One CSV file as a grid; the error where it is not UTF-8, not CSV, or too large."""
    content = decoded(data, where, error)
    dialect = csv_dialect(content)
    rows = csv_rows(content, where, error, dialect, most_rows=MAX_ROWS, most_columns=MAX_COLUMNS)
    return Grid(
        place,
        [(number, [cell.strip() or None for cell in cells]) for number, cells in rows],
        dialect.comma_is_decimal,
    )
