"""The second view: every preservative system ranked for the formula, to sort, to narrow, and to put
one in."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl, urlencode

from preservecheck.errors import FormulaError
from preservecheck.formula.model import Formula
from preservecheck.page.apply_option import put_in
from preservecheck.page.context import Desk, value_of
from preservecheck.page.draft import Draft
from preservecheck.page.draft_outcome import field_fault, formula_of, is_untouched
from preservecheck.page.form import MAX_FIELDS, Pairs, beside_of, draft_of, pairs_of
from preservecheck.page.ranking import (
    CHARGES,
    ORDERS,
    OUTCOME_WORDS,
    PREFIX,
    Wishes,
    rows_of,
    wishes_of,
)
from preservecheck.page.views.formula import questions, whole_page
from preservecheck.ranking.rank import choose
from preservecheck.ranking.result import Choice

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route

PATH = "/which"
TITLE = "Which one?"
GONE = "This system is no longer among those that fit your formula. Look at the ranking again."


def routes(desk: Desk) -> list[Route]:
    """The view's addresses."""
    from starlette.concurrency import run_in_threadpool
    from starlette.responses import Response
    from starlette.routing import Route

    one_at_a_time = asyncio.Lock()

    def posted(answer: Callable[[Desk, Pairs, Request], Response]) -> Any:
        """An answer to a form; a ranking that nobody waits for any more is not begun."""

        async def endpoint(request: Request) -> Response:
            pairs = await desk.fields_of(request)
            async with one_at_a_time:
                if await request.is_disconnected():
                    return Response(status_code=204)
                return await run_in_threadpool(answer, desk, pairs, request)

        return endpoint

    async def start(_request: Request) -> Response:
        return _page(desk, [], {"state": "start"}, wishes_of([], desk))

    return [
        Route(PATH, start, methods=["GET"]),
        Route(PATH, posted(_ranking), methods=["POST"]),
        Route(f"{PATH}/put", posted(_put), methods=["POST"]),
        Route(f"{PATH}/undo", posted(_undo), methods=["POST"]),
        Route(f"{PATH}/checks/{{system}}", posted(_checks), methods=["POST"]),
    ]


# ---- answers -------------------------------------------------------------------------------------


def _ranking(desk: Desk, pairs: Pairs, request: Request) -> Response:
    """The whole view, or what changes in it where a script asks."""
    wishes = wishes_of(pairs, desk)
    found = _ranked(desk, draft_of(pairs), wishes)
    if _wants_piece(request):
        return desk.page("ranking_pieces.html", wishes=wishes, **_offers(desk), **found)
    return _page(desk, pairs, found, wishes)


def _put(desk: Desk, pairs: Pairs, request: Request) -> Response:
    """The formula with a system in it: the first view, or for a script the fields and what was
    done."""
    from starlette.responses import JSONResponse

    wishes, draft = wishes_of(pairs, desk), draft_of(pairs)
    found = _one(desk, draft, wishes, value_of(pairs, "do").removeprefix("put "))
    if isinstance(found, dict) or found[1].systems[0].outcome == "does-not-fit":
        problem = found if isinstance(found, dict) else {"state": "gone", "said": GONE}
        if _wants_piece(request):
            return desk.page(
                "ranking_pieces.html", status=409, wishes=wishes, **_offers(desk), **problem
            )
        return _page(desk, pairs, problem, wishes, status=409)
    formula, choice = found
    picked = put_in(draft, formula, choice.systems[0], desk.tables)
    if _wants_piece(request):
        notice = bytes(desk.page("applied.html", applied=picked, before="").body).decode()
        return JSONResponse(
            {"pairs": pairs_of(picked.draft), "system": picked.system, "notice": notice}
        )
    before = urlencode(pairs_of(draft))
    return whole_page(desk, picked.draft, beside=beside_of(pairs), picked=picked, before=before)


def _undo(desk: Desk, pairs: Pairs, _request: Request) -> Response:
    """The formula as it was before a system was put in."""
    try:
        before = parse_qsl(
            value_of(pairs, "before-pick"), keep_blank_values=True, max_num_fields=MAX_FIELDS
        )
    except ValueError:
        before = []
    return whole_page(desk, draft_of(before or pairs), beside=beside_of(pairs))


