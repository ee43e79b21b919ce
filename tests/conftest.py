"""What the whole run tells at its end."""

from tests.report.pages import NO_BROWSER


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
