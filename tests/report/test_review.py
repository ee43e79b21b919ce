"""What a review says, and in which order."""

from dataclasses import replace

import pytest

from preservecheck.assess.advice import ChallengeTest
from preservecheck.report import review, words
from preservecheck.report.document import References, Sources
from preservecheck.verdict import Evidence, Figure, LabelStatement
from tests.report.made import made_finding, made_report, microbe

# the contract, in its order; remarks and own_rows are this program's additions
KEYS = [
    "format",
    "program",
    "tables_sha256",
    "formula_sha256",
    "date",
    "product",
    "verdict",
    "counts",
    "plan",
    "preservatives",
    "checks",
    "labels",
    "cautions",
    "challenge_test",
    "not_covered",
]
FINDING_KEYS = {
    "id",
    "about",
    "verdict",
    "serious",
    "chance",
    "due_to",
    "figures",
    "because",
    "do",
    "changes",
    "root",
    "settled",
    "rests_on",
    "sources",
}


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
    assert words.figure_text(figure) == text


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
    assert words.chance_text(chance) == text


def test_worst_comes_first():
    """Serious faults stand before warnings, these before unknowns, these before hints on what
    passes."""
    findings = [
        made_finding(verdict="pass", do="Keep it dry."),
        made_finding("weighing", verdict="unknown", do="Weigh."),
        made_finding("product-ph", verdict="warn", do="Move the pH."),
        made_finding("ionic", verdict="warn", serious=True, do="Take it out."),
    ]
    found = review.actions(made_report(*findings))
    assert [(a.word, a.remedy) for a in found] == [
        ("serious", "Take it out."),
        ("warn", "Move the pH."),
        ("unknown", "Weigh."),
        ("note", "Keep it dry."),
    ]


def test_pass_without_advice_asks_for_nothing():
    """A finding that passes and has nothing to say is not in the list of things to do."""
    assert review.actions(made_report(made_finding())) == []


def test_same_remedy_is_said_once():
    """Microbes with the same remedy are one entry, with the reason of the one least held."""
    (action,) = review.actions(
        made_report(microbe("Candida albicans", 0.3), microbe("Escherichia coli", 0.12))
    )
    assert action.title == "free-active: Candida albicans, Escherichia coli"
    assert action.reason == "The free amounts add up to 0.12 times what stops it."


def test_different_remedies_stay_apart():
    """Microbes whose remedies differ are not put together."""
    found = review.actions(
        made_report(
            microbe("Candida albicans", 0.3, "Lower the pH."), microbe("Escherichia coli", 0.3)
        )
    )
    assert [a.remedy for a in found] == ["Lower the pH.", "Raise the dose."]


def test_serious_and_slight_stay_apart():
    """A remedy that a serious and a slight fault share is not shown as slight."""
    found = review.actions(
        made_report(
            microbe("Candida albicans", 0.9, serious=False), microbe("Escherichia coli", 0.3)
        )
    )
    assert [a.word for a in found] == ["serious", "warn"]


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
    pending[2] = replace(pending[2], figures=(Figure("challenge_chance", None),))
    (action,) = review.actions(made_report(*pending))
    assert action.title == "ph-range, product-ph, free-active"


def test_finding_without_remedy_points_to_the_evidence():
    """A fault without advice is still in the list."""
    (action,) = review.actions(made_report(made_finding(verdict="warn")))
    assert action.remedy == "See the evidence below."


def test_sources_are_numbered_once():
    """The same source has one number, and runs of numbers are drawn together."""
    references = References()
    assert references.refer(["a", "b", "c"]) == "[1-3]"
    assert references.refer(["b", "d"]) == "[2, 4]"
    assert references.refer(["a", "b"]) == "[1, 2]"
    assert references.refer([]) == ""
    assert list(references.numbers) == ["a", "b", "c", "d"]


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
    references = References()
    assert review.statements(report, references) == [
        "EU, GB: Batch number. [1, 2]",
        "EU: Name it. [1]",
        "US: Without source.",
    ]
    assert list(references.numbers) == ["Law, Article 19", "Act, Article 19"]


