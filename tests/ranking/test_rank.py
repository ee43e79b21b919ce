"""``choose`` keeps its promises: what it says about a system is what ``review`` says of the changed
formula."""

from __future__ import annotations

import csv
import io
import json
import re
import sys
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from preservecheck.assess.uncertainty import drawn
from preservecheck.cli.main import app
from preservecheck.errors import PreservecheckError
from preservecheck.formula.load import load_formula
from preservecheck.formula.model import Formula
from preservecheck.plan.review import Report, review
from preservecheck.ranking.rank import choose
from preservecheck.ranking.result import Choice, Option
from preservecheck.reference.load import load_tables, tables_root
from preservecheck.report.choice import HEADS, cells
from tests.helpers import TODAY, formula_of, make_formula, make_raw, toml_text

EXAMPLES = Path(__file__).parents[1] / "examples"
# what must pass before a system is said to fit; law that no table covers may stay unknown
MUST_PASS = {"ph-range", "free-active", "solubility", "use-level", "heat-limit", "spectrum"}
CREAM = {
    "Sunflower oil": 4.0,
    "Cetyl alcohol": 3.0,
    "Behentrimonium methosulfate": 1.5,
    "Glycerin": 3.0,
}
WASH = {
    "Sodium laureth sulfate": 10.0,
    "Cocamidopropyl betaine": 3.0,
    "Sodium chloride": 1.0,
    "Xanthan gum": 0.5,
}
GEL = {"Xanthan gum": 0.8, "Glycerin": 5.0, "Panthenol": 1.0}
SMALL_BATCH = {"batch": "400 g", "scale_step": "0.1 g"}


def grams_raw():
    """A formula in grams without a rest line, its own preservative on a line of 4 g."""
    raw = make_raw(
        phases=[], ph=4.9, use="leave-on", type="leave-in", markets=["EU", "US"], scale_step="0.1 g"
    )
    cool = [
        {"preservative": "benzyl-alcohol-dehydroacetic-acid", "grams": 4.0},
        {"ingredient": "Panthenol", "grams": 5},
    ]
    heated = [{"ingredient": "Water", "grams": 433.3}, {"ingredient": "Glycerin", "grams": 14.7}]
    heated.append({"ingredient": "Sunflower oil", "grams": 22.1})
    raw["phase"] = [
        {"name": "heated", "heated_to": "75 °C", "items": heated},
        {"name": "cool", "added_at": "36 °C", "items": cool},
    ]
    return raw


def hot_raw():
    """A conditioner whose maker puts phenoxyethanol into the heated phase."""
    items = [
        {"ingredient": "Water", "rest": True},
        *({"ingredient": n, "percent": p} for n, p in CREAM.items()),
    ]
    items.append({"preservative": "phenoxyethanol", "percent": 0.9})
    return make_raw(
        phases=[{"name": "all in one", "heated_to": "75 °C", "items": items}], ph=4.6, **SMALL_BATCH
    )


# an own preservative goes in at its place; a formula without one gets a phase of its own
RAW: dict[str, dict[str, Any]] = {
    "leave-in with rest line": make_raw(
        CREAM,
        {"phenoxyethanol": 0.9},
        ph=4.8,
        use="leave-on",
        type="leave-in",
        markets=["EU", "GB"],
        **SMALL_BATCH,
    ),
    "no rest line": make_raw(
        {"Water": 92.3, "Glycerin": 7.0},
        {"sodium-benzoate": 0.7},
        water=None,
        ph=4.4,
        type="styling",
        use="leave-on",
    ),
    "grams": grams_raw(),
    "spray for the smallest": make_raw(
        {"Glycerin": 2.0},
        ph=5.0,
        use="leave-on",
        type="scalp",
        users="under-3",
        package="spray",
        markets=["EU", "GB"],
    ),
    "cold process": make_raw(
        GEL, {"potassium-sorbate": 0.3}, ph=5.2, added_at=None, use="leave-on", type="styling"
    ),
    "no pH": make_raw(CREAM, ph=None),
    "shampoo": make_raw(
        WASH, {"mci-mi": 0.09}, ph=5.5, type="shampoo", markets=["EU", "US", "CA", "JP", "ASEAN"]
    ),
    "hot": hot_raw(),
    "carried in": make_raw(
        {"oat extract": 5.0, "Hydroxyethylcellulose": 1.0},
        blends={"oat extract": {"Glycerin": 60, "Water": 38, "Phenoxyethanol": 2}},
        ph=5.6,
        ph_tolerance=0.3,
        markets=["JP"],
    ),
    "alkaline": make_raw({"Potassium cocoate": 15.0}, ph=9.6, type="shampoo"),
}
NAMES = sorted(RAW)


