"""pH over weeks: whether it moves, how fast, and when it leaves the window. Each storage
temperature by itself."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from preservecheck.arrays.formulas import formula_arrays
from preservecheck.assess.review import composer_for, table_arrays_for
from preservecheck.bench.ph_window import window_of
from preservecheck.chemistry.trend import FittedLine, fitted_line, predicted, rounding_of
from preservecheck.evidence.ph_readings import read_ph
from preservecheck.formula.model import Formula
from preservecheck.provenance import Provenance, provenance_of
from preservecheck.reference.load import Tables, load_tables
from preservecheck.text import number
from preservecheck.verdict import PASS, SERIOUS, UNKNOWN, WARN, WORDS, Word, fold

# what carries a trend: fixed for this program, no outside source
LEAST_READINGS, LEAST_DAYS = 4, 14
# a year is watched ahead; nothing is foretold beyond ten
WATCHED_DAYS, FARTHEST_DAYS = 365, 3650
# re-check after as long again as was watched, at least a week, at most a quarter (common practice,
# no source)
RECHECK_DAYS = (7, 90)


@dataclass(frozen=True)
class Series:
    """Readings of one storage temperature, and what they tell."""

    storage: str
    storage_c: float | None
    dates: tuple[dt.date, ...]
    ph: tuple[float, ...]
    line: FittedLine | None
    slope_per_day: float | None
    slope_low: float | None
    slope_high: float | None
    moves: bool | None  # the slope differs from zero
    leaves_on: dt.date | None
    leaves_on_early: dt.date | None
    recheck_on: dt.date
    verdict: Word
    serious: bool
    because: str
    do: str | None

    def to_json(self) -> dict[str, Any]:
        """The keys that other programs read."""

        def day(value: dt.date | None) -> str | None:
            return value.isoformat() if value else None

        keys = ("storage", "storage_c", "slope_per_day", "slope_low", "slope_high", "moves")
        return {
            **{k: getattr(self, k) for k in keys},
            "leaves_on": day(self.leaves_on),
            "leaves_on_early": day(self.leaves_on_early),
            "recheck_on": day(self.recheck_on),
            "verdict": self.verdict,
            "serious": self.serious,
            "because": self.because,
            "do": self.do,
            "readings": len(self.ph),
        }


@dataclass(frozen=True)
class Drift:
    """pH over time, by storage temperature."""

    head: Provenance
    window: tuple[float, float] | None
    window_because: str
    series: tuple[Series, ...]
    verdict: Word

    def to_json(self) -> dict[str, Any]:
        """The keys that other programs read."""
        return {
            **self.head.to_json(),
            "verdict": self.verdict,
            "window": list(self.window) if self.window else None,
            "window_because": self.window_because,
            "storage": [s.to_json() for s in self.series],
        }


def drift(
    readings: str | Path,
    formula: Formula,
    tables: Tables | None = None,
    *,
    today: dt.date | None = None,
) -> Drift:
    """Read pH over weeks against the window of a formula.

    Parameters
    ----------
    readings
        File with the columns date, ph and storage_c.
    formula
        Brings the effective range of its preservatives and the window of the product.
    tables
        The tables; default the shipped ones.
    today
        Date of the result.

    Raises
    ------
    ReadingsError
        The file cannot be used; all faults at once.
    """
    tables = tables or load_tables()
    case = formula_arrays(
        [composer_for(tables).compose(formula)], table_arrays_for(tables), today or dt.date.today()
    )
    found_window = window_of(case)
    window, why = found_window.span, found_window.because
    found = tuple(
        series_of(name, celsius, course.points, window, course.step)
        for (name, celsius), course in sorted(
            read_ph(readings).items(), key=lambda i: (i[0][1] or 0, i[0][0])
        )
    )
    codes = [SERIOUS if s.serious else WORDS.index(s.verdict) for s in found]
    return Drift(
        provenance_of(tables, formula, today),
        window,
        f"{why[0].upper()}{why[1:]}.",
        found,
        WORDS[int(fold(codes))] or "unknown",
    )


def series_of(
    name: str,
    celsius: float | None,
    points: Sequence[tuple[dt.date, float]],
    window: tuple[float, float] | None,
    step: float = 0.0,
) -> Series:
    """What the readings of one storage temperature tell.

    Parameters
    ----------
    name
        Of the storage.
    celsius
        Its temperature, where it is known. [°C]
    points
        Days and pH, in the order of the days. [pH]
    window
        Lowest and highest pH that suit the product, where they are known. [pH]
    step
        What the pH is read to; its rounding is the least scatter. [pH]
    """
    dates, ph = tuple(d for d, _ in points), tuple(p for _, p in points)
    span = (dates[-1] - dates[0]).days
    outside = window is not None and not window[0] <= ph[-1] <= window[1]
    if len(ph) < LEAST_READINGS or span < LEAST_DAYS:
        return _too_few(name, celsius, dates, ph, span, outside, window)
    x = np.array([(d - dates[0]).days for d in dates], dtype=float)
    line = fitted_line(x, np.array(ph), rounding_of(step))
    low, high = line.slope - line.slope_error, line.slope + line.slope_error
    moves = low > 0 or high < 0
    leaves = early = None
    if window is not None:
        leaves, early = _leaving(line, dates, window, moves)
    last = dates[-1]
    code = SERIOUS if outside else UNKNOWN if window is None else PASS
    if not outside and early is not None and (early - last).days <= WATCHED_DAYS:
        code = WARN
    recheck = _recheck(last, early, span, outside)
    because, do = _words(
        line, low, high, moves, ph[-1], leaves, early, window, outside, last, recheck
    )
    return Series(
        name,
        celsius,
        dates,
        ph,
        line,
        line.slope,
        low,
        high,
        moves,
        leaves,
        early,
        recheck,
        WORDS[code] or "unknown",
        code == SERIOUS,
        because,
        do,
    )


def _too_few(
    name: str,
    celsius: float | None,
    dates: tuple[dt.date, ...],
    ph: tuple[float, ...],
    span: int,
    outside: bool,
    window: tuple[float, float] | None,
) -> Series:
    """Words where no trend may be told; a last reading outside the window is told all the same."""
    count = (
        f"{len(ph)} reading{'s' if len(ph) > 1 else ''} over {span} day{'s' if span != 1 else ''}"
    )
    said = (
        f"{count} {'are' if len(ph) > 1 else 'is'} too few for a trend; {LEAST_READINGS} over "
        f"{LEAST_DAYS} days "
        "are needed."
    )
    recheck = dates[-1] + dt.timedelta(days=max(RECHECK_DAYS[0], LEAST_DAYS - span))
    do = f"Read again on {recheck}, and weekly until there are {LEAST_READINGS}."
    if outside and window is not None:
        said = (
            f"The last reading, pH {number(ph[-1])}, lies outside {number(window[0])} to "
            f"{number(window[1])}. {said}"
        )
    return Series(
        name,
        celsius,
        dates,
        ph,
        None,
        None,
        None,
        None,
        None,
        None,
        None,
        recheck,
        "warn" if outside else "unknown",
        outside,
        said,
        do,
    )


def _leaving(
    line: FittedLine, dates: tuple[dt.date, ...], window: tuple[float, float], moves: bool
) -> tuple[dt.date | None, dt.date | None]:
    """Days on which the line, and the near edge of its band, leave the window; ``None`` for not in
    ten years."""
    last = (dates[-1] - dates[0]).days
    days = np.arange(last, last + FARTHEST_DAYS + 1, dtype=float)
    value, half = predicted(line, days)

    def first(outside: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> dt.date | None:
        return (
            dates[0] + dt.timedelta(days=int(days[int(np.argmax(outside))]))
            if outside.any()
            else None
        )

    early = first((value - half < window[0]) | (value + half > window[1]))
    return (first((value < window[0]) | (value > window[1])) if moves else None), early


def _recheck(last: dt.date, early: dt.date | None, span: int, outside: bool) -> dt.date:
    """Half-way to the earliest leaving, after as long again as was watched, or a quarter: what
    comes first."""
    if outside:
        return last
    days = min(span, RECHECK_DAYS[1])
    if early is not None:
        days = min(days, math.floor((early - last).days / 2))
    return last + dt.timedelta(days=max(days, 1))


def _words(
    line: FittedLine,
    low: float,
    high: float,
    moves: bool,
    now: float,
    leaves: dt.date | None,
    early: dt.date | None,
    window: tuple[float, float] | None,
    outside: bool,
    last: dt.date,
    recheck: dt.date,
) -> tuple[str, str | None]:
    month = 30.4
    slope = f"{30.4 * line.slope:+.3f} pH a month ({month * low:+.3f} to {month * high:+.3f})"
    said = (
        f"The pH moves by {slope}."
        if moves
        else f"No movement is shown: {slope} does not differ from zero."
    )
    if window is None:
        return f"{said} There is no window to compare it with.", f"Read again on {recheck}."
    span = f"{number(window[0])} to {number(window[1])}"
    if outside:
        return f"{said} The last reading, pH {number(now)}, lies outside {span}.", (
            "Do not sell this batch as it is; adjust the pH ('preservecheck adjust', or “At the "
            "bench” on the page), "
            "find what moves it, and start the readings anew."
        )
    if leaves is not None:
        said += f" It would leave {span} on {leaves}"
        said += f", with its band from {early} on." if early is not None else "."
    elif early is not None and (early - last).days <= WATCHED_DAYS:
        said += f" With its band it may leave {span} from {early} on."
    else:
        said += (
            f" With its band it stays inside {span} for {WATCHED_DAYS} days and more, if "
            "nothing changes."
        )
    causes = (
        " A move of 0.3 needs a reason: a lactone that opens, an ester or urea that splits, "
        "microbes, glass."
        if moves
        else ""
    )
    return said, f"Read again on {recheck} at the latest.{causes}"
