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
from preservecheck.formula.edit import Replace, SetDose, SetPh, apply
from preservecheck.formula.load import load_formula
from preservecheck.formula.model import Formula
from preservecheck.plan.review import Report, review
from preservecheck.ranking.pairs import CARRIERS
from preservecheck.ranking.rank import choose
from preservecheck.ranking.result import Choice, Option
from preservecheck.ranking.standing import STANDINGS
from preservecheck.ranking.window import dose_as_told, ph_as_set
from preservecheck.reference.load import load_tables, tables_root
from preservecheck.report import text
from preservecheck.report.choice import HEADS, cells, document
from tests.helpers import TODAY, compose, formula_of, make_formula, make_raw, toml_text

EXAMPLES = Path(__file__).parents[1] / "examples"
# what a dose can be wrong by
OF_THE_DOSE = {"use-level", "legal-limit", "solubility"}
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


@lru_cache
def own_faults(name: str) -> frozenset[str]:
    """Serious findings that a formula has without any system."""
    base = chosen(name)[1].systems[0].base
    return frozenset(f.id + f.about for f in review(base.formula, today=TODAY).checks if f.serious)


def smallest_chance(report: Report) -> float | None:
    """The smallest chance of a microbe that a report names."""
    chances = [f.value("challenge_chance") for f in report.checks if f.id == "free-active"]
    return min((c for c in chances if c is not None), default=None)


def as_raw(formula: Formula) -> dict[str, Any]:
    """A formula as a maker would write it into a file."""
    units = {"batch_g", "scale_step_g", "shelf_life_months"}
    product = formula.product.model_dump(exclude=units, exclude_none=True)
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
                {option.partner.id: option.partner.percent} if option.partner else {}
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

    def test_outcomes(self, name):
        """What does not fit has a serious finding, the others have none but the formula's own."""
        serious = {s.id: s.outcome for s, r in reports(name) if r.serious}
        if not chosen(name)[1].remarks:
            assert set(serious.values()) <= {"does-not-fit"}
        assert {s.id for s, _ in reports(name) if s.outcome == "does-not-fit"} <= set(serious)

    def test_what_fits_leaves_nothing_open(self, name):
        """What fits has no warning and no unknown that another system that fits does not have."""
        fits = [(s, r) for s, r in reports(name) if s.outcome == "fits"]
        left = [{f.id for f in r.checks if f.verdict in ("warn", "unknown")} for _, r in fits]
        assert all(one == left[0] for one in left)

    def test_dose_inside_its_limits(self, name):
        """A recommended dose lies inside the usage range, never above the highest that is
        allowed."""
        rows = {s.id: s for s in load_tables().systems}
        for option, _ in reports(name):
            row = rows[option.id]
            assert row.usage_min_percent - 1e-9 <= option.percent <= row.usage_max_percent + 1e-9, (
                option.id
            )
            if option.outcome != "does-not-fit" and option.percent_high is not None:
                assert option.percent <= option.percent_high * 1.01, option.id

    def test_ends_have_no_fault_of_dose(self, name):
        """A review at both ends of the doses finds no fault of use level, law or solubility."""
        seen = 0
        for option in chosen(name)[1].systems:
            for end in (option.percent_low, option.percent_high):
                if option.outcome == "does-not-fit" or end is None:
                    continue
                at_end = apply(option.formula, [SetDose(option.id, end)], compose)
                found = review(at_end, today=TODAY)
                wrong = {
                    (f.id, f.about)
                    for f in found.checks
                    if f.id in OF_THE_DOSE and f.serious and f.id + f.about not in own_faults(name)
                }
                assert wrong == set(), (option.id, end)
                seen += 1
        assert seen >= 2

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
            mended = {e.name for e in option.base.mends if isinstance(e, Replace)}
            named = [c for n in gone - mended for c in option.said if n.casefold() in c.casefold()]
            assert len(named) >= len(gone - mended), option.id
            if option.outcome == "fits":
                assert gone <= mended, option.id
                assert option.formula.measured == formula.measured, option.id

    def test_order(self, name):
        """What works as it stands or after one change, then what needs more, then what does not; in
        each by custom, then by what it leaves open."""
        keys = []
        for s in chosen(name)[1].systems:
            bad = s.outcome == "does-not-fit"
            group = 2 if bad else int(s.change_count > 1)
            down = STANDINGS.index(s.standing) + s.place.sensitiser + s.place.children
            keys.append(
                (
                    group,
                    s.percent is None,  # what there is no room for
                    s.serious if bad else 0,
                    s.doubtful,
                    down + (len(s.open) >= 2),
                    s.place.choice,
                    len(s.open),
                    s.change_count,
                )
            )
        assert keys == sorted(keys)

    def test_words(self, name):
        """Each system says why in one line; a change is named only where one is needed; a partner
        is a change."""
        for option in chosen(name)[1].systems:
            assert option.why, option.id
            assert "\n" not in option.why, option.id
            assert bool(option.said) == (option.outcome == "fits-after-change"), option.id
            assert (option.partner is not None) == any("pair it with" in c for c in option.said), (
                option.id
            )
            moved = any(isinstance(e, SetPh) for e in option.changes)
            told = any(c.startswith(("lower the pH", "raise the pH")) for c in option.said)
            assert moved == told, option.id
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
            (words,) = [c for c in option.said if c.startswith("pair it with")]
            assert float(words.split()[3]) == pytest.approx(option.partner.percent, rel=1e-8)


