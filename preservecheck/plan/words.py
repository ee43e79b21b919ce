"""Steps of a plan in words, from their edits: what a maker does, with grams for the batch."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from preservecheck.formula.amounts import line_percents
from preservecheck.formula.compose import Composition
from preservecheck.formula.edit import (
    Add,
    Edit,
    Remove,
    Replace,
    SetDose,
    SetPh,
    SetScale,
    SetTemperature,
)
from preservecheck.plan.targets import Target
from preservecheck.text import celsius, join_and, number, sentence
from preservecheck.units import mass_text

# usual in small workshops, as solutions of 10 to 20 %; common practice
ACID, BASE = "citric acid", "sodium hydroxide"


def step_words(edits: Sequence[Edit], opened: Composition, ph: Target | None) -> str:
    """What a maker does for some edits of a formula.

    Parameters
    ----------
    edits
        In the order of the work.
    opened
        The formula as it is before any step.
    ph
        The pH to aim at, with its ends.
    """
    cooled = {e.phase: e.to for e in edits if isinstance(e, SetTemperature)}
    added = {e.phase for e in edits if isinstance(e, Add) and e.share.kind == "preservative"}
    put_in = {e.share.name for e in edits if isinstance(e, Add)}
    leaving = [e.system for e in edits if isinstance(e, Remove) and e.system not in put_in]
    parts = [_part(edit, opened, ph, cooled, leaving) for edit in edits if _told(edit, added)]
    if leaving and not any(_takes_a_place(e) for e in edits):
        parts.insert(0, f"take out {join_and(leaving)}")
    return " ".join(sentence(part) for part in parts)


def _told(edit: Edit, added: set[str]) -> bool:
    """Whether an edit has words of its own, not those of another beside it."""
    if isinstance(edit, SetTemperature):
        return edit.phase not in added
    return not isinstance(edit, Remove)


def _takes_a_place(edit: Edit) -> bool:
    return isinstance(edit, Add) and edit.share.kind == "preservative"


def _part(
    edit: Edit,
    opened: Composition,
    ph: Target | None,
    cooled: Mapping[str, float],
    leaving: Sequence[str],
) -> str:
    match edit:
        case SetPh(to):
            out = _to_ph(to, opened.formula.measured.ph, ph)
        case SetTemperature(phase, to):
            out = f"let the batch cool to {celsius(to)} or less before phase {phase} goes in"
        case SetDose(system, to):
            before = next((s.percent for s in opened.systems if s.id == system), to)
            verb = "lower" if to < before else "raise"
            out = f"{verb} {system} from {number(before)} % to {_amount(to, opened)}"
        case SetScale(to):
            out = f"weigh the preservative on a scale that shows {mass_text(to)}"
        case Replace(name, by):
            amount = f"{_amount(by.percent, opened)} " if by.percent is not None else ""
            out = f"use {amount}{by.name} in the place of {name}"
        case Add(share, phase):
            heat = f", at {celsius(cooled[phase])} or less" if phase in cooled else ""
            out = f"add {_amount(share.percent or 0.0, opened)} {share.name} in phase {phase}{heat}"
            if share.name in {s.id for s in opened.systems}:
                out += ", not where it is now"
            if share.kind == "preservative" and leaving:
                out = f"take out {join_and(leaving)} and {out}"
        case Remove(system):
            out = f"take out {system}"
    return out


def _to_ph(to: float, now: float | None, aim: Target | None) -> str:
    down = now is None or to < now
    span = f" ({number(aim.low)} to {number(aim.high)})" if aim and aim.low < aim.high else ""
    start = "" if now is None else f" from {number(now)}"
    return (
        f"{'lower' if down else 'raise'} the pH{start} to {number(to)}{span} with "
        f"{ACID if down else BASE} solution, in small portions, and read it again after a day"
    )


def _amount(percent: float, opened: Composition) -> str:
    grams = line_percents(opened.formula)[1]
    weight = "" if grams is None else f" ({mass_text(round(percent / 100 * grams, 6))})"
    return f"{number(percent)} %{weight}"
