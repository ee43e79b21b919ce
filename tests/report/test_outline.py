"""What every report says, and in which order."""

from dataclasses import replace

import pytest

from preservecheck.report import outline
from preservecheck.verdict import Evidence, Figure, LabelStatement
from tests.report.made import made_finding, made_report, microbe


@pytest.mark.parametrize(
    ("figure", "text"),
    [
        (Figure("ph", 4.4, tolerance=0.1), "4.4 ± 0.1"),
        (
            Figure("ph", 0.98993, tolerance=0.003),
            "0.990 ± 0.003",
        ),  # as many places as the tolerance has
        (Figure("ph", 3.8122, tolerance=0.0005), "3.81 ± 0.0005"),  # never more than three digits
        (Figure("ph", 38.0, tolerance=2.0, unit="°C"), "38 ± 2 °C"),
        (Figure("ph", 0.0, tolerance=0.1), "0.0 ± 0.1"),
        (Figure("ph", 28.657774, unit="meq/kg"), "28.7 meq/kg"),
        (Figure("ph", -0.0, unit="meq/kg"), "0 meq/kg"),
        (Figure("ph", None, unit="°C"), "not known °C"),
        (Figure("ph", 1234.5, unit="g"), "1234 g"),
    ],
)
def test_figure_in_words(figure, text):
    """A figure has its unit and tolerance and at most three digits behind which nothing is
    pretended."""
    assert outline.figure_text(figure) == text


@pytest.mark.parametrize(
    ("chance", "text"),
    [
        (None, ""),
        (0.0, "0 %"),
        (0.004, "below 1 %"),
        (0.5, "50 %"),
        (0.9951, "above 99 %"),
        (1.0, "100 %"),
    ],
)
def test_chance_in_words(chance, text):
    """A chance is only called 0 or 100 % where no draw at all did otherwise."""
    assert outline.chance_text(chance) == text


def test_worst_comes_first():
    """Serious faults stand before warnings, these before unknowns, these before hints on what
    passes."""
    findings = [
        made_finding(verdict="pass", do="Keep it dry."),
        made_finding("weighing", verdict="unknown", do="Weigh."),
        made_finding("product-ph", verdict="warn", do="Move the pH."),
        made_finding("ionic", verdict="warn", serious=True, do="Take it out."),
    ]
    found = outline.actions(made_report(*findings))
    assert [(a.kind, a.do) for a in found] == [
        ("serious", "Take it out."),
        ("warn", "Move the pH."),
        ("unknown", "Weigh."),
        ("note", "Keep it dry."),
    ]


def test_pass_without_advice_asks_for_nothing():
    """A finding that passes and has nothing to say is not in the list of things to do."""
    assert outline.actions(made_report(made_finding())) == []


def test_same_remedy_is_said_once():
    """Microbes with the same remedy are one entry that gives the span of their sums."""
    (action,) = outline.actions(
        made_report(microbe("Candida albicans", 0.3), microbe("Escherichia coli", 0.12))
    )
    assert action.title == "free-active: Candida albicans, Escherichia coli"
    assert (
        action.because
        == "The free amounts add up to 0.12 to 0.3 times what stops them; 1 is needed."
    )


def test_different_remedies_stay_apart():
    """Microbes whose remedies differ are not put together."""
    found = outline.actions(
        made_report(
            microbe("Candida albicans", 0.3, "Lower the pH."), microbe("Escherichia coli", 0.3)
        )
    )
    assert [a.do for a in found] == ["Lower the pH.", "Raise the dose."]


def test_serious_and_slight_stay_apart():
    """A remedy that a serious and a slight fault share is not shown as slight."""
    found = outline.actions(
        made_report(
            microbe("Candida albicans", 0.9, serious=False), microbe("Escherichia coli", 0.3)
        )
    )
    assert [a.kind for a in found] == ["serious", "warn"]


def test_remedy_of_several_checks():
    """Checks that wait for the same reading are one entry that names them all."""
    pending = [
        made_finding(c, a, "unknown", do="Measure the pH.")
        for c, a in (
            ("ph-range", "phenoxyethanol"),
            ("product-ph", "formula"),
            ("free-active", "Candida albicans"),
        )
    ]
    pending[2] = replace(pending[2], figures=(Figure("sum_of_ratios", None),))
    (action,) = outline.actions(made_report(*pending))
    assert action.title == "ph-range, product-ph, free-active"


def test_finding_without_remedy_points_to_the_evidence():
    """A fault without advice is still in the list."""
    (action,) = outline.actions(made_report(made_finding(verdict="warn")))
    assert action.do == "See the evidence below."


