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

from preservecheck.arrays.formulas import THERMOMETER_C, Ints, Profile, cases_of
from preservecheck.arrays.recipes import Pile
from preservecheck.arrays.tables import Context
from preservecheck.checks import BY_ID, legal_limit
from preservecheck.checks.legal_rules import fitting, rules
from preservecheck.formula.materials import WATER, Opener
from preservecheck.ranking.base import SOLVENT_PERCENT, added_below
from preservecheck.ranking.window import MARGIN
from preservecheck.reference.rows import System
from preservecheck.verdict import Bools, Floats


@dataclass(frozen=True)
class Bare:
    """A pile without its own preservatives."""

    pile: Pile
    host_phase: (
        Ints  # (N,) index on axis H of the phase that the system goes into; -1 where there is none
    )
    had: tuple[frozenset[str], ...]  # (N,) systems that each formula held

    @property
    def room(self) -> Floats:
        """What can give way to a system. [% of the formula] (N,)"""
        return self.pile.summed(np.where(self.pile.rest, self.pile.percent, 0.0))


def bare(pile: Pile) -> Bare:
    """The pile without its own preservatives, each formula filled to 100 % by its rest line, else
    by its water."""
    roles = pile.roles
    keep = np.ones(len(pile.amount), dtype=bool)
    keep[roles.line] = False
    host = np.full(pile.count, -1)
    host[pile.line_formula[roles.line]] = pile.line_phase[
        roles.line
    ]  # in order, so the last one stays
    filler = _fillers(pile, keep)
    amount, rest = pile.amount.copy(), np.zeros(len(pile.amount), dtype=bool)
    amount[filler], rest[filler] = np.nan, True
    stated = np.where(
        pile.in_grams & np.isnan(pile.stated_batch_g), pile.total_g, pile.stated_batch_g
    )
    had: list[set[str]] = [set() for _ in range(pile.count)]
    for n, s in zip(pile.line_formula[roles.line], roles.system, strict=True):
        had[n].add(roles.ids[s])
    return Bare(
        replace(
            pile,
            stated_batch_g=stated,
            line_formula=pile.line_formula[keep],
            line_phase=pile.line_phase[keep],
            line_material=pile.line_material[keep],
            amount=amount[keep],
            rest=rest[keep],
        ),
        host,
        tuple(frozenset(h) for h in had),
    )


def _fillers(pile: Pile, keep: Bools) -> Ints:
    """The line of each formula that fills up: its rest line, else most of its water, else its
    largest line."""
    water = np.array([m.inci == WATER for m in pile.materials], dtype=bool)[pile.line_material]
    lines = np.flatnonzero(keep)
    of, order = pile.line_formula[lines], np.arange(len(lines))
    kind = np.where(pile.rest[lines], 2, np.where(water[lines], 1, 0))
    size = np.where(kind == 2, 0.0, pile.percent[lines])  # noqa: PLR2004  # of several rest lines the first
    best = np.lexsort((order, -size, -kind, of))
    return lines[best[np.unique(of[best], return_index=True)[1]]]


def lawful_doses(host: Bare, context: Context, systems: Sequence[System], opener: Opener) -> Floats:
    """Dose at which the first limit of the law is met, from what each formula holds already. [%]
    (S, N)"""
    law = BY_ID["legal-limit"]
    before = law.compute(cases_of(host.pile, context))
    profiles = host.pile.profiles
    markets = tuple(dict.fromkeys(r.market for r in rules(context)))
    sold = np.array([[m in p.markets for m in markets] for p in profiles], dtype=bool).reshape(
        len(profiles), -1
    )
    market = np.array([markets.index(r.market) for r in rules(context)])
    # products that fall under the same rules on the same day share an answer
    asked: dict[tuple[frozenset[str], dt.date], tuple[int, Profile]] = {}
    each = [asked.setdefault((fitting(p), p.on_market), (len(asked), p))[0] for p in profiles]
    found = [
        brought(context, tuple(systems), replace(p, markets=markets), opener)
        for _, p in asked.values()
    ]
    slope = np.stack([f[0] for f in found], axis=1)  # (S, A, R)
    applies = np.stack([f[1] for f in found], axis=1)
    which = np.array(each)[host.pile.profile]
    out = np.full((len(systems), host.pile.count), np.inf)
    every = np.arange(host.pile.count)
    for s in range(len(systems)):
        touched = np.flatnonzero((slope[s] > 0).any(axis=0))
        mine, at = np.ix_(which, touched), np.ix_(every, touched)
        out[s] = legal_limit.lawful_dose(
            before["percent_as_limited"][at],
            slope[s][mine],
            before["applies"][at]
            | (applies[s][mine] & sold[host.pile.profile][:, market[touched]]),
            before["kind"][at],
            before["percent_max"][at],
        )
    return out


