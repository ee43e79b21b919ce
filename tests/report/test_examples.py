"""Three formulas of our own as whole reports; two stand beside this file to be looked at."""

import datetime as dt
import re
from pathlib import Path

import pytest
from syrupy.extensions.single_file import SingleFileSnapshotExtension, WriteMode

from preservecheck import review
from preservecheck.report import markdown, text
from preservecheck.report.review import document

EXAMPLES = Path(__file__).parents[1] / "examples"
NAMES = ("passing-leave-in", "failing-gel", "unmeasured-shampoo")
TODAY = dt.date(2026, 11, 25)


class TextFile(SingleFileSnapshotExtension):
    """A snapshot that is a text file of its own."""

    _write_mode = WriteMode.TEXT
    file_extension = "txt"


class MarkdownFile(TextFile):
    """A snapshot to be opened as Markdown."""

    file_extension = "md"


def report_on(name):
    """The report on one of the examples, as of a fixed day."""
    return review(EXAMPLES / f"{name}.toml", today=TODAY)


def plain(report, **layout):
    """A report as text."""
    return text.render([document(report)], **layout)


def marked(report):
    """A report as Markdown."""
    return markdown.render([document(report)])


def steady(page):
    """A page without what changes with every edit of a table or of the version."""
    page = re.sub(r"\b[0-9a-f]{64}\b", "0" * 64, page)
    page = re.sub(r"(tables|formula) [0-9a-f]{12}\b", r"\1 000000000000", page)
    return re.sub(r"preservecheck \d+\.\d+\.\d+", "preservecheck 0.0.0", page)


def test_looks_of_the_text(snapshot):
    """The text report of an example is the one that was looked at."""
    assert steady(plain(report_on("failing-gel"))) == snapshot(extension_class=TextFile)


def test_looks_of_the_markdown(snapshot):
    """The Markdown report of an example is the one that was looked at."""
    assert steady(marked(report_on("unmeasured-shampoo"))) == snapshot(extension_class=MarkdownFile)


def test_verdicts():
    """The examples show what their names promise."""
    passing, failing, unmeasured = map(report_on, NAMES)
    assert (passing.verdict, passing.counts["unknown"]) == ("pass", 0)
    assert failing.serious
    assert {f.id for f in failing.checks if f.serious} >= {
        "ph-range",
        "free-active",
        "heat-limit",
        "legal-limit",
        "weighing",
    }
    unknown = {f.id for f in unmeasured.checks if f.verdict == "unknown"}
    assert unknown >= {"ph-range", "free-active", "product-ph", "weighing"}
    assert not any(
        f.verdict == "pass" for f in unmeasured.checks if f.id in ("ph-range", "product-ph")
    )


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("width", [80, 100])
def test_lines_fit(name, width):
    """No line of a text report is wider than asked."""
    assert max(map(len, plain(report_on(name), width=width).splitlines())) <= width


@pytest.mark.parametrize("name", NAMES)
def test_every_reference_has_its_source(name):
    """Every number in brackets stands in the source list, and no source stands there for
    nothing."""
    page = plain(report_on(name))
    body, _, sources = page.partition("\nSOURCES\n")
    listed = set(map(int, re.findall(r"^ +\[(\d+)\] ", sources, re.MULTILINE)))
    used = set()
    for group in re.findall(r"\[(\d[\d, \n-]*)\]", body):
        for span in group.split(","):
            first, _, last = span.strip().partition("-")
            used |= set(range(int(first), int(last or first) + 1))
    assert used == listed == set(range(1, len(listed) + 1))


@pytest.mark.parametrize("name", NAMES)
def test_every_finding_is_in_every_form(name):
    """No form leaves out a reason or a remedy."""
    report = report_on(name)
    words = " ".join(plain(report).split())
    page = marked(report)
    for finding in report.checks:
        assert finding.because in words
        assert markdown.escaped(finding.because) in page
    # what a step of the plan mends is told by the step
    mended = {key for step in report.plan.steps for key in step.mends}
    remedies = [step.do for step in report.plan.steps]
    remedies += [f.do for f in report.checks if f.do and (f.id, f.about) not in mended]
    for remedy in remedies:
        assert remedy in words
        assert markdown.escaped(remedy) in page


def test_same_formula_same_report():
    """A report repeats exactly."""
    assert report_on(NAMES[1]).to_json() == report_on(NAMES[1]).to_json()
