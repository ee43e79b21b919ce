"""A document as plain text: wrapped to the width of a terminal, colour on verdict words alone."""

from __future__ import annotations

import inspect
import re
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice

from preservecheck.report import document as d

WIDTH = 80
NARROWEST = 40
# only the verdict word is coloured: red, yellow, blue, green
COLOURS = {"serious": "1;31", "warn": "1;33", "unknown": "1;34", "pass": "1;32"}
BLANK = "_" * 12
_MARGIN = 9  # of the words that stand beside sentences
_GAP = 2  # between columns
# pieces that a column of words is not broken within, while they are not longer than this
_PIECE = re.compile(r"[^\s-]+-?")
_WIDEST_PIECE = 24
# in a manual page: deeper than the line above by this much, so the line above goes on
_CONTINUES = 4


def render(documents: Sequence[d.Document], *, width: int = WIDTH, colour: bool = False) -> str:
    """Documents one after the other, between lines; ``width`` is that of the longest line
    [characters], and verdict words are coloured for a terminal."""
    width = max(width, NARROWEST)
    pages = ["\n".join(_Page(width, colour).lines(d)).rstrip("\n") for d in documents]
    return f"\n\n{'=' * width}\n\n".join(pages) + "\n"


def printable(text: str) -> str:
    """Text without signs that steer a terminal."""
    return re.sub("[\\x00-\\x08\\x0e-\\x1f\\x7f-\\x9f]", "?", text)


class _Page:
    """Blocks as lines that are not longer than ``width``."""

    def __init__(self, width: int, colour: bool) -> None:
        self.width = width
        self.colour = colour

    def lines(self, document: d.Document) -> Iterator[str]:
        yield from self.wrapped(document.title)
        for block in _shown(document.lead):
            yield ""
            yield from self.block(block, "")
        for section in document.filled:
            blocks = _shown(section.blocks)
            yield from ["", *self.wrapped(_heading(section.title))] if blocks else []
            for at, block in enumerate(blocks):
                if at and not isinstance(block, d.Bullets | d.Paragraph | d.Findings):
                    yield ""
                yield from self.block(block, "  ")
        yield ""
        for sentence in document.foot:
            yield from self.wrapped(sentence)

    def wrapped(self, text: str, first: str = "", rest: str | None = None) -> list[str]:
        """A text with what stands in front of its first and of its other lines."""
        rest = " " * len(first) if rest is None else rest
        return textwrap.wrap(
            printable(text),
            self.width,
            initial_indent=first,
            subsequent_indent=rest,
            break_on_hyphens=False,
        ) or [first.rstrip()]

    def labelled(self, word: str, key: str, text: str) -> Iterator[str]:
        """A word in the margin and text beside it."""
        margin = " " * (_MARGIN + 2)
        first, *rest = self.wrapped(text, margin)
        yield f"  {self.painted(word, key)}{' ' * max(1, _MARGIN - len(word))}{first.lstrip()}"
        yield from rest

    def painted(self, word: str, key: str) -> str:
        return f"\033[{COLOURS[key]}m{word}\033[0m" if self.colour and key in COLOURS else word

    def block(self, block: d.Block, indent: str) -> Iterator[str]:  # noqa: PLR0912  # a case a kind
        match block:
            case d.Paragraph(text, tone):
                yield from self.wrapped(text, f"{indent}! " if tone == "alarm" else indent)
            case d.Bullets(texts, ticks):
                for text in texts:
                    yield from self.wrapped(text, f"{indent}{'[ ]' if ticks else '-'} ")
            case d.Pairs(rows):
                yield from self.pairs([(k, v or "") for k, v in rows], indent)
            case d.Blanks(rows):
                yield from self.pairs([(k, v or BLANK) for k, v in rows], indent)
            case d.Table():
                yield from self.table(block, indent)
            case d.Working(title, lines):
                yield from self.wrapped(title, indent)
                for line in lines:
                    yield from self.wrapped(line, f"{indent}  ", f"{indent}    ")
            case d.Rule(text, title):
                yield from [title, ""] if title else []
                yield from flowed(text, self.width)
            case d.Verdict():
                yield from self.verdict(block)
            case d.Actions(entries):
                for at, action in enumerate(entries, 1):
                    yield from self.action(at, action)
            case d.Findings():
                yield from self.findings(block)
            case d.Sources(texts):
                for at, text in enumerate(texts, 1):
                    yield from self.wrapped(text, f"{f'[{at}]':>6} ")

    def pairs(self, rows: Sequence[tuple[str, str]], indent: str) -> Iterator[str]:
        longest = min(40, max(len(name) for name, _ in rows))
        for name, text in rows:
            yield from self.wrapped(
                text, f"{indent}{name:<{longest}}  ", f"{indent}{'':{longest}}  "
            )

    def verdict(self, verdict: d.Verdict) -> Iterator[str]:
        margin = " " * 9
        first, *rest = self.wrapped(verdict.said, margin)
        told = self.painted(verdict.label, verdict.word)
        yield f"VERDICT  {told}{first.lstrip()[len(verdict.label) :]}"
        yield from rest
        if verdict.counted:
            yield from self.wrapped(verdict.counted, margin)

    def action(self, at: int, action: d.Action) -> Iterator[str]:
        plain = f"{at:2}. {action.word} "
        first, *rest = self.wrapped(action.title, plain, "    ")
        yield f"{at:2}. {self.painted(action.word, action.word)} {first[len(plain) :]}"
        yield from rest
        yield from self.wrapped(action.reason, "    ")
        yield from self.wrapped(action.remedy, "    -> ")

    def findings(self, findings: d.Findings) -> Iterator[str]:
        yield from [findings.title] if findings.title else []
        for f in findings.entries:
            subject = f"{f.subject}: " if f.subject else ""
            chance = f" Chance of passing {f.chance}." if f.chance and not f.chance_told else ""
            yield from self.labelled(f.word, f.word, f"{subject}{f.text}{chance} {f.refs}".rstrip())
            if f.figures and f.word != "pass" and not findings.tables:
                yield from self.wrapped(f.figures, " " * (_MARGIN + 2))
        for table in findings.tables:
            yield ""
            yield from self.table(table, "    ")
        if findings.tables:
            yield ""

    # ---- tables ----------------------------------------------------------------------------------

    def table(self, table: d.Table, indent: str) -> Iterator[str]:
        """Columns side by side; on a page too narrow for them each row is a paragraph."""
        from tabulate import tabulate

        if table.title:
            yield from self.wrapped(table.title, indent)
        heads = [printable(h) for h in table.heads]
        rows = [
            [BLANK if i in table.blanks else printable(c) for i, c in enumerate(row)]
            for row in table.rows
        ]
        below = table.below or [()] * len(rows)
        limits = _limits(table, heads, rows, self.width - len(indent))
        if limits is None:
            for row, notes in zip(rows, below, strict=True):
                cells = [f"{h} {c}".lstrip() for h, c in zip(heads[1:], row[1:], strict=True) if c]
                yield from self.wrapped(f"{row[0]}: {'; '.join(cells)}", indent, f"{indent}  ")
                yield from self.notes(notes, indent)
            return
        broken = [
            [textwrap.fill(cell, w) for cell, w in zip(row, limits, strict=True)]
            for row in (heads, *rows)
        ]
        sides = ["right" if i in table.numbers else "left" for i in range(len(heads))]
        # the heads are a row: as headers they would be padded
        text = tabulate(broken, tablefmt="plain", colalign=sides, disable_numparse=True)
        lines = (f"{indent}{line}".rstrip() for line in text.splitlines())
        heights = [1 + max(cell.count("\n") for cell in row) for row in broken]
        yield from islice(lines, heights[0])
        columns = zip(*broken, strict=True)
        dashes = ["-" * max(len(x) for c in column for x in c.split("\n")) for column in columns]
        yield indent + "  ".join(dashes)
        for height, notes in zip(heights[1:], below, strict=True):
            yield from islice(lines, height)
            yield from self.notes(notes, indent)

    def notes(self, notes: Iterable[str], indent: str) -> Iterator[str]:
        for note in notes:
            yield from self.wrapped(note, f"{indent}    ")


