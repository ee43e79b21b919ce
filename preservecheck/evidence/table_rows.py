"""Which table rows a verdict rests on, in full: values, source, basis, what is recalled, the state
of the law."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from preservecheck.arrays.forms import MICROBES
from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.substances import BINDER_CLASSES, OIL_CLASSES
from preservecheck.checks import legal_limit, pairs, product_ph
from preservecheck.reference.load import Tables
from preservecheck.reference.rows import TABLES

if TYPE_CHECKING:
    from preservecheck.assess.review import Report

# letters of a row's digest that are kept
SHORT = 8
LIKE = {"ester": "vegetable", "fatty-alcohol": "vegetable"}
ETHOXYLATE = BINDER_CLASSES[0]


def rows_used(case: FormulaArrays, report: Report) -> list[dict[str, Any]]:
    """The rows behind a report, table by table.

    Parameters
    ----------
    case
        One formula.
    report
        What was said of it.
    """
    tables = case.reference.tables
    found: dict[tuple[str, str], dict[str, Any]] = {}
    for table, row in _rows(case, report):
        found.setdefault(
            (table, row.key_text),
            {
                "table": table,
                "key": row.key_text,
                "own": row.key_text in tables.own(table),
                "source": tables.cite(row),
                "basis": row.basis,
                "recalled": row.recalled,
                "state": row_state(row),
                "values": values_of(row),
            },
        )
    order = list(TABLES)
    return sorted(found.values(), key=lambda r: (order.index(r["table"]), r["key"]))


def row_state(row: Any) -> str | None:
    """Date of the state of the law that a row gives, where it is a row of law."""
    state = getattr(row, "state", None)
    return state.isoformat() if state is not None else None


def values_of(row: Any) -> dict[str, Any]:
    """Filled cells of a row as plain values."""
    return {n: _plain(v) for n in row.columns if (v := getattr(row, n)) is not None and v != ()}


def _plain(value: Any) -> Any:
    if isinstance(value, dt.date):
        return value.isoformat()
    return [_plain(v) for v in value] if isinstance(value, tuple) else value


def _rows(case: FormulaArrays, report: Report) -> Iterator[tuple[str, Any]]:
    c = case.reference
    held = {c.names[k] for k in np.flatnonzero(case.amount[0] > 0)}
    used = {c.systems[int(i)].id for i in case.system[0] if i >= 0}
    yield from (("systems", s) for s in c.tables.systems if s.id in used)
    acids = {c.actives[n].acid_form for n in held if n in c.actives}
    yield from (("actives", a) for a in c.tables.actives if a.inci in held | acids)
    yield from (("ingredients", i) for i in c.tables.ingredients if i.inci in held)
    yield from _activity_rows(case)
    if not case.aw[2][0]:
        inside = {inci for s in c.tables.solutes if s.inci in held for inci, _ in s.expand_to}
        yield from (
            ("solutes", s)
            for s in c.tables.solutes
            if s.preferred == "yes" and s.inci in held | inside
        )
    yield from (("growth_limits", g) for g in c.tables.growth_limits if g.compare == "yes")
    yield from _law_rows(case, held)
    yield from _pair_rows(case)
    profile = case.profiles[int(case.profile[0])]
    if (window := product_ph.window_of(c, profile.type, profile.use)) is not None:
        yield "product_ph", window
    yield from (("label_rules", label.evidence.row) for label in report.labels)
    yield from (("cautions", r) for r in c.tables.cautions if r.text in report.cautions)
    if report.challenge_test.needed:
        yield from (("test_organisms", t) for t in c.tables.test_organisms)


def _activity_rows(case: FormulaArrays) -> Iterator[tuple[str, Any]]:
    """MIC, partition and binding rows of the actives that are there, and those that stand in for
    unknown ones."""
    c = case.reference
    for f in np.flatnonzero(case.acting_pct[0] > 0):
        form = c.forms[f]
        yield from (
            ("mic", row) for m in MICROBES if (row := c.mic_rows.get((form, m))) is not None
        )
        for i in np.flatnonzero(case.oil_ratio[0] > 0):
            oil = OIL_CLASSES[i]
            uptake = c.partition_rows.get((form, oil)) or c.partition_rows.get(
                (form, LIKE.get(oil, oil))
            )
            if uptake is not None:
                yield "partition", uptake
        for i in np.flatnonzero(case.binder_pct[0] > 0):
            binder = BINDER_CLASSES[i]
            bound = c.binding_rows.get((form, binder)) or (
                c.binding_rows.get((form, ETHOXYLATE)) if c.k_bind_borrowed[f, i] else None
            )
            if bound is not None:
                yield "binding", bound


def _law_rows(case: FormulaArrays, held: set[str]) -> Iterator[tuple[str, Any]]:
    codes = np.atleast_2d(legal_limit.judge(legal_limit.compute(case)))[0]
    every = legal_limit.rules(case.reference)
    rows = [rule.row for j in np.flatnonzero(codes) if (rule := every[j]).row is not None]
    yield from (("legal_limits", row) for row in rows)
    bases = {row.counted_as for row in rows if row is not None}
    yield from (
        ("conversions", v)
        for v in case.reference.tables.conversions
        if v.basis_name in bases and v.substance in held
    )


def _pair_rows(case: FormulaArrays) -> Iterator[tuple[str, Any]]:
    codes = np.atleast_2d(pairs.judge(pairs.compute(case)))[0]
    rows = pairs._rules(case.reference)[0]
    yield from (("incompatibilities", rows[j]) for j in np.flatnonzero(codes))


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
        old = set(_cut(digests.get(name, "")))
        now = {row_digest(row): row.key_text for row in tables.rows(name)}
        fresh, gone = [key for mark, key in now.items() if mark not in old], len(old - set(now))
        if fresh or gone:
            out[name] = (fresh, gone)
    return out


def _cut(text: str) -> Iterable[str]:
    return (text[i : i + SHORT] for i in range(0, len(text), SHORT))
