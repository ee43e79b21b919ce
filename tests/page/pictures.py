"""Pictures of every view of the page, at both widths, light and dark, to be looked at.

``python tests/page/pictures.py FOLDER`` writes ``formula-phone-dark.png`` and so on: the whole
page, scrolled out.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from playwright.sync_api import Page, sync_playwright  # noqa: E402

from tests.page.browser import PATIENCE_MS, ROOT, WIDTHS, Program  # noqa: E402
from tests.report.pages import BROWSER  # noqa: E402

READINGS = (("14:05", "74"), ("14:20", "60"), ("14:35", "50"))


def view(page: Page, name: str) -> None:
    """Go to a view by its button."""
    page.get_by_role("navigation").get_by_role("button", name=name).click()
    page.get_by_role("heading", level=1, name=name).wait_for()


def empty(page: Page) -> None:
    """What a maker sees first."""
    page.wait_for_timeout(300)


def formula(page: Page) -> None:
    """The demo formula, with a check opened and the pH slider moved."""
    page.locator("#files").set_input_files(ROOT / "tests/examples/demo.toml")
    page.locator("#check-free-active > summary").click()
    page.locator("#check-free-active svg").first.wait_for()
    page.locator("#verdict input[type=range]").first.press("PageUp")
    page.wait_for_timeout(1000)


def which(page: Page) -> None:
    """The ranking."""
    view(page, "Which one?")
    page.locator("#shown").wait_for()


def bench(page: Page) -> None:
    """A batch that cools."""
    view(page, "At the bench")
    page.locator("#cool-room").fill("21")
    for i, (time, temperature) in enumerate(READINGS):
        page.locator("#cool-new-time").fill(time)
        page.locator("#cool-new-temp").fill(temperature)
        page.locator("#cool-new-temp").press("Enter")
        page.locator(f"#cool-{i}-temp").wait_for()
    page.locator("#cool-result svg").first.wait_for()


def after(page: Page) -> None:
    """The example of pasted counts and readings."""
    view(page, "Afterwards")
    for part in ("counts", "ph"):
        page.locator(f"button[value='example {part}']").click()
        page.locator(f"#{part}-result svg").first.wait_for()


def main(folder: Path) -> None:
    """One picture a view, a width and a scheme."""
    if not BROWSER:
        raise SystemExit(
            "No Chromium here: install Debian's chromium, or name one in PRESERVECHECK_CHROMIUM."
        )
    folder.mkdir(parents=True, exist_ok=True)
    program = Program().start()
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(
                executable_path=BROWSER,
                args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
            )
            for width, size in WIDTHS.items():
                for scheme in ("light", "dark"):
                    page = browser.new_page(viewport=size, color_scheme=scheme)
                    page.set_default_timeout(PATIENCE_MS)
                    page.goto(program.link)
                    page.wait_for_selector("html[data-ready]")
                    for step in (empty, formula, which, bench, after):
                        step(page)
                        path = folder / f"{step.__name__}-{width}-{scheme}.png"
                        page.screenshot(path=path, full_page=True)
                        print(path)
                    page.context.close()
            browser.close()
    finally:
        program.kill()


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "pictures"))
