"""Edits of a formula: pure functions on it, and the edits that a plan, a ranking or a page keeps.

One rule for the amounts: the line that fills up to 100 % takes the difference; in a formula without
such a line its water does, and becomes that line.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

import numpy as np

from preservecheck.errors import FormulaError
from preservecheck.formula.amounts import Amounts, line_percents
from preservecheck.formula.build import TEMPERATURE_C
from preservecheck.formula.compose import Composition
from preservecheck.formula.materials import WATER
from preservecheck.formula.model import Formula, Line, Phase
from preservecheck.formula.names import folded, phase_key
from preservecheck.units import MAX_BATCH_G

Kind = Literal["ingredient", "preservative"]
Opener: TypeAlias = Callable[[Formula], Composition]
# a rest line below nothing by no more than this is the noise of binary numbers [%]
_ROUNDING = 1e-9


@dataclass(frozen=True)
class Share:
    """An ingredient by a name of it or a preservative system by its id, and how much of it."""

    kind: Kind
    name: str
    percent: float | None = None  # of the formula; None: as much as there was of another


# ---- functions on a formula; lines are numbered through all phases ----


def lines_of(formula: Formula) -> list[Line]:
    """The lines of all phases."""
    return [line for phase in formula.phases for line in phase.lines]


def _with_lines(formula: Formula, lines: Mapping[int, Line | None]) -> Formula:
    """The formula with some of its lines exchanged, or taken out (``None``)."""
    at, phases = 0, []
    for phase in formula.phases:
        numbered = enumerate(phase.lines, at)
        new = tuple(line for n, old in numbered if (line := lines.get(n, old)) is not None)
        at += len(phase.lines)
        phases.append(phase.model_copy(update={"lines": new}))
    return formula.model_copy(update={"phases": tuple(phases)})


def _of_product(formula: Formula, **changes: object) -> Formula:
    return formula.model_copy(update={"product": formula.product.model_copy(update=changes)})


def as_written(formula: Formula, percent: float) -> float:
    """A share of the formula in the kind of amounts that it is written in. [% or g]"""
    if formula.amounts == "percent":
        return percent
    return percent / 100 * (line_percents(formula)[1] or 0.0)


def filler_of(opened: Composition, fixed: Collection[int] = ()) -> int | None:
    """The line that takes the difference: the rest line, else most of the water, else the largest.
    None of the ``fixed`` ones, whose amount is set or which go out."""
    among = np.array([n not in fixed for n in range(len(opened.lines))], dtype=bool)
    water = np.array([m.inci == WATER for m in opened.materials], dtype=bool)
    found = Amounts.of(opened.formula).fillers(water, among)
    return int(found[0]) if len(found) else None


def filled(opened: Composition, fixed: Collection[int] = ()) -> Formula:
    """The formula with one line that fills up to the whole, where one can; see ``filler_of``."""
    formula, lines = opened.formula, lines_of(opened.formula)
    filler = filler_of(opened, fixed)
    if filler is None or lines[filler].rest:
        return formula
    percents, batch_g = line_percents(formula)
    # an earlier rest line keeps what it had
    changed = {
        n: line.model_copy(update={"amount": as_written(formula, percents[n]), "rest": False})
        for n, line in enumerate(lines)
        if line.rest
    }
    changed[filler] = lines[filler].model_copy(update={"amount": None, "rest": True})
    out = _with_lines(formula, changed)
    return _of_product(out, batch_g=batch_g) if formula.amounts == "grams" else out


def preservative_lines(opened: Composition) -> frozenset[int]:
    """The lines that name a preservative system; a line of an ingredient stays what it is."""
    lines = lines_of(opened.formula)
    return frozenset(a.line for a in opened.additions if lines[a.line].kind == "preservative")


def without_preservatives(opened: Composition) -> Formula:
    """The formula without its own preservatives; what raw materials carry in stays.

    A phase that held nothing else stays too, empty, with its temperatures.
    """
    own = preservative_lines(opened)
    return without_lines(filled(opened, own), own)


def without_lines(formula: Formula, lines: Iterable[int]) -> Formula:
    """The formula without some of its lines."""
    return _with_lines(formula, dict.fromkeys(lines))


def without_empty_phases(formula: Formula) -> Formula:
    """The formula without phases that hold nothing."""
    return formula.model_copy(update={"phases": tuple(p for p in formula.phases if p.lines)})


def with_line(formula: Formula, line: Line, phase: str) -> Formula:
    """The formula with one more line in a phase, a new phase at the end where none is called so."""
    phases = list(formula.phases)
    at = _phase_at(formula, phase)
    if at is None:
        phases.append(Phase(name=phase, lines=(line,)))
    else:
        phases[at] = phases[at].model_copy(update={"lines": (*phases[at].lines, line)})
    return formula.model_copy(update={"phases": tuple(phases)})


def with_share(formula: Formula, share: Share, phase: str) -> Formula:
    """The formula, which has a line that fills up, with an ingredient or a system in a phase."""
    amount = as_written(formula, share.percent or 0.0)
    return with_line(formula, Line(kind=share.kind, name=share.name, amount=amount), phase)


def with_percents(formula: Formula, percents: Mapping[int, float]) -> Formula:
    """The formula with other amounts on some lines, which fill up no longer. [%]"""
    lines = lines_of(formula)
    return _with_lines(
        formula,
        {
            n: lines[n].model_copy(update={"amount": as_written(formula, percent), "rest": False})
            for n, percent in percents.items()
        },
    )


def replaced(formula: Formula, lines: Collection[int], by: Share) -> Formula:
    """The formula, which has a line that fills up, with another material on some lines.

    With a percent all of it stands on the first of them, without one each keeps its amount and
    strength.
    """
    old = lines_of(formula)
    if by.percent is None:
        other = {"kind": by.kind, "name": by.name}
        return _with_lines(formula, {n: old[n].model_copy(update=other) for n in lines})
    first = min(lines)
    amount = as_written(formula, by.percent)
    line = Line(kind=by.kind, name=by.name, amount=amount, note=old[first].note)
    return _with_lines(formula, {**dict.fromkeys(lines), first: line})


def at_ph(formula: Formula, ph: float) -> Formula:
    """The formula at another pH, as exact as the meter that it was measured with."""
    measured = formula.measured.model_copy(update={"ph": ph})
    return formula.model_copy(update={"measured": measured})


def with_temperature(formula: Formula, phase: str, added_at_c: float) -> Formula:
    """The formula with a phase that goes in at another temperature; a ``FormulaError`` where no
    phase is called so. [°C]"""
    at = _phase_at(formula, phase)
    if at is None:
        raise FormulaError(f"has no phase {phase}", where=formula.product.name)
    phases = list(formula.phases)
    temperature = {"added_at_c": added_at_c, "added_at_from": None}
    phases[at] = phases[at].model_copy(update=temperature)
    return formula.model_copy(update={"phases": tuple(phases)})


def with_scale(formula: Formula, step_g: float) -> Formula:
    """The formula weighed on a scale of another step. [g]"""
    return _of_product(formula, scale_step_g=step_g)


def rescaled(formula: Formula, batch_g: float) -> Formula:
    """The formula for a batch of another size; shares stay as they are. [g]"""
    percents, before = line_percents(formula)
    if batch_g == before:
        return formula
    out = _of_product(formula, batch_g=batch_g)
    if formula.amounts == "percent":
        return out
    grams = {
        n: line.model_copy(update={"amount": percents[n] / 100 * batch_g})
        for n, line in enumerate(lines_of(formula))
        if not line.rest
    }
    return _with_lines(out, grams)


def new_phase_name(formula: Formula) -> str:
    """A name for a phase of the preservative that no phase has yet."""
    taken = {p.name for p in formula.phases}
    names = ("preservative", *(f"preservative {n}" for n in range(2, len(taken) + 3)))
    return next(n for n in names if n not in taken)


def _phase_at(formula: Formula, name: str) -> int | None:
    names = [phase_key(p.name) for p in formula.phases]
    return names.index(phase_key(name)) if phase_key(name) in names else None


# ---- edits: what is to be changed, as data ----


@dataclass(frozen=True)
class SetPh:
    """The pH."""

    to: float


@dataclass(frozen=True)
class SetTemperature:
    """The temperature at which a phase goes in. [°C]"""

    phase: str
    to: float


@dataclass(frozen=True)
class SetDose:
    """The amount of a preservative system, all its lines together. [% of the formula]"""

    system: str
    to: float


@dataclass(frozen=True)
class SetScale:
    """The step of the scale. [g]"""

    to: float


@dataclass(frozen=True)
class Add:
    """One more line in a phase; in a new one at the end where none is called so."""

    share: Share
    phase: str


@dataclass(frozen=True)
class Replace:
    """Another material in the place of an ingredient or a system."""

    name: str
    by: Share


@dataclass(frozen=True)
class Remove:
    """A preservative system taken out."""

    system: str


Edit: TypeAlias = SetPh | SetTemperature | SetDose | SetScale | Add | Replace | Remove


def apply(formula: Formula, edits: Iterable[Edit], resolver: Opener) -> Formula:
    """The formula with some edits, one after the other; the formula itself stays as it is.

    The resolver recognises what lines are, such as ``Composer.compose``. A ``FormulaError`` where
    the formula does not hold what an edit speaks of, or nothing is left to take the difference.
    """
    edits = list(edits)
    if any(isinstance(e, (SetDose, Add, Replace, Remove)) for e in edits):
        formula = _ready(formula, edits, resolver)
    for edit in edits:
        formula = _applied(formula, edit, resolver)
    formula = without_empty_phases(formula)
    for line, percent in zip(lines_of(formula), line_percents(formula)[0], strict=True):
        if line.rest and percent < -_ROUNDING:
            found = f"nothing is left for {line.name}"
            sum_of_others = f"the other lines add up to {100 - percent:.6g} %"
            raise FormulaError(found, sum_of_others, where=formula.product.name)
    return formula


def _ready(formula: Formula, edits: Iterable[Edit], resolver: Opener) -> Formula:
    """The formula with a line that fills up and whose amount no edit sets."""
    fixed: set[int] = set()
    for edit in edits:
        if isinstance(edit, (SetDose, Remove)):
            fixed |= set(_lines_of_system(resolver(formula), edit.system))
        elif isinstance(edit, Replace) and edit.by.percent is not None:
            fixed |= set(lines_called(resolver(formula), edit.name))
    lines = lines_of(formula)
    if any(line.rest for n, line in enumerate(lines) if n not in fixed):
        return formula
    if len(fixed) == len(lines):
        found = "no line is left to take the difference"
        raise FormulaError(found, where=formula.product.name)
    return filled(resolver(formula), fixed)


def _applied(formula: Formula, edit: Edit, resolver: Opener) -> Formula:
    match edit:
        case SetPh(to):
            out = at_ph(formula, to)
        case SetTemperature(phase, to):
            out = with_temperature(formula, phase, to)
        case SetScale(to):
            out = with_scale(formula, to)
        case SetDose(system, to):
            out = with_percents(formula, _doses(resolver(formula), system, to))
        case Add(share, phase):
            out = with_share(formula, share, phase)
        case Replace(name, by):
            lines = _named(formula, name, lines_called(resolver(formula), name))
            out = replaced(formula, lines, by)
        case Remove(system):
            lines = _named(formula, system, _lines_of_system(resolver(formula), system))
            out = without_lines(formula, lines)
    return out


def _named(formula: Formula, name: str, lines: frozenset[int]) -> frozenset[int]:
    if not lines:
        raise FormulaError(f"holds no {name}", where=formula.product.name)
    return lines


def _lines_of_system(opened: Composition, system: str) -> frozenset[int]:
    return frozenset(a.line for a in opened.additions if opened.systems[a.system].id == system)


def lines_called(opened: Composition, name: str) -> frozenset[int]:
    """Lines that are called so as written, or by their INCI name or id."""
    named = {
        n: {folded(w.name), folded(w.inci or ""), folded(w.system or "")}
        for n, w in enumerate(opened.lines)
    }
    return frozenset(n for n, names in named.items() if folded(name) in names)


def _doses(opened: Composition, system: str, percent: float) -> dict[int, float]:
    """What each line of a system comes to when all together bring a dose, each by its part. [%]"""
    lines = sorted(_named(opened.formula, system, _lines_of_system(opened, system)))
    before = next(s.percent for s in opened.systems if s.id == system)
    if len(lines) > 1 and before > 0:
        return {n: opened.lines[n].percent * percent / before for n in lines}
    role = next(r for r in opened.materials[lines[0]].roles if r.system == system)
    return dict.fromkeys(lines, 0.0) | {lines[0]: percent * role.share / role.fraction}


# ---- their form in JSON ----

_PHASE, _DOSE = re.compile(r"phase\.(.+)\.added_at_c"), re.compile(r"preservative\.(.+)\.percent")
_FORMS = (
    '{"set": "measured.ph" | "phase.<name>.added_at_c" | "preservative.<id>.percent" | '
    '"product.scale_step_g", "to": number}, {"add": {"ingredient" | "preservative": "…", '
    '"percent": number, "phase": "…"}}, {"replace": "…", "by": {"ingredient" | "preservative": '
    '"…", "percent": number}}, {"remove": "<id of a preservative>"}'
)


def to_json(edit: Edit) -> dict[str, Any]:
    """An edit with the keys that other programs read."""
    match edit:
        case SetPh(to):
            out: dict[str, Any] = {"set": "measured.ph", "to": to}
        case SetTemperature(phase, to):
            out = {"set": f"phase.{phase}.added_at_c", "to": to}
        case SetDose(system, to):
            out = {"set": f"preservative.{system}.percent", "to": to}
        case SetScale(to):
            out = {"set": "product.scale_step_g", "to": to}
        case Add(share, phase):
            out = {"add": _share_json(share) | {"phase": phase}}
        case Replace(name, by):
            out = {"replace": name, "by": _share_json(by)}
        case Remove(system):
            out = {"remove": system}
    return out


def _share_json(share: Share) -> dict[str, Any]:
    amount = {} if share.percent is None else {"percent": share.percent}
    return {share.kind: share.name, **amount}


def from_json(data: Mapping[str, Any]) -> Edit:
    """An edit from what ``to_json`` gives; a ``FormulaError`` where it is none of the forms, or a
    number is out of reach."""
    match dict(data):
        case {"set": str(path), "to": to, **more} if not more:
            return _set_from(path, to, data)
        case {"add": {"phase": str(phase), "percent": percent, **share}, **more} if not more:
            return Add(_share_from(share | {"percent": percent}), phase)
        case {"replace": str(name), "by": {**share}, **more} if not more:
            return Replace(name, _share_from(share))
        case {"remove": str(system), **more} if not more:
            return Remove(system)
    raise _unknown(data)


def _set_from(path: str, to: object, data: object) -> Edit:
    if path == "measured.ph":
        return SetPh(_number(to, 0, 14))
    if path == "product.scale_step_g":
        return SetScale(_number(to, 1e-12, MAX_BATCH_G))
    if found := _PHASE.fullmatch(path):
        return SetTemperature(found[1], _number(to, *TEMPERATURE_C))
    if found := _DOSE.fullmatch(path):
        return SetDose(found[1], _number(to, 0, 100))
    raise _unknown(data)


def _share_from(data: Mapping[Any, Any]) -> Share:
    match dict(data):
        case {"ingredient": str(name), **more}:
            kind: Kind = "ingredient"
        case {"preservative": str(name), **more}:
            kind = "preservative"
        case _:
            raise _unknown(data)
    if more.keys() - {"percent"}:
        raise _unknown(data)
    return Share(kind, name, _number(more["percent"], 0, 100) if more else None)


def _number(value: object, low: float, high: float) -> float:
    if isinstance(value, (int, float)) and not isinstance(value, bool) and low <= value <= high:
        return float(value)
    allowed = f"give a number from {low:g} to {high:g}"
    raise FormulaError(f"an edit gives {value!r}", allowed)


def _unknown(data: object) -> FormulaError:
    return FormulaError(f"{data!r} is not an edit", f"the forms are {_FORMS}")
