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

from preservecheck.arrays.solutes import Solutes
from preservecheck.arrays.systems import Systems
from preservecheck.arrays.uptake import (
    Uptake,
)


@dataclass(frozen=True)
class TableArrays(Solutes, Uptake, Systems):
    """Reference arrays for one set of tables and, where a formula brings some, its own
    materials."""

    # rules of the law and pairs are kept by context and asked for many times
    @cached_property
    def _hash(self) -> int:
        return hash((self.tables, self.own, self.extra, self.only_substances, self.only_systems))

    def __hash__(self) -> int:
        return self._hash
