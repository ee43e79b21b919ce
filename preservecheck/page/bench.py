"""What is typed at the bench, readings of the cooling batch and a titration, and what that tells:
the same results as ``cooldown`` and ``adjust`` give.

The fields are ``cool-KEY``, ``cool-I-KEY``, ``drop-KEY``, ``drop-I-KEY`` and ``sheet-KEY``; ``new``
in the place of a number is the reading that is being typed. Times are those of the maker's own
clock: nothing here knows what time it is.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from preservecheck.errors import Fault, PreservecheckError, ReadingsError, UnitError
from preservecheck.page.context import Submission, system_name
from preservecheck.page.draft import Fields, text_in
from preservecheck.page.hints import COLUMN_WORDS, FieldFault, worded
from preservecheck.units import batch_mass_g, plain_number, temperature_c, temperature_text

if TYPE_CHECKING:
    from preservecheck.bench.addition_window import AdditionWindow
    from preservecheck.bench.cooling import Cooldown
    from preservecheck.bench.titration import Titration
    from preservecheck.formula.cooling_readings import Course
    from preservecheck.reference.load import Tables
    from preservecheck.report.document import Document

# nobody reads a thermometer more often in one batch
MAX_READINGS = 500
# readings that a titration needs, as its reader says
LEAST_DROPS = 3
UNITS = {"°C": "c", "°F": "f"}
# what makes a row of each kind, without the day that a script notes beside the time
KEYS = {"cool": ("time", "temp"), "drop": ("grams", "ph")}
_NAME = re.compile(r"(cool|drop|sheet)-(?:(new|[0-9]{1,4})-)?([a-z_]+)")
_PLACE = re.compile(r"remove (cool|drop)-([0-9]{1,4})")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
# the field that a fault is about, where it is about no reading
_FIELDS = {
    "moment": "cool-added",
    "sample_grams": "drop-sample",
    "agent_percent": "drop-strength",
    "agent": "drop-agent",
    "grams_added": "drop-new-grams",
}


@dataclass
class Bench:
    """The texts of the fields."""

    cool: Fields = field(default_factory=dict)
    drop: Fields = field(default_factory=dict)
    sheet: Fields = field(default_factory=dict)
    # readings of each kind, and the one that is being typed
    rows: dict[str, list[Fields]] = field(default_factory=lambda: {"cool": [], "drop": []})
    fresh: dict[str, Fields] = field(default_factory=lambda: {"cool": {}, "drop": {}})

    @property
    def unit(self) -> str:
        """``°C`` or ``°F``."""
        return self.cool["unit"] if self.cool.get("unit") in UNITS else "°C"

    @property
    def moments(self) -> list[str]:
        """When each reading was taken: with its day where every one has one."""
        readings = self.rows["cool"]
        if all(_is_dated(r) for r in readings):
            return [f"{r['day']} {r['time'].strip()}" for r in readings]
        return [r.get("time", "") for r in readings]


def _is_dated(reading: Fields) -> bool:
    return bool(_DAY.fullmatch(reading.get("day", "")) and text_in(reading, "time"))


def bench_of(pairs: Iterable[tuple[str, str]]) -> Bench:
    """What the fields of a form hold of the bench; of a name that stands several times the last one
    counts."""
    bench = Bench()
    rows: dict[str, dict[int, Fields]] = {"cool": {}, "drop": {}}
    for name, value in pairs:
        found = _NAME.fullmatch(name)
        if found is None:
            continue
        part, at, key = found.groups()
        if at is None:
            getattr(bench, part)[key] = value
        elif part in rows:
            row = bench.fresh[part] if at == "new" else rows[part].setdefault(int(at), {})
            row[key] = value
    bench.rows = {part: [r[i] for i in sorted(r)][:MAX_READINGS] for part, r in rows.items()}
    return bench


def acted(bench: Bench, do: str) -> str:
    """Do what a button says in place: ``add``, ``remove cool-2``, ``clear cool`` or ``clear drop``;
    says where to go on typing."""
    if found := _PLACE.fullmatch(do):
        part, at = found[1], int(found[2])
        del bench.rows[part][at : at + 1]
        return _next_field(part)
    if do in ("clear cool", "clear drop"):
        part = do.removeprefix("clear ")
        bench.rows[part], bench.fresh[part] = [], {}
        if part == "cool":
            bench.cool.pop("added", None)
        return _next_field(part)
    return _taken_in(bench) if do == "add" else ""


def _taken_in(bench: Bench) -> str:
    """Move what is typed for a new reading into its list."""
    went = ""
    for part, fresh in bench.fresh.items():
        # a time that stands there by itself is no reading, nor are the grams that are proposed
        if not fresh.get(KEYS[part][1], "").strip() or len(bench.rows[part]) >= MAX_READINGS:
            continue
        row = {k: v for k in (*KEYS[part], "day") if (v := text_in(fresh, k))}
        bench.rows[part].append(row)
        fresh.clear()
        went = went or _next_field(part)
    return went


def _next_field(part: str) -> str:
    return f"{part}-new-{'temp' if part == 'cool' else 'grams'}"


def in_order(bench: Bench) -> None:
    """Put readings with a day into the order of time, in place."""
    if all(_is_dated(r) for r in bench.rows["cool"]):
        bench.rows["cool"].sort(key=lambda r: (r["day"], r["time"]))


def faults_of(error: PreservecheckError, part: str) -> list[FieldFault]:
    """Faults of readings, each with its field; ``part`` is ``cool`` or ``drop``, as these begin."""
    return [_field_fault(fault, part) for fault in error.faults]


def _field_fault(fault: Fault, part: str) -> FieldFault:
    place, target = fault.place, None
    match fault.path:
        case (int(at), *column) if part == "cool":
            target = f"cool-{at}-{'temp' if column == ['temperature'] else 'time'}"
        case (int(row), *column):  # counted from 1, as rows of a file are
            target = f"drop-{row - 1}-{'ph' if column == ['ph'] else 'grams'}"
            place = f"reading {row}"
        case (str(key), *_):
            target = _FIELDS.get(key)
    name = COLUMN_WORDS.get(fault.name, fault.name)
    return FieldFault(worded(fault, place=place, name=name), target)


# ---- cooling -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class WindowCard:
    """One preservative that is still to go in, with the minutes that a script counts down."""

    window: AdditionWindow
    composition: str
    kind: str
    word: str
    said: str
    more: str = ""
    minutes: dict[str, float | None] | None = None

    @property
    def below(self) -> str:
        """The reading at which it may go in."""
        return temperature_text(self.window.below_c)


@dataclass(frozen=True)
class Cooling:
    """When each preservative may go in, or what is wrong with what was typed."""

    faults: tuple[FieldFault, ...] = ()
    windows: tuple[WindowCard, ...] = ()
    document: Document | None = None


def cooling(bench: Bench, sent: Submission) -> Cooling:
    """When each preservative may go in."""
    from preservecheck.arrays.systems import parts_of
    from preservecheck.report.cooling import document

    faults: list[FieldFault] = []
    result = _cooldown(bench, sent, faults)
    # of readings that cannot be used nothing is told, but the marks to wait for are still there
    windows = result.gates if result else _windows_alone(sent)
    systems = sent.site.tables.systems
    named = {part.name: system_name(s) for s in systems for part in parts_of(s)}
    course = result.course if result else None
    cards = tuple(_card(w, named.get(w.name, ""), course) for w in windows)
    return Cooling(tuple(faults), cards, document(result) if result else None)


def _cooldown(bench: Bench, sent: Submission, faults: list[FieldFault]) -> Cooldown | None:
    """What the readings tell; faults are noted."""
    from preservecheck.bench.cooling import cooldown
    from preservecheck.formula.cooling_readings import listed_course

    typed = _with_unit(bench.cool.get("room", ""), bench.unit)
    room_c = _parsed(temperature_c, typed, "the room", "cool-room", faults)
    readings = bench.rows["cool"]
    if not readings:
        return None
    temps = (r.get("temp", "") for r in readings)
    rows = [(f"reading {i}", *r) for i, r in enumerate(zip(bench.moments, temps, strict=True), 1)]
    site = sent.site
    try:
        course = listed_course(rows, UNITS[bench.unit])
        added = _added(bench, course, faults)
        result = cooldown(
            course, sent.formula, site.tables, room_c=room_c, added=added, today=site.today
        )
    except PreservecheckError as error:
        faults += faults_of(error, "cool")
        return None
    if added:
        return result
    # the formula's plan is no addition: what nobody put in is still to come
    return replace(result, added=tuple(a for a in result.added if not a.by_formula))


def _added(bench: Bench, course: Course, faults: list[FieldFault]) -> str | None:
    """When it went in, where the readings go that far."""
    from preservecheck.formula.cooling_readings import OutsideReadingsError

    typed = text_in(bench.cool, "added")
    if not typed:
        return None
    try:
        course.at(course.moment(typed))
    except ReadingsError as error:
        outside = isinstance(error, OutsideReadingsError)
        more = " Take a reading now, and what it met is judged." if outside else ""
        faults += [
            FieldFault(f"{worded(fault, place='when it went in')}.{more}", "cool-added")
            for fault in error.faults
        ]
        return None
    return typed


def _windows_alone(sent: Submission) -> tuple[AdditionWindow, ...]:
    """The temperatures to wait for, without readings."""
    from preservecheck.assess.findings import arrays_of
    from preservecheck.bench.addition_window import addition_windows

    if sent.formula is None:
        return addition_windows(None, None)
    case = arrays_of(sent.formula, sent.site.tables, sent.site.today or dt.date.today())
    return addition_windows(case.compositions[0], case)


def _card(window: AdditionWindow, composition: str, course: Course | None) -> WindowCard:
    from preservecheck.report.cooling import window_words

    reach, minutes = window.reach, None
    if reach is None or course is None or reach.minutes is None:
        kind, word = "unknown", "no time yet"
    elif reach.measured:
        kind, word = "pass", "may go in"
    else:
        kind, word = "warn", "not yet"
        ends = {"best": reach.minutes, "low": reach.minutes_low, "high": reach.minutes_high}
        last = course.time_min[-1]
        minutes = {end: None if at is None else at - last for end, at in ends.items()}
    said, more = window_words(window, course), reach.because if reach else ""
    return WindowCard(window, composition, kind, word, said, more, minutes)


# ---- pH ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Adjusting:
    """How much acid or base the batch needs, or what is wrong with what was typed."""

    faults: tuple[FieldFault, ...] = ()
    document: Document | None = None
    cautions: tuple[str, ...] = ()
    progress: str = ""  # of a titration that is under way


def adjusting(bench: Bench, sent: Submission) -> Adjusting:
    """How much acid or base the batch needs."""
    from preservecheck.bench.adjust import adjust
    from preservecheck.report.adjust import document

    agent, tables = bench.drop.get("agent", ""), sent.site.tables
    told = Adjusting(cautions=cautions_for(agent, tables), progress=_progress(bench))
    faults: list[FieldFault] = []
    target = _number(bench, "target", "The pH to reach", 0, 14, faults)
    strength = _number(bench, "strength", "The strength", 0.01, 100, faults)
    size = batch_of(bench, faults)
    titration = _titration(bench, faults)
    if sent.formula is None or faults:
        return replace(told, faults=tuple(faults))
    try:
        result = adjust(
            sent.formula,
            tables,
            titration=titration,
            target_ph=target,
            agent=agent or None,
            agent_percent=strength,
            batch_g=size,
            today=sent.site.today,
        )
    except PreservecheckError as error:
        return replace(told, faults=tuple(faults_of(error, "drop")))
    cautions = cautions_for(result.agent or agent, tables)
    rest = tuple(text for text in cautions if text not in result.warnings)
    return replace(told, document=document(result), cautions=rest)


def _progress(bench: Bench) -> str:
    """How many readings of a titration are still missing."""
    drops = len(bench.rows["drop"])
    if not 0 < drops < LEAST_DROPS:
        return ""
    return (
        f"{drops} of at least {LEAST_DROPS} readings: type the pH before anything is added, then "
        "after each addition, until it is past the pH to reach."
    )


def _titration(bench: Bench, faults: list[FieldFault]) -> Titration | None:
    """The titration, where it has readings enough; faults are noted once for each field."""
    from preservecheck.bench.titration import typed_titration

    drops, drop = bench.rows["drop"], bench.drop
    if len(drops) < LEAST_DROPS:
        return None
    try:
        return typed_titration(
            [(r.get("grams", ""), r.get("ph", "")) for r in drops],
            sample=drop.get("sample", ""),
            agent=drop.get("agent", ""),
            percent=drop.get("strength", ""),
        )
    except ReadingsError as error:
        noted = {fault.field for fault in faults if fault.field is not None}
        faults += [f for f in faults_of(error, "drop") if f.field not in noted]
        return None


def cautions_for(agent: str, tables: Tables) -> tuple[str, ...]:
    """How to handle acids and bases: those for every one, and those for the agent; without one, for
    all of them."""
    wanted = {f"inci:{a}" for a in ([agent] if agent else agents_of(tables))}
    rows = [r for r in tables.cautions if r.about == "handling" and not r.and_when]
    special = [r.text for r in rows if wanted & set(r.when)]
    return tuple([*special, *(r.text for r in rows if r.id == "concentrates")])


def agents_of(tables: Tables) -> dict[str, str]:
    """Acids and bases to choose from, with their kind; those without constants are left out."""
    from preservecheck.bench.buffers import ionic_of

    agents = [
        (i.inci, i.role)
        for i in tables.ingredients
        if i.role in ("acid", "base") and ionic_of(i, None, i.inci)
    ]
    return dict(sorted(agents, key=lambda pair: (pair[1], pair[0])))


# ---- single fields -------------------------------------------------------------------------------


def _number(
    bench: Bench, key: str, name: str, low: float, high: float, faults: list[FieldFault]
) -> float | None:
    """A number that is typed for the titration, or ``None``."""

    def parse(typed: str) -> float:
        value = plain_number(typed)
        if low <= value <= high:
            return value
        raise UnitError(Fault("", f"give a number from {low:g} to {high:g}", value=typed))

    typed = text_in(bench.drop, key).removesuffix("%")
    return _parsed(parse, typed, name, f"drop-{key}", faults)


def batch_of(bench: Bench, faults: list[FieldFault]) -> float | None:
    """The size of this batch, where another one than the formula's is typed. [g]"""
    typed = _with_unit(bench.sheet.get("batch", ""), bench.sheet.get("batch_unit") or "g")
    return _parsed(batch_mass_g, typed, "the size of this batch", "sheet-batch", faults)


def _with_unit(typed: str, unit: str) -> str:
    """A quantity as typed; a bare number is in the unit that stands beside."""
    try:
        plain_number(typed.strip())
    except UnitError:
        return typed
    return f"{typed} {unit}"


def _parsed(
    parse: Callable[[str], float], typed: str, name: str, target: str, faults: list[FieldFault]
) -> float | None:
    """What is typed, or ``None``; a fault is noted for its field."""
    text = typed.strip()
    try:
        return parse(text) if text else None
    except UnitError as error:
        faults.append(FieldFault(worded(error.faults[0], name=name), target))
        return None
