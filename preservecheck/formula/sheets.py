"""Turns the sheets of a formula into the same nested dictionaries that the TOML form gives."""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from preservecheck.errors import FormulaError, Hint, UnitError
from preservecheck.formula.faults import Faults, not_known, shown
from preservecheck.formula.grid import Cell, Grid, text
from preservecheck.formula.model import MEASURED, PRODUCT
from preservecheck.formula.names import Names, folded, phase_key
from preservecheck.reference.rows import Ingredient
from preservecheck.units import plain_number

_OWN = tuple(c.replace("_", " ") for c in Ingredient.columns if c != "composition")
# sheet -> columns; the order of the sheets is that of the digest over CSV files
SHEETS: dict[str, tuple[str, ...]] = {
    "Product": ("field", "value", "note"),
    "Formula": ("phase", "ingredient", "percent", "grams", "strength", "purpose", "note"),
    "Phases": ("phase", "heated to", "added at", "held", "note"),
    "Blends": ("blend", "ingredient", "percent"),
    "Ingredients": ("ingredient", *_OWN),
    "Settled": ("check", "about", "on", "by", "saw", "rests on"),
}
NEEDED_SHEETS = ("Product", "Formula")
NEEDED_COLUMNS = {
    "Product": ("field", "value"),
    "Formula": ("phase", "ingredient"),
    "Phases": ("phase",),
    "Blends": ("blend", "ingredient", "percent"),
    "Ingredients": ("ingredient", "role"),
    "Settled": ("check", "about", "on", "by", "saw"),
}
# columns in which a cell left blank, or merged downwards, repeats the one above
CARRIED = {"Formula": "phase", "Blends": "blend"}
IGNORED_SHEET = "read me"

# how the rows of the sheet Product are called, and what that is in TOML
PRODUCT_FIELDS = {key.replace("_", " "): key for key in PRODUCT}
MEASURED_FIELDS = {
    "sample temperature" if key == "temperature" else key.replace("_", " "): key for key in MEASURED
}
FIELDS = (*PRODUCT_FIELDS, *MEASURED_FIELDS)
NUMBER_FIELDS = {"ph", "ph tolerance", "water activity", "water activity tolerance"}
TEXT_FIELDS = {"name", "use", "type", "kind", "users", "package"}
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


def sheet_files(path: Path) -> dict[str, Path]:
    """The CSV files that belong together with one of them, such as ``cream.Product.csv``, by sheet
    and in the order of the sheets; a ``FormulaError`` where the name has no sheet in it."""
    by_small = {name.casefold(): name for name in SHEETS}
    stem, dot, sheet = path.stem.rpartition(".")
    if not dot or sheet.casefold() not in by_small:
        raise FormulaError(
            "is not a sheet of a formula",
            "a formula in CSV is a set of files of one name: NAME.Product.csv and "
            "NAME.Formula.csv, and where needed NAME.Phases.csv, NAME.Blends.csv, "
            "NAME.Ingredients.csv; give any one of them",
            where=str(path),
        )
    files: dict[str, Path] = {}
    for other in sorted(path.parent.iterdir()):
        name, _, suffix = other.stem.rpartition(".")
        if name == stem and other.suffix.casefold() == ".csv" and suffix.casefold() in by_small:
            files.setdefault(by_small[suffix.casefold()], other)
    files[by_small[sheet.casefold()]] = path
    return {name: files[name] for name in SHEETS if name in files}


