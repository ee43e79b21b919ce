"""Which preservative? Every system against one formula, by the same checks as ``review``.

How a system gets its place:

1. The formula's own preservatives are taken out (what raw materials carry in stays); each system goes in where they
   went in, or, where none was, last into the cooled batch.
2. Over a grid of doses and pH values, all systems in one array, the checks on pH range, free active and solubility show
   where it works; the ends of the intervals are then found as roots.
3. The dose is the middle of the usage range, or 10 % more than the microbes ask for where that is higher, never above
   what usage range, law and solubility allow, on the scale's steps.
4. That very formula is judged by all checks. ``fits``: no serious warning, and none at all on pH range, free active,
   solubility, dose, law, heat and coverage. Otherwise the smallest changes that answer what is wrong are made - cooler
   addition, another pH, a nonionic gum for an anionic one, a partner that its row names - and the changed formula is
   judged again: ``fits-after-change``. What still does not pass ``does-not-fit``.

Order: fits, then fits after a change, then the rest; no serious warning before some, then fewest warnings, then the
margin of the weakest microbe, then the chance of passing.
"""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from types import ModuleType
from typing import Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict

from preservecheck.case import THERMOMETER_C, Case, cases
from preservecheck.checks import BY_ID, CHECKS, free_active, legal_limit, pairs, product_ph
from preservecheck.checks.base import listed, number
from preservecheck.context import MICROBES, Context
from preservecheck.errors import PreservecheckError
from preservecheck.formula.compose import Composition, solved
from preservecheck.formula.load import load_formula
from preservecheck.formula.model import MARKETS, Formula, Line, Measured, Phase
from preservecheck.formula.names import folded, names_of
from preservecheck.reference.load import Tables, load_tables
from preservecheck.reference.rows import System
from preservecheck.review import PROGRAM, composer_for, context_for, finding_of, version
from preservecheck.uncertainty import drawn
from preservecheck.verdict import ABSENT, PASS, SERIOUS, UNKNOWN, WARN, Bools, Codes, Finding, Floats, fold

Outcome = Literal["fits", "fits-after-change", "does-not-fit"]
OUTCOMES: tuple[Outcome, ...] = ("fits", "fits-after-change", "does-not-fit")
ORDER = (
    "Fits before fits after a change before the rest; then no serious warning, fewest warnings, the widest margin "
    "of the weakest microbe, the best chance of passing."
)
# grid of doses and pH values, the contract's figure
GRID = 40
# rounds of narrowing an interval to one of so many pieces: a grid step of a pH range comes down to about 1e-8
ROUNDS, PIECES = 6, 16
# steps of false position at most; it converges in about eight
STEPS = 40
# a sum of ratios this close to 1 is 1
SMALL = 1e-12
# room above the lowest dose that works, judgement of this program
MARGIN = 1.1
# draws behind each chance
CHANCE_DRAWS = 500
PH_STEP = 0.05
# checks that must pass before a system is said to fit; others may warn and count in the order
MUST_PASS = ("ph-range", "free-active", "solubility", "dose", "legal-limit", "heat-limit", "coverage")
# checks whose interval is looked for over dose and pH
WORKS = ("ph-range", "free-active", "solubility")
GUM = "Hydroxyethylcellulose"


class Weakest(BaseModel):
    """The microbe with the smallest margin."""

    model_config = ConfigDict(frozen=True)
    microbe: str
    sum_of_ratios: float | None


class Option(BaseModel):
    """What one system would do in the formula."""

    model_config = ConfigDict(frozen=True)
    id: str
    outcome: Outcome
    percent: float | None
    percent_low: float | None
    percent_high: float | None
    ph_low: float | None
    ph_high: float | None
    add_below_c: float | None
    phase: str
    grams: float | None
    scale_error_percent: float | None
    changes: tuple[str, ...]
    partner: str | None
    partner_percent: float | None
    counts: dict[str, int]
    weakest: Weakest
    chance: float | None
    why: str
    own: bool
    formula: Formula | None = None  # with the recommendation in it; not part of the JSON


class Choice(BaseModel):
    """What ``choose`` says about one formula."""

    model_config = ConfigDict(frozen=True)
    program: str
    tables_sha256: str
    formula_sha256: str
    date: dt.date
    name: str
    ph: float | None
    markets: tuple[str, ...]
    order: str
    narrowed: tuple[str, ...]
    systems: tuple[Option, ...]

    def to_json(self) -> dict[str, Any]:
        """Keys that other programs read, in ranked order."""
        data = self.model_dump(mode="json", exclude={"systems": {"__all__": {"formula"}}})
        return {"format": 1, **data}


