"""At the bench: when the preservative may go in, how much acid or base the pH needs, and the papers
for the batch.

The clock is the maker's own: times come from the browser or from the maker's fingers, and no time
of this program is mixed with them. What counts down is a script; without it the page says the time
of day.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from preservecheck.errors import FormulaError, PreservecheckError
from preservecheck.formula.model import Formula
from preservecheck.page import bench_results as bench_found
from preservecheck.page import papers
from preservecheck.page.bench_form import Bench, acted, bench_of, in_order
from preservecheck.page.context import Desk, value_of
from preservecheck.page.draft import UNITS, Draft
from preservecheck.page.draft_outcome import field_fault, formula_of, is_untouched
from preservecheck.page.form import Pairs, beside_of, draft_of, pairs_of
from preservecheck.page.hints import FieldFault
from preservecheck.page.results_form import after_of
from preservecheck.page.results_words import faults_of
from preservecheck.page.views.formula import saved_name

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route

HERE = "/bench"


def routes(desk: Desk) -> list[Route]:
    """The view's addresses."""
    from starlette.concurrency import run_in_threadpool
    from starlette.responses import PlainTextResponse, Response
    from starlette.routing import Route

    def posted(answer: Any) -> Any:
        """An answer to a form, worked out beside the loop that listens."""

        async def endpoint(request: Request) -> Response:
            pairs = await desk.fields_of(request)
            done: Response = await run_in_threadpool(answer, desk, pairs, request)
            return done

        return endpoint

    async def start(request: Request) -> Response:
        return await run_in_threadpool(_bench, desk, [], request)

    async def style(request: Request) -> Response:
        found = papers.style_of(request.path_params["name"])
        if found is None:
            return PlainTextResponse("There is no such file.", 404)
        return Response(found, media_type="text/css; charset=utf-8")

    return [
        Route(HERE, start, methods=["GET"]),
        Route(HERE, posted(_bench), methods=["POST"]),
        Route(HERE + "/{name}", style, methods=["GET"]),
        Route(HERE + "/sheet", posted(_sheet), methods=["POST"]),
        Route(HERE + "/sheet.{ending}", posted(_sheet), methods=["POST"]),
        Route(HERE + "/record", posted(_record), methods=["POST"]),
        Route(HERE + "/record.{ending}", posted(_record), methods=["POST"]),
    ]


def _bench(desk: Desk, pairs: Pairs, request: Request) -> Response:
    """The whole page; for a script its middle alone."""
    bench = bench_of(pairs)
    focus = acted(bench, value_of(pairs, "do"))
    piece = request.headers.get("x-piece") == "yes"
    only = value_of(pairs, "only")
    if value_of(pairs, "fields") != "stay":
        # where results alone are asked for, the fields stay as they are, and so must their numbers
        in_order(bench)
    return _page(desk, pairs, bench, focus, piece=piece, only=only)


def _page(
    desk: Desk,
    pairs: Pairs,
    bench: Bench,
    focus: str = "",
    *,
    piece: bool = False,
    only: str = "",
    notice: tuple[str, list[str]] | None = None,
) -> Response:
    draft = draft_of(pairs)
    formula, wrong = _formula(desk, draft)
    cooling = (
        bench_found.Told()
        if only == "drop"
        else bench_found.cooling(bench, formula, desk.tables, desk.today)
    )
    adjusting = (
        bench_found.Told()
        if only == "cool"
        else bench_found.adjusting(bench, formula, desk.tables, desk.today)
    )
    return desk.page(
        "bench_main.html" if piece else "view.html",
        status=422 if notice else 200,
        here=HERE,
        title="At the bench",
        id="bench",
        main="bench_main.html",
        style="bench.css",
        enter="add",
        carried=pairs_of(draft),
        beside=beside_of(pairs, "cool", "drop", "sheet"),
        bench=bench,
        focus=focus,
        notice=notice,
        formula=formula,
        wrong=wrong,
        untouched=is_untouched(draft),
        cooling=cooling,
        adjusting=adjusting,
        agents=bench_found.agents_of(desk.tables),
        masses=list(UNITS["mass"]),
        papers=papers.PAPERS,
        sized=formula is not None and _is_sized(formula),
    )


def _formula(desk: Desk, draft: Draft) -> tuple[Formula | None, list[FieldFault]]:
    """The formula, or what is still wrong with it."""
    if is_untouched(draft):
        return None, []
    try:
        return formula_of(draft, desk.tables, desk.today), []
    except FormulaError as error:
        return None, [field_fault(fault, draft) for fault in error.faults]


def _is_sized(formula: Formula) -> bool:
    """Whether the formula says how large a batch is."""
    from preservecheck.formula.amounts import line_percents

    return line_percents(formula)[1] is not None


# ---- papers --------------------------------------------------------------------------------------


def _sheet(desk: Desk, pairs: Pairs, request: Request) -> Response:
    bench, draft = bench_of(pairs), draft_of(pairs)
    faults: list[FieldFault] = []
    size = bench_found.batch_of(bench, faults)
    formula, wrong = _formula(desk, draft)
    ending = request.path_params.get("ending", "")
    if formula is None or faults or ending not in ("", "html", "xlsx"):
        return _no_paper(desk, pairs, bench, [f.text for f in (*wrong, *faults)])
    if size is None and not _is_sized(formula):
        return _no_paper(
            desk, pairs, bench, ["How large is the batch? Type it under “This batch”."]
        )
    made = papers.sheet(bench, size, formula, desk.tables, desk.today)
    paper = papers.paper_of(bench)
    data = papers.sheet_file(made, ending, paper)
    return _given(data, draft, ending, "batch-sheet", f"sheet-{paper}.css")


def _record(desk: Desk, pairs: Pairs, request: Request) -> Response:
    bench, draft = bench_of(pairs), draft_of(pairs)
    formula, wrong = _formula(desk, draft)
    ending = request.path_params.get("ending", "")
    if formula is None or ending not in ("", "html", "md", "json"):
        return _no_paper(desk, pairs, bench, [f.text for f in wrong])
    try:
        made = papers.record(bench, after_of(pairs), formula, desk.tables, desk.today)
    except PreservecheckError as error:
        faults = [f.text for f in faults_of(error.faults, "counts")]
        return _no_paper(
            desk, pairs, bench, [f"The counts under Afterwards cannot be used: {f}" for f in faults]
        )
    return _given(papers.record_file(made, ending), draft, ending, "record", "record.css")


def _no_paper(desk: Desk, pairs: Pairs, bench: Bench, messages: list[str]) -> Response:
    said = messages or ["There is no formula yet. Fill it in under Formula, then come back."]
    return _page(desk, pairs, bench, notice=("This paper could not be written", said))


def _given(data: bytes, draft: Draft, ending: str, what: str, style: str) -> Response:
    """A paper as a page to print, or as a file to save."""
    from starlette.responses import HTMLResponse, Response

    if not ending:
        return HTMLResponse(papers.shown(data.decode(), style))
    name = f"{saved_name(draft)}.{what}.{ending}"
    headers = {"content-disposition": f'attachment; filename="{name}"'}
    return Response(data, media_type=papers.KINDS[ending], headers=headers)
