"""The application behind the page: its views, its own files, and the guard in front."""

from __future__ import annotations

import datetime as dt
import hmac
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING

from preservecheck.page.context import KINDS, Site
from preservecheck.page.guard import OLD_LINK, Guard, cookie_name
from preservecheck.page.views import bench as views_bench
from preservecheck.page.views import formula as views_formula
from preservecheck.page.views import ranking as views_which
from preservecheck.page.views import results as views_after

if TYPE_CHECKING:
    from fastapi import FastAPI
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import BaseRoute

    from preservecheck.reference.load import Tables

REFUSALS = {
    400: "What was sent could not be read: too many files or fields, or a part of it was missing. "
    "Open one formula at a time.",
    404: "There is nothing under this address. Open the link that the program printed.",
    405: "This is the answer to a button, so there is nothing to look at here. Go back, or open "
    "the link that the program printed.",
}
VIEWS = (views_formula, views_which, views_bench, views_after)


def create_app(tables: Tables, *, port: int, token: str, today: dt.date | None = None) -> FastAPI:
    """The page of one start of the program; ``token`` is the secret that its start link carries."""
    from fastapi import FastAPI
    from starlette.exceptions import HTTPException
    from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
    from starlette.routing import Route

    site = Site(tables, today)

    async def start(request: Request) -> Response:
        """Exchange the token of the link for a cookie that no script can read."""
        given = request.query_params.get("token", "")
        if not hmac.compare_digest(given.encode(), token.encode()):
            return PlainTextResponse(OLD_LINK, 403)
        answer = RedirectResponse("/", 303)
        answer.set_cookie(cookie_name(port), token, httponly=True, samesite="strict", path="/")
        return answer

    async def static(request: Request) -> Response:
        name = request.path_params["name"]
        found = own_files().get(name)
        if found is None:
            return PlainTextResponse("There is no such file.", 404)
        return Response(found, media_type=KINDS[name.rpartition(".")[2]])

    async def there(_request: Request) -> Response:
        """A sign of life, for a page that has lost the program."""
        return JSONResponse({"there": True})

    routes: list[BaseRoute] = [
        Route("/start", start, methods=["GET"]),
        Route("/static/{name}", static, methods=["GET"]),
        Route("/there", there, methods=["POST"]),
    ]
    for module in VIEWS:
        routes += module.routes(site)
    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None, routes=routes)

    async def refused(_request: Request, error: Exception) -> Response:
        """What the framework would say as data, in words."""
        assert isinstance(error, HTTPException)
        return PlainTextResponse(
            REFUSALS.get(error.status_code, str(error.detail)), error.status_code
        )

    app.add_exception_handler(HTTPException, refused)
    app.add_middleware(Guard, port=port, token=token)
    return app


@lru_cache(maxsize=1)
def own_files() -> dict[str, bytes]:
    """The style sheet and the scripts, by name: nothing else can be asked for."""
    shared = files("preservecheck.report") / "templates" / "style.css"
    folder = files("preservecheck.page") / "static"
    own = {f.name: f.read_bytes() for f in folder.iterdir() if f.name.rpartition(".")[2] in KINDS}
    return own | {"report.css": shared.read_bytes()}
