"""Turns the sheets of a formula into the same nested dictionaries that the TOML form gives."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from preservecheck.formula import sheet_form as form
from preservecheck.formula.faults import Faults, not_known, shown
from preservecheck.formula.names import Names, folded
from preservecheck.formula.sheet_form import Cell, Grid


@dataclass
class _Row:
    """One row with its cells by column; blank cells are left out."""

    number: int
    cells: dict[str, Cell]
    units: Mapping[str, str | None]

    def text(self, column: str) -> str:
        return form.text(self.cells.get(column))


def sheets_to_raw(grids: Mapping[str, Grid], where: str, names: Names) -> dict[str, Any]:
    """The sheets as nested dictionaries in the layout of the TOML form.

    Parameters
    ----------
    grids
        Sheets by name.
    where
        File name for messages.
    names
        Tells the id of a preservative system from the name of an ingredient.

    Raises
    ------
    FormulaError
        Sheets, columns or rows that cannot be understood; all at once.
    """
    faults = Faults(where)
    for needed in form.NEEDED_SHEETS:
        if needed not in grids:
            faults.add(
                f"there is no sheet {needed}; the sheets are {', '.join(form.SHEETS)}, and the "
                "first two are "
                "needed. 'preservecheck new' writes an example"
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
    faults.raise_if_any()
    return {k: v for k, v in raw.items() if v not in ({}, [])}


def _rows(name: str, grid: Grid, faults: Faults) -> Iterator[_Row]:
    """The rows below the heading; the first row that is not blank is the heading."""
    columns = form.SHEETS[name]
    filled = [(n, cells) for n, cells in grid.rows if any(form.text(c) for c in cells)]
    if not filled:
        if name in form.NEEDED_SHEETS:
            faults.add(
                f"{grid.place} is empty; its first row names the columns {', '.join(columns)}"
            )
        return
    first, headings = filled[0]
    found = [form.heading(c, columns) for c in headings]
    place = f"{grid.place}, row {first}"
    for column in dict.fromkeys(c for c, _ in found if c):
        if column not in columns:
            faults.add(f"{place}: the column {shown(column)} {not_known(column, columns)}")
        elif [c for c, _ in found].count(column) > 1:
            faults.add(f"{place}: the column {column} stands twice; keep one")
    missing = [c for c in form.NEEDED_COLUMNS[name] if c not in dict(found)]
    if name == "Formula" and not {"percent", "grams"} & set(dict(found)):
        missing.append("percent or grams")
    if missing:
        faults.add(
            f"{place}: the column {', '.join(missing)} is missing; the first row names the "
            f"columns {', '.join(columns)}"
        )
        return
    units = dict(found)
    carried = form.CARRIED.get(name)
    above: Cell = None
    for number, cells in filled[1:]:
        stray = next(
            (
                c
                for at, c in enumerate(cells)
                if form.text(c) and (at >= len(found) or not found[at][0])
            ),
            None,
        )
        if stray is not None:
            faults.add(
                f"{grid.place}, row {number}: {shown(stray)} stands under no heading; delete it "
                "or move it to "
                "another file"
            )
        row = _Row(
            number,
            {c: v for (c, _), v in zip(found, cells, strict=False) if c and form.text(v)},
            units,
        )
        if carried is not None:
            above = row.cells.setdefault(carried, above) or above
        yield row


def _product(rows: list[_Row], grid: Grid, faults: Faults) -> dict[str, Any]:
    product: dict[str, Any] = {}
    measured: dict[str, Any] = {}
    seen: dict[str, int] = {}
    for row in rows:
        place = f"{grid.place}, row {row.number}"
        field, unit = form.heading(row.cells.get("field"), form.FIELDS)
        if field == "format" or (field in form.FIELDS and "value" not in row.cells):
            continue  # a field left blank is not given
        if field not in form.FIELDS:
            faults.add(f"{place}: the field {shown(field)} {not_known(field, form.FIELDS)}")
            continue
        if seen.setdefault(field, row.number) != row.number:
            faults.add(f"{place}: the field {field} stands already on row {seen[field]}; keep one")
            continue
        value = _product_value(field, unit, row.cells["value"], grid)
        if field in form.PRODUCT_FIELDS:
            product[form.PRODUCT_FIELDS[field]] = value
        else:
            measured[form.MEASURED_FIELDS[field]] = value
    return {"product": product, "measured": measured}


def _product_value(field: str, unit: str | None, cell: Cell, grid: Grid) -> Any:
    if field == "markets":
        return [m for m in re.split(r"[,;/|\s]+", form.text(cell)) if m]
    if field == "on market":
        return cell.date() if isinstance(cell, dt.datetime) else cell
    if field in form.NUMBER_FIELDS:
        return form.number(cell, grid)
    return form.text(cell) if field in form.TEXT_FIELDS else form.quantity(cell, unit, grid)


def _lines(
    rows: list[_Row], grid: Grid, names: Names, own: set[str], faults: Faults
) -> dict[str, dict[str, Any]]:
    """Phases with their lines, by folded name, in the order in which they first stand."""
    phases: dict[str, dict[str, Any]] = {}
    place = grid.place
    for row in rows:
        name = row.text("phase")
        if not name:
            faults.add(
                f"{place}, row {row.number}: no phase; name it, such as heated or cool-down. A "
                "blank cell repeats "
                "the phase above"
            )
            continue
        if not row.text("ingredient"):
            faults.add(
                f"{place}, row {row.number}: no ingredient; name it, or delete the row (a row of "
                "totals is not read)"
            )
            continue
        phase = phases.setdefault(_same(name), {"name": name, "items": []})
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
            faults.add(f"{grid.place}, row {row.number}: no phase; name it as in the sheet Formula")
            continue
        if seen.setdefault(_same(name), row.number) != row.number:
            faults.add(
                f"{grid.place}, row {row.number}: phase {shown(name)} stands already on row "
                f"{seen[_same(name)]}; "
                "keep one row a phase"
            )
            continue
        phase = phases.setdefault(_same(name), {"name": name, "items": []})
        for column, key in (("heated to", "heated_to"), ("added at", "added_at"), ("held", "held")):
            if column in row.cells:
                phase[key] = form.quantity(row.cells[column], row.units.get(column), grid)


def _same(phase: str) -> str:
    return " ".join(phase.casefold().split())


def _item(row: _Row, grid: Grid, names: Names, own: set[str]) -> dict[str, Any]:
    name = row.text("ingredient")
    system = None if folded(name) in own else names.system_in_sheet(name)
    item: dict[str, Any] = {"ingredient": name} if system is None else {"preservative": system}
    for column in ("percent", "grams"):
        if column not in row.cells:
            continue
        if form.is_rest(row.cells[column]):
            item["rest"] = True
        else:
            item[column] = form.number(row.cells[column], grid)
    if "strength" in row.cells:
        item["strength"] = form.number(row.cells["strength"], grid)
    if "note" in row.cells:
        item["note"] = row.text("note")
    return item


def _blends(rows: list[_Row], grid: Grid, faults: Faults) -> dict[str, dict[str, Any]]:
    blends: dict[str, dict[str, Any]] = {}
    for row in rows:
        blend, part = row.text("blend"), row.text("ingredient")
        if not blend or not part or "percent" not in row.cells:
            faults.add(
                f"{grid.place}, row {row.number}: a row names the blend, one ingredient of it and "
                "its percent of "
                "the blend; fill in all three"
            )
            continue
        parts = blends.setdefault(blend, {})
        if part in parts:
            faults.add(
                f"{grid.place}, row {row.number}: {shown(part)} stands twice in blend "
                f"{shown(blend)}; keep one"
            )
        parts[part] = form.number(row.cells["percent"], grid)
    return blends


def _ingredients(rows: list[_Row], grid: Grid, faults: Faults) -> dict[str, dict[str, Any]]:
    own: dict[str, dict[str, Any]] = {}
    for row in rows:
        name = row.text("ingredient")
        if not name or name in own:
            faults.add(
                f"{grid.place}, row {row.number}: "
                + (
                    f"{shown(name)} stands twice; keep one row"
                    if name
                    else "no ingredient; name it"
                )
            )
            continue
        own[name] = {
            c.replace(" ", "_"): form.number(v, grid)
            for c, v in row.cells.items()
            if c != "ingredient"
        }
        for column in ("note", "aliases", "inci", "tags"):
            if column in own[name]:
                own[name][column] = row.text(column)
    return own
