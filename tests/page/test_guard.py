"""Who may speak to the page."""

from __future__ import annotations

import asyncio
import re
from concurrent.futures import ThreadPoolExecutor

import pytest
from starlette.requests import ClientDisconnect

from preservecheck.page.draft import MAX_FIELDS
from preservecheck.page.guard import MAX_BODY, MAX_UPLOAD, Guard, cookie_name

PORT = 47613
OWN = f"http://127.0.0.1:{PORT}"


def alone(coroutine):
    """What a coroutine gives, in a thread with an event loop of its own."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, coroutine).result()


async def guarded(app, size, sent=None):
    """What comes out of the guard in front of an app, for a post of our own page."""
    sent = [] if sent is None else sent

    async def receive():
        return {"type": "http.request", "body": b"a" * size, "more_body": False}

    async def send(message):
        sent.append(message)

    headers = [
        (b"host", f"127.0.0.1:{PORT}".encode()),
        (b"origin", OWN.encode()),
        (b"cookie", f"{cookie_name(PORT)}=t".encode()),
    ]
    scope = {"type": "http", "method": "POST", "path": "/verdict", "headers": headers}
    await Guard(app, PORT, "t")(scope, receive, send)
    return sent


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        f"evil.example:{PORT}",
        "127.0.0.1",
        "127.0.0.1:1",
        f"127.0.0.1.evil.example:{PORT}",
        f"[::1]:{PORT}",
    ],
)
def test_foreign_host_is_refused(client, host):
    """A foreign name that was made to point here gets nothing."""
    assert client.get("/", headers={"host": host}).status_code == 421


def test_localhost_is_our_own_name(client):
    """Both names of this computer do, each with its own origin."""
    mine = f"localhost:{PORT}"
    assert client.get("/", headers={"host": mine, "origin": f"http://{mine}"}).status_code == 200


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", f"https://127.0.0.1:{PORT}", "http://127.0.0.1:1"]
)
@pytest.mark.parametrize("method", ["GET", "POST"])
def test_foreign_origin_is_refused(client, origin, method):
    """Another site in the same browser can neither read nor send."""
    assert client.request(method, "/", headers={"origin": origin}).status_code == 403


def test_post_without_a_sign_of_the_page_is_refused(client):
    """Neither origin nor the browser's word that it comes from the page."""
    del client.headers["origin"]
    assert client.post("/verdict").status_code == 403
    assert client.post("/verdict", headers={"sec-fetch-site": "cross-site"}).status_code == 403
    assert client.post("/verdict", headers={"sec-fetch-site": "same-site"}).status_code == 403
    assert client.post("/verdict", headers={"sec-fetch-site": "same-origin"}).status_code == 200


@pytest.mark.parametrize(
    "path", ["/", "/editor", "/verdict", "/what-if", "/open", "/save.toml", "/save.xlsx", "/there"]
)
def test_post_needs_the_token(stranger, path):
    """Without the cookie of this start, or with one of an earlier start, nothing is done and it
    says what to do."""
    stranger.headers["origin"] = OWN
    for cookie in ("", f"{cookie_name(PORT)}=of-yesterday"):
        answer = stranger.post(path, headers={"cookie": cookie})
        assert answer.status_code == 403
        assert "Open the link that it printed" in answer.text


def test_start_link(stranger):
    """The token buys a cookie that no script reads and no other site sends; a wrong one buys
    nothing."""
    assert stranger.get("/start", params={"token": "guess"}).status_code == 403
    assert stranger.get("/start").status_code == 403
    answer = stranger.get("/start", params={"token": "a-token-for-tests"})
    assert answer.status_code == 303
    assert answer.headers["location"] == "/"
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie


def test_other_methods_are_refused(client):
    """The page gets and posts, nothing else."""
    for method in ("PUT", "DELETE", "PATCH", "OPTIONS"):
        assert client.request(method, "/").status_code == 405


def test_rules_for_content_stand_on_every_answer(client):
    """Pages, files and refusals alike."""
    for answer in (
        client.get("/"),
        client.get("/static/page.css"),
        client.get("/nothing"),
        client.put("/"),
    ):
        rules = answer.headers["content-security-policy"]
        assert "default-src 'none'" in rules
        assert "unsafe" not in rules
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "same-origin"
        assert answer.headers["cache-control"] == "no-store"


