"""Reads pH over time: days, pH and the temperature of storage."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from preservecheck.errors import UnitError
from preservecheck.formula.faults import shown
from preservecheck.formula.readings import Columns, Row, Table, as_number, is_missing, read_readings
from preservecheck.formula.sheet_form import text
from preservecheck.units import temperature_c, temperature_text

_DECIMALS = re.compile(r"[.,]([0-9]+)\s*$")
_UNSTATED = "storage not stated"
_STORES = {"room": None, "room temperature": None, "rt": None, "ambient": None}
_STORAGE = (
    "storage c",
    "storage",
    "storage °c",
    "storage temperature",
    "storage temperature c",
    "storage temperature °c",
    "temperature",
    "temperature c",
    "temperature °c",
    "stored at",
)
COLUMNS = Columns(
    names={
        **{n: ("date", None) for n in ("date", "day", "when", "measured on")},
        "ph": ("ph", None),
        **{n: ("storage", "c" if n.endswith(" c") or "°c" in n else None) for n in _STORAGE},
        **{
            n: ("storage", "f")
            for n in ("storage f", "storage °f", "temperature f", "storage temperature f")
        },
    },
    needed=(("date",), ("ph",)),
    example="date,ph,storage_c",
)


@dataclass(frozen=True)
class PhCourse:
    """The readings of one storage, in the order of the days."""

    points: list[tuple[dt.date, float]]
    step: float  # what they are read to: the last digit that is written, a tenth where none is


def read_ph(path: str | Path) -> Mapping[tuple[str, float | None], PhCourse]:
    """Days and pH by storage.

    Raises
    ------
    ReadingsError
        All faults at once.
    """
    table = read_readings(path, COLUMNS)
    found: dict[tuple[str, float | None], dict[dt.date, tuple[float, int]]] = {}
    decimals: dict[tuple[str, float | None], int] = {}
    stated = [r for r in table.rows if not is_missing(r.cells.get("storage"))]
    units: dict[str, list[int]] = {}
    for row in table.rows:
        day, ph = table.day(row, "date"), table.number(row, "ph", 0, 14, "give a pH from 0 to 14")
        store = _storage(table, row, units) if stated else (_UNSTATED, None)
        if day is None or ph is None or store is None:
            continue
        days = found.setdefault(store, {})
        if day in days:
            table.fault(
                row,
                f"{day} stands already on row {days[day][1]} for this storage; keep one reading a "
                "day, or their mean",
            )
            continue
        days[day] = (ph, row.number)
        written = _DECIMALS.search(text(row.cells.get("ph")))
        decimals[store] = max(decimals.get(store, 1), len(written.group(1)) if written else 0)
    if len(units) > 1:
        rare = min(units, key=lambda u: len(units[u]))
        table.faults.add(
            f"row {', '.join(map(str, units[rare][:5]))}: the storage is in {rare}, elsewhere in "
            "another unit; write "
            "one unit"
        )
    table.faults.raise_if_any()
    return {
        store: PhCourse([(d, p) for d, (p, _) in sorted(days.items())], 10.0 ** -decimals[store])
        for store, days in found.items()
    }


def _storage(
    table: Table, row: Row, units: dict[str, list[int]]
) -> tuple[str, float | None] | None:
    """Name and temperature of the storage, or ``None`` with a fault noted."""
    cell = row.cells.get("storage")
    unit = table.units.get("storage")
    if is_missing(cell):
        table.fault(row, "storage is missing; write the temperature, or room")
        return None
    written = text(cell)
    if written.casefold() in _STORES:
        return "room temperature", None
    try:
        value = as_number(cell, table.comma_is_decimal)
        celsius = value if unit != "f" else (value - 32) * 5 / 9
        scale = "°F" if unit == "f" else "°C"
    except UnitError:
        try:
            celsius = temperature_c(written)
        except UnitError as error:
            table.fault(row, f"storage: {error.messages[0]}, or write room")
            return None
        scale = "°F" if re.search(r"f\w*$", written.casefold()) else "°C"
        if unit and scale != f"°{unit.upper()}":
            table.fault(
                row,
                f"storage is {shown(cell)}, but the heading says °{unit.upper()}; write one unit",
            )
            return None
    if not -30 <= celsius <= 80:  # noqa: PLR2004
        table.fault(
            row, f"storage is {temperature_text(celsius)}; give a temperature from -30 to 80 °C"
        )
        return None
    units.setdefault(scale, []).append(row.number)
    return temperature_text(round(celsius, 1)), round(celsius, 1)
