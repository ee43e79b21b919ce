"""The editor of a formula: what it shows of a draft, and what its buttons do to one.

A button posts ``do`` with a verb and a place, such as ``remove phase-0-line-2``. With scripting the
answer is the editor alone, without it the whole page: the deed is the same.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from preservecheck.errors import UnitError
from preservecheck.formula.model import PACKAGES, PRODUCT_TYPES, USERS, USES
from preservecheck.formula.names import allowed_words, folded, names_of
from preservecheck.page.draft import (
    AMOUNT_UNITS,
    UNITS,
    BlendDraft,
    Draft,
    Fields,
    PhaseDraft,
    from_raw,
    kind_of,
    new_draft,
    new_line,
    number_of,
    text_in,
    text_of,
    to_raw,
)
from preservecheck.units import mass_g

if TYPE_CHECKING:
    from preservecheck.page.context import Site, Submission

# proposals are costly to find, and nobody mends more names at once
MAX_PROPOSED = 8
# what the choices are called, where it is not their own word
CHOICE_WORDS = {
    "leave-on": "stays on (leave-on)",
    "rinse-off": "is rinsed off",
    "scalp": "scalp tonic",
    "under-3": "children under 3",
    "under-10": "children under 10",
}
_STEPS = {"up": -1, "down": 1}
_PLACE = re.compile(r"(phase|blend|own|settled)-([0-9]{1,5})(?:-(?:line|part)-([0-9]{1,5}))?")


# ---- what it shows -------------------------------------------------------------------------------


def editor_view(draft: Draft, site: Site) -> dict[str, Any]:
    """What the template of the editor needs: which lines are blends, which names are unknown, and
    what fills up."""
    names = names_of(site.tables)
    blends = {
        folded(b.name): i for i, b in reversed(list(enumerate(draft.blends))) if b.name.strip()
    }
    own = {folded(o.get("name", "")) for o in draft.own}
    opened: set[int] = set()
    unknown: list[str] = []

    def named(fields: Fields, key: str) -> dict[str, Any]:
        """A line or part, whether its name is known, and what to propose where it is not."""
        name = fields.get(key, "")
        known = not name.strip() or folded(name) in own | blends.keys() or names.ingredient(name)
        if not known:
            unknown.append(name)
        propose = not known and len(unknown) <= MAX_PROPOSED
        near = site.nearest(name) if propose else []
        return {"fields": fields, "unknown": not known, "near": near}

    def line_view(line: Fields) -> dict[str, Any]:
        """A line with the blend that it opens; of several lines with it the first."""
        if line.get("kind") == "preservative":
            return {"fields": line, "unknown": False, "near": [], "blend": None}
        at = blends.get(folded(line.get("ingredient", "")))
        blend = None if at in opened else at
        opened.update(() if blend is None else (blend,))
        return {**named(line, "ingredient"), "blend": blend}

    return {
        "draft": draft,
        "lines": [[line_view(line) for line in phase.lines] for phase in draft.phases],
        "parts": [[named(part, "name") for part in blend.parts] for blend in draft.blends],
        "loose": [i for i in range(len(draft.blends)) if i not in opened],
        "choices": {
            "use": USES,
            "type": PRODUCT_TYPES,
            "kind": {k.id: k.name for k in site.tables.product_kinds},
            "users": USERS,
            "package": PACKAGES,
            "markets": site.markets,
            **{c: allowed_words(c) for c in ("role", "charge", "nutrient_load", "usual_phase")},
        },
        "words": CHOICE_WORDS,
        "units": {kind: list(units) for kind, units in UNITS.items()},
        "whole": whole(draft),
    }


def whole(draft: Draft) -> dict[str, str]:
    """What the lines add up to, and what is left for the line that fills up, for display."""
    unit = AMOUNT_UNITS[draft.amounts]
    rest = next((line for line in draft.lines if line.get("rest")), None)
    amounts = [
        number_of(line["amount"], unit)
        for line in draft.lines
        if not line.get("rest") and text_in(line, "amount")
    ]
    if any(isinstance(a, str) or a < 0 for a in amounts):
        return {"said": "", "rest": ""}
    total, left = sum(amounts), ""
    full = 100.0 if draft.amounts == "percent" else batch_g(draft)
    if rest is None:
        said = f"All lines: {total:.6g} {unit}"
    elif full is None:
        said = (
            f"The other lines: {total:.6g} g. Give the size of the batch, so that one line can "
            "fill up."
        )
    elif total > full:
        said, left = f"The other lines come to {total:.6g} {unit}, more than {full:g} {unit}.", "0"
    else:
        left = f"{full - total:.6g}"
        name = text_in(rest, "ingredient") or "The line that fills up"
        said = f"{name}: {left} {unit}"
    return {"said": said, "rest": left}


def batch_g(draft: Draft) -> float | None:
    """The size of the batch, where it can be read. [g]"""
    try:
        return mass_g(to_raw(draft)["product"].get("batch", ""))
    except UnitError:
        return None


# ---- what its buttons do -------------------------------------------------------------------------


def example() -> Draft:
    """The starter formula."""
    import tomllib

    from preservecheck.formula.starter import starter_toml

    return from_raw(tomllib.loads(starter_toml()))


def acted(sent: Submission) -> tuple[Draft, str]:
    """The draft after the button that was pressed, and the field to go to."""
    do = sent.value("do")
    if do in ("example", "new"):
        return example() if do == "example" else new_draft(), "product-name"
    verb, _, rest = do.partition(" ")
    if verb == "amounts":
        convert_amounts(sent.draft, rest)
        if sent.draft.amounts != rest:
            return sent.draft, "product-batch"
        return sent.draft, f"do:amounts {'grams' if rest == 'percent' else 'percent'}"
    return sent.draft, edited(sent.draft, do) or ""


def convert_amounts(draft: Draft, kind: str) -> None:
    """Turn all amounts into percent or grams, in place, but not without the size of the batch: 7 g
    are not 7 %."""
    if kind == draft.amounts or kind not in AMOUNT_UNITS:
        return
    typed = [line for line in draft.lines if text_in(line, "amount")]
    values = [(line, number_of(line["amount"], AMOUNT_UNITS[draft.amounts])) for line in typed]
    numbers = [(line, v) for line, v in values if not isinstance(v, str)]
    size = batch_g(draft)
    if kind == "percent" and numbers and not any(line.get("rest") for line in draft.lines):
        size = sum(v for _, v in numbers)
    if numbers and not size:
        return
    draft.amounts = kind
    if size:
        factor = size / 100 if kind == "grams" else 100 / size
        for line, value in numbers:
            line["amount"] = text_of(round(value * factor, 9))


def edited(draft: Draft, do: str) -> str | None:
    """Add, take away, move or name lines, phases and blends, in place; says which field the maker
    will want next.

    ``do`` is a verb, a place and, for ``name``, what to write there; anything else does nothing.
    """
    verb, _, rest = do.partition(" ")
    if verb in _NEW:
        return _NEW[verb](draft, rest.strip())
    place, _, value = rest.partition(" ")
    found = _PLACE.fullmatch(place)
    if found is None or int(found[2]) >= len(_owners(draft, found[1])):
        return None
    part, at, owners = found[1], int(found[2]), _owners(draft, found[1])
    if found[3] is not None:
        return _line_edited(draft, verb, (part, at, int(found[3])), value)
    if verb == "add" and part != "own":
        return _add_line(part, at, _lines_in(owners[at]), value)
    if verb == "remove":
        del owners[at]
    if verb in _STEPS and part == "phase":
        to = min(max(at + _STEPS[verb], 0), len(owners) - 1)
        owners.insert(to, owners.pop(at))
        return f"do:{verb} phase-{to}"
    return None


def _owners(draft: Draft, part: str) -> list[Any]:
    """Phases, blends, own ingredients or answers."""
    of: dict[str, list[Any]] = {
        "phase": draft.phases,
        "blend": draft.blends,
        "own": draft.own,
        "settled": draft.settled,
    }
    return of[part]


def _lines_in(owner: Any) -> list[Fields]:
    """Lines of a phase, or parts of a blend; an ingredient of one's own has none."""
    if isinstance(owner, PhaseDraft):
        return owner.lines
    return owner.parts if isinstance(owner, BlendDraft) else []


