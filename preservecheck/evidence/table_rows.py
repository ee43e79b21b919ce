"""Which table rows a verdict rests on, in full: values, source, basis, what is recalled, the state
of the law."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from preservecheck.provenance import plain
from preservecheck.reference.load import Tables
from preservecheck.reference.rows import TABLES, table_of

if TYPE_CHECKING:
    from preservecheck.plan.review import Report

# letters of a row's digest that are kept
SHORT = 8


def rows_used(report: Report, tables: Tables) -> list[dict[str, Any]]:
    """The rows behind a report in full, table by table."""
    return [
        {
            "table": table_of(row),
            "key": row.key_text,
            "own": tables.is_own(row),
            "source": tables.cite(row),
            "basis": row.basis,
            "recalled": row.recalled,
            "state": plain(getattr(row, "state", None)),  # date of the state of the law
            "values": values_of(row),
        }
        for row in report.rows
    ]


def values_of(row: Any) -> dict[str, Any]:
    """Filled cells of a row as plain values."""
    return {n: plain(v) for n in row.columns if (v := getattr(row, n)) is not None and v != ()}


def digests_of(tables: Tables) -> dict[str, str]:
    """For each table the digests of its rows, eight letters each, sorted, without a gap.

    So small a mark is enough to tell which rows are no longer what they were, without storing all
    of them.
    """
    return {name: "".join(sorted(row_digest(row) for row in tables.rows(name))) for name in TABLES}


def row_digest(row: Any) -> str:
    """The first letters of the SHA-256 of a row's cells."""
    text = json.dumps(values_of(row), sort_keys=True, ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()[:SHORT]


def changed_rows(tables: Tables, digests: Mapping[str, str]) -> dict[str, tuple[list[str], int]]:
    """For each table that differs: keys of rows that are new or changed, and how many old ones are
    gone or changed."""
    out = {}
    for name in TABLES:
        marks = digests.get(name, "")
        old = {marks[i : i + SHORT] for i in range(0, len(marks), SHORT)}
        now = {row_digest(row): row.key_text for row in tables.rows(name)}
        fresh, gone = [key for mark, key in now.items() if mark not in old], len(old - set(now))
        if fresh or gone:
            out[name] = (fresh, gone)
    return out
