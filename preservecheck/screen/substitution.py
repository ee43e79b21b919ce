"""Each formula of a pile with each of many systems in it, in place of its own preservatives.

The same rules as where one formula is looked at: its own preservatives are taken out, its rest line
(else its water) makes room, and the system goes in with the phase that took the last of them, else
at the end, two degrees below the temperature that it bears.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from preservecheck.arrays.formulas import formula_arrays_of
from preservecheck.arrays.inputs import THERMOMETER_C, Ints, Profile
from preservecheck.arrays.recipes import Recipes
from preservecheck.arrays.tables import TableArrays
from preservecheck.checks import BY_ID, legal_limit
from preservecheck.checks.legal_rules import fitting, rules
from preservecheck.formula.materials import WATER, MaterialResolver
from preservecheck.ranking.candidate import SOLVENT_PERCENT, added_below
from preservecheck.ranking.window import MARGIN
from preservecheck.reference.rows_materials import System
from preservecheck.verdict import Bools, Floats


@dataclass(frozen=True)
class Bare:
    """A pile without its own preservatives."""

    recipes: Recipes
    host_phase: (
        Ints  # (N,) index on axis H of the phase that the system goes into; -1 where there is none
    )
    had: tuple[frozenset[str], ...]  # (N,) systems that each formula held

    @property
    def room(self) -> Floats:
        """What can give way to a system. [% of the formula] (N,)"""
        return self.recipes.summed(np.where(self.recipes.rest, self.recipes.percent, 0.0))


def bare(recipes: Recipes) -> Bare:
    """The pile without its own preservatives, each formula filled to 100 % by its rest line, else
    by its water."""
    roles = recipes.roles
    keep = np.ones(len(recipes.amount), dtype=bool)
    keep[roles.line] = False
    host = np.full(recipes.count, -1)
    host[recipes.line_formula[roles.line]] = recipes.line_phase[
        roles.line
    ]  # in order, so the last one stays
    water = np.array([m.inci == WATER for m in recipes.materials], dtype=bool)
    filler = recipes.amounts.fillers(water[recipes.line_material], keep)
    amount, rest = recipes.amount.copy(), np.zeros(len(recipes.amount), dtype=bool)
    amount[filler], rest[filler] = np.nan, True
    stated = np.where(recipes.in_grams, recipes.amounts.batch_g, recipes.stated_batch_g)
    had: list[set[str]] = [set() for _ in range(recipes.count)]
    for n, s in zip(recipes.line_formula[roles.line], roles.system, strict=True):
        had[n].add(roles.ids[s])
    return Bare(
        replace(
            recipes,
            stated_batch_g=stated,
            line_formula=recipes.line_formula[keep],
            line_phase=recipes.line_phase[keep],
            line_material=recipes.line_material[keep],
            amount=amount[keep],
            rest=rest[keep],
        ),
        host,
        tuple(frozenset(h) for h in had),
    )


def lawful_doses(
    host: Bare, reference: TableArrays, systems: Sequence[System], opener: MaterialResolver
) -> Floats:
    """Dose at which the first limit of the law is met, from what each formula holds already. [%]
    (S, N)"""
    law = BY_ID["legal-limit"]
    before = law.compute(formula_arrays_of(host.recipes, reference))
    profiles = host.recipes.profiles
    markets = tuple(dict.fromkeys(r.market for r in rules(reference)))
    sold = np.array([[m in p.markets for m in markets] for p in profiles], dtype=bool).reshape(
        len(profiles), -1
    )
    market = np.array([markets.index(r.market) for r in rules(reference)])
    # products that fall under the same rules on the same day share an answer
    asked: dict[tuple[frozenset[str], dt.date], tuple[int, Profile]] = {}
    each = [asked.setdefault((fitting(p), p.on_market), (len(asked), p))[0] for p in profiles]
    found = [
        brought(reference, tuple(systems), replace(p, markets=markets), opener)
        for _, p in asked.values()
    ]
    slope = np.stack([f[0] for f in found], axis=1)  # (S, A, R)
    applies = np.stack([f[1] for f in found], axis=1)
    which = np.array(each)[host.recipes.profile]
    out = np.full((len(systems), host.recipes.count), np.inf)
    every = np.arange(host.recipes.count)
    for s in range(len(systems)):
        touched = np.flatnonzero((slope[s] > 0).any(axis=0))
        mine, at = np.ix_(which, touched), np.ix_(every, touched)
        out[s] = legal_limit.lawful_dose(
            before["percent_as_limited"][at],
            slope[s][mine],
            before["applies"][at]
            | (applies[s][mine] & sold[host.recipes.profile][:, market[touched]]),
            before["kind"][at],
            before["percent_max"][at],
        )
    return out


@lru_cache(maxsize=512)
def brought(
    reference: TableArrays, systems: tuple[System, ...], profile: Profile, opener: MaterialResolver
) -> tuple[Floats, Bools]:
    """What each per cent of a system counts for in every rule, and the rules that it brings into
    play. (S, R) each"""
    n = len(systems)
    none = np.full(n, np.nan)
    recipes = Recipes(
        ph=none,
        ph_tolerance=none,
        sample_c=none,
        aw_measured=none,
        aw_tolerance=none,
        stated_batch_g=none,
        scale_step_g=none,
        in_grams=np.zeros(n, dtype=bool),
        profiles=(profile,),
        profile=np.zeros(n, dtype=int),
        phase_formula=np.arange(n),
        heated_c=none,
        added_c=none,
        line_formula=np.arange(n),
        line_phase=np.arange(n),
        line_material=np.arange(n),
        amount=np.full(n, 100.0),
        rest=np.zeros(n, dtype=bool),
        materials=tuple(opener.plain(s.id, kind="preservative") for s in systems),
    )
    pure = BY_ID["legal-limit"].compute(formula_arrays_of(recipes, reference))
    return pure["percent_as_limited"] / 100, pure["applies"].astype(bool)


def doses(host: Bare, systems: Sequence[System], lawful: Floats) -> Floats:
    """The dose that each system is tried at: the middle of its usage range, less where the law
    allows less. [%] (S, N)

    Never below the range: where the law allows less than its least dose, the checks say so. A
    solvent is tried at the least dose that its row names, since it takes the place of water.
    """
    least = np.array([s.usage_min_percent for s in systems])[:, None]
    most = np.array([s.usage_max_percent for s in systems])[:, None]
    solvent = np.array(
        [
            [s.usage_min_percent >= SOLVENT_PERCENT and s.id not in had for had in host.had]
            for s in systems
        ],
        dtype=bool,
    ).reshape(len(systems), host.recipes.count)
    middle = np.where(solvent, least, (least + most) / 2)
    dose: Floats = np.maximum(np.minimum(middle, np.floor(lawful / MARGIN * 1e4) / 1e4), least)
    return dose


def tried(host: Bare, systems: Sequence[System], dose: Floats, opener: MaterialResolver) -> Recipes:
    """Every formula with every system, the formulas of the first system first. (S * N formulas)

    Parameters
    ----------
    host
        The pile without its own preservatives.
    systems
        The systems.
    dose
        Of each system in each formula, shape (S, N). [% of the formula]
    opener
        Opens the systems.
    """
    recipes, count = _with_place(host)
    n, times = recipes.count, len(systems)
    lines, phases = len(recipes.amount), len(recipes.heated_c)

    step = np.repeat(np.arange(times), lines)
    place = recipes.line_material == count  # the line that waits for a system
    material = np.tile(recipes.line_material, times)
    material[np.tile(place, times)] += np.repeat(np.arange(times), n)
    percent = dose[:, recipes.line_formula[place]]
    whole = np.where(recipes.in_grams, recipes.stated_batch_g, 100.0)[recipes.line_formula[place]]
    amount = np.tile(recipes.amount, times)
    amount[np.tile(place, times)] = np.where(
        recipes.in_grams[recipes.line_formula[place]], percent / 100 * np.nan_to_num(whole), percent
    ).reshape(-1)
    target = np.array([added_below(s) - THERMOMETER_C for s in systems])
    added = np.tile(recipes.added_c, (times, 1))
    waits = np.isinf(
        recipes.added_c
    )  # a phase of its own, at the temperature that suits the system
    added[:, waits] = target[:, None]
    return replace(
        recipes,
        ph=np.tile(recipes.ph, times),
        ph_tolerance=np.tile(recipes.ph_tolerance, times),
        sample_c=np.tile(recipes.sample_c, times),
        aw_measured=np.tile(recipes.aw_measured, times),
        aw_tolerance=np.tile(recipes.aw_tolerance, times),
        stated_batch_g=np.tile(recipes.stated_batch_g, times),
        scale_step_g=np.tile(recipes.scale_step_g, times),
        in_grams=np.tile(recipes.in_grams, times),
        profile=np.tile(recipes.profile, times),
        heated_c=np.tile(recipes.heated_c, times),
        rest=np.tile(recipes.rest, times),
        phase_formula=np.tile(recipes.phase_formula, times)
        + n * np.repeat(np.arange(times), phases),
        added_c=added.reshape(-1),
        line_formula=np.tile(recipes.line_formula, times) + n * step,
        line_phase=np.tile(recipes.line_phase, times) + phases * step,
        line_material=material,
        amount=amount,
        materials=(*recipes.materials, *(opener.plain(s.id, kind="preservative") for s in systems)),
    )


def _with_place(host: Bare) -> tuple[Recipes, int]:
    """The bare pile with one more line in each formula, of a material yet to come, and the number
    of that material.

    Phases that hold nothing are left out; a phase of its own has an infinite addition temperature
    until it is known.
    """
    recipes = host.recipes
    n, count = recipes.count, len(recipes.materials)
    alone = np.flatnonzero(host.host_phase < 0)
    phase_formula = np.concatenate([recipes.phase_formula, alone])
    heated = np.concatenate([recipes.heated_c, np.full(alone.size, np.nan)])
    added = np.concatenate([recipes.added_c, np.full(alone.size, np.inf)])
    into = host.host_phase.copy()
    into[alone] = len(recipes.phase_formula) + np.arange(alone.size)
    used = np.zeros(len(phase_formula), dtype=bool)
    used[recipes.line_phase], used[into] = True, True
    order = np.argsort(phase_formula, kind="stable")
    order = order[used[order]]
    number = np.empty(len(phase_formula), dtype=int)
    number[order] = np.arange(len(order))
    formula = np.concatenate([recipes.line_formula, np.arange(n)])
    phase = number[np.concatenate([recipes.line_phase, into])]
    lines = np.argsort(
        phase, kind="stable"
    )  # phases stand in the order of the formulas, new lines last in theirs
    return replace(
        recipes,
        phase_formula=phase_formula[order],
        heated_c=heated[order],
        added_c=added[order],
        line_formula=formula[lines],
        line_phase=phase[lines],
        line_material=np.concatenate([recipes.line_material, np.full(n, count)])[lines],
        amount=np.concatenate([recipes.amount, np.zeros(n)])[lines],
        rest=np.concatenate([recipes.rest, np.zeros(n, dtype=bool)])[lines],
    ), count
