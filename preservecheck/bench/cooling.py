"""The batch in the pot: when it is cool enough, what the cold phase does, and whether something
went in too hot."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from preservecheck.arrays.formulas import formula_arrays
from preservecheck.arrays.inputs import THERMOMETER_C
from preservecheck.arrays.systems import parts_of
from preservecheck.assess.review import table_arrays_for
from preservecheck.bench.addition_window import AdditionWindow, addition_windows
from preservecheck.bench.additions import (
    COOL_DOWN_C,
    Added,
    added_of,
    minutes_at_least,
    system_of,
)
from preservecheck.bench.forecast import Forecast, Reach, forecast_of, reach_of
from preservecheck.bench.heat_balance import MUCH_COLD, Mixing, mixing_of
from preservecheck.chemistry.cooling import rate_tolerance
from preservecheck.formula.compose import Composer, Composition
from preservecheck.formula.cooling_readings import Course, read_course
from preservecheck.formula.model import Formula
from preservecheck.provenance import Provenance, provenance_of
from preservecheck.reference.load import Tables, load_tables
from preservecheck.text import number
from preservecheck.units import duration_text, temperature_text
from preservecheck.verdict import PASS, SERIOUS, UNKNOWN, WORDS, Word, fold

# the customary heat hold: 20 min at 70 °C or more
HOLD_C = 70.0


@dataclass(frozen=True)
class Cooldown:
    """What the readings of a cooling batch tell."""

    head: Provenance
    course: Course
    forecast: Forecast
    reach: tuple[Reach, ...]
    gates: tuple[AdditionWindow, ...]  # of what is still to go in
    mixing: Mixing | None
    mixing_because: str | None
    added: tuple[Added, ...]
    held_min: float
    hold_c: float
    verdict: Word
    because: str
    remarks: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """The keys that other programs read."""
        fit = self.forecast.fit
        return {
            **self.head.to_json(),
            "verdict": self.verdict,
            "rate_per_min": fit.rate_per_min if fit else None,
            "rate_tolerance_per_min": _finite(rate_tolerance(fit)) if fit else None,
            "room_c": fit.room_c if fit else None,
            "room_fitted": not fit.room_known if fit else None,
            "fit_error_c": fit.error_c if fit else None,
            "readings_used": len(fit.time_min) if fit else 0,
            "reach": [asdict(r) for r in self.reach],
            "gates": [asdict(g) for g in self.gates],
            "after_addition_c": self.mixing.after_c if self.mixing else None,
            "after_addition_because": self.mixing_because,
            "added": [asdict(a) for a in self.added],
            "held_min": self.held_min,
            "hold_c": self.hold_c,
            "because": self.because,
            "remarks": list(self.remarks),
        }


def cooldown(
    readings: Sequence[str] | Course,
    formula: Formula | None = None,
    tables: Tables | None = None,
    *,
    room_c: float | None = None,
    start: str | None = None,
    added: str | None = None,
    today: dt.date | None = None,
) -> Cooldown:
    """Read a course of temperatures against the limits of a formula.

    Parameters
    ----------
    readings
        One file, or pairs such as ``0=74C``; or a course that is read already.
    formula
        Brings the heat limits and the masses of the phases.
    tables
        The tables; default the shipped ones.
    room_c
        Temperature of the room or water bath; fitted where it is not given. [°C]
    start
        Clock time of minute 0.
    added
        Moment at which the cool-down phase went in, as the readings count time.
    today
        Date of the result.

    Raises
    ------
    ReadingsError
        The readings cannot be used; all faults at once.
    """
    tables = tables or load_tables()
    course = readings if isinstance(readings, Course) else read_course(readings, start)
    moment = None if added is None else course.moment(added)
    forecast = forecast_of(course, room_c)
    composition = Composer(tables).compose(formula) if formula else None
    case = (
        formula_arrays([composition], table_arrays_for(tables), today or dt.date.today())
        if composition
        else None
    )
    reach = tuple(
        reach_of(course, forecast, what, limit) for what, limit in limits_of(composition, tables)
    )
    gone_in = tuple(added_of(composition, tables, course, moment)) if composition else ()
    hold_c, held, hold_remark = _held(course, formula)
    mixing, why = _mixing(composition, tables, course, moment, forecast, room_c)
    unknown = any(r.minutes is None for r in reach)
    codes = [_code(a) for a in gone_in] + [UNKNOWN if unknown else PASS]
    return Cooldown(
        provenance_of(tables, formula, today),
        course,
        forecast,
        reach,
        addition_windows(composition, case, course, forecast) if moment is None else (),
        mixing,
        why,
        gone_in,
        held,
        hold_c,
        WORDS[int(fold(codes))] or "pass",
        _because(course, forecast),
        (*forecast.remarks, *([hold_remark] if hold_remark else [])),
    )


def limits_of(composition: Composition | None, tables: Tables) -> list[tuple[str, float]]:
    """Temperatures to wait for, hottest first: limits of the formula's preservatives, then the
    general mark. [°C]"""
    marks: dict[tuple[str, float], None] = {}
    if composition:
        for use in composition.systems:
            for name, limit, cool in parts_of(system_of(composition, tables, use.id)):
                if limit is not None:
                    marks[f"{name}: heat limit", limit] = None
                if cool is not None and cool != limit:
                    marks[f"{name}: does most good below", cool] = None
    marks["cool-down phase, customary", COOL_DOWN_C] = None
    return sorted(marks, key=lambda m: -m[1])


def _held(course: Course, formula: Formula | None) -> tuple[float, float, str]:
    """Mark of the heat hold, minutes above it, and what is to be said about it."""
    heated = [p for p in formula.phases if p.heated_to_c is not None] if formula else []
    hottest = max(heated, key=lambda p: p.heated_to_c or 0.0, default=None)
    hold_c = HOLD_C
    if (
        hottest is not None
        and hottest.heated_to_c is not None
        and hottest.heated_to_c < HOLD_C + THERMOMETER_C
    ):
        hold_c = hottest.heated_to_c - THERMOMETER_C
    held = minutes_at_least(course, hold_c)
    wanted = hottest.held_min if hottest else None
    if wanted is not None and held < wanted:
        return (
            hold_c,
            held,
            (
                f"The formula holds phase {hottest.name if hottest else ''} for "
                f"{duration_text(wanted)}; these "
                f"readings show {duration_text(held)} at {temperature_text(hold_c)} or more."
            ),
        )
    return hold_c, held, ""


def _mixing(
    composition: Composition | None,
    tables: Tables,
    course: Course,
    moment: float | None,
    forecast: Forecast,
    room_c: float | None,
) -> tuple[Mixing | None, str | None]:
    """The heat balance of the cold phases, or why there is none."""
    if composition is None:
        return None, "No formula was given, so the masses are not known; give it with --formula."
    cold_c = room_c if room_c is not None else forecast.fit.room_c if forecast.fit else None
    if cold_c is None:
        return (
            None,
            "The temperature of the cold phase is not known; give that of the room with --room.",
        )
    hot_c = course.temp_c[-1] if moment is None else course.at(moment)[0]
    mixing = mixing_of(composition, tables, hot_c, cold_c)
    if mixing is None:
        return None, "The formula does not have both a heated phase and one that is not heated."
    when = (
        f"now, at {temperature_text(hot_c)}" if moment is None else f"at {temperature_text(hot_c)}"
    )
    said = (
        f"{' and '.join(mixing.cold_names)} at {temperature_text(cold_c)}, put in {when}, brings "
        "the batch to "
        f"{temperature_text(mixing.after_c)}."
    )
    if mixing.cold_share > MUCH_COLD:
        said += (
            f" That is {number(100 * mixing.cold_share, 2)} % of the batch: add it slowly, it "
            "shocks the gel; and "
            "water that was not heated has not had the heat hold."
        )
    return mixing, said


def _because(course: Course, forecast: Forecast) -> str:
    fit = forecast.fit
    if fit is None:
        return forecast.because
    given = "given" if fit.room_known else "fitted"
    return (
        f"Newton's law on {len(fit.time_min)} readings from {course.time_text(fit.time_min[0])} to "
        f"{course.time_text(fit.time_min[-1])}: the distance to the room "
        f"({temperature_text(fit.room_c)}, {given}) "
        "falls at a "
        f"rate of {number(fit.rate_per_min)} per minute; the readings scatter by "
        f"{number(fit.error_c, 2)} °C."
    )


def _code(added: Added) -> int:
    return SERIOUS if added.serious else WORDS.index(added.verdict)


def _finite(value: float) -> float | None:
    return value if np.isfinite(value) else None