@pytest.mark.parametrize(
    ("text", "short"),
    [
        ("Too low. The rest is detail.", "Too low."),
        (
            "Counted as in Ph. Eur. 5.1.3 today.",
            "Counted as in Ph.",
        ),  # cut early is harmless, cut late is long
        ("a" * 100 + " " + "b" * 100, "a" * 100 + " …"),
        # 130 letters and a sign fit into 170, and are more than half of it; 30 are not
        ("a" * 130 + "; " + "b" * 20 + " " + "c" * 100, "a" * 130 + " …"),
        ("a" * 30 + "; " + "b" * 100 + " " + "c" * 100, "a" * 30 + "; " + "b" * 100 + " …"),
    ],
)
def test_short_reason(text, short):
    """The list shows the first sentence; where it is long, cut at a semicolon or else at a word."""
    assert outline.shortened(text) == short


def test_sources_are_numbered_once():
    """The same source has one number, and runs of numbers are drawn together."""
    sources = outline.Sources()
    assert sources.refer(["a", "b", "c"]) == "[1-3]"
    assert sources.refer(["b", "d"]) == "[2, 4]"
    assert sources.refer(["a", "b"]) == "[1, 2]"
    assert sources.refer([]) == ""
    assert list(sources.numbered()) == [(1, "a"), (2, "b"), (3, "c"), (4, "d")]


def test_statement_of_two_markets_is_one():
    """Markets that want the same words on the pack share a line with both sources."""
    report = made_report(
        made_finding(),
        labels=(
            LabelStatement("EU", "Batch number.", None, Evidence(said="Law, Article 19")),
            LabelStatement("GB", "Batch number.", None, Evidence(said="Act, Article 19")),
            LabelStatement("EU", "Name it.", None, Evidence(said="Law, Article 19")),
            LabelStatement("US", "Without source.", None, Evidence()),
        ),
    )
    sources = outline.Sources()
    assert outline.statements(report, sources) == [
        "EU, GB: Batch number. [1, 2]",
        "EU: Name it. [1]",
        "US: Without source.",
    ]
    assert [s for _, s in sources.numbered()] == ["Law, Article 19", "Act, Article 19"]


@pytest.mark.parametrize(
    ("finding", "words"),
    [
        (made_finding(), "pass: every check came out well"),
        (
            made_finding(verdict="unknown"),
            "unknown: a figure is missing, and missing is not passed",
        ),
        (made_finding(verdict="warn"), "warn: see to what follows before you fill this batch"),
        (
            made_finding(verdict="warn", serious=True),
            "warn, serious: do not fill this batch as it stands",
        ),
    ],
)
def test_verdict_in_words(finding, words):
    """The verdict is said in words that tell what to do with the batch."""
    assert outline.verdict_of(made_report(finding)) == words


def test_active_table_holds_unknown_limits():
    """An active whose MIC is not known shows that in its cell."""
    microbes, (row,) = outline.active_rows(
        [microbe("Candida albicans", 0.5), microbe("Escherichia coli", 0)]
    )
    assert microbes == ["Candida albicans", "Escherichia coli"]
    assert row.limits == ("0.4", "not known")
    assert (row.total, row.working, row.free) == ("0.4", "50", "0.2")


def test_dry_product_needs_no_challenge_test():
    """Where no test is asked for, the report says so and keeps quiet about organisms."""
    report = made_report(made_finding())
    report = replace(report, challenge_test=replace(report.challenge_test, needed=False))
    (line,) = outline.challenge_lines(report)
    assert line.startswith("Not asked for")


def test_doubt_is_put_down_to_its_inputs():
    """The inputs that a doubt comes from are named, the largest first."""
    finding = replace(made_finding(chance=0.6), due_to={"ph": 0.2, "mic": 0.8})
    assert outline.doubt_text(finding) == "the MIC values 80 %, the pH reading 20 %"
    assert outline.doubt_text(made_finding()) == ""


def test_unit_of_several_figures_is_said_once():
    """Figures of one unit share it; a single one has it beside it."""
    figures = (
        Figure("percent", 0.1, unit="%"),
        Figure("percent_min", 0.2, unit="%"),
        Figure("temperature_c", 40.0, tolerance=2.0, unit="°C"),
        Figure("hurdles", None),
    )
    assert (
        outline.figures_text(figures)
        == "amount 0.1; at least 0.2 (%); hottest 40 ± 2 °C; further hurdles not known"
    )


def test_limit_that_does_not_exist_is_not_shown():
    """An unknown figure is shown where the verdict is unknown; beside another verdict it is an open
    end."""
    figures = (Figure("ph", 4.0), Figure("ph_max", None))
    known, both = (
        outline.common_figures(made_finding(verdict=verdict, figures=figures))
        for verdict in ("warn", "unknown")
    )
    assert known == figures[:1]
    assert both == figures
