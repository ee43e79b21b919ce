"""The batch sheet: what to weigh, in which order, how hot, and when the preservative may go in.

Grams are rounded to the step of the scale. The line that fills up to the whole takes what the
rounding of the others leaves, so that the batch comes out at its weight.
"""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Iterable, Sequence
from decimal import ROUND_HALF_UP, Decimal

from pydantic import BaseModel, ConfigDict, Field

from preservecheck.arrays.formulas import FormulaArrays, formula_arrays
from preservecheck.assess import advice
from preservecheck.assess.findings import composer_for, table_arrays_for
from preservecheck.bench.addition_window import Mark, marks_of
from preservecheck.bench.ph_target import window_of
from preservecheck.checks import with_lever
from preservecheck.errors import FormulaError, Hint
from preservecheck.formula.amounts import line_percents
from preservecheck.formula.compose import Composition
from preservecheck.formula.edit import lines_of, rescaled
from preservecheck.formula.load import load_formula
from preservecheck.formula.model import Formula, Phase
from preservecheck.formula.names import folded
from preservecheck.plan.review import Report, review
from preservecheck.reference.load import Tables, load_tables
from preservecheck.text import number, sentence
from preservecheck.units import duration_text, temperature_text


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True)


class SheetLine(_Part):
    """One material to weigh."""

    name: str
    percent: float
    grams: float  # exact
    weigh_g: float  # on the scale's step
    error_percent: float
    preservative: bool
    rest: bool
    note: str | None
    warning: str | None


class SheetPhase(_Part):
    """Materials that go in together."""

    name: str
    steps: tuple[str, ...]
    waits: tuple[bool, ...] = Field(exclude=True)  # whether a step waits for the thermometer
    warning: str | None
    reads: tuple[str, ...]  # what to read and write down
    lines: tuple[SheetLine, ...]
    grams: float


class Fetched(_Part):
    """A material with its total, to be fetched once."""

    name: str
    grams: float
    phases: str


class BatchSheet(_Part):
    """A batch sheet."""

    name: str
    program: str
    date: dt.date
    formula_sha256: str
    tables_sha256: str
    batch_g: float
    batch_number: str | None
    made_g: float  # what the rounded lines come to
    scale_step_g: float | None
    verdict: str
    serious: bool
    warnings: tuple[str, ...]
    fetch: tuple[Fetched, ...]
    phases: tuple[SheetPhase, ...]
    ph_steps: tuple[str, ...]
    handling: tuple[str, ...]
    before: tuple[str, ...]
    after: tuple[str, ...]


# a pH reading is taken at room temperature; common practice
PH_READING_AT = "20 to 25 °C (68 to 77 °F)"
# common practice, no source
BEFORE = (
    "Bench, vessels and tools washed, rinsed, dry",
    "Vessels and tools wiped with 60-70 % alcohol, dry",
    "Hands washed; gloves, goggles, apron, hair tied",
    "Scale checked with a known weight",
    "Thermometer checked",
    "pH meter calibrated today",
)
AFTER = (
    "Filled into clean, dry packs",
    "Sample of this batch kept and dated",
    "Packs labelled with batch number and date",
    "Bench and tools cleaned",
)


def batch_sheet(
    formula: Formula | str | os.PathLike[str],
    tables: Tables | None = None,
    *,
    batch_g: float | None = None,
    batch_number: str | None = None,
    today: dt.date | None = None,
) -> BatchSheet:
    """The batch sheet of a formula or of its file, for a batch of another size than its own if
    wished [g]; a blank is left for a number that is not known.

    A ``FormulaError`` where the file cannot be used, or nobody says how large the batch is.
    """
    tables = tables or load_tables()
    today = today or dt.date.today()
    if not isinstance(formula, Formula):
        formula = load_formula(formula, tables, today=today)
    formula = rescaled(formula, _batch_g(formula, batch_g))
    report = review(formula, tables, today=today)
    composition = composer_for(tables).compose(formula)
    case = formula_arrays([composition], table_arrays_for(tables), today)
    phases = tuple(_phases(composition, case, report))
    lines = [line for phase in phases for line in phase.lines]
    batch = line_percents(formula)[1]
    assert batch is not None
    return BatchSheet(
        name=formula.product.name,
        program=report.program,
        date=today,
        formula_sha256=formula.sha256,
        tables_sha256=report.tables_sha256,
        batch_g=batch,
        batch_number=batch_number,
        made_g=_total(line.weigh_g for line in lines),
        scale_step_g=formula.product.scale_step_g,
        verdict=report.verdict,
        serious=report.serious,
        warnings=tuple(_warnings(report)),
        fetch=tuple(_fetch(phases)),
        phases=phases,
        ph_steps=tuple(_ph_steps(report)),
        handling=tuple(_handling(case)),
        before=BEFORE,
        after=AFTER,
    )


