"""Reads a formula kept as a workbook (``.xlsx``), guarded against files that unpack to more than a
formula can hold.

The cells come from openpyxl in its streaming mode, which does not see merged cells and cannot tell
an empty cell from a formula whose result was never saved; both are looked up in the sheet's own
XML.
"""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

from preservecheck.errors import Fault, FormulaError, PreservecheckError
from preservecheck.formula.grid import MAX_COLUMNS, MAX_ROWS, Cell, Grid, text
from preservecheck.formula.sheets import CARRIED, IGNORED_SHEET, SHEETS

if TYPE_CHECKING:
    from openpyxl import Workbook

MAX_UNPACKED = 100_000_000
MAX_RATIO = 200
MAX_MEMBERS = 1000
# of one XML part, by what it holds: the reader needs many times this in memory
MAX_SHEET_PART = 12_000_000
MAX_STRINGS_PART = 5_000_000
MAX_OTHER_PART = 1_000_000
# a whole row of the widest sheet, formatted
MAX_ROW_CELLS = 20_000
MAX_SHEETS = 30
_OLE = b"\xd0\xcf\x11\xe0"
_ERRORS = {"#REF!", "#N/A", "#VALUE!", "#DIV/0!", "#NAME?", "#NUM!", "#NULL!"}
_TOO_LARGE = f"more than {MAX_ROWS:,} rows or {MAX_COLUMNS} columns"
_SAVE_AGAIN = "open it in a spreadsheet program and save it again as .xlsx"


@dataclass
class _Hidden:
    """What the streaming mode does not show of one sheet, and how far its filled cells reach."""

    last_row: int = 0
    last_column: int = 0
    widest: int = 0  # most cells of a row, empty ones included
    merged: list[str] = field(default_factory=list)  # such as A2:A5
    unsaved: list[str] = field(default_factory=list)  # cells with a formula and no result

    @property
    def too_large(self) -> bool:
        """Whether it is larger than what is read here."""
        return (
            self.last_row > MAX_ROWS
            or self.last_column > MAX_COLUMNS
            or self.widest > MAX_ROW_CELLS
        )


def read_workbook(data: bytes, where: str) -> dict[str, Grid]:
    """The sheets of a workbook that belong to a formula; a ``FormulaError`` where it is no
    workbook, is protected, unpacks to too much, or holds what would be misread."""
    with _opened(data, where, FormulaError) as book:
        return _sheets(book, where)


def read_first_sheet(data: bytes, where: str, error: type[PreservecheckError]) -> Grid:
    """The first sheet of a workbook that holds readings, under whatever name.

    The error is raised as ``read_workbook`` raises its own, or where no sheet holds anything.
    """
    with _opened(data, where, error) as book:
        for sheet in book.worksheets[:MAX_SHEETS]:
            hidden = _hidden(sheet)
            place = f"sheet {sheet.title}"
            if hidden.too_large:
                raise error(_TOO_LARGE, where=where, place=place)
            if hidden.unsaved or hidden.merged:
                cells = ", ".join((hidden.unsaved or hidden.merged)[:5])
                what = "a cell formula without a saved result" if hidden.unsaved else "merged cells"
                raise error(
                    f"{cells}: {what}",
                    f"{_SAVE_AGAIN}, or write the plain values",
                    where=where,
                    place=place,
                )
            if not sheet.title.strip().casefold().startswith(IGNORED_SHEET) and hidden.last_row:
                return Grid(place, list(_grid_rows(sheet, hidden.last_row, place, error, where)))
    raise error("no sheet holds anything", where=where)


@contextmanager
def _opened(data: bytes, where: str, error: type[PreservecheckError]) -> Iterator[Workbook]:
    """A workbook; whatever a damaged one provokes becomes a fault in words."""
    _check_archive(data, where, error)
    import openpyxl

    with warnings.catch_warnings():
        # openpyxl's remarks on drawings and validations do not matter here
        warnings.simplefilter("ignore")
        try:
            yield openpyxl.load_workbook(
                io.BytesIO(data), read_only=True, data_only=True, keep_links=False
            )
        except PreservecheckError:
            raise
        except Exception as fault:  # openpyxl lets through whatever a damaged file provokes in it
            found = f"not readable as a workbook ({type(fault).__name__})"
            raise error(found, _SAVE_AGAIN, where=where) from None


