"""The second view: every preservative system ranked for the formula, to sort, to narrow, and to put
one in."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl, urlencode

from preservecheck.formula.model import Formula
from preservecheck.page.apply_option import applied_to
from preservecheck.page.context import Site, Submission
from preservecheck.page.draft import MAX_FIELDS, draft_of, pairs_of
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
from preservecheck.ranking.result import Choice, Option

if TYPE_CHECKING:
    from starlette.responses import Response
    from starlette.routing import Route

PATH = "/which"
TITLE = "Which one?"
GONE = {
    "state": "gone",
    "said": "This system is no longer among those that fit your formula. Look at the ranking "
    "again.",
}


def routes(site: Site) -> list[Route]:
    """The view's addresses."""
    alone = asyncio.Lock()
    return [
        site.route(PATH, _start, "GET"),
        site.route(PATH, _ranking, alone=alone),
        site.route(f"{PATH}/put", _put, alone=alone),
        site.route(f"{PATH}/undo", _undo, alone=alone),
        site.route(f"{PATH}/checks/{{system}}", _checks, alone=alone),
    ]


# ---- answers -------------------------------------------------------------------------------------


def _start(sent: Submission) -> Response:
    return _page(sent, {"state": "start"}, wishes_of(sent))


def _ranking(sent: Submission) -> Response:
    """The whole view, or what changes in it where a script asks."""
    wishes = wishes_of(sent)
    shown = _without_formula(sent) if sent.formula is None else _ranked(sent, sent.formula, wishes)
    return _page(sent, shown, wishes)


def _put(sent: Submission) -> Response:
    """The formula with a system in it: the first view, or for a script the fields and what was
    done."""
    from starlette.responses import JSONResponse

    wishes, formula = wishes_of(sent), sent.formula
    option = _option(sent, wishes, sent.value("do").removeprefix("put "))
    if formula is None or option is None or option.outcome == "does-not-fit":
        problem = GONE if formula else _without_formula(sent)
        return _page(sent, problem, wishes, status=409)
    applied = applied_to(sent.draft, formula, option, sent.site.tables)
    if sent.piece:
        notice = bytes(sent.site.page("applied.html", applied=applied, before="").body).decode()
        return JSONResponse(
            {"pairs": pairs_of(applied.draft), "system": applied.system, "notice": notice}
        )
    before = urlencode(pairs_of(sent.draft))
    return whole_page(sent, applied.draft, applied=applied, before=before)


def _undo(sent: Submission) -> Response:
    """The formula as it was before a system was put in."""
    try:
        before = parse_qsl(
            sent.value("before-pick"), keep_blank_values=True, max_num_fields=MAX_FIELDS
        )
    except ValueError:
        before = []
    return whole_page(sent, draft_of(before) if before else sent.draft)


def _checks(sent: Submission) -> Response:
    """What all checks say of the formula with one system in it."""
    from preservecheck.plan.review import review
    from preservecheck.report.review import pieces

    system, wishes = sent.address["system"], wishes_of(sent)
    option = _option(sent, wishes, system)
    shown: dict[str, Any] = GONE if sent.formula else _without_formula(sent)
    if option is not None and option.formula is not None:
        report = review(option.formula, sent.site.tables, today=sent.site.today)
        shown = {
            "state": "checks",
            "view": pieces(report),
            "questions": questions(),
            "option": option,
            "name": sent.site.systems[option.id],
        }
    if sent.piece:
        return sent.site.page("ranking_checks.html", system=system, **shown)
    return _page(sent, {**shown, "system": system, "alone": True}, wishes)


# ---- pieces --------------------------------------------------------------------------------------


def _page(sent: Submission, shown: dict[str, Any], wishes: Wishes, status: int = 200) -> Response:
    site, shown = sent.site, {"alone": False, **shown}
    substances = {inci for s in site.tables.systems for inci, _ in s.composition} - {"Aqua"}
    # a page without the view's own fields carries what they hold
    own = ("try-",) if shown["alone"] else (PREFIX, "try-")
    return site.page(
        "ranking_pieces.html" if sent.piece else "ranking.html",
        status=status,
        here=PATH,
        title=TITLE,
        carried=[
            (k, v)
            for k, v in sent.pairs
            if k not in ("do", "before-pick") and not k.startswith(own)
        ],
        wishes=wishes,
        orders=ORDERS,
        outcome_words=OUTCOME_WORDS,
        charges=CHARGES,
        all_markets=site.markets,
        substances=sorted(substances, key=str.casefold),
        **shown,
    )


def _without_formula(sent: Submission) -> dict[str, Any]:
    """What to show where there is no formula."""
    return {"state": "empty"} if sent.untouched else {"state": "faults", "faults": sent.wrong}


def _ranked(sent: Submission, formula: Formula, wishes: Wishes) -> dict[str, Any]:
    """What the template of the ranking shows."""
    from preservecheck.assess.findings import composer_for
    from preservecheck.report import choice as words
    from preservecheck.report.words import footer

    choice = _choice(sent, formula, wishes)
    now = {s.id for s in composer_for(sent.site.tables).compose(formula).systems}
    return {
        "state": "ranked",
        "choice": choice,
        "said": words.title(choice),
        "nothing": ""
        if choice.needs_none or any(s.outcome != "does-not-fit" for s in choice.systems)
        else words.NOTHING,
        "rows": rows_of(choice, sent.site.tables, wishes, now),
        "heads": words.HEADS,
        "foot": "; ".join(footer(choice)) + ".",
    }


def _option(sent: Submission, wishes: Wishes, system: str) -> Option | None:
    """What one system would do in the formula."""
    if sent.formula is None:
        return None
    return next(iter(_choice(sent, sent.formula, wishes, (system,)).systems), None)


def _choice(
    sent: Submission, formula: Formula, wishes: Wishes, only: tuple[str, ...] = ()
) -> Choice:
    return choose(
        formula,
        sent.site.tables,
        today=sent.site.today,
        markets=wishes.markets,
        natural=wishes.natural,
        without=wishes.without,
        only=only,
    )
