"""Axis W: the pH that raw materials stand, alone or beside others."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from preservecheck.arrays.substances import Substances
from preservecheck.chemistry.summation import weighed_sum
from preservecheck.reference.rows import StabilityWindow
from preservecheck.verdict import Bools, Floats

BREAKS, IDLE = "breaks", "idle"


@dataclass(frozen=True)
class Stability:
    """Windows of stability whose materials stand on axis K."""

    substances: Substances

    @cached_property
    def rows(self) -> tuple[StabilityWindow, ...]:
        """Windows on axis W: those that break something, or out of which something idles."""
        return tuple(
            row
            for row in self.substances.tables.stability_windows
            if {row.below, row.above} & {BREAKS, IDLE}
            and self.substances.matching(row.materials).any()
        )

    @cached_property
    def materials(self) -> Floats:
        """1 for a substance that a window is about. (K, W)"""
        return self._masks([row.materials for row in self.rows])

    def _masks(self, keys: list[tuple[str, ...]]) -> Floats:
        none = np.zeros((len(self.substances.names), 0))
        masks = [self.substances.matching(k) for k in keys]
        return np.stack(masks, axis=-1).astype(float) if masks else none

    def hold(self, amount: Floats) -> Bools:
        """Which windows hold for recipes: enough of the material, with or without another. (..., W)

        Parameters
        ----------
        amount
            Of each substance, shape (..., K). [% w/w of the formula]
        """
        rows = self.rows
        out = weighed_sum(amount, self.materials) >= [row.min_percent for row in rows]
        for w, row in enumerate(rows):
            if row.beside:
                beside = weighed_sum(amount, self.substances.matching(row.beside).astype(float))
                out[..., w] &= beside >= (row.beside_min_percent or 0.0)
            if row.without:
                other = weighed_sum(amount, self.substances.matching(row.without).astype(float))
                out[..., w] &= other < (row.without_from_percent or 0.0)
        return np.asarray(out)

    def edges(self, what: str) -> tuple[Floats, Floats]:
        """Lowest and highest pH of the windows whose edges do something; open sides are infinite.
        (W,) each"""
        low = [row.ph_min if row.below == what else None for row in self.rows]
        high = [row.ph_max if row.above == what else None for row in self.rows]
        return (
            np.array([-np.inf if v is None else v for v in low]),
            np.array([np.inf if v is None else v for v in high]),
        )
