"""The layout of a formula in sheets: which sheets, which columns, and how a heading or a cell is
read."""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from dataclasses import dataclass
from typing import Any

from preservecheck.errors import UnitError
from preservecheck.formula.faults import shown
from preservecheck.reference.rows_materials import Ingredient
from preservecheck.units import plain_number

Cell = str | int | float | bool | dt.date | dt.time | dt.timedelta | None

_OWN = tuple(c.replace("_", " ") for c in Ingredient.columns if c != "composition")
# sheet -> columns; the order of the sheets is that of the digest over CSV files
SHEETS: dict[str, tuple[str, ...]] = {
    "Product": ("field", "value"),
    "Formula": ("phase", "ingredient", "percent", "grams", "strength", "note"),
    "Phases": ("phase", "heated to", "added at", "held"),
    "Blends": ("blend", "ingredient", "percent"),
    "Ingredients": ("ingredient", *_OWN),
}
NEEDED_SHEETS = ("Product", "Formula")
NEEDED_COLUMNS = {
    "Product": ("field", "value"),
    "Formula": ("phase", "ingredient"),
    "Phases": ("phase",),
    "Blends": ("blend", "ingredient", "percent"),
    "Ingredients": ("ingredient", "role"),
}
# columns in which a cell left blank, or merged downwards, repeats the one above
CARRIED = {"Formula": "phase", "Blends": "blend"}
IGNORED_SHEET = "read me"

PRODUCT_FIELDS = {
    "name": "name",
    "use": "use",
    "type": "type",
    "markets": "markets",
    "users": "users",
    "package": "package",
    "batch": "batch",
    "scale step": "scale_step",
    "on market": "on_market",
}
MEASURED_FIELDS = {
    "ph": "ph",
    "ph tolerance": "ph_tolerance",
    "sample temperature": "temperature",
    "water activity": "water_activity",
    "water activity tolerance": "water_activity_tolerance",
}
FIELDS = (*PRODUCT_FIELDS, *MEASURED_FIELDS)
NUMBER_FIELDS = {"ph", "ph tolerance", "water activity", "water activity tolerance"}
TEXT_FIELDS = {"name", "use", "type", "users", "package"}
# the unit in a heading stands for cells that hold a bare number
UNIT_COLUMNS = {"heated to", "added at", "held", "batch", "scale step", "sample temperature"}
_OTHER_NAMES = {
    "%": "percent",
    "g": "grams",
    "percent %": "percent",
    "grams g": "grams",
    "strength %": "strength",
    "percent w/w": "percent",
    "% w/w": "percent",
    "percent % w/w": "percent",
}
# quantum satis, in the ways that recipes write it
_REST = {"rest", "qs", "qsto100", "qsad100", "qs100", "ad100", "to100", "adto100", "quantumsatis"}


@dataclass
class Grid:
    """One sheet as it was read."""

    place: str  # as messages name it
    rows: list[tuple[int, list[Cell]]]  # number shown by the spreadsheet, cells
    comma_is_decimal: bool = False


def heading(cell: Cell, columns: tuple[str, ...]) -> tuple[str, str | None]:
    """The column or field that a heading names, and the unit that stands with it.

    Parameters
    ----------
    cell
        Such as ``Heated to (°C)``.
    columns
        What it may name; anything else comes back tidied, without a unit.
    """
    tidy = " ".join(
        unicodedata.normalize("NFKC", text(cell)).replace("_", " ").replace("-", " ").split()
    )
    tidy = tidy.rstrip(":").strip()
    small = re.sub(r"[()\[\]]", " ", tidy.casefold())
    small = " ".join(small.split())
    small = _OTHER_NAMES.get(small, small)
    if small in columns:
        return small, None
    for column in columns:
        if column in UNIT_COLUMNS and small.startswith(column + " "):
            return column, small.removeprefix(column).strip()
    return tidy, None


def text(cell: Cell) -> str:
    """A cell as text; a whole number loses its decimal point."""
    if cell is None:
        return ""
    if isinstance(cell, str):
        return cell.strip()
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return (
        str(cell) if isinstance(cell, (int, float)) and not isinstance(cell, bool) else shown(cell)
    )


def number(cell: Cell, grid: Grid) -> Any:
    """A cell as a number where it is one, a percent sign dropped; otherwise as it stands, for
    ``build`` to refuse."""
    if not isinstance(cell, str):
        return cell if isinstance(cell, (int, float)) else text(cell)
    try:
        return plain_number(cell.strip().removesuffix("%"), comma_is_decimal=grid.comma_is_decimal)
    except UnitError:
        return cell.strip()


def quantity(cell: Cell, unit: str | None, grid: Grid) -> Any:
    """A cell as text with a unit, its own or else that of the heading; ``build`` refuses a number
    without."""
    value = number(cell, grid)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return value
    return value if unit is None else f"{value!r} {unit}"


def is_rest(cell: Cell) -> bool:
    """Whether an amount says that the line fills up to 100 %."""
    return isinstance(cell, str) and re.sub(r"[.\s%]", "", cell.casefold()) in _REST
