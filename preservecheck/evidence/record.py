"""The decision record: why this preservative is in this formula, so that it can be followed and
checked years later.

It is a screening record. It holds the formula itself, so that it can be worked out again without
any other file.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
from collections.abc import Mapping
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.assess.findings import arrays_of
from preservecheck.evidence.calculation import composition_of, working_of
from preservecheck.evidence.table_rows import digests_of, rows_used, values_of
from preservecheck.formula.load import load_formula
from preservecheck.formula.model import Formula
from preservecheck.plan.review import Report, review
from preservecheck.ranking.rank import choose
from preservecheck.ranking.result import Choice, Option
from preservecheck.reference.columns import read_cells
from preservecheck.reference.load import Tables, load_tables
from preservecheck.reference.rows import Ingredient

KIND = "preservative decision record"
NOT_AN_ASSESSMENT = (
    "This is a screening record. It is not a safety assessment, not a challenge test and no proof "
    "that the product is protected; it writes down what was known, what was computed and why the "
    "preservative was chosen."
)
DIGEST = "content_sha256"
ABOVE = ("format", "program", "tables_sha256", "formula_sha256", "date", "product")


# of the figures of a system, what has a field of its own
LEFT_OUT = ("id", "rank", "outcome", "own", "why")


class Alternative(BaseModel):
    """A system that was looked at: what it would do, and why it is not in the formula."""

    model_config = ConfigDict(frozen=True)
    id: str
    rank: int
    chosen: bool
    outcome: str
    reason: str
    figures: dict[str, Any]


class DecisionRecord(BaseModel):
    """Everything that stands on the paper."""

    model_config = ConfigDict(frozen=True)
    format: Literal[1] = 1
    kind: Literal["preservative decision record"] = "preservative decision record"
    statement: str = NOT_AN_ASSESSMENT
    program: str
    tables_sha256: str
    formula_sha256: str
    date: dt.date
    batch_number: str | None
    formula: dict[str, Any]
    composition: dict[str, Any]
    working: dict[str, Any]
    report: dict[str, Any]
    chosen: tuple[str, ...]
    reason: str | None
    order: str
    alternatives: tuple[Alternative, ...]
    challenge: dict[str, Any] | None
    rows: tuple[dict[str, Any], ...]
    row_digests: dict[str, str]


class Built(BaseModel):
    """A record with what its pages are drawn from."""

    model_config = ConfigDict(frozen=True, arbitrary_types_allowed=True)
    record: DecisionRecord
    report: Report
    case: FormulaArrays
    tables: Tables


def build(
    formula: Formula | str | os.PathLike[str],
    tables: Tables | None = None,
    *,
    today: dt.date | None = None,
    batch_number: str | None = None,
    reason: str | None = None,
    challenge: Mapping[str, Any] | None = None,
) -> Built:
    """The decision record of a formula, or of the file it is in.

    The reason is in the maker's own words; ``challenge`` is what the laboratory's counts came to,
    in its JSON form. A ``FormulaError`` where the file cannot be used.
    """
    tables = tables or load_tables()
    today = today or dt.date.today()
    if not isinstance(formula, Formula):
        formula = load_formula(formula, tables, today=today)
    report = review(formula, tables, today=today)
    case = arrays_of(formula, tables, today)
    choice = choose(formula, tables, today=today)
    chosen = tuple(s.id for s in case.compositions[0].systems)
    record = DecisionRecord(
        program=report.program,
        tables_sha256=report.tables_sha256,
        formula_sha256=formula.sha256,
        date=today,
        batch_number=batch_number,
        formula=formula_data(formula),
        composition=composition_of(case),
        working=working_of(case),
        # without what stands at the head of the record already
        report={k: v for k, v in report.to_json().items() if k not in ABOVE},
        chosen=chosen,
        reason=reason,
        order=choice.order,
        alternatives=_alternatives(choice, chosen),
        challenge=None if challenge is None else dict(challenge),
        rows=tuple(rows_used(report, tables)),
        row_digests=digests_of(tables),
    )
    return Built(record=record, report=report, case=case, tables=tables)


# ---- the formula inside --------------------------------------------------------------------------


def formula_data(formula: Formula) -> dict[str, Any]:
    """A formula as JSON; of its path only the name is kept."""
    data = formula.model_dump(mode="json", exclude={"own_ingredients", "path"})
    own = [{n: _cell(v) for n, v in values_of(row).items()} for row in formula.own_ingredients]
    return data | {
        "path": os.path.basename(formula.path) if formula.path else None,
        "own_ingredients": own,
    }


def formula_from(data: Mapping[str, Any]) -> Formula:
    """The formula that a record holds; a ``ValueError`` where it does not hold together."""
    own = []
    for cells in data.get("own_ingredients", ()):
        row, faults = read_cells(Ingredient, [(str(n), str(v)) for n, v in cells.items()])
        if row is None:
            raise ValueError(f"own ingredient: {faults[0].column} {faults[0].allowed}")
        own.append(row)
    formula = Formula.model_validate({**data, "own_ingredients": tuple(own)})
    if not any(phase.lines for phase in formula.phases):
        raise ValueError("it has no line")
    return formula


def _cell(value: Any) -> str:
    """A plain value as the cell of a table."""
    if isinstance(value, list):
        return "|".join(":".join(map(_cell, v)) if isinstance(v, list) else _cell(v) for v in value)
    return repr(value) if isinstance(value, float) else str(value)


# ---- what else was looked at ---------------------------------------------------------------------


def _alternatives(choice: Choice, chosen: tuple[str, ...]) -> tuple[Alternative, ...]:
    first = min((rank for i, rank in choice.now if i in chosen and rank), default=None)
    return tuple(
        Alternative(
            id=option.id,
            rank=rank,
            chosen=option.id in chosen,
            outcome=option.outcome,
            reason=_reason(option, rank, first, option.id in chosen),
            figures={k: v for k, v in data.items() if k not in LEFT_OUT},
        )
        for rank, (option, data) in enumerate(
            zip(choice.systems, choice.to_json()["systems"], strict=True), 1
        )
    )


def _reason(option: Option, rank: int, first: int | None, chosen: bool) -> str:
    """Why a system lost, or that it did not; ``first`` is the rank of what is chosen."""
    if chosen:
        return "chosen"
    if option.outcome == "does-not-fit":
        return option.why
    if first is None:
        return f"it would do; nothing is chosen yet: {option.why}"
    if rank > first:
        return f"it would do too, behind what is chosen: {option.why}"
    return (
        f"it stands before what is chosen; why it was not taken is for the maker to say: "
        f"{option.why}"
    )


# ---- the file ------------------------------------------------------------------------------------


def to_json(record: DecisionRecord) -> str:
    """The record as a JSON text that carries the digest of its own content."""
    data = {"format": record.format, "kind": record.kind, DIGEST: ""} | record.model_dump(
        mode="json"
    )
    data[DIGEST] = content_digest(json.dumps(data, ensure_ascii=False, allow_nan=False))
    return json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def content_digest(text: str) -> str:
    """SHA-256 over the content of a record: every letter and digit of it, spaces between values
    apart.

    Numbers count as they are written, so a digit that changes no binary number is seen as well. A
    ``ValueError`` where the text is no JSON object, or names a key twice.
    """
    data = json.loads(
        text,
        parse_float=_as_written,
        parse_int=_as_written,
        parse_constant=_refused,
        object_pairs_hook=_once,
    )
    if not isinstance(data, dict):
        raise ValueError("it is no object")
    data.pop(DIGEST, None)
    canonical = json.dumps(data, sort_keys=True, ensure_ascii=True, separators=(",", ":"))
    return hashlib.sha256(canonical.encode()).hexdigest()


def _as_written(text: str) -> str:
    return f"\0{text}"


def _refused(text: str) -> Any:
    raise ValueError(f"{text} is no number")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    data = dict(pairs)
    if len(data) != len(pairs):
        raise ValueError("a key stands twice in one place")
    return data
