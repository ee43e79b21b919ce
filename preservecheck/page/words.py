"""The page's own words: what stands beside the fields, and what the choices are called."""

from __future__ import annotations

import re
from typing import Any

FIELD_WORDS = {
    "product.name": "Name of the product",
    "product.use": "Use",
    "product.type": "Kind of product",
    "product.markets": "Where it is sold",
    "product.users": "For whom",
    "product.package": "Pack",
    "product.batch": "Size of the batch",
    "product.scale_step": "Smallest step of the scale",
    "product.on_market": "On the market from",
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
CHOICE_WORDS = {
    "leave-on": "stays on (leave-on)",
    "rinse-off": "is rinsed off",
    "scalp": "scalp tonic",
    "under-3": "children under 3",
    "under-10": "children under 10",
}
# a command, and the view that does the same
_PLACE = re.compile(r"'preservecheck [a-z]+', or (“[^”]+”) on the page,?")
VIEWS = (
    ("/", "Formula"),
    ("/which", "Which one?"),
    ("/bench", "At the bench"),
    ("/after", "Afterwards"),
)


def view_alone(text: str) -> str:
    """A sentence that names a command or a view, with the view alone.

    Examples
    --------
    >>> view_alone("Choose one: 'preservecheck choose', or “Which one?” on the page, ranks them.")
    'Choose one: “Which one?” ranks them.'
    """
    return _PLACE.sub(r"\1", text)


def system_name(system: Any) -> str:
    """A system named by what is in it: ``Benzyl Alcohol 78 %, Dehydroacetic Acid 9 %, Aqua 13 %``.

    Parameters
    ----------
    system
        A row of the table of systems.
    """
    parts = sorted(system.composition, key=lambda part: -part[1])
    if len(parts) == 1:
        return str(parts[0][0])
    return ", ".join(f"{inci} {100 * share:.3g} %" for inci, share in parts)