def finding_texts(*findings):
    """What a review says of findings."""
    return [f for check in review.pieces(made_report(*findings)).checks for f in check.entries]


def test_own_row_is_seen():
    """A finding that rests on the user's own table is told apart."""
    own = made_finding(own=True)
    texts = finding_texts(own, made_finding("weighing"))
    assert [f.text.endswith("Rests on a row of your own.") for f in texts] == [True, False]


@pytest.mark.parametrize(
    ("finding", "said"),
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
def test_verdict_in_words(finding, said):
    """The verdict is said in words that tell what to do with the batch."""
    assert review.pieces(made_report(finding)).verdict.said == said


def test_active_table_holds_unknown_limits():
    """An active whose MIC is not known shows that in its cell."""
    report = made_report(microbe("Candida albicans", 0.5), microbe("Escherichia coli", 0))
    amounts, limits = review.pieces(report).checks[0].tables
    assert amounts.rows == [["Benzoic Acid", "0.4", "0.41", "50", "0", "1", "0.2"]]
    assert limits.heads == ["active", "Candida albicans", "Escherichia coli"]
    assert limits.rows == [["Benzoic Acid", "0.4", "not known"]]


def test_dry_product_needs_no_challenge_test():
    """Where no test is asked for, the report says so and keeps quiet about organisms."""
    report = made_report(made_finding())
    report = replace(report, challenge_test=ChallengeTest(needed=False, why=("too dry",)))
    (line,) = review.challenge_plan(report, References())
    assert line.startswith("Not asked for")


def test_doubt_is_put_down_to_its_inputs():
    """The inputs that a doubt comes from are named, the largest first."""
    finding = replace(made_finding(chance=0.6), due_to={"ph": 0.2, "mic": 0.8})
    assert words.doubt_text(finding) == "the MIC values 80 %, the pH reading 20 %"
    assert words.doubt_text(made_finding()) == ""


def test_unit_of_several_figures_is_said_once():
    """Figures of one unit share it; a single one has it beside it."""
    figures = (
        Figure("percent", 0.1, unit="%"),
        Figure("percent_min", 0.2, unit="%"),
        Figure("temperature_c", 40.0, tolerance=2.0, unit="°C"),
        Figure("hurdles", None),
    )
    assert (
        words.figures_text(figures)
        == "amount 0.1; at least 0.2 (%); hottest 40 ± 2 °C; further hurdles not known"
    )


def test_limit_that_does_not_exist_is_not_shown():
    """An unknown figure is shown where the verdict is unknown; beside another verdict it is an open
    end."""
    figures = (Figure("ph", 4.0), Figure("ph_max", None))
    known, both = (
        review.common_figures(made_finding(verdict=verdict, figures=figures))
        for verdict in ("warn", "unknown")
    )
    assert known == figures[:1]
    assert both == figures


def test_sources_close_the_review():
    """Whatever is shown, the sources stand last, each once."""
    made = made_report(made_finding(), made_finding("ionic"), made_finding(sources=("B",)))
    assert review.document(made).sections[-1].blocks == [Sources(["A handbook, page 7", "B"])]


# ---- data ----


def test_keys_of_the_contract():
    """Every key that the contract names is there, in its order."""
    data = made_report(made_finding()).to_json()
    assert [k for k in data if k in KEYS] == KEYS
    assert set(data) - set(KEYS) == {"remarks", "own_rows"}
    assert data["format"] == 1
    assert data["counts"] == {"pass": 1, "warn": 0, "unknown": 0, "serious": 0}


def test_keys_of_a_finding():
    """A finding has the contract's keys, and each figure value, tolerance and unit."""
    (finding,) = made_report(made_finding()).to_json()["checks"]
    assert set(finding) == FINDING_KEYS
    assert finding["figures"] == {"percent": {"value": 1.0, "tolerance": None, "unit": "%"}}
    assert finding["do"] is None


def test_active_says_where_it_comes_from():
    """The origin of an active stands under ``from``."""
    (system,) = made_report(made_finding()).to_json()["preservatives"]
    assert system["actives"] == [
        {"inci": "Phenoxyethanol", "percent": 1.0, "from": "phenoxyethanol"}
    ]
