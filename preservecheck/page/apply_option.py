"""Puts a system that ``choose`` recommends into a draft, and tells in words what that does.

What the maker typed stays as it was typed. Out go the formula's own preservatives, in goes what
``choose`` found, with its partner and another gum where it asks for one. A pH that is not measured
yet and a scale that is not on the bench are no part of a recipe: they are told as still to be done.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy
from dataclasses import dataclass
from typing import TYPE_CHECKING

from preservecheck.assess.review import composer_for
from preservecheck.formula.amounts import line_percents
from preservecheck.formula.edit import preservative_lines
from preservecheck.formula.model import Formula, Line, Phase
from preservecheck.page.draft import Draft, Fields, PhaseDraft, is_blank, text_of
from preservecheck.page.editor import whole
from preservecheck.page.words import system_name
from preservecheck.text import celsius, number, sentence

if TYPE_CHECKING:
    from preservecheck.ranking.result import Option
    from preservecheck.reference.load import Tables
    from preservecheck.reference.rows import System

# digits behind the point of an amount or temperature that is written into a field; hides the noise
# of binary numbers
PLACES = 9


@dataclass(frozen=True)
class Picked:
    """A draft with a system in it, and what was done."""

    draft: Draft
    system: str  # id
    name: str
    done: tuple[str, ...]
    todo: tuple[str, ...]


def put_in(draft: Draft, formula: Formula, option: Option, tables: Tables) -> Picked:
    """The draft with a recommended system in it; the draft that is given stays as it is.

    Parameters
    ----------
    draft
        As typed.
    formula
        What the draft describes.
    option
        A system that fits, as it stands or after a change.
    tables
        The tables.
    """
    recommended = option.formula
    assert recommended is not None
    after = deepcopy(draft)
    names = {s.id: _called(s) for s in tables.systems}
    gone = preservative_lines(composer_for(tables).compose(formula))
    percents, _ = line_percents(formula)
    by_name = {p.name: p for p in recommended.phases}
    filled = [p for p in after.phases if not all(is_blank(line) for line in p.lines)]
    removed, changed, left = [], [], []
    start, place = 0, ""
    for typed, phase in zip(filled, formula.phases, strict=True):
        recipe = by_name.pop(phase.name).lines if phase.name in by_name else ()
        lines = [line for line in typed.lines if not is_blank(line)]
        kept = [n for n in range(len(lines)) if start + n not in gone]
        removed += [
            f"{number(percents[start + n])} % {names.get(line.name, line.name)}"
            for n, line in enumerate(phase.lines)
            if n not in kept
        ]
        for n, line in zip(kept, recipe, strict=False):
            changed += _follow(lines[n], phase.lines[n], line)
        start += len(lines)
        blank = [
            line for line in typed.lines if is_blank(line) and line.get("kind") != "preservative"
        ]
        typed.lines = [
            *(lines[n] for n in kept),
            *(_new(line) for line in recipe[len(kept) :]),
            *blank,
        ]
        if len(recipe) > len(kept):
            place = f"in the phase {phase.name}"
        if not recipe:
            left.append(typed)
    for phase in by_name.values():  # one at most: a phase of its own, cooler than any that is there
        place = _new_phase(after, phase, left)
    # a phase that held nothing else is gone with it, unless the new one has taken its place
    after.phases = [
        p
        for p in after.phases
        if not any(p is x for x in left) or not all(is_blank(n) for n in p.lines)
    ]
    if (
        recommended.product.batch_g != formula.product.batch_g
        and recommended.product.batch_g is not None
    ):
        after.product |= {
            "batch": text_of(round(recommended.product.batch_g, PLACES)),
            "batch_unit": "g",
        }
        changed.append(
            f"the size of the batch is {number(recommended.product.batch_g)} g, so that one line "
            "can fill up"
        )
    return Picked(
        draft=after,
        system=option.id,
        name=next(system_name(s) for s in tables.systems if s.id == option.id),
        done=tuple(_told(option, names, place, removed, changed, after)),
        todo=tuple(sentence(text) for text in option.outside),
    )


def _told(
    option: Option,
    names: dict[str, str],
    place: str,
    removed: Sequence[str],
    changed: Sequence[str],
    after: Draft,
) -> list[str]:
    """What was done, in sentences."""
    write_output = [
        (option.percent, option.id),
        *([(option.partner_percent, option.partner)] if option.partner else []),
    ]
    doses = " and ".join(
        f"{number(percent or 0.0, PLACES)} % {names[system]}" for percent, system in write_output
    )
    said = [f"Put in: {doses}, {place}."]
    said += [f"Taken out: {text}." for text in removed] or [
        "There was no preservative of its own to take out."
    ]
    said += [sentence(text) for text in changed]
    if filled := whole(after)["said"]:
        said.append(f"The formula is filled to 100 % again. {filled}.")
    return said


def _follow(typed: Fields, was: Line, now: Line) -> list[str]:
    """Write into a line that stays what the recommendation has otherwise; says what."""
    said = []
    if now.name != was.name:
        typed["ingredient"] = now.name
        said.append(f"{was.name} is replaced by {now.name}")
    if now.rest and not was.rest:
        typed.pop("amount", None)
        typed["rest"] = "yes"
        said.append(f"{now.name} now fills up the rest")
    return said


def _new(line: Line) -> Fields:
    """A line with a system."""
    return {
        "kind": "preservative",
        "preservative": line.name,
        "amount": text_of(round(line.amount or 0.0, PLACES)),
    }


def _new_phase(draft: Draft, phase: Phase, left: list[PhaseDraft]) -> str:
    """Write a phase of its own behind the others, into an empty one that stands there if there is
    one; says where.

    Parameters
    ----------
    draft
        Is changed in place.
    phase
        As recommended.
    left
        Phases that have just lost all their lines.
    """
    last = max(
        (i for i, p in enumerate(draft.phases) if not all(is_blank(line) for line in p.lines)),
        default=-1,
    )
    taken = [p.fields.get("name", "").strip().casefold() for p in draft.phases]
    free = [
        p
        for p in draft.phases[last + 1 :]
        if not p.fields.get("heated_to", "").strip()
        and not p.fields.get("held", "").strip()
        and taken.count(p.fields.get("name", "").strip().casefold()) == 1
    ]
    # the one that the old preservative went in with keeps its place
    free.sort(key=lambda p: not any(p is x for x in left))
    if free:
        host = free[0]
    else:
        host = PhaseDraft()
        draft.phases.append(host)
    name = host.fields.get("name", "").strip() or phase.name
    host.fields |= {"name": name}
    said = f"in the phase {name}"
    if phase.added_at_c is not None:
        fahrenheit = any(_in_fahrenheit(p.fields) for p in draft.phases)
        at = phase.added_at_c * 1.8 + 32 if fahrenheit else phase.added_at_c
        host.fields |= {
            "added_at": text_of(round(at, PLACES)),
            "added_at_unit": "°F" if fahrenheit else "°C",
        }
        said += f" that goes in when the batch is at {celsius(phase.added_at_c)} or cooler"
    host.lines = [
        *(_new(line) for line in phase.lines),
        *(x for x in host.lines if x.get("kind") != "preservative"),
    ]
    return said


def _called(system: System) -> str:
    """A system by its id with what is in it; by its one substance alone where it is one."""
    name = system_name(system)
    return name if len(system.composition) == 1 else f"{system.id} ({name})"


def _in_fahrenheit(fields: Fields) -> bool:
    """Whether a temperature of a phase is given in °F."""
    return any(
        fields.get(key, "").strip()
        and (fields.get(f"{key}_unit") == "°F" or "f" in fields[key].casefold())
        for key in ("heated_to", "added_at")
    )
