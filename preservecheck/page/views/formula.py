"""The first view: the formula with its verdict, and the pieces that follow each change."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from preservecheck.errors import FormulaError, PreservecheckError
from preservecheck.page.context import Desk, value_of
from preservecheck.page.draft import Draft, from_raw, new_draft, to_raw
from preservecheck.page.draft_outcome import is_untouched, judged
from preservecheck.page.editor import convert_amounts, editor_view, whole
from preservecheck.page.edits import edited
from preservecheck.page.form import Pairs, beside_of, draft_of
from preservecheck.page.hints import HINTS, FieldFault
from preservecheck.page.svg import Drawing, drawing
from preservecheck.page.toml_text import toml_text
from preservecheck.page.uploads import opened
from preservecheck.page.what_if import sliders, tried

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route

    from preservecheck.assess.review import Report
    from preservecheck.page.apply_option import Picked

# the browser wraps the paragraphs
RULE_WIDTH = 10_000
# more files than are read are answered with a message, up to this many
MAX_PARTS = 50
_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def routes(desk: Desk) -> list[Route]:
    """The view's addresses."""
    from starlette.concurrency import run_in_threadpool
    from starlette.routing import Route

    def posted(answer: Any) -> Any:
        """An answer to a form, worked out beside the loop that listens."""

        async def endpoint(request: Request) -> Response:
            pairs = await desk.fields_of(request)
            done: Response = await run_in_threadpool(answer, desk, pairs, request)
            return done

        return endpoint

    async def start(_request: Request) -> Response:
        return await run_in_threadpool(whole_page, desk, new_draft(), judge=False)

    async def open_files(request: Request) -> Response:
        async with request.form(max_files=MAX_PARTS, max_fields=MAX_PARTS) as form:
            files = [
                (f.filename or "", await f.read())
                for f in form.getlist("files")
                if not isinstance(f, str)
            ]
        return await run_in_threadpool(_opened, desk, files, _wants_piece(request))

    return [
        Route("/", start, methods=["GET"]),
        Route("/", posted(_formula), methods=["POST"]),
        Route("/editor", posted(_editor), methods=["POST"]),
        Route("/verdict", posted(_verdict), methods=["POST"]),
        Route("/what-if", posted(_what_if), methods=["POST"]),
        Route("/check/{check}", posted(_check), methods=["POST"]),
        Route("/open", open_files, methods=["POST"]),
        Route("/save.toml", posted(_save_toml), methods=["POST"]),
        Route("/save.xlsx", posted(_save_xlsx), methods=["POST"]),
    ]


def _wants_piece(request: Request) -> bool:
    """Whether a script asks, which puts the answer into the page that is there."""
    return request.headers.get("x-piece") == "yes"


def _acted(desk: Desk, pairs: Pairs) -> tuple[Draft, str | None]:
    """The draft after the button that was pressed, and the field to go to."""
    do = value_of(pairs, "do")
    if do == "example":
        return example(), "product-name"
    if do == "new":
        return new_draft(), "product-name"
    draft = draft_of(pairs)
    if do.startswith("amounts "):
        convert_amounts(draft, do.removeprefix("amounts "))
        if draft.amounts != do.removeprefix("amounts "):
            return draft, "product-batch"
        return draft, f"do:amounts {'grams' if draft.amounts == 'percent' else 'percent'}"
    return draft, edited(draft, do)


def example() -> Draft:
    """The starter formula."""
    import tomllib

    from preservecheck.formula.starter import starter_toml

    return from_raw(tomllib.loads(starter_toml()))


# ---- answers -------------------------------------------------------------------------------------


def _formula(desk: Desk, pairs: Pairs, _request: Request) -> Response:
    draft, focus = _acted(desk, pairs)
    return whole_page(desk, draft, beside=beside_of(pairs), focus=focus, wanted=_wanted(pairs))


def _editor(desk: Desk, pairs: Pairs, _request: Request) -> Response:
    draft, focus = _acted(desk, pairs)
    return desk.page("editor.html", focus=focus or "", **editor_view(draft, desk))


def _verdict(desk: Desk, pairs: Pairs, _request: Request) -> Response:
    return desk.page("verdict.html", behind={}, **_judgement(desk, draft_of(pairs), {}))


def _what_if(desk: Desk, pairs: Pairs, _request: Request) -> Response:
    found = judged(draft_of(pairs), desk.tables, desk.today)
    result = None
    if not isinstance(found, list):
        assert found.formula is not None
        result = tried(found.formula, _wanted(pairs), desk.tables, found)
    return desk.page("what_if.html", tried=result)


def _check(desk: Desk, pairs: Pairs, request: Request) -> Response:
    """What stands behind one check; without scripting the whole page, with the check opened."""
    from preservecheck.checks import current_id

    check = current_id(request.path_params["check"])
    draft = draft_of(pairs)
    found = judged(draft, desk.tables, desk.today)
    try:
        behind = _behind(desk, check, found)
    except PreservecheckError as error:
        shown: dict[str, Any] = {"plots": [], "sources": [], "rule": error.messages[0]}
        return desk.page("check_details.html", status=404, **shown)
    if _wants_piece(request):
        return desk.page("check_details.html", **behind)
    return whole_page(
        desk, draft, beside=beside_of(pairs), wanted=_wanted(pairs), behind={check: behind}
    )


