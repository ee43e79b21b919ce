"""The words of the bench on the page: what a sentence for the command line says there, said for
fields and buttons."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from preservecheck.errors import Fault
from preservecheck.page.hints import COLUMN_WORDS, FieldFault, worded
from preservecheck.page.words import view_alone
from preservecheck.report.document import Block, Bullets, Document, Paragraph, Table

if TYPE_CHECKING:
    from collections.abc import Iterable

# what a sentence says of an option or a file, and what it says of the page; in this order
BENCH_WORDS = (
    (
        "No formula was given, so the masses are not known; give it with --formula.",
        "No formula is filled in, so the masses are not known.",
    ),
    ("give that of the room with --room", "type that of the room"),
    ("Measure the room and give it with --room", "Measure the room and type its temperature"),
    ("measure the room and give it with --room", "measure the room and type its temperature"),
    ("a measured one, given with --room, makes", "a measured one, typed above, makes"),
    ("give the room with --room", "type the temperature of the room"),
    (
        "give --added with the time to judge by the readings",
        "type the time to have it judged by the readings",
    ),
    ('; give it with --batch "500 g"', "; type it above"),
    ("say with --target where to go", "type the pH to reach"),
)
# the field that a fault is about, where it is about no reading
_FIELDS = {
    "moment": "cool-added",
    "sample_grams": "drop-sample",
    "agent_percent": "drop-strength",
    "agent": "drop-agent",
    "grams_added": "drop-new-grams",
}


def on_page(text: str) -> str:
    """A sentence in the words of the page."""
    for said, meant in BENCH_WORDS:
        text = text.replace(said, meant)
    return view_alone(text)


def faults_of(faults: Iterable[Fault], part: str) -> list[FieldFault]:
    """Faults of readings, each with its field.

    Parameters
    ----------
    faults
        Of the readings.
    part
        ``cool`` or ``drop``, as the fields begin.
    """
    return [_field_fault(fault, part) for fault in faults]


def _field_fault(fault: Fault, part: str) -> FieldFault:
    place, field = fault.place, None
    match fault.path:
        case (int(at), *column) if part == "cool":
            field = f"cool-{at}-{'temp' if column == ['temperature'] else 'time'}"
        case (int(row), *column):  # counted from 1, as rows of a file are
            field = f"drop-{row - 1}-{'ph' if column == ['ph'] else 'grams'}"
            place = f"reading {row}"
        case (str(key), *_) if key in _FIELDS:
            field = _FIELDS[key]
    return FieldFault(
        worded(fault, place=place, name=COLUMN_WORDS.get(fault.name, fault.name)), field
    )


def sections_of(document: Document) -> Iterator[dict[str, Any]]:
    """The sections of a result for a template, in the words of the page."""
    for section in document.filled:
        yield {"title": section.title, "blocks": [_block(b) for b in section.blocks]}


def _block(block: Block) -> dict[str, Any]:
    if isinstance(block, Paragraph):
        return {"kind": "said", "text": on_page(block.text)}
    if isinstance(block, Bullets):
        return {"kind": "listed", "texts": [on_page(t) for t in block.texts]}
    assert isinstance(block, Table)
    # the first column counts the rows and the last one is a sentence, so a phone shows them as a
    # list
    rows = [
        {
            "cells": [(h, c) for h, c in zip(block.heads[1:-1], row[1:-1], strict=True) if c],
            "then": on_page(row[-1]),
        }
        for row in block.rows
    ]
    return {"kind": "grid", "rows": rows}
