"""What another pH or another dose would do: the same formula with one reading or one line changed,
judged beside it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from preservecheck.assess.findings import composer_for
from preservecheck.formula.amounts import line_percents
from preservecheck.formula.edit import at_ph, filled, lines_of, with_percents
from preservecheck.formula.model import Formula
from preservecheck.plan.review import review
from preservecheck.report import words

if TYPE_CHECKING:
    from preservecheck.plan.review import Report
    from preservecheck.reference.load import Tables
    from preservecheck.report.document import Verdict
    from preservecheck.verdict import Finding

# where a slider stands while no pH is measured
MIDDLE_PH = 5.0
PH_SPAN = (2.0, 10.0)
PH_STEP, DOSE_STEP = 0.05, 0.01
DOSE = "try-dose-"  # begins the name of a slider; the number of its line follows
# the slider goes on beyond what suppliers allow by this factor, so that too much can be seen
BEYOND = 1.5


@dataclass(frozen=True)
class Slider:
    """One thing to try, with the value that it has now."""

    name: str  # of the field
    label: str
    low: float
    high: float
    step: float
    now: float
    said: str  # what is now, in words
    unit: str


@dataclass(frozen=True)
class Change:
    """A finding that would come out otherwise."""

    check: str
    about: str
    now: str
    then: str
    because: str


@dataclass(frozen=True)
class Tried:
    """The verdict with what is tried, and the findings that change."""

    what: str
    verdict: Verdict
    changes: tuple[Change, ...]
    closer: tuple[Change, ...]  # the same verdict by other figures


def sliders(formula: Formula, tables: Tables) -> list[Slider]:
    """The pH, and the dose of each line that is a preservative system."""
    ph = formula.measured.ph
    said = "not measured" if ph is None else f"measured {ph:g}"
    low, high = PH_SPAN if ph is None else (min(PH_SPAN[0], ph), max(PH_SPAN[1], ph))
    out = [Slider("try-ph", "pH", low, high, PH_STEP, MIDDLE_PH if ph is None else ph, said, "")]
    systems = {s.id: s for s in tables.systems}
    percents, _ = line_percents(formula)
    for at, (line, now) in enumerate(zip(lines_of(formula), percents, strict=True)):
        if line.kind == "preservative" and line.name in systems:
            most = round(max(systems[line.name].usage_max_percent * BEYOND, now), 2)
            name, label = f"{DOSE}{at}", f"Dose of {line.name}"
            current = (round(now, 6), f"now {now:g} %", "%")
            out.append(Slider(name, label, 0.0, most, DOSE_STEP, *current))
    return out


def tried(report: Report, wanted: Mapping[str, float], tables: Tables) -> Tried | None:
    """The formula of a report with what the sliders say, each by the name of its field; ``None``
    where none was moved."""
    assert report.formula is not None
    formula = report.formula
    moved = {
        s.name: wanted[s.name]
        for s in sliders(formula, tables)
        if _differs(wanted.get(s.name), s, formula)
    }
    if not moved:
        return None
    changed, what = formula, []
    ph = moved.pop("try-ph", None)
    if ph is not None:
        changed = at_ph(changed, ph)
        what.append(f"pH {ph:g}")
    doses = {int(name.removeprefix(DOSE)): dose for name, dose in moved.items()}
    if doses:
        lines = lines_of(formula)
        what += [f"{lines[at].name} {dose:g} %" for at, dose in doses.items()]
        changed = filled(composer_for(tables).compose(changed), doses.keys())
        changed = with_percents(changed, doses)
    other = review(changed, tables, today=report.date, plan=False)
    before = {(f.id, f.about): f for f in report.checks}
    after = {(f.id, f.about): f for f in other.checks}
    pairs = [(before.get(key), after.get(key)) for key in after | before]
    return Tried(
        " and ".join(what),
        words.verdict_of(other, other.counts),
        tuple(_change(*pair) for pair in pairs if _word(pair[0]) != _word(pair[1])),
        tuple(
            _change(was, then)
            for was, then in pairs
            if was and then and _word(was) == _word(then) and was.because != then.because
        ),
    )


def _differs(value: float | None, slider: Slider, formula: Formula) -> bool:
    if value is None or not math.isfinite(value) or not slider.low <= value <= slider.high:
        return False
    if slider.name == "try-ph" and formula.measured.ph is None:
        return True
    return abs(value - slider.now) > slider.step / 1000


def _word(finding: Finding | None) -> str:
    return "not asked" if finding is None else words.word_of(finding)


def _change(was: Finding | None, then: Finding | None) -> Change:
    finding = then or was
    assert finding is not None
    return Change(
        check=finding.id,
        about="" if finding.about == "formula" else finding.about,
        now=_word(was),
        then=_word(then),
        because="" if then is None else then.because,
    )
