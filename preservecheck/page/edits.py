"""What the buttons of the editor do to a draft: lines, phases and blends added, taken away and
moved.

A button posts ``do`` with a verb and a place, such as ``remove phase-0-line-2``. With scripting the
answer is the editor alone, without it the whole page: the deed is the same.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from preservecheck.formula.names import folded
from preservecheck.page.draft import BlendDraft, Draft, Fields, PhaseDraft, new_line

_PLACE = re.compile(r"(phase|blend|own)-([0-9]{1,5})(?:-(?:line|part)-([0-9]{1,5}))?")


def edited(draft: Draft, do: str) -> str | None:
    """Do to a draft what a button says.

    Parameters
    ----------
    draft
        Is changed in place.
    do
        Verb, place and, for ``name``, what to write there; anything else does nothing.

    Returns
    -------
    str | None
        The field that the maker will want next.
    """
    verb, _, rest = do.partition(" ")
    place, _, value = rest.partition(" ")
    found = _PLACE.fullmatch(place)
    if verb == "add-phase":
        draft.phases.append(PhaseDraft({}, [new_line()]))
        return f"phase-{len(draft.phases) - 1}-name"
    if verb == "add-own":
        draft.own.append({"name": rest.strip()})
        return f"own-{len(draft.own) - 1}-{'role' if rest.strip() else 'name'}"
    if verb == "add-blend":
        return _add_blend(draft, rest.strip())
    if found is None or verb not in _VERBS:
        return None
    part, at, below = (
        found.group(1),
        int(found.group(2)),
        None if found.group(3) is None else int(found.group(3)),
    )
    if at >= len(_listed(draft, part)):
        return None
    return _VERBS[verb](draft, part, at, below, value)


def _listed(draft: Draft, part: str) -> list[Any]:
    """Phases, blends or own ingredients."""
    return {"phase": draft.phases, "blend": draft.blends, "own": draft.own}[part]  # type: ignore[return-value]


def _lines(draft: Draft, part: str, at: int) -> list[Fields]:
    if part == "own":
        return []
    return draft.phases[at].lines if part == "phase" else draft.blends[at].parts


def _add(draft: Draft, part: str, at: int, _below: int | None, value: str) -> str | None:
    if part == "own":
        return None
    lines = _lines(draft, part, at)
    kind = "preservative" if value == "preservative" else "ingredient"
    lines.append(new_line(kind) if part == "phase" else {})
    return (
        f"{part}-{at}-line-{len(lines) - 1}-{kind}"
        if part == "phase"
        else f"{part}-{at}-part-{len(lines) - 1}-name"
    )


def _remove(draft: Draft, part: str, at: int, below: int | None, _value: str) -> str | None:
    if below is None:
        del _listed(draft, part)[at]
        return None
    lines = _lines(draft, part, at)
    if below < len(lines):
        del lines[below]
    near = min(below, len(lines) - 1)
    if near < 0:
        return None
    return (
        f"{part}-{at}-line-{near}-{lines[near].get('kind', 'ingredient')}"
        if part == "phase"
        else None
    )


def _up(draft: Draft, part: str, at: int, below: int | None, _value: str) -> str | None:
    return _moved(draft, part, at, below, -1)


def _down(draft: Draft, part: str, at: int, below: int | None, _value: str) -> str | None:
    return _moved(draft, part, at, below, 1)


def _moved(draft: Draft, part: str, at: int, below: int | None, step: int) -> str | None:
    """Move a phase among phases, or a line up and down, over the edge of its phase into the next
    one."""
    if part != "phase" or (below is not None and below >= len(draft.phases[at].lines)):
        return None
    way = "up" if step < 0 else "down"
    if below is not None:
        return f"do:{way} {_moved_line(draft.phases, at, below, step)}"
    to = min(max(at + step, 0), len(draft.phases) - 1)
    draft.phases.insert(to, draft.phases.pop(at))
    return f"do:{way} phase-{to}"


def _moved_line(phases: list[PhaseDraft], at: int, below: int, step: int) -> str:
    """Move a line; says where it stands then."""
    lines, to, there = phases[at].lines, below + step, at + step
    line = lines.pop(below)
    if 0 <= to <= len(lines):
        there = at
    elif not 0 <= there < len(phases):
        there, to = at, below
    else:
        to = len(phases[there].lines) if step < 0 else 0
    phases[there].lines.insert(to, line)
    return f"phase-{there}-line-{to}"


def _name(draft: Draft, part: str, at: int, below: int | None, value: str) -> str | None:
    """Write a proposed name into a line or a part of a blend."""
    lines = _lines(draft, part, at)
    if below is None or below >= len(lines) or not value:
        return None
    key = (
        "name"
        if part == "blend"
        else "preservative"
        if lines[below].get("kind") == "preservative"
        else "ingredient"
    )
    lines[below][key] = value
    return (
        f"{part}-{at}-line-{below}-amount"
        if part == "phase"
        else f"{part}-{at}-part-{below}-percent"
    )


def _add_blend(draft: Draft, name: str) -> str:
    """Open a line as a blend; one that is open already is only looked at."""
    for i, blend in enumerate(draft.blends):
        if name and folded(blend.name) == folded(name):
            return f"blend-{i}-part-0-name"
    draft.blends.append(BlendDraft(name, [{}, {}]))
    return f"blend-{len(draft.blends) - 1}-{'part-0-name' if name else 'name'}"


_VERBS: dict[str, Callable[[Draft, str, int, int | None, str], str | None]] = {
    "add": _add,
    "remove": _remove,
    "up": _up,
    "down": _down,
    "name": _name,
}