@dataclass(frozen=True)
class Trial:
    """A system put into the formula, with what was changed to make it fit."""

    system: System
    percent: float
    partner: System | None = None
    partner_percent: float = 0.0
    ph: float | None = None  # None: as measured
    added_at_c: float | None = None  # None: where the formula's own preservative goes in
    without: frozenset[str] = frozenset()  # anionic gums replaced by a nonionic one
    changes: tuple[str, ...] = ()
    codes: dict[str, Codes] = field(default_factory=dict)
    sums: Floats | None = None

    @cached_property
    def worst(self) -> dict[str, int]:
        """Worst code by check."""
        return {check: int(fold(codes)) for check, codes in self.codes.items()}

    @cached_property
    def fits(self) -> bool:
        """No serious warning, and nothing but a pass where a pass is asked for; law that is not known may stay so."""
        worst = self.worst
        return max(worst.values()) < SERIOUS and all(
            worst[c] <= PASS or (c == "legal-limit" and worst[c] == UNKNOWN) for c in MUST_PASS
        )

    @cached_property
    def counts(self) -> dict[str, int]:
        """How many findings pass, warn and are unknown."""
        every = np.concatenate([c for c in self.codes.values()])
        serious, warn = int((every == SERIOUS).sum()), int((every == WARN).sum())
        return {
            "pass": int((every == PASS).sum()),
            "warn": warn + serious,
            "serious": serious,
            "unknown": int((every == UNKNOWN).sum()),
        }


def choose(
    formula: Formula | str | os.PathLike[str],
    tables: Tables | None = None,
    *,
    today: dt.date | None = None,
    markets: Sequence[str] = (),
    natural: bool = False,
    without: Sequence[str] = (),
    limit: int | None = None,
) -> Choice:
    """Rank every preservative system for a formula.

    Parameters
    ----------
    formula
        A formula, or the path of its file, with or without a preservative in it.
    tables
        The tables; default the shipped ones with the user's own rows.
    today
        Date of the report, and of the law where the formula names no day.
    markets
        Markets to satisfy instead of the formula's own.
    natural
        Only systems that a natural cosmetics standard accepts.
    without
        Substances, by any known name, that no system may hold.
    limit
        How many systems to report, best first; all where ``None``.

    Raises
    ------
    FormulaError
        The file cannot be used.
    """
    tables = tables or load_tables()
    today = today or dt.date.today()
    if not isinstance(formula, Formula):
        formula = load_formula(formula, tables, today=today)
    narrowed = []
    if strange := [m for m in markets if m not in MARKETS]:
        raise PreservecheckError(f"--markets: {', '.join(strange)} is not known; the markets are {', '.join(MARKETS)}")
    if markets:
        formula = formula.model_copy(update={"product": formula.product.model_copy(update={"markets": tuple(markets)})})
        narrowed.append(f"markets {', '.join(markets)}")
    systems = list(tables.systems)
    if natural:
        systems = [s for s in systems if s.natural_standard in ("yes", "conditional")]
        narrowed.append("only what a natural cosmetics standard accepts")
    if without:
        names = names_of(tables)
        if unknown := [w for w in without if names.ingredient(w) is None]:
            near = names.nearest(unknown[0])
            raise PreservecheckError(
                f"--without: {', '.join(unknown)} is no name in the tables"
                + (f"; did you mean {listed(near, 'or')}?" if near else "")
            )
        banned = {named.inci for w in without if (named := names.ingredient(w)) is not None}
        systems = [s for s in systems if banned.isdisjoint(i for i, _ in s.composition)]
        narrowed.append(f"without {listed(sorted(banned))}")
    options = _Search(formula, tables, systems, today).ranked() if systems else []
    return Choice(
        program=f"{PROGRAM} {version()}",
        tables_sha256=tables.digest,
        formula_sha256=formula.sha256,
        date=today,
        name=formula.product.name,
        ph=formula.measured.ph,
        markets=formula.product.markets,
        order=ORDER,
        narrowed=tuple(narrowed),
        systems=tuple(options[:limit]),
    )


