"""The report as plain text."""

from dataclasses import replace

import pytest

from preservecheck.report import review, text
from preservecheck.report.document import Document, Pairs, Section, Table
from preservecheck.verdict import Figure
from tests.report.made import made_finding, made_report, microbe

BAD = made_finding(
    "use-level",
    "phenoxyethanol",
    "warn",
    serious=True,
    because="0.1 % is below 0.5 to 1 %.",
    do="Use at least 0.5 %.",
    chance=0.25,
    figures=(Figure("percent", 0.1, unit="%"), Figure("percent_min", 0.5, unit="%")),
)


def shown(report, **layout):
    """A report as text."""
    return text.render([review.document(report)], **layout)


MICROBES = (
    "Pseudomonas aeruginosa",
    "Escherichia coli",
    "Staphylococcus aureus",
    "Candida albicans",
    "Aspergillus brasiliensis",
)
LONG = made_report(
    *(microbe(m, 0.3) for m in MICROBES),
    BAD,
    made_finding(),
    name="Word " * 40,
    cautions=("x" * 300, "Wear gloves."),
)


@pytest.mark.parametrize("width", [40, 60, 80, 100])
def test_no_line_is_wider_than_asked(width):
    """Everything is wrapped, also a name, a table and a word without a blank."""
    assert max(map(len, shown(LONG, width=width).splitlines())) <= width


def test_widest_line_is_used():
    """A wider page holds fewer lines."""
    assert len(shown(LONG, width=100).splitlines()) < len(shown(LONG, width=60).splitlines())


def test_verdict_and_remedy_stand_above_the_evidence():
    """Whoever reads only the top learns the verdict and what to do."""
    page = shown(made_report(BAD, made_finding()))
    order = [
        page.index(part)
        for part in (
            "Test lotion",
            "VERDICT  warn, serious: do not fill",
            "2 findings: 1 pass, 1 warn (1 serious), 0 unknown",
            "WHAT TO DO",
            "1. serious use-level: phenoxyethanol",
            "-> Use at least 0.5 %.",
            "EVIDENCE",
            "\nCHALLENGE TEST",
            "\nNOT COVERED",
            "\nSOURCES\n",
            "This is a screen, not a proof",
            "tables " + "a1" * 32,
            "formula " + "b2" * 32,
        )
    ]
    assert order == sorted(order)


def test_nothing_to_do():
    """Where everything passes the report says that nothing has to change, and still asks for the
    challenge test."""
    page = shown(made_report(made_finding()))
    assert "Nothing has to change." in page
    assert "challenge test" in page


def test_evidence_has_figures_limits_and_sources():
    """A fault shows its figure, its limit, the chance of passing and the number of its source."""
    page = shown(made_report(BAD), width=100)
    assert "phenoxyethanol: 0.1 % is below 0.5 to 1 %. Chance of passing 25 %. [1]" in page
    assert "amount 0.1; at least 0.5 (%)" in page
    assert "[1] A handbook, page 7" in page


def test_tables_of_the_actives():
    """The free amount of each active and its MIC for each microbe stand in tables, once."""
    lines = shown(made_report(*(microbe(m, 0.5) for m in MICROBES)), width=100).splitlines()
    cells = [line.split()[-6:] for line in lines if line.startswith("    Benzoic")]
    assert cells == [["0.4", "0.41", "50", "0", "1", "0.2"], ["Acid", *["0.4"] * 5]]


# ---- tables ----

TABLE = Table(
    ["system", "dose"],
    [["a-rather-long-name", "0.5"], ["b", "12"]],
    numbers=(1,),
    below=[["It fits."], []],
)


def table(made, width):
    """The lines of a table alone."""
    page = text.render([Document("t", [], [Section("s", [made])])], width=width)
    return page.splitlines()[3:]


def test_table_stands_in_columns():
    """Numbers stand to the right, what is said of a row below it."""
    assert table(TABLE, 80) == [
        "  system              dose",
        "  ------------------  ----",
        "  a-rather-long-name   0.5",
        "      It fits.",
        "  b                     12",
    ]


