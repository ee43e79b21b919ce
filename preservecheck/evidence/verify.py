"""Reads a decision record back, works it out again, and names everything that no longer agrees."""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from preservecheck.checks import current_id
from preservecheck.errors import Fault, Hint, PreservecheckError, ReadingsError
from preservecheck.evidence.record import DIGEST, KIND, build, content_digest, formula_from
from preservecheck.evidence.table_rows import changed_rows
from preservecheck.files import Kind, file_bytes
from preservecheck.reference.load import Tables, load_tables
from preservecheck.version import program

MAX_BYTES = 20_000_000
_RECORD = Kind(
    "a decision record",
    "a decision record is a JSON file",
    ReadingsError,
    "write it again",
    Hint.RECORD,
)
# figures of two machines may differ in their last digits
SAME = 1e-9
# keys by which entries of a list are told apart, so that a path names the thing and not its number
NAMES = ("table", "key", "id", "about", "inci", "name", "line", "origin", "substance", "market")
APART = (DIGEST, "program", "tables_sha256", "row_digests", "batch_number", "reason", "challenge")


@dataclass(frozen=True)
class Difference:
    """One value that no longer agrees."""

    path: str
    recorded: Any
    now: Any

    @property
    def is_figure(self) -> bool:
        """Whether it is a number, now or in the record."""
        return _is_number(self.recorded) or _is_number(self.now)


@dataclass(frozen=True)
class Verification:
    """What was found."""

    name: str
    edited: bool
    program: tuple[str, str] | None  # recorded and present, where they differ
    tables: bool  # whether any table differs
    changed: Mapping[str, tuple[list[str], int]]
    rows: tuple[Difference, ...]
    figures: tuple[Difference, ...]
    words: tuple[Difference, ...]
    obstacle: str | None  # why it could not be worked out again

    @property
    def agrees(self) -> bool:
        """Whether all is as it was."""
        differing = (self.program, self.rows, self.figures, self.words, self.obstacle)
        return not (self.edited or self.tables or any(differing))


def verify(path: Path, tables: Tables | None = None) -> Verification:
    """Compare a record, a JSON file, with what this program and these tables say of the formula
    inside it; a ``ReadingsError`` where the file is no decision record."""
    tables = tables or load_tables()
    data, digest = _read(path)
    current, recorded = program(), str(data.get("program"))
    now, obstacle = _again(data, tables)
    marks = data.get("row_digests")
    digests = {n: str(m) for n, m in marks.items()} if isinstance(marks, dict) else None
    rows: list[Difference] = []
    rest: list[Difference] = []
    if now is not None:
        old, new = _compared(data), _compared(now)
        rows += differences({"rows": old.pop("rows", None)}, {"rows": new.pop("rows", None)})
        rest += differences(old, new)
    return Verification(
        name=path.name,
        edited=data.get(DIGEST) != digest,
        program=(recorded, current) if recorded != current else None,
        tables=data.get("tables_sha256") != tables.digest,
        changed={} if digests is None else changed_rows(tables, digests),
        rows=tuple(rows),
        figures=tuple(d for d in rest if d.is_figure),
        words=tuple(d for d in rest if not d.is_figure),
        obstacle=obstacle,
    )


def _read(path: Path) -> tuple[dict[str, Any], str]:
    text = file_bytes(path, MAX_BYTES, _RECORD).decode("utf-8", errors="replace")
    try:
        digest = content_digest(text)
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise ReadingsError(Fault(f"is no decision record: {error}", where=str(path))) from None
    if not str(data.get("kind", "")).startswith(KIND[:12]) and DIGEST not in data:
        raise ReadingsError(Fault("is no decision record", where=str(path), hint=Hint.RECORD))
    return data, digest


def _again(data: Mapping[str, Any], tables: Tables) -> tuple[dict[str, Any] | None, str | None]:
    """The record worked out again from the formula inside it, or why that cannot be done."""
    try:
        formula = formula_from(data["formula"])
        day = dt.date.fromisoformat(str(data["date"]))
        built = build(formula, tables, today=day)
    except ValidationError as error:
        first = error.errors()[0]
        why = f"is not one: {'.'.join(map(str, first['loc']))}: {first['msg']}"
    except PreservecheckError as error:
        why = f"cannot be used: {error.messages[0]}"
    except KeyError as error:
        why = f"names {error}, which the tables do not know or the record does not hold"
    except (ValueError, TypeError, AttributeError, ArithmeticError) as error:
        why = f"cannot be used: {error}"
    else:
        return json.loads(built.record.model_dump_json()), None
    return None, f"the formula inside {why}"


def _compared(data: Mapping[str, Any]) -> dict[str, Any]:
    """What must come out the same; a result kept beside the formula is no part of it, and checks go
    by their names of today."""
    kept = {k: v for k, v in data.items() if k not in APART}
    report = kept.get("report")
    if not isinstance(report, dict):
        return kept
    kept["report"] = report = dict(report)
    if isinstance(test := report.get("challenge_test"), dict):
        report["challenge_test"] = {k: v for k, v in test.items() if k != "result"}
    if isinstance(findings := report.get("checks"), list):
        report["checks"] = [
            f | {"id": current_id(str(f.get("id")))} if isinstance(f, dict) else f for f in findings
        ]
    return kept


def differences(recorded: Any, now: Any) -> Iterator[Difference]:
    """Values that differ, each with a path that names where it stands."""
    old, new = dict(leaves(recorded)), dict(leaves(now))
    for path in dict.fromkeys((*old, *new)):
        a, b = old.get(path), new.get(path)
        if path not in old or path not in new or not _same(a, b):
            yield Difference(path, a, b)


def _same(a: Any, b: Any) -> bool:
    if _is_number(a) and _is_number(b):
        return math.isclose(a, b, rel_tol=SAME, abs_tol=1e-12)
    return type(a) is type(b) and bool(a == b)


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def leaves(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Every plain value with its path; entries of a list go by their names, not by their places."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from leaves(inner, f"{path}.{key}" if path else str(key))
    elif isinstance(value, list):
        seen: dict[str, int] = {}
        for at, inner in enumerate(value, 1):
            name = str(at)
            if isinstance(inner, dict):
                names = [str(inner[n]) for n in NAMES if isinstance(inner.get(n), str)]
                name = ": ".join(names) or name
            seen[name] = seen.get(name, 0) + 1
            yield from leaves(inner, f"{path}[{name}{f' #{seen[name]}' if seen[name] > 1 else ''}]")
    else:
        yield path, value
