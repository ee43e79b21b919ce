"""The tables as arrays: one axis of substances, one of acting forms, one of systems.

Everything a check multiplies or compares with stands here once, built from the rows, so that one
formula and a million formulas meet the same numbers. Not-a-number means unknown.

Axes used throughout: ``K`` substances, ``F`` acting forms (an acid and its salts are one), ``M``
microbes, ``C`` oil classes, ``B`` binder classes, ``S`` systems, ``Q`` parts of a system, ``N``
norrish solutes, ``E`` salts.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from preservecheck.arrays.forms import (
    ACID,
    BASE,
    CATION,
    COUNTED_ROLES,
    FORM_CODES,
    MICROBES,
    NEUTRAL,
    READ_SOLUBILITY,
    RECALLED_SOLUBILITY,
)
from preservecheck.arrays.solutes import FREE_COUNTERION, SURFACTANT_OSMOL, SURFACTANTS, Solutes
from preservecheck.arrays.substances import BINDER_CLASSES, OIL_CLASSES, OIL_DENSITY
from preservecheck.arrays.systems import COMPAT_CODES, COMPAT_COLUMNS, GROUPS, RATINGS, Systems
from preservecheck.arrays.uptake import (
    BINDING_FACTOR,
    LIKE_ETHOXYLATE,
    MEASURED_FACTOR,
    RELATION_FACTOR,
    Uptake,
)

__all__ = [
    "ACID",
    "BASE",
    "BINDER_CLASSES",
    "BINDING_FACTOR",
    "CATION",
    "COMPAT_CODES",
    "COMPAT_COLUMNS",
    "COUNTED_ROLES",
    "FORM_CODES",
    "FREE_COUNTERION",
    "GROUPS",
    "LIKE_ETHOXYLATE",
    "MEASURED_FACTOR",
    "MICROBES",
    "NEUTRAL",
    "OIL_CLASSES",
    "OIL_DENSITY",
    "RATINGS",
    "READ_SOLUBILITY",
    "RECALLED_SOLUBILITY",
    "RELATION_FACTOR",
    "SURFACTANTS",
    "SURFACTANT_OSMOL",
    "Context",
]


@dataclass(frozen=True)
class Context(Solutes, Uptake, Systems):
    """Reference arrays for one set of tables and, where a formula brings some, its own
    materials."""

    # rules of the law and pairs are kept by context and asked for many times
    @cached_property
    def _hash(self) -> int:
        return hash((self.tables, self.own, self.extra, self.only_substances, self.only_systems))

    def __hash__(self) -> int:
        return self._hash
