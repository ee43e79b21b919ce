"""What a maker does on the page, in a real browser."""

from __future__ import annotations

import re
import tomllib

import pytest
from playwright.sync_api import expect

from preservecheck.formula.load import load_formula
from preservecheck.formula.starter import (
    starter_sheets,
    starter_toml,
    workbook_bytes,
    write_starter,
)
from preservecheck.page.context import VIEWS
from preservecheck.plan.review import review
from preservecheck.reference.load import load_tables
from preservecheck.report import words as report_words
from tests.page.browser import PATIENCE_MS, Program, check_looks, tab_to, violations, write

pytestmark = pytest.mark.browser
expect.set_options(timeout=PATIENCE_MS)
STARTER = tomllib.loads(starter_toml())["product"]["name"]


def example(page):
    """One click, and the example stands there judged."""
    page.get_by_role("button", name="Show an example").click()
    expect(page.locator("#verdict .stamp")).to_be_visible()


def said(page):
    """The words of the verdict, as the report's stamp has them."""
    return page.locator("#verdict .stamp .word")


def whole_words(path):
    """What the command line says of a file."""
    report = review(path, load_tables())
    return report_words.verdict_of(report, report.counts).said


# ---- from scratch ----


def test_formula_from_scratch_by_keyboard(maker):
    """Typed with the keyboard alone: a pH at which the preservative does not work is told, mended,
    and passes.

    The effective range of benzyl alcohol with dehydroacetic acid ends at pH 6 (tables/systems.csv).
    """
    page = maker()
    system = next(s for s in load_tables().systems if s.id == "benzyl-alcohol-dehydroacetic-acid")
    assert system.ph_max == 6
    page.locator("body").press("Tab")
    for field, text in (
        ("product-name", "Hair milk"),
        ("product-use", "is rinsed"),
        ("product-type", "conditioner"),
        ("product-batch", "500"),
        ("product-markets", " "),
        ("measured-ph", "7"),
        ("phase-0-line-1-ingredient", "Glycerin"),
        ("phase-0-line-1-amount", "3"),
        ("phase-1-added_at", "100"),
    ):
        tab_to(page, field)
        write(page, text)
    page.keyboard.press("Tab")
    write(page, "°F")
    tab_to(page, "phase-1-line-0-preservative")
    write(page, "Benzyl Alcohol 87")
    tab_to(page, "phase-1-line-0-amount")
    page.keyboard.type("0.8")
    # 100 - 3 - 0.8 = 96.2
    expect(page.locator("#whole")).to_have_text("Aqua: 96.2 %")
    expect(page.locator("#phase-0-line-0-amount")).to_have_attribute("placeholder", "96.2")
    expect(page.locator("#check-ph-range .word").first).to_have_text("serious")
    expect(page.locator(".todo")).to_contain_text("ph-range")
    # (100 - 32) / 1.8 = 37.8
    expect(page.locator("#verdict")).to_contain_text("38 °C")

    page.locator("body").press("Tab")
    tab_to(page, "measured-ph")
    page.keyboard.press("Control+A")
    page.keyboard.type("4.6")
    expect(page.locator("#check-ph-range .word").first).to_have_text("pass")
    expect(page.locator(".todo")).not_to_contain_text("ph-range")


