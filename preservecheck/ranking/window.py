"""Doses and pH values at which systems work in a formula, all systems in one array."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays, formula_arrays
from preservecheck.arrays.law import lawful_dose
from preservecheck.arrays.recipes import THERMOMETER_C
from preservecheck.arrays.tables import TableArrays
from preservecheck.assess.targets import ph_window
from preservecheck.assess.uncertainty import CASE_AXIS
from preservecheck.checks import CHECKS, with_key, with_lever
from preservecheck.ranking.base import BaseFormula
from preservecheck.ranking.candidate import added_below
from preservecheck.reference.rows import System
from preservecheck.verdict import PASS, Bools, Floats, Ints, fold

# grid of doses and pH values, fixed for this program
GRID = 40
# room above the lowest dose that works, and below the highest; judgement of this program
MARGIN = 1.1
# checks whose interval is looked for over dose and pH
WORKS = tuple(check for check in CHECKS if check.must_pass and "ph" in check.levers)
# the chance of a microbe, and from where on it is enough
HELD = with_key("challenge_chance")
ENOUGH = HELD.lines[0] if HELD.lines else 1.0
# a pH is set in steps of [-]
PH_STEP = 0.05
# rounds of narrowing an interval to one of so many pieces: a grid step of a pH range comes down to
# about 1e-8
ROUNDS, PIECES = 6, 16
# steps of false position at most; it converges in about eight
STEPS = 40
# a sum of ratios this close to 1 is 1
SMALL = 1e-12


class Window:
    """A formula and the systems that there is room for in it.

    Parameters
    ----------
    base
        The formula.
    systems
        The systems, axis S.
    """

    def __init__(self, base: BaseFormula, systems: Sequence[System]) -> None:
        self.base, self.systems = base, systems
        everything = TableArrays(base.tables, only_systems=frozenset(s.id for s in systems))
        self.arrays = formula_arrays([base.opened], everything, base.today)
        self.reference = self.arrays.reference

        # what one per cent of each system brings that preserves, and what gives way to it (S, K)
        self._preserving = np.zeros_like(self.reference.systems.composition)
        for n, system in enumerate(self.reference.systems.rows):
            for part in base.composer.resolver.resolve(system.id, kind="preservative").parts:
                if part.preserving:
                    self._preserving[n, self.reference.index[part.substance]] += part.fraction
        self._displaced = np.zeros(len(self.reference.names))
        for portion in base.opened.portions:
            if (line := base.opened.lines[portion.line]).rest:
                at = self.reference.index[portion.substance]
                self._displaced[at] += portion.percent / line.percent

    def arrays_at(
        self, percent: Floats, ph: Floats | float, systems: Sequence[System]
    ) -> FormulaArrays:
        """The formula with each system at given doses and pH values.

        Parameters
        ----------
        percent
            Doses, shape (S, ...). [% of the formula]
        ph
            pH values that broadcast with the doses, or one for each system. [-]
        """
        each = (-1, *[1] * (percent.ndim - 1))
        ph = np.asarray(ph, dtype=float)
        ph = ph.reshape(each) if ph.ndim == 1 else ph
        arrays, shape, dose = self.arrays, percent.shape, percent[..., None]
        rows = np.array([self.reference.systems.index[s.id] for s in systems]).reshape(each)
        added_c = np.array([added_below(s) - THERMOMETER_C for s in systems]).reshape(each)
        added_c = np.broadcast_to(added_c, shape)[..., None]
        composition = self.reference.systems.composition[rows]
        amount = arrays.amount[0] - dose * self._displaced + dose * composition
        full = {
            n: np.full(shape, getattr(arrays, n)[0])
            for n in CASE_AXIS
            if n not in ("ph", "profile")
        }
        return arrays.with_(
            **full,
            amount=amount,
            preserving=arrays.preserving[0] + dose * self._preserving[rows],
            with_oil=np.broadcast_to(arrays.with_oil[0], amount.shape),
            ph=ph,
            system=np.broadcast_to(rows, shape)[..., None],
            system_percent=dose,
            declared=np.ones((*shape, 1), dtype=bool),
            addition=np.zeros((*shape, 1), dtype=int),
            addition_c=added_c,
            peak_c=added_c,
            profile=np.zeros(shape, dtype=int),
            compositions=(),
        )

    def works(self, percent: Floats, systems: Sequence[System]) -> Callable[[Floats], Bools]:
        """Tells for pH values, taken as exact, where systems work at given doses."""
        at = self.arrays_at(percent, 7.0, systems).with_(ph_tolerance=np.zeros(1))

        def good(ph: Floats) -> Bools:
            arrays = at.with_(ph=ph)
            passed = [fold(c.judge(c.compute(arrays))) <= PASS for c in WORKS]
            return np.asarray(np.logical_and.reduce(np.broadcast_arrays(*passed)))

        return good

    def least_held(self, percent: Floats, ph: Floats | float, systems: Sequence[System]) -> Floats:
        """Smallest chance over the microbes that a challenge test finds one controlled."""
        arrays = self.arrays_at(percent, ph, systems).with_(ph_tolerance=np.zeros(1))
        return np.asarray(HELD.compute(arrays)[HELD.key.name].min(axis=-1))

    def lowest_dose(self, ph: Floats | float, systems: Sequence[System]) -> Floats:
        """Dose at which every microbe is likely enough held; not-a-number where none below 100 %
        does that. (S,)"""
        low = np.zeros(len(systems))
        high = np.minimum(np.array([s.usage_max_percent for s in systems]), self.base.room)
        for _ in range(4):  # beyond the usage range too: the figure says how far away it is
            reached = self.least_held(high, ph, systems) >= ENOUGH
            high = np.where(reached, high, np.minimum(4 * high, self.base.room))
        reached = self.least_held(high, ph, systems) >= ENOUGH
        dose = root(lambda d: self.least_held(d, ph, systems) - ENOUGH, low, high)
        return np.where(reached, dose, np.nan)

    def highest_dose(self, ph: Floats | float, systems: Sequence[System]) -> Floats:
        """Dose that usage range, law and solubility allow; 0 where none. (S,)"""
        each_ph = np.broadcast_to(np.asarray(ph, dtype=float), len(systems))

        def over(dose: Floats, rows: Ints) -> Bools:
            arrays = self.arrays_at(dose, each_ph[rows], [systems[i] for i in rows])
            found = [
                fold(c.judge(c.compute(arrays))) >= c.levers["less"] for c in with_lever("less")
            ]
            return np.asarray(np.logical_or.reduce(found))

        top = np.minimum(
            self._lawful_dose(ph, systems), np.array([s.usage_max_percent for s in systems])
        )
        too_much = np.flatnonzero(over(top, np.arange(len(systems))))
        if too_much.size:
            top[too_much] = narrowed(
                lambda d: over(d, too_much), np.zeros(too_much.size), top[too_much]
            )
        return np.asarray(top)

    def _lawful_dose(self, ph: Floats | float, systems: Sequence[System]) -> Floats:
        """Dose at which the first limit of the law is met: the totals grow in proportion to it.
        (S,)"""
        law = with_key("percent_as_limited")
        none, one = (
            law.compute(self.arrays_at(np.full(len(systems), d), ph, systems)) for d in (0.0, 1.0)
        )
        start = none["percent_as_limited"]
        slope = one["percent_as_limited"] - start
        return lawful_dose(start, slope, one["applies"], one["kind"], one["percent_max"])

    def ph_interval(
        self, percent: Floats, near: Floats | float, systems: Sequence[System]
    ) -> tuple[Floats, Floats]:
        """PH between which each system works at a dose, the interval nearest to a pH; not-a-number
        where none. (S,)"""
        low = np.array([s.ph_min for s in systems])
        high = np.array([s.ph_max for s in systems])
        grid = np.linspace(low, high, GRID, axis=-1)
        left, right = run(grid, self.works(percent[:, None], systems)(grid), near)
        step = (high - low) / (GRID - 1)
        # both ends at once, where they do not lie at the end of the system's own range
        rows = np.concatenate([np.flatnonzero(left > low), np.flatnonzero(right < high)])
        if not rows.size:
            return left, right
        lower = np.arange(rows.size) < (left > low).sum()
        works = self.works(percent[rows, None], [systems[i] for i in rows])
        start = np.where(lower, np.maximum(left - step, low)[rows], right[rows])
        stop = np.where(lower, left[rows], np.minimum(right + step, high)[rows])
        ends = narrowed(lambda p: works(p) == lower[:, None], start, stop)
        left[rows[lower]], right[rows[~lower]] = ends[lower], ends[~lower]
        return left, right

    def grid(self, systems: Sequence[System]) -> Bools:
        """Where each system works over its usage range and pH range. (S, doses, pH values)"""
        dose = np.linspace(
            [s.usage_min_percent for s in systems],
            [s.usage_max_percent for s in systems],
            GRID,
            axis=-1,
        )
        ph = np.linspace([s.ph_min for s in systems], [s.ph_max for s in systems], GRID, axis=-1)
        return self.works(dose[:, :, None], systems)(ph[:, None, :])

    def doses_of(
        self, ph: Floats | float, systems: Sequence[System]
    ) -> tuple[Floats, Floats, Floats]:
        """Lowest dose that works, highest that is allowed, and the one recommended. (S,) each

        Parameters
        ----------
        ph
            One pH, or one for each system. [-]
        systems
            The systems.
        """
        low, high = self.lowest_dose(ph, systems), self.highest_dose(ph, systems)
        least = np.array([s.usage_min_percent for s in systems])
        middle = (least + np.array([s.usage_max_percent for s in systems])) / 2
        # away from both edges where there is room, or a hair on the scale would decide
        # of a solvent no more than it takes
        middle = np.where([self.base.displaces_water(s) for s in systems], least, middle)
        wanted = np.fmax(np.minimum(middle, high / MARGIN), MARGIN * low)
        return (
            low,
            high,
            np.array(
                [self._on_scale(w, h, s) for w, h, s in zip(wanted, high, systems, strict=True)]
            ),
        )

    def target_ph(self, low: float, high: float) -> float | None:
        """The nearest pH of an interval, the meter's tolerance inside it and inside the windows of
        product and materials."""
        if np.isnan(low):
            return None
        tolerance = self.base.formula.measured.ph_tolerance
        suits = ph_window(self.arrays).product
        low, high = max(low, suits[0]) + tolerance, min(high, suits[1]) - tolerance
        if low > high + 1e-9:
            return None
        near = self.base.ph if self.base.ph is not None else (low + high) / 2
        target = min(max(near, low), high)
        down = np.floor(target / PH_STEP + 1e-9) * PH_STEP
        step = down if target < near else np.ceil(target / PH_STEP - 1e-9) * PH_STEP
        return round(float(step if low - 1e-9 <= step <= high + 1e-9 else target), 3)

    def _on_scale(self, wanted: float, high: float, system: System) -> float:
        """A dose that the scale shows, or one of two decimals: rounded up, but never above what is
        allowed.

        Where less is allowed than the usage range starts with, a dose of the range: the law or the
        solubility will say so, and another pH may allow it.
        """
        least = system.usage_min_percent
        top = high if high >= least else system.usage_max_percent
        dose = min(max(wanted, least), top)
        step_g = self.base.formula.product.scale_step_g
        plain = 0.01 if least >= 0.05 else 0.0005
        step = 100 * step_g / self.base.batch_g if step_g and self.base.batch_g else plain
        if step > dose / 4:
            step = plain  # too coarse a scale: the check on weighing will say so
        up = np.ceil(dose / step - 1e-9) * step
        shown = up if up <= top + 1e-12 else np.floor(top / step + 1e-9) * step
        return round(float(shown), 6) if shown >= least else dose


def inside(value: float, *, up: bool) -> float | None:
    """The end of an interval of pH as a maker sets it, in steps and not beyond the end."""
    if not np.isfinite(value):
        return None
    steps = np.ceil(value / PH_STEP - 1e-6) if up else np.floor(value / PH_STEP + 1e-6)
    return round(float(steps * PH_STEP), 2)


# ---- where conditions turn, in many intervals at once ----
#
# scipy.optimize.elementwise does the same, but its import alone takes a third of a ranking


def narrowed(beyond: Callable[[Floats], Bools], low: Floats, high: Floats) -> Floats:
    """Where a condition that is false at ``low`` becomes true on the way to ``high``, row by row.

    Each round looks at many points of every interval at once and keeps the first piece in which the
    condition turns.

    Parameters
    ----------
    beyond
        Takes points, shape (S, n).
    low, high
        Ends, shape (S,).
    """
    low, high = np.array(low, dtype=float), np.array(high, dtype=float)
    share = np.arange(1, PIECES + 1) / PIECES
    for _ in range(ROUNDS):
        points = low[:, None] + (high - low)[:, None] * share
        points[:, -1] = high
        turns = beyond(points)
        first = np.where(turns.any(axis=1), turns.argmax(axis=1), PIECES - 1)[:, None]
        before = np.where(
            first[:, 0] > 0, np.take_along_axis(points, np.maximum(first - 1, 0), axis=1)[:, 0], low
        )
        low, high = before, np.take_along_axis(points, first, axis=1)[:, 0]
    return high


def root(value: Callable[[Floats], Floats], low: Floats, high: Floats) -> Floats:
    """Where a rising function is zero between ``low`` and ``high``, element by element (Illinois
    false position)."""
    a, b = np.array(low, dtype=float), np.array(high, dtype=float)
    at_a, at_b = value(a), value(b)
    crosses = (at_a < 0) & (at_b >= 0)  # false also where a value is unknown
    zero = np.where(at_a >= 0, a, b)
    was_above = at_b < at_a  # neither end has stayed yet
    for _ in range(STEPS):
        spread = np.where(at_b > at_a, at_b - at_a, 1.0)
        zero = np.where(crosses, np.clip(b - at_b * (b - a) / spread, a, b), zero)
        at = value(zero)
        if (~crosses | (np.abs(at) < SMALL) | (b - a < SMALL)).all():
            break
        above = at >= 0
        # an end that stays twice is weighed half, or it would never move
        again = above == was_above
        at_a = np.where(above, np.where(again, at_a / 2, at_a), at)
        at_b = np.where(above, at, np.where(again, at_b / 2, at_b))
        a, b, was_above = np.where(above, a, zero), np.where(above, zero, b), above
    return zero


def run(grid: Floats, good: Bools, near: Floats | float) -> tuple[Floats, Floats]:
    """Ends of the run of good points nearest to a value (one, or one a row); not-a-number where
    none is good."""
    left, right = np.full(len(grid), np.nan), np.full(len(grid), np.nan)
    near = np.broadcast_to(near, len(grid))
    for n, (points, row) in enumerate(zip(grid, good, strict=True)):
        if row.any():
            start = int(np.abs(np.where(row, points, np.inf) - near[n]).argmin())
            bad = np.flatnonzero(~row)
            before, after = bad[bad < start], bad[bad > start]
            left[n] = points[before[-1] + 1 if before.size else 0]
            right[n] = points[after[0] - 1 if after.size else -1]
    return left, right
