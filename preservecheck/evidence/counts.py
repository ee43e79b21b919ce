"""Reads a laboratory's counts: organism, day and CFU, with replicates and results below
detection."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from preservecheck.errors import UnitError
from preservecheck.formula.faults import shown
from preservecheck.formula.grid import Cell, text
from preservecheck.formula.names import folded
from preservecheck.formula.readings import Columns, Row, Table, as_number, is_missing, read_readings
from preservecheck.reference.load import Tables

# nobody counts more; a larger number is a slip
MAX_LOG10 = 12.0
MAX_DAY = 400
_RANGES = {
    "cfu": "colonies per g or mL, 1 or more, or <10",
    "log10_cfu": "a logarithm from 0 to 12",
}
_NAMES: Mapping[tuple[str, str | None], Sequence[str]] = {
    ("organism", None): ("organism", "strain", "microbe", "microorganism", "test organism"),
    ("day", "d"): ("day", "days", "time", "time d", "time days", "day d", "contact time d"),
    ("cfu", None): (
        *(f"cfu{per}" for per in ("", " per g", " per ml", "/g", "/ml", " g", " ml")),
        *("count", "count cfu/g", "count cfu/ml", "kbe/g"),
    ),
    ("log10_cfu", None): (
        "log10",
        *(f"log10 cfu{per}" for per in ("", "/g", "/ml", " per g", " per ml")),
        *("log cfu", "log cfu/g", "log cfu/ml"),
    ),
    ("replicate", None): ("replicate", "rep", "plate", "replica"),
    ("standard", None): ("standard",),
}
COLUMNS = Columns(
    names={name: column for column, names in _NAMES.items() for name in names},
    needed=(("organism",), ("day",), ("cfu", "log10_cfu")),
    header=("standard",),
    example="organism,day,cfu_per_g",
)
_START = ("inoculum", "initial", "start", "control", "t0", "inoculum control", "day 0", "d0")
_NO_COUNT = ("nd", "n.d.", "not detected", "none detected", "0", "absent", "bdl")
# names that microbes had, or have in short
_OTHER_NAMES = {
    "aspergillusniger": "Aspergillus brasiliensis",
    "aniger": "Aspergillus brasiliensis",
    "staphaureus": "Staphylococcus aureus",
    "psaeruginosa": "Pseudomonas aeruginosa",
}


@dataclass(frozen=True)
class Count:
    """What was counted of one organism on one day, all replicates together."""

    log10: float  # of the count, or of the detection limit
    below: bool  # below detection
    replicates: int
    some_below: bool = False  # some replicates were; they count at their limit


@dataclass(frozen=True)
class Counts:
    """A file of counts."""

    where: str
    standard: str | None
    by_organism: Mapping[str, Mapping[int, Count]]


def read_counts(path: str | Path, tables: Tables) -> Counts:
    """The counts in a ``.csv`` or ``.xlsx`` file, organisms by their names in the tables where they
    are known there; a ``ReadingsError`` with all faults."""
    table = read_readings(path, COLUMNS)
    if table.has("cfu") and table.has("log10_cfu"):
        table.faults.add("there is a column of counts and one of logarithms", "keep one")
        table.faults.raise_if_any()
    names = _names(tables)
    seen: dict[tuple[str, int, str], int] = {}
    counts: dict[str, dict[int, list[tuple[float, bool]]]] = {}
    for row in table.rows:
        organism, day, value = _organism(table, row, names), _day(table, row), _value(table, row)
        if organism is None or day is None or value is None:
            continue
        replicate = text(row.cells.get("replicate"))
        if (
            table.has("replicate")
            and (first := seen.setdefault((organism, day, replicate), row.number)) != row.number
        ):
            twice = f"{organism}, day {day}, replicate {replicate} is already on row {first}"
            table.fault(row, "", twice, "delete one")
            continue
        counts.setdefault(organism, {}).setdefault(day, []).append(value)
    table.faults.raise_if_any()
    header = text(table.header.get("standard")) or next(
        (text(r.cells["standard"]) for r in table.rows if not is_missing(r.cells.get("standard"))),
        "",
    )
    logs = table.has("log10_cfu")
    means = {
        name: {day: _together(values, logs) for day, values in sorted(days.items())}
        for name, days in counts.items()
    }
    return Counts(table.where, header or None, means)


def _names(tables: Tables) -> dict[str, str]:
    """Folded names, short names and strain numbers of the test organisms."""
    names = dict(_OTHER_NAMES)
    for row in tables.test_organisms:
        genus, _, species = row.organism.partition(" ")
        for name in (
            row.organism,
            f"{genus[0]}. {species}",
            f"{genus[0]} {species}",
            row.strain,
            *(row.other_collections or "").split(","),
        ):
            names[_plain(name)] = row.organism
    return names


def _plain(name: str) -> str:
    return re.sub(r"[^a-z0-9]", "", folded(name))


def _organism(table: Table, row: Row, names: Mapping[str, str]) -> str | None:
    written = text(row.cells.get("organism"))
    if is_missing(row.cells.get("organism")):
        allowed = "name it, such as Candida albicans, or leave the reading out"
        table.fault(row, "organism", "is missing", allowed)
        return None
    bare = re.sub(r"[(,].*", "", written)
    bare = re.sub(
        r"\b(atcc|cip|ncimb|nbrc|dsm|ip|imi|ncpf|nctc)\b.*", "", bare, flags=re.IGNORECASE
    )
    return names.get(_plain(written)) or names.get(_plain(bare)) or " ".join(written.split())[:80]


def _day(table: Table, row: Row) -> int | None:
    cell = row.cells.get("day")
    written = text(cell).casefold()
    if written in _START:
        return 0
    match = re.fullmatch(r"(?:day|d|t)?\s*(\d{1,3})(?:[.,]0+)?\s*(?:d|days?)?", written)
    if match and int(match.group(1)) <= MAX_DAY:
        return int(match.group(1))
    allowed = "give the day as a whole number, 0 for the inoculum"
    if is_missing(cell):
        table.fault(row, "day", "is missing", allowed)
    else:
        table.fault(row, "day", "", allowed, value=shown(cell))
    return None


def _value(table: Table, row: Row) -> tuple[float, bool] | None:
    """Logarithm of a count, and whether it is a detection limit."""
    column = "log10_cfu" if table.has("log10_cfu") else "cfu"
    cell: Cell = row.cells.get(column)
    written = text(cell)
    if is_missing(cell):
        allowed = "write it, or where nothing grew the laboratory's detection limit, such as <10"
        table.fault(row, column, "is missing", allowed)
        return None
    if column == "cfu" and written.casefold() in _NO_COUNT:
        allowed = "where nothing grew write the laboratory's detection limit, such as <10"
        table.fault(row, column, "", allowed, value=shown(cell))
        return None
    below = written.startswith(("<", "≤"))
    try:
        number = as_number(written.lstrip("<≤ ") if below else cell, table.comma_is_decimal)
    except UnitError as error:
        fault = error.faults[0]
        table.fault(row, column, fault.found, fault.allowed, value=fault.value)
        return None
    log = number if column == "log10_cfu" else math.log10(number) if number > 0 else -math.inf
    if not 0 <= log <= MAX_LOG10:
        table.fault(row, column, "", f"give {_RANGES[column]}", value=shown(cell))
        return None
    return log, below


def _together(values: list[tuple[float, bool]], logs: bool) -> Count:
    """The mean of the replicates: of the counts, or of the logarithms where those were given."""
    found, below = zip(*values, strict=True)
    if all(below):
        return Count(max(found), True, len(values))
    mean = sum(found) / len(values)
    if not logs:
        mean = math.log10(sum(10**v for v in found) / len(values))
    return Count(mean, False, len(values), any(below))
