"""What the editor shows of a draft: which lines are blends, which names are unknown, and what fills
up."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from preservecheck.formula.model import PACKAGES, PRODUCT_TYPES, USERS, USES
from preservecheck.formula.names import allowed_words, folded, names_of
from preservecheck.page.draft import AMOUNT_UNITS, UNITS, Draft, Fields, number_of, text_of
from preservecheck.units import mass_g

if TYPE_CHECKING:
    from preservecheck.page.context import Desk

# proposals are costly to find, and nobody mends more names at once
MAX_PROPOSED = 8


def editor_view(draft: Draft, desk: Desk) -> dict[str, Any]:
    """What the template of the editor needs beside the draft."""
    names = names_of(desk.tables)
    blends = {
        folded(b.name): i for i, b in reversed(list(enumerate(draft.blends))) if b.name.strip()
    }
    own = {folded(o.get("name", "")): i for i, o in enumerate(draft.own)}
    shown: set[int] = set()
    proposals = {"left": MAX_PROPOSED}

    def known(name: str) -> bool:
        return folded(name) in blends or folded(name) in own or names.ingredient(name) is not None

    def of(name: str) -> dict[str, Any]:
        """Whether a name is known, and what to propose where it is not."""
        if not name.strip() or known(name):
            return {"unknown": False, "near": []}
        proposals["left"] -= 1
        return {"unknown": True, "near": desk.nearest(name) if proposals["left"] >= 0 else []}

    def blend_of(line: Fields) -> int | None:
        """The blend that a line opens; of several lines with it the first."""
        at = blends.get(folded(line.get("ingredient", "")))
        if at is None or at in shown or line.get("kind") == "preservative":
            return None
        shown.add(at)
        return at

    lines = [
        [
            {
                "fields": line,
                "blend": blend_of(line),
                **of("" if line.get("kind") == "preservative" else _name(line)),
            }
            for line in phase.lines
        ]
        for phase in draft.phases
    ]
    return {
        "draft": draft,
        "lines": lines,
        "parts": [[{"fields": p, **of(p.get("name", ""))} for p in b.parts] for b in draft.blends],
        "loose": [i for i in range(len(draft.blends)) if i not in shown],
        "choices": {
            "use": USES,
            "type": PRODUCT_TYPES,
            "users": USERS,
            "package": PACKAGES,
            "markets": [market.id for market in desk.tables.markets],
            **{c: allowed_words(c) for c in ("role", "charge", "nutrient_load", "usual_phase")},
        },
        "units": {kind: list(units) for kind, units in UNITS.items()},
        "whole": whole(draft),
    }


def _name(line: Fields) -> str:
    return line.get("ingredient", "")


def whole(draft: Draft) -> dict[str, str]:
    """What the lines add up to, and what is left for the line that fills up, for display."""
    lines = [line for phase in draft.phases for line in phase.lines]
    rest = next((line for line in lines if line.get("rest")), None)
    unit = AMOUNT_UNITS[draft.amounts]
    typed = [
        line["amount"] for line in lines if not line.get("rest") and line.get("amount", "").strip()
    ]
    amounts = [number_of(text, unit) for text in typed]
    if any(isinstance(a, str) or a < 0 for a in amounts):
        return {"said": "", "rest": ""}
    total = sum(amounts)
    full = 100.0 if draft.amounts == "percent" else batch_g(draft)
    if rest is None:
        return {"said": f"All lines: {total:.6g} {unit}", "rest": ""}
    if full is None:
        return {
            "said": f"The other lines: {total:.6g} g. Give the size of the batch, so that one "
            "line can fill up.",
            "rest": "",
        }
    name = rest.get("ingredient", "").strip() or "The line that fills up"
    left = full - total
    if left < 0:
        return {
            "said": f"The other lines come to {total:.6g} {unit}, more than {full:g} {unit}.",
            "rest": "0",
        }
    return {"said": f"{name}: {left:.6g} {unit}", "rest": f"{left:.6g}"}


def batch_g(draft: Draft) -> float | None:
    """The size of the batch, where it can be read. [g]"""
    from preservecheck.errors import UnitError
    from preservecheck.page.draft import to_raw

    try:
        return mass_g(to_raw(draft)["product"].get("batch", ""))
    except UnitError:
        return None


def convert_amounts(draft: Draft, kind: str) -> None:
    """Turn all amounts into percent or grams; the draft is changed in place.

    Where amounts are typed and the size of the batch is not known, nothing changes: 7 g are not 7
    %.
    """
    if kind == draft.amounts or kind not in ("percent", "grams"):
        return
    lines = [
        line for phase in draft.phases for line in phase.lines if line.get("amount", "").strip()
    ]
    rest = any(line.get("rest") for phase in draft.phases for line in phase.lines)
    values = [number_of(line["amount"], AMOUNT_UNITS[draft.amounts]) for line in lines]
    numbers = [v for v in values if not isinstance(v, str)]
    size = batch_g(draft)
    if kind == "percent" and not rest and numbers:
        size = sum(numbers)
    if numbers and not size:
        return
    draft.amounts = kind
    if not size:
        return
    factor = size / 100 if kind == "grams" else 100 / size
    for line, value in zip(lines, values, strict=True):
        if not isinstance(value, str):
            line["amount"] = text_of(round(value * factor, 9))