def test_dose_keeps_away_from_the_law():
    """Where the law allows less than the supplier, the dose stays 5 to 20 % below what is allowed,
    but for a step of 0.05 %, and above what the microbes ask for."""
    seen, rows = 0, {s.id: s for s in load_tables().systems}
    for name in NAMES:
        for option in chosen(name)[1].systems:
            low, high = option.percent_low, option.percent_high
            least, most = rows[option.id].usage_min_percent, rows[option.id].usage_max_percent
            if option.outcome == "does-not-fit" or low is None or option.partner or high >= most:
                continue
            if 0.8 * high > max(low * 1.1, least) and high >= 0.5:
                assert option.percent <= 0.95 * high + 0.05, (name, option.id)
                seen += 1
    assert seen >= 5


@pytest.mark.parametrize(
    ("wanted", "least", "top", "told"),
    [
        (0.875, 0.5, 1.0, 0.9),  # tenths from 0.5 % on
        (0.437, 0.2, 0.6, 0.45),  # then twentieths
        (0.083, 0.05, 0.1, 0.08),  # then hundredths
        (0.98, 0.5, 0.98, 0.9),  # never above the top
        (0.51, 0.51, 0.55, 0.51),  # no step between the ends: the dose itself
    ],
)
def test_dose_as_told(wanted, least, top, told):
    """A dose is told in the steps that a person weighs in."""
    assert dose_as_told(wanted, least, top) == pytest.approx(told, abs=1e-12)


@pytest.mark.parametrize(
    ("aim", "low", "high", "told"),
    [
        (4.9, 4.7, 5.0, 4.9),
        (4.96, 4.7, 4.96, 4.9),
        (4.86, 4.86, 4.94, 4.9),
        (4.43, 4.42, 4.47, 4.45),
    ],
)
def test_ph_as_set(aim, low, high, told):
    """A pH is set to a tenth, else to a half tenth, inside both ends."""
    assert ph_as_set(aim, low, high) == pytest.approx(told, abs=1e-9)


@pytest.mark.usefixtures("few_draws")
def test_written_by_hand():
    """The maker changes the one line as told, nothing else, and gets what was promised."""
    raw = make_raw(CREAM, {"phenoxyethanol": 0.9}, ph=4.8, **SMALL_BATCH)
    good = ("fits", "possible-with-warnings")
    fits = [s for s in choose(formula_of(toml_text(raw)), today=TODAY).systems if s.outcome in good]
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
    good = ("fits", "possible-with-warnings")
    fits = [s for s in choose(formula_of(toml_text(raw)), today=TODAY).systems if s.outcome in good]
    assert len(fits) >= 5
    for option in fits:
        line = {"preservative": option.id, "percent": option.percent}
        last = {
            "name": "last",
            "added_at": f"{min(38, option.add_below_c - 2)} °C",
            "items": [line],
        }
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


def test_heat_is_mended_once():
    """Phenoxyethanol in the heated phase: the place is too hot, said once; every system goes in
    last, at 38 °C, and that is no change of its own."""
    choice = chosen("hot")[1]
    assert choice.mended_words == (
        "Add the preservative in a phase of its own, once the batch is at 38 °C.",
    )
    option = by_id(choice)["benzyl-alcohol-benzoic-dehydroacetic"]
    assert option.outcome in ("fits", "possible-with-warnings")
    assert option.formula.phases[-1].added_at_c == 38
    assert option.add_below_c == 40


