"""Who may speak to the page: this computer's own browser, from the page itself.

A page that some other site opens in the same browser can send requests here too, and a foreign name
can be made to point here. So the host must be ours, an origin that is named must be ours, and what
posts must come from our own page with the token of this start.
"""

from __future__ import annotations

import asyncio
import hmac
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

from starlette.requests import ClientDisconnect

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

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

    def __init__(self, app: App, port: int, token: str) -> None:
        self._app = app
        self._hosts = {f"127.0.0.1:{port}".encode(), f"localhost:{port}".encode()}
        self._origins = {b"http://" + host for host in self._hosts}
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

        refused = self._refused(scope)
        limit = MAX_UPLOAD if scope["path"] in UPLOADS else MAX_BODY
        if refused is None and _stated_length(scope) > limit:
            refused = (413, _too_large(limit))
        if refused is not None:
            await _answer(send_with_rules, *refused)
            return
        try:
            await self._app(scope, _limited(receive, limit), send_with_rules)
        except _TooLarge:
            if begun:
                raise
            await _answer(send_with_rules, 413, _too_large(limit))
        except ClientDisconnect:  # nobody is there any more to be answered
            return
        except asyncio.CancelledError:  # Ctrl-C, and the answer took longer than the program waits
            if not begun:
                await _answer(send_with_rules, 503, STOPPED)
        except Exception:
            if not begun:
                await _answer(send_with_rules, 500, FAULT)
            raise

    def _refused(self, scope: Scope) -> tuple[int, str] | None:
        """Status and reason where a request is not ours to answer."""
        headers: dict[bytes, list[bytes]] = {}
        for name, value in scope["headers"]:
            headers.setdefault(name.lower(), []).append(value)
        host, origin = headers.get(b"host", []), headers.get(b"origin", [])
        if len(host) != 1 or host[0] not in self._hosts:
            return 421, "This page answers only under its own address on this computer."
        if len(origin) > 1 or (
            origin and (origin[0] not in self._origins or origin[0] != b"http://" + host[0])
        ):
            return 403, "Another page asked for this. Open the link that the program printed."
        if scope["method"] in ("GET", "HEAD"):
            return None
        return self._refused_post(scope, headers)

    def _refused_post(
        self, scope: Scope, headers: dict[bytes, list[bytes]]
    ) -> tuple[int, str] | None:
        """The same for what sends something."""
        if scope["method"] != "POST":
            return 405, "This is not done here."
        site = headers.get(b"sec-fetch-site", [])
        if (site and site != [b"same-origin"]) or not (headers.get(b"origin") or site):
            return (
                403,
                "This can only be sent from the page itself. Open the link that the program "
                "printed.",
            )
        return None if self._known(headers.get(b"cookie", [])) else (403, OLD_LINK)

    def _known(self, cookies: list[bytes]) -> bool:
        """Whether the cookie of this start came along."""
        pairs = (part.strip().partition(b"=") for line in cookies for part in line.split(b";"))
        given = [value for name, _, value in pairs if name == self._cookie.encode()]
        return any(hmac.compare_digest(value, self._token.encode()) for value in given)


def cookie_name(port: int) -> str:
    """Cookies know no ports, so the name tells two programs apart."""
    return f"preservecheck-{port}"


def _stated_length(scope: Scope) -> int:
    stated = [v for n, v in scope["headers"] if n.lower() == b"content-length"]
    try:
        return max((int(v) for v in stated), default=0)
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


async def _answer(send: Send, status: int, text: str) -> None:
    body = text.encode()
    await send(
        {
            "type": "http.response.start",
            "status": status,
            "headers": [
                (b"content-type", b"text/plain; charset=utf-8"),
                (b"content-length", str(len(body)).encode()),
                (b"connection", b"close"),
            ],
        }
    )
    await send({"type": "http.response.body", "body": body})
