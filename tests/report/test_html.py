"""The HTML report: valid, self-contained, escaped, and with the same findings as the other
forms."""

import datetime as dt
import re
from pathlib import Path

import pytest

from preservecheck import review
from preservecheck.report import html, words
from preservecheck.report import review as built
from preservecheck.verdict import Evidence, LabelStatement
from tests.helpers import make_formula
from tests.report.made import made_finding, made_report
from tests.report.pages import all_of, check_page, printed_pages, text_of

EXAMPLES = Path(__file__).parents[1] / "examples"
NAMES = ("passing-leave-in", "failing-gel", "unmeasured-shampoo")
TODAY = dt.date(2026, 11, 25)
STYLE = (Path(html.__file__).parent / "templates" / "style.css").read_text(encoding="utf-8")
HOSTILE = "<script>alert('x')</script>\"><img src=x onerror=alert(1)>{{ 7 * 7 }}&amp;"


def shown(report):
    """A report as a web page."""
    return html.render([built.document(report)])


@pytest.fixture(scope="module")
def pages():
    """Reports and pages of the examples."""
    reports = {n: review(EXAMPLES / f"{n}.toml", today=TODAY) for n in NAMES}
    return {n: (r, shown(r)) for n, r in reports.items()}


@pytest.mark.parametrize("name", NAMES)
def test_page_is_sound(name, pages):
    """The page is valid HTML, fetches nothing, and has title, headings and table headers."""
    check_page(pages[name][1])


@pytest.mark.parametrize("name", NAMES)
def test_all_that_the_report_says(name, pages):
    """Verdict, each reason, each remedy, label, caution, gap and source stand on the page."""
    report, page = pages[name]
    said = text_of(check_page(page))
    wanted = [
        words.verdict_of(report, report.counts).said,
        words.counted(report.counts),
        words.SCREEN,
        *report.cautions,
        *report.not_covered,
    ]
    mended = {key for step in report.plan.steps for key in step.mends}
    wanted += [f.because for f in report.checks] + [step.do for step in report.plan.steps]
    wanted += [
        f.do
        for f in report.checks
        if f.do and f.verdict != "pass" and (f.id, f.about) not in mended
    ]
    wanted += [s for f in report.checks for s in f.sources]
    for text in wanted:
        assert " ".join(text.split()) in said


def test_same_page_each_time(pages):
    """The same report gives the same page."""
    report, page = pages["failing-gel"]
    assert shown(report) == page


def test_verdict_is_a_word(pages):
    """Every verdict is a word with a sign; colour only helps."""
    tree = check_page(pages["failing-gel"][1])
    signs = [text_of(e) for e in all_of(tree, "span") if (e.get("class") or "").startswith("word ")]
    assert set(signs[1:]) >= {"pass", "warn", "serious"}
    for word in ("pass", "warn", "serious", "unknown"):
        assert re.search(rf"\.{word}::before {{ content: \"\S", STYLE)


@pytest.mark.parametrize("name", NAMES)
def test_plots_are_on_the_page(name, pages):
    """Each plot has a caption, and its words can be opened."""
    tree = check_page(pages[name][1])
    figures = all_of(tree, "figure")
    assert len(figures) >= 2
    for figure in figures:
        assert text_of(all_of(figure, "figcaption")[0])
        assert len(text_of(all_of(figure, "details")[0])) > 40


def test_report_without_formula_has_no_plots():
    """A report that was put together by hand is shown without plots."""
    assert "<svg" not in shown(made_report(made_finding()))


def test_hostile_texts_are_harmless():
    """A script in any text of a report is shown, not run; a template mark is not filled in."""
    finding = made_finding(
        about=HOSTILE, because=HOSTILE, do=HOSTILE, verdict="warn", sources=(HOSTILE,)
    )
    texts = {n: (HOSTILE,) for n in ("remarks", "own_rows", "cautions", "not_covered")}
    label = LabelStatement(HOSTILE, HOSTILE, HOSTILE, Evidence(said=HOSTILE))
    page = shown(made_report(finding, name=HOSTILE, labels=(label,), **texts))
    tree = check_page(page)
    assert not all_of(tree, "img")
    assert text_of(all_of(tree, "h1")[0]) == HOSTILE
    assert "{{ 7 * 7 }}" in page


