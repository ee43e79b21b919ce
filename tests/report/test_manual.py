"""The manual pages of the checks."""

import pytest

from preservecheck.checks import BY_ID
from preservecheck.errors import PreservecheckError
from preservecheck.report import manual, text
from preservecheck.report.text import flowed


def shown(document, width=80):
    """A manual page as text."""
    return text.render([document], width=width)


@pytest.mark.parametrize("check", BY_ID)
@pytest.mark.parametrize("width", [80, 100])
def test_page_fits_and_holds_the_docstring(check, width):
    """A manual page holds every word of the module's docstring and is not wider than asked."""
    page = shown(manual.document(check), width)
    assert max(map(len, page.splitlines())) <= width
    words = BY_ID[check].manual.replace("``", "").split()
    assert page.split()[1 : 1 + len(words)] == words


def test_list_names_all_checks_in_order():
    """The list has all checks in the order of a report."""
    (pairs,) = manual.overview().lead
    assert [name for name, _ in pairs.rows] == list(BY_ID)
    assert all(question.endswith("?") for _, question in pairs.rows)


def test_constants_have_their_sources():
    """A figure of the rule is printed with the comment that says where it comes from."""
    page = shown(manual.document("weighing"), 100)
    assert "serious percent: 10 (fixed for this program, no outside source)" in page
    assert "warn percent: 8 (common practice, no source)" in page


def test_constants_on_one_line_share_their_source():
    """A source above several figures holds for each of them."""
    found = {
        name: (value, source) for name, value, source in manual.constants_of(BY_ID["free-active"])
    }
    assert found["likely"] == ("0.8", "fixed for this program, no outside source")
    assert found["unlikely"] == ("0.4", "fixed for this program, no outside source")


def test_uncertain_values_are_named():
    """A page says which readings and table values can change the verdict within their
    tolerances."""
    assert "passing): the pH reading." in " ".join(shown(manual.document("ph-range"), 80).split())


@pytest.mark.parametrize(
    ("written", "meant"),
    [("phrange", "ph-range"), ("free active", "free-active"), ("levels", "use-level")],
)
def test_unknown_check_gets_the_nearest(written, meant):
    """A name that is no check is answered with the nearest ones."""
    with pytest.raises(PreservecheckError, match=f"did you mean {meant}"):
        shown(manual.document(written), 80)


@pytest.mark.parametrize(
    ("old", "name"),
    [
        ("dose", "use-level"),
        ("pairs", "incompatibilities"),
        ("coverage", "spectrum"),
        ("burden", "nutrient-load"),
    ],
)
def test_old_name_is_answered_with_the_new_one(old, name):
    """A check that went by another name is found by it, and called as it is called now."""
    assert manual.document(old) == manual.document(name)
    assert manual.document(old).title == name


@pytest.mark.parametrize("written", ["HEAT-LIMIT", "heat_limit", " heat-limit "])
def test_spelling_is_forgiven(written):
    """Case, blanks and an underscore do not matter."""
    assert shown(manual.document(written)).startswith("heat-limit\n\n")


def test_layout_of_a_docstring():
    """Paragraphs are wrapped anew; a list keeps its columns, and its entries their continuation
    lines."""
    docstring = (
        "One line that is rather long, in fact,\nand goes on.\n\n    fault      one\n    warning  "
        "  two words here\n"
        "               three\n\nEnd."
    )
    assert flowed(docstring, 30) == [
        "One line that is rather long,",
        "in fact, and goes on.",
        "",
        "    fault      one",
        "    warning    two words here",
        "               three",
        "",
        "End.",
    ]


def test_page_as_data():
    """As data a page has the rule, the uncertain values and the constants apart."""
    found = manual.data("weighing")
    assert found["id"] == "weighing"
    assert {"name": "warn percent", "value": "8", "source": "common practice, no source"} in (
        found["constants"]
    )
