"""What every view of the page needs: the tables, the templates, and what a form asks."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, field
from functools import cache, cached_property
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl

from preservecheck.errors import FormulaError
from preservecheck.formula.names import names_of
from preservecheck.page.draft import MAX_FIELDS, Draft, Pairs, draft_of
from preservecheck.page.draft_outcome import field_fault, formula_of, is_untouched
from preservecheck.page.guard import MAX_BODY
from preservecheck.page.hints import FieldFault, hinted

if TYPE_CHECKING:
    import asyncio

    import jinja2
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route

    from preservecheck.formula.model import Formula
    from preservecheck.reference.load import Tables
    from preservecheck.reference.rows import System

VIEWS = (
    ("/", "Formula"),
    ("/which", "Which one?"),
    ("/bench", "At the bench"),
    ("/after", "Afterwards"),
)
KINDS = {
    "css": "text/css; charset=utf-8",
    "html": "text/html; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "json": "application/json",
    "md": "text/markdown; charset=utf-8",
    "svg": "image/svg+xml",
    "toml": "application/toml",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
# styles in a drawing
_STYLE_BLOCK = re.compile(r"<defs>\s*<style[^>]*>.*?</style>\s*</defs>", re.DOTALL)
_STYLE = re.compile(r'\bstyle="([^"]*)"')
# more files than are read are answered with a message, up to this many
MAX_FILES = 50


@dataclass
class Site:
    """The page of one start of the program; it keeps no formula."""

    tables: Tables
    today: dt.date | None = None  # of the reports; the clock's where it is not given

    @cached_property
    def names(self) -> list[str]:
        """INCI and common names that a line may hold, in alphabetical order."""
        names = {row.inci for row in self.tables.ingredients}
        names |= {a.rpartition("@")[0] or a for row in self.tables.ingredients for a in row.aliases}
        return sorted(names, key=str.casefold)

    @cached_property
    def systems(self) -> dict[str, str]:
        """Composition of each preservative system by its id, in alphabetical order of the
        composition."""
        named = [(s.id, system_name(s)) for s in self.tables.systems]
        return dict(sorted(named, key=lambda pair: pair[1].casefold()))

    @cached_property
    def markets(self) -> list[str]:
        """The markets, by id."""
        return [market.id for market in self.tables.markets]

    def nearest(self, written: str) -> list[str]:
        """Names to propose for an unknown one."""
        return names_of(self.tables).nearest(written)

    def route(
        self, path: str, answer: Answer, method: str = "POST", alone: asyncio.Lock | None = None
    ) -> Route:
        """An address, answered beside the loop that listens; with a lock one answer at a time, and
        none that nobody waits for any more."""
        from starlette.concurrency import run_in_threadpool
        from starlette.responses import Response
        from starlette.routing import Route

        async def endpoint(request: Request) -> Response:
            sent = await self._submission(request)
            async with alone or nullcontext():
                if alone is not None and await request.is_disconnected():
                    return Response(status_code=204)
                return await run_in_threadpool(answer, sent)

        return Route(path, endpoint, methods=[method])

    async def _submission(self, request: Request) -> Submission:
        """What a request asks; an ``HTTPException`` where it has more fields than any formula."""
        from starlette.exceptions import HTTPException

        files: dict[str, list[Upload]] = {}
        if request.headers.get("content-type", "").startswith("multipart/form-data"):
            async with request.form(
                max_files=MAX_FILES, max_fields=MAX_FIELDS, max_part_size=MAX_BODY
            ) as form:
                items = form.multi_items()
                pairs = [(k, v) for k, v in items if isinstance(v, str)]
                for name, file in items:
                    if not isinstance(file, str):
                        upload = (file.filename or "", await file.read())
                        files.setdefault(name, []).append(upload)
        else:
            body = (await request.body()).decode("utf-8", errors="replace")
            try:
                pairs = parse_qsl(body, keep_blank_values=True, max_num_fields=MAX_FIELDS)
            except ValueError:
                raise HTTPException(400) from None
        piece = request.headers.get("x-piece") == "yes"
        return Submission(self, pairs, request.path_params, piece, files)

    def page(self, template: str, *, status: int = 200, **values: Any) -> Response:
        """A page or a piece of one."""
        from starlette.responses import HTMLResponse

        shown = templates().get_template(template)
        return HTMLResponse(shown.render(site=self, views=VIEWS, **values), status)


@dataclass
class Submission:
    """What a form asks, and where it was sent."""

    site: Site
    pairs: Pairs  # names and values of its fields
    address: Mapping[str, str] = field(default_factory=dict)  # the parts of it that differ
    piece: bool = False  # whether a script asks, which puts the answer into the page that is there
    files: Mapping[str, Sequence[Upload]] = field(default_factory=dict)  # those picked, by field

    def value(self, name: str) -> str:
        """The last value of a field, or nothing."""
        return next((v for k, v in reversed(self.pairs) if k == name), "")

    @cached_property
    def draft(self) -> Draft:
        """The formula as it is typed."""
        return draft_of(self.pairs)

    @cached_property
    def untouched(self) -> bool:
        """Whether no formula is typed yet."""
        return is_untouched(self.draft)

    @property
    def formula(self) -> Formula | None:
        """The formula; ``None`` where none is typed or where it is faulty."""
        return self._built[0]

    @property
    def wrong(self) -> list[FieldFault]:
        """What is wrong with the formula."""
        return self._built[1]

    @cached_property
    def _built(self) -> tuple[Formula | None, list[FieldFault]]:
        if self.untouched:
            return None, []
        try:
            return formula_of(self.draft, self.site.tables, self.site.today), []
        except FormulaError as error:
            return None, [field_fault(fault, self.draft) for fault in error.faults]


@cache
def templates() -> jinja2.Environment:
    """The templates of the page, with those of the reports."""
    from preservecheck.report.html import environment

    made = environment("preservecheck.page")
    made.filters["drawing"] = as_attributes
    made.filters["hinted"] = hinted
    return made


def as_attributes(svg: str) -> str:
    """A drawing with its styles as attributes of the elements: the rules for content allow no style
    written into them."""
    svg = _STYLE_BLOCK.sub("", svg)
    svg = _STYLE.sub(lambda found: _attributes(found.group(1)), svg)
    return svg.replace("<svg ", '<svg stroke-linejoin="round" stroke-linecap="butt" ', 1)


def _attributes(style: str) -> str:
    pairs = (part.partition(":") for part in style.split(";") if part.strip())
    return " ".join(f'{key.strip()}="{value.strip()}"' for key, _, value in pairs)


Upload = tuple[str, bytes]
Answer = Callable[[Submission], "Response"]


def attachment(data: bytes, draft: Draft, ending: str, what: str = "") -> Response:
    """A file to save, named after the product and what it is, with one of the endings of
    ``KINDS``."""
    from starlette.responses import Response

    words = "".join(c if c.isascii() and c.isalnum() else " " for c in draft.name.casefold())
    stem = "-".join(words.split())[:60] or "formula"
    name = ".".join(filter(None, (stem, what, ending)))
    headers = {"content-disposition": f'attachment; filename="{name}"'}
    return Response(data, media_type=KINDS[ending], headers=headers)


def system_name(system: System) -> str:
    """A system named by what is in it: ``Benzyl Alcohol 78 %, Aqua 22 %``."""
    parts = sorted(system.composition, key=lambda part: -part[1])
    if len(parts) == 1:
        return str(parts[0][0])
    return ", ".join(f"{inci} {100 * share:.3g} %" for inci, share in parts)