class _Search:
    """One formula and the systems that are tried in it."""

    def __init__(self, formula: Formula, tables: Tables, systems: list[System], today: dt.date) -> None:
        self.tables, self.systems, self.today = tables, systems, today
        self.composer = composer_for(tables)
        self.own = tables.own("systems")
        composition = self.composer.compose(formula)
        self.host = self._host(composition)
        self.bare = bare(formula, composition)
        self.doses: dict[float, tuple[Floats, Floats, Floats]] = {}
        self.base = self.composer.compose(self.bare)
        self.batch_g = solved(self.bare)[1]
        everything = Context(tables, only_systems=frozenset(s.id for s in systems))  # of the whole search
        self.case = cases([self.base], everything, today)
        self.context = self.case.context
        self.ph = formula.measured.ph

    def _host(self, composition: Composition) -> int | None:
        """The phase in which the formula's own preservative goes in."""
        phases = [a.phase for a in composition.additions]
        return phases[-1] if phases else None

    # ---- one system in the formula ----------------------------------------------------------------------------------

    def formula_with(self, trial: Trial) -> Formula:
        """The formula with a trial's system, partner and changes in it."""
        formula = self.bare
        if trial.without:
            formula = _without_gums(formula, trial.without)
        if trial.ph is not None:
            formula = formula.model_copy(update={"measured": formula.measured.model_copy(update={"ph": trial.ph})})
        lines = [self._line(trial.system, trial.percent)]
        if trial.partner is not None:
            lines.append(self._line(trial.partner, trial.partner_percent))
        phases = list(formula.phases)
        if self.host is None or trial.added_at_c is not None:
            at = trial.added_at_c if trial.added_at_c is not None else self.target_c(trial)
            phases.append(Phase(name=_free_name(phases), added_at_c=at, lines=tuple(lines)))
        else:
            host = phases[self.host]
            phases[self.host] = host.model_copy(update={"lines": (*host.lines, *lines)})
        return formula.model_copy(update={"phases": tuple(p for p in phases if p.lines)})

    def _line(self, system: System, percent: float) -> Line:
        amount = percent if self.bare.amounts == "percent" else percent / 100 * (self.batch_g or 0.0)
        return Line(name=system.id, kind="preservative", amount=amount)

    def target_c(self, trial: Trial) -> float:
        """Temperature at which a trial's systems can go in with the thermometer's error to spare. [°C]"""
        return min(_below(s) for s in (trial.system, trial.partner) if s is not None) - THERMOMETER_C

    def judged(self, trials: Sequence[Trial]) -> list[Trial]:
        """Trials with the verdicts of all checks, judged together."""
        if not trials:
            return []
        compositions = [self.composer.compose(self.formula_with(t)) for t in trials]
        case = cases(compositions, context_for(self.tables), self.today)
        codes = {check.ID: check.judge(check.compute(case)) for check in CHECKS}
        for check in (legal_limit, pairs):
            codes[check.ID] = np.stack([_one_each(check, case, c, i) for i, c in enumerate(codes[check.ID])])
        sums = BY_ID["free-active"].compute(case)["sum_of_ratios"]
        return [replace(t, codes={c: v[i] for c, v in codes.items()}, sums=sums[i]) for i, t in enumerate(trials)]

    # ---- dose and pH, all systems in one array -----------------------------------------------------------------------

    def case_at(self, percent: Floats, ph: Floats | float, systems: Sequence[System]) -> Case:
        """The formula with each system at given doses and pH values.

        Parameters
        ----------
        percent
            Doses, shape (S, ...). [% of the formula]
        ph
            pH values that broadcast with the doses. [-]
        """
        case, c = self.case, self.context
        rows = np.array([c.system_index[s.id] for s in systems]).reshape(-1, *[1] * (percent.ndim - 1))
        rest = self._rest(c)
        dose = percent[..., None]
        composition = c.system_composition[rows]
        amount = case.amount[0] - dose * rest + dose * composition
        preserving = np.array([_preserving(c, n) for n in c.names])
        shape = percent.shape
        full = {
            n: np.full(shape, getattr(case, n)[0])
            for n in (
                "ph_tolerance",
                "sample_c",
                "aw_measured",
                "aw_tolerance",
                "batch_g",
                "scale_step_g",
                "temperature_tolerance_c",
            )
        }
        target = np.array([_below(s) - THERMOMETER_C for s in systems]).reshape(rows.shape)
        return case.with_(
            **full,
            amount=amount,
            preserving=case.preserving[0] + dose * composition * preserving,
            with_oil=np.broadcast_to(case.with_oil[0], amount.shape),
            ph=np.asarray(ph, dtype=float),
            system=np.broadcast_to(rows, shape)[..., None],
            system_percent=dose,
            declared=np.ones((*shape, 1), dtype=bool),
            addition=np.zeros((*shape, 1), dtype=int),
            addition_c=np.broadcast_to(target, shape)[..., None],
            peak_c=np.broadcast_to(target, shape)[..., None],
            profile=np.zeros(shape, dtype=int),
            compositions=(),
        )

    def _rest(self, context: Context) -> Floats:
        """What one per cent of the line that fills to 100 % is made of. (K,)"""
        out = np.zeros(len(context.names))
        at = next((i for i, w in enumerate(self.base.lines) if w.rest), None)
        if at is None:
            return out
        for p in self.base.portions:
            if p.line == at:
                out[context.index[p.substance]] += p.percent / self.base.lines[at].percent
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
        """Dose at which every microbe group reaches a sum of 1; not-a-number where none below 100 % does. (S,)"""
        low = np.zeros(len(systems))
        high = np.minimum(np.array([s.usage_max_percent for s in systems]), self._room())
        for _ in range(4):  # beyond the usage range too: the figure says how far away it is
            reached = self.sums(high, ph, systems) >= 1
            high = np.where(reached, high, np.minimum(4 * high, self._room()))
        reached = self.sums(high, ph, systems) >= 1
        return np.where(reached, root(lambda d: self.sums(d, ph, systems) - 1, low, high), np.nan)

    def _room(self) -> float:
        rest = [w.percent for w in self.base.lines if w.rest]
        return rest[0] if rest else 100.0

    def highest_dose(self, ph: Floats | float, systems: Sequence[System]) -> Floats:
        """Dose that usage range, law and solubility allow; 0 where none. (S,)"""

        def over(dose: Floats) -> Bools:
            case = self.case_at(dose, ph, systems)
            codes = BY_ID["solubility"].judge(BY_ID["solubility"].compute(case))
            return np.asarray(fold(codes) >= WARN)

        top = np.minimum(self._lawful_dose(ph, systems), np.array([s.usage_max_percent for s in systems]))
        return np.where(over(top), narrowed(over, np.zeros(len(systems)), top), top)

    def _lawful_dose(self, ph: Floats | float, systems: Sequence[System]) -> Floats:
        """Dose at which the first limit of the law is met: the totals grow in proportion to it. (S,)"""
        none, one = (
            BY_ID["legal-limit"].compute(self.case_at(np.full(len(systems), d), ph, systems)) for d in (0.0, 1.0)
        )
        start, slope = none["percent_as_limited"], one["percent_as_limited"] - none["percent_as_limited"]
        binds = (one["applies"] > 0) & np.isin(one["kind"], (legal_limit.LIMIT, legal_limit.CLOSED)) & (slope > 0)
        room = np.maximum(one["percent_max"] - start, 0.0)
        return np.asarray(np.where(binds, room / np.where(slope > 0, slope, 1.0), np.inf).min(axis=-1))

    def ph_interval(self, percent: Floats, near: float, systems: Sequence[System]) -> tuple[Floats, Floats]:
        """PH between which each system works at a dose, the interval nearest to a pH; not-a-number where none. (S,)"""
        low = np.array([s.ph_min for s in systems])
        high = np.array([s.ph_max for s in systems])
        grid = np.linspace(low, high, GRID, axis=-1)
        left, right = _run(grid, self.works(percent[:, None], systems)(grid), near)
        step = (high - low) / (GRID - 1)
        works = self.works(percent[:, None], systems)
        a = np.where(left <= low, left, narrowed(works, np.maximum(left - step, low), left))
        b = np.where(right >= high, right, narrowed(lambda p: ~works(p), right, np.minimum(right + step, high)))
        none = np.isnan(left)
        return np.where(none, np.nan, a), np.where(none, np.nan, b)

    def grid(self, systems: Sequence[System]) -> Bools:
        """Where each system works over its usage range and pH range. (S, doses, pH values)"""
        dose = np.linspace(
            [s.usage_min_percent for s in systems], [s.usage_max_percent for s in systems], GRID, axis=-1
        )
        ph = np.linspace([s.ph_min for s in systems], [s.ph_max for s in systems], GRID, axis=-1)
        return self.works(dose[:, :, None], systems)(ph[:, None, :])

    # ---- all of them -------------------------------------------------------------------------------------------------

    def ranked(self) -> list[Option]:
        """All systems, best first; those that are no additive to this formula last."""
        room = self._room()
        too_much = [s for s in self.systems if s.usage_min_percent > room]
        self.systems = [s for s in self.systems if s.usage_min_percent <= room]
        found = self._options() if self.systems else []
        return sorted([*found, *(self._no_room(s, room) for s in too_much)], key=_rank)

    def _no_room(self, system: System, room: float) -> Option:
        why = (
            f"dose: it takes {number(system.usage_min_percent)} % and more of the whole formula, and only "
            f"{number(room)} % of this one can give way"
        )
        return Option(
            id=system.id,
            outcome="does-not-fit",
            percent=None,
            percent_low=None,
            percent_high=None,
            ph_low=None,
            ph_high=None,
            add_below_c=_below(system),
            phase="cool-down",
            grams=None,
            scale_error_percent=None,
            changes=(),
            partner=None,
            partner_percent=None,
            counts={"pass": 0, "warn": 0, "serious": 0, "unknown": 0},
            weakest=Weakest(microbe=MICROBES[0], sum_of_ratios=None),
            chance=None,
            why=why,
            own=system.id in self.own,
        )

    def _options(self) -> list[Option]:
        """Systems that there is room for, in the order of the table."""
        systems = self.systems
        window = product_ph.window_of(self.context, self.bare.product.type, self.bare.product.use)
        near = self.ph if self.ph is not None else (window.ph_min + window.ph_max) / 2 if window else 5.0
        can = self.grid(systems).any(axis=1)  # (S, pH)
        low, high, percent = self._doses(near)
        ph_low, ph_high = self.ph_interval(percent, near, systems)
        # a system that works nowhere at this dose may work at its highest one
        again = np.flatnonzero(np.isnan(ph_low) & can.any(axis=-1))
        if again.size:
            some = [systems[i] for i in again]
            ph_low[again], ph_high[again] = self.ph_interval(np.array([s.usage_max_percent for s in some]), near, some)
        first = self.judged([Trial(s, float(p)) for s, p in zip(systems, percent, strict=True)])
        second = [t if t.fits else self._mended(t, ph_low[i], ph_high[i]) for i, t in enumerate(first)]
        redo = [i for i, t in enumerate(second) if not first[i].fits and t.changes]
        for i, t in zip(redo, self.judged([second[i] for i in redo]), strict=True):
            second[i] = t
        second = self._with_partners(second)
        chosen = [a if a.fits else b if b.fits or not a.codes else a for a, b in zip(first, second, strict=True)]
        chance = self._chances([t for t in chosen if t.fits])
        lucky = iter(chance)
        return [
            self._option(t, first[i], (low[i], high[i], ph_low[i], ph_high[i]), next(lucky) if t.fits else None)
            for i, t in enumerate(chosen)
        ]

    def _doses(self, ph: float) -> tuple[Floats, Floats, Floats]:
        """Lowest dose that works, highest that is allowed, and the one recommended, of all systems. (S,) each"""
        if ph not in self.doses:
            self.doses[ph] = self._find_doses(ph, self.systems)
        return self.doses[ph]

    def _find_doses(self, ph: float, systems: Sequence[System]) -> tuple[Floats, Floats, Floats]:
        low, high = self.lowest_dose(ph, systems), self.highest_dose(ph, systems)
        least = np.array([s.usage_min_percent for s in systems])
        middle = (least + np.array([s.usage_max_percent for s in systems])) / 2
        wanted = np.fmax(middle, MARGIN * low)
        return low, high, np.array([self._on_scale(w, h, s) for w, h, s in zip(wanted, high, systems, strict=True)])

    def _on_scale(self, wanted: float, high: float, system: System) -> float:
        """A dose that the scale shows, or one of two decimals: rounded up, but never above what is allowed.

        Where less is allowed than the usage range starts with, a dose of the range: the law or the solubility will say
        so, and another pH may allow it.
        """
        least = system.usage_min_percent
        top = high if high >= least else system.usage_max_percent
        dose = min(max(wanted, least), top)
        step_g = self.bare.product.scale_step_g
        step = 100 * step_g / self.batch_g if step_g and self.batch_g else 0.01 if least >= 0.05 else 0.0005  # noqa: PLR2004
        if step > dose / 4:
            step = 0.01 if least >= 0.05 else 0.0005  # noqa: PLR2004  # too coarse a scale: weighing will say so
        up = np.ceil(dose / step - 1e-9) * step
        shown = up if up <= top + 1e-12 else np.floor(top / step + 1e-9) * step
        return round(float(shown), 6) if shown >= least else dose

    # ---- changes -----------------------------------------------------------------------------------------------------

    def _mended(self, trial: Trial, ph_low: float, ph_high: float) -> Trial:
        """The trial with the smallest changes that answer its warnings, not judged yet."""
        worst, changes = trial.worst, []
        made: dict[str, Any] = {}
        if worst["heat-limit"] > PASS and self.host is not None:
            made["added_at_c"] = self.target_c(trial)
            before = self.bare.phases[self.host] if self.host < len(self.bare.phases) else None
            was = None if before is None else before.added_at_c if before.added_at_c is not None else before.heated_to_c
            instead = f" instead of {was:.0f} °C" if was is not None else ""
            changes.append(f"add it at {made['added_at_c']:.0f} °C or cooler{instead}")
        needs_ph = (
            self.ph is None
            or any(worst[c] > PASS for c in ("ph-range", "free-active", "solubility"))
            or (worst["pairs"] >= SERIOUS)
        )
        if needs_ph and (target := self._target_ph(ph_low, ph_high)) is not None:
            made["ph"] = target
            if self.ph is None:
                changes.append(f"measure the pH, which is not known: it must lie at {_ph_words(ph_low, ph_high)}")
            else:
                way = "lower" if target < self.ph else "raise"
                side = "below" if target < self.ph else "above"
                changes.append(f"{way} the pH from {number(self.ph)} to {number(target)} or {side}")
        if worst["ionic"] >= SERIOUS or worst["pairs"] >= SERIOUS or worst["free-active"] > PASS:
            gums = self._gums() if trial.system.charge == "cationic" else {}
            if gums:
                made["without"] = frozenset(gums)
                changes.append(f"replace {listed(sorted(gums.values()))} by {GUM}")
        return replace(trial, **made, changes=tuple(changes), codes={} if changes else trial.codes)

    def _target_ph(self, low: float, high: float) -> float | None:
        """The nearest pH that works with the meter's tolerance to spare, inside product and material windows."""
        if np.isnan(low):
            return None
        tolerance = self.bare.measured.ph_tolerance
        at = {n: float(np.asarray(v).reshape(-1)[0]) for n, v in product_ph.compute(self.case).items()}
        low = np.nanmax([low, at["ph_min"], at["material_min"]]) + tolerance
        high = np.nanmin([high, at["ph_max"], at["material_max"]]) - tolerance
        if low > high + 1e-9:
            return None
        near = self.ph if self.ph is not None else (low + high) / 2
        target = min(max(near, low), high)
        rounded = (
            np.floor(target / PH_STEP + 1e-9) * PH_STEP if target < near else np.ceil(target / PH_STEP - 1e-9) * PH_STEP
        )
        return round(float(rounded if low - 1e-9 <= rounded <= high + 1e-9 else target), 3)

    def _gums(self) -> dict[str, str]:
        """Anionic gums and polymers on lines of their own: folded name to name as written."""
        rows = self.composer.ingredients
        return {
            folded(w.name): w.name
            for w in self.base.lines
            if w.inci is not None and (r := rows.get(w.inci)) is not None and r.role == "anionic polymer"
        }

    def _with_partners(self, trials: list[Trial]) -> list[Trial]:
        """Trials that leave a gap, each with the partner that does best."""
        tries: list[tuple[int, Trial]] = []
        place = {s.id: i for i, s in enumerate(self.systems)}
        for i, t in enumerate(trials):
            if t.fits or not t.codes or t.worst["legal-limit"] >= SERIOUS:
                continue
            ph = t.ph if t.ph is not None else self.ph
            if ph is None:
                continue
            for at in (place[p] for p in t.system.partners if p in place and p != t.system.id):
                partner, percent = self.systems[at], self._doses(ph)[2][at]
                tries.append(
                    (
                        i,
                        replace(
                            t,
                            partner=partner,
                            partner_percent=float(percent),
                            changes=(*t.changes, f"pair it with {number(percent)} % {partner.id}"),
                        ),
                    )
                )
        if not tries:
            return trials
        # the cooler of the two decides where both go in
        cool = [replace(t, added_at_c=self.target_c(t)) if t.added_at_c is not None else t for _, t in tries]
        best = list(trials)
        for (i, _), t in zip(tries, self.judged(cool), strict=True):
            if t.fits and (not best[i].fits or _merit(t) < _merit(best[i])):
                best[i] = t
        return best

    def _chances(self, trials: Sequence[Trial]) -> list[float]:
        """Chance that everything that must pass does, under all tolerances."""
        if not trials:
            return []
        compositions = [self.composer.compose(self.formula_with(t)) for t in trials]
        cloud = drawn(cases(compositions, context_for(self.tables), self.today), draws=CHANCE_DRAWS)
        good = [fold(BY_ID[c].judge(BY_ID[c].compute(cloud))) <= PASS for c in MUST_PASS if BY_ID[c].TOLERANCES]
        return [float(g) for g in np.logical_and.reduce(np.broadcast_arrays(*good)).mean(axis=-1)]

    # ---- words -------------------------------------------------------------------------------------------------------

    def _option(
        self, trial: Trial, first: Trial, ends: tuple[float, float, float, float], chance: float | None
    ) -> Option:
        low, high, ph_low, ph_high = ends
        formula = self.formula_with(trial)
        sums = trial.sums if trial.sums is not None else np.array([np.nan])
        at = int(np.nanargmin(sums)) if not np.isnan(sums).all() else 0
        outcome: Outcome = (
            "fits" if trial.fits and not trial.changes else "fits-after-change" if trial.fits else "does-not-fit"
        )
        grams = trial.percent / 100 * self.batch_g if self.batch_g else None
        step = self.bare.product.scale_step_g
        return Option(
            id=trial.system.id,
            outcome=outcome,
            percent=trial.percent,
            percent_low=_known(low),
            percent_high=_known(high),
            ph_low=_rounded(ph_low, up=True),
            ph_high=_rounded(ph_high, up=False),
            add_below_c=_below(trial.system),
            phase=self._phase(trial),
            grams=grams,
            scale_error_percent=100 * step / grams if step and grams else None,
            changes=trial.changes if outcome == "fits-after-change" else (),
            partner=trial.partner.id if trial.partner and trial.fits else None,
            partner_percent=trial.partner_percent if trial.partner and trial.fits else None,
            counts=trial.counts,
            weakest=Weakest(microbe=MICROBES[at], sum_of_ratios=_known(float(sums[at]))),
            chance=None if chance is None else round(chance, 3),
            why=self._why(trial, first),
            own=trial.system.id in self.own,
            formula=formula,
        )

    def _phase(self, trial: Trial) -> str:
        if self.host is not None and trial.added_at_c is None and self.host < len(self.bare.phases):
            return self.bare.phases[self.host].name
        return "cool-down"

    def _why(self, trial: Trial, first: Trial) -> str:
        """One line: what speaks for it, or the first thing that is wrong."""
        if trial.fits and not trial.changes:
            warned = [c for c, code in trial.worst.items() if code == WARN]
            return "passes what it must" + (f"; look at {listed(warned)}" if warned else "")
        if trial.fits:
            return f"{'; '.join(trial.changes)}: then it passes what it must"
        finding = self._first_fault(first)
        return f"{finding.id}: {finding.because}" if finding else "it does not pass"

    def _first_fault(self, trial: Trial) -> Finding | None:
        case = cases([self.composer.compose(self.formula_with(trial))], context_for(self.tables), self.today)
        # what the law forbids no dose can mend, so it is said first
        ranked = sorted(CHECKS, key=lambda c: (-trial.worst[c.ID], c is not legal_limit, c.ID not in MUST_PASS))
        check = next(
            (c for c in ranked if trial.worst[c.ID] > PASS and (c.ID in MUST_PASS or trial.worst[c.ID] == SERIOUS)),
            None,
        )
        if check is None:
            return None
        figures = check.compute(case)
        codes = np.atleast_2d(check.judge(figures))[0]
        j = int(codes.argmax())
        return finding_of(check, case, figures, j, int(codes[j]), None, {})