def _line_edited(draft: Draft, verb: str, place: tuple[str, int, int], value: str) -> str | None:
    """What is done to one line or part."""
    part, at, below = place
    lines = _lines_in(_owners(draft, part)[at])
    if below >= len(lines):
        return None
    if verb == "name" and value:
        return _name(place, lines[below], value)
    if verb == "remove":
        del lines[below]
        if part == "phase" and lines:
            near = min(below, len(lines) - 1)
            return f"phase-{at}-line-{near}-{lines[near].get('kind', 'ingredient')}"
    if verb in _STEPS and part == "phase":
        return f"do:{verb} {_moved(draft.phases, at, below, _STEPS[verb])}"
    return None


def _add_phase(draft: Draft, _name: str) -> str:
    draft.phases.append(PhaseDraft({}, [new_line()]))
    return f"phase-{len(draft.phases) - 1}-name"


def _add_own(draft: Draft, name: str) -> str:
    draft.own.append({"name": name})
    return f"own-{len(draft.own) - 1}-{'role' if name else 'name'}"


def _add_blend(draft: Draft, name: str) -> str:
    """Open a line as a blend; one that is open already is only looked at."""
    for i, blend in enumerate(draft.blends):
        if name and folded(blend.name) == folded(name):
            return f"blend-{i}-part-0-name"
    draft.blends.append(BlendDraft(name, [{}, {}]))
    return f"blend-{len(draft.blends) - 1}-{'part-0-name' if name else 'name'}"


def _add_line(part: str, at: int, lines: list[Fields], kind: str) -> str:
    if part == "blend":
        lines.append({})
        return f"blend-{at}-part-{len(lines) - 1}-name"
    line = new_line("preservative" if kind == "preservative" else "ingredient")
    lines.append(line)
    return f"phase-{at}-line-{len(lines) - 1}-{line['kind']}"


def _moved(phases: list[PhaseDraft], at: int, below: int, step: int) -> str:
    """Move a line up or down, over the edge of its phase into the next one; says where it is
    then."""
    line = phases[at].lines.pop(below)
    to, target = below + step, at
    if not 0 <= to <= len(phases[at].lines):
        target = at + step
        if not 0 <= target < len(phases):
            target, to = at, below
        else:
            to = len(phases[target].lines) if step < 0 else 0
    phases[target].lines.insert(to, line)
    return f"phase-{target}-line-{to}"


def _name(place: tuple[str, int, int], line: Fields, value: str) -> str:
    """Write a proposed name into a line or a part of a blend."""
    part, at, below = place
    if part == "blend":
        line["name"] = value
        return f"blend-{at}-part-{below}-percent"
    line[kind_of(line)] = value
    return f"phase-{at}-line-{below}-amount"


_NEW = {"add-phase": _add_phase, "add-own": _add_own, "add-blend": _add_blend}
