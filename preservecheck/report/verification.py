"""What working a decision record out again came to, as a document."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from preservecheck.reference.rows import TABLES
from preservecheck.report.document import Bullets, Document, Paragraph, Section

if TYPE_CHECKING:
    from preservecheck.evidence.verify import Difference, Verification

# keys of a table that are named
NAMED = 10
AGREES = "Every figure comes out as recorded, with the same tables and program."


def document(found: Verification) -> Document:
    """Whether a record agrees, and what does not."""
    if found.agrees:
        return Document(f"{found.name}: agrees", [Paragraph(AGREES)])
    groups = (
        ("Rows that the record rests on", found.rows),
        ("Figures", found.figures),
        ("Words", found.words),
    )
    sections = [Section(title, [Bullets([_words(d) for d in group])]) for title, group in groups]
    return Document(
        f"{found.name}: does not agree",
        [Paragraph(text) for text in _causes(found)],
        [Section("Tables that changed", [Bullets(list(_changed(found)))]), *sections],
    )


def data(found: Verification) -> dict[str, Any]:
    """The same as data."""
    return {"agrees": found.agrees, **asdict(found)}


def _causes(found: Verification) -> Iterator[str]:
    if found.edited:
        yield "The file was edited after it was written: its content does not fit its digest."
    if found.program:
        yield f"The program has changed: {found.program[0]} then, {found.program[1]} now."
    if found.tables and found.changed:
        yield "The tables are not those of the record."
    elif found.tables:
        yield "The tables are not the same files, but every row says the same."
    if found.obstacle:
        yield f"It cannot be worked out again: {found.obstacle}."
    elif not (found.figures or found.rows):
        yield "Every figure comes out as recorded."


def _changed(found: Verification) -> Iterator[str]:
    for name in (n for n in TABLES if n in found.changed):
        keys, gone = found.changed[name]
        more = f" and {len(keys) - NAMED} more" if len(keys) > NAMED else ""
        new = f"new or changed: {', '.join(keys[:NAMED])}{more}"
        yield f"{name}: {new if keys else f'{gone} rows are gone'}"


def _words(differing: Difference) -> str:
    then, now = _shown(differing.recorded), _shown(differing.now)
    return f"{differing.path}: recorded {then}, now {now}"


def _shown(value: Any) -> str:
    return "nothing" if value is None else json.dumps(value, ensure_ascii=False)
