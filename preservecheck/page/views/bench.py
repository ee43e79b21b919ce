"""At the bench: when the preservative may go in, how much acid or base the pH needs, and the papers
for the batch.

The clock is the maker's own: times come from the browser or from the maker's fingers, and no time
of this program is mixed with them. What counts down is a script; without it the page says the time
of day.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from preservecheck.errors import PreservecheckError
from preservecheck.page import bench as readings
from preservecheck.page import papers
from preservecheck.page.bench import Bench, bench_of
from preservecheck.page.context import KINDS, Site, Submission, attachment
from preservecheck.page.draft import UNITS, beside_of, pairs_of
from preservecheck.page.hints import FieldFault
from preservecheck.page.results import after_of, faults_of

if TYPE_CHECKING:
    from starlette.responses import Response
    from starlette.routing import Route

    from preservecheck.formula.model import Formula
    from preservecheck.report.document import Document

HERE = "/bench"
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
        papers=papers.PAPERS,
        sized=sent.formula is not None and _is_sized(sent.formula),
    )


def _is_sized(formula: Formula) -> bool:
    """Whether the formula says how large a batch is."""
    from preservecheck.formula.amounts import line_percents

    return line_percents(formula)[1] is not None


# ---- papers --------------------------------------------------------------------------------------


def _sheet(sent: Submission) -> Response:
    bench = bench_of(sent.pairs)
    faults: list[FieldFault] = []
    size = readings.batch_of(bench, faults)
    ending = sent.address.get("ending", "")
    if sent.formula is None or faults or ending not in ("", "html", "xlsx"):
        return _no_paper(sent, bench, [f.text for f in (*sent.wrong, *faults)])
    if size is None and not _is_sized(sent.formula):
        return _no_paper(sent, bench, ["How large is the batch? Type it under “This batch”."])
    sheet, paper = papers.sheet_of(bench, size, sent.formula, sent), papers.paper_of(bench)
    if ending:
        return attachment(
            papers.sheet_file(sheet, ending, paper), sent.draft, ending, "batch-sheet"
        )
    from preservecheck.report.batch_sheet import document

    return _shown(sent, document(sheet, paper), f"sheet-{paper}.css")


def _record(sent: Submission) -> Response:
    bench, ending = bench_of(sent.pairs), sent.address.get("ending", "")
    if sent.formula is None or ending not in ("", "html", "md", "json"):
        return _no_paper(sent, bench, [f.text for f in sent.wrong])
    try:
        record = papers.record_of(bench, after_of(sent.pairs), sent.formula, sent)
    except PreservecheckError as error:
        what = "The counts under Afterwards cannot be used"
        return _no_paper(sent, bench, [f"{what}: {f.text}" for f in faults_of(error, "counts")])
    if ending:
        return attachment(papers.record_file(record, ending), sent.draft, ending, "record")
    from preservecheck.report.record import document

    return _shown(sent, document(record), "record.css")


def _no_paper(sent: Submission, bench: Bench, messages: list[str]) -> Response:
    messages = messages or ["There is no formula yet. Fill it in under Formula, then come back."]
    return _page(sent, bench, notice=("This paper could not be written", messages))


def _shown(sent: Submission, document: Document, style: str) -> Response:
    """A paper as a page to print."""
    from preservecheck.report.html import title_of

    return sent.site.page(
        "paper.html", title=title_of([document]), documents=[document], style=style
    )


def _style(sent: Submission) -> Response:
    """The style sheet of a paper, as it stands in the page of the command."""
    from starlette.responses import PlainTextResponse, Response

    from preservecheck.report import html

    name = sent.address["name"]
    if name not in STYLES:
        return PlainTextResponse("There is no such file.", 404)
    return Response(html.style(STYLES[name]), media_type=KINDS["css"])
