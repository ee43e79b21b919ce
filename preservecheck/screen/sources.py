"""Where a pile of formulas comes from: files one by one, or long tables, in pieces that fit into
memory."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import islice, pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from preservecheck.errors import Fault, FormulaError, Hint, PreservecheckError
from preservecheck.files import csv_dialect, csv_rows
from preservecheck.formula.load import load_formula
from preservecheck.screen.frame import Screen, check_columns, products_of
from preservecheck.screen.long_table import ReadFormulas, texts
from preservecheck.screen.schema import LINES, PRODUCTS

if TYPE_CHECKING:
    import pandas as pd

FORMULA_FILES = (".toml", ".xlsx", ".csv")
LONG_TABLES = (".csv", ".parquet")
# formulas in one piece: enough to outweigh the calls, few enough to be done soon when a run is
# stopped
FILES_AT_ONCE = 200
ROWS_AT_ONCE = 100_000
FORMULAS_AT_ONCE = 2_500
LINES_AT_ONCE = 100_000
# lines that the separator of a table is told from
HEAD_LINES = 60
_FORMS = "give formula files (.toml, .xlsx, .csv), a folder of them, or a .csv or .parquet table"
_SPLIT = "its lines do not stand together in the table; sort the table by formula"


@dataclass(frozen=True)
class Piece:
    """Some formulas: files to read, or lines and products of a table."""

    formulas: int
    files: tuple[tuple[str, Path], ...] = ()  # name and path
    lines: Any = None
    products: Any = None
    faults: dict[str, str] = field(default_factory=dict)  # known beforehand, by formula

    def read(self, screen: Screen) -> ReadFormulas:
        """The formulas, read against a screen's tables."""
        if self.files:
            return _files_read(self.files, screen)
        read = screen.reader.read(self.lines, self.products)
        faults = dict(enumerate(self.faults.values(), len(read.ids)))
        return replace(read, ids=(*read.ids, *self.faults), faults=read.faults | faults)


def _files_read(files: Sequence[tuple[str, Path]], screen: Screen) -> ReadFormulas:
    import pandas as pd

    others, faults = {}, {}
    for n, (_, path) in enumerate(files):
        try:
            formula = load_formula(path, screen.tables, today=screen.today)
            others[n] = screen.composer.compose(formula)
        except PreservecheckError as error:
            faults[n] = screen.reader.note_on(error)
    empty = screen.reader.read(
        pd.DataFrame(columns=["formula", "phase", "ingredient"]),
        pd.DataFrame(columns=["formula", *PRODUCTS]),
    )
    return ReadFormulas(
        tuple(name for name, _ in files), empty.recipes, empty.recipes_at, others, faults
    )