def test_page_asks_nobody_else_and_writes_no_styles_or_scripts_inside(client):
    """Whatever a full page would load or lead to is our own; the rules for content block what is
    written inside."""
    text = client.post("/", data={"do": "example"}).text
    addresses = re.findall(r'\b(?:src|href|action|formaction|srcset|data|poster)="([^"]*)"', text)
    assert "/static/page.css" in addresses
    assert [a for a in addresses if not re.match(r"/(?!/)|#|data:,$", a)] == []
    assert "url(" not in text
    assert " style=" not in text
    assert "<style" not in text
    assert " onclick" not in text


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py",
        "/static/%2e%2e/app.py",
        "/static/..%2fapp.py",
        "/static/",
        "/static/app.py",
        "/docs",
        "/openapi.json",
    ],
)
def test_only_own_files_are_given(client, path):
    """Paths lead nowhere else."""
    assert client.get(path).status_code == 404


def test_too_large_a_body_is_refused(client):
    """By its stated length."""
    answer = client.post("/verdict", content=b"a" * (MAX_BODY + 1))
    assert answer.status_code == 413
    assert "3 MB" in answer.text


def test_uploads_may_be_larger_but_not_without_end(client):
    """A workbook is larger than a form; the readers' own limit answers below, the guard's above."""
    assert (
        client.post("/open", files=[("files", ("a.toml", b"a" * (MAX_BODY + 1)))]).status_code
        == 422
    )
    assert client.post("/open", content=b"a" * (MAX_UPLOAD + 1)).status_code == 413


def test_too_large_a_body_in_pieces_is_refused(client):
    """A body that states no length is cut off where it passes the limit."""
    pieces = (b"a" * 100_000 for _ in range(40))
    assert client.post("/verdict", content=pieces).status_code == 413


@pytest.mark.parametrize(
    ("method", "path", "status", "words"),
    [
        ("GET", "/nothing", 404, "There is nothing under this address"),
        ("POST", "/nothing", 404, "There is nothing under this address"),
        ("GET", "/save.toml", 405, "This is the answer to a button"),
        ("GET", "/verdict", 405, "This is the answer to a button"),
    ],
)
def test_refusals_are_said_in_words(client, method, path, status, words):
    """Not as data of a framework, and with what to do."""
    answer = client.request(method, path)
    assert answer.status_code == status
    assert words in answer.text
    assert "Open the link" in answer.text or "open the link" in answer.text


def test_more_parts_than_a_formula_has_are_refused_in_words(client):
    """Too many files in one post, and too many fields in one form, which was once taken for an
    empty one."""
    files = [("files", (f"{i}.csv", b"a")) for i in range(60)]
    assert "Open one formula at a time" in client.post("/open", files=files).text
    answer = client.post(
        "/verdict", data={f"phase-0-line-{i}-note": "a" for i in range(MAX_FIELDS + 1)}
    )
    assert answer.status_code == 400
    assert "too many" in answer.text


def test_body_at_the_limit_goes_through():
    """The limit itself is allowed, one byte more is not."""
    got = []

    async def app(_scope, receive, send):
        got.append(len((await receive())["body"]))
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b""})

    assert alone(guarded(app, MAX_BODY))[0]["status"] == 200
    assert alone(guarded(app, MAX_BODY + 1))[0]["status"] == 413
    assert got == [MAX_BODY]


@pytest.mark.parametrize(
    ("fault", "status", "words"),
    [
        (asyncio.CancelledError(), 503, b"The program was stopped before it could answer"),
        (ValueError("a slip of ours"), 500, b"The program hit an internal error"),
        (ClientDisconnect(), None, b""),
    ],
)
def test_answer_that_does_not_come_is_told(fault, status, words):
    """Whoever is still there gets a sentence with the rules for content; our own fault goes on to
    the window."""
    sent = []

    async def app(_scope, _receive, _send):
        raise fault

    async def answered():
        if isinstance(fault, ValueError):
            with pytest.raises(ValueError, match="a slip of ours"):
                await guarded(app, 1, sent)
        else:
            await guarded(app, 1, sent)

    alone(answered())
    assert [m["status"] for m in sent if "status" in m] == ([] if status is None else [status])
    assert b"".join(m.get("body", b"") for m in sent).startswith(words)
    if status:
        assert b"content-security-policy" in dict(sent[0]["headers"])
