"""The pH to aim at, as the plan of the review has it, and the window around it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from preservecheck.errors import Hint
from preservecheck.formula.edit import at_ph
from preservecheck.formula.model import Formula
from preservecheck.plan.report import PlanReport, planned
from preservecheck.plan.targets import Target
from preservecheck.plan.trials import Trials
from preservecheck.reference.load import Tables
from preservecheck.text import join_or, number, sentence

# closer than this is the same pH
_SAME_PH = 1e-9


@dataclass(frozen=True)
class Aim:
    """Where to go, and why."""

    target: float | None
    window: tuple[float, float] | None
    inside: bool  # nothing has to be added
    because: str
    notes: tuple[str, ...] = ()
    hints: tuple[Hint, ...] = ()


@dataclass(frozen=True)
class Window:
    """Lowest and highest pH that a formula may have, and what sets them."""

    span: tuple[float, float] | None  # None: no pH suits all, or none makes a difference
    aim: Target | None  # with the meter's tolerance kept inside
    because: str


def window_of(made: PlanReport) -> Window:
    """Lowest and highest pH that suit all that hangs on it, as the plan has them, and what sets
    them."""
    if made.clash is not None:
        a, b = made.clash.first, made.clash.second
        (low, high), (other_low, other_high) = made.clash.first_range, made.clash.second_range
        return Window(
            None,
            None,
            f"{a} asks for pH {number(low)} to {number(high)}, {b} for {number(other_low)} to "
            f"{number(other_high)}: no pH suits both",
        )
    aim = made.targets.get("ph")
    if aim is None:
        return Window(None, None, "nothing here hangs on the pH")
    span = aim.low, aim.high
    ends = (("below", span[0], aim.low_by), ("above", span[1], aim.high_by))
    said = join_or([f"{where} pH {number(ph)} ({by or 'custom'})" for where, ph, by in ends])
    return Window(span, aim, f"it does less well {said}")


def plan_for(
    formula: Formula, tables: Tables, today: dt.date, start: float | None = None
) -> PlanReport:
    """The plan of a formula, at the pH that a sample of it was found to have."""
    measured = formula if start is None else at_ph(formula, start)
    return planned(Trials(tables, today), measured)


def aim_of(made: PlanReport, start: float | None, tolerance: float, target: float | None) -> Aim:
    """The pH to reach.

    Parameters
    ----------
    made
        The plan of the formula.
    start
        Measured pH, of the titration or of the formula. [-]
    tolerance
        Of the reading, half-width. [-]
    target
        What the maker asked for. [-]
    """
    found = window_of(made)
    why = sentence(found.because)
    if start is None:
        why += (
            " The pH was not measured, so there is nothing to start from: measure it at 20 to 25 "
            "°C and write it into the formula as the measured pH, or titrate a sample."
        )
        return Aim(target, found.span, False, why, _notes(found, target))
    if target is not None:
        inside = abs(start - target) <= _SAME_PH
        why += " It is there already; nothing has to be added." if inside else ""
        return Aim(target, found.span, inside, why, _notes(found, target))
    if found.aim is None:
        why += (
            " Change the preservative or the product; do not adjust the pH until then, or say "
            "where to go."
        )
        return Aim(None, found.span, False, why, hints=(Hint.RANK_SYSTEMS, Hint.TARGET))
    if abs(start - found.aim.value) <= _SAME_PH:
        why += f" pH {number(start)} ± {number(tolerance)} lies inside; nothing has to be added."
        return Aim(start, found.span, True, why)
    why += f" Aim for {number(found.aim.value)}."
    return Aim(found.aim.value, found.span, False, why)


def _notes(found: Window, target: float | None) -> tuple[str, ...]:
    if target is None or found.span is None or found.span[0] <= target <= found.span[1]:
        return ()
    low, high = map(number, found.span)
    return (f"The target {number(target)} lies outside the window of pH {low} to {high}.",)
