"""The formula that all systems are tried in, and the verdicts on the trials."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from types import ModuleType

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays, formula_arrays
from preservecheck.arrays.inputs import THERMOMETER_C
from preservecheck.assess.review import composer_for, table_arrays_for
from preservecheck.assess.uncertainty import drawn
from preservecheck.checks import BY_ID, CHECKS, legal_limit, pairs
from preservecheck.checks.base import Figures, most_critical_first
from preservecheck.formula.amounts import line_percents
from preservecheck.formula.edit import (
    Share,
    at_ph,
    lines_of,
    new_phase_name,
    replaced,
    with_scale,
    with_share,
    with_temperature,
    without_empty_phases,
    without_preservatives,
)
from preservecheck.formula.model import Formula
from preservecheck.formula.names import folded
from preservecheck.ranking.candidate import MUST_PASS, Candidate
from preservecheck.reference.load import Tables
from preservecheck.reference.rows_materials import System
from preservecheck.verdict import ABSENT, PASS, Codes, fold

# nonionic; takes the place of anionic gums
GUM = "Hydroxyethylcellulose"
# draws behind each chance
CHANCE_DRAWS = 500
# a system that starts at this much of the whole formula makes another product; judgement of this
# program [%]
SOLVENT_PERCENT = 10.0


class Host:
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
        self.composer = composer_for(tables)
        self.own = tables.own("systems")
        composition = self.composer.compose(formula)
        phases = [a.phase for a in composition.additions]
        self.phase = (
            phases[-1] if phases else None
        )  # in which the formula's own preservative goes in
        self.had = frozenset(s.id for s in composition.systems)  # its own preservatives
        self.bare = without_preservatives(composition)
        self.base = self.composer.compose(self.bare)
        self.batch_g = line_percents(self.bare)[1]
        self.ph = formula.measured.ph

    @property
    def room(self) -> float:
        """What can give way to a system. [% of the formula]"""
        rest = [w.percent for w in self.base.lines if w.rest]
        return rest[0] if rest else 100.0

    def formula_with(self, candidate: Candidate) -> Formula:
        """The formula with a trial's system, partner and changes in it."""
        formula = self.bare
        if candidate.without:
            named = enumerate(folded(line.name) for line in lines_of(formula))
            gums = [n for n, name in named if name in candidate.without]
            formula = replaced(formula, gums, Share("ingredient", GUM))
        if candidate.ph is not None:
            formula = at_ph(formula, candidate.ph)
        if candidate.scale_step_g is not None:
            formula = with_scale(formula, candidate.scale_step_g)
        alone = self.phase is None or candidate.added_at_c is not None
        phase = new_phase_name(formula) if alone else formula.phases[self.phase or 0].name
        shares = [Share("preservative", candidate.system.id, candidate.percent)]
        if candidate.partner is not None:
            shares.append(Share("preservative", candidate.partner.id, candidate.partner_percent))
        for share in shares:
            formula = with_share(formula, share, phase)
        if alone:
            cool = candidate.added_at_c
            cool = self.target_c(candidate) if cool is None else cool
            formula = with_temperature(formula, phase, cool)
        return without_empty_phases(formula)

    def target_c(self, candidate: Candidate) -> float:
        """Temperature at which a trial's systems can go in with the thermometer's error to spare.
        [°C]"""
        return (
            min(added_below(s) for s in (candidate.system, candidate.partner) if s is not None)
            - THERMOMETER_C
        )

    def takes_the_place_of_water(self, system: System) -> bool:
        """Whether a system that the formula does not hold yet is a solvent rather than an
        additive."""
        return system.usage_min_percent >= SOLVENT_PERCENT and system.id not in self.had

    def phase_name(self, candidate: Candidate) -> str:
        """The phase in which a trial's systems go in."""
        if (
            self.phase is not None
            and candidate.added_at_c is None
            and self.phase < len(self.bare.phases)
        ):
            return self.bare.phases[self.phase].name
        return "cool-down"

    def case_of(self, candidates: Sequence[Candidate]) -> FormulaArrays:
        """The formulas of some trials as arrays."""
        compositions = [self.composer.compose(self.formula_with(t)) for t in candidates]
        return formula_arrays(compositions, table_arrays_for(self.tables), self.today)

    def judged(self, candidates: Sequence[Candidate]) -> list[Candidate]:
        """Trials with the verdicts of all checks, judged together."""
        if not candidates:
            return []
        case = self.case_of(candidates)
        figures = {check.ID: check.compute(case) for check in CHECKS}
        codes = {check.ID: check.judge(figures[check.ID]) for check in CHECKS}
        for check in (legal_limit, pairs):
            codes[check.ID] = one_each(check, case, figures[check.ID], codes[check.ID])
        sums = figures["free-active"]["sum_of_ratios"]
        return [
            replace(t, codes={c: v[i] for c, v in codes.items()}, sums=sums[i])
            for i, t in enumerate(candidates)
        ]

    def chances(self, candidates: Sequence[Candidate]) -> list[float]:
        """Chance that everything that must pass does, under all tolerances."""
        if not candidates:
            return []
        cloud = drawn(self.case_of(candidates), draws=CHANCE_DRAWS)
        good = [
            fold(BY_ID[c].judge(BY_ID[c].compute(cloud))) <= PASS
            for c in MUST_PASS
            if BY_ID[c].TOLERANCES
        ]
        return [float(g) for g in np.logical_and.reduce(np.broadcast_arrays(*good)).mean(axis=-1)]


def added_below(system: System) -> float:
    """Temperature below which a system goes in: the heat limit, or where it does most good if that
    is lower. [°C]"""
    cool = system.preferred_add_below_c
    return system.heat_limit_c if cool is None else min(system.heat_limit_c, cool)


def one_each(check: ModuleType, case: FormulaArrays, figures: Figures, codes: Codes) -> Codes:
    """Codes (N, J) with, of several rows about one matter, the one alone that a report shows."""
    out = codes.copy()
    for i in range(len(codes)):
        shown: dict[str, int] = {}
        for j in most_critical_first(figures, codes, i):
            if shown.setdefault(check.subject(case, j, i), j) != j:
                out[i, j] = ABSENT
    return out
