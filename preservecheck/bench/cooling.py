"""The batch in the pot: when it is cool enough, what the cold phase does, and whether something
went in too hot."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from preservecheck.arrays.formulas import FormulaArrays, formula_arrays
from preservecheck.arrays.recipes import THERMOMETER_C
from preservecheck.arrays.systems import parts_of
from preservecheck.assess.findings import composer_for, table_arrays_for
from preservecheck.bench.addition_window import (
    COOL_DOWN_C,
    AdditionWindow,
    PastAddition,
    addition_windows,
    minutes_at_least,
    past_additions,
)
from preservecheck.bench.forecast import Forecast, Reach, forecast_of, reach_of
from preservecheck.chemistry.cooling import mixed_temperature_c, rate_tolerance
from preservecheck.errors import Hint
from preservecheck.formula.compose import Composition
from preservecheck.formula.cooling_readings import Course, read_course
from preservecheck.formula.model import Formula
from preservecheck.provenance import Provenance, provenance_of
from preservecheck.reference.load import Tables, load_tables
from preservecheck.reference.rows import Ingredient
from preservecheck.text import join_and, number
from preservecheck.units import duration_text, temperature_text
from preservecheck.verdict import PASS, UNKNOWN, WORDS, Word, fold

# the customary heat hold: 20 min at 70 °C or more
HOLD_C = 70.0
# specific heats [kJ/(kg K)]; water, glycerin, ethanol and vegetable oils (1.7 to 2.2) from tables
# of liquids that were read, the others recalled
WATER_KJ_KG_K = 4.18
_HEAT_BY_INCI = {
    "Glycerin": 2.42,
    "Alcohol": 2.46,
    "Propylene Glycol": 2.5,
    "Propanediol": 2.5,
    "Butylene Glycol": 2.4,
    "Pentylene Glycol": 2.4,
}
_HEAT_BY_OIL = {
    "vegetable": 2.0,
    "ester": 2.0,
    "hydrocarbon": 2.0,
    "silicone": 1.5,
    "fatty-alcohol": 2.3,
    "wax-solid": 2.3,
}
# salts, sugars, gums, surfactants, powders: between 0.9 and 2.2; recalled
_HEAT_OF_OTHERS = 1.6
# more of the batch than this in a cold portion shocks the gel (common practice, no source)
MUCH_COLD = 0.3


@dataclass(frozen=True)
class Mixing:
    """What a cold portion does to a hot batch."""

    hot_g: float  # grams, or per cent where the batch is not known
    cold_g: float
    hot_kj_kg_k: float
    cold_kj_kg_k: float
    hot_c: float
    cold_c: float
    after_c: float
    cold_names: tuple[str, ...]

    @property
    def cold_share(self) -> float:
        """Cold portion over the whole. [-]"""
        return self.cold_g / (self.hot_g + self.cold_g)


@dataclass(frozen=True, kw_only=True)
class Cooldown:
    """What the readings of a cooling batch tell."""

    head: Provenance
    course: Course
    forecast: Forecast
    reach: tuple[Reach, ...]
    gates: tuple[AdditionWindow, ...]  # of what is still to go in
    mixing: Mixing | None
    mixing_because: str
    mixing_hint: Hint | None
    added: tuple[PastAddition, ...]
    held_min: float
    hold_c: float
    remarks: tuple[str, ...]

    @property
    def verdict(self) -> Word:
        """The worst of what is in already; unknown where a time is not known."""
        unknown = any(r.minutes is None for r in self.reach)
        return WORDS[int(fold([*(a.code for a in self.added), UNKNOWN if unknown else PASS]))] or (
            "pass"
        )

    @property
    def because(self) -> str:
        """What the forecast rests on."""
        fit = self.forecast.fit
        if fit is None:
            return self.forecast.because
        first, last = (self.course.time_text(t) for t in (fit.time_min[0], fit.time_min[-1]))
        room = f"{temperature_text(fit.room_c)}, {'given' if fit.room_known else 'fitted'}"
        return (
            f"Newton's law on {len(fit.time_min)} readings from {first} to {last}: the distance to "
            f"the room ({room}) falls at a rate of {number(fit.rate_per_min)} per minute; the "
            f"readings scatter by {number(fit.error_c, 2)} °C."
        )

    @property
    def hints(self) -> tuple[Hint, ...]:
        """What helps further."""
        added = Hint.ADDED if any(a.by_formula for a in self.added) else None
        hints = (self.forecast.hint, self.mixing_hint, added)
        return tuple(dict.fromkeys(h for h in hints if h is not None))

    def to_json(self) -> dict[str, Any]:
        """The keys that other programs read."""
        fit = self.forecast.fit
        error = rate_tolerance(fit) if fit else math.inf
        return {
            **self.head.to_json(),
            "verdict": self.verdict,
            "rate_per_min": fit.rate_per_min if fit else None,
            "rate_tolerance_per_min": error if math.isfinite(error) else None,
            "room_c": fit.room_c if fit else None,
            "room_fitted": not fit.room_known if fit else None,
            "fit_error_c": fit.error_c if fit else None,
            "readings_used": len(fit.time_min) if fit else 0,
            "reach": [asdict(r) for r in self.reach],
            "gates": [asdict(g) for g in self.gates],
            "after_addition_c": self.mixing.after_c if self.mixing else None,
            "after_addition_because": self.mixing_because,
            "added": [a.to_json() for a in self.added],
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
    """Read a course of temperatures, a file or pairs such as ``0=74C``, against the limits of a
    formula; a ``ReadingsError`` with all faults.

    The formula brings the heat limits and the masses of the phases. ``room_c`` is the room or water
    bath; it is fitted where it is not given. [°C] ``start`` is the clock time of minute 0,
    ``added`` the moment at which the cool-down phase went in, as the readings count time.
    """
    tables = tables or load_tables()
    course = readings if isinstance(readings, Course) else read_course(readings, start)
    moment = None if added is None else course.moment(added)
    forecast = forecast_of(course, room_c)
    composition, case = None, None
    if formula is not None:
        composition = composer_for(tables).compose(formula)
        case = formula_arrays([composition], table_arrays_for(tables), today or dt.date.today())
    past: tuple[PastAddition, ...] = ()
    if composition and case:
        past = tuple(past_additions(composition, case, course, moment))
    hold_c, held_min, hold_remark = _held(course, formula)
    cold_c = room_c if room_c is not None else forecast.fit.room_c if forecast.fit else None
    mixing, why, hint = _mixing(composition, tables, course, moment, cold_c)
    return Cooldown(
        head=provenance_of(tables, formula, today),
        course=course,
        forecast=forecast,
        reach=tuple(reach_of(course, forecast, what, at) for what, at in limits_of(case)),
        gates=addition_windows(composition, case, course, forecast) if moment is None else (),
        mixing=mixing,
        mixing_because=why,
        mixing_hint=hint,
        added=past,
        held_min=held_min,
        hold_c=hold_c,
        remarks=(*forecast.remarks, *([hold_remark] if hold_remark else [])),
    )


def limits_of(case: FormulaArrays | None) -> list[tuple[str, float]]:
    """Temperatures to wait for, hottest first: limits of the formula's preservatives, then the
    general mark. [°C]"""
    marks: dict[tuple[str, float], None] = {}
    for i in case.system[0] if case is not None else ():
        for part in parts_of(case.reference.systems.rows[int(i)]) if case and i >= 0 else ():
            limit, cool = part.heat_limit_c, part.preferred_below_c
            if limit is not None:
                marks[f"{part.name}: heat limit", limit] = None
            if cool is not None and cool != limit:
                marks[f"{part.name}: does most good below", cool] = None
    marks["cool-down phase, customary", COOL_DOWN_C] = None
    return sorted(marks, key=lambda m: -m[1])


def _held(course: Course, formula: Formula | None) -> tuple[float, float, str]:
    """Mark of the heat hold, minutes above it, and what is to be said about it."""
    phases = formula.phases if formula else ()
    heated = [(p.heated_to_c, p) for p in phases if p.heated_to_c is not None]
    hold_c = HOLD_C
    if not heated:
        return hold_c, minutes_at_least(course, hold_c), ""
    hottest_c, phase = max(heated, key=lambda h: h[0])
    if hottest_c < HOLD_C + THERMOMETER_C:
        hold_c = hottest_c - THERMOMETER_C
    held_min = minutes_at_least(course, hold_c)
    if phase.held_min is None or held_min >= phase.held_min:
        return hold_c, held_min, ""
    remark = (
        f"The formula holds phase {phase.name} for {duration_text(phase.held_min)}; these readings "
        f"show {duration_text(held_min)} at {temperature_text(hold_c)} or more."
    )
    return hold_c, held_min, remark


# ---- the heat balance ----


def _mixing(
    composition: Composition | None,
    tables: Tables,
    course: Course,
    moment: float | None,
    cold_c: float | None,
) -> tuple[Mixing | None, str, Hint | None]:
    """The heat balance of the cold phases, or why there is none and what helps."""
    if composition is None:
        why = "No formula was given, so the masses are not known."
        return None, why, Hint.FORMULA
    if cold_c is None:
        return None, "The temperature of the cold phase is not known.", Hint.ROOM
    hot_c = course.temp_c[-1] if moment is None else course.at(moment)[0]
    mixing = mixing_of(composition, tables, hot_c, cold_c)
    if mixing is None:
        why = "The formula does not have both a heated phase and one that is not heated."
        return None, why, None
    because = (
        f"{join_and(mixing.cold_names)} at {temperature_text(cold_c)}, put in "
        f"{'now, ' if moment is None else ''}at {temperature_text(hot_c)}, brings the batch to "
        f"{temperature_text(mixing.after_c)}."
    )
    if mixing.cold_share > MUCH_COLD:
        because += (
            f" That is {number(100 * mixing.cold_share, 2)} % of the batch: add it slowly, it "
            "shocks the gel; and water that was not heated has not had the heat hold."
        )
    return mixing, because, None


def specific_heat(row: Ingredient | None, inci: str) -> float:
    """Specific heat of one substance. [kJ/(kg K)]"""
    if row is None:
        return _HEAT_BY_INCI.get(inci, _HEAT_OF_OTHERS)
    by_oil = _HEAT_BY_OIL.get(row.oil_class or "", _HEAT_OF_OTHERS)
    dry = _HEAT_BY_INCI.get(inci) or by_oil
    return row.water_fraction * WATER_KJ_KG_K + (1 - row.water_fraction) * dry


def phase_heat(composition: Composition, tables: Tables) -> list[tuple[float, float]]:
    """Per cent of the batch and specific heat of each phase. [%], [kJ/(kg K)]"""
    rows = {i.inci: i for i in (*tables.ingredients, *composition.formula.own_ingredients)}
    mass = [0.0] * len(composition.formula.phases)
    heat = list(mass)
    for portion in composition.portions:
        at = composition.lines[portion.line].phase
        mass[at] += portion.percent
        heat[at] += portion.percent * specific_heat(rows.get(portion.substance), portion.substance)
    return [(m, h / m if m > 0 else _HEAT_OF_OTHERS) for m, h in zip(mass, heat, strict=True)]


def mixing_of(
    composition: Composition, tables: Tables, hot_c: float, cold_c: float
) -> Mixing | None:
    """Temperature after all phases that are not heated went into those that are; ``None`` where one
    kind is absent. The batch is at ``hot_c`` by then, what goes in at ``cold_c``. [°C]"""
    phases = composition.formula.phases
    heats = phase_heat(composition, tables)
    weighed = [(p, m, c) for p, (m, c) in zip(phases, heats, strict=True) if m > 0]
    hot = [(m, c) for p, m, c in weighed if p.heated_to_c is not None]
    cold = [(m, c) for p, m, c in weighed if p.heated_to_c is None]
    if not hot or not cold:
        return None
    scale = (composition.batch_g or 100.0) / 100
    (hot_m, hot_k), (cold_m, cold_k) = (
        (sum(m for m, _ in side), sum(m * c for m, c in side) / sum(m for m, _ in side))
        for side in (hot, cold)
    )
    after = float(mixed_temperature_c([hot_m, cold_m], [hot_k, cold_k], [hot_c, cold_c]))
    names = tuple(p.name for p in phases if p.heated_to_c is None)
    return Mixing(hot_m * scale, cold_m * scale, hot_k, cold_k, hot_c, cold_c, after, names)
