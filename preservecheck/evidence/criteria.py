"""Judges the course of one organism against the lines of a standard, as they stand in the table.

Log reductions are rounded to one decimal, the last digit that the standards print, before they are
compared. A count below detection gives "at least": where that does not reach the line, the result
is open, neither met nor missed.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from preservecheck.evidence.counts import Count
from preservecheck.reference.rows_practice import ChallengeCriterion

State = Literal["met", "within tolerance", "missed", "open", "missing", "warning"]
# where a standard's text gives no number for "no increase"; a working value, not the standard's
WORKING_NO_INCREASE = 0.5
# the table's own words for a line that one page of several prints
_ONLY_A_WARNING = "Treat a miss as a warning"
_EPSILON = 1e-9


@dataclass(frozen=True)
class LineResult:
    """One line of a criterion, judged."""

    criterion: str
    day: int
    wants: str
    state: State
    found: str
    missing_day: int | None = None
    decided_by: str | None = None  # rounding, tolerance or a working value, where that decided


def rounded(value: float) -> float:
    """A log reduction to one decimal, halves away from zero."""
    return math.copysign(math.floor(abs(value) * 10 + 0.5 + _EPSILON) / 10, value) + 0.0


def reduction(counts: Mapping[int, Count], day: int) -> tuple[float, bool] | None:
    """Log reduction at a day, unrounded, and whether it is "at least"; ``None`` without both
    counts."""
    if 0 not in counts or day not in counts:
        return None
    return counts[0].log10 - counts[day].log10, counts[day].below


def judged_lines(
    lines: Iterable[ChallengeCriterion], counts: Mapping[int, Count]
) -> list[LineResult]:
    """Every line of a criterion for one organism, in the order of the days."""
    return [_line(row, counts) for row in sorted(lines, key=lambda r: (r.day, r.requirement))]


def _line(row: ChallengeCriterion, counts: Mapping[int, Count]) -> LineResult:
    day = int(row.day)
    if row.requirement == "min_log_reduction":
        wants = f"{row.value:.1f} log less on day {day} than at the start"
        since = 0
    else:
        since = (
            0 if row.requirement.endswith("initial") else int(row.requirement.rpartition("_")[2])
        )
        wants = f"no increase from {'the start' if since == 0 else f'day {since}'} to day {day}"
    for needed in (since, day):
        if needed not in counts:
            name = "the inoculum (day 0)" if needed == 0 else f"day {needed}"
            return LineResult(
                row.criterion, day, wants, "missing", f"{name} was not counted", needed
            )
    if row.requirement == "min_log_reduction":
        state, found, decided = _reduced(row, counts, day)
    else:
        state, found, decided = _no_increase(row, counts, since, day)
    if state == "missed" and row.note and _ONLY_A_WARNING in row.note:
        state = "warning"
        found += "; only one of the pages read prints this line, so it warns and does not fail"
    return LineResult(row.criterion, day, wants, state, found, None, decided)


def _reduced(
    row: ChallengeCriterion, counts: Mapping[int, Count], day: int
) -> tuple[State, str, str | None]:
    exact = counts[0].log10 - counts[day].log10
    value, below = rounded(exact), counts[day].below
    tolerance = row.tolerance_log or 0.0
    found = f"{'at least ' if below else ''}{value:.1f} log"
    if counts[0].below:
        return "open", "the inoculum itself is below detection", None
    if value >= row.value - _EPSILON:
        return "met", found, "rounding" if exact < row.value - _EPSILON else None
    if value >= row.value - tolerance - _EPSILON:
        return (
            "within tolerance",
            f"{found}, within the standard's {tolerance:g} log of {row.value:.1f}",
            "tolerance",
        )
    if below:
        return (
            "open",
            (
                f"{found}: the detection limit is too high to show {row.value:.1f}, so this is "
                "neither met nor missed"
            ),
            None,
        )
    return "missed", f"{found}; {row.value - value:.1f} log short", None


def _no_increase(
    row: ChallengeCriterion, counts: Mapping[int, Count], since: int, day: int
) -> tuple[State, str, str | None]:
    before, after = counts[since], counts[day]
    tolerance = WORKING_NO_INCREASE if row.tolerance_log is None else row.tolerance_log
    own = " (a working value; the text read gives no number)" if row.tolerance_log is None else ""
    if before.below and after.below:
        return "met", "both below detection", None
    rise = rounded(after.log10 - before.log10)
    limit = " the detection limit of" if before.below else ""
    if after.below and rise > 0 and rise > tolerance:
        return (
            "open",
            f"below detection on day {day}, but that limit lies {rise:.1f} log above the count "
            "before",
            None,
        )
    if rise <= 0 or after.below:
        return (
            "met",
            f"{abs(rise):.1f} log lower" if rise < 0 and not after.below else "no increase",
            None,
        )
    if rise <= tolerance + _EPSILON:
        return (
            "within tolerance",
            f"{rise:.1f} log above{limit} the count before, within {tolerance:g}{own}",
            "working value" if own else "tolerance",
        )
    return (
        "missed",
        f"{rise:.1f} log above{limit} the count before, more than {tolerance:g}{own}",
        None,
    )


def verdict_of(lines: Sequence[LineResult]) -> Literal["met", "missed", "open", "missing"]:
    """A whole criterion: missed where one line is, else missing or open where one is, else met."""
    states = {line.state for line in lines}
    if "missed" in states:
        return "missed"
    return "missing" if "missing" in states else "open" if "open" in states else "met"