@lru_cache(maxsize=512)
def brought(
    context: Context, systems: tuple[System, ...], profile: Profile, opener: Opener
) -> tuple[Floats, Bools]:
    """What each per cent of a system counts for in every rule, and the rules that it brings into
    play. (S, R) each"""
    n = len(systems)
    none = np.full(n, np.nan)
    pile = Pile(
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
    pure = BY_ID["legal-limit"].compute(cases_of(pile, context))
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
    ).reshape(len(systems), host.pile.count)
    middle = np.where(solvent, least, (least + most) / 2)
    dose: Floats = np.maximum(np.minimum(middle, np.floor(lawful / MARGIN * 1e4) / 1e4), least)
    return dose


def tried(host: Bare, systems: Sequence[System], dose: Floats, opener: Opener) -> Pile:
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
    pile, count = _with_place(host)
    n, times = pile.count, len(systems)
    lines, phases = len(pile.amount), len(pile.heated_c)

    step = np.repeat(np.arange(times), lines)
    place = pile.line_material == count  # the line that waits for a system
    material = np.tile(pile.line_material, times)
    material[np.tile(place, times)] += np.repeat(np.arange(times), n)
    percent = dose[:, pile.line_formula[place]]
    whole = np.where(pile.in_grams, pile.stated_batch_g, 100.0)[pile.line_formula[place]]
    amount = np.tile(pile.amount, times)
    amount[np.tile(place, times)] = np.where(
        pile.in_grams[pile.line_formula[place]], percent / 100 * np.nan_to_num(whole), percent
    ).reshape(-1)
    target = np.array([added_below(s) - THERMOMETER_C for s in systems])
    added = np.tile(pile.added_c, (times, 1))
    waits = np.isinf(pile.added_c)  # a phase of its own, at the temperature that suits the system
    added[:, waits] = target[:, None]
    return replace(
        pile,
        ph=np.tile(pile.ph, times),
        ph_tolerance=np.tile(pile.ph_tolerance, times),
        sample_c=np.tile(pile.sample_c, times),
        aw_measured=np.tile(pile.aw_measured, times),
        aw_tolerance=np.tile(pile.aw_tolerance, times),
        stated_batch_g=np.tile(pile.stated_batch_g, times),
        scale_step_g=np.tile(pile.scale_step_g, times),
        in_grams=np.tile(pile.in_grams, times),
        profile=np.tile(pile.profile, times),
        heated_c=np.tile(pile.heated_c, times),
        rest=np.tile(pile.rest, times),
        phase_formula=np.tile(pile.phase_formula, times) + n * np.repeat(np.arange(times), phases),
        added_c=added.reshape(-1),
        line_formula=np.tile(pile.line_formula, times) + n * step,
        line_phase=np.tile(pile.line_phase, times) + phases * step,
        line_material=material,
        amount=amount,
        materials=(*pile.materials, *(opener.plain(s.id, kind="preservative") for s in systems)),
    )


def _with_place(host: Bare) -> tuple[Pile, int]:
    """The bare pile with one more line in each formula, of a material yet to come, and the number
    of that material.

    Phases that hold nothing are left out; a phase of its own has an infinite addition temperature
    until it is known.
    """
    pile = host.pile
    n, count = pile.count, len(pile.materials)
    alone = np.flatnonzero(host.host_phase < 0)
    phase_formula = np.concatenate([pile.phase_formula, alone])
    heated = np.concatenate([pile.heated_c, np.full(alone.size, np.nan)])
    added = np.concatenate([pile.added_c, np.full(alone.size, np.inf)])
    into = host.host_phase.copy()
    into[alone] = len(pile.phase_formula) + np.arange(alone.size)
    used = np.zeros(len(phase_formula), dtype=bool)
    used[pile.line_phase], used[into] = True, True
    order = np.argsort(phase_formula, kind="stable")
    order = order[used[order]]
    number = np.empty(len(phase_formula), dtype=int)
    number[order] = np.arange(len(order))
    formula = np.concatenate([pile.line_formula, np.arange(n)])
    phase = number[np.concatenate([pile.line_phase, into])]
    lines = np.argsort(
        phase, kind="stable"
    )  # phases stand in the order of the formulas, new lines last in theirs
    return replace(
        pile,
        phase_formula=phase_formula[order],
        heated_c=heated[order],
        added_c=added[order],
        line_formula=formula[lines],
        line_phase=phase[lines],
        line_material=np.concatenate([pile.line_material, np.full(n, count)])[lines],
        amount=np.concatenate([pile.amount, np.zeros(n)])[lines],
        rest=np.concatenate([pile.rest, np.zeros(n, dtype=bool)])[lines],
    ), count
