"""The dose to aim at: found by judging a formula over the whole range of a system."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from preservecheck.formula.edit import Add, Edit, SetDose, Share
from preservecheck.formula.model import Formula
from preservecheck.plan.levers import Lever, Option, dose_between
from preservecheck.plan.targets import Target, run_at
from preservecheck.plan.trials import Trials, weights
from preservecheck.reference.rows import System

# doses that are looked at between the ends of a range
GRID = 61
# no dose is advised nearer to a cap than this; judgement of this program
BELOW_CAP = 0.95
BELOW_CAP_SENSITISER = 0.8
# where in its range a new system is dosed; common practice
UPPER = 0.8
_NOISE = 1e-9


@dataclass(frozen=True)
class DoseGrid:
    """What is wrong with a formula at each dose of a system."""

    percent: np.ndarray[tuple[int, ...], np.dtype[np.float64]]
    weight: dict[str, np.ndarray[tuple[int, ...], np.dtype[np.float64]]]


def dose_grid(trials: Trials, formula: Formula, system: System, present: float) -> DoseGrid | None:
    """A formula judged over the usage range of one of its systems.

    What is weighed changes evenly with a dose, so two recipes give all that lie between them.
    """
    low, high = system.usage_min_percent, system.usage_max_percent
    ends = [trials.changed(formula, [SetDose(system.id, p)]) for p in (low, high)]
    if low >= high or ends[0] is None or ends[1] is None:
        return None
    case = trials.arrays([ends[0], ends[1]])
    if (case.system[0] != case.system[1]).any() or (case.addition[0] != case.addition[1]).any():
        return None
    percent = np.unique(np.append(np.linspace(low, high, GRID), np.clip(present, low, high)))
    share = ((percent - low) / (high - low))[:, None]
    between = {
        name: (1 - share) * getattr(case, name)[:1] + share * getattr(case, name)[1:]
        for name in ("amount", "preserving", "with_oil", "system_percent")
    }
    first = {
        f: getattr(case, f)[:1]
        for f in (
            "ph",
            "ph_tolerance",
            "sample_c",
            "aw_measured",
            "aw_tolerance",
            "batch_g",
            "scale_step_g",
            "system",
            "declared",
            "addition",
            "addition_c",
            "peak_c",
            "temperature_tolerance_c",
            "profile",
        )
    }
    # every case has its own row, whichever figures it hangs on
    first |= {f: np.repeat(v, len(percent), axis=0) for f, v in first.items()}
    many = replace(case, **between, **first, compositions=())
    return DoseGrid(percent, weights(many, len(percent)))


def dose_target(grid: DoseGrid, present: float, system: System) -> Target | None:
    """The dose to aim at; ``None`` where none is better than another. [%]

    The present dose stays where it is as good as any. Else it is the nearest that one would write,
    with something in hand below a cap that is not the end of the supplier's range.
    """
    if not grid.weight:
        return None
    total = np.asarray(sum(grid.weight.values()))
    good = total <= total.min() + _NOISE
    span = run_at(good, grid.percent, present)
    if span is None:
        return None
    low, high = span
    inside = low - _NOISE <= present <= high + _NOISE
    if inside:
        return Target(present, low, high, "%")
    share = BELOW_CAP_SENSITISER if system.sensitiser_note and _is_strong(system) else BELOW_CAP
    if present < low:
        aim = dose_between(low, high, max(low, upper_dose(system)))
    else:
        aim = dose_between(low, max(high * share, low), present)
    return None if aim is None else Target(aim, low, high, "%")


def _is_strong(system: System) -> bool:
    return system.usage_max_percent <= 0.2


def options(trials: Trials, formula: Formula) -> list[Option]:
    """Each declared system at the dose to aim at, where that is another one."""
    opened = trials.compose(formula)
    out = []
    for use in opened.systems:
        row = trials.systems.get(use.id)
        if row is None or not use.declared:
            continue
        grid = dose_grid(trials, formula, row, use.percent)
        target = dose_target(grid, use.percent, row) if grid is not None else None
        if target is not None and abs(target.value - use.percent) > _NOISE:
            out.append(Option(Lever.PRESERVATIVE, (SetDose(use.id, target.value),)))
    return out


def redosed(added: Option, dose: Option) -> Option:
    """An addition with the dose that was found for it."""
    (to,) = (e for e in dose.edits if isinstance(e, SetDose))
    edits: list[Edit] = []
    for edit in added.edits:
        if isinstance(edit, Add) and edit.share.name == to.system:
            edits.append(Add(Share("preservative", to.system, to.to), edit.phase))
        else:
            edits.append(edit)
    return Option(added.lever, tuple(edits))


def of_a_new_one(system: System) -> float:
    """The dose at which a system goes in that was not there before. [%]"""
    low, high = system.usage_min_percent, system.usage_max_percent
    return dose_between(low, high, upper_dose(system)) or high


def upper_dose(system: System) -> float:
    """A dose in the upper half of a range, with something in hand. [%]"""
    low, high = system.usage_min_percent, system.usage_max_percent
    return low + UPPER * (high - low)
