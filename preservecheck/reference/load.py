"""Reads the tables: ours, then the user's own rows over them.

A user's folder holds CSV files of the same names. A row whose key exists replaces ours, any other
is added; both are remembered in ``Tables.own`` so that a report can mark what came from them.
Nothing is half-loaded: all faults of all files are reported together.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

from preservecheck.errors import Fault, Hint, TableError
from preservecheck.files import Dialect, csv_dialect, csv_rows, decoded
from preservecheck.reference import rows as r
from preservecheck.reference.columns import CellFault, Column, Record, read_cells
from preservecheck.verdict import Evidence

if TYPE_CHECKING:
    import pandas as pd

ENV = "PRESERVECHECK_TABLES"
OWN_SOURCE = "own"
# a table of ours is below 1 MB; a user's few rows never need more than this
MAX_BYTES = 10_000_000
AnyRow = TypeVar("AnyRow", bound=r.Row)


def tables_root() -> Traversable:
    """Folder of the shipped tables: inside the installed package, else the checkout's
    ``tables/``."""
    shipped = files("preservecheck") / "_tables"
    if shipped.is_dir():
        return shipped
    checkout = Path(__file__).resolve().parents[2] / "tables"
    if (checkout / "sources.csv").is_file():
        return checkout
    raise TableError("the data tables are missing", "reinstall preservecheck")


@dataclass(frozen=True)
class Earlier:
    """A folder with an earlier state of some whole tables, such as ``legal_limits.csv``; those that
    it does not hold are taken as they are now."""

    folder: Path
    now: Traversable | Earlier

    def holds(self, name: str) -> bool:
        """Whether the folder has a table."""
        return (self.folder / f"{name}.csv").is_file()

    def __truediv__(self, name: str) -> Traversable:
        return self.folder / name if (self.folder / name).is_file() else self.now / name


def _rows_of(name: str, kind: type[AnyRow]) -> cached_property[tuple[AnyRow, ...]]:
    """A table as an attribute of all tables."""
    return cached_property(lambda tables: cast(tuple[AnyRow, ...], tables.rows(name)))


@dataclass(frozen=True)
class Tables:
    """All tables, read on first use of each, with the rows in the user's folder over them."""

    root: Traversable | Earlier
    own_dir: Path | None = None
    _cache: dict[str, tuple[Any, ...]] = field(default_factory=dict, repr=False, compare=False)
    _own: dict[str, frozenset[str]] = field(default_factory=dict, repr=False, compare=False)

    def rows(self, name: str) -> tuple[Any, ...]:
        """All rows of one table, typed; a ``TableError`` with every fault of the table: file, line,
        column, value and what is allowed."""
        if name not in self._cache:
            if name not in r.TABLES:
                found = f"there is no table {name!r}"
                raise TableError(found, f"the tables are {', '.join(r.TABLES)}")
            self._load(name)
        return self._cache[name]

    def own(self, name: str) -> frozenset[str]:
        """Keys of the rows of a table that came from the user's folder."""
        self.rows(name)
        return self._own[name]

    def _load(self, name: str) -> None:
        model = r.TABLES[name]
        path = self.root / f"{name}.csv"
        where = (
            str(path)
            if isinstance(self.root, Earlier) and self.root.holds(name)
            else f"tables/{name}.csv"
        )
        shipped = read_rows(path.read_bytes(), model, where)
        own: list[Any] = []
        if self.own_dir is not None and (own_file := self.own_dir / f"{name}.csv").is_file():
            if own_file.stat().st_size > MAX_BYTES:
                found = f"larger than {MAX_BYTES // 1_000_000} MB"
                raise TableError(found, "give only your own rows", where=str(own_file))
            own = read_rows(own_file.read_bytes(), model, str(own_file), own=True)
        keys = frozenset(row.key_text for row in own)
        self._own[name] = keys
        self._cache[name] = (
            (*(row for row in shipped if row.key_text not in keys), *own) if own else tuple(shipped)
        )

    systems = _rows_of("systems", r.System)
    actives = _rows_of("actives", r.Active)
    ingredients = _rows_of("ingredients", r.Ingredient)
    mic = _rows_of("mic", r.Mic)
    partition = _rows_of("partition", r.Partition)
    descriptors = _rows_of("descriptors", r.Descriptor)
    degradation = _rows_of("degradation", r.Degradation)
    binding = _rows_of("binding", r.Binding)
    solutes = _rows_of("solutes", r.Solute)
    growth_limits = _rows_of("growth_limits", r.GrowthLimit)
    markets = _rows_of("markets", r.Market)
    legal_limits = _rows_of("legal_limits", r.LegalLimit)
    conversions = _rows_of("conversions", r.Conversion)
    label_rules = _rows_of("label_rules", r.LabelRule)
    incompatibilities = _rows_of("incompatibilities", r.Incompatibility)
    product_ph = _rows_of("product_ph", r.ProductPh)
    product_kinds = _rows_of("product_kinds", r.ProductKind)
    practice = _rows_of("practice", r.Practice)
    pairs = _rows_of("pairs", r.Pair)
    stability_windows = _rows_of("stability_windows", r.StabilityWindow)
    replacements = _rows_of("replacements", r.Replacement)
    cautions = _rows_of("cautions", r.Caution)
    challenge_criteria = _rows_of("challenge_criteria", r.ChallengeCriterion)
    test_organisms = _rows_of("test_organisms", r.TestOrganism)

    @cached_property
    def sources(self) -> Mapping[str, r.Source]:
        """Sources by id."""
        return {s.id: s for s in cast(tuple[r.Source, ...], self.rows("sources"))}

    @cached_property
    def places(self) -> Mapping[str, tuple[str, str | None]]:
        """Markets by id: the market whose rows hold there, and the state of it where it is one."""
        return {m.id: (m.part_of, m.name) if m.part_of else (m.id, None) for m in self.markets}

    def holds_in(self, row: r.LegalLimit | r.LabelRule, market: str) -> bool:
        """Whether a row of the law holds in a market: a state has its own rows and those of the
        whole, the whole has the rows of every state."""
        whole, state = self.places.get(market, (market, None))
        return row.market == whole and (None in (row.region, state) or row.region == state)

    @cached_property
    def digest(self) -> str:
        """SHA-256 over all tables and the user's own rows, file by file in a fixed order."""
        total = hashlib.sha256()
        for name in r.TABLES:
            total.update((self.root / f"{name}.csv").read_bytes())
            if self.own_dir is not None and (path := self.own_dir / f"{name}.csv").is_file():
                total.update(path.read_bytes())
        return total.hexdigest()

    def cite(self, row: r.Row) -> str:
        """Where a row comes from, in one line: source, locator and how far to trust it."""
        if row.source == OWN_SOURCE:
            return f"your own tables: {row.locator or row.key_text}"
        source = self.sources.get(row.source)
        text = source.citation if source else row.source
        if row.locator:
            text += f"; {row.locator}"
        if row.basis == "memory":
            text += " (recalled, not re-read)"
        elif row.basis == "practice":
            text += " (common practice)" if "common practice" not in text else ""
        return text

    def evidence(self, row: r.Row, what: str | None = None, note: str = "") -> Evidence:
        """A row as something that a statement rests on and cites: whose figure it is, where that
        has to be said, and a note behind the source."""
        return Evidence(row, what, self.cite(row) + note, self.is_own(row))

    def used(self, row: r.Row) -> Evidence:
        """A row as something that a statement rests on without citing it."""
        return Evidence(row, own=self.is_own(row))

    def is_own(self, row: r.Row) -> bool:
        """Whether a row came from the user's folder."""
        return row.key_text in self.own(r.table_of(row))

    def to_frame(self, name: str) -> pd.DataFrame:
        """One table as a data frame, a column a field, unknown cells missing."""
        import pandas as pd

        return pd.DataFrame([row.as_dict() for row in self.rows(name)])


