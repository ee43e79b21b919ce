"""Who may speak to the page: this computer's own browser, from the page itself.

A page that some other site opens in the same browser can send requests here too, and a foreign name
can be made to point here. So the host must be ours, an origin that is named must be ours, and what
posts must come from our own page with the token of this start.
"""

from __future__ import annotations

import asyncio
import hmac

from starlette.datastructures import Headers
from starlette.requests import ClientDisconnect
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

# the longest formula that is read is a tenth of this; an upload may be a workbook [bytes]
MAX_BODY = 3_000_000
MAX_UPLOAD = 24_000_000
UPLOADS = ("/open", "/after/open")
RULES = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
# no-referrer would make the browser send "Origin: null" with a form
HEADERS = (
    (b"content-security-policy", RULES.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
    (b"cross-origin-resolver-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-embedder-policy", b"require-corp"),
    (b"x-frame-options", b"DENY"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=()"),
)
OLD_LINK = (
    "The program was started anew since this page was opened. Open the link that it printed in "
    "its window in another tab, then reload this page: nothing that you typed is lost."
)
ELSEWHERE = "This can only be sent from the page itself. Open the link that the program printed."
STOPPED = (
    "The program was stopped before it could answer. Start it again, and open the link that "
    "it prints."
)
FAULT = (
    "The program hit an internal error; its window has the details. Go back: what you typed is "
    "still there. Save it as a file."
)


class _TooLarge(Exception):
    """A body goes on beyond its limit."""


class Guard:
    """Refuses what is not ours, before the application sees it, and puts the rules for content on
    every answer; a request that posts carries the token of this start in its cookie."""

    def __init__(self, app: ASGIApp, port: int, token: str) -> None:
        self._app = app
        self._hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
        self._cookie, self._token = cookie_name(port), token

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return
        begun = False

        async def send_with_rules(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                ours = {name for name, _ in HEADERS}
                kept = [(n, v) for n, v in message.get("headers", []) if n.lower() not in ours]
                message = {**message, "headers": [*kept, *HEADERS]}
            await send(message)

        async def answer(status: int, text: str) -> None:
            response = PlainTextResponse(text, status, {"connection": "close"})
            await response(scope, receive, send_with_rules)

        headers = Headers(scope=scope)
        refused = self._refused(scope["method"], headers)
        limit = MAX_UPLOAD if scope["path"] in UPLOADS else MAX_BODY
        if refused is None and _stated_length(headers) > limit:
            refused = (413, _too_large(limit))
        if refused is not None:
            await answer(*refused)
            return
        try:
            await self._app(scope, _limited(receive, limit), send_with_rules)
        except _TooLarge:
            if begun:
                raise
            await answer(413, _too_large(limit))
        except ClientDisconnect:  # nobody is there any more to be answered
            return
        except asyncio.CancelledError:  # Ctrl-C, and the answer took longer than the program waits
            if not begun:
                await answer(503, STOPPED)
        except Exception:
            if not begun:
                await answer(500, FAULT)
            raise

    def _refused(self, method: str, headers: Headers) -> tuple[int, str] | None:
        """Status and reason where a request is not ours to answer."""
        host, origin = headers.getlist("host"), headers.getlist("origin")
        if len(host) != 1 or host[0] not in self._hosts:
            return 421, "This page answers only under its own address on this computer."
        if origin not in ([], [f"http://{host[0]}"]):
            return 403, "Another page asked for this. Open the link that the program printed."
        if method in ("GET", "HEAD"):
            return None
        if method != "POST":
            return 405, "This is not done here."
        site = headers.getlist("sec-fetch-site")
        if site not in ([], ["same-origin"]) or not (origin or site):
            return 403, ELSEWHERE
        return None if self._known(headers.getlist("cookie")) else (403, OLD_LINK)

    def _known(self, cookies: list[str]) -> bool:
        """Whether the cookie of this start came along."""
        pairs = (part.strip().partition("=") for line in cookies for part in line.split(";"))
        given = [value.encode() for name, _, value in pairs if name == self._cookie]
        return any(hmac.compare_digest(value, self._token.encode()) for value in given)


def cookie_name(port: int) -> str:
    """Cookies know no ports, so the name tells two programs apart."""
    return f"preservecheck-{port}"


def _stated_length(headers: Headers) -> int:
    try:
        return max((int(v) for v in headers.getlist("content-length")), default=0)
    except ValueError:
        return MAX_UPLOAD + 1


def _limited(receive: Receive, limit: int) -> Receive:
    """The body, up to its limit, also where no length is stated."""
    got = 0

    async def receive_some() -> Message:
        nonlocal got
        message = await receive()
        got += len(message.get("body", b""))
        if got > limit:
            raise _TooLarge
        return message

    return receive_some


def _too_large(limit: int) -> str:
    return (
        f"That is more than {limit / 1e6:.0f} MB, more than a formula needs. Keep only the "
        "formula in the file."
    )