@lru_cache
def chosen(name: str) -> tuple[Formula, Choice]:
    """A formula and its ranking."""
    formula = formula_of(toml_text(RAW[name]))
    return formula, choose(formula, today=TODAY)


@pytest.fixture
def few_draws(monkeypatch):
    """Let ``review`` draw a few times only: hundreds of reports are made here and no chance is
    looked at."""
    monkeypatch.setattr(
        sys.modules["preservecheck.assess.findings"], "drawn", lambda case: drawn(case, draws=8)
    )


@lru_cache
def reports(name: str) -> list[tuple[Option, Report]]:
    """Each system that was put into the formula, and what ``review`` says of that very formula."""
    return [
        (s, review(s.formula, today=TODAY))
        for s in chosen(name)[1].systems
        if s.formula is not None
    ]


def smallest_chance(report: Report) -> float | None:
    """The smallest chance of a microbe that a report names."""
    chances = [f.value("challenge_chance") for f in report.checks if f.id == "free-active"]
    return min((c for c in chances if c is not None), default=None)


def as_raw(formula: Formula) -> dict[str, Any]:
    """A formula as a maker would write it into a file."""
    product = formula.product.model_dump(exclude={"batch_g", "scale_step_g"}, exclude_none=True)
    product |= {
        n: f"{v!r} g"
        for n, v in (
            ("batch", formula.product.batch_g),
            ("scale_step", formula.product.scale_step_g),
        )
        if v
    }
    measured = formula.measured.model_dump(exclude={"temperature_c"}, exclude_none=True)
    phases = []
    for phase in formula.phases:
        marks = (("heated_to", phase.heated_to_c), ("added_at", phase.added_at_c))
        items = [
            {line.kind: line.name}
            | ({"rest": True} if line.rest else {formula.amounts: line.amount})
            for line in phase.lines
        ]
        phases.append(
            {
                "name": phase.name,
                **{n: f"{c!r} °C" for n, c in marks if c is not None},
                "items": items,
            }
        )
    return {
        "format": 1,
        "product": product,
        "measured": measured,
        "phase": phases,
        "blend": formula.blends,
    }


# ---- the promise ----


