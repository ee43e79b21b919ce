"""At the bench: when the preservative may go in, how much acid or base the pH needs, and the papers
for the batch.

The clock is the maker's own: times come from the browser or from the maker's fingers, and no time
of this program is mixed with them. What counts down is a script; without it the page says the time
of day.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Literal

from preservecheck.errors import PreservecheckError
from preservecheck.page import bench as readings
from preservecheck.page.bench import Bench, bench_of
from preservecheck.page.context import KINDS, Site, Submission, attachment
from preservecheck.page.draft import UNITS, beside_of, pairs_of
from preservecheck.page.hints import FieldFault
from preservecheck.page.results import EXAMPLES, after_of, faults_of, judged_of

if TYPE_CHECKING:
    from starlette.responses import Response
    from starlette.routing import Route

    from preservecheck.formula.model import Formula
    from preservecheck.report.document import Document

HERE = "/bench"
Paper = Literal["a4", "letter"]
PAPERS: dict[Paper, str] = {"a4": "A4", "letter": "Letter"}
MAX_NUMBER, MAX_REASON = 100, 4000
# style sheet of a paper that is shown -> the paper
STYLES = {"sheet-a4.css": "a4", "sheet-letter.css": "letter", "record.css": ""}


def routes(site: Site) -> list[Route]:
    """The view's addresses."""
    return [
        site.route(HERE, _bench, "GET"),
        site.route(HERE, _bench),
        site.route(HERE + "/{name}", _style, "GET"),
        site.route(HERE + "/sheet", _sheet),
        site.route(HERE + "/sheet.{ending}", _sheet),
        site.route(HERE + "/record", _record),
        site.route(HERE + "/record.{ending}", _record),
    ]


def _bench(sent: Submission) -> Response:
    """The whole page; for a script its middle alone."""
    bench = bench_of(sent.pairs)
    focus = readings.acted(bench, sent.value("do"))
    if sent.value("fields") != "stay":
        # where results alone are asked for, the fields stay as they are, and so must their numbers
        readings.in_order(bench)
    return _page(sent, bench, focus)


def _page(
    sent: Submission,
    bench: Bench,
    focus: str = "",
    notice: tuple[str, Sequence[str]] | None = None,
) -> Response:
    from preservecheck.report.cooling import ALREADY_IN

    only, tables = sent.value("only"), sent.site.tables
    return sent.site.page(
        "bench_main.html" if sent.piece else "view.html",
        status=422 if notice else 200,
        here=HERE,
        title="At the bench",
        id="bench",
        main="bench_main.html",
        style="bench.css",
        enter="add",
        carried=pairs_of(sent.draft),
        beside=beside_of(sent.pairs, "cool", "drop", "sheet"),
        bench=bench,
        focus=focus,
        notice=notice,
        sent=sent,
        cooling=readings.Cooling() if only == "drop" else readings.cooling(bench, sent),
        adjusting=readings.Adjusting() if only == "cool" else readings.adjusting(bench, sent),
        already_in=ALREADY_IN,
        agents=readings.agents_of(tables),
        masses=list(UNITS["mass"]),
        papers=PAPERS,
        sized=sent.formula is not None and _is_sized(sent.formula),
    )


def _is_sized(formula: Formula) -> bool:
    """Whether the formula says how large a batch is."""
    from preservecheck.formula.amounts import line_percents

    return line_percents(formula)[1] is not None


# ---- papers --------------------------------------------------------------------------------------


def _sheet(sent: Submission) -> Response:
    """The batch sheet: shown to print, or saved as the command writes it."""
    from preservecheck.bench.batch_sheet import batch_sheet
    from preservecheck.report.batch_sheet import document, workbook

    bench, ending = bench_of(sent.pairs), sent.address.get("ending", "")
    faults: list[FieldFault] = []
    size = readings.batch_of(bench, faults)
    if sent.formula is None or faults or ending not in ("", "html", "xlsx"):
        return _no_paper(sent, bench, [f.text for f in (*sent.wrong, *faults)])
    if size is None and not _is_sized(sent.formula):
        return _no_paper(sent, bench, ["How large is the batch? Type it under “This batch”."])
    site, number = sent.site, _batch_number(bench)
    sheet = batch_sheet(
        sent.formula, site.tables, batch_g=size, batch_number=number, today=site.today
    )
    paper: Paper = "letter" if bench.sheet.get("paper") == "letter" else "a4"
    if ending == "xlsx":
        return attachment(workbook(sheet, paper), sent.draft, ending, "batch-sheet")
    return _paper(sent, document(sheet, paper), ending, "batch-sheet", f"sheet-{paper}.css")


def _record(sent: Submission) -> Response:
    """The decision record: shown to print, or saved as the command writes it."""
    from preservecheck.evidence.record import build, to_json
    from preservecheck.report.record import document

    bench, ending = bench_of(sent.pairs), sent.address.get("ending", "")
    if sent.formula is None or ending not in ("", "html", "md", "json"):
        return _no_paper(sent, bench, [f.text for f in sent.wrong])
    reason = bench.sheet.get("reason", "").strip().replace("\r\n", "\n")[:MAX_REASON]
    try:
        record = build(
            sent.formula,
            sent.site.tables,
            today=sent.site.today,
            batch_number=_batch_number(bench),
            reason=reason or None,
            challenge=_tested(sent),
        )
    except PreservecheckError as error:
        what = "The counts under Afterwards cannot be used"
        return _no_paper(sent, bench, [f"{what}: {f.text}" for f in faults_of(error, "counts")])
    if ending == "json":
        return attachment(to_json(record.record).encode(), sent.draft, ending, "record")
    return _paper(sent, document(record), ending, "record", "record.css")


def _batch_number(bench: Bench) -> str | None:
    return bench.sheet.get("number", "").strip()[:MAX_NUMBER] or None


def _tested(sent: Submission) -> dict[str, Any] | None:
    """The challenge test whose counts are pasted; an example's counts are no test."""
    after = after_of(sent.pairs)
    counts = after.texts["counts"].strip()
    if not counts or counts == EXAMPLES["counts"].strip():
        return None
    judged = judged_of("counts", after, sent)
    return None if judged is None else judged.to_json()


def _no_paper(sent: Submission, bench: Bench, messages: list[str]) -> Response:
    messages = messages or ["There is no formula yet. Fill it in under Formula, then come back."]
    return _page(sent, bench, notice=("This paper could not be written", messages))


def _paper(sent: Submission, document: Document, ending: str, what: str, style: str) -> Response:
    """A paper as a page to print, which may hold no style of its own, or as the command's file,
    letter by letter."""
    from preservecheck.report import html, markdown

    if not ending:
        title = html.title_of([document])
        return sent.site.page("paper.html", title=title, documents=[document], style=style)
    text = markdown.render([document]) if ending == "md" else html.render([document])
    return attachment(text.encode(), sent.draft, ending, what)


def _style(sent: Submission) -> Response:
    """The style sheet of a paper, as it stands in the page of the command."""
    from starlette.responses import PlainTextResponse, Response

    from preservecheck.report import html

    name = sent.address["name"]
    if name not in STYLES:
        return PlainTextResponse("There is no such file.", 404)
    return Response(html.style(STYLES[name]), media_type=KINDS["css"])
