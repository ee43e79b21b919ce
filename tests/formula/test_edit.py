"""Edits of a formula: what they change, what they leave, and who takes the difference."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from preservecheck.errors import FormulaError
from preservecheck.formula.amounts import line_percents
from preservecheck.formula.edit import (
    Add,
    Remove,
    Replace,
    SetDose,
    SetPh,
    SetScale,
    SetTemperature,
    Share,
    apply,
    at_ph,
    filled,
    from_json,
    lines_of,
    new_phase_name,
    rescaled,
    to_json,
    with_line,
    without_empty_phases,
    without_lines,
    without_preservatives,
)
from preservecheck.formula.model import Line
from tests.generated import AMOUNTS, formulas
from tests.helpers import compose, make_formula

# composing a formula for the first time reads the tables
UNHURRIED = settings(deadline=None)


def edits_of(formula):
    """Edits that a formula can take, each of another line."""
    systems = [line.name for line in lines_of(formula) if line.kind == "preservative"]
    others = [
        line.name for line in lines_of(formula)[1:] if line.kind == "ingredient"
    ]  # the first is the water
    out = [st.builds(SetPh, st.integers(30, 80).map(lambda n: n / 10))]
    out += [st.builds(SetTemperature, st.just("heated"), st.integers(20, 80).map(float))]
    out += [st.builds(SetScale, st.sampled_from((0.01, 0.1, 1.0)))]
    out += [st.builds(SetDose, st.just(s), AMOUNTS) for s in systems]
    out += [
        st.builds(
            Replace,
            st.just(name),
            st.builds(Share, st.just("ingredient"), st.just("Inulin"), st.none() | AMOUNTS),
        )
        for name in others
    ]
    return out


def total(formula):
    return sum(line_percents(formula)[0])


def named_percents(formula):
    return [(x.name, p) for x, p in zip(lines_of(formula), line_percents(formula)[0], strict=True)]


def percents(formula):
    """Names and amounts, these but for the noise of binary numbers."""
    return [(name, pytest.approx(p)) for name, p in named_percents(formula)]


# ---- what each edit does, by hand ----


class TestEachEdit:
    """A conditioner of 100 %: water fills up, glycerin 3, phenoxyethanol 0.8."""

    def before(self, **changes):
        return make_formula({"Glycerin": 3}, {"phenoxyethanol": 0.8}, ph=5.5, **changes)

    def test_ph(self):
        """The reading alone changes; it is as exact as it was."""
        after = apply(self.before(ph_tolerance=0.2), [SetPh(4.5)], compose)
        assert (after.measured.ph, after.measured.ph_tolerance) == (4.5, 0.2)
        assert after.phases == self.before().phases

    def test_temperature(self):
        after = apply(self.before(), [SetTemperature("Cool-Down", 38)], compose)
        assert [p.added_at_c for p in after.phases] == [None, 38]

    def test_scale(self):
        assert apply(self.before(), [SetScale(0.01)], compose).product.scale_step_g == 0.01

    def test_dose(self):
        """100 - 3 - 0.5 = 96.5 % water."""
        after = apply(self.before(), [SetDose("phenoxyethanol", 0.5)], compose)
        assert percents(after) == [("Water", 96.5), ("Glycerin", 3), ("phenoxyethanol", 0.5)]

    def test_dose_of_two_lines(self):
        """0.2 and 0.6 % are one to three; of 0.4 % they are 0.1 and 0.3 %."""
        phases = [
            {"name": "a", "items": [{"ingredient": "Water", "rest": True}, pe(0.2)]},
            {"name": "b", "items": [pe(0.6)]},
        ]
        after = apply(make_formula(phases=phases), [SetDose("phenoxyethanol", 0.4)], compose)
        assert [p for _, p in percents(after)] == [99.6, 0.1, 0.3]

    def test_dose_of_a_plain_substance(self):
        """A preservative bought as a plain substance is set by its name as a system: all of it."""
        formula = make_formula({"Phenoxyethanol": 0.8})
        after = apply(formula, [SetDose("phenoxyethanol", 1)], compose)
        assert percents(after) == [("Water", 99), ("Phenoxyethanol", 1)]

    def test_add_an_ingredient(self):
        after = apply(
            self.before(), [Add(Share("ingredient", "Sodium Phytate", 0.1), "main")], compose
        )
        assert percents(after) == [
            ("Water", 96.1),
            ("Glycerin", 3),
            ("Sodium Phytate", 0.1),
            ("phenoxyethanol", 0.8),
        ]

    def test_add_to_a_phase_of_its_own(self):
        """A new phase comes last; its temperature is another edit."""
        edits = [
            Add(Share("preservative", "sodium-benzoate", 0.5), "preservative"),
            SetTemperature("preservative", 40),
        ]
        after = apply(self.before(), edits, compose)
        assert [p.name for p in after.phases] == ["main", "cool-down", "preservative"]
        assert after.phases[-1].added_at_c == 40
        assert after.phases[-1].lines == (
            Line(name="sodium-benzoate", kind="preservative", amount=0.5),
        )

    def test_replace_by_any_of_its_names(self):
        """The line is found by its INCI name too; water takes the 2.5 % that are saved."""
        edit = Replace("glycerin", Share("ingredient", "Propanediol", 0.5))
        assert percents(apply(self.before(), [edit], compose)) == [
            ("Water", 98.7),
            ("Propanediol", 0.5),
            ("phenoxyethanol", 0.8),
        ]

    def test_replace_as_much(self):
        edit = Replace("Glycerin", Share("ingredient", "Propanediol"))
        assert percents(apply(self.before(), [edit], compose))[:2] == [
            ("Water", 96.2),
            ("Propanediol", 3),
        ]

    def test_remove(self):
        """The phase that held nothing else goes with it; 100 - 3 = 97 % water."""
        after = apply(self.before(), [Remove("phenoxyethanol")], compose)
        assert percents(after) == [("Water", 97), ("Glycerin", 3)]
        assert [p.name for p in after.phases] == ["main"]

    def test_exchange_in_the_same_phase(self):
        """Out of the cool-down and into it: the phase keeps its temperature."""
        edits = [
            Remove("phenoxyethanol"),
            Add(Share("preservative", "sodium-benzoate", 0.5), "cool-down"),
        ]
        after = apply(self.before(), edits, compose)
        assert after.phases[1].added_at_c == 35
        assert percents(after)[-1] == ("sodium-benzoate", 0.5)

    def test_in_grams(self):
        """0.5 % of 200 g are 1 g; the water keeps filling up to 200 g."""
        items = [
            {"ingredient": "Water", "rest": True},
            {"preservative": "phenoxyethanol", "grams": 1.6},
        ]
        formula = make_formula(phases=[{"name": "all", "items": items}], batch="200 g")
        after = apply(formula, [SetDose("phenoxyethanol", 0.5)], compose)
        assert [line.amount for line in lines_of(after)] == [None, 1]

    @pytest.mark.parametrize(
        ("edit", "words"),
        [
            (Remove("sodium-benzoate"), "holds no sodium-benzoate"),
            (SetDose("sodium-benzoate", 1), "holds no sodium-benzoate"),
            (Replace("Inulin", Share("ingredient", "Glycerin")), "holds no Inulin"),
            (SetTemperature("oil", 40), "has no phase oil"),
            (SetDose("phenoxyethanol", 98), "nothing is left for Water"),
        ],
    )
    def test_what_cannot_be(self, edit, words):
        """98 % and 3 % leave nothing for the water; the rest is not there."""
        with pytest.raises(FormulaError, match=words):
            apply(self.before(), [edit], compose)


def pe(percent):
    return {"preservative": "phenoxyethanol", "percent": percent}


# ---- who takes the difference ----


class TestDifference:
    """The rest line, else the water, else the largest line that no edit sets."""

    def without_rest(self, items, kind="percent", **changes):
        return make_formula(
            phases=[{"name": "all", "items": [{**i, kind: a} for i, a in items]}], **changes
        )

    WATER = {"ingredient": "Water"}
    OIL = {"ingredient": "Cetearyl Alcohol"}
    PE = {"preservative": "phenoxyethanol"}

    def test_water_in_percent(self):
        """40 % water gives way to the half per cent, though the fatty alcohol is more."""
        formula = self.without_rest([(self.WATER, 40), (self.OIL, 59), (self.PE, 1)])
        after = apply(formula, [SetDose("phenoxyethanol", 1.5)], compose)
        assert [p for _, p in percents(after)] == [39.5, 59, 1.5]

    def test_water_in_grams_whatever_the_batch_says(self):
        """80 g and 20 g are the whole; 1 % of them is 1 g, and 79 g water are left."""
        formula = self.without_rest([(self.WATER, 80), (self.OIL, 20)], "grams", batch="500 g")
        after = apply(formula, [Add(Share("preservative", "phenoxyethanol", 1), "all")], compose)
        assert line_percents(after) == (pytest.approx([79, 20, 1]), 100)

    def test_largest_where_there_is_no_water(self):
        formula = self.without_rest(
            [(self.OIL, 70), ({"ingredient": "Glycerin"}, 29), (self.PE, 1)]
        )
        after = apply(formula, [SetDose("phenoxyethanol", 0.5)], compose)
        assert [p for _, p in percents(after)] == [70.5, 29, 0.5]

    def test_never_the_line_that_is_set(self):
        """Alcohol at 60 % is the preservative and the largest line; glycerin gives way."""
        formula = self.without_rest(
            [({"ingredient": "Alcohol"}, 60), ({"ingredient": "Glycerin"}, 40)]
        )
        after = apply(formula, [SetDose(compose(formula).systems[0].id, 0.0)], compose)
        assert [p for _, p in percents(after)] == [0, 100]

    def test_nobody_left(self):
        """A lone preservative cannot be set: nothing would fill up."""
        formula = self.without_rest([(self.PE, 100)])
        with pytest.raises(FormulaError, match="no line is left"):
            apply(formula, [SetDose("phenoxyethanol", 50)], compose)

    def test_ingredient_that_preserves_stays(self):
        """Alcohol that is a line of an ingredient is left alone, whatever it does."""
        items = [{"ingredient": "Alcohol", "rest": True}, {"ingredient": "Water", "percent": 30}]
        formula = make_formula(phases=[{"name": "all", "items": items}])
        base = without_preservatives(compose(formula))
        assert percents(base) == [("Alcohol", pytest.approx(70)), ("Water", pytest.approx(30))]


def test_without_preservatives():
    """Its own go, carried-in ones stay; the emptied phase keeps its name and temperature."""
    formula = make_formula(
        {"extract": 5},
        {"phenoxyethanol": 0.8},
        blends={"extract": {"Water": 99, "Phenoxyethanol": 1}},
    )
    base = without_preservatives(compose(formula))
    assert percents(base) == [("Water", 95), ("extract", 5)]
    assert [(p.name, p.added_at_c) for p in base.phases] == [("main", None), ("cool-down", 35)]
    assert [p.name for p in without_empty_phases(base).phases] == ["main"]


def test_new_phase_name():
    phases = [
        {"name": n, "items": [i]}
        for n, i in (
            ("preservative", {"ingredient": "Water", "rest": True}),
            ("preservative 2", {"ingredient": "Glycerin", "percent": 1}),
        )
    ]
    assert new_phase_name(make_formula(phases=phases)) == "preservative 3"
    assert new_phase_name(make_formula({"Glycerin": 1})) == "preservative"


# ---- properties ----


@UNHURRIED
@given(st.data())
def test_totals_stay(data):
    """After any edits the amounts are 100 %, and the batch is as large as before."""
    formula = data.draw(formulas())
    edits = [data.draw(edit) for edit in edits_of(formula)]
    edits.append(Add(Share("ingredient", "Sodium Phytate", 0.1), "heated"))
    after = apply(formula, edits, compose)
    assert total(after) == pytest.approx(100)
    assert line_percents(after)[1] == pytest.approx(200)


@UNHURRIED
@given(st.data())
def test_lines_that_no_edit_names_stay(data):
    """Only the line that is set and the water change."""
    formula = data.draw(formulas())
    edit = data.draw(st.one_of(edits_of(formula)))
    after = apply(formula, [edit], compose)
    new, old = lines_of(after), lines_of(formula)
    changed = {o.name for o, n in zip(old, new, strict=True) if o != n}
    assert changed <= {"Water", getattr(edit, "system", None), getattr(edit, "name", None)}


@UNHURRIED
@given(st.data())
def test_undoing_gives_the_formula_back(data):
    """A value set and set back, a material exchanged and exchanged back."""
    formula = filled(compose(data.draw(formulas())))
    edit = data.draw(st.one_of(edits_of(formula)))
    opened = compose(formula)
    match edit:
        case SetPh():
            back = SetPh(formula.measured.ph)
        case SetScale():
            back = SetScale(formula.product.scale_step_g)
        case SetDose(system, _):
            back = SetDose(system, next(s.percent for s in opened.systems if s.id == system))
        case Replace(name, by):
            was = next(w.percent for w in opened.lines if w.name == name)
            back = Replace(by.name, Share("ingredient", name, was))
        case SetTemperature():
            after = apply(formula, [edit], compose)
            assert [p.model_copy(update={"added_at_c": None}) for p in after.phases] == [
                p.model_copy(update={"added_at_c": None}) for p in formula.phases
            ]
            return
    again = apply(apply(formula, [edit], compose), [back], compose)
    assert named_percents(again) == percents(formula)
    assert (again.measured, again.product) == (formula.measured, formula.product)
    assert [(p.name, p.added_at_c) for p in again.phases] == [
        (p.name, p.added_at_c) for p in formula.phases
    ]


@UNHURRIED
@given(st.data())
def test_added_and_taken_out(data):
    """A system that goes in and out again leaves nothing behind."""
    formula = filled(compose(data.draw(formulas())))
    share = Share("preservative", "phenoxyethanol-ethylhexylglycerin-90-10", 0.5)
    there = apply(formula, [Add(share, "heated")], compose)
    assert apply(there, [Remove("phenoxyethanol-ethylhexylglycerin-90-10")], compose) == formula
    line = Line(name="Inulin", kind="ingredient", amount=1)
    assert (
        without_lines(with_line(formula, line, formula.phases[-1].name), [len(lines_of(formula))])
        == formula
    )


@UNHURRIED
@given(st.data())
def test_edits_of_different_lines_commute(data):
    """In whatever order, the formula is the same to the last digit."""
    formula = data.draw(formulas())
    edits = [data.draw(edit) for edit in edits_of(formula)]
    order = data.draw(st.permutations(edits))
    replaced = [e for e in edits if isinstance(e, Replace)]
    if len(replaced) > 1:  # two lines of the same new name would be told apart by nothing
        edits, order = ([e for e in some if e not in replaced[1:]] for some in (edits, order))
    assert apply(formula, edits, compose) == apply(formula, order, compose)


@UNHURRIED
@given(formulas(), st.integers(1, 5000))
def test_rescaled(formula, batch_g):
    """Another size of the batch, the same shares; back again, the same grams."""
    after = rescaled(formula, batch_g)
    assert line_percents(after) == (
        pytest.approx(line_percents(formula)[0]),
        pytest.approx(batch_g),
    )
    again = rescaled(after, 200)
    assert [x.amount for x in lines_of(again)] == pytest.approx(
        [x.amount for x in lines_of(formula)], nan_ok=True
    )


@UNHURRIED
@given(formulas())
def test_nothing_to_do(formula):
    """No edit and the edit to what is leave the formula as it is."""
    assert apply(formula, [], compose) == formula
    assert at_ph(formula, 5.0) == formula


# ---- JSON ----

WRITTEN = [
    (SetPh(4.5), {"set": "measured.ph", "to": 4.5}),
    (SetTemperature("cool-down", 38), {"set": "phase.cool-down.added_at_c", "to": 38}),
    (SetTemperature("B. oils", 38), {"set": "phase.B. oils.added_at_c", "to": 38}),
    (SetDose("phenoxyethanol", 0.8), {"set": "preservative.phenoxyethanol.percent", "to": 0.8}),
    (SetScale(0.01), {"set": "product.scale_step_g", "to": 0.01}),
    (
        Add(Share("ingredient", "Sodium Phytate", 0.1), "heated"),
        {"add": {"ingredient": "Sodium Phytate", "percent": 0.1, "phase": "heated"}},
    ),
    (
        Add(Share("preservative", "sodium-benzoate", 0.6), "cool-down"),
        {"add": {"preservative": "sodium-benzoate", "percent": 0.6, "phase": "cool-down"}},
    ),
    (
        Replace("Xanthan Gum", Share("ingredient", "Hydroxyethylcellulose", 0.5)),
        {"replace": "Xanthan Gum", "by": {"ingredient": "Hydroxyethylcellulose", "percent": 0.5}},
    ),
    (
        Replace("Xanthan Gum", Share("ingredient", "Hydroxyethylcellulose")),
        {"replace": "Xanthan Gum", "by": {"ingredient": "Hydroxyethylcellulose"}},
    ),
    (Remove("phenoxyethanol"), {"remove": "phenoxyethanol"}),
]


@pytest.mark.parametrize(("edit", "data"), WRITTEN)
def test_json(edit, data):
    """Each form is written and read as the contract has it."""
    assert to_json(edit) == data
    assert from_json(data) == edit


@pytest.mark.parametrize(
    "data",
    [
        {},
        {"set": "measured.ph"},
        {"set": "measured.colour", "to": 1},
        {"set": "measured.ph", "to": 4, "and": 5},
        {"set": "measured.ph", "to": "4"},
        {"set": "measured.ph", "to": True},
        {"set": "measured.ph", "to": float("nan")},
        {"set": "measured.ph", "to": 15},
        {"set": "product.scale_step_g", "to": 0},
        {"set": "phase.x.added_at_c", "to": 1e9},
        {"set": "preservative.x.percent", "to": -1},
        {"add": {"ingredient": "Glycerin", "phase": "a"}},
        {"add": {"percent": 1, "phase": "a"}},
        {"add": {"ingredient": "Glycerin", "percent": 1, "phase": "a", "grams": 3}},
        {"replace": "Glycerin", "by": "Inulin"},
        {"remove": 3},
    ],
)
def test_what_is_no_edit(data):
    """Anything else is refused."""
    with pytest.raises(FormulaError, match="edit"):
        from_json(data)
