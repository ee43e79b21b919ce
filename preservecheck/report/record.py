"""The decision record as a page to look at, print and sign, and as its Markdown twin."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from preservecheck.report.html import page
from preservecheck.report.markdown import escaped, table
from preservecheck.report.plots.review import plots_of
from preservecheck.report.record_sections import Block, sections_of

if TYPE_CHECKING:
    from preservecheck.evidence.record import Built, DecisionRecord

BLANK = "_" * 20
FENCE = "~" * 4


def to_html(built: Built) -> str:
    """The record as one self-contained page."""
    plots = plots_of(built.case, built.report.checks)
    title = f"Decision record: {built.record.formula['product']['name']}"
    return page(
        "record.html",
        title=title,
        name=built.record.formula["product"]["name"],
        sections=sections_of(built, plots),
        foot=_foot(built.record),
    )


def to_markdown(built: Built) -> str:
    """The record as Markdown; plots are told in words."""
    lines = [f"# Decision record: {escaped(built.record.formula['product']['name'])}"]
    for section in sections_of(built, plots_of(built.case, built.report.checks)):
        lines += ["", f"## {section.title}"]
        for block in section.blocks:
            lines += ["", *_markdown(block)]
    return "\n".join([*lines, "", escaped(_foot(built.record))]) + "\n"


def _foot(record: DecisionRecord) -> str:
    return (
        f"{record.statement} {record.program}, {record.date}. To check this record: preservecheck "
        "record --verify, "
        "with its JSON file."
    )


# ---- Markdown ------------------------------------------------------------------------------------


def _markdown(block: Block) -> list[str]:
    data, texts = block.data, block.texts
    title = [f"**{escaped(block.text)}**", ""]
    match block.kind:
        case "list":
            lines = [f"- {escaped(t)}" for t in texts]
        case "table":
            lines = [*title, *table(block.heads, block.rows)]
        case "pairs":
            lines = [f"- **{escaped(k)}:** {escaped(v)}" for k, v in block.rows]
        case "lines":
            lines = [*title, *(f"- {escaped(t)}" for t in texts)]
        case "plots":
            lines = [f"- **{escaped(p.title)}.** {escaped(p.text)}" for p in block.plots]
        case "stamp":
            lines = [f"**Verdict: {escaped(data['verdict'])}** ({escaped(data['counted'])})"]
        case "todo":
            lines = [_markdown_action(i, a) for i, a in enumerate(data["actions"], 1)] or [
                "Nothing has to change."
            ]
        case "evidence":
            lines = _markdown_evidence(data)
        case "sign":
            lines = [
                f"- {label}: {escaped(str(data.get(label) or '')) or BLANK}" for label in texts
            ]
        case "sources":
            lines = [f"{i}. {escaped(t)}" for i, t in enumerate(texts, 1)]
        case "pre":
            lines = [FENCE, block.text.replace(FENCE, "").rstrip(), FENCE]
        case _:
            lines = title[:1] if block.kind == "notice" else [escaped(block.text)]
    return lines


def _markdown_action(at: int, action: Mapping[str, Any]) -> str:
    text = f"{escaped(action['title'])}: {escaped(action['because'])}"
    return f"{at}. **{action['kind']}** {text} **Do:** {escaped(action['do'])}"


def _markdown_evidence(shown: Mapping[str, Any]) -> list[str]:
    lines: list[str] = []
    for check in shown["checks"]:
        rows = [
            [f["word"], f["about"], f["because"], f["figures"], f["chance"], f["refs"]]
            for f in check["findings"]
        ]
        lines += [
            f"### {check['name']}",
            "",
            *table(
                ["verdict", "about", "because", "figures", "chance of passing", "sources"], rows
            ),
            "",
        ]
        for t in check["tables"]:
            lines += [f"**{t['caption']}**", "", *table(list(t["heads"]), t["rows"]), ""]
    return lines[:-1]
