"""What helps, worded for the page, and faults as the page shows them: a text beside a field."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

from preservecheck.errors import Fault, Hint

HINTS: Mapping[Hint, str] = {
    Hint.LINE_NAME: "type or choose one",
    Hint.REST_LINE: "mark it with the tick “fills up the rest”",
    Hint.SYSTEM_LINE: "take this line away and add it as a preservative",
    Hint.NEW_INGREDIENT: "type a known name, open it as a blend if it is made of several things, "
    "or describe it as an ingredient of your own",
    Hint.NEW_INGREDIENT_IN_SHEET: "type a known name, or describe it as an ingredient of your own",
    Hint.SYSTEM_IN_SHEET: "take this line away and add it as a preservative",
    Hint.STANDARD: "or choose one under “Judge it by”",
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


def worded(fault: Fault, *, place: str | None = None, name: str | None = None) -> str:
    """A fault in the words of the page: its file is not named, its field as the page calls it.

    Parameters
    ----------
    fault
        The fault.
    place, name
        In the words of the page, where they differ from those of a file.
    """
    text = dataclasses.replace(
        fault,
        where="",
        place=fault.place if place is None else place,
        name=fault.name if name is None else name,
        paste="",
    ).text(HINTS)
    return text if text.startswith("pH") else text[:1].upper() + text[1:]