def test_lines_are_added_moved_and_removed_by_keyboard(maker):
    """The focus stays where the maker works."""
    page = maker()
    page.get_by_role("button", name="Add an ingredient").first.press("Enter")
    expect(page.locator("#phase-0-line-2-ingredient")).to_be_focused()
    page.keyboard.type("Panthenol")
    page.keyboard.press("Tab")
    page.get_by_role("button", name="Move Panthenol up").press("Enter")
    expect(page.locator("#phase-0-line-1-ingredient")).to_have_value("Panthenol")
    expect(page.get_by_role("button", name="Move Panthenol up")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#phase-0-line-0-ingredient")).to_have_value("Panthenol")
    page.get_by_role("button", name="Remove Panthenol").press("Enter")
    expect(page.locator("#phase-0-line-0-ingredient")).to_have_value("Aqua")
    expect(page.locator("#phase-0-line-0-ingredient")).to_be_focused()


def test_focus_stays_while_the_editor_is_drawn_anew(maker):
    """A name is finished with the tab key, and the maker types on at once in fields and boxes of
    every kind."""
    page = maker()
    for after in (
        "phase-0-line-1-amount",
        "product-batch_unit",
        "phase-0-line-1-rest",
        "phase-0-line-1-more",
    ):
        page.locator("#phase-0-line-1-ingredient").fill(f"unknown {after}")
        named = page.locator(f'[name="{after}"]').or_(page.locator(f"#{after} > summary"))
        named.focus()
        expect(page.locator(".near")).to_contain_text(f"unknown {after}")
        expect(named).to_be_focused()


def test_enter_in_a_field_changes_nothing(maker):
    """It asks for the review, and nothing else."""
    page = maker()
    example(page)
    lines = page.locator(".line").count()
    page.locator("#phase-0-line-1-amount").press("Enter")
    expect(page.locator("#verdict .stamp")).to_be_visible()
    assert page.locator(".line").count() == lines


def test_unknown_name_is_answered_with_names_to_choose(maker):
    """One click writes the name, and the next field is ready."""
    page = maker()
    example(page)
    page.locator("#phase-0-line-1-ingredient").fill("Glicerin")
    expect(page.locator(".faults")).to_contain_text("Glicerin")
    page.locator("#phase-0-line-1-amount").focus()
    expect(page.locator(".near")).to_be_visible()
    expect(page.locator("#phase-0-line-1-ingredient")).to_have_attribute("aria-invalid", "true")
    expect(page.locator("#phase-0-line-1-ingredient")).to_have_accessible_description(
        re.compile("not a known ingred")
    )
    page.get_by_role("button", name="Glycerin", exact=True).click()
    expect(page.locator("#phase-0-line-1-ingredient")).to_have_value("Glycerin")
    expect(page.locator("#phase-0-line-1-amount")).to_be_focused()
    expect(page.locator("#verdict .stamp")).to_be_visible()


def test_blend_is_opened_in_place(maker):
    """A name that is not known becomes a blend with its parts; the parts must come to 100 %, as 60
    + 40 do."""
    page = maker()
    example(page)
    page.locator("#phase-0-line-1-ingredient").fill("my syrup")
    page.locator("#phase-0-line-1-ingredient").press("Tab")
    page.get_by_role("button", name="It is a blend: open it").click()
    expect(page.get_by_label("Part 1 of my syrup", exact=True)).to_be_focused()
    page.keyboard.type("Glycerin")
    page.keyboard.press("Tab")
    page.keyboard.type("60")
    page.get_by_label("Part 2 of my syrup", exact=True).fill("Aqua")
    page.get_by_label("Percent of part 2 of my syrup").fill("30")
    expect(page.locator(".faults")).to_contain_text("adds up to 90 %")
    page.get_by_label("Percent of part 2 of my syrup").fill("40")
    expect(page.locator("#verdict .stamp")).to_be_visible()


def test_blend_that_is_renamed_keeps_its_line(maker):
    """The line goes by the new name too, so that nothing is unknown."""
    page = maker()
    example(page)
    page.get_by_role("textbox", name="Name of the blend").first.fill("soft flakes")
    page.get_by_role("textbox", name="Name of the blend").first.press("Tab")
    expect(page.locator("#phase-0-line-2-ingredient")).to_have_value("soft flakes")
    expect(page.locator("#verdict .stamp")).to_be_visible()
    expect(page.get_by_text("What is in soft flakes, in percent of it")).to_be_visible()


def test_line_that_filled_up_gets_its_amount_back(maker):
    """A tick on the wrong line loses nothing of the recipe."""
    page = maker()
    example(page)
    amount = page.locator("#phase-0-line-1-amount")
    fills = page.get_by_label("fills up the rest")
    fills.nth(1).check()
    expect(amount).to_have_value("")
    expect(fills.nth(0)).not_to_be_checked()
    expect(page.locator("#verdict .faults")).to_be_visible()
    fills.nth(0).check()
    expect(amount).to_have_value("2.5")
    expect(page.locator("#verdict .stamp")).to_be_visible()


def test_what_is_removed_can_be_had_back(maker):
    """A phase goes with its lines, and comes back with them; the focus is never lost."""
    page = maker()
    example(page)
    page.get_by_role("button", name="Remove phase cool-down with its lines").click()
    expect(page.locator("#phase-1-line-1-amount")).to_have_count(0)
    undo = page.get_by_role("button", name="Undo: put it back")
    expect(undo).to_be_focused()
    expect(page.locator("#notice")).to_contain_text("Done: remove phase cool-down with its lines.")
    assert violations(page) == []
    undo.press("Enter")
    expect(page.locator("#phase-1-line-1-amount")).to_have_value("0.8")
    expect(undo).to_have_count(0)


def test_fault_leads_to_its_field(maker):
    """A click on a message puts the focus where it can be mended."""
    page = maker()
    example(page)
    page.locator("#measured-ph").fill("15")
    page.get_by_role("link", name="pH is 15; give a pH from 0 to 14").click()
    expect(page.locator("#measured-ph")).to_be_focused()


# ---- the verdict ----


def test_check_opens_to_plot_rule_and_sources(maker):
    """All of it comes when it is asked for, and follows the next change."""
    page = maker()
    example(page)
    check = page.locator("#check-ph-range")
    check.locator("summary").first.press("Enter")
    expect(check.locator("svg")).to_be_visible()
    expect(check.get_by_role("heading", name="Its sources")).to_be_visible()
    expect(check.locator(".rule")).to_contain_text("What is judged")
    page.locator("#measured-ph").fill("5")
    expect(check).to_contain_text("pH 5 ± 0.1")
    expect(check.locator("svg")).to_be_visible()


def test_sliders_say_what_would_happen_and_change_nothing(maker):
    """By keyboard: ten steps of 0.05 above pH 4.4 are 4.9; the formula keeps its pH."""
    page = maker()
    example(page)
    before = said(page).inner_text()
    slider = page.get_by_role("slider", name=re.compile("^pH"))
    slider.press("PageUp")
    expect(page.locator("output[for=try-ph]")).to_have_text("4.9")
    expect(page.locator("#tried")).to_contain_text("With pH 4.9")
    expect(page.locator("#measured-ph")).to_have_value("4.4")
    dose = page.get_by_role("slider", name=re.compile("^Dose of"))
    dose.press("ArrowDown")
    expect(page.locator("#tried")).to_contain_text("0.79 %")
    expect(page.locator("#phase-1-line-1-amount")).to_have_value("0.8")
    assert said(page).inner_text() == before
    page.get_by_role("button", name="Back to what is").click()
    expect(page.locator("#tried")).to_have_text("")
    expect(page.locator("output[for=try-ph]")).to_have_text("4.4")


def test_unmeasured_ph_is_tried_only_when_its_slider_moves(maker):
    """The slider stands somewhere, but nobody asked for that pH."""
    page = maker()
    example(page)
    page.locator("#measured-ph").fill("")
    expect(page.get_by_role("slider", name="pH (not measured)")).to_be_visible()
    page.get_by_role("slider", name=re.compile("^Dose of")).press("ArrowDown")
    expect(page.locator("#tried")).to_contain_text("0.79 %")
    expect(page.locator("#tried")).not_to_contain_text("pH 5")
    page.get_by_role("slider", name="pH (not measured)").press("ArrowDown")
    expect(page.locator("#tried")).to_contain_text("With pH 4.95")
    page.get_by_role("button", name="Back to what is").click()
    expect(page.locator("#tried")).to_have_text("")


# ---- files ----


def test_workbook_is_opened_and_saved(maker, tmp_path):
    """The verdict is that of the command line; what is saved in either form is the same formula."""
    tables = load_tables()
    path = tmp_path / "mine.xlsx"
    path.write_bytes(workbook_bytes(starter_sheets()))
    page = maker()
    page.locator("#files").set_input_files(path)
    expect(page.locator("#product-name")).to_have_value(STARTER)
    expect(said(page)).to_have_text(whole_words(path))
    opened = load_formula(path, tables).model_dump(exclude={"path", "sha256"})
    for ending in ("toml", "xlsx"):
        with page.expect_download() as download:
            page.get_by_role("button", name=f"Save as .{ending}").click()
        saved = tmp_path / f"saved.{ending}"
        download.value.save_as(saved)
        assert load_formula(saved, tables).model_dump(exclude={"path", "sha256"}) == opened
    assert page.url.endswith("/")


DROP = """async (files) => {
  const data = new DataTransfer();
  for (const [name, text] of files) data.items.add(new File([text], name));
  for (const kind of ["dragenter", "dragover", "drop"])
    document.getElementById("editor").dispatchEvent(
      new DragEvent(kind, { dataTransfer: data, bubbles: true, cancelable: true }));
}"""


def test_sheets_are_dropped_together(maker, tmp_path):
    """Several CSV sheets of one formula, let go over the page."""
    page = maker()
    paths = write_starter(tmp_path / "mine.csv")
    page.evaluate(DROP, [[p.name, p.read_text(encoding="utf-8")] for p in paths])
    expect(page.locator("#product-name")).to_have_value(STARTER)
    expect(page.locator("#verdict .stamp")).to_be_visible()


def test_file_that_cannot_be_read_leaves_what_is_typed(maker):
    """The reason is told."""
    page = maker()
    page.locator("#product-name").fill("mine")
    page.on("dialog", lambda d: d.accept())
    page.evaluate(DROP, [["a.toml", "format = "]])
    expect(page.locator("#notice")).to_contain_text("a.toml: not readable as TOML")
    expect(page.locator("#product-name")).to_have_value("mine")
    maker.faults[:] = [f for f in maker.faults if "422" not in f]  # the browser notes the refusal


# ---- nothing is lost ----


def test_formula_without_a_name_is_offered_again(maker, program):
    """A tab that was closed loses nothing."""
    page = maker()
    page.locator("#phase-0-line-1-ingredient").fill("Panthenol")
    again = page.context.new_page()
    page.close()
    again.goto(program.origin)
    again.get_by_role("button", name="Go on with the formula without a name").click()
    expect(again.locator("#phase-0-line-1-ingredient")).to_have_value("Panthenol")


def test_reload_keeps_all(maker):
    """Fields, lines that were added, and the verdict."""
    page = maker()
    example(page)
    page.get_by_role("button", name="Add an ingredient").first.click()
    page.locator("#phase-0-line-4-ingredient").fill("Panthenol")
    page.locator("#phase-0-line-4-amount").fill("1")
    page.reload()
    expect(page.locator("#phase-0-line-4-ingredient")).to_have_value("Panthenol")
    expect(page.locator("#phase-0-line-4-amount")).to_have_value("1")
    expect(page.locator("#verdict .stamp")).to_be_visible()


def test_two_tabs_do_not_disturb_each_other(maker, program):
    """Each keeps its own formula; a new tab offers to go on with one; a tab that was copied goes
    its own way."""
    one = maker()
    example(one)
    other = one.context.new_page()
    other.goto(program.origin)
    expect(other.locator("#product-name")).to_have_value("")
    expect(other.get_by_role("button", name=f"Go on with {STARTER}")).to_be_visible()
    other.locator("#product-name").fill("another")
    one.locator("#product-name").fill("the first")
    for page, name in ((one, "the first"), (other, "another")):
        page.reload()
        expect(page.locator("#product-name")).to_have_value(name)

    with one.context.expect_page() as opened:
        one.evaluate(
            "window.open('/')"
        )  # as "duplicate tab" does, it takes the tab's storage along
    copy = opened.value
    expect(copy.locator("#product-name")).to_have_value("the first")
    copy.locator("#product-name").fill("the copy")
    one.reload()
    expect(one.locator("#product-name")).to_have_value("the first")
    copy.reload()
    expect(copy.locator("#product-name")).to_have_value("the copy")


def test_program_goes_and_comes_back(chromium):
    """Typing goes on without it; started again on the same port, its new link brings the verdict
    back by itself."""
    program = Program().start()
    context = chromium.new_context()
    context.set_default_timeout(PATIENCE_MS)
    try:
        page = context.new_page()
        page.goto(program.link)
        example(page)
        program.kill()
        page.locator("#measured-ph").fill("7.5")
        banner = page.get_by_role("alert").filter(has_text="does not answer")
        expect(banner).to_be_visible()
        expect(page.locator("#verdict")).to_have_class(re.compile("stale"))
        page.locator("#product-name").fill("typed while it was away")
        program.start()
        expect(page.locator("#banner")).to_contain_text("Open the link that it printed")
        again = context.new_page()
        again.goto(program.link)
        expect(page.locator("#banner")).to_be_hidden()
        expect(page.locator("#verdict")).not_to_have_class(re.compile("stale"))
        expect(page.locator("#check-ph-range .word").first).to_have_text("serious")
        expect(page.locator("#product-name")).to_have_value("typed while it was away")
        page.reload()
        expect(page.locator("#product-name")).to_have_value("typed while it was away")
        expect(page.locator("#measured-ph")).to_have_value("7.5")
    finally:
        context.close()
        program.kill()


# ---- without scripting ----


def test_without_scripting(maker, tmp_path):
    """Plain forms: the example, a line more, the review, a slider, a check, a file, and saving."""
    page = maker(java_script_enabled=False)
    page.get_by_role("button", name="Show an example").click()
    expect(page.locator("#verdict .stamp")).to_be_visible()
    page.get_by_role("button", name="Add an ingredient").first.click()
    page.locator("#phase-0-line-4-ingredient").fill("Panthenol")
    page.locator("#phase-0-line-4-amount").fill("1")
    page.locator("#measured-ph").fill("7.5")
    page.get_by_role("button", name="Review this formula").click()
    expect(page.locator("#phase-0-line-4-ingredient")).to_have_value("Panthenol")
    expect(page.locator("#check-ph-range .word").first).to_have_text("serious")
    page.locator("#try-ph").fill("4.5")
    page.get_by_role("button", name="Try it").click()
    expect(page.locator("#tried")).to_contain_text("With pH 4.5")
    with page.expect_download() as download:
        page.get_by_role("button", name="Save as .toml").click()
    saved = tmp_path / "saved.toml"
    download.value.save_as(saved)
    assert load_formula(saved, load_tables()).measured.ph == 7.5
    page.locator("#check-ph-range summary").first.click()
    page.locator("#check-ph-range").get_by_role("button", name="Its plot and rule").click()
    expect(page.locator("#check-ph-range svg")).to_be_visible()
    expect(page.locator("#product-name")).to_have_value(STARTER)
    path = tmp_path / "mine.xlsx"
    path.write_bytes(workbook_bytes(starter_sheets()))
    page.locator("#files").set_input_files(path)
    page.get_by_role("button", name="Open it").click()
    expect(page.locator("#product-name")).to_have_value(STARTER)
    expect(said(page)).to_have_text(whole_words(path))


# ---- for everybody ----


def test_violations_are_found(maker):
    """The tool finds what is wrong with a page that names neither its language nor its picture."""
    page = maker()
    page.evaluate("document.documentElement.lang = ''; document.body.append(new Image())")
    assert {v.partition(":")[0] for v in violations(page)} == {"html-has-lang", "image-alt"}


@pytest.mark.parametrize("view", [name for _, name in VIEWS[1:]])
def test_other_views_are_accessible(maker, view):
    """As they open with the example: nothing serious or critical, and none scrolls sideways."""
    page = maker()
    example(page)
    page.get_by_role("navigation").get_by_role("button", name=view).click()
    expect(page.get_by_role("heading", level=1)).to_have_text(view)
    page.wait_for_load_state("networkidle")
    check_looks(page)


def test_formula_view_is_accessible(maker):
    """empty, judged with a check opened and a pH tried, and faulty: nothing serious; none scrolls
    sideways."""
    page = maker()
    check_looks(page)
    example(page)
    page.locator("#check-ph-range summary").first.click()
    expect(page.locator("#check-ph-range svg")).to_be_visible()
    page.get_by_role("slider", name=re.compile("^pH")).press("PageUp")
    expect(page.locator("#tried")).to_contain_text("With pH")
    check_looks(page)
    page.locator("#phase-0-line-1-ingredient").fill("Glicerin")
    page.locator("#measured-ph").fill("15")
    expect(page.locator(".faults li")).to_have_count(2)
    expect(page.locator(".near")).to_be_visible()
    check_looks(page)
