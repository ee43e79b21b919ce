"""When each preservative may go in, by which reading, and what those that are in have met."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.recipes import THERMOMETER_C
from preservecheck.arrays.systems import Part
from preservecheck.bench.forecast import Forecast, Reach, reach_of
from preservecheck.checks import with_key
from preservecheck.checks.base import warmer
from preservecheck.formula.compose import Addition, Composition
from preservecheck.formula.cooling_readings import Course
from preservecheck.plan.targets import addition_c
from preservecheck.units import duration_text, temperature_text
from preservecheck.verdict import PASS, SERIOUS, WORDS, Word

# where most preservatives, perfumes and proteins may go in (facts, process: below 45 to 40 °C;
# common practice)
COOL_DOWN_C = 40.0


# ---- what is still to go in ----


@dataclass(frozen=True)
class AdditionWindow:
    """A preservative part of one phase, the reading at which it may go in, and when that is."""

    name: str
    phase: str
    below_c: float
    because: str
    reach: Reach | None  # None without readings


@dataclass(frozen=True)
class Mark:
    """The highest reading at which a preservative part of a phase may go in. [°C]"""

    name: str
    phase: int
    below_c: float
    limit_c: float | None  # its heat limit; without one the mark is the customary one

    @property
    def because(self) -> str:
        """Where the mark comes from."""
        if self.limit_c is None:
            return (
                "No heat limit is known to these tables for it: ask the supplier; this is the "
                "customary mark."
            )
        limit = f"Its heat limit is {temperature_text(self.limit_c)}"
        error = f"and the thermometer may be off by {THERMOMETER_C:.0f} °C"
        if self.below_c + THERMOMETER_C < self.limit_c:
            return f"{limit}; cooler, less of it goes into the oil or off with the steam."
        return f"{limit}, {error}."


def marks_of(composition: Composition, case: FormulaArrays) -> list[Mark]:
    """A mark for each preservative part of a formula, the temperature that a plan aims at for it;
    those whose limit is not known come last."""
    error = float(case.temperature_tolerance_c[0])
    known, unknown = [], []
    for addition, part in case.parts_added():
        phase = composition.additions[addition].phase
        if part.heat_limit_c is None:
            unknown.append(Mark(part.name, phase, COOL_DOWN_C, None))
        else:
            heated = composition.formula.phases[phase].heated_to_c is not None
            # what belongs into the hot water keeps to its limit
            most = part.below_c - error
            below_c = most if heated else addition_c([part.heat_limit_c], error)
            known.append(Mark(part.name, phase, below_c, part.heat_limit_c))
    return [*sorted(known, key=lambda m: m.phase), *unknown]


def addition_windows(
    composition: Composition | None,
    case: FormulaArrays | None,
    course: Course | None = None,
    forecast: Forecast | None = None,
) -> tuple[AdditionWindow, ...]:
    """A window for each preservative of a formula, hottest first, with what readings foretell; the
    customary one where no formula is known."""

    def window(name: str, phase: str, below_c: float, because: str) -> AdditionWindow:
        reach = reach_of(course, forecast, name, below_c) if course and forecast else None
        return AdditionWindow(name, phase, below_c, because, reach)

    marks = marks_of(composition, case) if composition and case else []
    if composition is None or not marks:
        why = "The customary mark; no formula says more."
        return (window("What goes in while it cools", "", COOL_DOWN_C, why),)
    phases = composition.formula.phases
    return tuple(
        window(m.name, phases[m.phase].name, m.below_c, m.because)
        for m in sorted(dict.fromkeys(marks), key=lambda m: -m.below_c)
    )


# ---- what is in already ----


@dataclass(frozen=True)
class PastAddition:
    """A preservative that is in already, and the temperature it met."""

    preservative: str
    temperature_c: float | None
    limit_c: float | None
    code: int
    because: str
    by_formula: bool  # nobody noted when it went in

    @property
    def verdict(self) -> Word:
        """The code as a word."""
        return WORDS[self.code] or "unknown"

    @property
    def serious(self) -> bool:
        """Whether it met too much heat."""
        return self.code == SERIOUS

    def to_json(self) -> dict[str, Any]:
        """The keys that other programs read."""
        keys = ("preservative", "temperature_c", "limit_c", "verdict", "serious", "because")
        return {k: getattr(self, k) for k in keys}


def past_additions(
    composition: Composition, case: FormulaArrays, course: Course, moment: float | None
) -> Iterator[PastAddition]:
    """Each preservative that is in by now, with the temperature that the readings give. The moment
    is that of the cool-down phase, where it was noted. [min]"""
    for at, part in case.parts_added():
        met = _met(composition, composition.additions[at], course, moment)
        if met is not None:
            yield _judged(part, met, course)


@dataclass(frozen=True)
class _Met:
    """Temperature at an addition, the hottest from then on, when that was, and how it is known."""

    added_c: float
    peak_c: float
    minutes: float
    how: str
    by_formula: bool = False


def _met(
    composition: Composition, addition: Addition, course: Course, moment: float | None
) -> _Met | None:
    """What an addition met; ``None`` if it is not in yet."""
    phase = composition.formula.phases[addition.phase]
    if phase.heated_to_c is not None and phase.added_at_c is None:
        hottest = max(course.temp_c)
        return _Met(hottest, hottest, course.time_min[0], "it went in with the heated phase")
    if moment is not None:
        temperature, read = course.at(moment)
        how = f"at {course.time_text(moment)}, {'read' if read else 'between two readings'}"
        return _Met(temperature, course.hottest_from(moment), moment, how)
    planned = phase.added_at_c
    if planned is None or course.temp_c[-1] > planned:
        return None
    readings = zip(course.time_min, course.temp_c, strict=True)
    minutes = next((t for t, c in readings if c <= planned), course.time_min[-1])
    how = "as the formula says; the time was not noted"
    return _Met(planned, planned, minutes, how, by_formula=True)


def _judged(part: Part, met: _Met, course: Course) -> PastAddition:
    """One preservative by the rule of the check on heat."""
    limit, cool = part.heat_limit_c, part.preferred_below_c
    figures = {
        "temperature_c": met.peak_c,
        "added_at_c": met.added_c,
        "limit_c": np.nan if limit is None else limit,
        "preferred_below_c": np.nan if cool is None else cool,
        "tolerance_c": THERMOMETER_C,
        "present": 1.0,
    }
    arrays = {n: np.array([v], dtype=float) for n, v in figures.items()}
    code = int(with_key("temperature_c").judge(arrays)[0])
    because = f"It met {temperature_text(met.peak_c)} ± {THERMOMETER_C:.0f} °C ({met.how})"
    if limit is None:
        because += "; no heat limit is known to these tables: ask the supplier."
    elif code == SERIOUS:
        above = duration_text(minutes_at_least(course, limit, met.minutes))
        because += (
            f", above its limit of {temperature_text(limit)}, for {above} by the readings: part of "
            "it is lost. Do not count on it, and ask the supplier before you add a second dose."
        )
    elif met.peak_c + THERMOMETER_C > limit:
        because += (
            f", within the thermometer's error of its limit of {temperature_text(limit)}: too "
            "close to call."
        )
    else:
        because += f", below its limit of {temperature_text(limit)}"
        if code == PASS or cool is None:
            because += "."
        else:
            because += f" but {warmer(met.peak_c, THERMOMETER_C, cool, temperature_text(cool))}"
    return PastAddition(part.name, met.peak_c, limit, code, because, met.by_formula)


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
