"""Verdicts of all checks on a pile of formulas, with the figure that decides each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.inputs import Ints
from preservecheck.checks import CHECKS
from preservecheck.checks.base import Check, most_critical
from preservecheck.verdict import ABSENT, Codes, Floats, fold


@dataclass(frozen=True)
class Judged:
    """What the checks (axis 13) say of formulas (axis N)."""

    codes: Codes  # (N, 13), the worst of each check's subjects
    subject: Ints  # (N, 13), the one that decides
    value: Floats  # (N, 13), its key figure; not-a-number where there is none
    tolerance: Floats  # (N, 13), half-width of that figure

    @property
    def verdict(self) -> Codes:
        """Worst code of each formula. (N,)"""
        return fold(self.codes)

    @property
    def limiting(self) -> Ints:
        """The first check with the worst code. (N,)"""
        return np.asarray(self.codes.argmax(axis=-1))


def judged(case: FormulaArrays, checks: tuple[Check, ...] = CHECKS) -> Judged:
    """All checks on all formulas of a case: the same compute and judge as a review."""
    n = len(case.ph)
    shape = (n, len(checks))
    codes, subject = np.zeros(shape, dtype=np.int8), np.zeros(shape, dtype=int)
    value, tolerance = np.full(shape, np.nan), np.full(shape, np.nan)
    rows = np.arange(n)
    for at, check in enumerate(checks):
        figures = check.compute(case)
        each = check.judge(figures)
        each = np.broadcast_to(each, (n, each.shape[-1]))
        if not each.shape[-1]:
            continue
        j = most_critical(figures, each)
        codes[:, at], subject[:, at] = each[rows, j], j
        value[:, at] = _taken(figures[check.key.name], j, n)
        if check.key.tolerance is not None:
            tolerance[:, at] = _taken(check.key.tolerance(figures), j, n)
    there = codes != ABSENT
    value[~there | ~np.isfinite(value)] = np.nan
    tolerance[~there | ~np.isfinite(tolerance)] = np.nan
    return Judged(codes, subject, value, tolerance)


def _taken(values: Floats, j: Ints, n: int) -> Floats:
    """The value of each formula's own subject; one subject, or one formula, stands for all. (N,)"""
    values = np.asarray(values, dtype=float)
    rows = np.arange(n) if values.shape[0] > 1 or n == 1 else np.zeros(n, dtype=int)
    return np.asarray(values[rows, j if values.shape[-1] > 1 else 0])
