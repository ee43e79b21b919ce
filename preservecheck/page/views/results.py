"""Afterwards: the challenge test and the pH over time, pasted from a spreadsheet, judged and
plotted."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from preservecheck.errors import FormulaError, PreservecheckError, ReadingsError
from preservecheck.formula.model import Formula
from preservecheck.page import results as after_found
from preservecheck.page.context import Desk, value_of
from preservecheck.page.draft import Draft
from preservecheck.page.draft_outcome import field_fault, formula_of, is_untouched
from preservecheck.page.form import MAX_FIELDS, Pairs, beside_of, draft_of, pairs_of
from preservecheck.page.guard import MAX_BODY
from preservecheck.page.hints import FieldFault
from preservecheck.page.results_form import (
    COUNTS_COLUMNS,
    PARTS,
    PH_COLUMNS,
    After,
    Part,
    acted,
    after_of,
    part_of,
    text_of_file,
)
from preservecheck.page.results_words import FIELDS, faults_of
from preservecheck.page.views.formula import saved_name
from preservecheck.reference.rows import STANDARDS

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route

HERE = "/after"
TITLE = "Afterwards"
KINDS = {"md": "text/markdown; charset=utf-8", "json": "application/json", "svg": "image/svg+xml"}
NAMES: dict[Part, str] = {"counts": "challenge", "ph": "ph-over-time"}


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

    async def start(request: Request) -> Response:
        return await run_in_threadpool(_after, desk, [], request)

    async def open_file(request: Request) -> Response:
        async with request.form(
            max_files=len(PARTS), max_fields=MAX_FIELDS, max_part_size=MAX_BODY
        ) as form:
            pairs = [(k, v) for k, v in form.multi_items() if isinstance(v, str)]
            part = part_of(value_of(pairs, "do")) or PARTS[0]
            files = [
                (f.filename or "", await f.read())
                for f in form.getlist(f"file-{part}")
                if not isinstance(f, str)
            ]
        return await run_in_threadpool(_opened, desk, pairs, part, files, request)

    return [
        Route(HERE, start, methods=["GET"]),
        Route(HERE, posted(_after), methods=["POST"]),
        Route(HERE + "/open", open_file, methods=["POST"]),
        Route(HERE + "/{part}.{ending}", posted(_saved), methods=["POST"]),
    ]


def _after(desk: Desk, pairs: Pairs, request: Request) -> Response:
    """The whole page; for a script its middle alone."""
    after = after_of(pairs)
    acted(after, value_of(pairs, "do"))
    return _page(
        desk, pairs, after, piece=_wants_piece(request), only=part_of(value_of(pairs, "only"))
    )


def _opened(
    desk: Desk, pairs: Pairs, part: Part, files: list[tuple[str, bytes]], request: Request
) -> Response:
    """The text of a file in the place of what was pasted; where it cannot be read, what was pasted
    stays."""
    after = after_of(pairs)
    piece = _wants_piece(request)
    try:
        after.write_output(part, text_of_file(*(files[0] if files else ("", b""))))
    except ReadingsError as error:
        faults = tuple(FieldFault(f.text, None) for f in faults_of(error.faults, part))
        return _page(
            desk, pairs, after, piece=piece, instead={part: after_found.Told(faults)}, status=422
        )
    return _page(desk, pairs, after, piece=piece)


def _saved(desk: Desk, pairs: Pairs, request: Request) -> Response:
    """A result as a file."""
    from starlette.responses import Response

    after, draft = after_of(pairs), draft_of(pairs)
    part, ending = part_of(request.path_params["part"]), request.path_params["ending"]
    if part is None or ending not in KINDS or not after.text(part).strip():
        return _page(desk, pairs, after, status=422 if part else 404)
    formula, _ = _formula(desk, draft)
    try:
        data = after_found.file_of(
            after_found.result_of(part, after, formula, desk.tables, desk.today), ending
        )
    except PreservecheckError:
        # the page says what is wrong
        return _page(desk, pairs, after, status=422)
    name = f"{saved_name(draft)}.{NAMES[part]}.{ending}"
    return Response(
        data,
        media_type=KINDS[ending],
        headers={"content-disposition": f'attachment; filename="{name}"'},
    )


# ---- pieces --------------------------------------------------------------------------------------


def _wants_piece(request: Request) -> bool:
    """Whether a script asks, which puts the answer into the page that is there."""
    return request.headers.get("x-piece") == "yes"


def _page(
    desk: Desk,
    pairs: Pairs,
    after: After,
    *,
    piece: bool = False,
    only: Part | None = None,
    instead: dict[Part, after_found.Told] | None = None,
    status: int = 200,
) -> Response:
    draft = draft_of(pairs)
    formula, wrong = _formula(desk, draft)
    results = {
        part: (instead or {}).get(part)
        or (
            after_found.Told()
            if only not in (None, part)
            else after_found.results_of(part, after, formula, desk.tables, desk.today)
        )
        for part in PARTS
    }
    return desk.page(
        "results_main.html" if piece else "view.html",
        status=status,
        here=HERE,
        title=TITLE,
        id="after",
        main="results_main.html",
        style="results.css",
        notice=None,
        carried=pairs_of(draft),
        beside=beside_of(pairs, "after"),
        after=after,
        formula=formula,
        wrong=wrong,
        untouched=is_untouched(draft),
        results=results,
        fields=FIELDS,
        standards={id_: s.name for id_, s in STANDARDS.items()},
        counts_columns=COUNTS_COLUMNS,
        ph_columns=PH_COLUMNS,
    )


def _formula(desk: Desk, draft: Draft) -> tuple[Formula | None, list[FieldFault]]:
    """The formula, or what is still wrong with it."""
    if is_untouched(draft):
        return None, []
    try:
        return formula_of(draft, desk.tables, desk.today), []
    except FormulaError as error:
        return None, [field_fault(fault, draft) for fault in error.faults]
