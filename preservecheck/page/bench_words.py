"""The words of the bench on the page: what a sentence for the command line says there, said for
fields and buttons."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from preservecheck.page.draft_outcome import Fault
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
    (
        "; write minutes such as 10, or a clock time such as 14:05",
        "; type a time of day such as 14:05",
    ),
    ('such as "74 °C" or "165 °F"', "such as 74 °C or 165 °F"),
    ("grams_added is the running total", "it is the running total"),
    (
        "the first row must give the pH before anything was added: grams_added 0",
        "the first reading must be the pH before anything is added: 0 g",
    ),
    ("grams_added", "“Added so far”"),
    ("sample_grams", "the weight of the sample"),
    ("agent_percent", "the strength"),
    ("delete the row", "remove the reading"),
    (
        "; it is the running total, so it rises from row to row",
        "; it is the running total, so it rises from reading to reading",
    ),
)
_AGENT = re.compile(r'the agent "')
_ROW = re.compile(r"\brow ([0-9]+)")
_PH = re.compile(r": ph\b")
_READING = re.compile(r"reading ([0-9]+)\b")
# the field that a message speaks of, where it names no reading
_FIELDS = (
    ("cool", "lies outside", "cool-added"),
    ("cool", "is not a time", "cool-added"),
    ("drop", "the weight of the sample", "drop-sample"),
    ("drop", "the strength", "drop-strength"),
    ("drop", "the acid or base", "drop-agent"),
    ("drop", "the pH went from", "drop-new-grams"),
    ("drop", "too few", "drop-new-grams"),
)


def on_page(text: str) -> str:
    """A sentence in the words of the page."""
    for said, meant in BENCH_WORDS:
        text = text.replace(said, meant)
    text = _PH.sub(": pH", view_alone(text))
    return _ROW.sub(r"reading \1", _AGENT.sub('the acid or base "', text))


def faults_of(messages: Iterable[str], part: str) -> list[Fault]:
    """Messages for the page, each with its field.

    Parameters
    ----------
    messages
        Of the readings.
    part
        ``cool`` or ``drop``, as the fields begin.
    """
    return [_fault(message, part) for message in messages]


def _fault(message: str, part: str) -> Fault:
    text = on_page(re.sub(r"^(readings|titration): ", "", message))
    found = _READING.search(text)
    if found:
        keys = ("time", "temp") if part == "cool" else ("grams", "ph")
        second = "temperature" in text if part == "cool" else re.search(r": (the )?pH\b", text)
        place: str | None = f"{part}-{int(found.group(1)) - 1}-{keys[1] if second else keys[0]}"
    else:
        place = next((name for kind, said, name in _FIELDS if kind == part and said in text), None)
    return Fault(text[:1].upper() + text[1:], place)


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
