"""Puts a system that ``choose`` recommends into a draft, and tells in words what that does.

The edits are those that the ranking judged; what the maker typed stays as it was typed. A pH that
is not measured yet and a scale that is not on the bench are no part of a recipe: they are told as
still to be done.
"""

from __future__ import annotations

from copy import deepcopy
from dataclasses import dataclass
from typing import TYPE_CHECKING

from preservecheck.assess.findings import composer_for
from preservecheck.formula.amounts import line_percents
from preservecheck.formula.edit import (
    Add,
    Replace,
    SetTemperature,
    as_written,
    lines_called,
    lines_of,
    preservative_lines,
    without_preservatives,
)
from preservecheck.formula.model import Formula
from preservecheck.page.context import system_name
from preservecheck.page.draft import Draft, Fields, PhaseDraft, is_blank, new_line, text_of
from preservecheck.page.editor import whole
from preservecheck.text import celsius, join_and, number, sentence

if TYPE_CHECKING:
    from preservecheck.ranking.result import Option
    from preservecheck.reference.load import Tables
    from preservecheck.reference.rows import System

# digits behind the point of an amount or temperature that is written into a field; hides the noise
# of binary numbers
PLACES = 9


@dataclass(frozen=True)
class Applied:
    """A draft with a system in it, and what was done."""

    draft: Draft
    system: str  # id
    name: str
    done: tuple[str, ...]
    todo: tuple[str, ...]


def applied_to(draft: Draft, formula: Formula, option: Option, tables: Tables) -> Applied:
    """A copy of the draft, which describes the formula, with a system in it that fits, as it is or
    after a change."""
    opened = composer_for(tables).compose(formula)
    own, base = preservative_lines(opened), without_preservatives(opened)
    names = {s.id: _called(s) for s in tables.systems}
    after = deepcopy(draft)
    typed = [line for phase in after.filled for line in phase.filled]
    percents, _ = line_percents(formula)
    removed = [
        f"{number(percents[n])} % {names.get(line.name, line.name)}"
        for n, line in enumerate(lines_of(formula))
        if n in own
    ]
    changed = _filled_up(after, [t for n, t in enumerate(typed) if n not in own], formula, base)
    emptied = _without(after, [typed[n] for n in own])
    put_in, place, own_phase = [], "", ""
    host: PhaseDraft | None = None
    for edit in option.edits:
        match edit:
            case Replace(name, by):
                for n in lines_called(opened, name):
                    changed.append(f"{typed[n]['ingredient'].strip()} is replaced by {by.name}")
                    typed[n]["ingredient"] = by.name
                    if by.percent is not None:
                        amount = as_written(base, by.percent)
                        typed[n]["amount"] = text_of(round(amount, PLACES))
            case Add(share, phase):
                if host is None:
                    host, own_phase = _host(after, phase, emptied), phase
                    place = f"in the phase {host.name}"
                amount = as_written(base, share.percent or 0.0)
                _add(host, share.name, amount)
                put_in.append(f"{number(share.percent or 0.0, PLACES)} % {names[share.name]}")
            case SetTemperature(phase, to) if host is not None and phase == own_phase:
                _set_temperature(after, host, to)
                place += f" that goes in when the batch is at {celsius(to)} or cooler"
            case SetTemperature(phase, to):
                for other in (p for p in after.phases if p.name == phase):
                    _set_temperature(after, other, to)
    # a phase that held nothing else is gone, unless the new one has taken its place
    after.phases = [p for p in after.phases if p.filled or not any(p is e for e in emptied)]
    done = [f"Put in: {join_and(put_in)}, {place}."]
    none = "There was no preservative of its own to take out."
    done += [f"Taken out: {text}." for text in removed] or [none]
    done += [sentence(text) for text in changed]
    if filled := whole(after)["said"]:
        done.append(f"The formula is filled to 100 % again. {filled}.")
    return Applied(
        draft=after,
        system=option.id,
        name=next(system_name(s) for s in tables.systems if s.id == option.id),
        done=tuple(done),
        todo=tuple(sentence(text) for text in option.outside),
    )


def _filled_up(after: Draft, kept: list[Fields], formula: Formula, base: Formula) -> list[str]:
    """Let the line of the base that fills up do so in the draft; says what changes."""
    said = []
    for fields, line in zip(kept, lines_of(base), strict=True):
        if line.rest and not fields.get("rest"):
            fields.pop("amount", None)
            fields["rest"] = "yes"
            said.append(f"{line.name} now fills up the rest")
    batch_g = base.product.batch_g
    if batch_g is not None and batch_g != formula.product.batch_g:
        after.product |= {"batch": text_of(round(batch_g, PLACES)), "batch_unit": "g"}
        said.append(f"the size of the batch is {number(batch_g)} g, so that one line can fill up")
    return said


def _without(after: Draft, gone: list[Fields]) -> list[PhaseDraft]:
    """Take lines out of the draft; says which phases have lost all of theirs."""
    held = after.filled
    for phase in held:
        phase.lines = [line for line in phase.lines if not any(line is g for g in gone)]
    return [phase for phase in held if not phase.filled]


def _host(after: Draft, name: str, emptied: list[PhaseDraft]) -> PhaseDraft:
    """The phase that takes the new lines: the one called so, or one of its own behind the others,
    an empty one that is there if there is one."""
    for phase in after.phases:
        if phase.name == name and (phase.filled or any(phase is e for e in emptied)):
            return phase
    last = max((i for i, p in enumerate(after.phases) if p.filled), default=-1)
    taken = [p.name.casefold() for p in after.phases]
    free = [
        p
        for p in after.phases[last + 1 :]
        if not any(p.fields.get(key, "").strip() for key in ("heated_to", "held"))
        and taken.count(p.name.casefold()) == 1
    ]
    # the one that the old preservative went in with keeps its place
    free.sort(key=lambda p: not any(p is e for e in emptied))
    if not free:
        free.append(PhaseDraft())
        after.phases += free
    free[0].fields |= {"name": free[0].name or name}
    return free[0]


def _add(host: PhaseDraft, system: str, amount: float) -> None:
    """Write a line with a system behind those that are filled in; a line that waits for a
    preservative has got it."""
    written = {"preservative": system, "amount": text_of(round(amount, PLACES))}
    line = new_line("preservative") | written
    blank = [x for x in host.lines if is_blank(x) and x.get("kind") != "preservative"]
    host.lines = [*host.filled, line, *blank]


def _set_temperature(after: Draft, host: PhaseDraft, celsius_: float) -> None:
    """Write when a phase goes in, in °F where the maker writes °F."""
    typed = [
        (text, phase.fields.get(f"{key}_unit"))
        for phase in after.phases
        for key in ("heated_to", "added_at")
        if (text := phase.fields.get(key, "").strip())
    ]
    fahrenheit = any(unit == "°F" or "f" in text.casefold() for text, unit in typed)
    at, unit = (celsius_ * 1.8 + 32, "°F") if fahrenheit else (celsius_, "°C")
    host.fields |= {"added_at": text_of(round(at, PLACES)), "added_at_unit": unit}


def _called(system: System) -> str:
    """A system by its id with what is in it; by its one substance alone where it is one."""
    name = system_name(system)
    return name if len(system.composition) == 1 else f"{system.id} ({name})"
