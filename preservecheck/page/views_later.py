"""The places of the other views until they stand: each says what it will hold."""

from __future__ import annotations

from typing import TYPE_CHECKING

from preservecheck.page.desk import Desk

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route

COMING = {
    "/after": ("Afterwards", "Results of the challenge test and the pH over time."),
}


def routes(desk: Desk) -> list[Route]:
    """The views' addresses; a POST brings the draft along."""
    from starlette.routing import Route  # noqa: PLC0415

    def view(path: str) -> Route:
        title, text = COMING[path]

        async def show(_request: Request) -> Response:
            return desk.page("later.html", here=path, title=title, text=text)

        return Route(path, show, methods=["GET", "POST"])

    return [view(path) for path in COMING]
