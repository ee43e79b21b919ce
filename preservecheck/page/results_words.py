"""The words of the challenge test and the pH over time on the page: fields and lines instead of
options and rows."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from preservecheck.page.draft_outcome import Fault
from preservecheck.page.words import view_alone
from preservecheck.report.document import Block, Bullets, Document, Paragraph, Section

if TYPE_CHECKING:
    from preservecheck.page.results_form import Part

_ROW = re.compile(r"\brow(s?) (?=[0-9])")
_BY_WHICH = re.compile(r"write a line (\S+) above the heading; known are .*")
FIELDS: dict[Part, str] = {"counts": "after-counts", "ph": "after-ph"}


def faults_of(messages: Iterable[str], part: Part) -> list[Fault]:
    """Messages about a text, each with its field."""
    return [_fault(message, part) for message in messages]


def _fault(message: str, part: Part) -> Fault:
    text, field = message, FIELDS[part]
    if text.startswith("by which standard ") or text.startswith("says it was done by"):
        field = "after-standard"
    text = _BY_WHICH.sub(
        r"choose one under “Judge it by”, or write the line \1 above the heading", text
    )
    text = text.replace("says it was done by", "what you pasted says it was done by")
    text = _ROW.sub(r"line\1 ", text).replace("its first row names", "its first line names")
    text = text.replace("the first row names", "the first line names").replace(
        "delete the row", "delete the line"
    )
    text = re.sub(r"(: |^)ph\b", r"\1pH", text)
    return Fault(text if text.startswith("pH") else text[:1].upper() + text[1:], field)


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
