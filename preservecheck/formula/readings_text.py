"""A file of readings as text that reads back as the same table."""

from __future__ import annotations

import csv
import datetime as dt
import io
from pathlib import Path

from preservecheck.formula.readings import grid_of
from preservecheck.formula.sheet_form import Cell, text
from preservecheck.formula.toml import decoded


def readings_text(path: str | Path) -> str:
    """What a file holds: a text as it stands, of a workbook its first sheet with commas between the
    cells.

    Parameters
    ----------
    path
        A ``.csv`` or ``.xlsx`` file.

    Raises
    ------
    ReadingsError
        The file cannot be read.
    """
    path = Path(path)
    grid = grid_of(path)
    if path.suffix.casefold() != ".xlsx":
        return decoded(path.read_bytes(), str(path))
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