@pytest.mark.usefixtures("few_draws")
@pytest.mark.parametrize("name", NAMES)
class TestPromise:
    """Every system, fitting or not, put through ``review`` as ``choose`` would have it."""

    def test_every_system_is_there(self, name):
        """All systems of the tables are in the ranking, once each."""
        assert sorted(s.id for s in chosen(name)[1].systems) == sorted(
            s.id for s in load_tables().systems
        )

    def test_counts(self, name):
        """As many findings pass, warn and are unknown as was said."""
        wrong = {s.id: (s.counts, r.counts) for s, r in reports(name) if s.counts != r.counts}
        assert wrong == {}

    def test_weakest(self, name):
        """The weakest microbe has the very chance and sum that were said, to the last digit."""
        for option, report in reports(name):
            if option.weakest.challenge_chance is None:
                continue
            assert smallest_chance(report) == option.weakest.challenge_chance, option.id
            weakest = next(
                f
                for f in report.checks
                if f.id == "free-active" and f.about == option.weakest.microbe
            )
            assert weakest.value("sum_of_ratios") == option.weakest.sum_of_ratios, option.id

    def test_percent_and_grams(self, name):
        """The systems are in it at the very percentages that were said, and weigh the grams that
        were said."""
        for option, report in reports(name):
            found = {
                p.id: p.percent for p in report.preservatives if not p.id.startswith("carried in")
            }
            said = {option.id: option.percent} | (
                {option.partner: option.partner_percent} if option.partner else {}
            )
            assert found == pytest.approx(said, rel=1e-12), option.id
            if chosen(name)[0].amounts == "percent":
                assert found == said, option.id
            grams = [
                f.value("grams")
                for f in report.checks
                if f.id == "weighing" and f.about == option.id
            ]
            if grams and grams[0] is not None:
                assert grams[0] == pytest.approx(option.grams, rel=1e-12), option.id

    def test_what_fits_passes(self, name):
        """What fits, as it stands or changed, has no serious finding and a pass wherever one is
        asked for."""
        for option, report in reports(name):
            if option.outcome == "does-not-fit":
                continue
            assert not report.serious, option.id
            short = {
                (f.id, f.about) for f in report.checks if f.id in MUST_PASS and f.verdict != "pass"
            }
            assert short == set(), option.id
            assert {f.verdict for f in report.checks if f.id == "legal-limit"} <= {
                "pass",
                "unknown",
            }, option.id
            assert {f.id for f in report.checks} >= MUST_PASS - {"solubility"}, option.id

    def test_what_does_not_fit_fails(self, name):
        """What does not fit fails something that is asked for, or has a serious finding."""
        for option, report in reports(name):
            if option.outcome == "does-not-fit":
                short = any(
                    f.id in MUST_PASS | {"legal-limit"} and f.verdict != "pass"
                    for f in report.checks
                )
                assert report.serious or short, option.id

    def test_dose_inside_its_limits(self, name):
        """A recommended dose lies inside the usage range, never above the highest that is
        allowed."""
        rows = {s.id: s for s in load_tables().systems}
        for option, _ in reports(name):
            row = rows[option.id]
            assert row.usage_min_percent - 1e-9 <= option.percent <= row.usage_max_percent + 1e-9, (
                option.id
            )
            if (
                option.outcome != "does-not-fit"
                and option.formula.measured.ph == chosen(name)[0].measured.ph
            ):
                assert option.percent <= option.percent_high + 1e-6, option.id

    def test_other_lines_stay(self, name):
        """Nothing but water, the preservative and what a change names is touched."""
        formula, choice = chosen(name)
        kept = [
            (w.name, w.amount)
            for p in formula.phases
            for w in p.lines
            if w.kind == "ingredient" and not w.rest
        ]
        for option in choice.systems:
            if option.formula is None:
                continue
            lines = [
                (w.name, w.amount)
                for p in option.formula.phases
                for w in p.lines
                if w.kind == "ingredient"
            ]
            gone = {n for n, _ in kept if (n, dict(kept)[n]) not in lines} - {"Water"}
            assert all(any(n in c for c in option.changes) for n in gone), option.id
            if option.outcome == "fits":
                assert gone == set(), option.id
                assert option.formula.measured == formula.measured, option.id

    def test_order(self, name):
        """Fits before fits after a change before the rest; then serious, warnings, margin up to 3,
        chance."""
        outcomes = ["fits", "fits-after-change", "does-not-fit"]
        keys = [
            (
                outcomes.index(s.outcome),
                s.percent is None,  # what there is no room for
                s.counts["serious"],
                s.counts["warn"],
                -(s.weakest.challenge_chance or 0),
                -(s.chance or 0),
            )
            for s in chosen(name)[1].systems
        ]
        assert keys == sorted(keys)

    def test_words(self, name):
        """Each system says why in one line; a change is named only where one is needed; a partner
        is a change."""
        for option in chosen(name)[1].systems:
            assert option.why, option.id
            assert "\n" not in option.why, option.id
            assert bool(option.changes) == (option.outcome == "fits-after-change"), option.id
            assert (option.partner is not None) == any(
                "pair it with" in c for c in option.changes
            ), option.id
            moved = (
                option.formula is not None
                and option.formula.measured.ph != chosen(name)[0].measured.ph
            )
            user_errors = any(
                c.startswith(("lower the pH", "raise the pH", "measure the pH"))
                for c in option.changes
            )
            assert user_errors == (moved and option.outcome != "does-not-fit"), option.id
            assert (option.chance is not None) == (option.outcome != "does-not-fit"), option.id

    def test_as_a_file(self, name):
        """The recommended formulas, written to a file and read again, get the same report to the
        last digit."""
        for option, report in reports(name)[::9]:
            again = review(formula_of(toml_text(as_raw(option.formula))), today=TODAY)
            assert [f.model_dump() if hasattr(f, "model_dump") else f for f in again.checks] == [
                f.model_dump() if hasattr(f, "model_dump") else f for f in report.checks
            ], option.id