def _check_archive(data: bytes, where: str, error: type[PreservecheckError]) -> None:
    if data.startswith(_OLE):
        found = "protected by a password, or saved in the old .xls format"
        raise error(found, f"{_SAVE_AGAIN}, without password", where=where)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = archive.infolist()
    except (zipfile.BadZipFile, ValueError, NotImplementedError, OSError, EOFError):
        found = "not a workbook, although its name ends in .xlsx"
        raise error(found, _SAVE_AGAIN, where=where) from None
    unpacked = sum(m.file_size for m in members)
    if any(m.flag_bits & 0x1 for m in members):
        raise error("protected by a password", "save it without", where=where)
    if (
        len(members) > MAX_MEMBERS
        or unpacked > MAX_UNPACKED
        or unpacked > MAX_RATIO * len(data)
        or any(m.file_size > _part_limit(m.filename) for m in members)
    ):
        found = f"unpacks to {unpacked / 1e6:,.1f} MB in {len(members):,} parts, which is too much"
        allowed = "copy the sheets that are needed into a new workbook"
        raise error(found, allowed, where=where)


def _part_limit(name: str) -> int:
    small = name.casefold()
    if small.startswith("xl/media/"):
        return MAX_UNPACKED
    if "sharedstrings" in small:
        return MAX_STRINGS_PART
    return MAX_SHEET_PART if "worksheets/" in small else MAX_OTHER_PART


def _sheets(book: Workbook, where: str) -> dict[str, Grid]:
    if len(book.worksheets) > MAX_SHEETS:
        found = f"{len(book.worksheets)} sheets"
        raise FormulaError(found, f"keep only {', '.join(SHEETS)}", where=where)
    by_small = {name.casefold(): name for name in SHEETS}
    grids: dict[str, Grid] = {}
    faults: list[Fault] = []
    for sheet in book.worksheets:
        title = sheet.title.strip()
        if title.casefold().startswith(IGNORED_SHEET):
            continue
        name = by_small.get(title.casefold())
        place, path = f"sheet {title}", (title,)
        hidden = _hidden(sheet)
        if hidden.too_large:
            allowed = "keep only what is to be read"
            faults.append(Fault(_TOO_LARGE, allowed, where=where, path=path, place=place))
            continue
        grid = Grid(place, list(_grid_rows(sheet, hidden.last_row, place, FormulaError, where)))
        if name is None:
            if grid.rows:
                allowed = (
                    f"the sheets are {', '.join(SHEETS)}. Begin the name of a sheet that is not to "
                    "be read with 'Read me'"
                )
                found = "is not known here"
                faults.append(Fault(found, allowed, where=where, path=path, name=place))
            continue
        if name in grids:
            found = "appears twice"
            faults.append(Fault(found, "delete one", where=where, path=path, name=place))
            continue
        faults += [f.within(where=where, path=path) for f in _hidden_faults(name, grid, hidden)]
        grids[name] = grid
    if faults:
        raise FormulaError(faults)
    return grids


def _grid_rows(
    sheet: Any, last_row: int, place: str, error: type[PreservecheckError], where: str
) -> Iterator[tuple[int, list[Cell]]]:
    """The rows that hold something."""
    if last_row == 0:
        return
    sheet.reset_dimensions()  # what the file says of its size may be wrong
    for number, row in enumerate(sheet.iter_rows(max_row=last_row, max_col=MAX_COLUMNS), 1):
        for cell in row:
            if isinstance(cell.value, str) and cell.value in _ERRORS:
                raise error(
                    f"holds the error {cell.value}",
                    "correct it in the spreadsheet and save again",
                    where=where,
                    path=(sheet.title, cell.coordinate),
                    name=f"{place}, cell {cell.coordinate}",
                )
        cells = [_value(cell) for cell in row]
        while cells and not text(cells[-1]):
            cells.pop()
        if cells:
            yield number, cells


