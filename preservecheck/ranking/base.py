"""The formula without its own preservatives, mended, and what the checks say of it with others in
it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np

from preservecheck.arrays.forms import MICROBES
from preservecheck.arrays.formulas import LOW_RISK_AW, FormulaArrays, formula_arrays
from preservecheck.assess.findings import composer_for, finding_of, table_arrays_for
from preservecheck.assess.uncertainty import drawn
from preservecheck.checks import CHECKS
from preservecheck.checks.base import Check, Figures, most_critical_first
from preservecheck.chemistry.summation import weighed_sum
from preservecheck.formula.amounts import line_percents
from preservecheck.formula.compose import Composition
from preservecheck.formula.edit import (
    Add,
    Edit,
    SetPh,
    SetTemperature,
    Share,
    apply,
    at_ph,
    new_phase_name,
    preservative_lines,
    with_temperature,
    without_preservatives,
)
from preservecheck.formula.model import Formula
from preservecheck.ranking.candidate import MUST_PASS, SOLVENT_PERCENT, Candidate
from preservecheck.ranking.mending import ADD_AT_C, assumed_ph, base_edits
from preservecheck.ranking.standing import Place, places
from preservecheck.reference.load import Tables
from preservecheck.reference.rows import ProductKind, System
from preservecheck.text import number
from preservecheck.verdict import ABSENT, PASS, SERIOUS, UNKNOWN, WARN, Codes, fold

# low-risk criteria of ISO 29621, by volume there; alcohol by weight is a little strict [% w/w]
ALCOHOLS = ("inci:Alcohol", "inci:Isopropyl Alcohol")
LOW_RISK_ALCOHOL_PERCENT, LOW_RISK_PH = 20.0, (3.0, 10.0)
# draws behind each chance
CHANCE_DRAWS = 500


class BaseFormula:
    """One formula without its own preservatives, its own faults mended.

    Parameters
    ----------
    formula
        The formula, with or without a preservative in it.
    tables
        The tables.
    today
        The day whose law holds where the formula names none.
    mend
        Whether its own faults are mended.
    """

    def __init__(
        self, formula: Formula, tables: Tables, today: dt.date, *, mend: bool = True
    ) -> None:
        self.tables, self.today = tables, today
        self.composer, self.own_rows = composer_for(tables), tables.own("systems")
        self.measured_ph = formula.measured.ph
        opened = self.composer.compose(formula)
        self._as_it_is = self._arrays(formula)
        own = [a for a in opened.additions if a.line in preservative_lines(opened)]
        self.own_systems = tuple(dict.fromkeys(opened.systems[a.system].id for a in own))
        # systems that stand on lines of ingredients, and stay [%]
        self.kept = {s.id: s.percent for s in opened.systems if s.id not in self.own_systems}
        bare = without_preservatives(opened)
        # the phase that the last of them went in with, perhaps empty now
        self.place = bare.phases[own[-1].phase] if own else None
        self.kind: ProductKind | None = self._as_it_is.kind_of()
        self.profile = self._as_it_is.profiles[0]
        self.cooler = False  # whether all go in later than the formula's own did
        mends, bare = self._mended(opened, bare) if mend else ([], bare)
        self.mends, self.formula = tuple(mends), bare
        self.opened = self.composer.compose(bare)
        self.batch_g = line_percents(bare)[1]
        self.ph = bare.measured.ph

    def _mended(self, opened: Composition, bare: Formula) -> tuple[list[Edit], Formula]:
        """What is mended first, and the formula with it."""
        mends: list[Edit] = [*base_edits(bare, self.tables, self.today, self.kind)]
        if mends:  # of the whole formula, so that a phase of the preservatives alone stays
            whole = apply(opened.formula, mends, self.composer.compose)
            bare = without_preservatives(self.composer.compose(whole))
        if self.measured_ph is None:
            mends.append(SetPh(assumed_ph(self.kind)))
            bare = at_ph(bare, assumed_ph(self.kind))
        self.cooler = self.place is not None and self._place_is_hot(opened.formula)
        if self.cooler and self.place is not None and self.place.heated_to_c is None:
            mends.append(SetTemperature(self.place.name, ADD_AT_C))
            bare = with_temperature(bare, self.place.name, ADD_AT_C)
            self.place = next(p for p in bare.phases if p.name == self.place.name)
        elif self.cooler:
            self.place = None
        return mends, bare

    def _arrays(self, *formulas: Formula) -> FormulaArrays:
        opened = [self.composer.compose(f) for f in formulas]
        return formula_arrays(opened, table_arrays_for(self.tables), self.today)

    def _place_is_hot(self, formula: Formula) -> bool:
        """Whether the formula's own preservatives go in hotter than does them good, or at a
        temperature that nobody wrote down."""
        arrays = self._arrays(formula)
        heat = [c for c in CHECKS if "temperature" in c.levers]
        return any(int(fold(c.judge(c.compute(arrays)))[0]) >= UNKNOWN for c in heat)

    @cached_property
    def needs_none(self) -> str | None:
        """Why the formula as it is needs no preservative beside what it holds; ``None`` where it
        does."""
        case = self._as_it_is
        aw, tolerance, measured = (a[0] for a in case.aw)
        if case.water_pct[0] <= 0:
            return "It holds no water, so nothing grows in it."
        if measured and aw + tolerance < LOW_RISK_AW:
            return f"Its water activity of {number(aw)} is too low for growth."
        alcohol = float(weighed_sum(case.amount, case.reference.matching(ALCOHOLS))[0])
        if alcohol >= LOW_RISK_ALCOHOL_PERCENT:
            return f"Its {number(alcohol)} % alcohol preserves it."
        ph, error = case.ph[0], case.ph_tolerance[0]
        if ph + error < LOW_RISK_PH[0] or ph - error > LOW_RISK_PH[1]:
            return f"At pH {number(ph)} nothing grows in it."
        return None

    def changes_of(self, candidate: Candidate) -> tuple[Edit, ...]:
        """What the maker changes for a candidate, beside putting it in."""
        cooler = SetTemperature(new_phase_name(self.formula), candidate.added_at_c)
        return (*candidate.changes, cooler) if candidate.cooler else candidate.changes

    @cached_property
    def alone(self) -> FormulaArrays:
        """The mended formula by itself."""
        return self._arrays(self.formula)

    @cached_property
    def places(self) -> dict[str, Place]:
        """How usual each system is in this kind of product."""
        return places(self.tables, self.kind, self.profile, self.tables.systems)

    @property
    def room(self) -> float:
        """What can give way to a system. [% of the formula]"""
        return next((line.percent for line in self.opened.lines if line.rest), 100.0)

    def displaces_water(self, system: System) -> bool:
        """Whether a system is a solvent that the formula did not hold: another product, in fact."""
        held = (*self.own_systems, *self.kept)
        return system.usage_min_percent >= SOLVENT_PERCENT and system.id not in held

    def phase_of(self, candidate: Candidate) -> str:
        """The phase in which a candidate's systems go in."""
        return "cool-down" if self.place is None or candidate.cooler else self.place.name

    def edits_of(self, candidate: Candidate) -> tuple[Edit, ...]:
        """All that makes a candidate of the mended formula.

        Its systems go in where the formula's own went in; where none did, and where that is too
        hot, in a phase of their own at the end.
        """
        apart = self.place is None or candidate.cooler
        phase = self.place.name if self.place and not apart else new_phase_name(self.formula)
        shares = [Share("preservative", s.id, percent) for s, percent in candidate.doses]
        edits = (*candidate.changes, *(Add(share, phase) for share in shares))
        return (*edits, SetTemperature(phase, candidate.added_at_c)) if apart and shares else edits

    def formula_with(self, candidate: Candidate) -> Formula:
        """The mended formula with a candidate's systems and changes in it."""
        return apply(self.formula, self.edits_of(candidate), self.composer.compose)

    def arrays_of(self, candidates: Sequence[Candidate]) -> FormulaArrays:
        """The formulas of some candidates as arrays."""
        return self._arrays(*(self.formula_with(c) for c in candidates))

    def judged(self, candidates: Sequence[Candidate]) -> list[Candidate]:
        """Candidates with the verdicts of all checks, judged together."""
        if not candidates:
            return []
        arrays = self.arrays_of(candidates)
        codes, held = {}, np.full((len(candidates), len(MICROBES)), np.nan)
        for check in CHECKS:
            figures = check.compute(arrays)
            codes[check.id] = one_each(check, arrays, figures, check.judge(figures))
            if check.forecast is not None:
                held = figures[check.forecast]
        return [
            replace(
                c,
                codes={check: v[n] for check, v in codes.items()},
                sums=arrays.sums[n],
                held=held[n],
            )
            for n, c in enumerate(candidates)
        ]

    @cached_property
    def own_faults(self) -> dict[str, int]:
        """Serious findings of the mended formula by itself, by check, where a preservative has no
        part in them."""
        return {
            check.id: int(
                (np.atleast_2d(check.judge(check.compute(self.alone)))[0] == SERIOUS).sum()
            )
            for check in CHECKS
            if not check.must_pass or check.folds
        }

    @cached_property
    def law_by_itself(self) -> dict[str, int]:
        """Findings of the mended formula by itself that the law may bar something, by check."""
        return {
            c.id: int((c.judge(c.compute(self.alone)) >= WARN).sum())
            for c in CHECKS
            if "law" in c.levers
        }

    def chances(self, candidates: Sequence[Candidate]) -> list[float]:
        """Chance that everything that must pass does, under all tolerances, times the chance of the
        weakest microbe in a challenge test."""
        if not candidates:
            return []
        checks = [c for c in MUST_PASS if c.tolerances and c.forecast is None]
        inputs = tuple({name for c in checks for name in c.tolerances})
        cloud = drawn(self.arrays_of(candidates), inputs, draws=CHANCE_DRAWS)
        good = [fold(c.judge(c.compute(cloud))) <= PASS for c in checks]
        share = np.logical_and.reduce(np.broadcast_arrays(*good)).mean(axis=-1)
        return [float(g * c.least_held) for g, c in zip(share, candidates, strict=True)]


def remarks_on(base: BaseFormula) -> tuple[str, ...]:
    """What stays wrong with the formula itself, whatever preservative goes in: rows of the law and
    of incompatibilities."""
    arrays, out = base.alone, []
    for check in (c for c in CHECKS if c.folds):
        figures = check.compute(arrays)
        codes = one_each(check, arrays, figures, np.atleast_2d(check.judge(figures)))[0]
        for j in np.flatnonzero(codes >= SERIOUS):
            finding = finding_of(check, arrays, figures, int(j), int(codes[j]), None, {})
            mend = f"Mend this first, no preservative can: {finding.because}"
            out.append(f"{mend} {finding.do}" if finding.do else mend)
    return tuple(out)


def one_each(check: Check, arrays: FormulaArrays, figures: Figures, codes: Codes) -> Codes:
    """Codes (N, J) with, of several rows about one matter, the one alone that a report shows."""
    if not check.folds:
        return codes
    out = codes.copy()
    for n in range(len(codes)):
        shown: dict[str, int] = {}
        for j in most_critical_first(figures, codes, n):
            if shown.setdefault(check.subject(arrays, j, n), j) != j:
                out[n, j] = ABSENT
    return out
