"""A draft judged: the report where it is a formula, else what is still wrong with it, each fault
with its field."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from preservecheck.errors import Fault, FormulaError, Hint
from preservecheck.formula.build import build
from preservecheck.formula.faults import shown
from preservecheck.formula.model import Formula
from preservecheck.formula.names import folded
from preservecheck.page.draft import PHASE_QUANTITIES, Draft, Fields, is_blank, kind_of, to_raw
from preservecheck.page.files import toml_text
from preservecheck.page.hints import FIELD_WORDS, LINE_WORDS, OWN_WORDS, FieldFault, worded

if TYPE_CHECKING:
    from preservecheck.reference.load import Tables

WHERE = "formula"
# fields of an own ingredient that the editor always shows
OWN_FIELDS = ("role", "water_fraction", "charge", "nutrient_load", "usual_phase")


def formula_of(draft: Draft, tables: Tables, today: dt.date | None = None) -> Formula:
    """The formula that a draft describes, its digest that of the file it is saved as; a
    ``FormulaError`` with all faults where it describes none."""
    twice, raw = list(_twice(draft)), to_raw(draft)
    try:
        formula = build(raw, WHERE, tables, today)
    except FormulaError as error:
        raise FormulaError([*error.faults, *twice]) from None
    if twice:
        raise FormulaError(twice)
    digest = hashlib.sha256(toml_text(raw).encode()).hexdigest()
    return formula.model_copy(update={"sha256": digest})


def is_untouched(draft: Draft) -> bool:
    """Whether nothing is typed yet, so that there is nothing to complain about."""
    typed = [v for k, v in draft.product.items() if not k.endswith("_unit") and v.strip()]
    lines = [line for line in draft.lines if not is_blank(line) and not line.get("rest")]
    return not typed and not lines and not draft.blends and not draft.own


def _twice(draft: Draft) -> Iterator[Fault]:
    """Names that a file could not hold twice."""
    for name in _repeated(b.name for b in draft.blends):
        yield Fault("appears twice", "keep one", path=("blend", name), name=f"blend {shown(name)}")
    for blend in draft.blends:
        inside = blend.name.strip()
        for name in _repeated(p.get("name", "") for p in blend.parts):
            path, place = ("blend", inside, name), f"blend {shown(inside)}"
            yield Fault("appears twice", "keep one", path=path, place=place, value=shown(name))
        if blend.parts and not inside and not all(is_blank(p) for p in blend.parts):
            yield Fault("a blend has no name", "give it the name that is on its line")
    for name in _repeated(o.get("name", "") for o in draft.own):
        own = f"ingredient {shown(name)}"
        yield Fault("is described twice", "keep one", path=("ingredient", name), name=own)


def _repeated(names: Iterable[str]) -> list[str]:
    """Names that are there more than once."""
    counted = Counter(name.strip() for name in names)
    return [name for name, times in counted.items() if name and times > 1]


def field_fault(fault: Fault, draft: Draft) -> FieldFault:
    """A fault of a draft, with its field and in the words that stand beside the fields."""
    name = fault.name
    match fault.path:
        case ("product" | "measured" as table, str(key), *_):
            field: str | None = f"{table}-{key}"
            name = FIELD_WORDS.get(f"{table}.{key}", name)
        case ("phase", int(at), *rest):
            field = _phase_field(draft, at, rest)
            name = LINE_WORDS.get(name, name)
        case ("phase",) if fault.hint is Hint.PHASE_TABLE:
            return FieldFault("No line is filled in yet; type what goes in", None)
        case ("blend", str(blend), *rest):
            field = _blend_field(draft, blend, rest, of_percent=bool(name))
        case ("ingredient", str(own), *rest):
            field = _own_field(draft, own, rest)
            name = OWN_WORDS.get(name, name)
        case _:
            field = None
    return FieldFault(worded(fault, name=name), field)


def _phase_field(draft: Draft, at: int, rest: Sequence[str | int]) -> str | None:
    """The field of a phase or of a line; what is left blank is not in the raw formula."""
    filled = [i for i, phase in enumerate(draft.phases) if phase.filled]
    if at >= len(filled):
        return None
    phase = draft.phases[filled[at]]
    match rest:
        case ("items", int(line), *key):
            below = [j for j, typed in enumerate(phase.lines) if not is_blank(typed)][line]
            named = _line_key(phase.lines[below], str(key[0]) if key else None)
            return f"phase-{filled[at]}-line-{below}-{named}"
        case (str(key),) if key in PHASE_QUANTITIES:
            return f"phase-{filled[at]}-{key}"
    return f"phase-{filled[at]}-name"


def _line_key(line: Fields, key: str | None) -> str:
    if key is not None:
        return "amount" if key in ("percent", "grams") else key
    named, amount = line.get(kind_of(line), ""), line.get("amount", "")
    return "amount" if named.strip() and not amount.strip() else kind_of(line)


def _blend_field(
    draft: Draft, name: str, rest: Sequence[str | int], *, of_percent: bool
) -> str | None:
    """The field of a blend, or of one of its parts."""
    at = next((i for i, b in enumerate(draft.blends) if folded(b.name) == folded(name)), None)
    if at is None:
        return None
    part = folded(str(rest[0])) if rest else ""
    names = [folded(p.get("name", "")) for p in draft.blends[at].parts]
    if not part or part not in names:
        return f"blend-{at}-name"
    return f"blend-{at}-part-{names.index(part)}-{'percent' if of_percent else 'name'}"


def _own_field(draft: Draft, name: str, rest: Sequence[str | int]) -> str | None:
    """The field of an ingredient of one's own."""
    names = [folded(o.get("name", "")) for o in draft.own]
    key = rest[0] if rest and rest[0] in OWN_FIELDS else "name"
    return f"own-{names.index(folded(name))}-{key}" if folded(name) in names else None
