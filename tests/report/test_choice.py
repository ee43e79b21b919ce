"""The ranking as text, Markdown and JSON: layout on options made by hand, so that no test hangs on
the tables."""

import datetime as dt
import json

import pytest

from preservecheck.formula.edit import SetPh
from preservecheck.ranking.result import Choice, Option, PairOption, Partner, Weakest
from preservecheck.ranking.standing import Place
from preservecheck.report import choice as report
from preservecheck.report import markdown
from preservecheck.report import text as plain
from preservecheck.report.formats import json_text

FIGURES = {
    "id": "phenoxyethanol",
    "name": "Phenoxyethanol",
    "outcome": "fits",
    "standing": "usual",
    "percent": 0.85,
    "percent_low": 0.712345,
    "percent_high": 1.0,
    "ph": 5.5,
    "ph_low": 3.0,
    "ph_high": 10.0,
    "add_below_c": 45.0,
    "phase": "cool-down",
    "grams": 4.25,
    "scale_error_percent": 2.352941,
    "changes": (),
    "partner": None,
    "counts": {"pass": 14, "warn": 1, "serious": 0, "unknown": 2},
    "weakest": Weakest("Staphylococcus aureus", sum_of_ratios=1.234, challenge_chance=0.83),
    "chance": 0.873,
    "why": "usual in leave-in milk or cream",
    "own": False,
}
BESIDE = {"place": Place("usual")}
CHANGED = {
    "id": "sodium-benzoate",
    "outcome": "fits-after-change",
    "ph": 4.9,
    "changes": (SetPh(4.9),),
    "said": ("lower the pH from 5.5 to 4.9", "pair it with 0.9 % phenoxyethanol"),
    "why": "possible here; lower the pH from 5.5 to 4.9; pair it with 0.9 % phenoxyethanol",
    "partner": Partner("phenoxyethanol", 0.9),
}
FAILED = {
    "id": "mci-mi",
    "outcome": "does-not-fit",
    "why": "legal-limit: EU, Annex V/39: not allowed in this product.",
    "chance": None,
}


def option(**changes):
    """An option; every figure can be set."""
    return Option(**(FIGURES | BESIDE | changes))


def ranking(*options, **changes):
    """A ranking of some options."""
    figures = {
        "program": "preservecheck 9.9",
        "tables_sha256": "a" * 64,
        "formula_sha256": "b" * 64,
        "date": dt.date(2026, 11, 25),
        "name": "Oat | cream",
        "ph": 5.5,
        "markets": ("EU", "GB"),
        "order": "Fits before the rest.",
        "kind": "leave-in-milk",
        "narrowed": (),
        "systems": options,
        "ranks": tuple((s.id, n) for n, s in enumerate(options, 1)),
    }
    return Choice(**(figures | changes))


EVERY = ranking(option(), option(**CHANGED), option(**FAILED))


def shown(choice, **layout):
    """A ranking as text."""
    return plain.render([report.document(choice)], **layout)


def marked(choice):
    """A ranking as Markdown."""
    return markdown.render([report.document(choice)])


def text(*options, **changes):
    """The text report as one line of words."""
    return " ".join(shown(ranking(*options, **changes), width=400).split())


