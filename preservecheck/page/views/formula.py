"""The first view: the formula with its verdict, and the pieces that follow each change."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from preservecheck.errors import FormulaError, PreservecheckError
from preservecheck.page.context import Site, Submission, attachment
from preservecheck.page.draft import Draft, Pairs, beside_of, from_raw, new_draft, pairs_of, to_raw
from preservecheck.page.editor import acted, editor_view, whole
from preservecheck.page.files import opened, toml_text, workbook_of
from preservecheck.page.hints import worded
from preservecheck.page.what_if import sliders, tried

if TYPE_CHECKING:
    from starlette.responses import Response
    from starlette.routing import Route

    from preservecheck.page.apply_option import Applied
    from preservecheck.plan.review import Report
    from preservecheck.report.plots.chart import Chart

# the browser wraps the paragraphs
RULE_WIDTH = 10_000


def routes(site: Site) -> list[Route]:
    """The view's addresses."""
    return [
        site.route("/", _start, "GET"),
        site.route("/", _formula),
        site.route("/editor", _editor),
        site.route("/verdict", _verdict),
        site.route("/what-if", _what_if),
        site.route("/check/{check}", _check),
        site.route("/open", _opened),
        site.route("/save.toml", _save_toml),
        site.route("/save.xlsx", _save_xlsx),
    ]


# ---- answers -------------------------------------------------------------------------------------


def _start(sent: Submission) -> Response:
    return whole_page(sent, new_draft())


def _formula(sent: Submission) -> Response:
    draft, focus = acted(sent)
    return whole_page(sent, draft, focus=focus)


def _editor(sent: Submission) -> Response:
    draft, focus = acted(sent)
    return sent.site.page("editor.html", focus=focus, **editor_view(draft, sent.site))


def _verdict(sent: Submission) -> Response:
    return sent.site.page("verdict.html", behind={}, **_judgement(sent, {}))


def _what_if(sent: Submission) -> Response:
    report = _report(sent)
    changed = None if report is None else tried(report, _wanted(sent.pairs), sent.site.tables)
    return sent.site.page("what_if.html", tried=changed)


def _check(sent: Submission) -> Response:
    """What stands behind one check; without scripting the whole page, with the check opened."""
    check = sent.address["check"]
    try:
        behind = _behind(sent, check)
    except PreservecheckError as error:
        shown = {"charts": [], "sources": [], "rule": worded(error.faults[0])}
        return sent.site.page("check_details.html", status=404, check=check, **shown)
    if sent.piece:
        return sent.site.page("check_details.html", check=check, **behind)
    return whole_page(sent, sent.draft, behind={check: behind})


def _save_toml(sent: Submission) -> Response:
    return attachment(toml_text(to_raw(sent.draft)).encode(), sent.draft, "toml")


def _save_xlsx(sent: Submission) -> Response:
    return attachment(workbook_of(to_raw(sent.draft), sent.site.tables), sent.draft, "xlsx")


def _opened(sent: Submission) -> Response:
    """The formula of a file in the editor; where none can be read, the reasons, and what was typed
    stays."""
    site = sent.site
    try:
        raw, faults = opened(sent.files.get("files", ()), site.tables)
    except FormulaError as error:
        title = "This file could not be read"
        messages = [worded(fault, where=fault.where) for fault in error.faults]
        if sent.piece:
            return site.page("notice.html", status=422, title=title, messages=messages)
        return whole_page(sent, new_draft(), notice=(title, messages), status=422)
    draft, notice = from_raw(raw), None
    if faults:
        messages = [worded(fault, where=fault.where) for fault in faults]
        notice = ("What the file says that cannot be used", messages)
    if sent.piece:
        return site.page("editor.html", focus="", notice=notice, **editor_view(draft, site))
    return whole_page(sent, draft, notice=notice)


# ---- pieces --------------------------------------------------------------------------------------


def whole_page(
    sent: Submission,
    draft: Draft,
    *,
    focus: str = "",
    notice: tuple[str, list[str]] | None = None,
    behind: Mapping[str, Any] | None = None,
    status: int = 200,
    applied: Applied | None = None,
    before: str = "",
) -> Response:
    """The view as a whole page, of a draft that need not be the one that was sent.

    ``focus`` is the field to go to, ``notice`` a title with messages, ``behind`` what stands behind
    the checks that are open, ``before`` the fields as they were before a system was put in.
    """
    shown = Submission(sent.site, pairs_of(draft))
    judgement = _judgement(shown, _wanted(sent.pairs))
    return sent.site.page(
        "formula.html",
        status=status,
        here="/",
        title="Formula",
        beside=beside_of(sent.pairs),
        focus=focus,
        notice=notice,
        applied=applied,
        before=before,
        **{**editor_view(draft, sent.site), **judgement, "behind": behind or {}},
    )


def _report(sent: Submission) -> Report | None:
    """The formula judged; ``None`` where there is none."""
    from preservecheck.plan.review import review

    if sent.formula is None:
        return None
    return review(sent.formula, sent.site.tables, today=sent.site.today)


def _judgement(sent: Submission, wanted: dict[str, float]) -> dict[str, Any]:
    """What the verdict's template shows: nothing yet, what is wrong, or the report."""
    from preservecheck.report.review import pieces

    if sent.untouched:
        return {"state": "empty"}
    report = _report(sent)
    if report is None or report.formula is None:
        return {"state": "faults", "faults": sent.wrong, "whole": whole(sent.draft)}
    return {
        "state": "judged",
        "view": pieces(report),
        "questions": questions(),
        "sliders": sliders(report.formula, sent.site.tables),
        "wanted": wanted,
        "tried": tried(report, wanted, sent.site.tables) if wanted else None,
        "whole": whole(sent.draft),
    }


def questions() -> dict[str, str]:
    """The question that each check answers."""
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


def _behind(sent: Submission, check: str) -> dict[str, Any]:
    """Charts and sources of a check, where the formula can be judged, and its rule with formula and
    constants; a ``PreservecheckError`` where there is no such check."""
    from preservecheck.report import manual
    from preservecheck.report.review import pieces
    from preservecheck.report.text import flowed

    rule = "\n".join(flowed(manual.rule(check), RULE_WIDTH))
    report = _report(sent)
    if report is None:
        return {"charts": [], "sources": [], "rule": rule}
    cited = {
        source for finding in report.checks if finding.id == check for source in finding.sources
    }
    numbered = enumerate(pieces(report).sources.texts, 1)
    sources = [(number, text) for number, text in numbered if text in cited]
    return {"charts": _charts(sent, report, check), "sources": sources, "rule": rule}


def _charts(sent: Submission, report: Report, check: str) -> list[Chart]:
    """The charts that belong to a check, in its order."""
    from preservecheck.checks import BY_ID
    from preservecheck.report.review import charts_of

    declared = BY_ID.get(check)
    names = declared.plots if declared else ()
    charts = {chart.id: chart for chart in charts_of(report, sent.site.tables)} if names else {}
    return [charts[name] for name in names if name in charts]
