"""How long a maker waits for the verdict after a key, in a real browser, against a bare question to
the program.

The formula has fifteen lines. Each key is a real one; the time runs from the browser's input event
to the frame after the new verdict stands in the page, its 20 ms of waiting for a second key
included. The floor is the same form posted to an address that does nothing (``/there``), from the
same page in the same run.

Run it with ``python tests/bench/bench_page.py``. It prints, and judges nothing: a slow minute is no
fault.
"""

from __future__ import annotations

import statistics
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from playwright.sync_api import sync_playwright  # noqa: E402

from tests.page.browser import WIDTHS, Program  # noqa: E402
from tests.report.pages import BROWSER  # noqa: E402

KEYS = 150
BETWEEN_MS = 60
TARGET_MS = 250
FORMULA = """format = 1
[product]
name = "Formula of the benchmark"
use = "leave-on"
type = "leave-in"
markets = ["EU", "GB", "US"]
batch = "1000 g"
[measured]
ph = 4.6
[[phase]]
name = "Heated phase"
heated_to = "75 °C"
items = [
  { ingredient = "Aqua", rest = true },
  { ingredient = "Glycerin", percent = 3 },
  { ingredient = "Behentrimonium Methosulfate", percent = 2 },
  { ingredient = "Cetearyl Alcohol", percent = 4 },
  { ingredient = "Cetyl Alcohol", percent = 1 },
  { ingredient = "Helianthus Annuus Seed Oil", percent = 2 },
  { ingredient = "Butyrospermum Parkii Butter", percent = 1 },
  { ingredient = "Guar Hydroxypropyltrimonium Chloride", percent = 0.2 },
  { ingredient = "Sodium Phytate", percent = 0.1 },
]
[[phase]]
name = "Cool-down phase"
added_at = "38 °C"
items = [
  { ingredient = "Panthenol", percent = 0.5 },
  { ingredient = "Hydrolyzed Wheat Protein", percent = 1 },
  { ingredient = "Aloe Barbadensis Leaf Juice", percent = 5 },
  { ingredient = "Tocopherol", percent = 0.2 },
  { ingredient = "Parfum", percent = 0.4 },
  { preservative = "benzyl-alcohol-dehydroacetic-acid", percent = 0.8 },
]
"""
WATCH = """
const verdict = document.getElementById("verdict");
window.taken = [];
let pressed = null;
document.addEventListener("input", () => { pressed = performance.now(); }, true);
new MutationObserver(() => {
  if (pressed === null) return;
  const from = pressed;
  pressed = null;
  requestAnimationFrame(() => window.taken.push(performance.now() - from));
}).observe(verdict, { childList: true });
"""
FLOOR = """async (times) => {
  const taken = [];
  for (let i = 0; i < times; i++) {
    const body = new URLSearchParams([...new FormData(document.getElementById("draft"))]);
    const from = performance.now();
    await (await fetch("/there", { method: "POST", body, headers: { "X-Piece": "yes" } })).text();
    taken.push(performance.now() - from);
  }
  return taken;
}"""


def user_errors(name: str, taken: list[float], floor: float) -> None:
    """Print the median, the 95th percentile and the ratio to the floor."""
    late = statistics.quantiles(taken, n=20)[-1]
    middle = statistics.median(taken)
    print(
        f"{name:34}  median {middle:6.1f} ms   95 % within {late:6.1f} ms   {middle / floor:5.1f} "
        "x the floor"
    )
    if name.startswith("key"):
        print(f"{'':34}  95 % within {TARGET_MS} ms: {'yes' if late <= TARGET_MS else 'no'}")


def main() -> None:
    """Type, wait, print."""
    if not BROWSER:
        raise SystemExit(
            "No Chromium here: install Debian's chromium, or name one in PRESERVECHECK_CHROMIUM."
        )
    program = Program().start()
    try:
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(
                executable_path=BROWSER,
                args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
            )
            page = browser.new_page(viewport=WIDTHS["desk"])
            page.goto(program.link)
            page.wait_for_selector("html[data-ready]")
            page.locator("#files").set_input_files(
                {"name": "bench.toml", "mimeType": "text/plain", "buffer": FORMULA.encode()}
            )
            page.wait_for_selector("#verdict .check")
            page.wait_for_timeout(1000)
            floor = page.evaluate(FLOOR, KEYS)
            middle = statistics.median(floor)
            user_errors("floor: the form posted to /there", floor, middle)
            page.evaluate(WATCH)
            for field in ("#phase-0-line-1-amount", "#measured-ph"):
                page.evaluate("window.taken = []")
                page.locator(field).focus()
                page.keyboard.press("End")
                for i in range(KEYS):
                    before = page.evaluate("window.taken.length")
                    page.keyboard.press("Backspace" if i % 2 else "5")
                    page.wait_for_function("n => window.taken.length > n", arg=before)
                    page.wait_for_timeout(BETWEEN_MS)
                user_errors(f"key in {field}", page.evaluate("window.taken"), middle)
            browser.close()
    finally:
        program.kill()


if __name__ == "__main__":
    main()
