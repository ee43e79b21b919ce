"""The batch sheet and the decision record: shown to print, or saved as one file, the same as the
commands write.

A page that is shown may hold no style of its own here, so its style sheet is asked for under an
address of its own; the file that is saved is the command's, letter by letter.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from preservecheck.page.bench import Bench
from preservecheck.page.context import Submission
from preservecheck.page.results import EXAMPLES, After, judged_of

if TYPE_CHECKING:
    from preservecheck.bench.batch_sheet import BatchSheet
    from preservecheck.evidence.record import Built
    from preservecheck.formula.model import Formula
    from preservecheck.report.document import Document

Paper = Literal["a4", "letter"]
PAPERS: dict[Paper, str] = {"a4": "A4", "letter": "Letter"}
MAX_NUMBER, MAX_REASON = 100, 4000


def paper_of(bench: Bench) -> Paper:
    """The paper that is chosen."""
    return "letter" if bench.sheet.get("paper") == "letter" else "a4"


def batch_number(bench: Bench) -> str | None:
    """The batch number, where one is typed."""
    return bench.sheet.get("number", "").strip()[:MAX_NUMBER] or None


def sheet_of(bench: Bench, batch_g: float | None, formula: Formula, sent: Submission) -> BatchSheet:
    """The batch sheet.

    Raises
    ------
    FormulaError
        Nobody says how large the batch is.
    """
    from preservecheck.bench.batch_sheet import batch_sheet

    site = sent.site
    return batch_sheet(
        formula,
        site.tables,
        batch_g=batch_g,
        batch_number=batch_number(bench),
        today=site.today,
    )


def record_of(bench: Bench, after: After, formula: Formula, sent: Submission) -> Built:
    """The decision record, with the challenge test whose counts are pasted; an example's counts are
    no test.

    Raises
    ------
    PreservecheckError
        The counts cannot be used.
    """
    from preservecheck.evidence.record import build

    counts = after.texts["counts"].strip()
    tested = None
    if counts and counts != EXAMPLES["counts"].strip():
        judged = judged_of("counts", after, sent)
        tested = None if judged is None else judged.to_json()
    reason = bench.sheet.get("reason", "").strip()
    return build(
        formula,
        sent.site.tables,
        today=sent.site.today,
        batch_number=batch_number(bench),
        reason=reason.replace("\r\n", "\n")[:MAX_REASON] or None,
        challenge=tested,
    )


def sheet_file(sheet: BatchSheet, ending: str, paper: Paper) -> bytes:
    """The batch sheet as the command writes it."""
    from preservecheck.report import batch_sheet

    if ending == "xlsx":
        return batch_sheet.workbook(sheet, paper)
    return _file(batch_sheet.document(sheet, paper), ending)


def record_file(record: Built, ending: str) -> bytes:
    """The decision record as the command writes it."""
    from preservecheck.evidence.record import to_json
    from preservecheck.report.record import document

    return to_json(record.record).encode() if ending == "json" else _file(document(record), ending)


def _file(document: Document, ending: str) -> bytes:
    from preservecheck.report import html, markdown

    text = markdown.render([document]) if ending == "md" else html.render([document])
    return text.encode()