def read_rows(data: bytes, model: type[Record], where: str, *, own: bool = False) -> list[Any]:
    """Rows of one CSV file, UTF-8 with a header line, as models; a ``TableError`` with all faults.

    In the user's own file ``source`` and ``basis`` may be left out; a byte-order mark and
    semicolons are accepted.
    """
    text = decoded(data, where, TableError)
    dialect = csv_dialect(text) if own else Dialect(",")
    rows = csv_rows(text, where, TableError, dialect)
    first, header = next(rows, (0, []))
    header = [cell.strip() for cell in header]
    if not header:
        raise TableError("is empty", "the first line names the columns", where=where)
    known = model.columns
    if faults := _header_faults(where, first, header, known):
        raise TableError(faults)
    ours = own and model is not r.Source
    defaults = (("source", OWN_SOURCE), ("basis", "practice")) if ours else ()
    out: list[Any] = []
    seen: dict[str, int] = {}
    for number, cells in rows:
        if len(cells) > len(header):
            found = f"{len(cells)} cells under {len(header)} columns"
            faults.append(_fault(where, number, found, "put a cell that holds a comma in quotes"))
            continue
        if not any(cells):
            continue
        named: Iterable[tuple[str, str]] = zip(
            header, map(str.strip, cells) if own else cells, strict=False
        )
        if dialect.comma_is_decimal:
            named = [(c, x.replace(",", ".") if known[c].numeric else x) for c, x in named]
        row, wrong = read_cells(model, (*defaults, *named))
        if row is None:
            faults += [_cell_fault(where, number, f) for f in wrong]
            continue
        key = row.key_text
        if key in seen:
            found = f"is already on row {seen[key]}"
            faults.append(_fault(where, number, found, value=repr(key)))
        seen[key] = number
        out.append(row)
    if faults:
        raise TableError(faults)
    return out