def bare(formula: Formula, composition: Composition) -> Formula:
    """The formula without its own preservatives, filled to 100 % by its rest line, else by its water."""
    systems = {a.line for a in composition.additions}
    lines = [line for phase in formula.phases for line in phase.lines]
    percents, total = solved(formula)
    keep = [i for i in range(len(lines)) if i not in systems]
    filler = next((i for i in keep if lines[i].rest), None)
    if filler is None:
        water = [i for i in keep if composition.lines[i].inci == "Aqua"]
        filler = max(water or keep, key=lambda i: percents[i], default=None)
    at, phases = 0, []
    for phase in formula.phases:
        kept = []
        for line in phase.lines:
            if at in keep:
                kept.append(line.model_copy(update={"amount": None, "rest": True}) if at == filler else line)
            at += 1
        phases.append(phase.model_copy(update={"lines": tuple(kept)}))
    product = formula.product
    if formula.amounts == "grams" and product.batch_g is None:
        product = product.model_copy(update={"batch_g": total})
    return formula.model_copy(update={"phases": tuple(phases), "product": product})


def _without_gums(formula: Formula, gums: Collection[str]) -> Formula:
    phases = [
        p.model_copy(
            update={
                "lines": tuple(
                    line.model_copy(update={"name": GUM}) if folded(line.name) in gums else line for line in p.lines
                )
            }
        )
        for p in formula.phases
    ]
    return formula.model_copy(update={"phases": tuple(phases)})


