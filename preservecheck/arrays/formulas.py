"""Cases: formulas as arrays. One formula is one case; a grid of doses, many draws or a pile of
formulas are more.

All arrays have the cases in front and broadcast against each other, so a check written for one
formula works for all.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from preservecheck.arrays.filling import filled
from preservecheck.arrays.free import Free
from preservecheck.arrays.recipes import Recipes, recipes_of
from preservecheck.arrays.tables import TableArrays
from preservecheck.formula.composition import Composition
from preservecheck.formula.materials import Material
from preservecheck.reference.rows_materials import Ingredient, System
from preservecheck.verdict import Bools, Floats


@dataclass(frozen=True)
class FormulaArrays(Free):
    """Formulas as arrays, with the figures that several checks share; each is computed once."""

    def system_values(self, column: Floats) -> Floats:
        """A column of the systems table for each system of each case; not-a-number where there is
        none. (..., P)"""
        return np.where(
            self.system >= 0, np.take(column, np.maximum(self.system, 0), axis=0), np.nan
        )

    @cached_property
    def has_system(self) -> Bools:
        """True where a case has a system at that place. (..., P)"""
        return self.system >= 0


def table_arrays_of(
    materials: Sequence[Material],
    reference: TableArrays,
    own: Sequence[Ingredient] = (),
    systems: Sequence[System] = (),
) -> TableArrays:
    """A context of just what some raw materials hold, own ingredients and stand-in systems
    included.

    Figures do not depend on what else a context holds; a small one is built and multiplied faster.

    Parameters
    ----------
    materials
        The raw materials.
    context
        Reference arrays of the tables.
    own
        Ingredients that belong to the formulas alone.
    systems
        Systems that it has to hold besides.
    """
    tables = reference.tables
    extra = {s.id: s for m in materials for s in m.extra}
    used = (
        {r.system for m in materials for r in m.roles}
        if reference.only_systems is None
        else reference.only_systems
    )
    used = frozenset(used) | {s.id for s in systems}
    held = {p.substance for m in materials for p in m.parts}
    held |= {inci for s in tables.systems if s.id in used for inci, _ in s.composition}
    return TableArrays(tables, tuple(own), tuple(extra.values()), frozenset(held), used)


def formula_arrays_of(recipes: Recipes, reference: TableArrays) -> FormulaArrays:
    """A pile of recipes as arrays, against a context that holds all of it."""
    return FormulaArrays(reference=reference, **filled(recipes, reference))


def formula_arrays(
    compositions: Sequence[Composition], reference: TableArrays, today: dt.date
) -> FormulaArrays:
    """Formulas as arrays.

    Parameters
    ----------
    compositions
        Opened formulas.
    context
        Reference arrays of the tables.
    today
        The day whose law holds where a formula names none.
    """
    own = {i.inci: i for c in compositions for i in c.formula.own_ingredients}
    recipes = recipes_of(compositions, today)
    reference = table_arrays_of(recipes.materials, reference, tuple(own.values()))
    return FormulaArrays(
        reference=reference, **filled(recipes, reference), compositions=tuple(compositions)
    )
