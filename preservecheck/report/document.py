"""A short result as text or Markdown: the same blocks in the same order, only laid out
differently."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from preservecheck.report.markdown import escaped, table
from preservecheck.report.text import NARROWEST, printable


@dataclass(frozen=True)
class Said:
    """A paragraph."""

    text: str


@dataclass(frozen=True)
class Listed:
    """Sentences that stand under each other."""

    texts: Sequence[str]


@dataclass(frozen=True)
class Grid:
    """A table; its last column may be long and is then told below the row."""

    heads: Sequence[str]
    rows: Sequence[Sequence[str]]


@dataclass(frozen=True)
class Section:
    """A heading with what stands below it; an empty one is not shown."""

    title: str
    blocks: Sequence[Said | Listed | Grid]


@dataclass(frozen=True)
class Page:
    """A result."""

    title: str
    verdict: str | None
    lead: Sequence[str]
    sections: Sequence[Section]
    footer: Sequence[str]


def render_text(page: Page, *, width: int = 80) -> str:
    """The page for a terminal.

    Parameters
    ----------
    page
        What it says.
    width
        Longest line. [characters]
    """
    width = max(width, NARROWEST)
    lines = _wrapped(page.title, width)
    if page.verdict:
        lines += ["", *_wrapped(f"VERDICT  {page.verdict}", width, rest=" " * 9)]
    for paragraph in page.lead:
        lines += ["", *_wrapped(paragraph, width)]
    for section in filled(page):
        lines += ["", section.title.upper()]
        for block in section.blocks:
            lines += list(_text_block(block, width))
    lines += [""]
    for sentence in page.footer:
        lines += _wrapped(sentence, width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def render_markdown(page: Page) -> str:
    """The page as Markdown."""
    lines = [f"# {escaped(page.title)}"]
    if page.verdict:
        lines += ["", f"**Verdict: {escaped(page.verdict)}**"]
    for paragraph in page.lead:
        lines += ["", escaped(paragraph)]
    for section in filled(page):
        lines += ["", f"## {escaped(section.title)}"]
        for block in section.blocks:
            lines += ["", *_markdown_block(block)]
    lines += ["", *(f"{escaped(sentence)}  " for sentence in page.footer)]
    return "\n".join(lines).rstrip() + "\n"


def render_json(data: dict[str, Any]) -> str:
    """Keys and values, every figure in full."""
    return json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def filled(page: Page) -> Iterator[Section]:
    """The sections that say something, with the blocks that do."""
    for section in page.sections:
        blocks = [
            b
            for b in section.blocks
            if not (isinstance(b, Listed) and not b.texts)
            and not (isinstance(b, Grid) and not b.rows)
            and not (isinstance(b, Said) and not b.text)
        ]
        if blocks:
            yield Section(section.title, blocks)


def _wrapped(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(
        printable(text), width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )


def _text_block(block: Said | Listed | Grid, width: int) -> Iterator[str]:
    if isinstance(block, Said):
        yield from _wrapped(block.text, width, "  ", "  ")
    elif isinstance(block, Listed):
        for text in block.texts:
            yield from _wrapped(text, width, "  - ", "    ")
    else:
        yield from _text_grid(block, width)


def _text_grid(grid: Grid, width: int) -> Iterator[str]:
    """Columns side by side where they fit; the last one below its row where it is long."""
    rows = [[printable(c) for c in row] for row in (grid.heads, *grid.rows)]
    widths = [max(len(row[i]) for row in rows) for i in range(len(grid.heads))]
    below = sum(widths) + 2 * len(widths) > width
    shown = len(widths) - 1 if below else len(widths)
    if sum(widths[:shown]) + 2 * shown > width:
        for row in rows[1:]:
            cells = "; ".join(f"{h} {c}" for h, c in zip(rows[0][1:], row[1:], strict=True) if c)
            yield from _wrapped(f"{row[0]}: {cells}", width, "  ", "    ")
        return
    for at, row in enumerate(rows):
        columns = (c.ljust(w) for c, w in zip(row[:shown], widths[:shown], strict=True))
        yield "  " + "  ".join(columns).rstrip()
        if below and at > 0 and row[-1]:
            yield from _wrapped(row[-1], width, "      ", "      ")


def _markdown_block(block: Said | Listed | Grid) -> list[str]:
    if isinstance(block, Said):
        return [escaped(block.text)]
    if isinstance(block, Listed):
        return [f"- {escaped(text)}" for text in block.texts]
    return table(block.heads, block.rows)


def nonempty(texts: Iterable[str | None]) -> tuple[str, ...]:
    """The texts that say something."""
    return tuple(t for t in texts if t)