def _warnings(report: Report) -> Iterable[str]:
    """Serious findings, those with the same remedy as one."""
    groups: dict[tuple[str, str | None], list[str]] = {}
    for f in report.checks:
        if f.serious:
            groups.setdefault((f.id, f.do), []).append(f"{f.id}, {f.about}: {f.because}")
    for said in groups.values():
        yield said[0] + (f" The same holds for {len(said) - 1} more." if len(said) > 1 else "")


def _batch_g(formula: Formula, batch_g: float | None) -> float:
    """Size of the batch: as asked, else the formula's own. [g]"""
    size = batch_g if batch_g is not None else line_percents(formula)[1]
    if size is None:
        raise FormulaError(
            "the size of the batch is not given",
            "write it into the formula (batch)",
            where=formula.path or formula.product.name,
            path=("product", "batch"),
            hint=Hint.BATCH,
        )
    return size


def rounded(grams: float, step_g: float | None) -> float:
    """The nearest weight that the scale shows; without a step, to the hundredth of a gram.

    Examples
    --------
    >>> rounded(3.97, 0.1)
    4.0
    >>> rounded(0.25, 0.1)
    0.3
    """
    step = Decimal(repr(step_g if step_g else 0.01))
    # a weight that lies on the edge but for the noise of binary numbers counts as on the edge
    steps = (Decimal(repr(round(grams, 9))) / step).quantize(Decimal(1), ROUND_HALF_UP)
    return float(steps * step)


def _total(grams: Iterable[float]) -> float:
    return float(sum(Decimal(repr(g)) for g in grams))


def _phases(composition: Composition, case: FormulaArrays, report: Report) -> Iterable[SheetPhase]:
    formula = composition.formula
    step = formula.product.scale_step_g
    weigh = [rounded(w.grams or 0.0, step) for w in composition.lines]
    rest = next((i for i, w in enumerate(composition.lines) if w.rest), None)
    if rest is not None:
        others = _total(g for i, g in enumerate(weigh) if i != rest)
        weigh[rest] = rounded(_total(w.grams or 0.0 for w in composition.lines) - others, step)
    given = lines_of(formula)
    preserving = {a.line for a in composition.additions}
    known = [m for m in marks_of(composition, case) if m.limit_c is not None]
    for at, phase in enumerate(formula.phases):
        lines = []
        for i, w in enumerate(composition.lines):
            if w.phase == at:
                exact = w.grams or 0.0
                error = 100 * (weigh[i] - exact) / exact if exact > 0 else 0.0
                lines.append(
                    SheetLine(
                        name=w.name,
                        percent=w.percent,
                        grams=exact,
                        weigh_g=weigh[i],
                        error_percent=error,
                        preservative=i in preserving,
                        rest=w.rest,
                        note=given[i].note,
                        warning=_too_coarse(exact, step, i in preserving),
                    )
                )
        marks = [m for m in known if m.phase == at]
        waits = [_wait(phase, mark) for mark in marks]
        steps = [*_steps(phase, bool(marks)), *waits]
        yield SheetPhase(
            name=phase.name,
            steps=tuple(steps),
            waits=tuple(step in waits for step in steps),
            warning=_heat_warning(report, marks),
            reads=tuple(_reads(phase, marks)),
            lines=tuple(lines),
            grams=_total(line.weigh_g for line in lines),
        )


