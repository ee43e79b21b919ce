"""Verdicts of all checks on a pile of formulas, with the figure that decides each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.checks import CHECKS
from preservecheck.checks.base import most_critical
from preservecheck.verdict import ABSENT, Codes, Floats, Ints


@dataclass(frozen=True)
class VerdictArrays:
    """What the checks say of formulas (axis N): of each check the subject that decides."""

    codes: Codes  # (N, checks)
    value: Floats  # of the key figure; not-a-number where there is none
    tolerance: Floats  # half-width of that figure

    @classmethod
    def none(cls, count: int) -> VerdictArrays:
        """No verdict on so many formulas."""
        shape = (count, len(CHECKS))
        unknown = np.full(shape, np.nan)
        return cls(np.full(shape, ABSENT, dtype=np.int8), unknown, unknown.copy())

    def at(self, places: Ints) -> VerdictArrays:
        """Those on the formulas at some places."""
        return VerdictArrays(self.codes[places], self.value[places], self.tolerance[places])


def verdicts_on(case: FormulaArrays) -> VerdictArrays:
    """All checks on all formulas: the same compute and judge as a review."""
    n = len(case.ph)
    out = VerdictArrays.none(n)
    codes, value, tolerance = out.codes, out.value, out.tolerance
    rows = np.arange(n)
    for at, check in enumerate(CHECKS):
        figures = check.compute(case)
        each = check.judge(figures)
        each = np.broadcast_to(each, (n, each.shape[-1]))
        if not each.shape[-1]:
            continue
        j = most_critical(figures, each)
        codes[:, at] = each[rows, j]
        value[:, at] = _taken(figures[check.key.name], j, n)
        if check.key.tolerance is not None:
            tolerance[:, at] = _taken(check.key.tolerance(figures), j, n)
    for figure in (value, tolerance):
        figure[(codes == ABSENT) | ~np.isfinite(figure)] = np.nan
    return out


def _taken(values: Floats, j: Ints, n: int) -> Floats:
    """The value of each formula's own subject; one subject, or one formula, stands for all. (N,)"""
    values = np.asarray(values, dtype=float)
    rows = np.arange(n) if values.shape[0] > 1 or n == 1 else np.zeros(n, dtype=int)
    return np.asarray(values[rows, j if values.shape[-1] > 1 else 0])
