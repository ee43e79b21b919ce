"""The columns of a long table of formulas: a row a line of a recipe, and a row a product.

In one frame both stand side by side, the product's columns repeated on each of its lines. A
quantity stands with its unit (``heated_to``, such as ``75 °C``) or as a number under a name that
says the unit (``heated_to_c``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from preservecheck.formula.sheets import MEASURED_FIELDS, PRODUCT_FIELDS


@dataclass(frozen=True)
class Field:
    """A column: what it holds, and whether it is needed."""

    holds: str  # text, number, or quantity
    says: str
    needed: bool = False
    # of a quantity: the column that holds it as a plain number, and the unit
    number: str | None = None
    unit: str | None = None


LINES: dict[str, Field] = {
    "formula": Field("text", "name of the formula; its lines stand together", needed=True),
    "phase": Field("text", "name of the phase", needed=True),
    "ingredient": Field(
        "text", "INCI or common name, or the id of a preservative system", needed=True
    ),
    "percent": Field(
        "number", "per cent of the formula; the word rest, or nothing under a rest column, fills up"
    ),
    "grams": Field("number", "grams, in place of percent"),
    "rest": Field("flag", "true on the line that fills up to 100 %"),
    "strength": Field("number", "per cent active, where the raw material is a solution"),
    "inside": Field("text", "the raw material that brought the substance in"),
    "heated_to": Field(
        "quantity", "hottest temperature of the phase", number="heated_to_c", unit="°C"
    ),
    "added_at": Field(
        "quantity",
        "temperature of the batch when the phase goes in",
        number="added_at_c",
        unit="°C",
    ),
}
PRODUCTS: dict[str, Field] = {
    "name": Field("text", "name of the product; the formula's where it is left out"),
    "use": Field("text", "leave-on or rinse-off", needed=True),
    "type": Field("text", "conditioner, shampoo, leave-in, styling, scalp or mask", needed=True),
    "kind": Field("text", "a row of product_kinds.csv; what the recipe looks like if left out"),
    "markets": Field("text", "such as EU GB", needed=True),
    "users": Field("text", "adults, under-3 or under-10"),
    "package": Field("text", "jar, pump, tube, spray or bottle"),
    "batch": Field("quantity", "size of the batch", number="batch_g", unit="g"),
    "scale_step": Field("quantity", "smallest step of the scale", number="scale_step_g", unit="g"),
    "on_market": Field("text", "day whose law is applied, such as 2026-12-01"),
    "shelf_life": Field("text", "such as 30 months; 30 months where it is left out"),
    "ph": Field("number", "measured pH"),
    "ph_tolerance": Field("number", "its half-width; 0.1 where it is left out"),
    "temperature": Field(
        "quantity", "temperature of the pH sample", number="temperature_c", unit="°C"
    ),
    "water_activity": Field("number", "measured water activity"),
    "water_activity_tolerance": Field("number", "its half-width; 0.005 where it is left out"),
}
# of a row of verdicts, before the checks
ROW = ("formula", "system", "percent", "verdict", "serious", "limiting_check", "note")
# what the formula file calls the same
PRODUCT_KEYS = tuple(PRODUCT_FIELDS.values())
MEASURED_KEYS = tuple(MEASURED_FIELDS.values())
# what a product is, in words; few combinations of them occur
IDENTITY = ("use", "type", "kind", "markets", "users", "package", "on_market", "shelf_life")


def columns_of(table: Mapping[str, Field]) -> dict[str, Field]:
    """Every column that may stand in a table, quantities under both their names."""
    return dict(table) | {f.number: f for f in table.values() if f.number is not None}
