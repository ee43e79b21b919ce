"""How far the tables can be trusted: the age of each market's law, and what was read, what was only
recalled and what is missing."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Container, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from preservecheck.reference.load import Tables
from preservecheck.reference.rows import Market, Row

# age from which a report asks for a second look at the law [months]
OLD_MONTHS = 6
# how a row says that most of its numbers are recalled, or all but one column
NUMBERS, ALL_BUT = "most figures", "all but "
Standing = Literal["read", "recalled", "practice", "missing"]
# columns of a system that a verdict rests on
SYSTEM_COLUMNS = (
    "ph_min",
    "ph_max",
    "usage_min_percent",
    "usage_max_percent",
    "heat_limit_c",
    "charge",
    "with_cationic_surfactant",
    "with_anionic_surfactant",
    "with_nonionic_ethoxylates",
    "with_proteins",
    "with_electrolytes",
    "gram_positive",
    "gram_negative",
    "yeast",
    "mould",
)


@dataclass(frozen=True)
class LawAge:
    """How old what the tables hold of one market's law is on a day."""

    market: Market
    rows: int
    read: int
    oldest: dt.date | None
    newest: dt.date | None
    months: int | None  # full months since the newest; None: no date is known

    @property
    def is_old(self) -> bool:
        """Whether the law has to be looked up again, also where no date is known."""
        return self.months is None or self.months >= OLD_MONTHS


def law_ages(tables: Tables, day: dt.date, markets: Container[str] | None = None) -> list[LawAge]:
    """The law of each market, or of those named, in the order of the markets' table."""
    found = []
    for market in tables.markets:
        if markets is not None and market.id not in markets:
            continue
        rows = [r for r in tables.legal_limits if tables.holds_in(r, market.id)]
        dates = [d for d in (market.state, *(r.state for r in rows)) if d is not None]
        newest = max(dates, default=None)
        found.append(
            LawAge(
                market,
                len(rows),
                sum(r.basis == "published" for r in rows),
                min(dates, default=None),
                newest,
                None if newest is None else full_months(newest, day),
            )
        )
    return found


def full_months(since: dt.date, day: dt.date) -> int:
    """Full months from one day to a later one; 0 where it is not later."""
    months = 12 * (day.year - since.year) + day.month - since.month
    return max(0, months - (day.day < since.day))


def standing_of(row: Row, column: str) -> Standing:
    """Where one cell comes from."""
    if getattr(row, column) is None or getattr(row, column) == ():
        return "missing"
    if row.basis == "practice":
        return "practice"
    said = row.recalled or ""
    marked = {word.strip() for word in re.split("[,|]", said)}
    loose = (
        column in marked
        or (NUMBERS in marked and isinstance(getattr(row, column), float))
        or (said.startswith(ALL_BUT) and column != said.removeprefix(ALL_BUT))
    )
    return "recalled" if row.basis == "memory" or loose else "read"


@dataclass(frozen=True)
class Coverage:
    """A matrix of what is known: a standing for each row and column."""

    title: str
    rows: tuple[str, ...]
    columns: tuple[str, ...]
    cells: tuple[tuple[Standing, ...], ...]

    def count(self, standing: Standing) -> int:
        """How many cells stand so."""
        return sum(row.count(standing) for row in self.cells)

    def to_json(self) -> dict[str, Any]:
        """The matrix with the keys that other programs read."""
        return {
            "title": self.title,
            "columns": list(self.columns),
            "rows": {
                row: dict(zip(self.columns, cells, strict=True))
                for row, cells in zip(self.rows, self.cells, strict=True)
            },
        }


def coverage(tables: Tables) -> tuple[Coverage, Coverage]:
    """Inhibition figures, actives by organisms of the challenge test; and systems by the columns
    that a verdict rests on."""
    organisms = tuple(dict.fromkeys(o.organism for o in tables.test_organisms))
    preferred = {(m.active, m.organism): m for m in tables.mic if m.preferred == "yes"}
    studied = {active for active, _ in preferred}
    # a salt works as its acid, which has the figures
    salts = {c.substance for c in tables.conversions if c.basis_name in studied} - studied
    actives = tuple(
        a.key_text for a in tables.actives if a.role == "preservative" and a.key_text not in salts
    )

    def inhibition(active: str, organism: str) -> Standing:
        row = preferred.get((active, organism))
        return "missing" if row is None else standing_of(row, "mic_mg_l")

    return (
        Coverage(
            "Inhibition figures",
            actives,
            organisms,
            tuple(tuple(inhibition(a, o) for o in organisms) for a in actives),
        ),
        _of_columns("Systems", tables.systems, SYSTEM_COLUMNS),
    )


def _of_columns(title: str, rows: Sequence[Any], columns: tuple[str, ...]) -> Coverage:
    cells = tuple(tuple(standing_of(row, c) for c in columns) for row in rows)
    return Coverage(title, tuple(row.key_text for row in rows), columns, cells)


def read_shares(tables: Tables) -> dict[str, tuple[int, int]]:
    """How many of the figures that are used were read, and of how many: preferred inhibition
    figures, preferred partition coefficients, roles of ingredients, rows of the law."""
    groups: dict[str, list[tuple[Row, str]]] = {
        "inhibition figures": [(m, "mic_mg_l") for m in tables.mic if m.preferred == "yes"],
        "partition coefficients": [
            (p, "k_oil_water") for p in tables.partition if p.preferred == "yes"
        ],
        "roles of ingredients": [(i, "role") for i in tables.ingredients],
        "rows of the law": [(r, "kind") for r in tables.legal_limits],
    }
    return {
        name: (sum(standing_of(*cell) == "read" for cell in cells), len(cells))
        for name, cells in groups.items()
    }
