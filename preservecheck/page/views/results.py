"""Afterwards: the challenge test and the pH over time, pasted from a spreadsheet, judged and
plotted."""

from __future__ import annotations

from typing import TYPE_CHECKING

from preservecheck.errors import PreservecheckError, ReadingsError
from preservecheck.page import results
from preservecheck.page.context import Site, Submission, attachment
from preservecheck.page.draft import beside_of, pairs_of
from preservecheck.page.hints import FieldFault
from preservecheck.page.results import PARTS, After, Part, Result, after_of, part_of
from preservecheck.reference.rows import STANDARDS

if TYPE_CHECKING:
    from starlette.responses import Response
    from starlette.routing import Route

HERE = "/after"
ENDINGS = ("md", "json", "svg")
NAMES: dict[Part, str] = {"counts": "challenge", "ph": "ph-over-time"}


def routes(site: Site) -> list[Route]:
    """The view's addresses."""
    return [
        site.route(HERE, _after, "GET"),
        site.route(HERE, _after),
        site.route(HERE + "/open", _opened),
        site.route(HERE + "/{part}.{ending}", _saved),
    ]


def _after(sent: Submission) -> Response:
    """The whole page; for a script its middle alone."""
    after = after_of(sent.pairs)
    results.acted(after, sent.value("do"))
    return _page(sent, after)


def _opened(sent: Submission) -> Response:
    """The text of a file in the place of what was pasted; where it cannot be read, what was pasted
    stays."""
    after = after_of(sent.pairs)
    part = part_of(sent.value("do")) or PARTS[0]
    upload, *_ = sent.files.get(f"file-{part}") or [("", b"")]
    try:
        after.texts[part] = results.text_of_file(upload)
    except ReadingsError as error:
        faults = tuple(FieldFault(f.text, None) for f in results.faults_of(error, part))
        return _page(sent, after, {part: Result(faults)}, status=422)
    return _page(sent, after)


def _saved(sent: Submission) -> Response:
    """A result as a file."""
    after, ending = after_of(sent.pairs), sent.address["ending"]
    part = part_of(sent.address["part"])
    if part is None or ending not in ENDINGS or not after.filled(part):
        return _page(sent, after, status=422 if part else 404)
    try:
        judged = results.judged_of(part, after, sent)
    except PreservecheckError:
        judged = None
    if judged is None:  # the page says what is wrong
        return _page(sent, after, status=422)
    return attachment(results.file_of(judged, ending), sent.draft, ending, NAMES[part])


def _page(
    sent: Submission, after: After, instead: dict[Part, Result] | None = None, status: int = 200
) -> Response:
    only, known = part_of(sent.value("only")), instead or {}
    shown = {
        part: known.get(part)
        or (Result() if only not in (None, part) else results.result_of(part, after, sent))
        for part in PARTS
    }
    return sent.site.page(
        "results_main.html" if sent.piece else "view.html",
        status=status,
        here=HERE,
        title="Afterwards",
        id="after",
        main="results_main.html",
        style="results.css",
        notice=None,
        carried=pairs_of(sent.draft),
        beside=beside_of(sent.pairs, "after"),
        after=after,
        sent=sent,
        results=shown,
        standards={id_: s.name for id_, s in STANDARDS.items()},
        counts_columns=results.COUNTS_COLUMNS,
        ph_columns=results.PH_COLUMNS,
    )
