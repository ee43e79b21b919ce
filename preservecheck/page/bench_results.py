"""What the readings of the bench tell, for the page: the same results as ``cooldown`` and
``adjust`` give."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from preservecheck.errors import PreservecheckError, ReadingsError, UnitError
from preservecheck.page.bench_form import UNITS, Bench
from preservecheck.page.bench_words import faults_of, on_page, sections_of
from preservecheck.page.hints import FieldFault, worded
from preservecheck.page.svg import Drawing, drawing
from preservecheck.page.words import system_name
from preservecheck.report.document import Document, Paragraph
from preservecheck.units import batch_mass_g, plain_number, temperature_c, temperature_text

if TYPE_CHECKING:
    from preservecheck.bench.addition_window import AdditionWindow
    from preservecheck.bench.adjust import Adjustment
    from preservecheck.bench.cooling import Cooldown
    from preservecheck.formula.cooling_readings import Course
    from preservecheck.formula.model import Formula
    from preservecheck.reference.load import Tables
    from preservecheck.report.plots.chart import Chart

# readings that a titration needs, as its reader says
LEAST_DROPS = 3


@dataclass(frozen=True)
class Told:
    """A result, or what is wrong with what was typed."""

    faults: tuple[FieldFault, ...] = ()
    gates: tuple[dict[str, Any], ...] = ()
    lead: tuple[str, ...] = ()
    sections: tuple[dict[str, Any], ...] = ()
    plot: Drawing | None = None
    cautions: tuple[str, ...] = ()
    hint: str = ""
    settled: bool = False


def _plot(chart: Chart | None) -> Drawing | None:
    """A chart in the words of the page."""
    return None if chart is None else drawing(chart, text=on_page(chart.text))


def _lead(page: Document) -> tuple[str, ...]:
    """What stands above the sections."""
    return tuple(on_page(b.text) for b in page.lead if isinstance(b, Paragraph) and b.text)


# ---- cooling -------------------------------------------------------------------------------------


def cooling(bench: Bench, formula: Formula | None, tables: Tables, today: dt.date | None) -> Told:
    """When each preservative may go in."""
    from preservecheck.arrays.formulas import formula_arrays
    from preservecheck.assess.review import composer_for, table_arrays_for
    from preservecheck.bench.addition_window import addition_windows
    from preservecheck.report.cooling import document
    from preservecheck.report.plots.readings import cooling as chart

    found, is_in, faults = _cooled(bench, formula, tables, today)
    if found is None:
        # of readings that cannot be used nothing is told, but the marks to wait for are still there
        composition = composer_for(tables).compose(formula) if formula else None
        case = (
            formula_arrays([composition], table_arrays_for(tables), today or dt.date.today())
            if composition
            else None
        )
        return Told(
            tuple(faults),
            tuple(_gate(g, None, tables) for g in addition_windows(composition, case)),
        )
    if not is_in:
        # the formula's plan is no addition: what nobody put in is still to come
        found = replace(found, added=tuple(a for a in found.added if not a.by_formula))
    page = document(found)
    return Told(
        tuple(faults),
        tuple(_gate(g, found, tables) for g in found.gates),
        _lead(page),
        tuple(sections_of(page)),
        _plot(chart(found)),
    )


def _cooled(
    bench: Bench, formula: Formula | None, tables: Tables, today: dt.date | None
) -> tuple[Cooldown | None, bool, list[FieldFault]]:
    """What the readings tell, and whether the cool-down phase is in by now."""
    from preservecheck.bench.cooling import cooldown
    from preservecheck.formula.cooling_readings import listed_course

    faults: list[FieldFault] = []
    room_c = _room(bench, faults)
    if not bench.readings:
        return None, False, faults
    temps = [r.get("temp", "") for r in bench.readings]
    rows = [
        (f"reading {i}", *pair) for i, pair in enumerate(zip(bench.moments, temps, strict=True), 1)
    ]
    try:
        course = listed_course(rows, UNITS[bench.unit])
    except ReadingsError as error:
        return None, False, [*faults, *faults_of(error.faults, "cool")]
    added = _added(bench, course, faults)
    try:
        return (
            cooldown(course, formula, tables, room_c=room_c, added=added, today=today),
            bool(added),
            faults,
        )
    except PreservecheckError as error:
        return None, False, [*faults, *faults_of(error.faults, "cool")]


def _room(bench: Bench, faults: list[FieldFault]) -> float | None:
    """The room as typed. [°C]"""
    written = bench.cool.get("room", "").strip()
    if not written:
        return None
    try:
        plain_number(written)
    except UnitError:
        text = written
    else:
        text = f"{written} {bench.unit}"
    try:
        return temperature_c(text)
    except UnitError as error:
        faults.append(FieldFault(worded(error.faults[0], name="the room"), "cool-room"))
        return None


def _added(bench: Bench, course: Course, faults: list[FieldFault]) -> str | None:
    """When it went in, where the readings go that far."""
    from preservecheck.formula.cooling_readings import OutsideReadingsError

    written = bench.cool.get("added", "").strip()
    if not written:
        return None
    try:
        course.at(course.moment(written))
    except ReadingsError as error:
        outside = isinstance(error, OutsideReadingsError)
        hint = " Take a reading now, and what it met is judged." if outside else ""
        faults += [
            FieldFault(f"{worded(f, place='when it went in')}.{hint}", "cool-added")
            for f in error.faults
        ]
        return None
    return written


def _gate(gate: AdditionWindow, found: Cooldown | None, tables: Tables) -> dict[str, Any]:
    """One preservative in words, with the minutes that a script counts down."""
    from preservecheck.report.cooling import window_words

    reach = gate.reach
    view: dict[str, Any] = {
        "name": gate.name,
        "phase": gate.phase,
        "parts": next(
            (system_name(s) for s in tables.systems if gate.name.partition(" (")[0] == s.id), ""
        ),
        "below": temperature_text(gate.below_c),
        "because": gate.because,
        "kind": "unknown",
        "word": "no time yet",
        "said": window_words(gate, found.course if found else None),
        "more": "",
        "minutes": None,
    }
    if reach is None or found is None:
        return view
    last = found.course.time_min[-1]
    if reach.measured:
        view |= {"kind": "pass", "word": "may go in", "more": reach.because}
    elif reach.minutes is None:
        view |= {"more": on_page(reach.because)}
    else:
        low, high = reach.minutes_low, reach.minutes_high
        assert low is not None
        view |= {
            "kind": "warn",
            "word": "not yet",
            "more": on_page(reach.because),
            "minutes": {
                "best": reach.minutes - last,
                "low": low - last,
                "high": None if high is None else high - last,
            },
        }
    return view


# ---- pH ------------------------------------------------------------------------------------------


def adjusting(bench: Bench, formula: Formula | None, tables: Tables, today: dt.date | None) -> Told:
    """How much acid or base the batch needs."""
    from preservecheck.bench.adjust import adjust
    from preservecheck.bench.titration import typed_titration

    said = bench.drop
    cautions = cautions_for(said.get("agent", ""), tables)
    faults: list[FieldFault] = []
    target = _number(said, "target", "The pH to reach", 0, 14, faults)
    strength = _number(said, "strength", "The strength", 0.01, 100, faults)
    size = batch_of(bench, faults)
    titration = None
    few = len(bench.drops) < LEAST_DROPS
    if bench.drops and not few:
        rows = [(r.get("grams", ""), r.get("ph", "")) for r in bench.drops]
        try:
            titration = typed_titration(
                rows,
                sample=said.get("sample", ""),
                agent=said.get("agent", ""),
                percent=said.get("strength", ""),
            )
        except ReadingsError as error:
            known = {f.field for f in faults}
            faults += [
                f
                for f in faults_of(error.faults, "drop")
                if f.field is None or f.field not in known
            ]
    hint = ""
    if bench.drops and few:
        hint = (
            f"{len(bench.drops)} of at least {LEAST_DROPS} readings: type the pH before anything "
            "is added, then after "
            "each addition, until it is past the pH to reach."
        )
    if formula is None or faults:
        return Told(tuple(faults), cautions=cautions, hint=hint)
    try:
        found = adjust(
            formula,
            tables,
            titration=titration,
            target_ph=target,
            agent=said.get("agent") or None,
            agent_percent=strength,
            batch_g=size,
            today=today,
        )
    except PreservecheckError as error:
        return Told(tuple(faults_of(error.faults, "drop")), cautions=cautions, hint=hint)
    return _adjusted(found, cautions, hint, tables)


def _adjusted(found: Adjustment, cautions: tuple[str, ...], hint: str, tables: Tables) -> Told:
    from preservecheck.report.adjust import document
    from preservecheck.report.plots.readings import titration

    page = document(found)
    warned = set(found.warnings)
    own = cautions_for(found.agent or "", tables) if found.agent else cautions
    return Told(
        lead=_lead(page),
        sections=tuple(sections_of(page)),
        plot=_plot(titration(found)),
        cautions=tuple(c for c in own if c not in warned),
        hint=hint,
        settled=found.complete,
    )


def cautions_for(agent: str, tables: Tables) -> tuple[str, ...]:
    """How to handle acids and bases: those for every one, and those for the agent; without one, for
    all of them."""
    wanted = {f"inci:{a}" for a, _ in agents_of(tables)} if not agent else {f"inci:{agent}"}
    rows = [r for r in tables.cautions if r.about == "handling" and not r.and_when]
    special = [r.text for r in rows if wanted & set(r.when)]
    return tuple([*special, *(r.text for r in rows if r.id == "concentrates")])


def agents_of(tables: Tables) -> list[tuple[str, str]]:
    """Acids and bases to choose from, with their kind; those without constants are left out."""
    from preservecheck.bench.buffers import ionic_of

    found = [
        (i.inci, i.role)
        for i in tables.ingredients
        if i.role in ("acid", "base") and ionic_of(i, None, i.inci)
    ]
    return sorted(found, key=lambda pair: (pair[1], pair[0]))


def _number(
    said: dict[str, str], key: str, name: str, low: float, high: float, faults: list[FieldFault]
) -> float | None:
    """A number that is typed, or ``None``."""
    written = said.get(key, "").strip().removesuffix("%").strip()
    if not written:
        return None
    try:
        value = plain_number(written)
    except UnitError as error:
        faults.append(FieldFault(worded(error.faults[0], name=name), f"drop-{key}"))
        return None
    if low <= value <= high:
        return value
    faults.append(
        FieldFault(f"{name} is {value:g}; give a number from {low:g} to {high:g}", f"drop-{key}")
    )
    return None


def batch_of(bench: Bench, faults: list[FieldFault]) -> float | None:
    """The size of this batch, where another one than the formula's is typed. [g]"""
    written = bench.sheet.get("batch", "").strip()
    if not written:
        return None
    try:
        plain_number(written)
    except UnitError:
        text = written
    else:
        text = f"{written} {bench.sheet.get('batch_unit') or 'g'}"
    try:
        return batch_mass_g(text)
    except UnitError as error:
        faults.append(
            FieldFault(worded(error.faults[0], name="the size of this batch"), "sheet-batch")
        )
        return None
