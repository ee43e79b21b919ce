"""Afterwards, in a real browser: what is pasted is judged, plotted and kept."""

from __future__ import annotations

import json
import re

import pytest
from playwright.sync_api import expect

from tests.page.browser import PATIENCE_MS, check_looks, violations
from tests.page.test_results_view import COURSES, counts

pytestmark = pytest.mark.browser
expect.set_options(timeout=PATIENCE_MS)
LAST = ("500000", "50000", "50000", "50000")


def paste(page, field, text):
    """Put a text on the clipboard and press the keys that paste it."""
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.evaluate("text => navigator.clipboard.writeText(text)", text)
    page.locator(field).focus()
    page.keyboard.press("Control+V")


def test_counts_are_pasted_judged_and_kept(maker, program):
    """Cells of a spreadsheet, pasted: the verdict and the courses come by themselves, and survive a
    reload.

    Escherichia coli goes down by log10(500000 / 50000) = 1 where 3 log are asked for, so that the
    set fails.
    """
    page = maker(path="/after")
    page.locator("#after-standard").select_option(label="ISO 11930")
    paste(page, "#after-counts", counts("\t", {"Escherichia coli": LAST}))
    stamp, result = page.locator("#counts-result .stamp .word"), page.locator("#counts-result")
    expect(stamp).to_have_text("fails: the product is not protected")
    # five courses, each named in the picture
    for name in COURSES:
        expect(result.locator("svg")).to_contain_text(name)
    assert violations(page) == []
    # the laboratory sends other counts
    page.locator("#after-counts").fill(counts(";"))
    expect(stamp).to_have_text("A: every organism meets the target criterion")
    page.reload()
    expect(stamp).to_have_text("A: every organism meets the target criterion")
    expect(page.locator("#after-counts")).to_have_value(counts(";"))
    with page.expect_download() as saving:
        page.locator("#counts-result").get_by_role("button", name="Save as .json").click()
    assert json.loads(saving.value.path().read_text(encoding="utf-8"))["verdict"] == "A"
    # another tab has nothing of it
    other = page.context.new_page()
    other.goto(program.origin + "/after")
    expect(other.locator("#counts-result .blank-sheet")).to_be_visible()
    expect(other.locator("#after-counts")).to_have_value("")


def test_fault_leads_to_its_line(maker):
    """By keyboard alone: the message is a link, and what it speaks of is selected in the field."""
    page = maker("phone", path="/after")
    page.locator("#after-counts").fill(counts().replace("albicans,7,", "albicans,x,"))
    expect(page.locator("#counts-result .faults li")).to_have_count(1)
    expect(page.locator("#after-counts")).to_have_attribute("aria-invalid", "true")
    assert violations(page) == []
    page.locator("#counts-result .faults a").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#after-counts")).to_be_focused()
    assert page.evaluate("getSelection().toString()") == "Candida albicans,x,500"
    page.keyboard.type("Candida albicans,7,500")
    page.locator("#after-standard").select_option(label="ISO 11930")
    expect(page.locator("#counts-result .stamp")).to_be_visible()
    expect(page.locator("#after-counts")).not_to_have_attribute("aria-invalid", "true")


def test_examples_with_the_formula(maker, program):
    """One click each, judged against the formula of the first view; nothing serious, and none
    scrolls sideways."""
    page = maker()
    page.get_by_role("button", name="Show an example").click()
    expect(page.locator("#verdict .stamp")).to_be_visible()
    page.goto(program.origin + "/after")
    for part in ("counts", "ph"):
        page.locator(f"[value='example {part}']").click()
        expect(page.locator(f"#{part}-result .stamp")).to_be_visible()
        expect(page.locator(f"#{part}-result svg")).to_be_visible()
        expect(page.locator(f"[value='example {part}']")).to_be_hidden()
    expect(page.locator("#ph-result .stamp")).to_contain_text(
        "40 °C (104 °F): the pH would leave the window on"
    )
    expect(page.locator("#ph-result")).to_contain_text("Window: pH")
    check_looks(page)


def test_file_is_picked(maker, tmp_path):
    """It stands in the field and is judged at once; one that cannot be read leaves what stands
    there."""
    page = maker(path="/after")
    good, bad = tmp_path / "c.csv", tmp_path / "c.pdf"
    good.write_text("standard,ISO 11930\n" + counts(), encoding="utf-8")
    bad.write_bytes(b"%PDF")
    page.locator("#file-counts").set_input_files(good)
    expect(page.locator("#counts-result .stamp")).to_contain_text("every organism meets")
    page.locator("#file-counts").set_input_files(bad)
    expect(page.locator("#counts-result .faults")).to_contain_text(".csv file or an .xlsx workbook")
    assert page.locator("#after-counts").input_value() == good.read_text(encoding="utf-8")
    # the browser reports each refused answer; that one is meant
    maker.faults[:] = [f for f in maker.faults if "422" not in f]


def test_without_scripting(maker):
    """A form that posts: the example, the verdict and its picture come as a whole page, and what is
    pasted stays."""
    page = maker(path="/after", java_script_enabled=False)
    page.locator("[value='example counts']").click()
    expect(page.locator("#counts-result .stamp")).to_contain_text("A: every organism")
    expect(page.locator("#counts-result svg")).to_be_visible()
    assert re.search(r"#counts-place$", page.url)
    page.locator("#after-ph").fill("date,ph\n2026-09-01,15")
    page.locator("[value='judge ph']").click()
    expect(page.locator("#ph-result .faults")).to_contain_text("Line 2: pH is 15")
    expect(page.locator("#counts-result .stamp")).to_be_visible()
