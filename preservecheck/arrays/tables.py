"""The tables as arrays.

Everything a check multiplies or compares with stands here once, built from the rows, so that one
formula and a million formulas meet the same numbers. Not-a-number means unknown.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from preservecheck.arrays.forms import Forms
from preservecheck.arrays.solutes import Solutes
from preservecheck.arrays.stability import Stability
from preservecheck.arrays.substances import Substances
from preservecheck.arrays.systems import Systems
from preservecheck.reference.rows import System
from preservecheck.verdict import Bools


@dataclass(frozen=True)
class TableArrays(Substances):
    """The substances of one set of tables and, where a formula brings some, its own materials; with
    solutes, acting forms and systems on axes of their own.

    Parameters
    ----------
    extra
        Stand-in systems for plain actives without a row.
    only_systems
        Systems on axis S, where not all are needed.
    """

    extra: tuple[System, ...] = ()
    only_systems: frozenset[str] | None = None

    @cached_property
    def solutes(self) -> Solutes:
        """What lowers the water activity. Axes N and E"""
        return Solutes(self)

    @cached_property
    def forms(self) -> Forms:
        """What holds microbes back. Axis F"""
        return Forms(self)

    @cached_property
    def systems(self) -> Systems:
        """Preservatives as they are bought. Axis S"""
        return Systems(self, self.forms, self.extra, self.only_systems)

    @cached_property
    def stability(self) -> Stability:
        """The pH that raw materials stand. Axis W"""
        return Stability(self)

    @cached_property
    def usual(self) -> Bools:
        """Whether a system is usual in a kind of product, for whoever uses it; the last kind is
        none. (S, kinds + 1)"""
        places = {kind.id: i for i, kind in enumerate(self.kinds)}
        out = np.zeros((max(1, len(self.systems.rows)), len(places) + 1), dtype=bool)
        for row in self.tables.practice:
            usual = row.standing == "usual" and row.users == "any"
            if usual and row.system in self.systems.index:
                out[self.systems.index[row.system], places[row.kind]] = True
        return out

    # rules of the law and incompatibilities are kept by tables and asked for many times
    @cached_property
    def _hash(self) -> int:
        return hash((self.tables, self.own, self.extra, self.only_substances, self.only_systems))

    def __hash__(self) -> int:
        return self._hash