def _fetch(phases: Sequence[SheetPhase]) -> Iterable[Fetched]:
    """Every material once, in the order in which it is first needed."""
    found: dict[str, list[tuple[SheetPhase, SheetLine]]] = {}
    for phase in phases:
        for line in phase.lines:
            found.setdefault(folded(line.name), []).append((phase, line))
    for uses in found.values():
        names = dict.fromkeys(phase.name for phase, _ in uses)
        yield Fetched(
            name=uses[0][1].name,
            grams=_total(line.weigh_g for _, line in uses),
            phases=", ".join(names),
        )


# ---- what it says beside the weights ----


def _too_coarse(exact: float, step: float | None, preservative: bool) -> str | None:
    """That the scale cannot weigh a line; of what is no preservative only where it is far off."""
    if exact <= 0 or step is None:
        return None
    error = 100 * step / exact
    coarse, serious = next(check.lines for check in with_lever("scale") if check.lines)
    if error <= (coarse if preservative else serious):
        return None
    word = "cannot weigh this" if error > serious else "is coarse for this"
    return f"the scale {word}: its step is {number(error, 2)} % of {number(exact, 4)} g"


def _steps(phase: Phase, preserved: bool) -> Iterable[str]:
    """What to do in a phase, the wait for its preservatives apart."""
    if phase.heated_to_c is not None:
        hold = f", hold {duration_text(phase.held_min)}" if phase.held_min else ""
        yield f"Heat to {temperature_text(phase.heated_to_c)}{hold}"
    if phase.added_at_c is not None and not preserved:
        yield f"Add when the batch is at {temperature_text(phase.added_at_c)} or cooler"


def _wait(phase: Phase, mark: Mark) -> str:
    """By which reading a preservative may go in."""
    planned = phase.added_at_c if phase.added_at_c is not None else phase.heated_to_c
    plan = f"; planned {temperature_text(planned)}" if planned is not None else ""
    limit = ""
    if mark.limit_c is not None and mark.limit_c != mark.below_c:
        limit = f" (its limit is {temperature_text(mark.limit_c)})"
    return (
        f"{mark.name}: in only when the thermometer shows {temperature_text(mark.below_c)} or "
        f"less{limit}{plan}"
    )


def _reads(phase: Phase, marks: Sequence[Mark]) -> Iterable[str]:
    """What to read and write down in a phase."""
    if phase.heated_to_c is not None:
        yield from ("hottest °C", "held from", "to")
    if phase.added_at_c is not None or marks:
        yield from ("batch at °C", "clock")


def _heat_warning(report: Report, marks: Sequence[Mark]) -> str | None:
    """What speaks against the heat that a preservative of a phase meets."""
    by_heat = {check.id for check in with_lever("temperature")}
    names = {mark.name for mark in marks}
    for f in report.checks:
        if f.id in by_heat and f.verdict != "pass" and f.parts[0] in names:
            return f"{f.because} {f.do or ''}".strip()
    return None


def _ph_steps(report: Report) -> Iterable[str]:
    """The window for the pH and the aim in it, as the plan has them, and how to get there."""
    tolerance = report.formula.measured.ph_tolerance if report.formula else 0.0
    found = window_of(report.plan) if report.plan else None
    if found is None or found.aim is None or found.span is None:
        yield f"{sentence(found.because if found else 'no pH is known')} Write the reading down."
    else:
        low, high = map(number, found.span)
        yield (
            f"Wanted: pH {low} to {high} (aim for {number(found.aim.value)}: the meter is good to "
            f"± {number(tolerance)})."
        )
    yield f"Cool a sample to {PH_READING_AT}, read the pH of the finished batch, write it down."
    yield (
        "Outside? Dissolve the acid or base first, add a little, stir five minutes, read again. "
        "How much: titrate a weighed sample and have it worked out. Write down every step."
    )


def _handling(case: FormulaArrays) -> Iterable[str]:
    """How to handle what is on this sheet: the rows about these materials first, then those for
    every batch."""
    keys = advice.keys_of(case)
    rows = [
        r
        for r in case.reference.tables.cautions
        if r.about == "handling"
        and not keys.isdisjoint(r.when)
        and (not r.and_when or not keys.isdisjoint(r.and_when))
    ]
    yield from (r.text for r in sorted(rows, key=lambda r: "always" in r.when))
