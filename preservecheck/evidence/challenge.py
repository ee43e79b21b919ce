"""A challenge test judged: log reductions, the verdict by the lines of the standard as they stand
in the table, and what it means for the product.

Log reductions are rounded to one decimal, the last digit that the standards print, before they are
compared. A count below detection gives "at least": where that does not reach the line, the result
is open, neither met nor missed.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from preservecheck.errors import Fault, Hint, ReadingsError
from preservecheck.evidence.counts import Count, Counts, read_counts
from preservecheck.formula.model import Formula
from preservecheck.provenance import Provenance, keys_of, provenance_of
from preservecheck.reference.load import Tables, load_tables
from preservecheck.reference.rows import STANDARDS, ChallengeCriterion
from preservecheck.text import join_and, join_or, sentence

State = Literal["met", "within tolerance", "missed", "open", "missing", "warning"]
# where a standard's text gives no number for "no increase"; a working value, not the standard's
WORKING_NO_INCREASE = 0.5
# CFU per g or mL that the standards start with, low and high logarithm (facts, challenge protocol:
# recalled)
_FUNGI_LOG, _BACTERIA_LOG = (4.0, 5.0), (5.0, 6.0)
_FUNGI = {("iso-11930", "yeast"), ("iso-11930", "mould")}
# a start that is further off than the rounding of a count deserves a word
_NEAR_LOG = 0.3
# a detection limit must leave room to show the largest reduction that a standard asks
_LEAST_SPAN_LOG = 3
_CLOSED_PACKS = ("pump", "tube")
_EPSILON = 1e-9


@dataclass(frozen=True)
class LineResult:
    """One line of a criterion, judged."""

    criterion: str
    day: int
    wants: str
    state: State
    found: str
    missing_day: int | None = None
    decided_by: str | None = None  # rounding, tolerance or a working value, where that decided


@dataclass(frozen=True)
class OrganismResult:
    """What the counts of one organism show."""

    name: str
    group: str | None
    verdict: str  # A, B, passes, fails, incomplete, not judged
    log_reductions: dict[str, float]
    at_least: tuple[str, ...]  # days whose count is below detection
    because: str
    lines: tuple[LineResult, ...]
    counts: dict[int, Count]
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """The keys that other programs read."""
        keys = (
            "name",
            "group",
            "verdict",
            "log_reductions",
            "at_least",
            "because",
            "notes",
            "lines",
        )
        log10_cfu = {str(d): round(c.log10, 3) for d, c in self.counts.items()}
        return {**keys_of(self, *keys), "log10_cfu": log10_cfu}


@dataclass(frozen=True)
class Challenge:
    """A challenge test, judged."""

    head: Provenance
    standard: str
    verdict: str
    organisms: tuple[OrganismResult, ...]
    missing: tuple[str, ...]
    because: str
    meaning: tuple[str, ...]
    sources: tuple[str, ...]
    # least reductions of each criterion by day, for the chart
    reach: dict[str, dict[str, float]] = field(default_factory=dict)

    @property
    def hints(self) -> tuple[Hint, ...]:
        """What helps further."""
        return (Hint.RANK_SYSTEMS,) if self.verdict == "fails" else ()

    def to_json(self) -> dict[str, Any]:
        """The keys that other programs read."""
        return {
            **self.head.to_json(),
            **keys_of(self, "standard", "verdict"),
            "organisms": [o.to_json() for o in self.organisms],
            **keys_of(self, "missing", "because", "meaning", "sources"),
        }


def challenge(
    results: str | Path,
    standard: str | None = None,
    tables: Tables | None = None,
    *,
    formula: Formula | None = None,
    today: dt.date | None = None,
) -> Challenge:
    """Judge a file of a laboratory's counts by ``iso-11930``, ``usp-51`` or ``ph-eur-5.1.3``, or by
    what the file says itself; a ``ReadingsError`` with all faults."""
    tables = tables or load_tables()
    counts = read_counts(results, tables)
    written = standard or counts.standard
    if written is None:
        found = "by which standard it was done is not said"
        known = f"known are {join_or(list(STANDARDS))}"
        allowed = f"write a line standard,iso-11930 above the heading; {known}"
        fault = Fault(found, allowed, path=("standard",), hint=Hint.STANDARD)
        raise ReadingsError(fault.within(where=counts.where))
    id_ = standard_id(written)
    if standard and counts.standard and standard_id(counts.standard) != id_:
        found = f"says it was done by {STANDARDS[standard_id(counts.standard)].name}"
        allowed = f"judging it by {STANDARDS[id_].name} needs counts of that test"
        raise ReadingsError(Fault(found, allowed, where=counts.where, path=("standard",)))
    return judged(counts, id_, tables, formula=formula, today=today)


def standard_id(written: str) -> str:
    """The id of a standard, however it is written; a ``ReadingsError`` where it is none of the
    three."""
    plain = _letters(written)
    for id_ in STANDARDS:
        if _letters(id_) in plain:
            return id_
    name, value, give = "the standard", f'"{written[:40]}"', f"give {join_or(list(STANDARDS))}"
    raise ReadingsError(Fault("is not known", give, path=("standard",), name=name, value=value))


def _letters(name: str) -> str:
    return "".join(ch for ch in name.casefold() if ch.isalnum())


def inoculum_log(standard: str, group: str | None) -> tuple[float, float]:
    """Lowest and highest count that a standard starts with, as logarithms of CFU per g or mL."""
    return _FUNGI_LOG if (standard, group) in _FUNGI else _BACTERIA_LOG


def criterion_name(criterion: str) -> str:
    """``criterion A``; ``category 2`` is named already."""
    return f"criterion {criterion}" if len(criterion) == 1 else criterion


def judged(
    counts: Counts,
    standard: str,
    tables: Tables,
    *,
    formula: Formula | None = None,
    today: dt.date | None = None,
) -> Challenge:
    """Counts against the lines of one standard."""
    needed = [o.organism for o in tables.test_organisms if o.belongs_to(standard)]
    rows = [r for r in tables.challenge_criteria if r.standard == standard]
    names = [o for o in needed if o in counts.by_organism]
    names += [o for o in counts.by_organism if o not in needed]
    results = tuple(_organism(n, counts, standard, tables, rows, n in needed) for n in names)
    missing = [f"{name}: no counts" for name in needed if name not in counts.by_organism]
    for result in results:
        days = {line.missing_day for line in result.lines if line.missing_day is not None}
        missing += [f"{result.name}: {_day_name(d)}" for d in sorted(days)]
    asked = [r for r in results if r.verdict != "not judged"]
    verdict = _verdict([r.verdict for r in asked], missing, _criteria(rows))
    reach: dict[str, dict[str, float]] = {}
    for r in rows:
        days_of = reach.setdefault(f"{r.criterion} {r.organism_group}", {})
        if r.since_day is None:
            days_of[str(int(r.day))] = r.value
    return Challenge(
        head=provenance_of(tables, formula, today),
        standard=standard,
        verdict=verdict,
        organisms=results,
        missing=tuple(missing),
        because=_because(verdict, asked, missing, standard),
        meaning=_meaning(verdict, standard, formula, asked),
        sources=tuple({r.source: tables.cite(r) for r in reversed(rows)}.values()),
        reach=reach,
    )


def _criteria(rows: Iterable[ChallengeCriterion]) -> list[str]:
    """The criteria of a standard, the strictest first."""
    return list(dict.fromkeys(r.criterion for r in rows))


def _day_name(day: int) -> str:
    return "the inoculum (day 0)" if day == 0 else f"day {day}"


def _verdict(organisms: Sequence[str], missing: Sequence[str], criteria: Sequence[str]) -> str:
    """A fail is a fail whatever is missing; else what is missing leaves it open; else the weakest
    organism decides."""
    if "fails" in organisms:
        return "fails"
    if missing or not organisms or "incomplete" in organisms:
        return "incomplete"
    if len(criteria) == 1:
        return "passes"
    return max(organisms, key=criteria.index)


# ---- one organism ----


def _organism(
    name: str,
    counts: Counts,
    standard: str,
    tables: Tables,
    rows: Sequence[ChallengeCriterion],
    needed: bool,
) -> OrganismResult:
    """One organism by each criterion."""
    course = dict(counts.by_organism[name])
    group = next((o.criteria_group for o in tables.test_organisms if o.organism == name), None)
    later = [d for d in course if d > 0 and 0 in course]
    reductions = {str(d): rounded(course[0].log10 - course[d].log10) for d in later}
    at_least = tuple(str(d) for d in later if course[d].below)
    notes = tuple(_notes(course, standard, group))
    if not needed or group is None:
        why = "It is no test organism of this standard; its counts are shown, not judged."
        return OrganismResult(
            name, group, "not judged", reductions, at_least, why, (), course, notes
        )
    lines = {
        criterion: [
            _line(row, course)
            for row in sorted(rows, key=lambda r: (r.day, r.requirement))
            if (row.criterion, row.organism_group) == (criterion, group)
        ]
        for criterion in _criteria(rows)
    }
    verdict, because = _organism_verdict(lines)
    every = tuple(line for of_one in lines.values() for line in of_one)
    return OrganismResult(name, group, verdict, reductions, at_least, because, every, course, notes)


def _notes(course: Mapping[int, Count], standard: str, group: str | None) -> list[str]:
    """What is odd about the counts of one organism."""
    out = []
    low, high = inoculum_log(standard, group)
    if 0 in course and not low - _NEAR_LOG <= course[0].log10 <= high + _NEAR_LOG:
        out.append(
            f"The inoculum of 10^{course[0].log10:.1f} lies outside the customary 10^{low:.0f} to "
            f"10^{high:.0f}: ask the laboratory."
        )
    if any(c.some_below for c in course.values()):
        out.append("Some replicates were below detection; they count at the detection limit.")
    limit = max((c.log10 for c in course.values() if c.below), default=None)
    if 0 in course and limit is not None and group == "bacteria":
        span = course[0].log10 - limit
        if span < _LEAST_SPAN_LOG:
            out.append(f"The detection limit of 10^{limit:.1f} can show {span:.1f} log at most.")
    return out


def _organism_verdict(lines: Mapping[str, list[LineResult]]) -> tuple[str, str]:
    """Verdict of one organism by the lines of each criterion, and why."""
    criteria = list(lines)
    last = criteria[-1]
    # a whole criterion is missed where one line is, else missing or open where one is, else met
    order = ("missed", "missing", "open")
    told = {c: {line.state for line in lines[c]} for c in criteria}
    states = {c: next((s for s in order if s in told[c]), "met") for c in criteria}
    gone = [line.found for c in criteria for line in lines[c] if line.state == "missing"]
    if gone and states[last] != "missed":
        more = len(criteria) > 1 and states[last] == "met"
        rest = f" Criterion {last} is reached all the same." if more else ""
        return "incomplete", sentence("; ".join(dict.fromkeys(gone))) + rest
    for at, c in enumerate(criteria if not gone else ()):
        if states[c] == "met":
            why = "".join(
                f" Criterion {above} is {'left open' if states[above] == 'open' else 'missed'}: "
                f"{_shortfall(lines[above])}."
                for above in criteria[:at]
            )
            return (
                "passes" if len(criteria) == 1 else c,
                f"Every line of {criterion_name(c)} is met{_leaning(lines[c])}.{why}",
            )
    if states[last] == "open":
        return "incomplete", f"Not to be decided: {_shortfall(lines[last])}."
    return "fails", f"It misses {criterion_name(last)}: {_shortfall(lines[last])}."


def _shortfall(lines: Iterable[LineResult]) -> str:
    """What stands in the way."""
    bad = [line for line in lines if line.state in ("missed", "open")]
    return "; ".join(f"{line.wants}: {line.found}" for line in bad)


def _leaning(lines: Sequence[LineResult]) -> str:
    """What a pass leans on."""
    out = []
    for decided_by, text in (
        ("tolerance", "within the standard's tolerance"),
        ("working value", "by a working value of ours"),
        ("rounding", "by rounding to one decimal"),
    ):
        days = sorted({line.day for line in lines if line.decided_by == decided_by})
        if days:
            out.append(f"on day {join_and([str(d) for d in days])} only {text}")
    warned = [line for line in lines if line.state == "warning"]
    out += [f"but for a warning: {line.wants}, {line.found}" for line in warned]
    return f", {'; '.join(out)}" if out else ""


# ---- one line of a criterion ----


def rounded(value: float) -> float:
    """A log reduction to one decimal, halves away from zero."""
    return math.copysign(math.floor(abs(value) * 10 + 0.5 + _EPSILON) / 10, value) + 0.0


def _line(row: ChallengeCriterion, course: Mapping[int, Count]) -> LineResult:
    day, since = int(row.day), row.since_day
    if since is None:
        wants = f"{row.value:.1f} log less on day {day} than at the start"
    else:
        wants = f"no increase from {'the start' if since == 0 else f'day {since}'} to day {day}"
    for needed in (since or 0, day):
        if needed not in course:
            found = f"{_day_name(needed)} was not counted"
            return LineResult(row.criterion, day, wants, "missing", found, needed)
    if since is None:
        state, found, decided = _reduced(row, course[0], course[day])
    else:
        state, found, decided = _no_increase(row, course[since], course[day])
    if state == "missed" and row.if_missed == "warns":
        state = "warning"
        found += "; only one of the pages read prints this line, so it warns and does not fail"
    return LineResult(row.criterion, day, wants, state, found, None, decided)


def _reduced(row: ChallengeCriterion, start: Count, count: Count) -> tuple[State, str, str | None]:
    exact = start.log10 - count.log10
    value = rounded(exact)
    tolerance = row.tolerance_log or 0.0
    found = f"{'at least ' if count.below else ''}{value:.1f} log"
    if start.below:
        return "open", "the inoculum itself is below detection", None
    if value >= row.value - _EPSILON:
        return "met", found, "rounding" if exact < row.value - _EPSILON else None
    if value >= row.value - tolerance - _EPSILON:
        said = f"{found}, within the standard's {tolerance:g} log of {row.value:.1f}"
        return "within tolerance", said, "tolerance"
    if count.below:
        said = f"{found}: the detection limit is too high to show {row.value:.1f}, so this is "
        return "open", said + "neither met nor missed", None
    return "missed", f"{found}; {row.value - value:.1f} log short", None


def _no_increase(
    row: ChallengeCriterion, before: Count, after: Count
) -> tuple[State, str, str | None]:
    working = row.tolerance_log is None
    tolerance = WORKING_NO_INCREASE if row.tolerance_log is None else row.tolerance_log
    if before.below and after.below:
        return "met", "both below detection", None
    rise = rounded(after.log10 - before.log10)
    if after.below and rise > tolerance:
        said = f"below detection on day {int(row.day)}, but that limit lies {rise:.1f} log above "
        return "open", said + "the count before", None
    if rise <= 0 or after.below:
        lower = rise < 0 and not after.below
        return "met", f"{abs(rise):.1f} log lower" if lower else "no increase", None
    within = rise <= tolerance + _EPSILON
    found = (
        f"{rise:.1f} log above{' the detection limit of' if before.below else ''} the count "
        f"before, {'within' if within else 'more than'} {tolerance:g}"
        f"{' (a working value; the text read gives no number)' if working else ''}"
    )
    if within:
        return "within tolerance", found, "working value" if working else "tolerance"
    return "missed", found, None


# ---- the product ----


def _because(
    verdict: str, organisms: Sequence[OrganismResult], missing: Sequence[str], standard: str
) -> str:
    """Why the whole test came out so, in a sentence."""
    name = STANDARDS[standard].name
    alike = [o for o in organisms if o.verdict == verdict]
    names = join_and([o.name for o in alike])
    if verdict == "fails":
        more = f" Also missing: {'; '.join(missing)}." if missing else ""
        verb = "misses" if len(alike) == 1 else "miss"
        return f"{names} {verb} what {name} asks at the least.{more}"
    if verdict == "incomplete":
        if missing:
            return f"{name} cannot be judged: missing are {'; '.join(missing)}."
        return f"{name} cannot be judged: the counts of {names} leave a line open."
    if verdict == "B":
        verb = "reaches" if len(alike) == 1 else "reach"
        return f"{names} {verb} criterion B only of {name}; the others reach A."
    leans = [
        o.name
        for o in alike
        if any(line.decided_by for line in o.lines if verdict in ("passes", line.criterion))
    ]
    lean = f" {join_and(leans)} only by tolerance or rounding, as told below." if leans else ""
    if verdict == "passes":
        return f"Every organism meets every line of {name}, category 2.{lean}"
    return f"Every organism meets every line of criterion A of {name}.{lean}"


def _meaning(
    verdict: str, standard: str, formula: Formula | None, organisms: Sequence[OrganismResult]
) -> tuple[str, ...]:
    """What follows for the product."""
    iso = standard == "iso-11930"
    does = "protects itself" if iso else "reaches the target criterion"
    failed = join_and(sorted({o.group or o.name for o in organisms if o.verdict == "fails"}))
    pack = formula.product.package if formula else None
    given = f"your {pack} is such a pack" if pack in _CLOSED_PACKS else f"a {pack} does not give it"
    told = {
        "A": (f"The formula {does}, in the pack, batch and pH that were tested.",),
        "B": (
            "Acceptable only with reasons beside the formula, which your safety assessor has to "
            "accept: a pack that lets nothing in (pump, airless, tube), single use, or a rinse-off "
            f"product{f'; {given}' if pack else ''}.",
            "To reach A: raise the dose inside its range, lower the pH for an acid, add a "
            "chelator or a second system, and test again.",
        ),
        "passes": (
            "It meets USP category 2, the mildest of the three: it asks no kill of yeast and "
            "mould, and is no proof of ISO 11930 or Ph. Eur.",
        ),
        "fails": (
            f"The product is not protected against {failed}: do not sell it. Change the formula "
            "and test again.",
        ),
        "incomplete": (
            "Nothing can be claimed yet. Ask the laboratory for what is missing, or repeat the "
            "organisms concerned.",
        ),
    }
    out = list(told[verdict])
    if iso and verdict == "A":
        out.append("It is no proof of Ph. Eur. A, which asks for 2 log of bacteria on day 2.")
    if verdict in ("A", "B", "passes"):
        out.append(
            "It holds for the formula that was tested. Test again after a change of preservative, "
            "supplier, pH, plant material, surfactant, pack or site, and at the end of stability."
        )
    return tuple(out)