@dataclass
class Source:
    """Formula files, or one long table."""

    name: str
    files: tuple[tuple[str, Path], ...] = ()
    table: Path | None = None
    products: Path | None = None

    def count(self) -> int:
        """How many formulas."""
        return len(self.files) if self.table is None else len(self._runs[0])

    def pieces(self, systems: int = 1) -> Iterator[Piece]:
        """The formulas, piece by piece, each formula whole; ``systems`` rows come of each."""
        if self.table is not None:
            yield from self._table_pieces(max(1, min(FORMULAS_AT_ONCE, ROWS_AT_ONCE // systems)))
        for at in range(0, len(self.files), FILES_AT_ONCE):
            files = self.files[at : at + FILES_AT_ONCE]
            yield Piece(len(files), files=files)

    def _table_pieces(self, most: int) -> Iterator[Piece]:
        import pandas as pd

        products = None if self.products is None else _read_whole(self.products)
        if products is not None:
            check_columns(products, {"formula": LINES["formula"]} | PRODUCTS, str(self.products))
            index = pd.Index(products["formula"])  # once for all pieces
        known = LINES if products is not None else LINES | PRODUCTS
        split, reported = set(self._runs[1]), set[str]()
        for lines in self._whole_formulas(most):
            check_columns(lines, known, str(self.table))
            broken = lines["formula"].isin(split)
            faults = dict.fromkeys(
                (name for name in lines["formula"][broken] if name not in reported), _SPLIT
            )
            reported |= faults.keys()
            whole = lines[~broken]
            if products is not None:
                at = index.get_indexer_for(whole["formula"].unique())
                found = products.iloc[np.sort(at[at >= 0])]
            else:
                found = products_of(whole)
            yield Piece(
                int(whole["formula"].nunique()) + len(faults),
                lines=whole.reset_index(drop=True),
                products=found.reset_index(drop=True),
                faults=faults,
            )

    def _whole_formulas(self, most: int) -> Iterator[pd.DataFrame]:
        """Pieces of the table with so many formulas at most, each ending where a formula ends."""
        import pandas as pd

        left: pd.DataFrame | None = None
        for chunk in _chunks(self.table):
            both = chunk if left is None else pd.concat([left, chunk], ignore_index=True)
            *whole, first = _starts(both)
            for start, end in pairwise([*whole[::most], first]):
                yield both.iloc[start:end]
            left = both.iloc[first:]
        if left is not None and len(left):
            yield left

    @cached_property
    def _runs(self) -> tuple[list[str], list[str]]:
        """Formulas in their order, and those whose lines stand in more than one place."""
        seen: dict[str, int] = {}
        previous = None
        for chunk in _chunks(self.table, ["formula"]):
            for name in chunk["formula"].to_numpy()[_starts(chunk)]:
                if name != previous:  # else a chunk ended within a formula
                    seen[name] = seen.get(name, 0) + 1
                previous = name
        return list(seen), [n for n, times in seen.items() if times > 1]


def _starts(lines: pd.DataFrame) -> list[int]:
    """Where the lines of each formula begin."""
    names = lines["formula"].to_numpy()
    return [0, *(np.flatnonzero(names[1:] != names[:-1]) + 1).tolist()]


def _chunks(path: Path | None, only: list[str] | None = None) -> Iterator[pd.DataFrame]:
    """A long table in chunks; a ``FormulaError`` where it cannot be read, or has no column
    ``formula``."""
    import pandas as pd

    if path is None:
        return
    try:
        if path.suffix.casefold() == ".parquet":
            import pyarrow.parquet as pq

            file = pq.ParquetFile(path)
            if "formula" not in file.schema_arrow.names:
                raise FormulaError(
                    "has no column formula",
                    "it names the formula that each line belongs to",
                    where=str(path),
                )
            for batch in file.iter_batches(batch_size=LINES_AT_ONCE, columns=only):
                if batch.num_rows:
                    yield _tidy(batch.to_pandas())
            return
        layout: Any = _layout(path) | {"usecols": only, "chunksize": LINES_AT_ONCE}
        with pd.read_csv(path, low_memory=False, **layout) as reader:
            for chunk in reader:
                if len(chunk):
                    yield _tidy(chunk)
    except (OSError, ValueError) as error:
        raise FormulaError(f"cannot be read as a table: {error}", where=str(path)) from None


def _tidy(table: pd.DataFrame) -> pd.DataFrame:
    """The table with the names of its formulas as text."""
    return table.assign(formula=texts(table["formula"])) if "formula" in table else table


def _head(path: Path) -> str:
    """The first lines of a CSV file."""
    with path.open(encoding="utf-8-sig", errors="replace") as file:
        return "".join(islice(file, HEAD_LINES))


def _layout(path: Path) -> dict[str, Any]:
    """How a CSV file separates its cells."""
    dialect = csv_dialect(_head(path))
    return {
        "encoding": "utf-8-sig",
        "skipinitialspace": True,
        "sep": dialect.separator,
        "decimal": "," if dialect.comma_is_decimal else ".",
        "skiprows": dialect.skipped,
    }


def _read_whole(path: Path) -> pd.DataFrame:
    import pandas as pd

    parts = list(_chunks(path))
    if not parts:
        raise FormulaError("is empty", "it has a row a formula", where=str(path))
    return pd.concat(parts, ignore_index=True)


def sources_of(paths: Sequence[Path], products: Path | None = None) -> list[Source]:
    """Formula files, folders of them, and long tables; a ``PreservecheckError`` with all paths that
    are not there or are nothing of the kind."""
    files: list[tuple[str, Path]] = []
    tables: list[Source] = []
    faults: list[Fault] = []

    def refuse(path: Path, found: str, allowed: str) -> None:
        faults.append(Fault(found, allowed, where=str(path)))

    for path in paths:
        if path.is_dir():
            start = path if len(paths) == 1 else None  # names within a single folder are short
            inside = [
                (str(p.relative_to(start) if start else p), p)
                for p in sorted(path.rglob("*"))
                if _is_formula(p)
            ]
            files += inside
            if not inside:
                refuse(path, "holds no formula file", "they end in .toml, .xlsx or .Formula.csv")
        elif not path.is_file():
            refuse(path, "there is no such file or folder", "check the name")
        elif path.suffix.casefold() in LONG_TABLES and _is_long(path):
            tables.append(Source(str(path), table=path, products=products or _beside(path)))
        elif path.suffix.casefold() in FORMULA_FILES:
            files.append((str(path), path))
        else:
            refuse(path, "", _FORMS)
    if products is not None and not products.is_file():
        faults.append(Fault("there is no such file", where=str(products), hint=Hint.PRODUCTS))
    if products is not None and not tables:
        faults.append(
            Fault(
                "a table of products goes with a long table of lines",
                "formula files hold their product themselves",
                path=("products",),
            )
        )
    if faults:
        raise PreservecheckError(faults)
    return [*([Source("files", files=tuple(files))] if files else []), *tables]


def _is_formula(path: Path) -> bool:
    name = path.name.casefold()
    if not path.is_file() or name.startswith(("~$", ".")):
        return False
    return name.endswith((".toml", ".xlsx", ".formula.csv"))


def _is_long(path: Path) -> bool:
    if path.suffix.casefold() == ".parquet":
        return True
    heads = next(csv_rows(_head(path), str(path), FormulaError), (0, []))[1]
    return "formula" in [cell.strip().casefold() for cell in heads]


def _beside(path: Path) -> Path | None:
    """The table of the products that stands beside a table of lines: ``shelf.csv`` and
    ``shelf.products.csv``."""
    for suffix in (path.suffix, *LONG_TABLES):
        other = path.with_name(f"{path.stem}.products{suffix}")
        if other.is_file():
            return other
    return None