@pytest.mark.parametrize("name", NAMES)
def test_doses_in_words_are_exact(name):
    """The page and the changes name doses with all their digits: what is copied from them is what
    was judged."""
    for option in chosen(name)[1].systems:
        if option.outcome == "does-not-fit":
            continue
        (said,) = re.findall(r"^([0-9.]+) %", cells(option)[1])
        assert float(said) == pytest.approx(option.percent, rel=1e-8), option.id
        if option.partner:
            (words,) = [c for c in option.changes if c.startswith("pair it with")]
            assert float(words.split()[3]) == pytest.approx(option.partner_percent, rel=1e-8), (
                option.id
            )


def test_dose_keeps_away_from_the_edges():
    """Where there is room, the dose is 10 % above the lowest and 10 % below the highest that
    works."""
    seen, rows = 0, {s.id: s for s in load_tables().systems}
    for name in NAMES:
        for option in chosen(name)[1].systems:
            low, high = option.percent_low, option.percent_high
            if (
                option.outcome == "fits"
                and low is not None
                and high / 1.25 > max(low, rows[option.id].usage_min_percent)
            ):
                assert 1.09 * low <= option.percent <= high / 1.05, (name, option.id)
                seen += 1
    assert seen >= 40


@pytest.mark.usefixtures("few_draws")
def test_written_by_hand():
    """The maker changes the one line as told, nothing else, and gets what was promised."""
    raw = make_raw(CREAM, {"phenoxyethanol": 0.9}, ph=4.8, **SMALL_BATCH)
    fits = [
        s for s in choose(formula_of(toml_text(raw)), today=TODAY).systems if s.outcome == "fits"
    ]
    assert len(fits) >= 5
    for option in fits:
        raw["phase"][-1]["items"] = [{"preservative": option.id, "percent": option.percent}]
        report = review(formula_of(toml_text(raw)), today=TODAY)
        assert report.counts == option.counts, option.id
        assert smallest_chance(report) == option.weakest.challenge_chance, option.id


@pytest.mark.usefixtures("few_draws")
def test_added_by_hand():
    """Where there was none, the recommended line goes into a last phase at the stated
    temperature."""
    raw = make_raw(CREAM, ph=4.8)
    fits = [
        s for s in choose(formula_of(toml_text(raw)), today=TODAY).systems if s.outcome == "fits"
    ]
    assert len(fits) >= 5
    for option in fits:
        line = {"preservative": option.id, "percent": option.percent}
        last = {"name": "last", "added_at": f"{option.add_below_c - 2} °C", "items": [line]}
        report = review(formula_of(toml_text(raw | {"phase": [*raw["phase"], last]})), today=TODAY)
        assert report.counts == option.counts, option.id
        assert smallest_chance(report) == option.weakest.challenge_chance, option.id


# ---- single rules ----


def by_id(choice: Choice) -> dict[str, Option]:
    """Options by the system's id."""
    return {s.id: s for s in choice.systems}


