"""Three formulas of our own as whole reports in all forms; open the files beside this one to look
at them."""

import datetime as dt
import re
from pathlib import Path

import pytest
from syrupy.extensions.single_file import SingleFileSnapshotExtension, WriteMode

from preservecheck import review
from preservecheck.report import json, markdown, text

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


class JsonFile(TextFile):
    """A snapshot to be opened as JSON."""

    file_extension = "json"


def report_on(name):
    """The report on one of the examples, as of a fixed day."""
    return review(EXAMPLES / f"{name}.toml", today=TODAY)


def steady(page):
    """A page without what changes with every edit of a table or of the version."""
    page = re.sub(r"\b[0-9a-f]{64}\b", "0" * 64, page)
    page = re.sub(r"(tables|formula) [0-9a-f]{12}\b", r"\1 000000000000", page)
    return re.sub(r"preservecheck \d+\.\d+\.\d+", "preservecheck 0.0.0", page)


@pytest.mark.parametrize("name", NAMES)
def test_text(name, snapshot):
    """The text report of an example is the one that was looked at."""
    assert steady(text.render(report_on(name))) == snapshot(extension_class=TextFile)


@pytest.mark.parametrize("name", NAMES)
def test_markdown(name, snapshot):
    """The Markdown report of an example is the one that was looked at."""
    assert steady(markdown.render(report_on(name))) == snapshot(extension_class=MarkdownFile)


@pytest.mark.parametrize("name", NAMES)
def test_json(name, snapshot):
    """The JSON report of an example is the one that was looked at."""
    assert steady(json.render(report_on(name))) == snapshot(extension_class=JsonFile)


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
    assert unknown >= {"ph-range", "free-active", "product-ph", "heat-limit", "weighing"}
    assert not any(
        f.verdict == "pass"
        for f in unmeasured.checks
        if f.id in ("ph-range", "product-ph", "heat-limit")
    )


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("width", [80, 100])
def test_lines_fit(name, width):
    """No line of a text report is wider than asked."""
    assert max(map(len, text.render(report_on(name), width=width).splitlines())) <= width


@pytest.mark.parametrize("name", NAMES)
def test_every_reference_has_its_source(name):
    """Every number in brackets stands in the source list, and no source stands there for
    nothing."""
    page = text.render(report_on(name))
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
    plain = " ".join(text.render(report).split())
    marked = markdown.render(report)
    for finding in report.checks:
        assert finding.because in plain
        assert markdown.escaped(finding.because) in marked
        if finding.do:
            assert finding.do in plain
            assert markdown.escaped(finding.do) in marked


def test_same_formula_same_report():
    """A report repeats exactly."""
    assert json.render(report_on(NAMES[1])) == json.render(report_on(NAMES[1]))