def test_lower_ph():
    """Benzoate at pH 5.5 is told to which pH to go, and the changed formula has it."""
    formula = make_formula({"Glycerin": 3.0}, {"sodium-benzoate-potassium-sorbate": 0.8}, ph=5.5)
    option = by_id(choose(formula, today=TODAY))["sodium-benzoate-potassium-sorbate"]
    assert option.outcome == "fits-after-change"
    target = option.formula.measured.ph
    assert f"lower the pH from 5.5 to {target:g}" in option.said
    # the aim of a rinse-off conditioner is 4.4, or as near as the solubility of the acids lets it
    assert 4.4 <= target <= 4.7
    assert target + formula.measured.ph_tolerance <= option.ph_high + 1e-9


def test_anionic_gum():
    """A cationic preservative in an anionic gel fits once the gum is replaced, and the gum is
    named."""
    option = by_id(choose(make_formula(GEL, ph=5.2, type="styling", use="leave-on"), today=TODAY))[
        "ethyl-lauroyl-arginate"
    ]
    assert option.outcome == "fits-after-change"
    assert "replace Xanthan gum by Hydroxyethylcellulose" in option.said
    names = [w.name for p in option.formula.phases for w in p.lines]
    assert "Xanthan gum" not in names
    assert "Hydroxyethylcellulose" in names


def test_partner_closes_the_gap():
    """A partner is another system inside its usage range, without a substance of the first, and
    both together leave nothing serious."""
    rows = {s.id: s for s in load_tables().systems}
    pairs = [(n, s) for n in NAMES for s in chosen(n)[1].systems if s.partner]
    assert len(pairs) >= 10
    for name, option in pairs:
        row, inside = rows[option.partner.id], {i for i, _ in rows[option.id].composition}
        shared = inside & {i for i, _ in row.composition} - CARRIERS
        assert shared == set(), (name, option.id)
        assert row.usage_min_percent <= option.partner.percent <= row.usage_max_percent
        assert option.outcome == "fits-after-change"


def test_pairs():
    """The best pairs are of two different systems that are judged together, those that a
    formulator would call usual first."""
    pairs = choose(make_formula(CREAM, ph=4.6), today=TODAY).pairs
    assert pairs
    assert all(p.first.id != p.second.id for p in pairs)
    assert any(p.outcome != "does-not-fit" for p in pairs)


def test_without_ph():
    """A pH that was not measured is asked for once; systems are compared at the aim of the kind,
    and none is said to fit without it."""
    choice = chosen("no pH")[1]
    assert choice.ph is None
    assert [e for e in choice.mended_first if isinstance(e, SetPh)] == [SetPh(4.4)]
    assert choice.mended_words[0].startswith("Measure the pH: systems are compared at 4.4")
    assert "fits" not in {s.outcome for s in choice.systems}


def test_own_preservative_is_taken_out():
    """The formula's own preservative does not count towards the others: with or without it the
    ranking is the same."""
    with_own = choose(
        make_formula(CREAM, {"phenoxyethanol": 0.9}, added_at="25 °C", ph=4.8), today=TODAY
    )
    other = choose(
        make_formula(CREAM, {"sodium-benzoate": 0.3}, added_at="25 °C", ph=4.8), today=TODAY
    )
    plain = [
        [replace(s, base=None, candidate=None, now=False) for s in c.systems]
        for c in (with_own, other)
    ]
    assert sorted(plain[0], key=lambda s: s.id) == sorted(plain[1], key=lambda s: s.id)


def test_own_system_has_its_rank():
    """The formula's own system stands in the list with its rank, also where only a few are
    shown."""
    formula = make_formula(CREAM, {"sodium-hydroxymethylglycinate": 0.4}, ph=4.8)
    choice = choose(formula, today=TODAY, limit=2)
    (own,) = [s for s in choice.systems if s.id == "sodium-hydroxymethylglycinate"]
    assert choice.now == (("sodium-hydroxymethylglycinate", choice.rank_of(own)),)
    assert choice.rank_of(own) > 2
    assert choice.to_json()["now"]["rank"] == choice.rank_of(own)


def test_an_ingredient_stays():
    """A preservative on a line of an ingredient is never taken out; it has a rank as it is."""
    formula = make_formula({**CREAM, "Phenoxyethanol": 0.5}, ph=4.6)
    choice = choose(formula, today=TODAY)
    assert [i for i, _ in choice.now] == ["phenoxyethanol"]
    for option in choice.systems:
        if option.formula is not None:
            names = [w.name for p in option.formula.phases for w in p.lines]
            assert "Phenoxyethanol" in names, option.id


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
    """Grams are the share of the batch, and so is the error of the scale."""
    for option in chosen("leave-in with rest line")[1].systems:
        if option.outcome == "does-not-fit" or option.percent < 0.1:
            continue
        assert option.grams == pytest.approx(4 * option.percent)
        finer = next((float(c.split()[-2]) for c in option.said if "scale that shows" in c), 0.1)
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
        assert "place of 20 % water" in option.said[0]