@pytest.mark.parametrize("system", ["mci-mi", "benzyl-alcohol-mci-mi", "methylisothiazolinone"])
def test_law_rules_out(system):
    """What the EU does not allow in products that stay on never fits, and the law is the reason
    given."""
    option = by_id(chosen("leave-in with rest line")[1])[system]
    assert option.outcome == "does-not-fit"
    assert option.why.startswith("legal-limit: EU")


def test_age_rules_out():
    """IPBC is not allowed for children under three in the EU."""
    for system in ("dmdm-hydantoin-ipbc", "propylene-glycol-diazolidinyl-urea-ipbc"):
        assert by_id(chosen("spray for the smallest")[1])[system].outcome == "does-not-fit"


def test_charge_rules_out():
    """A biguanide among sodium laureth sulfate does not fit; no gum in it makes it fit."""
    option = by_id(chosen("shampoo")[1])["polyaminopropyl-biguanide"]
    assert option.outcome == "does-not-fit"


def test_ph_rules_out():
    """Weak acids do not fit a soap of pH 9.6, and no change of pH that a soap cannot stand is asked
    for."""
    options = by_id(chosen("alkaline")[1])
    for system in ("sodium-benzoate", "potassium-sorbate", "benzyl-alcohol-dehydroacetic-acid"):
        assert options[system].outcome == "does-not-fit"


def test_heat_needs_a_cooler_addition():
    """A system with a heat limit of 40 °C fits a batch of 75 °C only when it goes in later, at 38
    °C."""
    option = by_id(chosen("hot")[1])["benzyl-alcohol-benzoic-dehydroacetic"]
    assert option.outcome == "fits-after-change"
    assert option.changes[0] == "add it at 38 °C or cooler instead of 75 °C"
    assert option.formula.phases[-1].added_at_c == 38
    assert option.add_below_c == 40


def test_lower_ph():
    """Benzoate at pH 5.5 is told to which pH to go, and the changed formula has it."""
    formula = make_formula({"Glycerin": 3.0}, {"sodium-benzoate-potassium-sorbate": 0.8}, ph=5.5)
    option = by_id(choose(formula, today=TODAY))["sodium-benzoate-potassium-sorbate"]
    assert option.outcome == "fits-after-change"
    target = option.formula.measured.ph
    assert f"lower the pH from 5.5 to {target:g} or below" in option.changes
    assert target + formula.measured.ph_tolerance <= option.ph_high + 1e-9


def test_anionic_gum():
    """A cationic preservative in an anionic gel fits once the gum is replaced, and the gum is
    named."""
    option = by_id(choose(make_formula(GEL, ph=5.2, type="styling", use="leave-on"), today=TODAY))[
        "ethyl-lauroyl-arginate"
    ]
    assert option.outcome == "fits-after-change"
    assert "replace Xanthan gum by Hydroxyethylcellulose" in option.changes
    names = [w.name for p in option.formula.phases for w in p.lines]
    assert "Xanthan gum" not in names
    assert "Hydroxyethylcellulose" in names


def test_partner_is_one_that_the_row_names():
    """A partner comes from the row's own list, and stays inside its usage range."""
    rows = {s.id: s for s in load_tables().systems}
    pairs = [s for name in NAMES for s in chosen(name)[1].systems if s.partner]
    assert len(pairs) >= 20
    for option in pairs:
        assert option.partner in rows[option.id].partners
        row = rows[option.partner]
        assert row.usage_min_percent <= option.partner_percent <= row.usage_max_percent


def test_without_ph():
    """Without a pH nothing fits as it stands; what can fit asks for the measurement and names the
    span."""
    choice = chosen("no pH")[1]
    assert choice.ph is None
    assert {s.outcome for s in choice.systems} == {"fits-after-change", "does-not-fit"}
    for option in choice.systems:
        if option.outcome == "fits-after-change":
            assert any(c.startswith("measure the pH") for c in option.changes), option.id


