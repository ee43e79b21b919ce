"""A system put into formulas as arrays is the same edit as in a formula alone."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from preservecheck.arrays.recipes import recipes_of
from preservecheck.formula.edit import without_preservatives
from preservecheck.ranking.base import BaseFormula
from preservecheck.ranking.candidate import Candidate
from preservecheck.reference.load import load_tables
from preservecheck.screen.substitution import BaseRecipes, with_each
from tests.generated import formulas
from tests.helpers import TODAY, compose, make_formula

TABLES = load_tables()
AXES = (
    "stated_batch_g", "in_grams", "phase_formula", "heated_c", "added_c", "line_formula",
    "line_phase", "amount", "rest", "percent", "batch_g",
)  # fmt: skip


def same(left, right):
    """Fail unless two recipes are alike to the last digit, materials by what they are."""
    for axis in AXES:
        np.testing.assert_array_equal(getattr(left, axis), getattr(right, axis), err_msg=axis)
    names = [[r.materials[m].name for m in r.line_material] for r in (left, right)]
    assert names[0] == names[1]


@given(st.lists(formulas(), min_size=1, max_size=4))
def test_base(some):
    """Without their own preservatives: the same line fills up, by the same amount."""
    arrays = BaseRecipes.of(recipes_of([compose(f) for f in some], TODAY)).recipes
    bases = [without_preservatives(compose(f)) for f in some]
    same(arrays, recipes_of([compose(f) for f in bases], TODAY))


@given(st.lists(formulas(), min_size=1, max_size=3), st.data())
def test_with_each(some, data):
    """Each system in each formula, in the phase and at the temperature where a ranking has it."""
    systems = data.draw(
        st.lists(st.sampled_from(TABLES.systems), min_size=1, max_size=3, unique_by=lambda s: s.id)
    )
    doses = st.integers(1, 30).map(lambda n: n / 10)
    dose = np.array([[data.draw(doses) for _ in some] for _ in systems])
    bases = [BaseFormula(f, TABLES, TODAY, mend=False) for f in some]
    resolver = bases[0].composer.resolver
    arrays = with_each(
        BaseRecipes.of(recipes_of([compose(f) for f in some], TODAY)), systems, dose, resolver
    )
    wanted = [
        base.formula_with(Candidate(system, dose[s, n]))
        for s, system in enumerate(systems)
        for n, base in enumerate(bases)
    ]
    same(arrays, recipes_of([compose(f) for f in wanted], TODAY))


def test_room():
    """What fills up can give way: 100 % less 3 % glycerin, whatever the own preservative took."""
    formula = make_formula({"Glycerin": 3}, {"phenoxyethanol": 0.8})
    base = BaseRecipes.of(recipes_of([compose(formula)], TODAY))
    assert base.room == pytest.approx([97])
    assert base.own_systems == (frozenset({"phenoxyethanol"}),)
