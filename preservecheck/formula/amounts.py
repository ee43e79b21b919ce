"""How much of each line there is and how hot it gets, for one formula as for a million.

Formulas (axis N), their phases (axis H) and their lines (axis L) are runs of longer arrays, in the
order of the formulas. Sums go line by line, so that the last digit does not depend on what else is
in the arrays. Not-a-number means not given.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from preservecheck.verdict import Bools, Floats

if TYPE_CHECKING:
    from preservecheck.formula.model import Formula, Phase

Ints = NDArray[np.int_]
# of a workshop, and the warmest that is still called cold processing; common practice, no source
ROOM_C, COLD_PROCESS_C = 25.0, 30.0


@dataclass(frozen=True)
class Amounts:
    """The amounts as they are written, and what follows from them."""

    formula: Ints  # (L,) that a line belongs to
    written: Floats  # (L,) % or g; not-a-number on a line that fills up
    fills: Bools  # (L,) whether the line fills up to the whole
    in_grams: Bools  # (N,)
    stated_batch_g: Floats  # (N,)

    @classmethod
    def of(cls, formula: Formula) -> Amounts:
        """Of a single formula."""
        lines = [line for phase in formula.phases for line in phase.lines]
        batch = formula.product.batch_g
        return cls(
            np.zeros(len(lines), dtype=int),
            np.array([np.nan if x.amount is None else x.amount for x in lines], dtype=float),
            np.array([x.rest for x in lines], dtype=bool),
            np.array([formula.amounts == "grams"]),
            np.array([np.nan if batch is None else batch], dtype=float),
        )

    @cached_property
    def given(self) -> Floats:
        """Sum of the amounts that are written. [% or g] (N,)"""
        known = np.where(np.isnan(self.written), 0.0, self.written)
        return np.bincount(self.formula, known, len(self.in_grams)).astype(float, copy=False)

    @cached_property
    def batch_g(self) -> Floats:
        """Mass of the batch. [g] (N,)

        Grams without a line that fills up are the whole batch, whatever is stated.
        """
        filled = np.bincount(self.formula, self.fills, len(self.in_grams)) > 0
        stated = filled & ~np.isnan(self.stated_batch_g)
        by_lines = np.where(stated, self.stated_batch_g, self.given)
        return np.where(self.in_grams, by_lines, self.stated_batch_g)

    @cached_property
    def percent(self) -> Floats:
        """Amount of each line. [% of the formula] (L,)"""
        written = np.where(np.isnan(self.written), 0.0, self.written)
        whole = np.where(self.in_grams, self.batch_g, 100.0)[self.formula]
        amount = np.where(self.fills, whole - self.given[self.formula], written)
        return np.where(self.in_grams[self.formula], amount / whole * 100, amount)

    def fillers(self, water: Bools, among: Bools) -> Ints:
        """The line of each formula that takes the difference when another changes, among those
        asked for.

        It is the line that fills up, else the one with most ``water``, else the largest. Both masks
        have the shape (L,); a formula of which no line is asked for has none.
        """
        lines = np.flatnonzero(among)
        kind = np.where(self.fills[lines], 2, np.where(water[lines], 1, 0))
        size = np.where(self.fills[lines], 0.0, self.percent[lines])
        best = np.lexsort((lines, -size, -kind, self.formula[lines]))
        return lines[best[np.unique(self.formula[lines][best], return_index=True)[1]]]


def hottest(heated_c: Floats, added_c: Floats, formula: Ints, count: int) -> tuple[Floats, Floats]:
    """Batch temperature when each phase goes in, and the highest that its lines meet from then on.
    [°C] (H,) each

    A phase without a temperature of addition that is heated meets its own heat. A later phase
    brings the batch to its temperature of addition, or, where none is given, to at most its heat.
    Where nothing is heated, what has no temperature goes in at room temperature. ``count`` is the
    number of formulas.
    """
    goes_in = np.where(np.isnan(added_c), heated_c, added_c)
    warm = (~np.isnan(heated_c) | (added_c > COLD_PROCESS_C)).astype(float)
    cold = np.bincount(formula, warm, count) == 0
    goes_in = np.where(np.isnan(goes_in) & cold[formula], ROOM_C, goes_in)
    place = np.arange(len(goes_in)) - np.searchsorted(formula, np.arange(count))[formula]
    later = np.full((count, int(place.max(initial=0)) + 2), np.nan)
    later[formula, place] = goes_in
    later = np.fmax.accumulate(later[:, ::-1], axis=1)[:, ::-1]
    return goes_in, np.fmax(np.fmax(goes_in, heated_c), later[formula, place + 1])


def line_percents(formula: Formula) -> tuple[list[float], float | None]:
    """Percent of every line in order, and the grams of the batch where they are known."""
    amounts = Amounts.of(formula)
    batch = float(amounts.batch_g[0])
    return amounts.percent.tolist(), None if np.isnan(batch) else batch


def temperatures(phases: tuple[Phase, ...]) -> list[tuple[float | None, float | None]]:
    """Of each phase the batch temperature when it goes in, and the highest that it meets. [°C]"""
    heated, added = (
        np.array([np.nan if t is None else t for t in column], dtype=float)
        for column in ([p.heated_to_c for p in phases], [p.added_at_c for p in phases])
    )
    met = hottest(heated, added, np.zeros(len(phases), dtype=int), 1)
    known = [[None if np.isnan(t) else float(t) for t in column] for column in met]
    return list(zip(*known, strict=True))
