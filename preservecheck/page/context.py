"""What every view of the page needs: the tables, the templates, and a request's fields."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl

from preservecheck.formula.names import names_of
from preservecheck.page.form import MAX_FIELDS, Pairs
from preservecheck.page.words import CHOICE_WORDS, VIEWS, system_name

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from preservecheck.reference.load import Tables


@dataclass
class Desk:
    """The page of one start of the program; it keeps no formula.

    Parameters
    ----------
    tables
        The tables.
    port
        Where we listen.
    token
        Of this start.
    today
        Day of the reports; default is the clock's.
    """

    tables: Tables
    port: int
    token: str
    today: dt.date | None = None

    @cached_property
    def names(self) -> list[str]:
        """INCI and common names that a line may hold, in alphabetical order."""
        found = {row.inci for row in self.tables.ingredients}
        found |= {a.rpartition("@")[0] or a for row in self.tables.ingredients for a in row.aliases}
        return sorted(found, key=str.casefold)

    @cached_property
    def systems(self) -> list[tuple[str, str]]:
        """Id and composition of each preservative system, in alphabetical order of the
        composition."""
        named = [(s.id, system_name(s)) for s in self.tables.systems]
        return sorted(named, key=lambda pair: pair[1].casefold())

    def nearest(self, written: str) -> list[str]:
        """Names to propose for an unknown one."""
        return names_of(self.tables).nearest(written)

    async def fields_of(self, request: Request) -> Pairs:
        """Names and values of a posted form; files are left out.

        Raises
        ------
        HTTPException
            There are more than any formula has.
        """
        from starlette.exceptions import HTTPException

        if request.headers.get("content-type", "").startswith("multipart/form-data"):
            async with request.form(max_files=20, max_fields=MAX_FIELDS) as form:
                return [(k, v) for k, v in form.multi_items() if isinstance(v, str)]
        body = (await request.body()).decode("utf-8", errors="replace")
        try:
            return parse_qsl(body, keep_blank_values=True, max_num_fields=MAX_FIELDS)
        except ValueError:
            raise HTTPException(400) from None

    def page(
        self,
        template: str,
        *,
        status: int = 200,
        headers: dict[str, str] | None = None,
        **values: Any,
    ) -> Response:
        """A page or a piece of one."""
        from starlette.responses import HTMLResponse

        from preservecheck.report.html import environment

        text = (
            environment("preservecheck.page")
            .get_template(template)
            .render(desk=self, views=VIEWS, words=CHOICE_WORDS, **values)
        )
        return HTMLResponse(text, status, headers)


def value_of(pairs: Iterable[tuple[str, str]], name: str) -> str:
    """The last value of a field, or nothing."""
    return next((v for k, v in reversed(list(pairs)) if k == name), "")
