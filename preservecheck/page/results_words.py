"""The words of the challenge test and the pH over time on the page: fields and lines instead of
options and rows."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from preservecheck.errors import Fault
from preservecheck.page.hints import COLUMN_WORDS, FieldFault, worded
from preservecheck.page.words import view_alone
from preservecheck.report.document import Block, Bullets, Document, Paragraph, Section

if TYPE_CHECKING:
    from preservecheck.page.results_form import Part

FIELDS: dict[Part, str] = {"counts": "after-counts", "ph": "after-ph"}


def faults_of(faults: Iterable[Fault], part: Part) -> list[FieldFault]:
    """Faults of a text, each with its field."""
    return [_field_fault(fault, part) for fault in faults]


def _field_fault(fault: Fault, part: Part) -> FieldFault:
    place, name, field = fault.place, COLUMN_WORDS.get(fault.name, fault.name), FIELDS[part]
    match fault.path:
        case ("standard",):
            name, field = name or "what you pasted", "after-standard"
        case (int(line), *_):
            place = f"line {line}"
    return FieldFault(worded(fault, place=place, name=name), field)


def sections_of(document: Document) -> Iterator[Section]:
    """The sections of a result in the words of the page."""
    for section in document.filled:
        yield Section(section.title, [_block(b) for b in section.blocks])


def _block(block: Block) -> Block:
    if isinstance(block, Paragraph):
        return Paragraph(view_alone(block.text))
    if isinstance(block, Bullets):
        return Bullets([view_alone(t) for t in block.texts])
    return block