def test_own_preservative_is_taken_out():
    """The formula's own preservative does not count towards the others: with or without it the
    ranking is the same."""
    with_own = choose(
        make_formula(CREAM, {"phenoxyethanol": 0.9}, added_at="25 °C", ph=4.8), today=TODAY
    )
    other = choose(
        make_formula(CREAM, {"sodium-benzoate": 0.3}, added_at="25 °C", ph=4.8), today=TODAY
    )
    assert [replace(s, formula=None) for s in with_own.systems] == [
        replace(s, formula=None) for s in other.systems
    ]


def test_carried_in_stays():
    """What a raw material brings along counts: 0.1 % phenoxyethanol carried in leaves less for the
    law."""
    formula = make_formula(
        {"oat extract": 5.0},
        blends={"oat extract": {"Glycerin": 60, "Water": 38, "Phenoxyethanol": 2}},
        ph=5,
    )
    high = by_id(choose(formula, today=TODAY))["phenoxyethanol"].percent_high
    assert high == pytest.approx(0.9, abs=1e-6)  # 1 % allowed less 5 % of 2 %


def test_scale():
    """Doses are whole steps of the scale: 0.1 g of 400 g is 0.025 %."""
    for option in chosen("leave-in with rest line")[1].systems:
        if option.outcome == "does-not-fit" or option.percent < 0.1:
            continue
        steps = option.percent / 0.025
        assert steps == pytest.approx(round(steps), abs=1e-6), option.id
        assert option.grams == pytest.approx(4 * option.percent)
        finer = next((float(c.split()[-2]) for c in option.changes if "scale that shows" in c), 0.1)
        assert option.scale_error_percent == pytest.approx(100 * finer / option.grams)


def test_a_solvent_is_a_change():
    """Alcohol from 20 % up makes another product, unless it is in it already; then no more than it
    takes."""
    option = by_id(choose(make_formula(GEL, ph=5, **SMALL_BATCH), today=TODAY))[
        "ethanol-20-percent-or-more"
    ]
    assert option.outcome != "fits"
    assert option.percent == 20
    if option.outcome == "fits-after-change":
        assert "place of 20 % water" in option.changes[0]
    own = make_formula(
        {"Glycerin": 2.0}, {"ethanol-20-percent-or-more": 30.0}, ph=5, added_at="25 °C"
    )
    option = by_id(choose(own, today=TODAY))["ethanol-20-percent-or-more"]
    assert not any("place of" in c for c in option.changes)


def test_a_scale_too_coarse():
    """1 g on 100 g: 0.9 g is off by more than 10 %; a scale of 0.01 g weighs it to 5 %."""
    coarse = make_formula(GEL, ph=5, batch="100 g", scale_step="1 g")
    option = by_id(choose(coarse, today=TODAY))["chlorphenesin-phenoxyethanol"]
    assert option.outcome == "fits-after-change"
    assert option.changes == ("weigh it on a scale that shows 0.01 g",)
    assert option.scale_error_percent == pytest.approx(100 * 0.01 / option.grams)
    assert option.formula.product.scale_step_g == 0.01


def test_what_no_preservative_mends():
    """Carbomer in an acid gel and a serum without water are said once, above the ranking."""
    remarks = choose(make_formula({"Carbomer": 0.5}, ph=4.5), today=TODAY).remarks
    assert len(remarks) == 1
    assert remarks[0].startswith("Mend this first, no preservative can: Carbomer")
    dry = make_formula({"Sunflower oil": 70.0, "Cyclopentasiloxane": 30.0}, rest=None)
    assert any("needs no preservative" in r for r in choose(dry, today=TODAY).remarks)
    assert choose(make_formula(GEL, ph=5), today=TODAY).remarks == ()


