"""What holds for all tests: where there is no browser, those that need one are left out, and the run
says so at its end."""

import sys

import pytest

from tests.report.pages import BROWSER

NO_BROWSER = "no Chromium here"


@pytest.fixture
def undrawn(monkeypatch):
    """No chart is drawn, as where matplotlib is not installed: for tests that look at none."""
    monkeypatch.setitem(sys.modules, "matplotlib", None)


def pytest_collection_modifyitems(items):
    """Leave out what needs a browser where there is none."""
    if BROWSER is None:
        for item in items:
            if item.get_closest_marker("browser"):
                item.add_marker(pytest.mark.skip(reason=NO_BROWSER))


def pytest_terminal_summary(terminalreporter):
    """Say plainly when the tests that need a browser were not run."""
    skipped = terminalreporter.stats.get("skipped", [])
    without = [r for r in skipped if isinstance(r.longrepr, tuple) and NO_BROWSER in r.longrepr[2]]
    if without:
        terminalreporter.section("not run", red=True, bold=True)
        terminalreporter.line(
            f"{len(without)} tests in a browser were NOT RUN: there is no Chromium on this "
            "computer. Install it "
            "(Debian: apt-get install chromium), or name one in PRESERVECHECK_CHROMIUM."
        )
