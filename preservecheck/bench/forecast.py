"""Which readings of a cooling batch carry a forecast, and how far: Newton's law on the latest that
one rate fits."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from preservecheck.chemistry.cooling import (
    CoolingFit,
    fitted_cooling,
    minutes_band,
    minutes_to,
    rate_tolerance,
)
from preservecheck.chemistry.trend import rounding_error, student_t
from preservecheck.errors import Hint
from preservecheck.formula.cooling_readings import Course
from preservecheck.text import celsius, number
from preservecheck.verdict import Floats

# scatter of a kitchen thermometer about its own mean, where two readings cannot show it; common
# practice, no source
ASSUMED_ERROR_C = 0.5
# a later reading that is higher by more than this is no scatter
RISE_C = 1.0
# readings nearer to the room say little about the rate (facts, process: stop fitting below about 3
# °C)
NEAR_ROOM_C = 3.0
# the least fall and time that carry a rate: six times the scatter, and time enough to stir and read
# twice
LEAST_FALL_C, LEAST_SPAN_MIN = 3.0, 5.0
# readings that a fit needs: two where the room is given; with the room fitted one more than the
# fitted numbers
NEEDED_KNOWN, NEEDED_FITTED = 2, 4
# where the rate falls, the latest readings alone are used
LATEST = 3
# with two readings the wait may be twice as long: in published readings of a mug the first two said
# 38 min, it took 60
EARLY_STRETCH = 2.0
# rooms in which anybody works
PLAUSIBLE_ROOM_C = (-5.0, 45.0)


@dataclass(frozen=True)
class Reach:
    """When the batch reaches a temperature; minutes as the readings count them."""

    what: str
    limit_c: float
    minutes: float | None
    minutes_low: float | None
    minutes_high: float | None
    clock: str | None
    measured: bool
    because: str


@dataclass(frozen=True)
class Forecast:
    """A fit with what it rests on, or the reason why there is none."""

    fit: CoolingFit | None
    because: str = ""
    remarks: tuple[str, ...] = ()
    hint: Hint | None = None
    # with a room of its own, where the rate falls
    bent: CoolingFit | None = None


def forecast_of(course: Course, room_c: float | None) -> Forecast:
    """Newton's law fitted to what a course allows; the room or water bath is fitted where its
    temperature is ``None``. [°C]"""
    if len(course.time_min) < NEEDED_KNOWN:
        return Forecast(None, "There is one reading; two at least are needed, some minutes apart.")
    start, remark = _start(course)
    if start is None:
        return Forecast(None, remark)
    time, temp = np.array(course.time_min[start:]), np.array(course.temp_c[start:])
    remarks = [remark] if remark else []
    if room_c is not None and (
        (far := temp - room_c >= NEAR_ROOM_C).sum() >= NEEDED_KNOWN and not far.all()
    ):
        remarks.append(
            f"Readings within {NEAR_ROOM_C:.0f} °C of the room were left out: they say little "
            "about the rate."
        )
        time, temp = time[far], temp[far]
    measure = Hint.ROOM if room_c is None else None
    refusal = _refusal(time, temp, room_c)
    if refusal:
        hint = measure if len(time) < NEEDED_FITTED else None
        return Forecast(None, refusal, tuple(remarks), hint)
    least = rounding_error(np.array(course.temp_c) / course.degree) * course.degree
    fit = fitted_cooling(time, temp, room_c, least, ASSUMED_ERROR_C)
    if fit is None:
        why = (
            "No cooling curve fits these readings: they do not fall ever more slowly towards a "
            "room. Measure the room, stir, and read again."
        )
        return Forecast(None, why, tuple(remarks), Hint.ROOM)
    if room_c is None:
        return _with_fitted_room(fit, float(temp[-1]), remarks)
    if fit.dof == 0:
        remarks.append(
            f"Two readings show no scatter: ± {ASSUMED_ERROR_C:g} °C is assumed, and a wait of up "
            "to twice as long, since early readings flatter the rate."
        )
    return _latest(fit, least, remarks)


def _start(course: Course) -> tuple[int | None, str]:
    """First reading of the last fall, and a remark or the reason why there is none."""
    temp = course.temp_c
    if temp[-1] > temp[-2] + RISE_C or temp[-1] > min(temp) + RISE_C and temp[-1] >= temp[-2]:
        return None, (
            f"The temperature rises: {celsius(temp[-1])} at the last reading. Nothing is foretold "
            "while it is heated; read on when it cools."
        )
    at = len(temp) - 1
    while at > 0 and temp[at - 1] >= temp[at] - RISE_C / 2:
        at -= 1
    hold = max(i for i in range(at, len(temp)) if temp[i] >= max(temp[at:]) - RISE_C / 2)
    if hold == len(temp) - 1:
        return at, ""
    left = (
        f"The readings before {course.time_text(course.time_min[hold])} were left out: it was "
        "not cooling yet."
    )
    return hold, left if hold else ""


def _refusal(time: Floats, temp: Floats, room_c: float | None) -> str:
    """Why readings cannot carry a forecast; empty where they can."""
    if room_c is not None and room_c >= temp[-1]:
        return (
            f"The room ({celsius(room_c)}) is as warm as the last reading ({celsius(temp[-1])}), "
            "so nothing is told from the law; check both."
        )
    needed = NEEDED_KNOWN if room_c is not None else NEEDED_FITTED
    if len(time) < needed:
        return (
            f"{len(time)} reading{'s' if len(time) > 1 else ''} of the fall "
            f"{'are' if len(time) > 1 else 'is'} too few; {needed} are needed"
            f"{', or a measured room' if room_c is None else ''}."
        )
    span, fall = float(time[-1] - time[0]), float(temp[0] - temp[-1])
    if span < LEAST_SPAN_MIN:
        return (
            f"The readings span {number(span)} min, too short a time to tell a rate from; "
            f"{LEAST_SPAN_MIN:.0f} min at least are needed. Read again in ten minutes."
        )
    if fall < LEAST_FALL_C:
        return (
            f"The temperature fell by {number(fall)} °C only, hardly more than the thermometer's "
            f"scatter; wait until it has fallen by {LEAST_FALL_C:.0f} °C and read again."
        )
    return ""


def _with_fitted_room(fit: CoolingFit, last_c: float, remarks: list[str]) -> Forecast:
    """A fit whose room was fitted, unless that room cannot be one."""
    room = celsius(fit.room_c)
    why = ""
    if fit.room_c >= last_c - RISE_C:
        why = (
            f"The fitted room ({room}) does not lie below the last reading ({celsius(last_c)}): "
            "these readings cannot tell where the fall ends."
        )
    elif not PLAUSIBLE_ROOM_C[0] <= fit.room_c <= PLAUSIBLE_ROOM_C[1]:
        why = (
            f"The fitted room would be {room}, which no room is: the readings do not bend enough "
            "to show it."
        )
    elif rate_tolerance(fit) >= fit.rate_per_min:
        why = "The readings bend too little to show both the room and the rate."
    if why:
        return Forecast(None, f"{why} Measure the room, or read on.", tuple(remarks), Hint.ROOM)
    remarks.append(f"The room was fitted ({room}); a measured one makes the band narrower.")
    return Forecast(fit, "", tuple(remarks), Hint.ROOM)


def _latest(fit: CoolingFit, least: float, remarks: list[str]) -> Forecast:
    """All readings where one rate fits them; the latest where the rate falls, as it does while
    steam rises."""
    whole = Forecast(fit, "", tuple(remarks))
    bent = fitted_cooling(fit.time_min, fit.temp_c, None, least) if fit.dof > 1 else None
    if bent is None or bent.room_c <= fit.room_c:
        return whole
    gain = fit.error_c**2 * fit.dof - bent.error_c**2 * bent.dof
    if gain <= (student_t(bent.dof) * bent.error_c) ** 2:
        return whole
    latest = fitted_cooling(fit.time_min[-LATEST:], fit.temp_c[-LATEST:], fit.room_c, least)
    if latest is None:
        return whole
    remarks.append(
        f"The rate falls as it cools, so the latest {LATEST} readings alone are fitted, and the "
        "late end of each band follows the bend of all of them."
    )
    scatter = replace(latest, error_c=bent.error_c, dof=bent.dof)
    return Forecast(scatter, "", tuple(remarks), bent=bent)


def reach_of(course: Course, forecast: Forecast, what: str, limit_c: float) -> Reach:
    """When a batch reaches the temperature ``what``: read off where it has, else foretold with a
    band. [°C]"""
    crossed = _crossed(course, limit_c)
    if crossed is not None:
        time, before, after = crossed
        how = "Below it from the first reading on."
        if before < after:
            how = f"Measured between {course.time_text(before)} and {course.time_text(after)}."
        return Reach(what, limit_c, time, before, after, course.clock(time), True, how)
    fit, bent = forecast.fit, forecast.bent

    def refused(why: str) -> Reach:
        return Reach(what, limit_c, None, None, None, None, False, why)

    if fit is None:
        return refused(forecast.because)
    if limit_c <= fit.room_c:
        return refused(
            f"Never by itself: the room is {celsius(fit.room_c)}. Cool it in a water bath and "
            "read again."
        )
    best = float(minutes_to(limit_c, fit.start_c, fit.room_c, fit.rate_per_min))
    low, high = minutes_band(fit, limit_c)
    if math.isinf(high) or math.isnan(high):
        return refused(
            "No latest time can be given: these readings do not surely show a fall that goes on. "
            "Read again in ten minutes."
        )
    last = course.time_min[-1]
    best, low = max(best, last), max(low, last)
    latest: float | None = max(high, best)
    if bent is not None:
        later = float(minutes_to(limit_c, bent.start_c, bent.room_c, bent.rate_per_min))
        latest = None if math.isnan(later) else max(high, best, later)
    elif fit.dof == 0:
        latest = max(high, best, last + EARLY_STRETCH * (best - last))
    words = (
        f"Read again at about {course.time_text(round(last + (best - last) * 0.9))}; only "
        "that reading opens the gate."
    )
    if latest is None:
        words = "The fall slows down so much that no latest time can be given. " + words
    return Reach(what, limit_c, best, low, latest, course.clock(best), False, words)


def _crossed(course: Course, limit_c: float) -> tuple[float, float, float] | None:
    """Time of the last fall through a temperature, and the readings on both sides; ``None`` where
    it is still above."""
    if course.temp_c[-1] > limit_c:
        return None
    at = len(course.temp_c) - 1
    while at > 0 and course.temp_c[at - 1] <= limit_c:
        at -= 1
    if at == 0:
        return course.time_min[0], course.time_min[0], course.time_min[0]
    (t0, t1), (c0, c1) = course.time_min[at - 1 : at + 1], course.temp_c[at - 1 : at + 1]
    return t0 + (c0 - limit_c) / (c0 - c1) * (t1 - t0), t0, t1
