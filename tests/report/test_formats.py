"""The one table of formats: every result in each of them."""

import json

import pytest

from preservecheck.errors import PreservecheckError
from preservecheck.report.document import (
    Action,
    Actions,
    Blanks,
    Bullets,
    Document,
    Findings,
    FindingText,
    Pairs,
    Paragraph,
    Plots,
    Rule,
    Section,
    Sources,
    Table,
    Verdict,
    Working,
)
from preservecheck.report.formats import ENDINGS, JSON, RENDERERS, json_text, render
from tests.report.pages import check_page

# a block of each kind, with the words that it must show
BLOCKS = (
    (Paragraph("Alpha.", "alarm"), ["Alpha."]),
    (Bullets(["Beta.", "Gamma."], ticks=True), ["Beta.", "Gamma."]),
    (Pairs([("Delta", "one"), ("Epsilon", None)]), ["Delta", "one", "Epsilon"]),
    (Blanks([("Zeta", "B7"), ("Eta", None)]), ["Zeta", "B7", "Eta"]),
    (Table(["name", "dose"], [["Theta", "0.5"]], below=[["Iota."]]), ["Theta", "0.5", "Iota."]),
    (Working("Kappa", ["1 + 1 = 2"]), ["Kappa", "1 + 1 = 2"]),
    (Rule("Lambda?", "mu"), ["Lambda?", "mu"]),
    (Verdict("warn", "warn", "look again", "2 findings"), ["warn: look again", "2 findings"]),
    (Actions([Action("warn", "nu", "Xi.", "Omicron.")]), ["nu", "Xi.", "Omicron."]),
    (Findings("pi", [FindingText("pass", "rho", "Sigma.")]), ["pi", "pass", "rho", "Sigma."]),
    (Sources(["Tau, page 7"]), ["Tau, page 7"]),
)
EVERY = Document(
    "Title",
    [Paragraph("Above it.")],
    [Section("Heading", [block for block, _ in BLOCKS]), Section("Empty", [Paragraph("")])],
    ["The foot."],
)


@pytest.mark.parametrize("form", RENDERERS)
def test_every_block_in_every_format(form):
    """No format leaves out a block, a title, a heading or the foot; an empty section is left out."""
    page = render(form, lambda: EVERY, dict)
    for word in ["Title", "The foot.", "Above it.", *(w for _, words in BLOCKS for w in words)]:
        assert word in page
    assert "HEADING" in page.upper()
    assert "Empty" not in page


def test_page_is_sound():
    """The page of every block is valid HTML."""
    check_page(render("html", lambda: EVERY, dict))


def test_charts_are_made_where_they_are_shown():
    """A chart costs time; text shows none and makes none."""
    made = []
    document = Document("t", [Plots(lambda: made.append("made") or ())])
    render("text", lambda: document, dict)
    assert made == []
    render("html", lambda: document, dict)
    assert made == ["made"]


def test_unknown_format_is_an_error():
    """A format that is not there is refused with those that are."""
    with pytest.raises(PreservecheckError, match="text, markdown, html or json"):
        render("pdf", lambda: EVERY, dict)


def test_json_is_the_data():
    """JSON makes no document."""
    assert json.loads(render(JSON, lambda: 1 / 0, lambda: {"a": 1})) == {"a": 1}


@pytest.mark.parametrize("value", [0.1 + 0.2, 1 / 3, 5e-324, None])
def test_figures_are_in_full(value):
    """A figure comes back as the very number that it was, and an unknown one as null."""
    assert json.loads(json_text({"value": value}))["value"] == value


def test_signs_stand_as_themselves():
    """Letters beyond ASCII are not escaped."""
    assert "± 2 °C" in json_text(["40 ± 2 °C"])


def test_each_format_has_an_ending():
    """A file of each format has a name of its own."""
    assert set(ENDINGS) == {*RENDERERS, JSON}
    assert len(set(ENDINGS.values())) == len(ENDINGS)
