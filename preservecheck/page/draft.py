"""A formula while it is being typed: the texts of its fields, in the order of the page.

A draft may be faulty or half finished. It becomes the nested dictionaries that the TOML form gives,
and ``build`` judges them; so a formula typed here and the same formula in a file are one and the
same.

Its fields are called ``product-KEY``, ``measured-KEY``, ``amounts``, ``phase-I-KEY``,
``phase-I-line-J-KEY``, ``blend-I-name``, ``blend-I-part-J-KEY`` and ``own-I-KEY``; numbers count
from 0 and only their order matters. Anything else is not read.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from preservecheck.errors import UnitError
from preservecheck.formula.build import FORMAT
from preservecheck.formula.own_materials import OWN_COLUMNS
from preservecheck.formula.settled import KEYS as ANSWER
from preservecheck.formula.settled import in_one_cell
from preservecheck.reference.rows import Ingredient
from preservecheck.units import plain_number

Fields = dict[str, str]
Pairs = list[tuple[str, str]]

# a formula of five thousand lines
MAX_FIELDS = 60_000
PRODUCT_TEXTS = ("name", "use", "type", "kind", "users", "package", "shelf_life")
PRODUCT_MASSES = ("batch", "scale_step")
MEASURED_NUMBERS = ("ph", "ph_tolerance", "water_activity", "water_activity_tolerance")
LINE_TEXTS = ("strength", "purpose", "note")
PHASE_QUANTITIES = ("heated_to", "held", "added_at")
# the units that a field offers, with what people write for them
UNITS: dict[str, dict[str, tuple[str, ...]]] = {
    "temperature": {"°C": ("°c", "c"), "°F": ("°f", "f")},
    "mass": {"g": ("g",), "kg": ("kg",), "oz": ("oz",), "lb": ("lb",), "mg": ("mg",)},
    "time": {"min": ("min", "minutes"), "h": ("h",), "s": ("s",)},
}
KIND_OF = {
    "batch": "mass",
    "scale_step": "mass",
    "temperature": "temperature",
    "heated_to": "temperature",
    "added_at": "temperature",
    "held": "time",
}
AMOUNT_UNITS = {"percent": "%", "grams": "g"}
_NAME = re.compile(
    r"(product|measured|phase|blend|own|settled)-(?:([0-9]{1,5})-)?(?:(line|part)-([0-9]{1,5})-)?([a-z_]+)"
)
_MANY = {"markets"}
_OF_VIEWS = re.compile(r"(cool|drop|sheet|which|after)-.+")
_BARE = re.compile(r"[\s+\-−–.,0-9]*")
# digits are not given back, or a text of many takes the square of its length
_SPLIT = re.compile(r"\s*+([+\-−–]?[0-9.,]++)\s*+(\S+)\s*")


@dataclass
class PhaseDraft:
    """What is typed of one phase."""

    fields: Fields = field(default_factory=dict)
    lines: list[Fields] = field(default_factory=list)

    @property
    def name(self) -> str:
        """What it is called."""
        return text_in(self.fields, "name")

    @property
    def filled(self) -> list[Fields]:
        """The lines in which something is typed; a phase without any is not read."""
        return [line for line in self.lines if not is_blank(line)]


@dataclass
class BlendDraft:
    """What is typed of one blend."""

    name: str = ""
    parts: list[Fields] = field(default_factory=list)


@dataclass
class Draft:
    """What is typed of a formula."""

    product: Fields = field(default_factory=dict)
    measured: Fields = field(default_factory=dict)
    amounts: str = "percent"
    phases: list[PhaseDraft] = field(default_factory=list)
    blends: list[BlendDraft] = field(default_factory=list)
    own: list[Fields] = field(default_factory=list)
    settled: list[Fields] = field(default_factory=list)

    @property
    def name(self) -> str:
        """What the product is called."""
        return text_in(self.product, "name")

    @property
    def filled(self) -> list[PhaseDraft]:
        """The phases in which a line is filled in."""
        return [phase for phase in self.phases if phase.filled]

    @property
    def lines(self) -> list[Fields]:
        """The lines of all phases."""
        return [line for phase in self.phases for line in phase.lines]


def new_draft() -> Draft:
    """What a maker starts from: water that fills up, and a phase that goes in while it cools."""
    return Draft(
        product={"batch": "", "batch_unit": "g", "scale_step_unit": "g"},
        phases=[
            PhaseDraft(
                {"name": "heated"},
                [{"kind": "ingredient", "ingredient": "Aqua", "rest": "yes"}, new_line()],
            ),
            PhaseDraft({"name": "cool-down"}, [new_line("preservative")]),
        ],
    )


def new_line(kind: str = "ingredient") -> Fields:
    """An empty line."""
    return {"kind": kind}


def text_in(fields: Fields, key: str) -> str:
    """What is typed in a field, without the blanks around it."""
    return fields.get(key, "").strip()


def kind_of(line: Fields) -> str:
    """``preservative`` or ``ingredient``."""
    return "preservative" if line.get("kind") == "preservative" else "ingredient"


def is_blank(line: Fields) -> bool:
    """Whether nothing is typed in a line or part."""
    return not any(value.strip() for key, value in line.items() if key != "kind")


# ---- the fields of a form ------------------------------------------------------------------------


def draft_of(pairs: Iterable[tuple[str, str]]) -> Draft:
    """The draft that the fields of a form hold, in any order; of a name that is there several times
    the last one counts, except for markets."""
    flat: dict[str, Fields] = {"product": {}, "measured": {}}
    many: dict[str, dict[int, Fields]] = {
        "phase": {},
        "blend": {},
        "own": {},
        "settled": {},
    }
    inner: dict[str, dict[int, dict[int, Fields]]] = {"phase": {}, "blend": {}}
    amounts = "percent"
    for name, sent in pairs:
        value = sent.replace("\r\n", "\n")
        if name == "amounts":
            amounts = "grams" if value == "grams" else "percent"
        found = _NAME.fullmatch(name)
        if found is None:
            continue
        part, at, below, place, key = found.groups()
        if at is None and part in flat and below is None:
            before = flat[part].get(key)
            flat[part][key] = f"{before}, {value}" if before and key in _MANY else value
        elif at is not None and part in many and below is None:
            many[part].setdefault(int(at), {})[key] = value
        elif at is not None and (part, below) in (("phase", "line"), ("blend", "part")):
            inner[part].setdefault(int(at), {}).setdefault(int(place), {})[key] = value
    return Draft(
        product=flat["product"],
        measured=flat["measured"],
        amounts=amounts,
        phases=[PhaseDraft(f, lines) for f, lines in _ordered(many["phase"], inner["phase"])],
        blends=[
            BlendDraft(f.get("name", ""), parts)
            for f, parts in _ordered(many["blend"], inner["blend"])
        ],
        own=[many["own"][i] for i in sorted(many["own"])],
        settled=[many["settled"][i] for i in sorted(many["settled"])],
    )


def _ordered(
    outer: dict[int, Fields], inner: dict[int, dict[int, Fields]]
) -> Iterator[tuple[Fields, list[Fields]]]:
    for at in sorted(outer.keys() | inner.keys()):
        below = inner.get(at, {})
        yield outer.get(at, {}), [below[n] for n in sorted(below)]


def pairs_of(draft: Draft) -> Pairs:
    """The fields that hold a draft; the reverse of ``draft_of``."""
    pairs = [*_named("product", draft.product), *_named("measured", draft.measured)]
    pairs.append(("amounts", draft.amounts))
    for i, phase in enumerate(draft.phases):
        pairs += _named(f"phase-{i}", phase.fields)
        for j, line in enumerate(phase.lines):
            pairs += _named(f"phase-{i}-line-{j}", line)
    for i, blend in enumerate(draft.blends):
        pairs.append((f"blend-{i}-name", blend.name))
        for j, part in enumerate(blend.parts):
            pairs += _named(f"blend-{i}-part-{j}", part)
    for i, own in enumerate(draft.own):
        pairs += _named(f"own-{i}", own)
    for i, answer in enumerate(draft.settled):
        pairs += _named(f"settled-{i}", answer)
    return pairs


def _named(prefix: str, fields: Fields) -> Pairs:
    return [(f"{prefix}-{key}", value) for key, value in fields.items()]


def beside_of(pairs: Pairs, *own: str) -> Pairs:
    """The fields of other views, which a plain form carries along beside the formula; ``own`` is
    how those of the view itself begin."""
    return [
        (n, v) for n, v in pairs if (found := _OF_VIEWS.fullmatch(n)) and found.group(1) not in own
    ]


# ---- into the dictionaries of a file -------------------------------------------------------------


def to_raw(draft: Draft) -> dict[str, Any]:
    """The draft in the layout of the TOML form; what is left blank is left out."""
    raw: dict[str, Any] = {"format": FORMAT, "product": _product(draft.product)}
    if measured := _measured(draft.measured):
        raw["measured"] = measured
    raw["phase"] = [_phase(p, draft.amounts) for p in draft.filled]
    if blends := {b.name: _parts(b) for b in draft.blends if b.name.strip()}:
        raw["blend"] = blends
    if own := {o["name"]: _own(o) for o in draft.own if text_in(o, "name")}:
        raw["ingredient"] = own
    filled = [{k: v for k in ANSWER if (v := text_in(s, k))} for s in draft.settled]
    if answers := [a for a in filled if a]:
        raw["settled"] = answers
    return raw


def _product(fields: Fields) -> dict[str, Any]:
    raw: dict[str, Any] = {k: v for k in PRODUCT_TEXTS if (v := text_in(fields, k))}
    if markets := [m.strip() for m in fields.get("markets", "").split(",") if m.strip()]:
        raw["markets"] = markets
    raw |= _quantities(fields, PRODUCT_MASSES)
    if day := text_in(fields, "on_market"):
        raw["on_market"] = _day(day)
    return raw


def _measured(fields: Fields) -> dict[str, Any]:
    raw = {k: number_of(v) for k in MEASURED_NUMBERS if (v := text_in(fields, k))}
    return raw | _quantities(fields, ("temperature",))


def _phase(phase: PhaseDraft, amounts: str) -> dict[str, Any]:
    raw: dict[str, Any] = {"name": phase.name} if phase.name else {}
    raw |= _quantities(phase.fields, PHASE_QUANTITIES)
    raw["items"] = [_line(line, amounts) for line in phase.filled]
    return raw


def _line(line: Fields, amounts: str) -> dict[str, Any]:
    kind = kind_of(line)
    raw: dict[str, Any] = {kind: name} if (name := text_in(line, kind)) else {}
    if line.get("rest"):
        raw["rest"] = True
    elif amount := text_in(line, "amount"):
        raw["grams" if amounts == "grams" else "percent"] = number_of(amount, AMOUNT_UNITS[amounts])
    if kind == "ingredient" and (strength := text_in(line, "strength")):
        raw["strength"] = number_of(strength, "%")
    if kind == "ingredient" and (purpose := text_in(line, "purpose")):
        raw["purpose"] = purpose
    if note := text_in(line, "note"):
        raw["note"] = note
    return raw


def _parts(blend: BlendDraft) -> dict[str, Any]:
    return {
        name: number_of(text_in(part, "percent"), "%")
        for part in blend.parts
        if (name := text_in(part, "name"))
    }


def _own(fields: Fields) -> dict[str, Any]:
    return {
        c: number_of(v) if Ingredient.columns[c].numeric else v
        for c in OWN_COLUMNS
        if (v := text_in(fields, c))
    }


def _quantities(fields: Fields, keys: tuple[str, ...]) -> dict[str, str]:
    """Texts with their units; a unit that is typed wins over the one that stands beside."""
    out = {}
    for key in keys:
        if text := text_in(fields, key):
            unit = fields.get(f"{key}_unit") or next(iter(UNITS[KIND_OF[key]]))
            out[key] = f"{text} {unit}" if _BARE.fullmatch(text) else text
    return out


def number_of(text: str, unit: str = "") -> Any:
    """The number that a text means, with or without the unit of its field, or the text itself for
    ``build`` to refuse."""
    try:
        return plain_number(text.strip().removesuffix(unit).rstrip() or text)
    except UnitError:
        return text


def _day(text: str) -> Any:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        return text


# ---- out of the dictionaries of a file -----------------------------------------------------------


def from_raw(raw: Mapping[str, Any]) -> Draft:
    """The draft that shows a file, also a faulty one."""
    product, measured = _table(raw.get("product")), _table(raw.get("measured"))
    phases = [_table(p) for p in _items(raw.get("phase"))]
    grams = any("grams" in _table(i) for p in phases for i in _items(p.get("items")))
    markets = product.get("markets")
    shown = {k: text_of(product[k]) for k in (*PRODUCT_TEXTS, "on_market") if k in product}
    if markets is not None:
        several = markets if isinstance(markets, list) else [markets]
        shown["markets"] = ", ".join(text_of(m) for m in several)
    return Draft(
        product=shown | _split(product, PRODUCT_MASSES),
        measured={k: text_of(measured[k]) for k in MEASURED_NUMBERS if k in measured}
        | _split(measured, ("temperature",)),
        amounts="grams" if grams else "percent",
        phases=[_phase_draft(p) for p in phases] or [PhaseDraft({"name": "heated"}, [new_line()])],
        blends=[
            BlendDraft(
                str(n), [{"name": str(p), "percent": text_of(v)} for p, v in _table(parts).items()]
            )
            for n, parts in _table(raw.get("blend")).items()
        ],
        own=[
            {"name": str(n)} | {c: text_of(v) for c, v in _table(block).items() if c in OWN_COLUMNS}
            for n, block in _table(raw.get("ingredient")).items()
        ],
        settled=[_answer(_table(s)) for s in _items(raw.get("settled"))],
    )


def _answer(raw: Mapping[str, Any]) -> Fields:
    fields = {k: text_of(raw[k]) for k in ANSWER if k in raw}
    if isinstance(figures := raw.get("rests_on"), dict):
        fields["rests_on"] = in_one_cell(figures)
    return fields


def _phase_draft(raw: Mapping[str, Any]) -> PhaseDraft:
    name = {"name": text_of(raw["name"])} if "name" in raw else {}
    return PhaseDraft(
        name | _split(raw, PHASE_QUANTITIES),
        [_line_draft(_table(i)) for i in _items(raw.get("items"))],
    )


def _line_draft(raw: Mapping[str, Any]) -> Fields:
    kind = "preservative" if "preservative" in raw and "ingredient" not in raw else "ingredient"
    line = {"kind": kind} | {k: text_of(raw[k]) for k in (kind, *LINE_TEXTS) if k in raw}
    if raw.get("rest") is True:
        line["rest"] = "yes"
    amount = raw.get("grams", raw.get("percent"))
    return line if amount is None else line | {"amount": text_of(amount)}


def _split(raw: Mapping[str, Any], keys: tuple[str, ...]) -> Fields:
    """Number and unit apart where the unit is one that the page offers, else the whole text."""
    out: Fields = {}
    for key in keys:
        if key not in raw:
            continue
        text = text_of(raw[key])
        found = _SPLIT.fullmatch(text)
        units = UNITS[KIND_OF[key]]
        unit = found and next(
            (u for u, ways in units.items() if found.group(2).casefold() in ways), None
        )
        out |= {key: found.group(1), f"{key}_unit": unit} if found and unit else {key: text}
    return out


def _table(value: object) -> Mapping[str, Any]:
    return value if isinstance(value, dict) else {}


def _items(value: object) -> list[Any]:
    return value if isinstance(value, list) else []


def text_of(value: object) -> str:
    """A value as it is typed; a number keeps every digit."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return format(Decimal(value), "f") if abs(value) < 10**20 else "a very large number"
    if isinstance(value, float):
        shown = format(Decimal(repr(value)), "f") if abs(value) < 1e20 else repr(value)
        return shown.removesuffix(".0")
    if isinstance(value, list):
        return "|".join(text_of(v) for v in value)
    if isinstance(value, (dt.date, dt.time)):
        return value.isoformat()
    return "" if value is None else str(value)