def _header_faults(
    where: str, first: int, header: list[str], known: Mapping[str, Column]
) -> list[Fault]:
    faults = []
    if doubled := sorted({c for c in header if header.count(c) > 1}):
        name = f"column {', '.join(doubled)}"
        faults.append(_fault(where, first, "appears twice", name=name))
    if unknown := [c for c in header if c not in known]:
        found = f"unknown column {', '.join(map(repr, unknown))}"
        faults.append(_fault(where, first, found, f"allowed are {', '.join(known)}"))
    return faults


def _fault(where: str, row: int, found: str, allowed: str = "", **rest: Any) -> Fault:
    return Fault(found, allowed, where=where, **{"path": (row,), "place": f"row {row}"} | rest)


def _cell_fault(where: str, row: int, fault: CellFault) -> Fault:
    """A fault of a cell, or, without a column, of its row."""
    if not fault.column:
        return _fault(where, row, fault.allowed)
    found, value = ("is empty", "") if fault.value is None else ("", repr(fault.value))
    name, path = f"column {fault.column}", (row, fault.column)
    return _fault(where, row, found, fault.allowed, path=path, name=name, value=value)


def load_tables(own_dir: str | os.PathLike[str] | None = None) -> Tables:
    """The shipped tables with the user's rows over them, from CSV files in a folder; default is the
    one named in ``PRESERVECHECK_TABLES``, if any.

    A ``TableError`` where the folder does not exist, or holds a CSV file that is none of the
    tables.
    """
    chosen = own_dir if own_dir is not None else os.environ.get(ENV) or None
    return _load(None if chosen is None else Path(chosen))


@lru_cache(maxsize=4)
def _load(own_dir: Path | None) -> Tables:
    if own_dir is not None:
        if not own_dir.is_dir():
            raise TableError(
                "no such folder",
                "give a folder of CSV files",
                where=str(own_dir),
                hint=Hint.TABLES_FOLDER,
            )
        strange = sorted(p.name for p in own_dir.glob("*.csv") if p.stem not in r.TABLES)
        if strange:
            names = ", ".join(r.TABLES)
            found = f"{', '.join(strange)} is no table"
            raise TableError(found, f"name a file after one of {names}", where=str(own_dir))
    return Tables(tables_root(), own_dir)
