"""Piles of recipes filled into the arrays that the checks read.

The amounts of all substances in all formulas are the product of two sparse matrices: how much of
each raw material a formula holds, and what a gram of each raw material is made of. It is summed
triplet by triplet in the order of the lines, so that the last digit does not depend on what else is
in the pile.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from preservecheck.arrays.recipes import THERMOMETER_C, Recipes, spread, starts
from preservecheck.arrays.tables import TableArrays
from preservecheck.formula.materials import Material
from preservecheck.verdict import Floats, Ints


def filled(recipes: Recipes, reference: TableArrays) -> dict[str, Any]:
    """The arrays of formulas by name; the tables hold every substance and system of them."""
    n = recipes.count
    return dict(
        **_amounts(recipes, reference),
        ph=recipes.ph,
        ph_tolerance=recipes.ph_tolerance,
        sample_c=recipes.sample_c,
        aw_measured=recipes.aw_measured,
        aw_tolerance=recipes.aw_tolerance,
        batch_g=recipes.batch_g,
        scale_step_g=recipes.scale_step_g,
        **_systems(recipes, reference),
        temperature_tolerance_c=np.full(n, THERMOMETER_C),
        profiles=recipes.profiles,
        profile=recipes.profile,
    )


def _amounts(recipes: Recipes, reference: TableArrays) -> dict[str, Floats]:
    """Substances in all formulas. (N, K) each"""
    n, k = recipes.count, len(reference.names)
    substance, fraction, preserving, start = _parts(recipes.materials, reference)
    line, part = spread(recipes.line_material, start)
    substances, of = substance[part], recipes.line_formula[line]
    each = recipes.percent[line] * fraction[part]
    at = substances * n + of

    def whole(values: Floats) -> Floats:
        # substance by substance in memory: the checks go through it that way
        return np.bincount(at, values, k * n).astype(float, copy=False).reshape(k, n).T

    oily = (
        np.bincount(
            recipes.line_phase[line],
            (each > 0) & (reference.oil_phase[substances] > 0),
            len(recipes.heated_c),
        )
        > 0
    )
    hot = oily & ~np.isnan(recipes.heated_c)
    return {
        "amount": whole(each),
        "preserving": whole(np.where(preserving[part], each, 0.0)),
        "with_oil": whole(np.where(hot[recipes.line_phase[line]], each, 0.0)),
    }


def _parts(
    materials: Sequence[Material], reference: TableArrays
) -> tuple[Ints, Floats, Ints, Ints]:
    """Substance, fraction and whether it preserves of all parts; where each material starts."""
    parts = [p for m in materials for p in m.parts]
    return (
        np.array([reference.index[p.substance] for p in parts], dtype=int),
        np.array([p.fraction for p in parts], dtype=float),
        np.array([p.preserving for p in parts], dtype=bool),
        starts([len(m.parts) for m in materials]),
    )


def _systems(recipes: Recipes, reference: TableArrays) -> dict[str, Any]:
    """Systems of each formula as they first stand, and their additions. (N, P), (N, A)"""
    n, roles = recipes.count, recipes.roles
    number = np.array([reference.systems.index.get(i, -1) for i in roles.ids], dtype=int)[
        roles.system
    ]
    formula = recipes.line_formula[roles.line]
    kind = formula * (len(reference.systems.rows) + 1) + number
    _, first, use = np.unique(kind, return_index=True, return_inverse=True)
    in_turn = np.argsort(first)  # uses in the order of their first line
    rank = np.empty(len(first), dtype=int)
    rank[in_turn] = np.arange(len(first))
    first, use = first[in_turn], rank[use]
    place, width = _places(formula[first], n)
    system, declared = np.full((n, width), -1), np.zeros((n, width), dtype=bool)
    percent = np.full((n, width), np.nan)
    system[formula[first], place] = number[first]
    percent[formula[first], place] = np.bincount(use, roles.percent, len(first))
    declared[formula[first], place] = np.bincount(use, roles.declared, len(first)) > 0
    moment, moments = _places(formula, n)
    goes_in, peak = recipes.met_c
    phase = recipes.line_phase[roles.line]
    addition = np.full((n, moments), -1)
    addition_c, peak_c = np.full((n, moments), np.nan), np.full((n, moments), np.nan)
    addition[formula, moment] = place[use]
    addition_c[formula, moment] = goes_in[phase]
    peak_c[formula, moment] = peak[phase]
    return dict(
        system=system,
        system_percent=percent,
        declared=declared,
        addition=addition,
        addition_c=addition_c,
        peak_c=peak_c,
    )


def _places(formula: Ints, n: int) -> tuple[Ints, int]:
    """Place of each thing among those of its formula, and how many places are needed."""
    place = np.arange(len(formula)) - np.searchsorted(formula, np.arange(n))[formula]
    return place, max(1, int(place.max(initial=-1)) + 1)