def _shown(blocks: Iterable[d.Block]) -> list[d.Block]:
    """Blocks that say something; what a chart shows stands in the figures beside it."""
    return [b for b in blocks if d.says(b) and not isinstance(b, d.Plots)]


def _heading(title: str) -> str:
    """A title in capitals; ``pH``, units and numbers keep their letters."""
    return " ".join(
        word.upper()
        if len(word) > 1 and word.strip(",:").isalpha() and word[1:].islower()
        else word
        for word in title.split()
    )


def _limits(
    table: d.Table, heads: Sequence[str], rows: Sequence[Sequence[str]], width: int
) -> list[int] | None:
    """Widths at which the columns stand side by side; ``None`` where the page is too narrow."""
    columns = list(zip(heads, *rows, strict=True))
    widths = [max(map(len, column)) for column in columns]
    whole = {*table.numbers, *table.blanks, *table.key}
    least = []
    for i, (head, *cells) in enumerate(columns):
        pieces = cells if i in whole else [p for cell in cells for p in _PIECE.findall(cell)]
        longest = max(map(len, pieces), default=0)
        least.append(
            max(
                longest if i in whole else min(longest, _WIDEST_PIECE),
                *map(len, head.split() or [""]),
            )
        )
    room = width - _GAP * (len(widths) - 1)
    if sum(least) > room:
        return None
    while sum(widths) > room:
        widest = max((w, i) for i, w in enumerate(widths) if w > least[i])[1]
        widths[widest] -= 1
    return widths


# ---- manual pages --------------------------------------------------------------------------------


def flowed(text: str, width: int) -> list[str]:
    """A docstring for this width: paragraphs are wrapped anew, indented lines keep their place."""
    out: list[str] = []
    paragraph: list[str] = []
    for line in [*inspect.cleandoc(text).replace("``", "").splitlines(), ""]:
        indent = len(line) - len(line.lstrip())
        if paragraph and (not line or (indent and not _continues(paragraph[-1], indent))):
            out += _flowed_paragraph(paragraph, width)
            paragraph = []
        if line:
            paragraph.append(line)
        else:
            out.append("")
    return out[:-1] if out and not out[-1] else out


def _continues(before: str, indent: int) -> bool:
    return indent >= len(before) - len(before.lstrip()) + _CONTINUES or (
        indent == len(before) - len(before.lstrip())
        and "  " not in before.strip()
        and indent > _CONTINUES
    )


def _flowed_paragraph(paragraph: list[str], width: int) -> list[str]:
    first = paragraph[0]
    indent = len(first) - len(first.lstrip())
    if not indent:
        return textwrap.wrap(" ".join(paragraph), width)
    head, gap, rest = first.strip().partition("  ")
    hanging = (
        " " * (indent + len(head) + len(gap + rest) - len(rest.lstrip()))
        if gap
        else " " * (indent + 2)
    )
    start = first[: len(hanging)] if gap else " " * indent
    body = " ".join([rest.strip() if gap else first.strip(), *(p.strip() for p in paragraph[1:])])
    return textwrap.wrap(body, width, initial_indent=start, subsequent_indent=hanging)