def test_a_dose_for_the_ph_to_be_set():
    """Benzoate and sorbate: what it takes at the new pH, not at the measured one where they cannot
    work.

    By hand: of benzoate (pKa 4.2) one part in 64 works at pH 6, one in 4 at pH 4.7, so far less is
    needed.
    """
    option = by_id(choose(make_formula({"Glycerin": 2.0}, ph=6.0), today=TODAY))[
        "sodium-benzoate-potassium-sorbate"
    ]
    assert option.outcome == "fits-after-change"
    assert option.ph < 6
    assert option.percent < option.percent_low
    assert option.ph_low <= option.ph <= option.ph_high


def test_no_room():
    """A route that is the whole formula has no place in one of water and gum, and says so."""
    option = by_id(chosen("cold process")[1])["low-water-activity-high-glycol"]
    assert (option.outcome, option.formula) == ("does-not-fit", None)
    assert option.why.startswith("use-level: it takes 100 %")


# ---- narrowing ----


PLAIN = make_formula(CREAM, ph=4.8)


def test_markets():
    """Other markets replace the formula's own, are named, and bring their own law."""
    choice = choose(PLAIN, today=TODAY, markets=["JP", "US"])
    assert choice.markets == ("JP", "US")
    assert choice.narrowed == ("markets JP, US",)
    assert by_id(choice)["sodium-hydroxymethylglycinate"].outcome == "does-not-fit"
    first = next(
        s for s in choice.systems if s.outcome == "fits" and s.id.startswith("chlorphenesin")
    )
    law = [f.about for f in review(first.formula, today=TODAY).checks if f.id == "legal-limit"]
    assert {a.rsplit("× ")[-1] for a in law} == {"JP", "US"}


def test_natural():
    """Only systems that a natural standard accepts are left, and partners too come from among
    them."""
    accepted = {s.id for s in load_tables().systems if s.natural_standard in ("yes", "conditional")}
    choice = choose(PLAIN, today=TODAY, natural=True)
    assert {s.id for s in choice.systems} == accepted
    assert {s.partner for s in choice.systems} - {None} <= accepted
    assert choice.narrowed == ("only what a natural cosmetics standard accepts",)


def test_without():
    """A substance is left out by any of its names, also as a part of a blend or of a partner."""
    holding = {s.id for s in load_tables().systems if "Phenoxyethanol" in dict(s.composition)}
    choice = choose(PLAIN, today=TODAY, without=["2-phenoxyethanol"])
    assert len(holding) >= 8
    assert holding.isdisjoint({s.id for s in choice.systems} | {s.partner for s in choice.systems})
    assert len(choice.systems) == len(load_tables().systems) - len(holding)


def test_limit():
    """A limit shows the best ones, with the figures that they have among all."""
    every = choose(PLAIN, today=TODAY)
    assert choose(PLAIN, today=TODAY, limit=3).systems == every.systems[:3]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"markets": ["EU", "XX"]}, "XX is not known"),
        ({"without": ["phenoxyethanole"]}, "did you mean"),
    ],
)
def test_unknown_names(options, said):
    """A market or a substance that is not known is an error that says what is."""
    with pytest.raises(PreservecheckError, match=said):
        choose(PLAIN, today=TODAY, **options)


def test_own_row(tmp_path):
    """A system of the user's own is tried like the others, and marked."""
    shipped = csv.DictReader(
        io.StringIO((tables_root() / "systems.csv").read_text(encoding="utf-8"))
    )
    row = next(r for r in shipped if r["id"] == "chlorphenesin-phenoxyethanol") | {"id": "my-blend"}
    out = io.StringIO()
    writer = csv.DictWriter(out, row)
    writer.writeheader()
    writer.writerow(row)
    (tmp_path / "systems.csv").write_text(out.getvalue(), encoding="utf-8")
    options = by_id(choose(PLAIN, load_tables(tmp_path), today=TODAY))
    assert {i for i, s in options.items() if s.own} == {"my-blend"}
    mine, theirs = options["my-blend"], options["chlorphenesin-phenoxyethanol"]
    assert (mine.percent, mine.weakest, mine.chance, mine.counts) == (
        theirs.percent,
        theirs.weakest,
        theirs.chance,
        theirs.counts,
    )


# ---- the command ----


