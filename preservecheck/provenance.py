"""What heads every result: program, date, and the digests of what it rests on."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, fields, is_dataclass
from typing import TYPE_CHECKING, Any

from preservecheck.version import program

if TYPE_CHECKING:
    from preservecheck.formula.model import Formula
    from preservecheck.reference.load import Tables


@dataclass(frozen=True)
class Provenance:
    """Program, date and digests."""

    program: str
    date: dt.date
    tables_sha256: str
    formula_sha256: str | None
    name: str | None  # of the product

    def to_json(self) -> dict[str, Any]:
        """The keys that head every JSON answer."""
        return {
            "format": 1,
            "program": self.program,
            "tables_sha256": self.tables_sha256,
            "formula_sha256": self.formula_sha256,
            "date": self.date.isoformat(),
        }


def plain(value: Any) -> Any:
    """A value in the types of JSON: a record is an object, a date a text, a tuple a list."""
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    if is_dataclass(value):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    return value


def keys_of(result: Any, *names: str) -> dict[str, Any]:
    """Fields of a result under their own names, in the types of JSON."""
    return {name: plain(getattr(result, name)) for name in names}


def provenance_of(
    tables: Tables, formula: Formula | None, today: dt.date | None = None
) -> Provenance:
    """The head of a result; without a date of its own that of the clock."""
    return Provenance(
        program(),
        today or dt.date.today(),
        tables.digest,
        formula.sha256 if formula else None,
        formula.product.name if formula else None,
    )
