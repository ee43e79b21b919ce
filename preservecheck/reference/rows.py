"""One model per table: the columns, their units and what a cell may hold.

A blank cell means unknown and becomes ``None``. Every row ends with the same five columns: where it
comes from (``source``, a key in ``sources.csv``), the page or entry (``locator``), how it was
obtained (``basis``), which cells of a published row are nevertheless recalled (``recalled``), and a
``note``.
"""

from __future__ import annotations

from preservecheck.reference.columns import Record
from preservecheck.reference.row import (
    Basis,
    Group,
    Market,
    Names,
    Rating,
    Row,
    Shares,
    Source,
    YesNo,
)
from preservecheck.reference.rows_law import Conversion, LabelRule, LegalLimit, ProductScope
from preservecheck.reference.rows_materials import Active, BinderClass, Ingredient, System
from preservecheck.reference.rows_measured import Binding, GrowthLimit, Mic, Partition, Solute
from preservecheck.reference.rows_practice import (
    Caution,
    ChallengeCriterion,
    Incompatibility,
    ProductPh,
    TestOrganism,
)

__all__ = [
    "TABLES",
    "Active",
    "Basis",
    "BinderClass",
    "Binding",
    "Caution",
    "ChallengeCriterion",
    "Conversion",
    "Group",
    "GrowthLimit",
    "Incompatibility",
    "Ingredient",
    "LabelRule",
    "LegalLimit",
    "Market",
    "Mic",
    "Names",
    "Partition",
    "ProductPh",
    "ProductScope",
    "Rating",
    "Row",
    "Shares",
    "Solute",
    "Source",
    "System",
    "TestOrganism",
    "YesNo",
]

TABLES: dict[str, type[Record]] = {
    "systems": System,
    "actives": Active,
    "ingredients": Ingredient,
    "mic": Mic,
    "partition": Partition,
    "binding": Binding,
    "solutes": Solute,
    "growth_limits": GrowthLimit,
    "legal_limits": LegalLimit,
    "conversions": Conversion,
    "label_rules": LabelRule,
    "incompatibilities": Incompatibility,
    "product_ph": ProductPh,
    "cautions": Caution,
    "challenge_criteria": ChallengeCriterion,
    "test_organisms": TestOrganism,
    "sources": Source,
}


def table_of(row: Record) -> str:
    """The table that a row stands in."""
    return next(name for name, model in TABLES.items() if isinstance(row, model))