def _free_name(phases: Sequence[Phase]) -> str:
    taken = {p.name for p in phases}
    return next(n for n in ("preservative", *(f"preservative {i}" for i in range(2, 1000))) if n not in taken)


def _one_each(check: ModuleType, case: Case, codes: Codes, i: int) -> Codes:
    """Codes of one case, of several rows about one matter the worst alone, as a report shows them."""
    worst: dict[str, int] = {}
    out = codes.copy()
    for j in sorted(np.flatnonzero(codes != ABSENT), key=lambda j: -codes[j]):
        if worst.setdefault(check.subject(case, int(j), i), int(j)) != j:
            out[j] = ABSENT
    return out


def _below(system: System) -> float:
    """Temperature below which a system goes in: the heat limit, or where it does most good if that is lower. [°C]"""
    cool = system.preferred_add_below_c
    return system.heat_limit_c if cool is None else min(system.heat_limit_c, cool)


def _preserving(context: Context, name: str) -> float:
    row = context.rows.get(name)
    return float(row is not None and row.role in ("preservative", "cationic surfactant"))


def narrowed(beyond: Callable[[Floats], Bools], low: Floats, high: Floats) -> Floats:
    """Where a condition that is false at ``low`` becomes true on the way to ``high``, row by row.

    Each round looks at many points of every interval at once and keeps the first piece in which the condition turns.

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
        before = np.where(first[:, 0] > 0, np.take_along_axis(points, np.maximum(first - 1, 0), axis=1)[:, 0], low)
        low, high = before, np.take_along_axis(points, first, axis=1)[:, 0]
    return high


def root(value: Callable[[Floats], Floats], low: Floats, high: Floats) -> Floats:
    """Where a rising function is zero between ``low`` and ``high``, element by element (Illinois false position)."""
    a, b = np.array(low, dtype=float), np.array(high, dtype=float)
    at_a, at_b = value(a), value(b)
    there = (at_a < 0) & (at_b >= 0)  # false also where a value is unknown
    found = np.where(at_a >= 0, a, b)
    was_above = at_b < at_a  # neither end has stayed yet
    for _ in range(STEPS):
        spread = np.where(at_b > at_a, at_b - at_a, 1.0)
        found = np.where(there, np.clip(b - at_b * (b - a) / spread, a, b), found)
        at = value(found)
        if (~there | (np.abs(at) < SMALL) | (b - a < SMALL)).all():
            break
        above = at >= 0
        # an end that stays twice is weighed half, or it would never move
        again = above == was_above
        at_a = np.where(above, np.where(again, at_a / 2, at_a), at)
        at_b = np.where(above, at, np.where(again, at_b / 2, at_b))
        a, b, was_above = np.where(above, a, found), np.where(above, found, b), above
    return found


def _run(grid: Floats, good: Bools, near: float) -> tuple[Floats, Floats]:
    """Ends of the run of good points that is nearest to a value, row by row; not-a-number where none is good."""
    left, right = np.full(len(grid), np.nan), np.full(len(grid), np.nan)
    for i, (points, row) in enumerate(zip(grid, good, strict=True)):
        if not row.any():
            continue
        start = int(np.abs(np.where(row, points, np.inf) - near).argmin())
        a = b = start
        while a > 0 and row[a - 1]:
            a -= 1
        while b < len(row) - 1 and row[b + 1]:
            b += 1
        left[i], right[i] = points[a], points[b]
    return left, right


def _ph_words(low: float, high: float) -> str:
    return f"{number(_rounded(low, up=True) or low)} to {number(_rounded(high, up=False) or high)}"


def _rounded(value: float, *, up: bool) -> float | None:
    """To 0.05, inside the interval."""
    if not np.isfinite(value):
        return None
    steps = np.ceil(value / PH_STEP - 1e-6) if up else np.floor(value / PH_STEP + 1e-6)
    return round(float(steps * PH_STEP), 2)


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _merit(trial: Trial) -> tuple[float, ...]:
    counts = trial.counts
    margin = float(np.nanmin(trial.sums)) if trial.sums is not None else 0.0
    return (counts["serious"], counts["warn"], counts["unknown"], -margin)


def _rank(option: Option) -> tuple[float, ...]:
    counts = option.counts
    return (
        OUTCOMES.index(option.outcome),
        counts["serious"],
        counts["warn"],
        -(option.weakest.sum_of_ratios or 0.0),
        -(option.chance or 0.0),
    )


__all__ = ["Choice", "Measured", "Option", "choose"]
