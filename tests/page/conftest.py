"""The page in the test client, as the browser on this computer sees it."""

from __future__ import annotations

import datetime as dt

import pytest

from preservecheck.reference.load import load_tables

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
