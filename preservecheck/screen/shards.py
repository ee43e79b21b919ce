"""Part files of a screen and what is put together from them, in each form."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import numpy as np

from preservecheck.checks import CHECKS
from preservecheck.files import replaced
from preservecheck.screen.schema import ROW

if TYPE_CHECKING:
    import pandas as pd

# how the names of parts end, and those of their counts
ROWS, COUNTS = ".rows", ".counts"
# rows of each part that a table on a screen may show
TABLE_ROWS = 40


def write_part(frame: pd.DataFrame, form: str, part: Path) -> None:
    """Write one part as a whole: rows without a heading, so that parts can be put one after the
    other. Raises as ``files.replaced``."""
    with replaced(part.with_suffix(ROWS)) as path:
        _WRITERS[form](frame, path)


def _csv(frame: pd.DataFrame, path: Path) -> None:
    frame.to_csv(path, index=False, header=False, lineterminator="\n")


def _parquet(frame: pd.DataFrame, path: Path) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    pq.write_table(pa.Table.from_pandas(frame, preserve_index=False), path)


def _json(frame: pd.DataFrame, path: Path) -> None:
    with path.open("w", encoding="utf-8") as file:
        for row in objects(frame):
            file.write(json.dumps(row, ensure_ascii=False, allow_nan=False) + "\n")


def _table(frame: pd.DataFrame, path: Path) -> None:
    _json(frame.head(TABLE_ROWS), path)


_WRITERS: dict[str, Callable[[Any, Path], None]] = {
    "csv": _csv,
    "parquet": _parquet,
    "json": _json,
    "table": _table,
}


def objects(frame: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """The rows with the keys that other programs read; figures in the form of the report."""
    for row in frame.to_dict("records"):
        cells = {str(k): _plain(v) for k, v in row.items()}
        if CHECKS[0].id not in cells:  # what changed between two states of the tables
            yield cells
            continue
        yield {n: cells[n] for n in ROW} | {
            "checks": {
                c.id: _check(cells, c.id, c.key.name, c.key.unit) for c in CHECKS if cells[c.id]
            }
        }


def _check(cells: dict[str, Any], check: str, name: str, unit: str) -> dict[str, Any]:
    key = f"{check}.{name}"
    figure = {"value": cells[key], "tolerance": cells.get(f"{key}.tolerance"), "unit": unit}
    return {"verdict": cells[check], "serious": cells[f"{check}.serious"], name: figure}


def _plain(value: Any) -> Any:
    if isinstance(value, np.generic):
        value = value.item()
    return None if isinstance(value, float) and not np.isfinite(value) else value


def rows_shown(folder: Path, most: int) -> list[dict[str, Any]]:
    """The first rows of a run whose form is ``table`` or ``json``."""
    out: list[dict[str, Any]] = []
    for part in _parts(folder):
        with part.open(encoding="utf-8") as file:
            for line in file:
                out.append(json.loads(line))
                if len(out) >= most:
                    return out
    return out


def _parts(folder: Path) -> list[Path]:
    return sorted(folder.glob(f"*{ROWS}"))


def put_together(
    folder: Path, form: str, output: Path, columns: Sequence[str], head: dict[str, Any]
) -> None:
    """Write the output, ``csv``, ``parquet`` or ``json``, from the parts: as a whole or not at all.
    The head stands before the rows in JSON. Raises as ``files.replaced``."""
    with replaced(output) as path:
        if form == "parquet":
            _parquet_together(folder, path)
        else:
            with path.open("w", encoding="utf-8", newline="\n") as file:
                stream(folder, form, file, columns, head)


def stream(
    folder: Path, form: str, file: IO[str], columns: Sequence[str], head: dict[str, Any]
) -> None:
    """Write the rows of all parts to an open text file, as CSV or JSON."""
    if form == "csv":
        file.write(",".join(columns) + "\n")
        for part in _parts(folder):
            with part.open(encoding="utf-8") as rows:
                shutil.copyfileobj(rows, file)
        return
    before = json.dumps(head, ensure_ascii=False, indent=2, allow_nan=False).removesuffix("\n}")
    file.write(before + ',\n  "rows": [')
    first = True
    for part in _parts(folder):
        with part.open(encoding="utf-8") as rows:
            for line in rows:
                file.write(("\n    " if first else ",\n    ") + line.rstrip("\n"))
                first = False
    file.write("]\n}\n" if first else "\n  ]\n}\n")


def _parquet_together(folder: Path, half: Path) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    every = _parts(folder)
    # a part without rows, or without a single value in a column, does not know what that column
    # holds
    schema = pa.unify_schemas([pq.read_schema(p) for p in every], promote_options="permissive")
    with pq.ParquetWriter(half, schema) as writer:
        for part in every:
            writer.write_table(pq.read_table(part).cast(schema))
