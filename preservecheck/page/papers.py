"""The batch sheet and the decision record: shown to print, or saved as one file, the same as the
commands write.

A page that is shown may hold no style of its own here, so its style sheet is asked for under an
address of its own and the styles of its plots become attributes; the file that is saved is the
command's, letter by letter.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from preservecheck.page.bench_form import Bench
from preservecheck.page.results import result_of
from preservecheck.page.results_form import EXAMPLES, After
from preservecheck.page.svg import as_attributes

if TYPE_CHECKING:
    from preservecheck.bench.batch_sheet import BatchSheet
    from preservecheck.evidence.record import Built
    from preservecheck.formula.model import Formula
    from preservecheck.reference.load import Tables

Paper = Literal["a4", "letter"]
PAPERS: dict[str, str] = {"a4": "A4", "letter": "Letter"}
_STYLE = re.compile(r"<style>.*?</style>", re.DOTALL)
# style sheet -> paper
SHEETS = {"sheet-a4.css": "a4", "sheet-letter.css": "letter", "record.css": ""}
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
KINDS = {
    "html": "text/html; charset=utf-8",
    "md": "text/markdown; charset=utf-8",
    "json": "application/json",
    "xlsx": XLSX,
}
MAX_NUMBER, MAX_REASON = 100, 4000


@dataclass(frozen=True)
class Printed:
    """A paper: its page, or its file."""

    name: str
    ending: str
    data: bytes


def paper_of(bench: Bench) -> Paper:
    """The paper that is chosen."""
    return "letter" if bench.sheet.get("paper") == "letter" else "a4"


def sheet(
    bench: Bench, batch_g: float | None, formula: Formula, tables: Tables, today: dt.date | None
) -> BatchSheet:
    """The batch sheet.

    Raises
    ------
    FormulaError
        Nobody says how large the batch is.
    """
    from preservecheck.bench.batch_sheet import batch_sheet

    return batch_sheet(formula, tables, batch_g=batch_g, batch_number=_number(bench), today=today)


def _number(bench: Bench) -> str | None:
    """The batch number, where one is typed."""
    return bench.sheet.get("number", "").strip()[:MAX_NUMBER] or None


def sheet_file(made: BatchSheet, ending: str, paper: Paper) -> bytes:
    """The batch sheet as the command writes it."""
    from preservecheck.report import batch_sheet, html

    if ending == "xlsx":
        return batch_sheet.workbook(made, paper)
    return html.render([batch_sheet.document(made, paper)]).encode()


def record(
    bench: Bench, after: After, formula: Formula, tables: Tables, today: dt.date | None
) -> Built:
    """The decision record, with the challenge test whose counts are pasted; an example's counts are
    no test.

    Raises
    ------
    PreservecheckError
        The counts cannot be used.
    """
    from preservecheck.evidence.record import build

    tested = None
    if after.counts.strip() and after.counts.strip() != EXAMPLES["counts"].strip():
        tested = result_of("counts", after, formula, tables, today).to_json()
    reason = bench.sheet.get("reason", "").strip()
    return build(
        formula,
        tables,
        today=today,
        batch_number=_number(bench),
        reason=reason.replace("\r\n", "\n")[:MAX_REASON] or None,
        challenge=tested,
    )


def record_file(made: Built, ending: str) -> bytes:
    """The decision record as the command writes it."""
    from preservecheck.evidence.record import to_json
    from preservecheck.report import html, markdown
    from preservecheck.report.record import document

    if ending == "json":
        return to_json(made.record).encode()
    text = markdown.render([document(made)]) if ending == "md" else html.render([document(made)])
    return text.encode()


def shown(page: str, style: str) -> str:
    """A page of the command for the browser: its styles are linked, and a script adds the button
    that prints.

    Parameters
    ----------
    page
        As the command writes it.
    style
        Name of its style sheet, one of ``SHEETS``.
    """
    links = (
        f'<link rel="stylesheet" href="/bench/{style}">\n<link rel="stylesheet" '
        'href="/static/paper.css">\n'
        '<link rel="icon" href="data:,">\n<script type="module" src="/static/paper.js"></script>'
    )
    head, end, body = _STYLE.sub(lambda _: links, page, count=1).partition("</head>")
    # the program's own pages let the browser name them to each other, or a form from here would be
    # refused
    head = head.replace('<meta name="referrer" content="no-referrer">\n', "")
    return (
        head
        + end
        + re.sub(
            r"<svg .*?</svg>", lambda found: as_attributes(found.group()), body, flags=re.DOTALL
        )
    )


def style_of(name: str) -> str | None:
    """The style sheet of a paper, as it stands in the page of the command; ``None`` where there is
    no such one."""
    from preservecheck.report import html

    return html.style(SHEETS[name]) if name in SHEETS else None