def _behind(desk: Desk, check: str, found: Report | list[FieldFault]) -> dict[str, Any]:
    """Plots and sources of a check, where the formula can be judged, and its rule with formula and
    constants.

    Raises
    ------
    PreservecheckError
        There is no such check.
    """
    from preservecheck.checks import BY_ID
    from preservecheck.report import manual
    from preservecheck.report.text import flowed

    rule = "\n".join(flowed(manual.rule(check), RULE_WIDTH))
    if isinstance(found, list):
        return {"plots": [], "sources": [], "rule": rule}
    drawn = _plots(desk, found, f"{check}-", BY_ID[check].plots if check in BY_ID else ())
    return {"plots": drawn, "sources": _sources(found, check), "rule": rule}


def _sources(report: Report, check: str) -> list[tuple[int, str]]:
    """The sources of one check's findings, numbered as in the report."""
    from preservecheck.report.review import pieces

    numbered = enumerate(pieces(report).sources.texts, 1)
    own = {source for finding in report.checks if finding.id == check for source in finding.sources}
    return [(n, text) for n, text in numbered if text in own]


def _save_toml(desk: Desk, pairs: Pairs, _request: Request) -> Response:
    draft = draft_of(pairs)
    return _file(toml_text(to_raw(draft)).encode(), draft, "toml", "application/toml")


def _save_xlsx(desk: Desk, pairs: Pairs, _request: Request) -> Response:
    from preservecheck.page.sheets import workbook_of

    draft = draft_of(pairs)
    return _file(workbook_of(to_raw(draft), desk.tables), draft, "xlsx", _XLSX)


def _file(data: bytes, draft: Draft, ending: str, kind: str) -> Response:
    from starlette.responses import Response

    name = f"{saved_name(draft)}.{ending}"
    return Response(
        data, media_type=kind, headers={"content-disposition": f'attachment; filename="{name}"'}
    )


def saved_name(draft: Draft) -> str:
    """A file's name, without its ending, after the product."""
    return (
        re.sub(r"[^a-z0-9]+", "-", draft.product.get("name", "").casefold()).strip("-")[:60]
        or "formula"
    )


def _opened(desk: Desk, files: list[tuple[str, bytes]], piece: bool) -> Response:
    """The formula of a file in the editor; where none can be read, the reasons, and what was typed
    stays."""
    try:
        raw, messages = opened(files, desk.tables)
    except FormulaError as error:
        messages = tuple(fault.text(HINTS) for fault in error.faults)
        if piece:
            return desk.page(
                "notice.html",
                status=422,
                title="This file could not be read",
                messages=messages,
            )
        return whole_page(
            desk,
            new_draft(),
            judge=False,
            notice=("This file could not be read", messages),
            status=422,
        )
    draft = from_raw(raw)
    notice = ("What the file says that cannot be used", messages) if messages else None
    if piece:
        return desk.page("editor.html", focus="", notice=notice, **editor_view(draft, desk))
    return whole_page(desk, draft, notice=notice)


# ---- pieces --------------------------------------------------------------------------------------


def whole_page(
    desk: Desk,
    draft: Draft,
    *,
    beside: Pairs | None = None,
    judge: bool = True,
    focus: str | None = None,
    wanted: dict[str, float] | None = None,
    notice: tuple[str, tuple[str, ...]] | None = None,
    behind: dict[str, dict[str, Any]] | None = None,
    status: int = 200,
    picked: Picked | None = None,
    before: str = "",
) -> Response:
    """The view as a whole page.

    Parameters
    ----------
    desk
        The tables and templates.
    draft
        What is typed.
    judge
        Whether to judge it.
    focus
        Field to go to.
    wanted
        What the sliders say.
    notice
        A title and messages, to be told above.
    behind
        What stands behind checks that are open.
    status
        Of the answer.
    picked
        A system that has just been put in.
    before
        The draft before that, as the fields of a form.
    """
    judgement = _judgement(desk, draft, wanted or {}) if judge else {"state": "empty"}
    return desk.page(
        "formula.html",
        status=status,
        here="/",
        title="Formula",
        beside=beside,
        focus=focus or "",
        notice=notice,
        applied=picked,
        before=before,
        **{**editor_view(draft, desk), **judgement, "behind": behind or {}},
    )


def _judgement(desk: Desk, draft: Draft, wanted: dict[str, float]) -> dict[str, Any]:
    """What the verdict's template shows: nothing yet, what is wrong, or the report."""
    from preservecheck.report.review import pieces

    if is_untouched(draft):
        return {"state": "empty"}
    found = judged(draft, desk.tables, desk.today)
    if isinstance(found, list):
        return {"state": "faults", "faults": found, "whole": whole(draft)}
    assert found.formula is not None
    return {
        "state": "judged",
        "view": pieces(found),
        "questions": questions(),
        "sliders": sliders(found.formula, desk.tables),
        "wanted": wanted,
        "tried": tried(found.formula, wanted, desk.tables, found) if wanted else None,
        "whole": whole(draft),
    }


def questions() -> dict[str, str]:
    """The question that each check answers, from the first line of its manual page."""
    from preservecheck.checks import CHECKS

    return {check.id: check.question for check in CHECKS}


def _wanted(pairs: Pairs) -> dict[str, float]:
    """What the sliders say."""
    wanted = {}
    for name, value in pairs:
        if name.startswith("try-"):
            try:
                wanted[name] = float(value)
            except ValueError:
                continue
    return wanted


def _plots(desk: Desk, report: Report, prefix: str, names: tuple[str, ...]) -> list[Drawing]:
    """Some of the report's charts, in that order."""
    from preservecheck.report.review import charts_of

    charts = {chart.id: chart for chart in charts_of(report, desk.tables)} if names else {}
    return [drawing(charts[name], prefix) for name in names if name in charts]
