"""A draft judged: the report where it is a formula, else what is still wrong with it, each fault
with its field."""

from __future__ import annotations

import datetime as dt
import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from preservecheck.errors import FormulaError
from preservecheck.formula.build import build
from preservecheck.formula.faults import shown
from preservecheck.formula.model import Formula
from preservecheck.formula.names import folded
from preservecheck.page.draft import PHASE_QUANTITIES, Draft, Fields, is_blank, to_raw
from preservecheck.page.toml_text import toml_text
from preservecheck.page.words import FIELD_WORDS, LINE_WORDS, OWN_WORDS, PAGE_WORDS

if TYPE_CHECKING:
    from preservecheck.assess.review import Report
    from preservecheck.reference.load import Tables

WHERE = "formula"
# fields of an own ingredient that the editor always shows
OWN_FIELDS = ("role", "water_fraction", "charge", "nutrient_load", "usual_phase")
_SECTION = re.compile(r"(product|measured)\.(\w+)\b")
_PHASE = re.compile(r'phase (?:number ([0-9]+)|("(?:[^"]|"(?![:, ]))*"))(?:, line ([0-9]+))?')
# what a message says is wrong of a phase or line, such as the text up to "percent" in ``(Glycerin):
# percent is 200``
_KEY = re.compile(r": (heated_to|held|added_at|percent|grams|strength|note|rest)(?:: | )")
_OWN = re.compile(rf'^ingredient\.("[^"]*")\.({"|".join(OWN_FIELDS)})\b')
_PARTS = re.compile(r"write its parts below \[blend\..*")
_NAMED = re.compile(r'(blend|ingredient)[.\s]"([^"]*)"(?:\.(\w+)|: (?:"([^"]*)"|(.+?) is ))?')


@dataclass(frozen=True)
class Fault:
    """A message, and the field of the page that it speaks of."""

    text: str
    field: str | None


def formula_of(draft: Draft, tables: Tables, today: dt.date | None = None) -> Formula:
    """The formula that a draft describes; its digest is that of the file it is saved as.

    Raises
    ------
    FormulaError
        All faults at once.
    """
    twice = list(_twice(draft))
    raw = to_raw(draft)
    try:
        formula = build(raw, WHERE, tables, today, form="page")
    except FormulaError as error:
        raise FormulaError([*error.messages, *twice]) from None
    if twice:
        raise FormulaError(twice)
    return formula.model_copy(
        update={"sha256": hashlib.sha256(toml_text(raw).encode()).hexdigest()}
    )


def judged(draft: Draft, tables: Tables, today: dt.date | None = None) -> Report | list[Fault]:
    """The report of a draft, or its faults."""
    from preservecheck.assess.review import review

    try:
        return review(formula_of(draft, tables, today), tables, today=today)
    except FormulaError as error:
        return [fault_of(message, draft) for message in error.messages]


def is_untouched(draft: Draft) -> bool:
    """Whether nothing is typed yet, so that there is nothing to complain about."""
    typed = [v for k, v in draft.product.items() if not k.endswith("_unit") and v.strip()]
    lines = [
        line
        for phase in draft.phases
        for line in phase.lines
        if not is_blank(line) and not line.get("rest")
    ]
    return not typed and not lines and not draft.blends and not draft.own


def _twice(draft: Draft) -> Iterator[str]:
    """Names that a file could not hold twice."""
    blends = [b.name.strip() for b in draft.blends if b.name.strip()]
    for name in dict.fromkeys(n for n in blends if blends.count(n) > 1):
        yield f"{WHERE}: blend {shown(name)} stands twice; keep one"
    for blend in draft.blends:
        parts = [p.get("name", "").strip() for p in blend.parts if p.get("name", "").strip()]
        for name in dict.fromkeys(n for n in parts if parts.count(n) > 1):
            yield (
                f"{WHERE}: blend {shown(blend.name.strip())}: {shown(name)} stands twice; keep one"
            )
        if blend.parts and not blend.name.strip() and not all(is_blank(p) for p in blend.parts):
            yield f"{WHERE}: a blend has no name; give it the name that stands on its line"
    own = [o.get("name", "").strip() for o in draft.own if o.get("name", "").strip()]
    for name in dict.fromkeys(n for n in own if own.count(n) > 1):
        yield f"{WHERE}: ingredient {shown(name)} is described twice; keep one"