def test_needs_none():
    """Alcohol from 20 % up, a measured water activity below 0.75, no water at all: none is needed,
    and nothing else is said."""
    tonic = make_formula({"Glycerin": 2.0}, {"ethanol-20-percent-or-more": 30.0}, ph=5)
    syrup = make_formula({"Sucrose": 60.0}, ph=5, water_activity=0.68)
    dry = make_formula({"Sunflower oil": 70.0, "Cyclopentasiloxane": 30.0}, water=None)
    for formula in (tonic, syrup, dry):
        choice = choose(formula, today=TODAY)
        assert choice.needs_none
        data = choice.to_json()
        assert (data["systems"], data["pairs"], data["remarks"]) == ([], [], [])
        (section,) = [text.render([document(choice)]).split("Needs none. ")]
        assert len(section) == 2


def test_a_scale_too_coarse():
    """1 g on 100 g: 0.9 g is off by more than 10 %; a scale of 0.01 g weighs it to 5 %."""
    coarse = make_formula(GEL, ph=5, batch="100 g", scale_step="1 g")
    option = by_id(choose(coarse, today=TODAY))["chlorphenesin-phenoxyethanol"]
    assert option.outcome == "fits-after-change"
    assert option.said == ("weigh it on a scale that shows 0.01 g",)
    assert option.scale_error_percent == pytest.approx(100 * 0.01 / option.grams)
    assert option.formula.product.scale_step_g == 0.01


def test_the_formula_is_mended_first():
    """Carbomer collapses at pH 4.5, whatever preserves it: the pH of a carbomer gel is asked for
    once, above the ranking, and keeps no system out."""
    formula = make_formula({"Carbomer": 0.5}, ph=4.5, type="styling", use="leave-on")
    choice = choose(formula, today=TODAY)
    assert choice.mended_first == (SetPh(6.2),)
    assert choice.mended_words[0].startswith("First bring the pH to 6.2")
    assert choice.remarks == ()
    assert any(s.outcome != "does-not-fit" for s in choice.systems)
    assert choose(make_formula(GEL, ph=5), today=TODAY).mended_first == ()


def test_a_quat_among_sulfates_is_mended_first():
    """A long quat in a sulfate shampoo: a cationic polymer takes its place, once for all."""
    items = {"Sodium laureth sulfate": 10.0, "Behentrimonium methosulfate": 2.0}
    choice = choose(make_formula(items, ph=4.9, type="shampoo"), today=TODAY)
    (edit,) = choice.mended_first
    assert (edit.name, edit.by.name) == ("Behentrimonium Methosulfate", "Polyquaternium-10")


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
    assert option.percent_low <= option.percent <= option.percent_high
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
    # what the Japanese list leaves out was only recalled: it does not bar, it goes behind the rest
    assert by_id(choice)["sodium-hydroxymethylglycinate"].doubtful
    assert choice.systems[0].doubtful is False
    first = by_id(choice)["chlorphenesin-phenoxyethanol"]
    assert first.outcome != "does-not-fit"
    law = [f.about for f in review(first.formula, today=TODAY).checks if f.id == "legal-limit"]
    assert {a.rsplit("× ")[-1] for a in law} == {"JP", "US"}


def test_natural():
    """Only systems that a natural standard accepts are left, and partners too come from among
    them."""
    accepted = {s.id for s in load_tables().systems if s.natural_standard in ("yes", "conditional")}
    choice = choose(PLAIN, today=TODAY, natural=True)
    assert {s.id for s in choice.systems} == accepted
    assert {s.partner.id for s in choice.systems if s.partner} <= accepted
    assert choice.narrowed == ("only what a natural cosmetics standard accepts",)


def test_without():
    """A substance is left out by any of its names, also as a part of a blend or of a partner."""
    holding = {s.id for s in load_tables().systems if "Phenoxyethanol" in dict(s.composition)}
    choice = choose(PLAIN, today=TODAY, without=["2-phenoxyethanol"])
    assert len(holding) >= 8
    partners = {s.partner.id for s in choice.systems if s.partner}
    assert holding.isdisjoint({s.id for s in choice.systems} | partners)
    assert len(choice.systems) == len(load_tables().systems) - len(holding)