@pytest.fixture
def file(tmp_path):
    """A formula file."""
    path = tmp_path / "cream.toml"
    path.write_text(toml_text(make_raw(CREAM, ph=4.8)), encoding="utf-8")
    return path


def run(*arguments):
    """Run the program in this process."""
    return CliRunner().invoke(app, [str(a) for a in arguments], env={"COLUMNS": "80"})


def test_command_json(file):
    """The command's JSON has the contract's keys, all systems, and the exit status of something
    that fits."""
    result = run("choose", file, "--format", "json")
    data = json.loads(result.stdout)
    assert result.exit_code == 0
    assert data["format"] == 1
    assert list(data)[:4] == ["format", "program", "tables_sha256", "formula_sha256"]
    assert isinstance(data["order"], str)
    assert len(data["systems"]) == len(load_tables().systems)
    wanted = {
        "id",
        "outcome",
        "percent",
        "percent_low",
        "percent_high",
        "ph_low",
        "ph_high",
        "add_below_c",
        "phase",
    }
    wanted |= {"grams", "changes", "partner", "counts", "weakest", "chance", "why"}
    for system in data["systems"]:
        assert wanted <= set(system), system["id"]
        assert set(system["weakest"]) == {"microbe", "sum_of_ratios", "challenge_chance"}
        assert set(system["counts"]) == {"pass", "warn", "serious", "unknown"}
        assert "formula" not in system


def test_command_options(file):
    """The options of the command are those of the library."""
    result = run(
        "choose", file, "--format", "json", "--markets", "us,jp", "--only", "natural-standard", "--without",
        "benzyl alcohol", "--without", "Sorbic Acid", "--limit", "4",
    )  # fmt: skip
    data = json.loads(result.stdout)
    wanted = choose(
        file,
        today=None,
        markets=["US", "JP"],
        natural=True,
        without=["Benzyl Alcohol", "Sorbic Acid"],
        limit=4,
    )
    assert data["systems"] == wanted.to_json()["systems"]
    assert data["markets"] == ["US", "JP"]
    assert len(data["systems"]) == 4


def test_command_nothing_fits(tmp_path):
    """Where nothing fits as it stands, the exit status is 1."""
    path = tmp_path / "cream.toml"
    path.write_text(toml_text(make_raw(CREAM)), encoding="utf-8")
    assert run("choose", path).exit_code == 1


@pytest.mark.parametrize(
    "wrong", [("--markets", "XX"), ("--without", "nothing known"), ("--limit", "0")]
)
def test_command_wrong_options(file, wrong):
    """A wrong option is exit status 2, a message and no ranking."""
    result = run("choose", file, *wrong)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr


def test_what_stands_in_the_way_is_what_the_review_says():
    """Of two rules that one substance breaks, both name the hardest: below three years none of it
    is allowed.

    EU Annex V entry 3 allows 0.5 % of salicylic acid, and none in products for children under three
    but shampoo. The gel of the examples brings 0.6 % along.
    """
    formula = load_formula(EXAMPLES / "failing-gel.toml")
    (finding,) = [
        f for f in review(formula, today=TODAY).checks if f.about == "Salicylic Acid × EU"
    ]
    assert "is not allowed in this product" in finding.because
    found = choose(formula, today=TODAY)
    assert any(finding.because in said for said in found.remarks)
    assert all("at most 0.5 %" not in s.why for s in found.systems)


def test_range_never_stands_upside_down():
    """Where more is needed than is allowed, the table says both figures as what they are."""
    found = choose(load_formula(EXAMPLES / "demo.toml"), today=TODAY)
    fitting = [s for s in found.systems if s.outcome != "does-not-fit"]
    short = [
        s
        for s in fitting
        if s.percent_low is not None and s.percent_high and s.percent_low > s.percent_high
    ]
    assert short
    for option in fitting:
        cell = cells(option)[HEADS.index("works from to")]
        assert ("alone; at most" in cell) == (option in short)
        assert "?" not in cell
