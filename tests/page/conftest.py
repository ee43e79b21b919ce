"""The page in the test client, as the browser on this computer sees it."""

from __future__ import annotations

import datetime as dt

import pytest

from preservecheck.reference.load import load_tables
from tests.page.browser import PATIENCE_MS, WIDTHS, Program
from tests.report.pages import BROWSER

PORT = 47613
OWN = f"http://127.0.0.1:{PORT}"
TOKEN = "a-token-for-tests"
TODAY = dt.date(2026, 11, 25)


@pytest.fixture(scope="session")
def app():
    from preservecheck.page.app import create_app

    return create_app(load_tables(), port=PORT, token=TOKEN, today=TODAY)


@pytest.fixture
def stranger(app):
    """A client that has not opened the start link."""
    from fastapi.testclient import TestClient

    with TestClient(app, base_url=OWN, follow_redirects=False) as client:
        yield client


@pytest.fixture
def client(stranger):
    """A client that has, and whose requests come from the page."""
    assert stranger.get("/start", params={"token": TOKEN}).status_code == 303
    stranger.headers["origin"] = OWN
    return stranger


# ---- in a real browser: one program and one browser for all tests of a process; while they wait
# they hold its event loop, so that a test that needs one of its own takes a thread ----


@pytest.fixture(scope="session")
def chromium():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=BROWSER,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def program():
    """The program on a port of its own; started by the first test that needs it."""
    running = Program().start()
    yield running
    running.kill()


@pytest.fixture
def maker(chromium, program):
    """Opens the start link as a maker does; nothing may be asked of anybody else, and no script may
    fail."""
    contexts, strangers, faults = [], [], []

    def open_link(size="desk", path="/", **options):
        context = chromium.new_context(viewport=WIDTHS[size], color_scheme="light", **options)
        context.set_default_timeout(PATIENCE_MS)
        context.on(
            "request",
            lambda r: r.url.startswith((program.origin, "data:")) or strangers.append(r.url),
        )
        context.on("console", lambda m: faults.append(m.text) if m.type == "error" else None)
        context.on("weberror", lambda e: faults.append(str(e.error)))
        contexts.append(context)
        page = context.new_page()
        page.goto(program.link)
        if path != "/":
            page.goto(program.origin + path)
        elif options.get("java_script_enabled", True):
            page.wait_for_selector("html[data-ready]")
        return page

    open_link.faults = faults
    yield open_link
    for context in contexts:
        context.close()
    assert strangers == []
    assert faults == []
