"""The formula without its own preservatives, and what the checks say of it with others in it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from preservecheck.arrays.forms import MICROBES
from preservecheck.arrays.formulas import FormulaArrays, formula_arrays
from preservecheck.assess.findings import composer_for, table_arrays_for
from preservecheck.assess.uncertainty import drawn
from preservecheck.checks import CHECKS
from preservecheck.checks.base import Check, Figures, most_critical_first
from preservecheck.formula.amounts import line_percents
from preservecheck.formula.edit import (
    Add,
    Edit,
    SetTemperature,
    Share,
    apply,
    new_phase_name,
    without_preservatives,
)
from preservecheck.formula.model import Formula
from preservecheck.ranking.candidate import MUST_PASS, SOLVENT_PERCENT, Candidate
from preservecheck.reference.load import Tables
from preservecheck.reference.rows import System
from preservecheck.verdict import ABSENT, PASS, Codes, fold

# draws behind each chance
CHANCE_DRAWS = 500


class BaseFormula:
    """One formula without its own preservatives.

    Parameters
    ----------
    formula
        The formula, with or without a preservative in it.
    tables
        The tables.
    today
        The day whose law holds where the formula names none.
    """

    def __init__(self, formula: Formula, tables: Tables, today: dt.date) -> None:
        self.tables, self.today = tables, today
        self.composer, self.own_rows = composer_for(tables), tables.own("systems")
        opened = self.composer.compose(formula)
        self.formula = without_preservatives(opened)
        self.opened = self.composer.compose(self.formula)
        self.own_systems = frozenset(s.id for s in opened.systems)
        # the phase that the last of them went in with, perhaps empty now
        self.place = self.formula.phases[opened.additions[-1].phase] if opened.additions else None
        self.batch_g = line_percents(self.formula)[1]
        self.ph = formula.measured.ph

    @property
    def room(self) -> float:
        """What can give way to a system. [% of the formula]"""
        return next((line.percent for line in self.opened.lines if line.rest), 100.0)

    def displaces_water(self, system: System) -> bool:
        """Whether a system is a solvent that the formula did not hold: another product, in fact."""
        return system.usage_min_percent >= SOLVENT_PERCENT and system.id not in self.own_systems

    def phase_of(self, candidate: Candidate) -> str:
        """The phase in which a candidate's systems go in."""
        return "cool-down" if self.place is None or candidate.cooler else self.place.name

    def edits_of(self, candidate: Candidate) -> tuple[Edit, ...]:
        """All that makes a candidate of this formula.

        Its systems go in where the formula's own went in; where none did, and where that is too
        hot, in a phase of their own at the end.
        """
        apart = self.place is None or candidate.cooler
        phase = self.place.name if self.place and not apart else new_phase_name(self.formula)
        shares = [Share("preservative", s.id, percent) for s, percent in candidate.doses]
        edits = (*candidate.changes, *(Add(share, phase) for share in shares))
        return (*edits, SetTemperature(phase, candidate.added_at_c)) if apart else edits

    def formula_with(self, candidate: Candidate) -> Formula:
        """The formula with a candidate's systems and changes in it."""
        return apply(self.formula, self.edits_of(candidate), self.composer.compose)

    def arrays_of(self, candidates: Sequence[Candidate]) -> FormulaArrays:
        """The formulas of some candidates as arrays."""
        opened = [self.composer.compose(self.formula_with(c)) for c in candidates]
        return formula_arrays(opened, table_arrays_for(self.tables), self.today)

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

    def chances(self, candidates: Sequence[Candidate]) -> list[float]:
        """Chance that everything that must pass does, under all tolerances, times the chance of the
        weakest microbe in a challenge test."""
        if not candidates:
            return []
        cloud = drawn(self.arrays_of(candidates), draws=CHANCE_DRAWS)
        checks = [c for c in MUST_PASS if c.tolerances and c.forecast is None]
        good = [fold(c.judge(c.compute(cloud))) <= PASS for c in checks]
        share = np.logical_and.reduce(np.broadcast_arrays(*good)).mean(axis=-1)
        return [float(g * c.least_held) for g, c in zip(share, candidates, strict=True)]


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
