"""What can be changed in a formula, lever by lever, in the order in which a maker does it.

Each lever proposes edits for what is wrong; none is advised before it was tried. A lever is set
once in a plan, so no step takes back another.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from preservecheck.arrays.recipes import THERMOMETER_C
from preservecheck.checks import with_lever
from preservecheck.formula.compose import Composition, SystemUse
from preservecheck.formula.edit import (
    Add,
    Edit,
    Remove,
    Replace,
    SetDose,
    SetScale,
    SetTemperature,
    Share,
    new_phase_name,
)
from preservecheck.plan.targets import addition_c
from preservecheck.plan.trials import Trials
from preservecheck.reference.rows import Ingredient, System

# steps of the scales that are sold [g]; common practice
SCALES_G = (1.0, 0.1, 0.01, 0.001)
# from so much of a dose on it is written in such steps [%]; common practice
DOSE_STEPS = ((0.5, 0.1), (0.1, 0.05), (0.02, 0.01), (0.0, 0.001))
# a phase that is no hotter takes any preservative of the cool-down [°C]; common practice
COOL_ENOUGH_C = 45.0
# common practice [%]
CHELATOR_PERCENT, CHELATOR_IN_CARBOMER_PERCENT = 0.1, 0.05
CHELATOR, NATURAL_CHELATOR = "Disodium EDTA", "Sodium Phytate"
_NOISE = 1e-9


class Lever(IntEnum):
    """What a step moves, in the order of the work."""

    SCALE = 0
    BASE = 1
    CHELATOR = 2
    TEMPERATURE = 3
    REMOVE = 4
    PRESERVATIVE = 5
    PARTNER = 6
    PH = 7


@dataclass(frozen=True)
class Option:
    """Edits of one lever."""

    lever: Lever
    edits: tuple[Edit, ...]


def dose_step(percent: float) -> float:
    """The step in which a dose of that size is written. [%]"""
    return next(step for least, step in DOSE_STEPS if percent >= least - _NOISE)


def dose_between(low: float, high: float, near: float) -> float | None:
    """The dose that one would write between two ends, nearest to a wish. [%]"""
    wish = min(max(near, low), high)
    for _, step in DOSE_STEPS:
        if step > dose_step(high) + _NOISE:
            continue
        tries = {round(np.floor(wish / step + s + _NOISE) * step, 6) for s in (-1, 0, 1)}
        fits = [d for d in tries if low - _NOISE <= d <= high + _NOISE and d > 0]
        if fits:
            return float(min(fits, key=lambda d: (abs(d - wish), d)))
    return None


def scale(opened: Composition) -> list[Option]:
    """Finer scales for the smallest dose of a preservative, the coarsest that will do first."""
    step = opened.formula.product.scale_step_g
    grams = [s.grams for s in opened.systems if s.grams and s.declared]
    lines = [check.lines for check in with_lever("scale") if check.lines]
    if step is None or not grams or not lines:
        return []
    good, bearable = (min(grams) * percent / 100 for percent in lines[0])
    finer = [s for s in SCALES_G if s < step - _NOISE]
    fits = [next((s for s in finer if s <= most + _NOISE), None) for most in (bearable, good)]
    return [Option(Lever.SCALE, (SetScale(s),)) for s in dict.fromkeys(fits) if s is not None]


def temperatures(opened: Composition, systems: Mapping[str, System]) -> list[Option]:
    """Phases that a preservative goes into, at a temperature that all in it bear."""
    own = {s.id: s for s in opened.extra_systems} | dict(systems)
    edits = []
    for at, phase in enumerate(opened.formula.phases):
        inside = [own[opened.systems[a.system].id] for a in opened.additions if a.phase == at]
        now = phase.added_at_c
        if not inside or now is None:
            continue
        limits = [s.heat_limit_c for s in inside if s.heat_limit_c is not None]
        to = addition_c(limits, THERMOMETER_C)
        if to < now - _NOISE:
            edits.append(SetTemperature(phase.name, to))
    options = [Option(Lever.TEMPERATURE, tuple(edits))] if edits else []
    moved = tuple(edit for use in opened.systems for edit in _out_of_the_heat(opened, use, systems))
    return [*options, Option(Lever.TEMPERATURE, moved)] if moved else options


def _out_of_the_heat(
    opened: Composition, use: SystemUse, systems: Mapping[str, System]
) -> tuple[Edit, ...]:
    """A system that stands in a phase that is heated goes in with one that is not."""
    at = opened.systems.index(use)
    phases = [opened.formula.phases[a.phase] for a in opened.additions if a.system == at]
    hot = any(p.added_at_c is None and (p.heated_to_c or 0.0) > COOL_ENOUGH_C for p in phases)
    if not hot or not use.declared or use.id not in systems:
        return ()
    return (Remove(use.id), *addition(opened, systems[use.id], round(use.percent, 6)).edits)


def chelators(opened: Composition, rows: Mapping[str, Ingredient]) -> list[Option]:
    """A chelator in the phase of the water."""
    inside = [rows[w.inci] for w in opened.lines if w.inci is not None and w.inci in rows]
    if any(row.role == "chelator" for row in inside):
        return []
    phases = opened.formula.phases
    named = (p.name for p in phases if any(line.rest for line in p.lines))
    phase = next(named, phases[0].name)
    carbomer = any("acrylate" in row.tags or row.inci == "Carbomer" for row in inside)
    percent = CHELATOR_IN_CARBOMER_PERCENT if carbomer else CHELATOR_PERCENT
    return [
        Option(Lever.CHELATOR, (Add(Share("ingredient", name, percent), phase),))
        for name in (CHELATOR, NATURAL_CHELATOR)
    ]


def replacements(opened: Composition, trials: Trials) -> list[Option]:
    """Other materials for those that do not bear the rest of the base."""
    rows, table = trials.composer.resolver.ingredients, trials.tables.replacements
    out = []
    lines = [w for w in opened.lines if w.inci in rows and w.system is None]
    every = set().union(*(_keys(rows[w.inci or ""]) for w in lines))
    for written in lines:
        row = rows[written.inci or ""]
        for other in table:
            met = not other.beside or not every.isdisjoint(other.beside)
            if met and other.by != row.inci and not _keys(row).isdisjoint(other.material):
                by = Share("ingredient", other.by, other.percent)
                out.append(Option(Lever.BASE, (Replace(written.name, by),)))
    return out


def _keys(row: Ingredient) -> set[str]:
    return {f"inci:{row.inci}", f"role:{row.role}", *(f"tag:{t}" for t in row.tags)}


def materials(trials: Trials) -> set[str]:
    """INCI names of all that a lever may put in."""
    return {CHELATOR, NATURAL_CHELATOR, *(row.by for row in trials.tables.replacements)}


def removals(opened: Composition) -> list[Option]:
    """One preservative of several taken out."""
    own = [s.id for s in opened.systems if s.declared]
    return [Option(Lever.REMOVE, (Remove(i),)) for i in own] if len(own) > 1 else []


def addition(opened: Composition, system: System, percent: float) -> Option:
    """A system put in where the formula's own goes in, or, where that is too hot, in a phase of
    its own at the end. [%]"""
    share = Share("preservative", system.id, percent)
    phase = next(_cool_phases(opened), None)
    if phase is not None:
        return Option(Lever.PRESERVATIVE, (Add(share, phase),))
    new = new_phase_name(opened.formula)
    to = addition_c([system.heat_limit_c], THERMOMETER_C)
    return Option(Lever.PRESERVATIVE, (Add(share, new), SetTemperature(new, to)))


def _cool_phases(opened: Composition) -> Iterator[str]:
    """Phases that are cool enough for a preservative: that of the formula's own first, then from
    the last on."""
    phases = opened.formula.phases
    heated = any(p.heated_to_c is not None for p in phases)
    own = [a.phase for a in reversed(opened.additions)]
    for at in dict.fromkeys([*own, *reversed(range(len(phases)))]):
        phase = phases[at]
        met = phase.added_at_c if phase.added_at_c is not None else phase.heated_to_c
        if met is None and heated and at not in own:
            continue
        if met is None or met <= COOL_ENOUGH_C or (at in own and phase.added_at_c is not None):
            yield phase.name


def partners(opened: Composition, trials: Trials) -> list[Option]:
    """What the systems here name as their partners, each at the low end, the middle and the high
    end of its range."""
    inside = {s.id for s in opened.systems}
    phases = {opened.systems[a.system].id: a.phase for a in opened.additions}
    out = []
    for use in opened.systems:
        row = trials.systems.get(use.id)
        for name in row.partners if row is not None else ():
            other = trials.systems.get(name)
            if other is None or name in inside:
                continue
            inside.add(name)
            low, high = other.usage_min_percent, other.usage_max_percent
            phase = opened.formula.phases[phases[use.id]].name
            doses = [dose_between(low, high, d) for d in ((low + high) / 2, high)]
            out += [
                Option(Lever.PARTNER, (Add(Share("preservative", name, d), phase),))
                for d in dict.fromkeys(doses)
                if d is not None
            ]
    return out


def dose(system: str, percent: float) -> Option:
    """Another dose of a system."""
    return Option(Lever.PRESERVATIVE, (SetDose(system, percent),))