@pytest.mark.parametrize(
    ("name", "substance"),
    [
        ("parabens", "Methylparaben"),
        ("releasers", "DMDM Hydantoin"),
        ("formaldehyde releasers", "Diazolidinyl Urea"),
        ("isothiazolinones", "Methylisothiazolinone"),
        ("silver", "Silver Citrate"),
    ],
)
def test_without_a_class(name, substance):
    """A class leaves out every system that holds one of its substances."""
    left = {s.id for s in choose(PLAIN, today=TODAY, without=[name]).systems}
    holding = {s.id for s in load_tables().systems if substance in dict(s.composition)}
    assert holding
    assert holding.isdisjoint(left)
    assert len(left) > 35


def test_without_a_system():
    """One system is left out by its id; others with the same substances stay."""
    out = "phenoxyethanol-caprylyl-glycol"
    left = {s.id for s in choose(PLAIN, today=TODAY, without=[out]).systems}
    assert left == {s.id for s in load_tables().systems} - {out}


@pytest.mark.parametrize(
    ("wish", "holds"),
    [
        ("natural-standard", lambda s: s.natural_standard in ("yes", "conditional")),
        ("without-releasers", lambda s: "releases formaldehyde" not in (s.sensitiser_note or "")),
        ("powder", lambda s: s.form == "powder"),
    ],
)
def test_prefer(wish, holds):
    """What is preferred stands first among what works alike, and nothing is left out."""
    rows = {s.id: s for s in load_tables().systems}
    choice = choose(PLAIN, today=TODAY, prefer=[wish])
    assert len(choice.systems) == len(rows)
    assert choice.narrowed == (f"{wish} first",)
    group = [s for s in choice.systems if s.outcome != "does-not-fit" and s.change_count <= 1]
    lawful = [s.preferred for s in group if not s.doubtful]
    assert lawful == sorted(lawful, reverse=True)
    assert all(holds(rows[s.id]) for s in group if s.preferred)


def test_own_system_that_is_left_out():
    """The formula's own system stays in the list, last, even where the maker wants it gone."""
    formula = make_formula(CREAM, {"phenoxyethanol": 0.9}, ph=4.8)
    choice = choose(formula, today=TODAY, without=["Phenoxyethanol"])
    assert choice.systems[-1].id == "phenoxyethanol"
    assert choice.now == (("phenoxyethanol", len(choice.systems)),)


def test_limit():
    """A limit shows the best ones, with the figures that they have among all."""
    every = choose(PLAIN, today=TODAY)
    few = choose(PLAIN, today=TODAY, limit=3)
    assert few.to_json()["systems"] == every.to_json()["systems"][:3]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"markets": ["EU", "XX"]}, "XX is not known"),
        ({"without": ["phenoxyethanole"]}, "did you mean"),
        ({"prefer": ["cheap"]}, "cheap is no preference"),
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
        assert system["rank"] == data["systems"].index(system) + 1
        assert system["standing"] in STANDINGS
        assert isinstance(system["name"], str)
        assert set(system["counts"]) == {"pass", "warn", "serious", "unknown", "settled"}
        assert "formula" not in system


def test_command_options(file):
    """The options of the command are those of the library."""
    result = run(
        "choose", file, "--format", "json", "--markets", "us,jp", "--only", "natural-standard", "--without",
        "benzyl alcohol", "--without", "parabens", "--prefer", "liquid", "--limit", "4",
    )  # fmt: skip
    data = json.loads(result.stdout)
    wanted = choose(
        file,
        today=None,
        markets=["US", "JP"],
        natural=True,
        without=["Benzyl Alcohol", "parabens"],
        prefer=["liquid"],
        limit=4,
    )
    assert data["systems"] == wanted.to_json()["systems"]
    assert data["markets"] == ["US", "JP"]
    assert len(data["systems"]) == 4


def test_command_nothing_fits(tmp_path):
    """Where nothing fits as it stands, here for want of a pH, the exit status is 1."""
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
    """Doses from ... to ... are told only where some do; else it is said that none does alone."""
    found = choose(load_formula(EXAMPLES / "demo.toml"), today=TODAY)
    for option in found.systems:
        if option.outcome != "does-not-fit":
            none = option.percent_low is None
            assert (option.percent_high is None) == none
            assert (cells(option)[HEADS.index("works from to")] == "not by itself") == none
            assert none or option.percent_low <= option.percent_high
