"""Cases: formulas as arrays. One formula is one case; a grid of doses, many draws or a pile of
formulas are more.

All arrays have the cases in front and broadcast against each other, so a check written for one
formula works for all.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from preservecheck.arrays.filling import filled
from preservecheck.arrays.free import Free
from preservecheck.arrays.recipes import Recipes, recipes_of
from preservecheck.arrays.systems import Part, parts_of
from preservecheck.arrays.tables import TableArrays
from preservecheck.formula.compose import Composition
from preservecheck.formula.materials import Material
from preservecheck.reference.load import Tables
from preservecheck.reference.rows import Ingredient, ProductPh, System
from preservecheck.verdict import Bools, Floats

# traces do not decide a pH; common practice, no source [%]
TRACE_PERCENT = 0.1


class ProductPhWindow(NamedTuple):
    """Between which pH values a product should lie. (...,) each"""

    low: Floats  # of the product type by custom, or of the materials where these lie wholly apart
    high: Floats
    material_low: Floats  # narrowest stability window of the raw materials; infinite where open
    material_high: Floats
    apart: Bools  # whether the materials' window has taken the place of the custom


def customary_ph(tables: Tables, type_: str, use: str) -> ProductPh | None:
    """The row of a product type and use, or of the type in any use."""
    rows: dict[tuple[str, str], ProductPh] = {(r.type, r.use): r for r in tables.product_ph}
    return rows.get((type_, use)) or rows.get((type_, "any"))


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

    @cached_property
    def effective_ph(self) -> tuple[Floats, Floats]:
        """Lowest and highest pH at which each system works. (..., P) each"""
        c = self.reference
        return (
            self.system_values(c.system_column("ph_min")),
            self.system_values(c.system_column("ph_max")),
        )

    @cached_property
    def product_ph(self) -> ProductPhWindow:
        """The pH that suits product and raw materials."""
        c = self.reference
        rows = [customary_ph(c.tables, p.type, p.use) for p in self.profiles]
        custom = np.array([[np.nan, np.nan] if r is None else [r.ph_min, r.ph_max] for r in rows])[
            self.profile
        ]
        low, high = c.stable_ph
        there = self.amount >= TRACE_PERCENT
        least = np.where(there, low, -np.inf).max(axis=-1)
        most = np.where(there, high, np.inf).min(axis=-1)
        apart = (least > custom[..., 1]) | (most < custom[..., 0])
        return ProductPhWindow(
            np.where(apart, least, custom[..., 0]),
            np.where(apart, most, custom[..., 1]),
            least,
            most,
            apart,
        )

    def parts_added(self) -> Iterator[tuple[int, Part]]:
        """Each addition of the first case with each part of its system."""
        for a, slot in enumerate(self.addition[0]):
            if slot >= 0:
                for part in parts_of(self.reference.systems[int(self.system[0, slot])]):
                    yield a, part


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
