"""The page's own words: what helps, how fields are called, and faults as texts beside fields."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from preservecheck.errors import Fault, Hint
from preservecheck.text import sentence

HINTS: Mapping[Hint, str] = {
    Hint.LINE_NAME: "type or choose one",
    Hint.REST_LINE: "mark it with the tick “fills up the rest”",
    Hint.SYSTEM_LINE: "take this line away and add it as a preservative",
    Hint.NEW_INGREDIENT: "type a known name, open it as a blend if it is made of several things, "
    "or describe it as an ingredient of your own",
    Hint.NEW_INGREDIENT_IN_SHEET: "type a known name, or describe it as an ingredient of your own",
    Hint.SYSTEM_IN_SHEET: "take this line away and add it as a preservative",
    Hint.STANDARD: "or choose one under “Judge it by”",
    Hint.MARKETS_LIST: "tick at least one",
    Hint.RANK_SYSTEMS: "“Which one?” ranks the preservative systems for this formula",
    Hint.ADJUST_PH: "“At the bench” works out the amount of acid or base",
    Hint.FORMULA: "fill in the formula under “Formula”",
    Hint.BATCH: "type the size of the batch under “This batch”",
    Hint.ROOM: "type the temperature of the room or water bath",
    Hint.ADDED: "type when the cool-down phase went in to have it judged by the readings",
    Hint.TARGET: "type the pH to reach",
}
FIELD_WORDS = {
    "product.name": "Name of the product",
    "product.use": "Use",
    "product.type": "Kind of product",
    "product.kind": "More exactly",
    "product.markets": "Where it is sold",
    "product.users": "For whom",
    "product.package": "Pack",
    "product.batch": "Size of the batch",
    "product.scale_step": "Smallest step of the scale",
    "product.on_market": "On the market from",
    "product.shelf_life": "Shelf life",
    "measured.ph": "pH",
    "measured.ph_tolerance": "± pH",
    "measured.temperature": "Temperature of the sample",
    "measured.water_activity": "Water activity",
    "measured.water_activity_tolerance": "± water activity",
}
LINE_WORDS = {
    "heated_to": "heated to",
    "held": "held for",
    "added_at": "goes in when the batch is at",
    "percent": "percent",
    "grams": "grams",
    "strength": "strength",
    "note": "note",
    "rest": "rest",
}
OWN_WORDS = {
    "role": "what it does",
    "water_fraction": "the share of water in it",
    "charge": "the charge",
    "nutrient_load": "food for microbes",
    "usual_phase": "the usual phase",
}
# columns and lines of a file of readings, as the page calls them
COLUMN_WORDS = {
    "ph": "pH",
    "cfu": "the count",
    "log10_cfu": "the count",
    "grams_added": "“Added so far”",
    "sample_grams": "the weight of the sample",
    "agent": "the acid or base",
    "agent_percent": "the strength",
}


@dataclass(frozen=True)
class FieldFault:
    """What is wrong, and the field of the page that it is about."""

    text: str
    field: str | None
    line: int | None = None  # of what is pasted there


def worded(
    fault: Fault, *, where: str = "", place: str | None = None, name: str | None = None
) -> str:
    """A fault in the words of the page: the file only where one was opened, place and name where
    the page calls them otherwise than a file."""
    text = dataclasses.replace(
        fault,
        where=where,
        place=fault.place if place is None else place,
        name=fault.name if name is None else name,
        paste="",
    ).text(HINTS)
    return text if where or text.startswith("pH") else text[:1].upper() + text[1:]


def hinted(hints: Iterable[Hint]) -> list[str]:
    """What helps, as sentences; what the page has no words for is left out."""
    return [sentence(HINTS[hint]) for hint in dict.fromkeys(hints) if hint in HINTS]