def heading(cell: Cell, columns: tuple[str, ...]) -> tuple[str, str | None]:
    """The column or field that a heading such as ``Heated to (°C)`` names, and the unit with it.

    Anything that is none of the columns comes back tidied, without a unit.
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


@dataclass
class _Row:
    """One row with its cells by column; blank cells are left out."""

    sheet: str
    place: str  # of the sheet, as messages name it
    number: int
    cells: dict[str, Cell]
    units: Mapping[str, str | None]

    def text(self, column: str) -> str:
        return text(self.cells.get(column))

    @property
    def at(self) -> dict[str, Any]:
        """Where a fault of the row is."""
        return {"path": (self.sheet, self.number), "place": f"{self.place}, row {self.number}"}


def sheets_to_raw(grids: Mapping[str, Grid], where: str, names: Names) -> dict[str, Any]:
    """The sheets, by name, as nested dictionaries in the layout of the TOML form; a
    ``FormulaError`` with all sheets, columns and rows that cannot be understood.

    The names tell the id of a preservative system from the name of an ingredient.
    """
    faults = Faults(where)
    for needed in NEEDED_SHEETS:
        if needed not in grids:
            faults.add(
                f"there is no sheet {needed}",
                f"the sheets are {', '.join(SHEETS)}, and the first two are needed",
                path=(needed,),
                hint=Hint.FORMULA_EXAMPLE,
            )
    faults.raise_if_any()
    rows = {name: list(_rows(name, grid, faults)) for name, grid in grids.items()}
    own = {folded(r.text("ingredient")) for r in rows.get("Ingredients", ())}
    own |= {folded(r.text("blend")) for r in rows.get("Blends", ())}
    raw: dict[str, Any] = {"format": 1}
    raw |= _product(rows["Product"], grids["Product"], faults)
    phases = _lines(rows["Formula"], grids["Formula"], names, own, faults)
    if "Phases" in rows:
        _temperatures(rows["Phases"], grids["Phases"], phases, faults)
    raw["phase"] = list(phases.values())
    if "Blends" in rows:
        raw["blend"] = _blends(rows["Blends"], grids["Blends"], faults)
    if "Ingredients" in rows:
        raw["ingredient"] = _ingredients(rows["Ingredients"], grids["Ingredients"], faults)
    raw["settled"] = [_answer(row) for row in rows.get("Settled", ())]
    faults.raise_if_any()
    return {k: v for k, v in raw.items() if v not in ({}, [])}


def _rows(name: str, grid: Grid, faults: Faults) -> Iterator[_Row]:
    """The rows below the heading; the first row that is not blank is the heading."""
    columns = SHEETS[name]
    filled = grid.filled()
    if not filled:
        if name in NEEDED_SHEETS:
            faults.add(
                "is empty",
                f"its first row names the columns {', '.join(columns)}",
                path=(name,),
                name=grid.place,
            )
        return
    first, headings = filled[0]
    named = [heading(c, columns) for c in headings]
    at = _Row(name, grid.place, first, {}, {}).at
    for column in dict.fromkeys(c for c, _ in named if c):
        if column not in columns:
            faults.add(*not_known(column, columns), name=f"the column {shown(column)}", **at)
        elif [c for c, _ in named].count(column) > 1:
            faults.add("appears twice", "delete one", name=f"the column {column}", **at)
    missing = [c for c in NEEDED_COLUMNS[name] if c not in dict(named)]
    if name == "Formula" and not {"percent", "grams"} & set(dict(named)):
        missing.append("percent or grams")
    if missing:
        faults.add(
            "is missing",
            f"the first row names the columns {', '.join(columns)}",
            name=f"the column {', '.join(missing)}",
            **at,
        )
        return
    units = dict(named)
    carried = CARRIED.get(name)
    above: Cell = None
    for row_number, cells in filled[1:]:
        stray = next(
            (c for at, c in enumerate(cells) if text(c) and (at >= len(named) or not named[at][0])),
            None,
        )
        row = _Row(
            name,
            grid.place,
            row_number,
            {c: v for (c, _), v in zip(named, cells, strict=False) if c and text(v)},
            units,
        )
        if stray is not None:
            allowed = "delete it or move it to another file"
            faults.add("is under no heading", allowed, value=shown(stray), **row.at)
        if carried is not None:
            above = row.cells.setdefault(carried, above) or above
        yield row


def _product(rows: list[_Row], grid: Grid, faults: Faults) -> dict[str, Any]:
    product: dict[str, Any] = {}
    measured: dict[str, Any] = {}
    seen: dict[str, int] = {}
    for row in rows:
        field, unit = heading(row.cells.get("field"), FIELDS)
        if field == "format" or (field in FIELDS and "value" not in row.cells):
            continue  # a field left blank is not given
        if field not in FIELDS:
            faults.add(*not_known(field, FIELDS), name=f"the field {shown(field)}", **row.at)
            continue
        if seen.setdefault(field, row.number) != row.number:
            found = f"is already on row {seen[field]}"
            faults.add(found, "delete one", name=f"the field {field}", **row.at)
            continue
        value = _product_value(field, unit, row.cells["value"], grid)
        if field in PRODUCT_FIELDS:
            product[PRODUCT_FIELDS[field]] = value
        else:
            measured[MEASURED_FIELDS[field]] = value
    return {"product": product, "measured": measured}


def _product_value(field: str, unit: str | None, cell: Cell, grid: Grid) -> Any:
    if field == "markets":
        return [m for m in re.split(r"[,;/|\s]+", text(cell)) if m]
    if field == "on market":
        return cell.date() if isinstance(cell, dt.datetime) else cell
    if field in NUMBER_FIELDS:
        return number(cell, grid)
    return text(cell) if field in TEXT_FIELDS else quantity(cell, unit, grid)


def _lines(
    rows: list[_Row], grid: Grid, names: Names, own: set[str], faults: Faults
) -> dict[str, dict[str, Any]]:
    """Phases with their lines, by folded name, in the order in which they are first named."""
    phases: dict[str, dict[str, Any]] = {}
    for row in rows:
        name = row.text("phase")
        if not name:
            allowed = "name it, such as heated or cool-down. A blank cell repeats the phase above"
            faults.add("no phase", allowed, **row.at)
            continue
        if not row.text("ingredient"):
            allowed = "name it, or delete the row (a row of totals is not read)"
            faults.add("no ingredient", allowed, **row.at)
            continue
        phase = phases.setdefault(phase_key(name), {"name": name, "items": []})
        phase["items"].append(_item(row, grid, names, own))
    return phases


def _temperatures(
    rows: list[_Row], grid: Grid, phases: dict[str, dict[str, Any]], faults: Faults
) -> None:
    """Put the temperatures to the phases; a phase without lines is added, for ``build`` to
    refuse."""
    seen: dict[str, int] = {}
    for row in rows:
        name = row.text("phase")
        if not name:
            faults.add("no phase", "name it as in the sheet Formula", **row.at)
            continue
        if seen.setdefault(phase_key(name), row.number) != row.number:
            found = f"is already on row {seen[phase_key(name)]}"
            faults.add(found, "keep one row a phase", name=f"phase {shown(name)}", **row.at)
            continue
        phase = phases.setdefault(phase_key(name), {"name": name, "items": []})
        for column, key in (("heated to", "heated_to"), ("added at", "added_at"), ("held", "held")):
            if column in row.cells:
                phase[key] = quantity(row.cells[column], row.units.get(column), grid)


def _item(row: _Row, grid: Grid, names: Names, own: set[str]) -> dict[str, Any]:
    name = row.text("ingredient")
    system = None if folded(name) in own else names.system_in_sheet(name)
    item: dict[str, Any] = {"ingredient": name} if system is None else {"preservative": system}
    item |= line_amounts(row.cells, lambda cell: number(cell, grid))
    return item | {c: row.text(c) for c in ("purpose", "note") if c in row.cells}


def line_amounts(cells: Mapping[str, Any], read: Callable[[Any], Any]) -> dict[str, Any]:
    """Amount and strength of a line as TOML has them, from its filled cells by column."""
    out: dict[str, Any] = {}
    for column in ("percent", "grams", "strength"):
        if column != "strength" and is_rest(cells.get(column)):
            out["rest"] = True
        elif column in cells:
            out[column] = read(cells[column])
    return out


def _answer(row: _Row) -> dict[str, Any]:
    """What a trial showed, in the layout of the TOML form."""
    answer: dict[str, Any] = {c.replace(" ", "_"): row.text(c) for c in row.cells if c != "on"}
    if "on" in row.cells:
        cell = row.cells["on"]
        answer["on"] = cell.date() if isinstance(cell, dt.datetime) else cell
    return answer


def _blends(rows: list[_Row], grid: Grid, faults: Faults) -> dict[str, dict[str, Any]]:
    blends: dict[str, dict[str, Any]] = {}
    for row in rows:
        blend, part = row.text("blend"), row.text("ingredient")
        if not blend or not part or "percent" not in row.cells:
            found = "a row names the blend, one ingredient of it and its percent of the blend"
            faults.add(found, "fill in all three", **row.at)
            continue
        parts = blends.setdefault(blend, {})
        if part in parts:
            found = f"appears twice in blend {shown(blend)}"
            faults.add(found, "delete one", value=shown(part), **row.at)
        parts[part] = number(row.cells["percent"], grid)
    return blends


def _ingredients(rows: list[_Row], grid: Grid, faults: Faults) -> dict[str, dict[str, Any]]:
    own: dict[str, dict[str, Any]] = {}
    for row in rows:
        name = row.text("ingredient")
        if not name or name in own:
            faults.add(
                "appears twice" if name else "no ingredient",
                "delete one row" if name else "name it",
                value=shown(name) if name else "",
                **row.at,
            )
            continue
        own[name] = {
            c.replace(" ", "_"): number(v, grid) for c, v in row.cells.items() if c != "ingredient"
        }
        for column in ("note", "aliases", "inci", "tags"):
            if column in own[name]:
                own[name][column] = row.text(column)
    return own
