"""Preservatives that are in the batch already, and the heat that they met by the readings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from preservecheck.arrays.inputs import THERMOMETER_C
from preservecheck.arrays.systems import parts_of
from preservecheck.checks import with_key
from preservecheck.checks.base import warmer
from preservecheck.formula.compose import Addition, Composition
from preservecheck.formula.cooling_readings import Course
from preservecheck.reference.load import Tables
from preservecheck.reference.rows import System
from preservecheck.units import duration_text, temperature_text
from preservecheck.verdict import PASS, SERIOUS, WORDS, Word

# how an addition is known that nobody has noted
BY_FORMULA = "as the formula says"


@dataclass(frozen=True)
class Added:
    """A preservative that is in already, and the temperature it met."""

    preservative: str
    temperature_c: float | None
    limit_c: float | None
    verdict: Word
    serious: bool
    because: str


# where most preservatives, perfumes and proteins may go in (facts, process: below 45 to 40 °C;
# common practice)
COOL_DOWN_C = 40.0


def system_of(composition: Composition, tables: Tables, system_id: str) -> System:
    """The row of a system, a stand-in for a plain active included."""
    return next(s for s in (*tables.systems, *composition.extra_systems) if s.id == system_id)


def added_of(
    composition: Composition, tables: Tables, course: Course, moment: float | None
) -> Iterator[Added]:
    """Each preservative that is in by now, with the temperature that the readings give."""
    for addition in composition.additions:
        met = _met(composition, addition, course, moment)
        if met is None:
            continue
        temperature, peak, how, at = met
        for name, limit, cool in parts_of(
            system_of(composition, tables, composition.systems[addition.system].id)
        ):
            yield _judged(name, temperature, peak, limit, cool, how, _above(course, at, limit))


def _met(
    composition: Composition, addition: Addition, course: Course, moment: float | None
) -> tuple[float, float, str, float] | None:
    """Temperature at the addition, hottest from then on, how that is known, and the time; ``None``
    if not in yet."""
    phase = composition.formula.phases[addition.phase]
    if phase.heated_to_c is not None and phase.added_at_c is None:
        hottest = max(course.temp_c)
        return hottest, hottest, "it went in with the heated phase", course.time_min[0]
    if moment is not None:
        temperature, read = course.at(moment)
        how = f"at {course.time_text(moment)}, {'read' if read else 'between two readings'}"
        return temperature, course.hottest_from(moment), how, moment
    stated = phase.added_at_c
    if stated is None or course.temp_c[-1] > stated:
        return None
    at = next(
        (t for t, c in zip(course.time_min, course.temp_c, strict=True) if c <= stated),
        course.time_min[-1],
    )
    return stated, stated, f"{BY_FORMULA}; give --added with the time to judge by the readings", at


def _above(course: Course, start: float, limit: float | None) -> float:
    """Minutes that the readings stay above a limit from a time on."""
    return 0.0 if limit is None else minutes_at_least(course, limit, start)


def minutes_at_least(course: Course, level_c: float, start: float | None = None) -> float:
    """Minutes at or above a temperature, straight between readings. [min]"""
    total = 0.0
    points = list(zip(course.time_min, course.temp_c, strict=True))
    if start is not None and course.time_min[0] < start < course.time_min[-1]:
        points = [(start, course.at(start)[0]), *(p for p in points if p[0] > start)]
    for (t0, c0), (t1, c1) in zip(points, points[1:], strict=False):
        low, high = min(c0, c1), max(c0, c1)
        if low >= level_c:
            total += t1 - t0
        elif high > level_c:
            total += (t1 - t0) * (high - level_c) / (high - low)
    return total


def _judged(
    name: str,
    temperature: float,
    peak: float,
    limit: float | None,
    cool: float | None,
    how: str,
    above_min: float,
) -> Added:
    """One preservative by the rule of the heat-limit check."""
    figures = {
        "temperature_c": peak,
        "added_at_c": temperature,
        "limit_c": np.nan if limit is None else limit,
        "preferred_below_c": np.nan if cool is None else cool,
        "tolerance_c": THERMOMETER_C,
        "present": 1.0,
    }
    arrays = {n: np.array([v], dtype=float) for n, v in figures.items()}
    code = int(with_key("temperature_c").judge(arrays)[0])
    met = f"It met {temperature_text(peak)} ± {THERMOMETER_C:.0f} °C ({how})"
    if limit is None:
        said = f"{met}; no heat limit is known to these tables: ask the supplier."
    elif code == SERIOUS:
        said = (
            f"{met}, above its limit of {temperature_text(limit)}, for {duration_text(above_min)} "
            "by the readings: "
            "part of it is lost. Do not count on it, and ask the supplier before you add a second "
            "dose."
        )
    elif peak + THERMOMETER_C > limit:
        said = (
            f"{met}, within the thermometer's error of its limit of {temperature_text(limit)}: "
            "too close to call."
        )
    elif code == PASS:
        said = f"{met}, below its limit of {temperature_text(limit)}."
    else:
        said = f"{met}, below its limit of {temperature_text(limit)}" + (
            f" but {warmer(peak, THERMOMETER_C, cool, temperature_text(cool))}"
            if cool is not None
            else "."
        )
    return Added(name, peak, limit, WORDS[code] or "unknown", code == SERIOUS, said)
