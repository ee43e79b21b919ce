"""pH over weeks: whether it moves, how fast, and when it leaves the window. Each storage
temperature by itself."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from preservecheck.bench.ph_target import plan_for, window_of
from preservecheck.chemistry.trend import FittedLine, fitted_line, predicted, rounding_of
from preservecheck.errors import Hint, UnitError
from preservecheck.formula.grid import text
from preservecheck.formula.model import Formula
from preservecheck.formula.readings import Columns, Row, Table, is_missing, read_readings, rows_text
from preservecheck.provenance import Provenance, keys_of, provenance_of
from preservecheck.reference.load import Tables, load_tables
from preservecheck.text import number, sentence
from preservecheck.units import temperature, temperature_text
from preservecheck.verdict import PASS, SERIOUS, UNKNOWN, WARN, WORDS, Bools, Word, fold

# what carries a trend: fixed for this program, no outside source
LEAST_READINGS, LEAST_DAYS = 4, 14
# a year is watched ahead; nothing is foretold beyond ten
WATCHED_DAYS, FARTHEST_DAYS = 365, 3650
# re-check after as long again as was watched, at least a week, at most a quarter (common practice,
# no source)
RECHECK_DAYS = (7, 90)
_MONTH = 30.4  # days
MOVED = (
    " A move of 0.3 needs a reason: a lactone that opens, an ester or urea that splits, microbes, "
    "glass."
)
_DECIMALS = re.compile(r"[.,]([0-9]+)\s*$")
_UNSTATED = "storage not stated"
_ROOM = ("room", "room temperature", "rt", "ambient")
_STORAGE = ("storage", "storage temperature", "temperature")
_UNITS = {"": None, " c": "c", " °c": "c", " f": "f", " °f": "f"}
COLUMNS = Columns(
    names={
        **dict.fromkeys(("date", "day", "when", "measured on"), ("date", None)),
        "ph": ("ph", None),
        "stored at": ("storage", None),
        **{n + end: ("storage", unit) for n in _STORAGE for end, unit in _UNITS.items()},
    },
    needed=(("date",), ("ph",)),
    example="date,ph,storage_c",
)


@dataclass(frozen=True, kw_only=True)
class Series:
    """Readings of one storage temperature, and what they tell."""

    storage: str
    storage_c: float | None
    dates: tuple[dt.date, ...]
    ph: tuple[float, ...]
    line: FittedLine | None = None  # none where the readings are too few for a trend
    slope_low: float | None = None
    slope_high: float | None = None
    leaves_on: dt.date | None = None
    leaves_on_early: dt.date | None = None
    recheck_on: dt.date
    code: int
    because: str
    do: str | None
    hint: Hint | None = None

    @property
    def slope_per_day(self) -> float | None:
        """Slope of the line. [1/d]"""
        return self.line.slope if self.line else None

    @property
    def moves(self) -> bool | None:
        """Whether the slope differs from zero."""
        if self.slope_low is None or self.slope_high is None:
            return None
        return self.slope_low > 0 or self.slope_high < 0

    @property
    def verdict(self) -> Word:
        """The code as a word."""
        return WORDS[self.code] or "unknown"

    @property
    def serious(self) -> bool:
        """Whether the last reading lies outside the window."""
        return self.code == SERIOUS

    def to_json(self) -> dict[str, Any]:
        """The keys that other programs read."""
        keys = ("storage", "storage_c", "slope_per_day", "slope_low", "slope_high", "moves")
        days = ("leaves_on", "leaves_on_early", "recheck_on")
        return {
            **keys_of(self, *keys, *days, "verdict", "serious", "because", "do"),
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

    @property
    def hints(self) -> tuple[Hint, ...]:
        """What helps further."""
        return tuple(dict.fromkeys(s.hint for s in self.series if s.hint is not None))

    def to_json(self) -> dict[str, Any]:
        """The keys that other programs read."""
        return {
            **self.head.to_json(),
            **keys_of(self, "verdict", "window", "window_because"),
            "storage": [s.to_json() for s in self.series],
        }


def drift(
    readings: str | Path,
    formula: Formula,
    tables: Tables | None = None,
    *,
    today: dt.date | None = None,
) -> Drift:
    """Read pH over weeks, in a file with the columns date, ph and storage_c, against the window of
    a formula; a ``ReadingsError`` with all faults."""
    tables = tables or load_tables()
    made = plan_for(formula, tables, today or dt.date.today())
    window = window_of(made)
    courses = sorted(read_ph(readings).items(), key=lambda i: (i[0][1] or 0, i[0][0]))
    series = tuple(
        series_of(name, celsius, course.points, window.span, course.step)
        for (name, celsius), course in courses
    )
    return Drift(
        provenance_of(tables, formula, today),
        window.span,
        sentence(window.because),
        series,
        WORDS[int(fold([s.code for s in series]))] or "unknown",
    )


def series_of(
    name: str,
    celsius: float | None,
    points: Sequence[tuple[dt.date, float]],
    window: tuple[float, float] | None,
    step: float = 0.0,
) -> Series:
    """What the readings of one storage [°C] tell: days and pH in their order, the window of the
    product where it is known, and the step that the pH is read to, whose rounding is the least
    scatter."""
    dates, ph = tuple(d for d, _ in points), tuple(p for _, p in points)
    last, span = dates[-1], (dates[-1] - dates[0]).days
    outside = window is not None and not window[0] <= ph[-1] <= window[1]
    series = partial(
        Series,
        storage=name,
        storage_c=celsius,
        dates=dates,
        ph=ph,
        hint=Hint.ADJUST_PH if outside else None,
    )
    if len(ph) < LEAST_READINGS or span < LEAST_DAYS:
        recheck = last + dt.timedelta(days=max(RECHECK_DAYS[0], LEAST_DAYS - span))
        return series(
            recheck_on=recheck,
            code=SERIOUS if outside else UNKNOWN,
            because=_too_few(ph, span, window if outside else None),
            do=f"Read again on {recheck}, and weekly until there are {LEAST_READINGS}.",
        )
    line = fitted_line([(d - dates[0]).days for d in dates], ph, rounding_of(step))
    low, high = line.slope - line.slope_error, line.slope + line.slope_error
    moves = low > 0 or high < 0
    leaves, early = _leaving(line, dates, window, moves) if window else (None, None)
    soon = early is not None and (early - last).days <= WATCHED_DAYS
    recheck = _recheck(last, early, span, outside)
    because, do = _movement(line.slope, low, high, moves), f"Read again on {recheck}"
    if window is None:
        because += " There is no window to compare it with."
        do += "."
    elif outside:
        because += f" The last reading, pH {number(ph[-1])}, lies outside {_span(window)}."
        do = (
            "Do not sell this batch as it is; adjust the pH, find what moves it, and start the "
            "readings anew."
        )
    else:
        because += f" {_outlook(window, leaves, early, soon)}"
        do += f" at the latest.{MOVED if moves else ''}"
    return series(
        line=line,
        slope_low=low,
        slope_high=high,
        leaves_on=leaves,
        leaves_on_early=early,
        recheck_on=recheck,
        code=SERIOUS if outside else WARN if soon else UNKNOWN if window is None else PASS,
        because=because,
        do=do,
    )


def _leaving(
    line: FittedLine, dates: tuple[dt.date, ...], window: tuple[float, float], moves: bool
) -> tuple[dt.date | None, dt.date | None]:
    """Days on which the line, and the near edge of its band, leave the window; ``None`` for not in
    ten years."""
    last = (dates[-1] - dates[0]).days
    days = np.arange(last, last + FARTHEST_DAYS + 1, dtype=float)
    value, half = predicted(line, days)

    def first(outside: Bools) -> dt.date | None:
        if not outside.any():
            return None
        return dates[0] + dt.timedelta(days=int(days[int(np.argmax(outside))]))

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


def _span(window: tuple[float, float]) -> str:
    return f"{number(window[0])} to {number(window[1])}"


def _too_few(ph: tuple[float, ...], span: int, left: tuple[float, float] | None) -> str:
    """Why no trend is told, after the window that the last reading has left all the same."""
    many = len(ph) > 1
    few = (
        f"{len(ph)} reading{'s' if many else ''} over {span} day{'s' if span != 1 else ''} "
        f"{'are' if many else 'is'} too few for a trend; {LEAST_READINGS} over {LEAST_DAYS} days "
        "are needed."
    )
    return (
        f"The last reading, pH {number(ph[-1])}, lies outside {_span(left)}. {few}" if left else few
    )


def _movement(slope: float, low: float, high: float, moves: bool) -> str:
    month = f"{_MONTH * slope:+.3f} pH a month ({_MONTH * low:+.3f} to {_MONTH * high:+.3f})"
    if moves:
        return f"The pH moves by {month}."
    return f"No movement is shown: {month} does not differ from zero."


def _outlook(
    window: tuple[float, float], leaves: dt.date | None, early: dt.date | None, soon: bool
) -> str:
    """When the pH leaves the window."""
    if leaves is not None:
        band = f", with its band from {early} on" if early is not None else ""
        return f"It would leave {_span(window)} on {leaves}{band}."
    if soon:
        return f"With its band it may leave {_span(window)} from {early} on."
    return (
        f"With its band it stays inside {_span(window)} for {WATCHED_DAYS} days and more, if "
        "nothing changes."
    )


# ---- reading ----


@dataclass(frozen=True)
class PhCourse:
    """The readings of one storage, in the order of the days."""

    points: list[tuple[dt.date, float]]
    step: float  # what they are read to: the last digit that is written, a tenth where none is


def read_ph(path: str | Path) -> Mapping[tuple[str, float | None], PhCourse]:
    """Days and pH by storage; a ``ReadingsError`` with all faults."""
    table = read_readings(path, COLUMNS)
    by_storage: dict[tuple[str, float | None], dict[dt.date, tuple[float, int]]] = {}
    decimals: dict[tuple[str, float | None], int] = {}
    stated = [r for r in table.rows if not is_missing(r.cells.get("storage"))]
    units: dict[str, list[int]] = {}
    for row in table.rows:
        day, ph = table.day(row, "date"), table.number(row, "ph", 0, 14, "give a pH from 0 to 14")
        store = _storage(table, row, units) if stated else (_UNSTATED, None)
        if day is None or ph is None or store is None:
            continue
        days = by_storage.setdefault(store, {})
        if day in days:
            twice = f"{day} is already on row {days[day][1]} for this storage"
            table.fault(row, "", twice, "keep one reading a day, or their mean")
            continue
        days[day] = (ph, row.number)
        written = _DECIMALS.search(text(row.cells.get("ph")))
        decimals[store] = max(decimals.get(store, 1), len(written.group(1)) if written else 0)
    if len(units) > 1:
        rare = min(units, key=lambda u: len(units[u]))
        table.faults.add(
            f"the storage is in {rare}, elsewhere in another unit",
            "write one unit",
            path=(units[rare][0], "storage"),
            place=rows_text(units[rare]),
        )
    table.faults.raise_if_any()
    return {
        store: PhCourse([(d, p) for d, (p, _) in sorted(days.items())], 10.0 ** -decimals[store])
        for store, days in by_storage.items()
    }


def _storage(
    table: Table, row: Row, units: dict[str, list[int]]
) -> tuple[str, float | None] | None:
    """Name and temperature of the storage, or ``None`` with a fault noted."""
    cell = row.cells.get("storage")
    unit = table.units.get("storage") or ""
    if is_missing(cell):
        table.fault(row, "storage", "is missing", "write the temperature, or room")
        return None
    written = text(cell)
    if written.casefold() in _ROOM:
        return "room temperature", None
    try:
        number = cell if isinstance(cell, (int, float)) else written
        celsius, scale = temperature(number, unit, comma_is_decimal=table.comma_is_decimal)
    except UnitError as error:
        fault = error.faults[0]
        table.fault(row, "storage", fault.found, f"{fault.allowed}, or room", value=fault.value)
        return None
    if not -30 <= celsius <= 80:  # noqa: PLR2004
        allowed = "give a temperature from -30 to 80 °C"
        table.fault(row, "storage", "", allowed, value=temperature_text(celsius))
        return None
    units.setdefault("°F" if scale == "f" else "°C", []).append(row.number)
    return temperature_text(round(celsius, 1)), round(celsius, 1)