def fault_of(message: str, draft: Draft) -> Fault:
    """A message for the page: without the file's name, in the words that stand beside the
    fields."""
    text = message.removeprefix(f"{WHERE}: ")
    field = _field(text, draft)
    if found := _SECTION.match(text):
        text = FIELD_WORDS.get(found.group(), found.group()) + text[found.end() :]
    elif key := _KEY.search(text):
        text = text[: key.start(1)] + LINE_WORDS[key.group(1)] + text[key.end(1) :]
    text = _OWN.sub(lambda found: f"ingredient {found.group(1)}: {OWN_WORDS[found.group(2)]}", text)
    text = _PARTS.sub("type what it is made of, with percents that come to 100", text)
    for said, meant in PAGE_WORDS:
        text = text.replace(said, meant)
    return Fault(text if text.startswith("pH") else text[:1].upper() + text[1:], field)


def _field(text: str, draft: Draft) -> str | None:
    """The field that a message begins with."""
    if found := _SECTION.match(text):
        return f"{found.group(1)}-{found.group(2)}"
    if found := _PHASE.match(text):
        key = _KEY.match(text, found.end()) or (
            _KEY.search(text, found.end()) if found.group(3) else None
        )
        return _phase_field(draft, found, key.group(1) if key else None)
    if found := _NAMED.match(text):
        return _material_field(draft, *found.groups())
    return None


def _phase_field(draft: Draft, place: re.Match[str], key: str | None) -> str | None:
    number, name, line = place.groups()
    filled = [i for i, p in enumerate(draft.phases) if not all(is_blank(x) for x in p.lines)]
    if number is not None:
        at = filled[int(number) - 1] if int(number) <= len(filled) else None
    else:
        at = next(
            (i for i in filled if shown(draft.phases[i].fields.get("name", "").strip()) == name),
            None,
        )
    if at is None:
        return None
    if line is None:
        return f"phase-{at}-{key if key in PHASE_QUANTITIES else 'name'}"
    lines = [j for j, x in enumerate(draft.phases[at].lines) if not is_blank(x)]
    if int(line) > len(lines):
        return None
    below = lines[int(line) - 1]
    return f"phase-{at}-line-{below}-{_line_key(draft.phases[at].lines[below], key)}"


def _line_key(line: Fields, key: str | None) -> str:
    if key is not None:
        return "amount" if key in ("percent", "grams") else key
    kind = "preservative" if line.get("kind") == "preservative" else "ingredient"
    return "amount" if line.get(kind, "").strip() and not line.get("amount", "").strip() else kind


def _material_field(
    draft: Draft, kind: str, name: str, key: str | None, unknown: str | None, wrong: str | None
) -> str | None:
    """The field of a blend, of one of its parts, or of an ingredient of one's own."""
    if kind == "ingredient":
        own = (i for i, o in enumerate(draft.own) if folded(o.get("name", "")) == folded(name))
        at = next(own, None)
        return None if at is None else f"own-{at}-{key if key in OWN_FIELDS else 'name'}"
    at = next((i for i, b in enumerate(draft.blends) if folded(b.name) == folded(name)), None)
    if at is None:
        return None
    part = folded(unknown or wrong or "")
    below = next(
        (
            j
            for j, p in enumerate(draft.blends[at].parts)
            if part and folded(p.get("name", "")) == part
        ),
        None,
    )
    if below is None:
        return f"blend-{at}-name"
    return f"blend-{at}-part-{below}-{'percent' if wrong else 'name'}"
