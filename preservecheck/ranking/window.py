"""Doses and pH values at which systems work in a formula, all systems in one array."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays, formula_arrays
from preservecheck.arrays.inputs import THERMOMETER_C, Ints
from preservecheck.arrays.tables import TableArrays
from preservecheck.assess.uncertainty import CASE_AXIS
from preservecheck.checks import BY_ID, free_active, legal_limit
from preservecheck.ranking.base import Host, added_below
from preservecheck.ranking.root_finding import narrowed, root, run
from preservecheck.reference.rows_materials import System
from preservecheck.verdict import PASS, WARN, Bools, Floats, fold

# grid of doses and pH values, fixed for this program
GRID = 40
# room above the lowest dose that works, and below the highest; judgement of this program
MARGIN = 1.1
# checks whose interval is looked for over dose and pH
WORKS = ("ph-range", "free-active", "solubility")


class Window:
    """A formula and the systems that there is room for in it.

    Parameters
    ----------
    host
        The formula.
    systems
        The systems, axis S.
    """

    def __init__(self, host: Host, systems: Sequence[System]) -> None:
        self.host, self.systems = host, systems
        everything = TableArrays(host.tables, only_systems=frozenset(s.id for s in systems))
        self.case = formula_arrays([host.base], everything, host.today)
        self.reference = self.case.reference

    def case_at(
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
        ph = np.asarray(ph, dtype=float)
        if ph.ndim == 1:
            ph = ph.reshape(-1, *[1] * (percent.ndim - 1))
        case, c = self.case, self.reference
        rows = np.array([c.system_index[s.id] for s in systems]).reshape(
            -1, *[1] * (percent.ndim - 1)
        )
        rest = self._rest(c)
        dose = percent[..., None]
        composition = c.system_composition[rows]
        amount = case.amount[0] - dose * rest + dose * composition
        preserving = np.array([_preserving(c, n) for n in c.names])
        shape = percent.shape
        full = {
            n: np.full(shape, getattr(case, n)[0]) for n in CASE_AXIS if n not in ("ph", "profile")
        }
        target = np.array([added_below(s) - THERMOMETER_C for s in systems]).reshape(rows.shape)
        return case.with_(
            **full,
            amount=amount,
            preserving=case.preserving[0] + dose * composition * preserving,
            with_oil=np.broadcast_to(case.with_oil[0], amount.shape),
            ph=ph,
            system=np.broadcast_to(rows, shape)[..., None],
            system_percent=dose,
            declared=np.ones((*shape, 1), dtype=bool),
            addition=np.zeros((*shape, 1), dtype=int),
            addition_c=np.broadcast_to(target, shape)[..., None],
            peak_c=np.broadcast_to(target, shape)[..., None],
            profile=np.zeros(shape, dtype=int),
            compositions=(),
        )

    def _rest(self, reference: TableArrays) -> Floats:
        """What one per cent of the line that fills to 100 % is made of. (K,)"""
        out = np.zeros(len(reference.names))
        at = next((i for i, w in enumerate(self.host.base.lines) if w.rest), None)
        if at is None:
            return out
        for p in self.host.base.portions:
            if p.line == at:
                out[reference.index[p.substance]] += p.percent / self.host.base.lines[at].percent
        return out

    def works(self, percent: Floats, systems: Sequence[System]) -> Callable[[Floats], Bools]:
        """Tells for pH values, taken as exact, where systems work at given doses."""
        at = self.case_at(percent, 7.0, systems).with_(ph_tolerance=np.zeros(1))

        def good(ph: Floats) -> Bools:
            case = at.with_(ph=ph)
            passed = [fold(BY_ID[c].judge(BY_ID[c].compute(case))) <= PASS for c in WORKS]
            return np.asarray(np.logical_and.reduce(np.broadcast_arrays(*passed)))

        return good

    def sums(self, percent: Floats, ph: Floats | float, systems: Sequence[System]) -> Floats:
        """Smallest sum of ratios over the microbes."""
        case = self.case_at(percent, ph, systems).with_(ph_tolerance=np.zeros(1))
        return np.asarray(free_active.sums(case).min(axis=-1))

    def lowest_dose(self, ph: Floats | float, systems: Sequence[System]) -> Floats:
        """Dose at which every microbe group reaches a sum of 1; not-a-number where none below 100 %
        does. (S,)"""
        low = np.zeros(len(systems))
        high = np.minimum(np.array([s.usage_max_percent for s in systems]), self.host.room)
        for _ in range(4):  # beyond the usage range too: the figure says how far away it is
            reached = self.sums(high, ph, systems) >= 1
            high = np.where(reached, high, np.minimum(4 * high, self.host.room))
        reached = self.sums(high, ph, systems) >= 1
        return np.where(reached, root(lambda d: self.sums(d, ph, systems) - 1, low, high), np.nan)

    def highest_dose(self, ph: Floats | float, systems: Sequence[System]) -> Floats:
        """Dose that usage range, law and solubility allow; 0 where none. (S,)"""
        each_ph = np.broadcast_to(np.asarray(ph, dtype=float), len(systems))

        def over(dose: Floats, rows: Ints) -> Bools:
            case = self.case_at(dose, each_ph[rows], [systems[i] for i in rows])
            codes = BY_ID["solubility"].judge(BY_ID["solubility"].compute(case))
            return np.asarray(fold(codes) >= WARN)

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
        none, one = (
            BY_ID["legal-limit"].compute(self.case_at(np.full(len(systems), d), ph, systems))
            for d in (0.0, 1.0)
        )
        start = none["percent_as_limited"]
        slope = one["percent_as_limited"] - start
        return legal_limit.lawful_dose(
            start, slope, one["applies"], one["kind"], one["percent_max"]
        )

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
        found = narrowed(lambda p: works(p) == lower[:, None], start, stop)
        left[rows[lower]], right[rows[~lower]] = found[lower], found[~lower]
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
        middle = np.where([self.host.takes_the_place_of_water(s) for s in systems], least, middle)
        wanted = np.fmax(np.minimum(middle, high / MARGIN), MARGIN * low)
        return (
            low,
            high,
            np.array(
                [self._on_scale(w, h, s) for w, h, s in zip(wanted, high, systems, strict=True)]
            ),
        )

    def _on_scale(self, wanted: float, high: float, system: System) -> float:
        """A dose that the scale shows, or one of two decimals: rounded up, but never above what is
        allowed.

        Where less is allowed than the usage range starts with, a dose of the range: the law or the
        solubility will say so, and another pH may allow it.
        """
        least = system.usage_min_percent
        top = high if high >= least else system.usage_max_percent
        dose = min(max(wanted, least), top)
        step_g = self.host.bare.product.scale_step_g
        step = (
            100 * step_g / self.host.batch_g
            if step_g and self.host.batch_g
            else 0.01
            if least >= 0.05
            else 0.0005
        )  # noqa: PLR2004
        if step > dose / 4:
            step = 0.01 if least >= 0.05 else 0.0005  # noqa: PLR2004  # too coarse a scale: weighing will say so
        up = np.ceil(dose / step - 1e-9) * step
        shown = up if up <= top + 1e-12 else np.floor(top / step + 1e-9) * step
        return round(float(shown), 6) if shown >= least else dose


def _preserving(reference: TableArrays, name: str) -> float:
    row = reference.rows.get(name)
    return float(row is not None and row.role in ("preservative", "cationic surfactant"))