def test_hostile_formula_is_harmless():
    """A formula whose every name is a script gives a page without one, plots included."""
    own = {HOSTILE: {"role": "powder", "water_fraction": 0}}
    formula = make_formula(
        phases=[{"name": HOSTILE, "heated_to": "70 °C", "items": [
            {"ingredient": "Water", "rest": True}, {"ingredient": HOSTILE, "percent": 1},
            {"preservative": "phenoxyethanol", "percent": 0.8}]}],
        own=own, name=HOSTILE, ph=5.0,
    )  # fmt: skip
    tree = check_page(shown(review(formula, today=TODAY)))
    assert not all_of(tree, "img")
    assert text_of(all_of(tree, "h1")[0]) == HOSTILE


def test_signs_that_a_page_may_not_hold():
    """Control signs become question marks."""
    assert "\x1b" not in shown(made_report(made_finding(because="a\x1b[31m\x00b")))


def test_several_reports_in_one_page(pages):
    """Several reports share one valid page with a summary of all files, also those that could not
    be read."""
    page = html.render(built.documents([pages[n][0] for n in NAMES], ["lost.toml"]))
    tree = check_page(page)
    rows = [text_of(d) for d in all_of(tree, "div") if d.get("class") == "finding"]
    assert rows[-1] == "unread lost.toml: could not be read"
    assert "passing-leave-in.toml" in rows[-4]
    names = [pages[n][0].product.name for n in NAMES]
    assert [text_of(h) for h in all_of(tree, "h1")] == [*names, "Summary"]


# ---- contrast ----


def colours(block):
    """Custom colours of one block of the style sheet."""
    return {n: v for n, v in re.findall(r"--([a-z0-9-]+): (#[0-9a-f]{3,6})\b", block)}


def luminance(colour):
    """Relative luminance, WCAG 2.2: the linear parts of red, green and blue, weighed 0.2126,
    0.7152, 0.0722."""
    digits = colour[1:] if len(colour) == 7 else "".join(c * 2 for c in colour[1:])
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a, b):
    """Contrast ratio, WCAG 2.2: (lighter + 0.05) / (darker + 0.05)."""
    low, high = sorted((luminance(a), luminance(b)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_rule_itself():
    """Black on white is 21, the largest ratio there is."""
    assert contrast("#000", "#fff") == pytest.approx(21)


LIGHT = colours(STYLE[: STYLE.index("@media")])
DARK = LIGHT | colours(STYLE[STYLE.index("@media screen") : STYLE.index("* {")])
PRINT = LIGHT | colours(STYLE[STYLE.index("@media print") :])


@pytest.mark.parametrize("palette", [LIGHT, DARK, PRINT], ids=["light", "dark", "print"])
@pytest.mark.parametrize("ground", ["paper", "sheet", "tint"])
@pytest.mark.parametrize("ink", ["ink", "muted", "accent", "good", "warn", "bad", "open"])
def test_letters_stand_out(palette, ground, ink):
    """Letters of every colour on every ground have a contrast of 4.5 and more."""
    assert contrast(palette[ink], palette[ground]) >= 4.5


@pytest.mark.parametrize("palette", [LIGHT, DARK, PRINT], ids=["light", "dark", "print"])
@pytest.mark.parametrize("line", ["band", *(f"line-{i}" for i in range(1, 7))])
def test_lines_stand_out(palette, line):
    """Lines of a plot have a contrast of 3 and more (WCAG 1.4.11), on screen and paper."""
    assert contrast(palette[line], palette["sheet"]) >= 3


@pytest.mark.browser
def test_prints(pages, tmp_path):
    """The page prints on a handful of sheets."""
    count, _ = printed_pages(pages["failing-gel"][1], tmp_path)
    assert 2 <= count <= 12
