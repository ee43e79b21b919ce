"""Formulas with each of many systems in place of their own preservatives, as arrays.

The same edits as where one formula is looked at: its own preservatives are taken out, its rest line
(else its water) makes room, and the system goes in with the phase that took the last of them, else
at the end, two degrees below the temperature that it bears.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from preservecheck.arrays.formulas import formula_arrays_of
from preservecheck.arrays.law import fitting, holding, lawful_dose, rules
from preservecheck.arrays.recipes import Profile, Recipes
from preservecheck.arrays.tables import TableArrays
from preservecheck.checks import with_key
from preservecheck.formula.materials import WATER, MaterialResolver
from preservecheck.ranking.candidate import SOLVENT_PERCENT, added_at
from preservecheck.ranking.window import MARGIN
from preservecheck.reference.rows import System
from preservecheck.verdict import Bools, Floats, Ints


@dataclass(frozen=True)
class BaseRecipes:
    """Formulas without their own preservatives."""

    recipes: Recipes
    place: Ints  # (N,) phase, on axis H, that the last of them went in with; -1 where none did
    own_systems: tuple[frozenset[str], ...]  # (N,)

    @classmethod
    def of(cls, recipes: Recipes) -> BaseRecipes:
        """The base of each formula; see ``formula.edit.without_preservatives``."""
        roles = recipes.roles
        formula = recipes.line_formula[roles.line]
        keep = np.ones(len(recipes.amount), dtype=bool)
        named = roles.line[roles.declared]
        keep[named] = False
        place = np.full(recipes.count, -1)
        # in order, so the last one stays
        place[recipes.line_formula[named]] = recipes.line_phase[named]
        water = np.array([m.inci == WATER for m in recipes.materials], dtype=bool)
        filler = recipes.amounts.fillers(water[recipes.line_material], keep)
        amount, rest = recipes.amount.copy(), np.zeros(len(recipes.amount), dtype=bool)
        amount[filler], rest[filler] = np.nan, True
        own: list[set[str]] = [set() for _ in range(recipes.count)]
        for n, system in zip(formula, roles.system, strict=True):
            own[n].add(roles.ids[system])
        base = replace(
            recipes,
            stated_batch_g=np.where(
                recipes.in_grams, recipes.amounts.batch_g, recipes.stated_batch_g
            ),
            line_formula=recipes.line_formula[keep],
            line_phase=recipes.line_phase[keep],
            line_material=recipes.line_material[keep],
            amount=amount[keep],
            rest=rest[keep],
        )
        return cls(base, place, tuple(map(frozenset, own)))

    @property
    def room(self) -> Floats:
        """What can give way to a system. [% of the formula] (N,)"""
        return self.recipes.summed(np.where(self.recipes.rest, self.recipes.percent, 0.0))


def lawful_doses(
    base: BaseRecipes, reference: TableArrays, systems: Sequence[System], resolver: MaterialResolver
) -> Floats:
    """Dose at which the first limit of the law is met, from what each formula holds already. [%]
    (S, N)"""
    before = with_key("percent_as_limited").compute(formula_arrays_of(base.recipes, reference))
    profiles = base.recipes.profiles
    markets = tuple(dict.fromkeys(r.market for r in rules(reference)))
    sold = np.zeros((len(profiles), len(rules(reference))), dtype=bool)
    for i, p in enumerate(profiles):
        for name in p.markets:
            sold[i] |= holding(reference, name)
    # products that fall under the same rules on the same day share an answer
    asked: dict[tuple[frozenset[str], dt.date], tuple[int, Profile]] = {}
    each = [asked.setdefault((fitting(p), p.on_market), (len(asked), p))[0] for p in profiles]
    pure = [
        brought(reference, tuple(systems), replace(p, markets=markets), resolver)
        for _, p in asked.values()
    ]
    slope = np.stack([p[0] for p in pure], axis=1)  # (S, A, R)
    applies = np.stack([p[1] for p in pure], axis=1)
    which = np.array(each)[base.recipes.profile]
    out = np.full((len(systems), base.recipes.count), np.inf)
    formulas = np.arange(base.recipes.count)
    for s in range(len(systems)):
        touched = np.flatnonzero((slope[s] > 0).any(axis=0))
        law, at = np.ix_(which, touched), np.ix_(formulas, touched)
        out[s] = lawful_dose(
            before["percent_as_limited"][at],
            slope[s][law],
            before["applies"][at] | (applies[s][law] & sold[base.recipes.profile][:, touched]),
            before["kind"][at],
            before["percent_max"][at],
        )
    return out


@lru_cache(maxsize=512)
def brought(
    reference: TableArrays,
    systems: tuple[System, ...],
    profile: Profile,
    resolver: MaterialResolver,
) -> tuple[Floats, Bools]:
    """What each per cent of a system counts for in every rule, and the rules that it brings into
    play. (S, R) each"""
    n = len(systems)
    unknown, each = np.full(n, np.nan), np.arange(n)
    recipes = Recipes(
        ph=unknown,
        ph_tolerance=unknown,
        sample_c=unknown,
        aw_measured=unknown,
        aw_tolerance=unknown,
        stated_batch_g=unknown,
        scale_step_g=unknown,
        in_grams=np.zeros(n, dtype=bool),
        profiles=(profile,),
        profile=np.zeros(n, dtype=int),
        phase_formula=each,
        heated_c=unknown,
        added_c=unknown,
        line_formula=each,
        line_phase=each,
        line_material=each,
        amount=np.full(n, 100.0),
        rest=np.zeros(n, dtype=bool),
        materials=tuple(resolver.resolve(s.id, kind="preservative") for s in systems),
    )
    pure = with_key("percent_as_limited").compute(formula_arrays_of(recipes, reference))
    return pure["percent_as_limited"] / 100, pure["applies"].astype(bool)


def doses(base: BaseRecipes, systems: Sequence[System], lawful: Floats) -> Floats:
    """The dose that each system is tried at: the middle of its usage range, less where the law
    allows less. [%] (S, N)

    Never below the range: where the law allows less than its least dose, the checks say so. A
    solvent is tried at the least dose that its row names, since it takes the place of water.
    """
    least = np.array([s.usage_min_percent for s in systems])[:, None]
    most = np.array([s.usage_max_percent for s in systems])[:, None]
    solvent = np.array(
        [
            [s.usage_min_percent >= SOLVENT_PERCENT and s.id not in own for own in base.own_systems]
            for s in systems
        ],
        dtype=bool,
    ).reshape(len(systems), base.recipes.count)
    middle = np.where(solvent, least, (least + most) / 2)
    dose: Floats = np.maximum(np.minimum(middle, np.floor(lawful / MARGIN * 1e4) / 1e4), least)
    return dose


def with_each(
    base: BaseRecipes, systems: Sequence[System], dose: Floats, resolver: MaterialResolver
) -> Recipes:
    """Every formula with every system at its dose [%] (S, N), the formulas of the first system
    first. (S * N formulas)"""
    recipes, waiting = _with_place(base)
    n, lines = recipes.count, recipes.line_material == waiting
    formula = recipes.line_formula[lines]
    percent, grams = dose[:, formula], recipes.in_grams[formula]
    batch_g = np.where(grams, np.nan_to_num(recipes.stated_batch_g[formula]), 100.0)
    out = recipes.repeated(len(systems))
    new = np.tile(lines, len(systems))
    material, amount = out.line_material.copy(), out.amount.copy()
    material[new] += np.repeat(np.arange(len(systems)), n)
    amount[new] = np.where(grams, percent / 100 * batch_g, percent).reshape(-1)
    # a phase of its own goes in at the temperature that suits the system
    added_c = out.added_c.reshape(len(systems), -1).copy()
    cool = np.array([added_at([s]) for s in systems])
    added_c[:, np.isinf(recipes.added_c)] = cool[:, None]
    return replace(
        out,
        added_c=added_c.reshape(-1),
        line_material=material,
        amount=amount,
        materials=(
            *recipes.materials,
            *(resolver.resolve(s.id, kind="preservative") for s in systems),
        ),
    )


def _with_place(base: BaseRecipes) -> tuple[Recipes, int]:
    """The base with one more line in each formula, of a material yet to come, and the number of
    that material.

    Phases that hold nothing are left out; a phase of its own has an infinite addition temperature
    until it is known.
    """
    recipes = base.recipes
    n, waiting = recipes.count, len(recipes.materials)
    alone = np.flatnonzero(base.place < 0)
    place = base.place.copy()
    place[alone] = len(recipes.phase_formula) + np.arange(alone.size)
    phase_formula = np.concatenate([recipes.phase_formula, alone])
    used = np.zeros(len(phase_formula), dtype=bool)
    used[recipes.line_phase], used[place] = True, True
    order = np.argsort(phase_formula, kind="stable")
    order = order[used[order]]
    number = np.empty(len(phase_formula), dtype=int)
    number[order] = np.arange(len(order))
    phase = number[np.concatenate([recipes.line_phase, place])]
    # phases stand in the order of the formulas, new lines last in theirs
    lines = np.argsort(phase, kind="stable")

    def longer(values: Any, new: Any, which: Ints) -> Any:
        return np.concatenate([values, new])[which]

    return replace(
        recipes,
        phase_formula=phase_formula[order],
        heated_c=longer(recipes.heated_c, np.full(alone.size, np.nan), order),
        added_c=longer(recipes.added_c, np.full(alone.size, np.inf), order),
        line_formula=longer(recipes.line_formula, np.arange(n), lines),
        line_phase=phase[lines],
        line_material=longer(recipes.line_material, np.full(n, waiting), lines),
        amount=longer(recipes.amount, np.zeros(n), lines),
        rest=longer(recipes.rest, np.zeros(n, dtype=bool), lines),
    ), waiting
