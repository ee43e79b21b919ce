"""A document as Markdown, with headings and tables."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from preservecheck.report import document as d
from preservecheck.report.text import flowed

BLANK = "_" * 20
FENCE = "~" * 4
RULE_WIDTH = 100
_ESCAPED = str.maketrans({c: f"\\{c}" for c in "\\`*_[]<>|#~"})
_FINDING_HEADS = ("verdict", "about", "because", "figures", "chance of passing", "sources")


def render(documents: Sequence[d.Document]) -> str:
    """Documents one after the other, with lines between them."""
    return "\n---\n\n".join("\n".join(_lines(d)).rstrip() + "\n" for d in documents)


def escaped(text: str) -> str:
    """Text whose signs Markdown would otherwise take as marks."""
    return " ".join(text.translate(_ESCAPED).split())


def _lines(document: d.Document) -> Iterator[str]:
    yield f"# {escaped(document.title)}"
    yield from _blocks(document.lead)
    for section in document.filled:
        yield from ("", f"## {escaped(section.title)}")
        yield from _blocks(section.blocks)
    yield ""
    yield from (f"{escaped(sentence)}  " for sentence in document.foot)


def _blocks(blocks: Iterable[d.Block]) -> Iterator[str]:
    for block in filter(d.says, blocks):
        lines = list(_block(block))
        yield from ["", *lines] if lines else []


def _block(block: d.Block) -> Iterator[str]:  # noqa: PLR0912  # a case a kind of block
    match block:
        case d.Paragraph(text, tone):
            yield f"**{escaped(text)}**" if tone in ("notice", "strong", "alarm") else escaped(text)
        case d.Bullets(texts, ticks):
            yield from (f"- {'[ ] ' if ticks else ''}{escaped(t)}" for t in texts)
        case d.Pairs(rows):
            yield from (f"- **{escaped(k)}:** {escaped(v or '')}".rstrip() for k, v in rows)
        case d.Blanks(rows):
            yield from (f"- {escaped(k)}: {escaped(v) if v else BLANK}" for k, v in rows)
        case d.Table():
            yield from _table(block)
        case d.Working(title, lines):
            yield from (f"**{escaped(title)}**", "", *(f"- {escaped(t)}" for t in lines))
        case d.Rule(text, title):
            yield from (f"### {escaped(title)}", "") if title else ()
            yield from (FENCE, "\n".join(flowed(text, RULE_WIDTH)).replace(FENCE, ""), FENCE)
        case d.Verdict():
            counted = ["", escaped(block.counted)] if block.counted else []
            yield from (f"**Verdict: {escaped(block.said)}**", *counted)
        case d.Actions(entries):
            for at, a in enumerate(entries, 1):
                yield f"{at}. **{a.word}** {escaped(a.title)}: {escaped(a.reason)}"
                yield f"   **Do:** {escaped(a.remedy)}"
        case d.Findings(title, entries, tables):
            cells = [[f.word, f.subject, f.text, f.figures, f.chance, f.refs] for f in entries]
            said = [i for i in range(len(_FINDING_HEADS)) if any(row[i] for row in cells)]
            heads = [_FINDING_HEADS[i] for i in said]
            yield from (f"### {escaped(title)}", "") if title else ()
            yield from _table(d.Table(heads, [[row[i] for i in said] for row in cells]))
            for table in tables:
                yield from ("", *_table(table))
        case d.Plots(make, told):
            charts = () if told else make()
            yield from (f"- **{escaped(c.title)}.** {escaped(c.text)}" for c in charts)
        case d.Sources(texts):
            yield from (f"{at}. {escaped(text)}" for at, text in enumerate(texts, 1))


def _table(table: d.Table) -> Iterator[str]:
    notes = [" ".join(n) for n in table.below]
    heads = [*table.heads, *(["in words"] if notes else [])]
    if table.title:
        yield from (f"**{escaped(table.title)}**", "")
    yield f"| {' | '.join(map(escaped, heads))} |"
    yield f"|{'|'.join('---:' if i in table.numbers else '---' for i in range(len(heads)))}|"
    for at, row in enumerate(table.rows):
        cells = [*row, *(notes[at : at + 1])]
        yield f"| {' | '.join(map(escaped, cells))} |"
