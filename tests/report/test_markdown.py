"""The report as Markdown."""

import re

import pytest

from preservecheck.report import markdown, review
from tests.report.made import made_finding, made_report, microbe


def shown(report):
    """A report as Markdown."""
    return markdown.render([review.document(report)])


@pytest.mark.parametrize(
    ("text", "safe"),
    [
        ("a|b", "a\\|b"),
        ("*x* _y_", "\\*x\\* \\_y\\_"),
        ("<b>", "\\<b\\>"),
        ("[1]", "\\[1\\]"),
        ("two\nlines", "two lines"),
        ("a\\b", "a\\\\b"),
        ("`c` #d ~e", "\\`c\\` \\#d \\~e"),
        ("1. x & 2 % ± °C", "1. x & 2 % ± °C"),
    ],
)
def test_marks_are_escaped(text, safe):
    """Signs that Markdown reads as marks stand as themselves."""
    assert markdown.escaped(text) == safe


def test_a_bar_in_a_name_does_not_open_a_column():
    """Every row of a table has as many cells as its heading."""
    page = shown(made_report(made_finding(about="a|b", because="x | y"), name="N|M"))
    rows = [line for line in page.splitlines() if line.startswith("|")]
    widths = {len(re.findall(r"(?<!\\)\|", row)) for row in rows}
    assert rows
    assert widths == {6}  # verdict, about, because, figures, sources; no chance is known


def test_same_order_as_the_text():
    """Verdict and remedies come first, then evidence, challenge test, sources and the footer."""
    page = shown(
        made_report(
            microbe("Candida albicans", 0.3),
            made_finding(),
            cautions=("Wear gloves.",),
            remarks=("Taken as pure.",),
        )
    )
    order = [
        page.index(part)
        for part in (
            "# Test lotion",
            "**Verdict: warn, serious",
            "## What to do",
            "1. **serious** free-active: Candida albicans",
            "**Do:** Raise the dose.",
            "## Evidence",
            "### free-active",
            "### use-level",
            "## Taken for granted",
            "## Cautions",
            "## Challenge test",
            "## Not covered",
            "## Sources",
            "1. A handbook, page 7",
            "This is a screen",
            "a1" * 32,
        )
    ]
    assert order == sorted(order)


def test_several_reports_end_with_a_summary():
    """Several files share a page with a table of verdicts at its end."""
    page = markdown.render(review.documents([made_report(made_finding())], ["c.toml"]))
    assert page.endswith(
        "| pass | lotion.toml | 1 findings: 1 pass, 0 warn, 0 unknown |\n| unread | c.toml | "
        "could not be read |\n"
    )
