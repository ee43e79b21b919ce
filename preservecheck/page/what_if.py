"""What another pH or another dose would do: the same formula with one reading or one line changed,
judged beside it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from preservecheck.assess.review import composer_for, review
from preservecheck.formula.amounts import line_percents
from preservecheck.formula.edit import at_ph, filled, lines_of, with_percents
from preservecheck.formula.model import Formula
from preservecheck.report import words

if TYPE_CHECKING:
    from preservecheck.assess.review import Report
    from preservecheck.reference.load import Tables
    from preservecheck.verdict import Finding

# where a slider stands while no pH is measured
MIDDLE_PH = 5.0
PH_SPAN = (2.0, 10.0)
PH_STEP, DOSE_STEP = 0.05, 0.01
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
    word: str
    verdict: str
    counted: str
    changes: tuple[Change, ...]
    closer: tuple[Change, ...]


def sliders(formula: Formula, tables: Tables) -> list[Slider]:
    """The pH, and the dose of each line that is a preservative system."""
    ph = formula.measured.ph
    said = "not measured" if ph is None else f"measured {ph:g}"
    low, high = PH_SPAN if ph is None else (min(PH_SPAN[0], ph), max(PH_SPAN[1], ph))
    out = [Slider("try-ph", "pH", low, high, PH_STEP, MIDDLE_PH if ph is None else ph, said, "")]
    systems = {s.id: s for s in tables.systems}
    percents, _ = line_percents(formula)
    for at, line in enumerate(lines_of(formula)):
        if line.kind == "preservative" and line.name in systems:
            most = max(systems[line.name].usage_max_percent * BEYOND, percents[at])
            now = percents[at]
            label = f"Dose of {line.name}"
            out.append(
                Slider(
                    f"try-dose-{at}",
                    label,
                    0.0,
                    round(most, 2),
                    DOSE_STEP,
                    round(now, 6),
                    f"now {now:g} %",
                    "%",
                )
            )
    return out


def tried(
    formula: Formula, wanted: Mapping[str, float], tables: Tables, report: Report
) -> Tried | None:
    """The formula with what the sliders say.

    Parameters
    ----------
    formula
        As it stands.
    wanted
        Field of a slider to value.
    tables
        The tables.
    report
        Of the formula as it stands.

    Returns
    -------
    Tried | None
        ``None`` where the sliders stand at what is.
    """
    moved = {
        s.name: wanted[s.name]
        for s in sliders(formula, tables)
        if _differs(wanted.get(s.name), s, formula)
    }
    if not moved:
        return None
    changed, said = formula, []
    doses = {
        int(n.removeprefix("try-dose-")): v for n, v in moved.items() if n.startswith("try-dose-")
    }
    if "try-ph" in moved:
        changed = at_ph(changed, moved["try-ph"])
        said.append(f"pH {moved['try-ph']:g}")
    if doses:
        lines = lines_of(formula)
        said += [f"{lines[at].name} {dose:g} %" for at, dose in doses.items()]
        fixed = filled(composer_for(tables).compose(changed), doses.keys())
        changed = with_percents(fixed, doses)
    other = review(changed, tables, today=report.date)
    before = {(f.id, f.about): f for f in report.checks}
    pairs: list[tuple[Finding | None, Finding | None]] = [
        (before.get((f.id, f.about)), f) for f in other.checks
    ]
    pairs += [
        (f, None) for key, f in before.items() if key not in {(g.id, g.about) for g in other.checks}
    ]
    verdict = words.verdict_of(other, other.counts)
    every = [_change(was, then) for was, then in pairs]
    return Tried(
        what=" and ".join(said),
        word=verdict.word,
        verdict=verdict.said,
        counted=verdict.counted,
        changes=tuple(c for c in every if c.now != c.then),
        closer=tuple(
            c
            for c, (was, then) in zip(every, pairs, strict=True)
            if c.now == c.then
            and was is not None
            and then is not None
            and was.because != then.because
        ),
    )


def _differs(value: float | None, slider: Slider, formula: Formula) -> bool:
    if value is None or not math.isfinite(value) or not slider.low <= value <= slider.high:
        return False
    if slider.name == "try-ph" and formula.measured.ph is None:
        return True
    return abs(value - slider.now) > slider.step / 1000


def _change(was: Finding | None, then: Finding | None) -> Change:
    finding = then or was
    assert finding is not None
    return Change(
        check=finding.id,
        about="" if finding.about == "formula" else finding.about,
        now="not asked" if was is None else words.word_of(was),
        then="not asked" if then is None else words.word_of(then),
        because=finding.because if then is not None else "",
    )