def _value(cell: Any) -> Cell:
    value: Cell = cell.value
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if number and _is_percent(cell.number_format):
        return float(f"{value * 100:.15g}")  # type: ignore[operator]  # shown as 5 %, stored 0.05
    return value


def _is_percent(number_format: str | None) -> bool:
    """Whether a number format multiplies by 100, rather than printing a percent sign as a word."""
    return "%" in re.sub(r'"[^"]*"|\\.', "", number_format or "")


def _hidden(sheet: Any) -> _Hidden:
    """Merged cells, formulas without a saved result and the reach of a sheet, from its XML as it
    streams by."""
    hidden = _Hidden()
    row = column = 0
    with sheet._get_source() as source:
        data: Any = None
        for event, element in ElementTree.iterparse(source, ("start", "end")):
            tag = element.tag.rpartition("}")[2]
            if event == "start":
                if tag == "sheetData":
                    data = element
                elif tag == "row":
                    row, column = int(element.get("r", row + 1)), 0
                continue
            if tag == "mergeCell" and len(hidden.merged) < MAX_ROWS:
                hidden.merged.append(element.get("ref", ""))
            elif tag == "row" and data is not None:
                data.clear()
            elif tag == "c":
                column += 1
                hidden.widest = max(hidden.widest, column)
                _look_at(element, row, column, hidden)
                if hidden.widest > MAX_ROW_CELLS:
                    break
    return hidden


def _look_at(cell: ElementTree.Element, row: int, position: int, hidden: _Hidden) -> None:
    """One cell of the XML: whether it is filled, and whether it is a formula without a result."""
    reference = cell.get("r")
    kinds = {child.tag.rpartition("}")[2]: child for child in cell}
    result = kinds.get("v")
    if "f" in kinds and (result is None or not (result.text or cell.get("t") == "str")):
        hidden.unsaved.append(reference or f"row {row}")
    if kinds.keys() & {"f", "v", "is"}:
        hidden.last_row = max(hidden.last_row, row)
        hidden.last_column = max(hidden.last_column, _column(reference) if reference else position)
    cell.clear()


def _column(reference: str) -> int:
    """Number of the column of a cell such as ``C7``."""
    number = 0
    for letter in reference.rstrip("0123456789").upper():
        number = number * 26 + ord(letter) - ord("A") + 1
    return number


def _hidden_faults(name: str, grid: Grid, hidden: _Hidden) -> Iterator[Fault]:
    if hidden.unsaved:
        cells = ", ".join(hidden.unsaved[:5]) + (" and others" if len(hidden.unsaved) > 5 else "")  # noqa: PLR2004
        holds = "holds" if len(hidden.unsaved) == 1 else "hold"
        yield Fault(
            f"{cells} {holds} a formula without a saved result",
            f"{_SAVE_AGAIN}, or write the number",
            place=grid.place,
        )
    filled = {number: cells for number, cells in grid.rows}
    first = min(filled, default=1)
    carried = CARRIED.get(name)
    for ref in hidden.merged:
        if not _harmless(ref, filled, first, carried):
            yield Fault(
                f"the cells {ref} are merged, so it cannot be told what belongs to which row",
                "take the merging apart and fill in each cell",
                place=grid.place,
            )
            return


def _harmless(ref: str, filled: dict[int, list[Cell]], first: int, carried: str | None) -> bool:
    """Whether a merge is one downwards in the column whose blank cells repeat the one above."""
    from openpyxl.utils import range_boundaries

    left, top, right, _ = range_boundaries(ref)
    headings = filled.get(first, [])
    return (
        carried is not None
        and left == right
        and top is not None
        and top > first
        and left is not None
        and left <= len(headings)
        and text(headings[left - 1]).casefold() == carried
    )
