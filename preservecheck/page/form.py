"""The fields of the page's form: their names, and the draft that they hold.

``product-KEY``, ``measured-KEY``, ``amounts``, ``phase-I-KEY``, ``phase-I-line-J-KEY``,
``blend-I-name``, ``blend-I-part-J-KEY`` and ``own-I-KEY``; numbers count from 0 and only their
order matters. Anything else is not read.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from preservecheck.page.draft import BlendDraft, Draft, Fields, PhaseDraft

Pairs = list[tuple[str, str]]

# a formula of five thousand lines
MAX_FIELDS = 60_000
_NAME = re.compile(
    r"(product|measured|phase|blend|own)-(?:([0-9]{1,5})-)?(?:(line|part)-([0-9]{1,5})-)?([a-z_]+)"
)
_MANY = {"markets"}
_OF_VIEWS = re.compile(r"(cool|drop|sheet|which|after)-.+")


def draft_of(pairs: Iterable[tuple[str, str]]) -> Draft:
    """The draft that the fields of a form hold.

    Parameters
    ----------
    pairs
        Names and values, in any order; of a name that stands several times the last one counts,
        except for markets.
    """
    flat: dict[str, Fields] = {"product": {}, "measured": {}}
    many: dict[str, dict[int, Fields]] = {"phase": {}, "blend": {}, "own": {}}
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
    )


def _ordered(
    outer: dict[int, Fields], inner: dict[int, dict[int, Fields]]
) -> Iterator[tuple[Fields, list[Fields]]]:
    for at in sorted(outer.keys() | inner.keys()):
        below = inner.get(at, {})
        yield outer.get(at, {}), [below[n] for n in sorted(below)]


def pairs_of(draft: Draft) -> Pairs:
    """The fields that hold a draft; the reverse of ``draft_of``."""
    pairs = [(f"product-{k}", v) for k, v in draft.product.items()]
    pairs += [(f"measured-{k}", v) for k, v in draft.measured.items()]
    pairs.append(("amounts", draft.amounts))
    for i, phase in enumerate(draft.phases):
        pairs += [(f"phase-{i}-{k}", v) for k, v in phase.fields.items()]
        pairs += [
            (f"phase-{i}-line-{j}-{k}", v)
            for j, line in enumerate(phase.lines)
            for k, v in line.items()
        ]
    for i, blend in enumerate(draft.blends):
        pairs.append((f"blend-{i}-name", blend.name))
        pairs += [
            (f"blend-{i}-part-{j}-{k}", v)
            for j, part in enumerate(blend.parts)
            for k, v in part.items()
        ]
    pairs += [(f"own-{i}-{k}", v) for i, own in enumerate(draft.own) for k, v in own.items()]
    return pairs


def beside_of(pairs: Iterable[tuple[str, str]], *own: str) -> Pairs:
    """The fields of other views, which a plain form carries along beside the formula.

    Parameters
    ----------
    pairs
        Names and values.
    own
        How the names of the view itself begin, up to the hyphen.
    """
    return [
        (n, v) for n, v in pairs if (found := _OF_VIEWS.fullmatch(n)) and found.group(1) not in own
    ]