class TestText:
    """The ranking for a terminal."""

    def test_heads_and_numbers(self):
        """What works in ranked order, then what does not, numbered through."""
        sections = report.document(EVERY).sections[:2]
        assert [x.title for x in sections] == ["In order (2)", "Does not fit (1)"]
        assert [x[:2] for section in sections for x in section.blocks[0].rows] == [
            ["1", "phenoxyethanol"],
            ["2", "sodium-benzoate"],
            ["3", "mci-mi"],
        ]

    def test_empty_group_is_left_out(self):
        """A group without systems has no heading."""
        assert "DOES NOT FIT" not in shown(ranking(option()))

    def test_needs_none(self):
        """A formula that needs none is told so, and nothing else."""
        page = text(needs_none="It holds no water, so nothing grows in it.")
        assert "Needs none. It holds no water" in page
        assert "Order" not in page
        assert "To go on" not in page

    def test_own_system(self):
        """The formula's own system is named with its rank, and marked in the list."""
        page = text(option(now=True), now=(("phenoxyethanol", 1),))
        assert "In the formula now: phenoxyethanol has rank 1." in page
        assert "phenoxyethanol (in it now)" in page

    def test_pairs(self):
        """The best pairs that work stand in a table of their own."""
        weakest = Weakest("Candida albicans", 2.5, 0.94)
        pair = PairOption(
            Partner("phenoxyethanol", 0.9),
            Partner("sodium-benzoate", 0.4),
            "fits",
            weakest,
            FIGURES["counts"],
            "usual pair",
        )
        page = text(option(), pairs=(pair,))
        assert "BEST PAIRS" in page
        assert "phenoxyethanol + sodium-benzoate 0.9 % + 0.4 % fits Candida albicans 94 %" in page

    def test_figures(self):
        """Dose, grams, the scale, the span of doses and pH, the temperature, the margin and the
        chance."""
        page = text(option())
        for said in (
            "0.85 % = 4.25 g",
            "The scale may be off by 2.4 %; effective from 0.712 to 1 %.",
            "Goes in below 45 °C (113 °F), phase cool-down.",
            "3 to 10 Staphylococcus aureus 83 % 87 %",
            "Its chance of passing is too close to count on.",
            "17 findings: 14 pass, 1 warn, 2 unknown",
        ):
            assert said in page

    def test_change(self):
        """What moved a system up or down stands below it, with its changes."""
        assert "Fits: usual in leave-in milk or cream." in text(option())
        assert "Fits after a change: possible here; lower the pH from 5.5 to 4.9; pair it with" in (
            text(option(**CHANGED))
        )

    def test_dose_for_another_ph(self):
        """A dose for another pH says so."""
        page = text(option(**CHANGED))
        assert "The scale may be off by 2.4 %; at pH 4.9 effective from 0.712 to 1 %." in page

    def test_remarks(self):
        """What is to be said of the formula stands above the ranking."""
        page = text(option(), remarks=("Mend this first.",))
        assert page.index("Mend this first.") < page.index("IN ORDER (1)")
        assert "Mend this first." in marked(ranking(option(), remarks=("Mend this first.",)))

    def test_a_close_call(self):
        """Below 90 in 100 the chance is called close."""
        assert "too close" not in text(option(chance=0.9))
        assert "too close" in text(option(chance=0.89))

    def test_reason(self):
        """What does not fit says why, and no dose."""
        page = text(option(**FAILED))
        assert "legal-limit: EU, Annex V/39: not allowed in this product." in page
        assert "0.85 %" not in page

    def test_nothing_fits(self):
        """Where nothing fits, the page says so and names no first."""
        page = text(option(**FAILED))
        assert "Nothing fits as it stands." in page
        assert "To go on with the first" not in page

    def test_closing(self):
        """The last words name what to write into the formula, the partner too."""
        assert "write 0.85 % phenoxyethanol into the formula" in text(option())
        assert "write 0.85 % sodium-benzoate and 0.9 % phenoxyethanol into the formula" in text(
            option(**CHANGED)
        )

    def test_screen(self):
        """The page says that it is no proof, and whose tables it used."""
        page = text(option())
        assert "only a challenge test" in page
        assert "preservecheck 9.9, 2026-11-25 tables aaaaaaaaaaaa, formula bbbbbbbbbbbb" in page

    @pytest.mark.parametrize(
        ("changes", "said"),
        [
            (
                {"percent_low": None, "percent_high": None},
                "at no dose that is allowed is every microbe held by it alone",
            ),
            ({"ph_low": None, "ph_high": None}, "No pH is known at which it works here alone."),
            (
                {"weakest": Weakest(microbe="Candida albicans", sum_of_ratios=None)},
                "Candida albicans unknown",
            ),
        ],
    )
    def test_unknown_figures(self, changes, said):
        """A figure that is not known is said to be so in words; no 'nan', no 'None'."""
        page = text(option(**changes))
        assert said in page
        assert "nan" not in page
        assert "None" not in page

    def test_without_batch(self):
        """Without a batch there are no grams and no word on the scale."""
        page = text(option(grams=None, scale_error_percent=None))
        assert "0.85 % 3 to 10" in page
        assert "scale" not in page

    def test_own_row(self):
        """A system of the user's own is marked."""
        assert "phenoxyethanol (your own row)" in text(option(own=True))
        assert "(your own row)" not in text(option())

    def test_title(self):
        """The first line names the formula, the pH, the markets and what narrowed the choice."""
        page = text(option(), narrowed=("without Benzyl Alcohol", "markets JP"), ph=None)
        assert page.startswith(
            "Which preservative? Preservatives for Oat | cream: 1 systems, leave-in-milk, pH not measured, EU, GB; without Benzyl "
            "Alcohol; markets JP."
        )

    @pytest.mark.parametrize("width", [60, 80, 100])
    def test_width(self, width):
        """No line is wider than the terminal."""
        assert max(map(len, shown(EVERY, width=width).splitlines())) <= width


class TestMarkdown:
    """The ranking as Markdown."""

    def test_tables(self):
        """A table for each group, a row for each system, as many cells in a row as in its head."""
        lines = marked(EVERY).splitlines()
        rows = [x for x in lines if x.startswith("|")]
        assert (
            sum(
                "phenoxyethanol |" in x or "sodium-benzoate |" in x or "mci-mi |" in x for x in rows
            )
            == 3
        )
        widths = [x.replace(r"\|", "").count("|") for x in rows]
        assert sorted(set(widths)) == [4, 8]

    def test_signs_are_escaped(self):
        """A bar in the formula's name breaks no table."""
        assert r"Oat \| cream" in marked(EVERY)

    def test_same_facts(self):
        """Doses, changes and reasons of the text stand in it too."""
        page = marked(EVERY)
        for said in (
            "0.85 % = 4.25 g",
            "lower the pH from 5.5 to 4.9",
            "Annex V/39",
            "83 %",
        ):
            assert said in page


class TestJson:
    """The ranking for other programs."""

    def test_keys(self):
        """The contract's keys head it, and each system has all its figures."""
        data = json.loads(json_text(EVERY.to_json()))
        assert list(data)[:4] == ["format", "program", "tables_sha256", "formula_sha256"]
        assert data["order"] == "Fits before the rest."
        assert [s["outcome"] for s in data["systems"]] == [
            "fits",
            "fits-after-change",
            "does-not-fit",
        ]
        assert data["systems"][0] | {"weakest": None} == {
            k: list(v) if isinstance(v, tuple) else v for k, v in FIGURES.items()
        } | {"weakest": None, "rank": 1}
        assert data["systems"][1]["changes"] == [{"set": "measured.ph", "to": 4.9}]
        assert data["systems"][1]["partner"] == {"id": "phenoxyethanol", "percent": 0.9}
        assert data["systems"][0]["weakest"] == {
            "microbe": "Staphylococcus aureus",
            "sum_of_ratios": 1.234,
            "challenge_chance": 0.83,
        }

    def test_unknown_is_null(self):
        """What is not known is null."""
        data = json.loads(json_text(ranking(option(percent_low=None, chance=None)).to_json()))
        assert data["systems"][0]["percent_low"] is None
        assert data["systems"][0]["chance"] is None