def _checks(desk: Desk, pairs: Pairs, request: Request) -> Response:
    """What all checks say of the formula with one system in it."""
    from preservecheck.assess.review import review
    from preservecheck.report.review import pieces

    system = request.path_params["system"]
    wishes = wishes_of(pairs, desk)
    found = _one(desk, draft_of(pairs), wishes, system)
    shown: dict[str, Any] = found if isinstance(found, dict) else {"state": "gone", "said": GONE}
    if not isinstance(found, dict) and (formula := found[1].systems[0].formula) is not None:
        report = review(formula, desk.tables, today=desk.today)
        option = found[1].systems[0]
        shown = {
            "state": "checks",
            "view": pieces(report),
            "questions": questions(),
            "option": option,
            "name": dict(desk.systems)[option.id],
        }
    if _wants_piece(request):
        return desk.page("ranking_checks.html", system=system, **shown)
    return _page(desk, pairs, {**shown, "system": system, "alone": True}, wishes)


# ---- pieces --------------------------------------------------------------------------------------


def _wants_piece(request: Request) -> bool:
    """Whether a script asks, which puts the answer into the page that is there."""
    return request.headers.get("x-piece") == "yes"


def _page(
    desk: Desk, pairs: Pairs, found: dict[str, Any], wishes: Wishes, status: int = 200
) -> Response:
    shown = {"alone": False, **found}
    # a page without the view's own fields carries what they hold
    own = ("try-",) if shown["alone"] else (PREFIX, "try-")
    carried = [(k, v) for k, v in pairs if k not in ("do", "before-pick") and not k.startswith(own)]
    return desk.page(
        "ranking.html",
        status=status,
        here=PATH,
        title=TITLE,
        carried=carried,
        wishes=wishes,
        **_offers(desk),
        **shown,
    )


def _offers(desk: Desk) -> dict[str, Any]:
    """What can be chosen in the fields of the view."""
    substances = {inci for system in desk.tables.systems for inci, _ in system.composition} - {
        "Aqua"
    }
    return {
        "orders": ORDERS,
        "outcome_words": OUTCOME_WORDS,
        "charges": CHARGES,
        "all_markets": [market.id for market in desk.tables.markets],
        "substances": sorted(substances, key=str.casefold),
    }


def _formula(desk: Desk, draft: Draft) -> Formula | dict[str, Any]:
    """The formula that a draft describes, or what to show instead."""
    if is_untouched(draft):
        return {"state": "empty"}
    try:
        return formula_of(draft, desk.tables, desk.today)
    except FormulaError as error:
        return {
            "state": "faults",
            "faults": [field_fault(fault, draft) for fault in error.faults],
        }


def _ranked(desk: Desk, draft: Draft, wishes: Wishes) -> dict[str, Any]:
    """What the template of the ranking shows."""
    from preservecheck.assess.review import composer_for
    from preservecheck.report import choice as words
    from preservecheck.report.words import footer

    formula = _formula(desk, draft)
    if isinstance(formula, dict):
        return formula
    choice = _chosen(desk, formula, wishes)
    now = {s.id for s in composer_for(desk.tables).compose(formula).systems}
    return {
        "state": "ranked",
        "choice": choice,
        "said": words.title(choice),
        "nothing": ""
        if any(s.outcome != "does-not-fit" for s in choice.systems)
        else words.NOTHING,
        "rows": rows_of(choice, desk, wishes, now),
        "heads": words.HEADS,
        "foot": "; ".join(footer(choice)) + ".",
    }


def _one(
    desk: Desk, draft: Draft, wishes: Wishes, system: str
) -> tuple[Formula, Choice] | dict[str, Any]:
    """The formula and the ranking of one system alone, or what to show instead."""
    formula = _formula(desk, draft)
    if isinstance(formula, dict):
        return formula
    choice = _chosen(desk, formula, wishes, (system,))
    return (formula, choice) if choice.systems else {"state": "gone", "said": GONE}


def _chosen(desk: Desk, formula: Formula, wishes: Wishes, only: tuple[str, ...] = ()) -> Choice:
    return choose(
        formula,
        desk.tables,
        today=desk.today,
        markets=wishes.markets,
        natural=wishes.natural,
        without=wishes.without,
        only=only,
    )
