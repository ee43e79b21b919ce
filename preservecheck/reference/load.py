"""Reads the tables: ours, then the user's own rows over them.

A user's folder holds CSV files of the same names. A row whose key exists replaces ours, any other
is added; both are remembered in ``Tables.own`` so that a report can mark what came from them.
Nothing is half-loaded: all faults of all files are reported together.
"""

from __future__ import annotations

import csv
import hashlib
import io
import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

from preservecheck.errors import TableError
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
    raise TableError("the data tables are missing; reinstall preservecheck")


@dataclass(frozen=True)
class Earlier:
    """A folder with an earlier state of some tables; those that it does not hold are taken as they
    are now.

    Parameters
    ----------
    folder
        With whole tables, such as ``legal_limits.csv``.
    now
        Folder of the tables of today.
    """

    folder: Path
    now: Traversable | Earlier

    def holds(self, name: str) -> bool:
        """Whether the folder has a table."""
        return (self.folder / f"{name}.csv").is_file()

    def __truediv__(self, name: str) -> Traversable:
        return self.folder / name if (self.folder / name).is_file() else self.now / name


@dataclass(frozen=True)
class Tables:
    """All tables, read on first use of each, with the user's rows over them.

    Parameters
    ----------
    root
        Folder of the shipped tables.
    own_dir
        Folder of the user's own CSV files, or ``None``.
    """

    root: Traversable | Earlier
    own_dir: Path | None = None
    _cache: dict[str, tuple[Any, ...]] = field(default_factory=dict, repr=False, compare=False)
    _own: dict[str, frozenset[str]] = field(default_factory=dict, repr=False, compare=False)

    def rows(self, name: str) -> tuple[Any, ...]:
        """All rows of one table, typed.

        Raises
        ------
        TableError
            With every fault of the table: file, line, column, value and what is allowed.
        """
        if name not in self._cache:
            if name not in r.TABLES:
                raise TableError(
                    f"there is no table {name!r}; the tables are {', '.join(r.TABLES)}"
                )
            self._load(name)
        return self._cache[name]

    def own(self, name: str) -> frozenset[str]:
        """Keys of the rows of a table that came from the user's folder."""
        self.rows(name)
        return self._own[name]

    def _load(self, name: str) -> None:
        model = r.TABLES[name]
        path = self.root / f"{name}.csv"
        user_errors = (
            str(path)
            if isinstance(self.root, Earlier) and self.root.holds(name)
            else f"tables/{name}.csv"
        )
        shipped = read_rows(path.read_bytes(), model, user_errors)
        own: list[Any] = []
        if self.own_dir is not None and (mine := self.own_dir / f"{name}.csv").is_file():
            if mine.stat().st_size > MAX_BYTES:
                raise TableError(
                    f"{mine}: larger than {MAX_BYTES // 1_000_000} MB; give only your own rows"
                )
            own = read_rows(mine.read_bytes(), model, str(mine), own=True)
        keys = frozenset(row.key_text for row in own)
        self._own[name] = keys
        self._cache[name] = (
            (*(row for row in shipped if row.key_text not in keys), *own) if own else tuple(shipped)
        )

    systems = cached_property(lambda self: cast(tuple[r.System, ...], self.rows("systems")))
    actives = cached_property(lambda self: cast(tuple[r.Active, ...], self.rows("actives")))
    ingredients = cached_property(
        lambda self: cast(tuple[r.Ingredient, ...], self.rows("ingredients"))
    )
    mic = cached_property(lambda self: cast(tuple[r.Mic, ...], self.rows("mic")))
    partition = cached_property(lambda self: cast(tuple[r.Partition, ...], self.rows("partition")))
    binding = cached_property(lambda self: cast(tuple[r.Binding, ...], self.rows("binding")))
    solutes = cached_property(lambda self: cast(tuple[r.Solute, ...], self.rows("solutes")))
    growth_limits = cached_property(
        lambda self: cast(tuple[r.GrowthLimit, ...], self.rows("growth_limits"))
    )
    legal_limits = cached_property(
        lambda self: cast(tuple[r.LegalLimit, ...], self.rows("legal_limits"))
    )
    conversions = cached_property(
        lambda self: cast(tuple[r.Conversion, ...], self.rows("conversions"))
    )
    label_rules = cached_property(
        lambda self: cast(tuple[r.LabelRule, ...], self.rows("label_rules"))
    )
    incompatibilities = cached_property(
        lambda self: cast(tuple[r.Incompatibility, ...], self.rows("incompatibilities"))
    )
    product_ph = cached_property(
        lambda self: cast(tuple[r.ProductPh, ...], self.rows("product_ph"))
    )
    cautions = cached_property(lambda self: cast(tuple[r.Caution, ...], self.rows("cautions")))
    challenge_criteria = cached_property(
        lambda self: cast(tuple[r.ChallengeCriterion, ...], self.rows("challenge_criteria"))
    )
    test_organisms = cached_property(
        lambda self: cast(tuple[r.TestOrganism, ...], self.rows("test_organisms"))
    )

    @cached_property
    def sources(self) -> Mapping[str, r.Source]:
        """Sources by id."""
        return {s.id: s for s in cast(tuple[r.Source, ...], self.rows("sources"))}

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
        """A row as something that a statement rests on and cites.

        Parameters
        ----------
        row
            Of one of these tables.
        what
            Whose figure it is, where that has to be said.
        note
            What stands behind the source.
        """
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
    """Rows of one CSV file as models.

    Parameters
    ----------
    data
        The file, UTF-8 with comma and header line.
    model
        Row model of the table.
    where
        File name for messages.
    own
        The user's own file: ``source`` and ``basis`` may be left out, a byte-order mark and
        semicolons are accepted.

    Raises
    ------
    TableError
        All faults at once.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise TableError(f"{where}: not UTF-8 (byte {error.start}); save it as CSV UTF-8") from None
    head = text.split("\n", 1)[0]
    delimiter = ";" if own and head.count(";") > head.count(",") else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    faults: list[str] = []
    out: list[Any] = []
    seen: dict[str, int] = {}
    try:
        header = [cell.strip() for cell in next(reader, [])]
        if not header:
            raise TableError(f"{where}: the file is empty; the first line names the columns")
        known = model.columns
        if faults := _header_faults(where, header, known):
            raise TableError(faults)
        defaults = (
            (("source", OWN_SOURCE), ("basis", "practice")) if own and model is not r.Source else ()
        )
        for cells in reader:
            line = reader.line_num
            if len(cells) > len(header):
                faults.append(
                    f"{where}, line {line}: {len(cells)} cells under {len(header)} columns; "
                    "put a cell that holds a comma in quotes"
                )
                continue
            if not any(cells):
                continue
            found: Iterable[tuple[str, str]] = zip(
                header, map(str.strip, cells) if own else cells, strict=False
            )
            if (
                delimiter == ";"
            ):  # a spreadsheet that parts cells by semicolons writes a decimal comma
                found = [
                    (c, cell.replace(",", ".") if known[c].numeric else cell) for c, cell in found
                ]
            row, wrong = read_cells(model, (*defaults, *found))
            if row is None:
                faults += [_fault(where, line, f) for f in wrong]
                continue
            key = row.key_text
            if key in seen:
                faults.append(f"{where}, line {line}: {key!r} stands already on line {seen[key]}")
            seen[key] = line
            out.append(row)
    except csv.Error as error:
        faults.append(f"{where}, line {reader.line_num}: {error}")
    if faults:
        raise TableError(faults)
    return out


def _header_faults(where: str, header: list[str], known: Mapping[str, Column]) -> list[str]:
    faults = []
    if doubled := sorted({c for c in header if header.count(c) > 1}):
        faults.append(f"{where}, line 1: column {', '.join(doubled)} stands twice")
    if unknown := [c for c in header if c not in known]:
        faults.append(
            f"{where}, line 1: unknown column {', '.join(map(repr, unknown))}; allowed are "
            f"{', '.join(known)}"
        )
    return faults


def _fault(where: str, line: int, fault: CellFault) -> str:
    place = f"{where}, line {line}" + (f", column {fault.column}" if fault.column else "")
    if fault.value is None:
        return f"{place}: empty; {fault.allowed}" if fault.column else f"{place}: {fault.allowed}"
    return f"{place} is {fault.value!r}: {fault.allowed}"


def load_tables(own_dir: str | os.PathLike[str] | None = None) -> Tables:
    """The shipped tables with the user's rows over them.

    Parameters
    ----------
    own_dir
        Folder with the user's own CSV files; default is the one named in ``PRESERVECHECK_TABLES``,
        if any.

    Raises
    ------
    TableError
        The folder does not exist, or holds a CSV file that is none of the tables.
    """
    chosen = own_dir if own_dir is not None else os.environ.get(ENV) or None
    return _load(None if chosen is None else Path(chosen))


@lru_cache(maxsize=4)
def _load(own_dir: Path | None) -> Tables:
    if own_dir is not None:
        if not own_dir.is_dir():
            raise TableError(
                f"{own_dir}: no such folder; --tables and {ENV} take a folder of CSV files"
            )
        strange = sorted(p.name for p in own_dir.glob("*.csv") if p.stem not in r.TABLES)
        if strange:
            raise TableError(
                f"{own_dir}: {', '.join(strange)} is no table; name a file after one of "
                f"{', '.join(r.TABLES)}"
            )
    return Tables(tables_root(), own_dir)