def test_table_breaks_names_at_hyphens():
    """Where the page is narrow, a name goes on in the next line, broken at its hyphens."""
    long = Table(["system", "why"], [["a-rather-long-name", "word " * 12]])
    assert table(long, 40)[2:4] == [
        "  a-rather-long-name  word word word",
        "                      word word word",
    ]


def test_table_that_does_not_fit_is_written_out():
    """Columns that are never broken and do not fit give a paragraph for each row."""
    wide = Table(["name", "one", "two"], [["a", "x" * 20, "y" * 20]], key=(1, 2))
    assert table(wide, 40) == ["  a: one xxxxxxxxxxxxxxxxxxxx; two", "    yyyyyyyyyyyyyyyyyyyy"]


def test_headings_keep_units():
    """A heading is in capitals, apart from pH, units and signs."""
    page = text.render([Document("t", [], [Section("1. water pH (388.0 g)", [TABLE])])])
    assert "1. WATER pH (388.0 g)" in page


def test_names_line_up():
    """Pairs have their names in one column."""
    page = text.render([Document("t", [Pairs([("a", "one"), ("bcd", "two")])])])
    assert page.splitlines()[2:4] == ["a    one", "bcd  two"]


def test_colour_is_on_the_verdict_word_alone():
    """Colour adds nothing but marks around verdict words: without them the page is the same."""
    report = made_report(
        BAD, made_finding(), made_finding("weighing", verdict="unknown", do="Weigh.")
    )
    coloured = shown(report, colour=True)
    plain = shown(report)
    assert "\033" not in plain
    marks = [part.split("\033")[0] for part in coloured.split("m")[1:] if "\033[0" in part]
    assert "\033[1;31mwarn, serious\033[0m: do not fill" in coloured
    for code in ("\033[0m", "\033[1;31m", "\033[1;32m", "\033[1;33m", "\033[1;34m"):
        coloured = coloured.replace(code, "")
    assert coloured == plain
    assert marks


def test_steering_signs_do_not_reach_the_terminal():
    """A name that holds a terminal command is shown with question marks."""
    page = shown(made_report(made_finding(because="bad \033[2J\x9b name"), name="x\x07y"))
    assert "\033" not in page
    assert "\x9b" not in page
    assert "x?y" in page


def test_own_row_is_marked():
    """A figure that rests on the user's own table is marked where it stands, and listed."""
    page = shown(
        made_report(
            made_finding(sources=("your own tables: phenoxyethanol",), own=True),
            own_rows=("systems: phenoxyethanol",),
        )
    )
    assert "Rests on a row of your own." in " ".join(page.split())
    assert "ROWS OF YOUR OWN THAT THIS RESTS ON\n  - systems: phenoxyethanol" in page


def test_several_reports_end_with_a_summary():
    """Several files: one report after the other between lines, then a line for each file, the
    unread ones too."""
    reports = [
        made_report(made_finding(), name="First"),
        made_report(BAD, name="Second", path="b.toml"),
    ]
    page = text.render(review.documents(reports, ["c.toml"]))
    assert page.count("=" * 80 + "\n") == 2
    assert page.endswith(
        "Summary\n\n"
        "  pass     lotion.toml: 1 findings: 1 pass, 0 warn, 0 unknown\n"
        "  serious  b.toml: 1 findings: 0 pass, 1 warn (1 serious), 0 unknown\n"
        "  unread   c.toml: could not be read\n"
    )


def test_sources_start_anew_in_each_report():
    """The second of several reports has a source list of its own that begins with 1."""
    reports = [made_report(made_finding(sources=(f"{n} book",))) for n in ("First", "Second")]
    page = text.render(review.documents(reports))
    assert "[1] First book" in page
    assert "[1] Second book" in page


def test_chance_is_said_once():
    """Where the reason gives the chance already, it is not given again."""
    page = shown(made_report(replace(made_finding(chance=0.9), chance_told=True)))
    assert "Chance of passing" not in page
    assert "Chance of passing 90 %." in shown(
        made_report(made_finding(because="It passes.", chance=0.9))
    )
