"""Reads a course of temperatures: from a file, or typed as ``0=74C 10=66C`` or ``14:05=165F``."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from preservecheck.errors import RawPath, ReadingsError, UnitError
from preservecheck.formula.faults import Faults, shown
from preservecheck.formula.grid import Cell, text
from preservecheck.formula.readings import Columns, as_number, is_missing, read_readings
from preservecheck.text import join_or
from preservecheck.units import (
    CELSIUS,
    FAHRENHEIT,
    duration_min,
    temperature,
    temperature_text,
)

DAY_MIN = 24 * 60.0
# coldest store and hottest pot that a cosmetic meets, as in formulas; a week of watching
_COLDEST, _HOTTEST, _LONGEST_MIN = -50.0, 200.0, 7 * DAY_MIN
_GIVE = 'give a temperature with its unit from -50 to 200 °C, such as "74 °C" or "165 °F"'
_MINUTE_NAMES = (
    "minutes",
    "minute",
    "min",
    "time min",
    "time minutes",
    "elapsed min",
    "t min",
    "mins",
)
_CLOCK_NAMES = ("time", "clock", "time of day", "when")
_LONG = {
    "hours": "h",
    "time h": "h",
    "time hours": "h",
    "seconds": "s",
    "time s": "s",
    "time seconds": "s",
}
_TEMPERATURE_NAMES = ("temperature", "temp", "t", "batch temperature", "reading")
COLUMNS = Columns(
    names={
        **{n: ("minutes", "min") for n in _MINUTE_NAMES},
        **{n: ("time", None) for n in _CLOCK_NAMES},
        **{n: ("minutes", unit) for n, unit in _LONG.items()},
        **{n: ("temperature", None) for n in _TEMPERATURE_NAMES},
        **{f"{n} {u}": ("temperature", "c") for n in _TEMPERATURE_NAMES for u in CELSIUS},
        **{f"{n} {u}": ("temperature", "f") for n in _TEMPERATURE_NAMES for u in FAHRENHEIT},
        **{
            u: ("temperature", "c" if u in CELSIUS else "f")
            for u in ("°c", "celsius", "°f", "fahrenheit")
        },
    },
    needed=(("minutes", "time"), ("temperature",)),
    example="minutes,temperature_c or time,temperature_f",
)
_CLOCK = re.compile(r"(\d{1,2})[:h](\d{2})(?::(\d{2}))?\s*([ap]\.?m\.?)?", re.IGNORECASE)
# where a reading is: what people read, and what points to it
Place = tuple[str, RawPath]


class OutsideReadingsError(ReadingsError):
    """A time before the first or after the last reading."""


@dataclass(frozen=True)
class Course:
    """Temperatures in the order of time, minutes counted from the first reading where it is a clock
    time."""

    where: str
    time_min: tuple[float, ...]
    temp_c: tuple[float, ...]
    rows: tuple[str, ...]  # places as messages name them
    start_clock_min: float | None  # time of day at minute 0
    degree: float  # size of the unit that was read, 1 for °C and 5/9 for °F

    def moment(self, written: str) -> float:
        """Minutes of a moment written as the readings are: ``14:42``, ``37`` or ``37 min``; a
        ``ReadingsError`` where it is none, or the readings have no clock times."""
        kind, value = _moment(written)
        if kind == "minutes":
            return value
        if kind != "clock":
            raise ReadingsError(
                "is not a time",
                "write 14:42, or minutes such as 37",
                where=self.where,
                path=("moment",),
                value=f'"{written}"',
            )
        if self.start_clock_min is None:
            allowed = f'write "{written}" as minutes'
            found = "gives minutes, not clock times"
            raise ReadingsError(found, allowed, where=self.where, path=("moment",))
        return (value - self.start_clock_min) % DAY_MIN

    def at(self, minutes: float) -> tuple[float, bool]:
        """Temperature at a time, and whether it was read just then rather than between two
        readings. [°C]

        An ``OutsideReadingsError`` outside the readings: nothing is extrapolated.
        """
        first, last = self.time_min[0], self.time_min[-1]
        if not first <= minutes <= last:
            raise OutsideReadingsError(
                f"the readings run from {self.time_text(first)} to {self.time_text(last)}",
                f"{self.time_text(minutes)} is outside, and nothing is extrapolated",
                where=self.where,
                path=("moment",),
            )
        for i, time in enumerate(self.time_min):
            if time == minutes:
                return self.temp_c[i], True
            if time > minutes:
                share = (minutes - self.time_min[i - 1]) / (time - self.time_min[i - 1])
                return self.temp_c[i - 1] + share * (self.temp_c[i] - self.temp_c[i - 1]), False
        raise AssertionError("a time within the readings lies between two of them")

    def hottest_from(self, minutes: float) -> float:
        """Highest temperature at a time or after it, as far as the readings go. [°C]"""
        return max(
            self.at(minutes)[0],
            *(c for t, c in zip(self.time_min, self.temp_c, strict=True) if t >= minutes),
        )

    def clock(self, minutes: float) -> str | None:
        """Time of day, or ``None`` where none is known."""
        if self.start_clock_min is None:
            return None
        whole = round(self.start_clock_min + minutes)
        days, rest = divmod(whole, round(DAY_MIN))
        return f"{rest // 60:02d}:{rest % 60:02d}" + (f" (+{days} d)" if days > 0 else "")

    def time_text(self, minutes: float) -> str:
        """A time as the readings give it."""
        return self.clock(minutes) or f"{minutes:.4g} min"


def read_course(readings: Sequence[str], start: str | None = None) -> Course:
    """A course of temperatures from a file, or from pairs as typed such as ``0=74C``; a
    ``ReadingsError`` with all faults. ``start`` is the clock time of minute 0, where the readings
    give minutes."""
    if any("=" in r for r in readings) or not Path(readings[0]).suffix:
        course = typed_course(readings)
    elif len(readings) > 1:
        raise ReadingsError("several files of readings", "give one, or pairs such as 0=74C 10=66C")
    else:
        course = file_course(readings[0])
    if start is None:
        return course
    kind, value = _moment(start)
    if kind != "clock":
        raise ReadingsError(
            "",
            "give the clock time of minute 0, such as 14:05",
            path=("start",),
            name="the start",
            value=shown(start),
        )
    if course.start_clock_min is not None:
        raise ReadingsError(
            "a start goes with readings in minutes",
            "these have clock times of their own",
            path=("start",),
        )
    return Course(course.where, course.time_min, course.temp_c, course.rows, value, course.degree)


def file_course(path: str | Path) -> Course:
    """A course of temperatures in a CSV file or workbook."""
    table = read_readings(path, COLUMNS)
    if table.has("minutes") and table.has("time"):
        table.faults.add("there is a column of minutes and one of clock times", "keep one")
        table.faults.raise_if_any()
    column = "minutes" if table.has("minutes") else "time"
    unit = table.units[column]
    items = []
    for row in table.rows:
        time, temp = row.cells.get(column), row.cells.get("temperature")
        for name, cell in ((column, time), ("temperature", temp)):
            if is_missing(cell):
                table.fault(row, name, "is missing", "write it, or leave the reading out")
        if not is_missing(time) and not is_missing(temp):
            number = _plain(time, table.comma_is_decimal)
            in_unit = f"{number} {unit}" if unit and number is not None else time
            items.append(((f"row {row.number}", (row.number,)), in_unit, temp))
    scale = table.units["temperature"] or ""
    return _course(table.where, items, scale, table.comma_is_decimal, table.faults)


def typed_course(pairs: Iterable[str]) -> Course:
    """A course of temperatures from pairs such as ``0=74C`` or ``14:05=165F``."""
    where = "readings"
    faults = Faults(where, ReadingsError)
    items: list[tuple[Place, Cell, Cell]] = []
    for at, pair in enumerate(p for text_ in pairs for p in text_.split() if p):
        time, equals, temp = pair.partition("=")
        if not equals or not time or not temp:
            faults.add(
                "is no pair of time and temperature",
                "write 0=74C 10=66C, or 14:05=165F, or give the name of a .csv or .xlsx file",
                path=(at,),
                value=shown(pair),
            )
        else:
            items.append(((f'"{pair}"', (at,)), time, temp))
    return _course(where, items, "", False, faults)


def listed_course(
    rows: Iterable[tuple[str, str, str]], scale: str, where: str = "readings"
) -> Course:
    """A course of temperatures from a list of place, as messages name it, time and temperature; a
    ``ReadingsError`` with all faults. Temperatures without a unit are in the scale, ``c`` or
    ``f``."""
    faults = Faults(where, ReadingsError)
    items: list[tuple[Place, Cell, Cell]] = []
    for at, (place, time, temp) in enumerate(rows):
        for name, cell in (("time", time), ("temperature", temp)):
            if is_missing(cell):
                faults.add(
                    "is missing",
                    "write it, or leave the reading out",
                    path=(at, name),
                    place=place,
                    name=f"the {name}",
                )
        if not is_missing(time) and not is_missing(temp):
            items.append(((place, (at,)), time, temp))
    return _course(where, items, scale, False, faults)


def _course(
    where: str,
    items: Sequence[tuple[Place, Cell, Cell]],
    scale: str,
    comma: bool,
    faults: Faults,
) -> Course:
    """Times and temperatures in one unit each, in order, each time once."""
    moments: list[tuple[str, float]] = []
    temps: list[float] = []
    scales: list[str] = []
    places: list[Place] = []
    without_unit: list[Place] = []
    for (place, path), time, temp in items:
        kind, minutes = _moment(time, comma)
        if kind == "none":
            faults.add(
                "",
                "write minutes such as 10, or a clock time such as 14:05",
                path=(*path, "time"),
                place=place,
                name="the time",
                value=shown(time),
            )
        at: dict[str, Any] = {
            "path": (*path, "temperature"),
            "place": place,
            "name": "the temperature",
        }
        try:
            written = temp if isinstance(temp, (int, float)) else text(temp)
            celsius, read_in = temperature(written, scale, comma_is_decimal=comma)
        except UnitError as error:
            faults.add(error.faults[0].found, _GIVE, value=error.faults[0].value, **at)
            continue
        if not read_in:
            without_unit.append((place, path))
        elif not _COLDEST <= celsius <= _HOTTEST:
            faults.add("", _GIVE, value=temperature_text(celsius), **at)
        elif kind != "none":
            moments.append((kind, minutes))
            temps.append(celsius)
            scales.append(read_in)
            places.append((place, path))
    if without_unit:
        more = f" and {len(without_unit) - 5} more" if len(without_unit) > 5 else ""  # noqa: PLR2004
        faults.add(
            "has no unit",
            _GIVE,
            path=(*without_unit[0][1], "temperature"),
            place=f"{', '.join(p for p, _ in without_unit[:5])}{more}",
            name="the temperature",
        )
    _same(places, [k for k, _ in moments], _KINDS, "time", faults)
    _same(places, scales, {"c": "°C", "f": "°F"}, "temperature", faults)
    faults.raise_if_any()
    if not moments:
        raise ReadingsError("there is no reading in it", where=where)
    times, start = _in_order(moments, places, faults)
    faults.raise_if_any()
    if times[-1] - times[0] > _LONGEST_MIN:
        found = "the readings span more than a week"
        raise ReadingsError(found, "check the times", where=where)
    degree = 1.0 if "c" in scales and "f" not in scales else 5 / 9
    rows = tuple(place for place, _ in places)
    return Course(where, tuple(times), tuple(temps), rows, start, degree)


_KINDS = {"clock": "clock times", "minutes": "minutes", "date": "dates"}


def _same(
    places: Sequence[Place],
    kinds: Sequence[str],
    words: Mapping[str, str],
    column: str,
    faults: Faults,
) -> None:
    """Note a mixture of units: the places of the rarer one."""
    if len(set(kinds)) < 2:  # noqa: PLR2004
        return
    common, rare = sorted(dict.fromkeys(kinds), key=kinds.count, reverse=True)[:2]
    odd = [p for p, k in zip(places, kinds, strict=True) if k == rare]
    faults.add(
        f"in {words[rare]}, the others in {words[common]}",
        "write all in one unit",
        path=(*odd[0][1], column),
        name=join_or([place for place, _ in odd[:5]]),
    )


def _in_order(
    moments: Sequence[tuple[str, float]], places: Sequence[Place], faults: Faults
) -> tuple[list[float], float | None]:
    """Minutes that rise, and the clock time of minute 0."""
    clock = moments[0][0] != "minutes"
    start = moments[0][1] if clock else 0.0
    times: list[float] = []
    for (kind, value), (place, path) in zip(moments, places, strict=True):
        minutes = value - start
        # a clock that falls by more than half a day has passed midnight
        while times and kind == "clock" and minutes < times[-1] - DAY_MIN / 2:
            minutes += DAY_MIN
        at: dict[str, Any] = {"path": (*path, "time"), "place": place}
        if times and minutes == times[-1]:
            faults.add("this time is there already", "keep one reading for each time", **at)
        elif times and minutes < times[-1]:
            found = "this time is earlier than the one before"
            faults.add(found, "put the readings in the order of time", **at)
        times.append(minutes)
    return times, start % DAY_MIN if clock else None


def _plain(cell: Cell, comma: bool) -> float | None:
    """A bare number, or ``None``."""
    try:
        return as_number(cell, comma)
    except UnitError:
        return None


def _moment(cell: Cell, comma: bool = False) -> tuple[str, float]:
    """``clock``, ``date`` or ``minutes``, and the minutes; ``none`` where it is no time."""
    if isinstance(cell, dt.datetime):
        return "date", (cell - dt.datetime(2000, 1, 1)).total_seconds() / 60
    if isinstance(cell, dt.time):
        return "clock", cell.hour * 60 + cell.minute + cell.second / 60
    if isinstance(cell, dt.timedelta):
        return "minutes", cell.total_seconds() / 60
    number = _plain(cell, comma)
    if number is not None:
        return ("minutes", number) if 0 <= number <= _LONGEST_MIN else ("none", 0.0)
    return _written_moment(text(cell))


def _written_moment(written: str) -> tuple[str, float]:
    """As ``_moment``, of words."""
    if match := _CLOCK.fullmatch(written):
        return _clock(
            int(match.group(1)), int(match.group(2)), int(match.group(3) or 0), match.group(4)
        )
    try:
        return "minutes", duration_min(written)
    except UnitError:
        pass
    try:
        return "date", (
            dt.datetime.fromisoformat(written) - dt.datetime(2000, 1, 1)
        ).total_seconds() / 60
    except (ValueError, TypeError):
        return "none", 0.0


def _clock(hour: int, minute: int, second: int, half: str | None) -> tuple[str, float]:
    """Minutes since midnight; ``half`` is am or pm where it is written."""
    if half and not 1 <= hour <= 12:  # noqa: PLR2004
        return "none", 0.0
    if half:
        hour = hour % 12 + (12 if half.casefold().startswith("p") else 0)
    if hour < 24 and minute < 60 and second < 60:  # noqa: PLR2004
        return "clock", hour * 60 + minute + second / 60
    return "none", 0.0
