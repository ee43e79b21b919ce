"""Doses and pH values at which systems work in a formula, all systems in one array."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cached_property

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays, formula_arrays
from preservecheck.arrays.law import lawful_dose
from preservecheck.arrays.tables import TableArrays
from preservecheck.assess.targets import ph_window
from preservecheck.assess.uncertainty import CASE_AXIS
from preservecheck.checks import CHECKS, with_key, with_lever
from preservecheck.chemistry.summation import weighed_sum
from preservecheck.ranking.base import BaseFormula
from preservecheck.ranking.candidate import added_at
from preservecheck.reference.rows import System
from preservecheck.verdict import PASS, Bools, Floats, Ints, fold

# grid of doses and pH values, fixed for this program
GRID = 32
# room above the lowest dose that works, and below what law or solubility allow; a screen of many
# formulas keeps the first below the law too; judgement of this program
MARGIN, BELOW_CAP = 1.1, 0.92
# where in its usage range a dose lies: in a plain base; in a jar, with food for microbes, oil or
# much surfactant; where acid or little water helps; common practice, no source
PLAIN, DEMANDING, HELPED = 0.6, 0.75, 0.4
# what makes a base demanding: nutrients, liquid oil by volume of the water phase, surfactants; and
# what helps [%], [-], [%], [-], [-]
MUCH_FOOD, MUCH_OIL, MUCH_SURFACTANT, ACID_PH, LITTLE_WATER = 1.0, 0.1, 5.0, 4.0, 0.85
SURFACTANTS = ("anionic surfactant", "amphoteric surfactant", "nonionic surfactant", "solubiliser")
# doses from this on are told in these steps [%]
DOSE_STEPS = ((0.5, 0.1), (0.1, 0.05), (0.02, 0.01), (0.0, 0.0005))
# checks whose interval is looked for over dose and pH
WORKS = tuple(check for check in CHECKS if check.must_pass and "ph" in check.levers)
# the chance of a microbe, and from where on it is enough
HELD = with_key("challenge_chance")
ENOUGH = HELD.lines[0] if HELD.lines else 1.0
# a pH is set in steps of [-]
PH_STEP = 0.05
# what works up to here does not depend on the pH [-]
FLAT_PH = 8.0
# rounds of narrowing an interval to one of so many pieces: a grid step of a pH range comes down to
# about 1e-5, which is told in steps of 0.05; a dose to about 1e-7
PH_ROUNDS, DOSE_ROUNDS, PIECES = 3, 6, 16
# how far beyond the usage range a dose is looked for, times its top
FAR = 256.0
# steps of false position at most; it converges in about eight
STEPS = 40
# a chance this close to enough is enough
SMALL = 1e-8


# what goes in beside each of some systems, with its dose [% of the formula]
Partners = Sequence[tuple[System, float] | None]


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
        self,
        percent: Floats,
        ph: Floats | float,
        systems: Sequence[System],
        partners: Partners | None = None,
    ) -> FormulaArrays:
        """The formula with each system at given doses and pH values.

        Parameters
        ----------
        percent
            Doses, shape (S, ...). [% of the formula]
        ph
            pH values that broadcast with the doses, or one for each system. [-]
        partners
            What goes in beside each system, with its dose; its amounts count, its row does not.
        """
        each = (-1, *[1] * (percent.ndim - 1))
        ph = np.asarray(ph, dtype=float)
        ph = ph.reshape(each) if ph.ndim == 1 else ph
        arrays, shape, dose = self.arrays, percent.shape, percent[..., None]
        rows = np.array([self.reference.systems.index[s.id] for s in systems]).reshape(each)
        added_c = np.array([added_at([s]) for s in systems]).reshape(each)
        added_c = np.broadcast_to(added_c, shape)[..., None]
        composition = self.reference.systems.composition[rows]
        amount = arrays.amount[0] - dose * self._displaced + dose * composition
        preserving = arrays.preserving[0] + dose * self._preserving[rows]
        for n, partner in enumerate(partners or ()):
            if partner is not None:
                other = self.reference.systems.index[partner[0].id]
                more = self.reference.systems.composition[other] - self._displaced
                amount[n] += partner[1] * more
                preserving[n] += partner[1] * self._preserving[other]
        full = {
            n: np.full(shape, getattr(arrays, n)[0])
            for n in CASE_AXIS
            if n not in ("ph", "profile")
        }
        return arrays.with_(
            **full,
            amount=amount,
            preserving=preserving,
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

    def least_held(
        self,
        percent: Floats,
        ph: Floats | float,
        systems: Sequence[System],
        partners: Partners | None = None,
    ) -> Floats:
        """Smallest chance over the microbes that a challenge test finds one controlled. (S, ...)"""
        arrays = self.arrays_at(percent, ph, systems, partners).with_(ph_tolerance=np.zeros(1))
        return np.asarray(HELD.compute(arrays)[HELD.key.name].min(axis=-1))

    def lowest_dose(
        self,
        ph: Floats | float,
        systems: Sequence[System],
        partners: Partners | None = None,
        *,
        exact: bool = True,
    ) -> Floats:
        """Dose at which every microbe is likely enough held, beside a partner where there is one;
        not-a-number where none below 100 % does that. (S,)

        Not exact is up to a sixteenth of the way between two ends too high.
        """
        top = np.minimum(np.array([s.usage_max_percent for s in systems]), self.base.room)
        # beyond the usage range too: the figure says how far away it is
        far = np.minimum(FAR * top, self.base.room)
        inside, reached = self._enough(np.stack([top, far], axis=1), ph, systems, partners).T
        low = np.where(inside, 0.0, top)
        high = np.where(inside, top, far)
        # one look at many doses between the ends leaves a short way to the root
        share = np.arange(1, PIECES + 1) / PIECES
        points = low[:, None] + (high - low)[:, None] * np.where(inside[:, None], share, share**3)
        points[:, -1] = high
        good = self._enough(points, ph, systems, partners)
        first = np.where(good.any(axis=1), good.argmax(axis=1), PIECES - 1)
        rows = np.arange(len(systems))
        before = np.where(first > 0, points[rows, np.maximum(first - 1, 0)], low)
        after = points[rows, first]
        if not exact:
            return np.where(reached, after, np.nan)
        dose = root(lambda d: self.least_held(d, ph, systems, partners) - ENOUGH, before, after)
        return np.where(reached, dose, np.nan)

    def _enough(
        self,
        percent: Floats,
        ph: Floats | float,
        systems: Sequence[System],
        partners: Partners | None,
    ) -> Bools:
        """Whether every microbe is likely enough held. (S, ...)"""
        return np.asarray(self.least_held(percent, ph, systems, partners) >= ENOUGH)

    def highest_dose(
        self, ph: Floats | float, systems: Sequence[System], partners: Partners | None = None
    ) -> Floats:
        """Dose that usage range, law and solubility allow; 0 where none. (S,)"""
        each_ph = np.broadcast_to(np.asarray(ph, dtype=float), len(systems))

        def over(dose: Floats, rows: Ints) -> Bools:
            some = None if partners is None else [partners[i] for i in rows]
            arrays = self.arrays_at(dose, each_ph[rows], [systems[i] for i in rows], some)
            found = [
                fold(c.judge(c.compute(arrays))) >= c.levers["less"] for c in with_lever("less")
            ]
            return np.asarray(np.logical_or.reduce(found))

        top = np.minimum(
            self._lawful_dose(ph, systems, partners),
            np.array([s.usage_max_percent for s in systems]),
        )
        too_much = np.flatnonzero(over(top, np.arange(len(systems))))
        if too_much.size:
            top[too_much] = narrowed(
                lambda d: over(d, too_much), np.zeros(too_much.size), top[too_much], DOSE_ROUNDS
            )
        return np.asarray(top)

    def _lawful_dose(
        self, ph: Floats | float, systems: Sequence[System], partners: Partners | None = None
    ) -> Floats:
        """Dose at which the first limit of the law is met: the totals grow in proportion to it.
        (S,)"""
        law = with_key("percent_as_limited")
        none, one = (
            law.compute(self.arrays_at(np.full(len(systems), d), ph, systems, partners))
            for d in (0.0, 1.0)
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
        ends = narrowed(lambda p: works(p) == lower[:, None], start, stop, PH_ROUNDS)
        left[rows[lower]], right[rows[~lower]] = ends[lower], ends[~lower]
        return left, right

    @cached_property
    def share_of_range(self) -> float:
        """Where in its usage range a dose lies, from 0 to 1."""
        case, c = self.arrays, self.reference
        food = float(weighed_sum(case.amount, c.nutrient)[0])
        foams = float(weighed_sum(case.amount, c.role(*SURFACTANTS))[0])
        oil = float(case.oil_ratio[0].sum())
        if (case.ph[0] <= ACID_PH) or case.aw[0][0] < LITTLE_WATER:
            return HELPED
        jar = case.profiles[0].package == "jar"
        demanding = jar or food > MUCH_FOOD or oil > MUCH_OIL or foams > MUCH_SURFACTANT
        return DEMANDING if demanding else PLAIN

    def plain_doses(self, systems: Sequence[System]) -> Floats:
        """Doses by the usage range and the base alone; of a solvent no more than it takes. [%]
        (S,)"""
        least = np.array([s.usage_min_percent for s in systems])
        most = np.array([s.usage_max_percent for s in systems])
        inside = least + self.share_of_range * (most - least)
        return np.where([self.base.displaces_water(s) for s in systems], least, inside)

    def doses_of(
        self, ph: Floats | float, systems: Sequence[System], *, exact: bool = True
    ) -> tuple[Floats, Floats, Floats]:
        """Lowest dose that works, highest that is allowed, and the one recommended. (S,) each

        Parameters
        ----------
        ph
            One pH, or one for each system. [-]
        systems
            The systems.
        """
        low = self.lowest_dose(ph, systems, exact=exact)
        high = self.highest_dose(ph, systems)
        least = np.array([s.usage_min_percent for s in systems])
        most = np.array([s.usage_max_percent for s in systems])
        wanted = self.plain_doses(systems)
        wanted = np.fmax(np.where(high < most, np.minimum(wanted, BELOW_CAP * high), wanted), low)
        wanted = np.where(wanted < MARGIN * low, np.minimum(MARGIN * low, high), wanted)
        # where less is allowed than the range starts with, a dose of the range: the law or the
        # solubility will say so, and another pH may allow it
        top = np.where(high >= least, high, most)
        told = [
            dose_as_told(min(max(w, s), t), s, t)
            for w, s, t in zip(wanted, least, top, strict=True)
        ]
        return low, high, np.array(told, dtype=float)

    def ends_of(
        self, ph: Floats, systems: Sequence[System], partners: Partners
    ) -> list[tuple[float | None, float | None]]:
        """Doses between which each system works and no fault of the dose is found, three digits
        each; ``None`` where there are none.

        Parameters
        ----------
        ph
            One pH for each system. [-]
        systems
            The systems.
        partners
            What goes in beside each.
        """
        lows, highs = (
            self.lowest_dose(ph, systems, partners),
            self.highest_dose(ph, systems, partners),
        )
        return [
            told_ends(s, float(a), float(b)) for s, a, b in zip(systems, lows, highs, strict=True)
        ]

    def target_ph(self, low: float, high: float, system: System) -> float | None:
        """The pH to bring the product to for a system, the meter's tolerance inside an interval and
        inside the windows of product and materials: what the kind of product is brought to, or the
        nearest to it; ``None`` where there is none, or where the base sets the pH."""
        kind = self.base.kind
        if np.isnan(low) or (kind is not None and kind.ph_set != "free"):
            return None
        tolerance = self.base.formula.measured.ph_tolerance
        suits = ph_window(self.arrays).product
        low, high = max(low, suits[0]) + tolerance, min(high, suits[1]) - tolerance
        if low > high + 1e-9:
            return None
        aim = self.base.ph
        if kind is not None and kind.aim_ph is not None:
            aim = kind.aim_ph_flat if system.ph_max >= FLAT_PH else None
            aim = kind.aim_ph if aim is None else aim
        if aim is None:
            aim = (low + high) / 2
        return ph_as_set(min(max(aim, low), high), low, high)


def dose_as_told(wanted: float, least: float, top: float) -> float:
    """A dose as a person tells it: the nearest step that lies between two ends, else the dose
    itself. [%]"""
    step = next(step for start, step in DOSE_STEPS if wanted >= start - 1e-9)
    nearest = round(wanted / step)
    for n in (nearest, nearest - 1, nearest + 1):
        if least - 1e-12 <= (dose := round(n * step, 6)) <= top + 1e-12:
            return dose
    return wanted


def told_ends(system: System, low: float, high: float) -> tuple[float | None, float | None]:
    """Ends of the doses of a system, from the lowest that works and the highest that is allowed."""
    low, high = told_inside(max(low, system.usage_min_percent), high)
    return (low, high) if low <= high else (None, None)  # false also for not-a-number


def told_inside(low: float, high: float) -> tuple[float, float]:
    """An interval with ends of three digits that do not lie outside it."""

    def rounded(value: float, to: Callable[[float], float]) -> float:
        if not np.isfinite(value) or value <= 0:
            return value
        places = 2 - int(np.floor(np.log10(value)))
        return round(float(to(round(value * 10.0**places, 6)) / 10.0**places), max(places, 0))

    return rounded(low, np.ceil), rounded(high, np.floor)


def ph_as_set(aim: float, low: float, high: float) -> float:
    """A pH as a maker sets it: the nearest tenth, else the nearest half tenth, that lies between
    two ends; else the pH itself."""
    for step in (2 * PH_STEP, PH_STEP):
        for n in (np.round(aim / step), np.floor(aim / step), np.ceil(aim / step)):
            if low - 1e-9 <= (set_to := round(float(n * step), 2)) <= high + 1e-9:
                return set_to
    return round(aim, 3)


def inside(value: float, *, up: bool) -> float | None:
    """The end of an interval of pH as a maker sets it, in steps and not beyond the end."""
    if not np.isfinite(value):
        return None
    steps = np.ceil(value / PH_STEP - 1e-6) if up else np.floor(value / PH_STEP + 1e-6)
    return round(float(steps * PH_STEP), 2)


# ---- where conditions turn, in many intervals at once ----
#
# scipy.optimize.elementwise does the same, but its import alone takes a third of a ranking


def narrowed(beyond: Callable[[Floats], Bools], low: Floats, high: Floats, rounds: int) -> Floats:
    """Where a condition that is false at ``low`` becomes true on the way to ``high``, row by row.

    Each round looks at many points of every interval at once and keeps the first piece in which the
    condition turns.

    Parameters
    ----------
    beyond
        Takes points, shape (S, n).
    low, high
        Ends, shape (S,).
    rounds
        How often an interval is cut into pieces.
    """
    low, high = np.array(low, dtype=float), np.array(high, dtype=float)
    share = np.arange(1, PIECES + 1) / PIECES
    for _ in range(rounds):
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
