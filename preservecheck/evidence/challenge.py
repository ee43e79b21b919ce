"""A challenge test read: log reductions, the verdict by the standard's lines, and what it means for
the product."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from preservecheck.errors import ReadingsError
from preservecheck.evidence.challenge_words import (
    STANDARDS,
    OrganismResult,
    meaning,
    organism_verdict,
    overall_because,
)
from preservecheck.evidence.counts import Count, Counts, group_of, read_counts
from preservecheck.evidence.criteria import judged_lines, reduction, rounded, verdict_of
from preservecheck.formula.model import Formula
from preservecheck.provenance import Provenance, provenance_of
from preservecheck.reference.load import Tables, load_tables
from preservecheck.text import join_or

_COLUMN = {"iso-11930": "iso_11930", "usp-51": "usp_51", "ph-eur-5.1.3": "ph_eur_5_1_3"}
# CFU per g or mL that the standards start with, low and high logarithm (facts, challenge protocol:
# recalled)
INOCULUM_LOG = {("iso-11930", "yeast"): (4.0, 5.0), ("iso-11930", "mould"): (4.0, 5.0)}
BACTERIA_LOG = (5.0, 6.0)
# a start that is further off than the rounding of a count deserves a word
_NEAR_LOG = 0.3


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
    reach: dict[str, dict[str, float]] = field(
        default_factory=dict
    )  # least reductions of each criterion, for the chart

    def to_json(self) -> dict[str, Any]:
        """The keys that other programs read."""
        return {
            **self.head.to_json(),
            "standard": self.standard,
            "verdict": self.verdict,
            "organisms": [o.to_json() for o in self.organisms],
            "missing": list(self.missing),
            "because": self.because,
            "meaning": list(self.meaning),
            "sources": list(self.sources),
        }


def standard_id(written: str) -> str:
    """The id of a standard, however it is written.

    Raises
    ------
    ReadingsError
        It is none of the three.
    """
    plain = "".join(ch for ch in written.casefold() if ch.isalnum())
    for id_ in STANDARDS:
        if "".join(ch for ch in id_ if ch.isalnum()) in plain or plain == "".join(
            ch for ch in id_ if ch.isalnum()
        ):
            return id_
    raise ReadingsError(
        f'the standard "{written[:40]}" is not known; give {join_or(list(STANDARDS))}'
    )


def challenge(
    results: str | Path,
    standard: str | None = None,
    tables: Tables | None = None,
    *,
    formula: Formula | None = None,
    today: dt.date | None = None,
) -> Challenge:
    """Judge a laboratory's counts.

    Parameters
    ----------
    results
        File of counts.
    standard
        ``iso-11930``, ``usp-51`` or ``ph-eur-5.1.3``; default what the file says itself.
    tables
        The tables with the criteria; default the shipped ones.
    formula
        The product, for what the result means.
    today
        Date of the result.

    Raises
    ------
    ReadingsError
        The file cannot be used; all faults at once.
    """
    tables = tables or load_tables()
    counts = read_counts(results, tables)
    written = standard or counts.standard
    if written is None:
        raise ReadingsError(
            f"{counts.where}: by which standard? Give --standard {join_or(list(STANDARDS))}, "
            "or a line "
            "standard,iso-11930 above the heading"
        )
    id_ = standard_id(written)
    if standard and counts.standard and standard_id(counts.standard) != id_:
        raise ReadingsError(
            f"{counts.where}: says it was done by {STANDARDS[standard_id(counts.standard)]}; "
            "judging it by "
            f"{STANDARDS[id_]} needs counts of that test"
        )
    return judged(counts, id_, tables, formula=formula, today=today)


def judged(
    counts: Counts,
    standard: str,
    tables: Tables,
    *,
    formula: Formula | None = None,
    today: dt.date | None = None,
) -> Challenge:
    """Counts against the lines of one standard."""
    needed = [o.organism for o in tables.test_organisms if getattr(o, _COLUMN[standard]) == "yes"]
    rows = [r for r in tables.challenge_criteria if r.standard == standard]
    criteria = list(dict.fromkeys(r.criterion for r in rows))
    organisms = [o for o in needed if o in counts.by_organism] + [
        o for o in counts.by_organism if o not in needed
    ]
    found = tuple(
        _organism(name, counts, standard, tables, criteria, name in needed) for name in organisms
    )
    missing = [f"{name}: no counts" for name in needed if name not in counts.by_organism]
    for one in found:
        days = {line.missing_day for line in one.lines if line.missing_day is not None}
        missing += [
            f"{one.name}: {'the inoculum (day 0)' if d == 0 else f'day {d}'}" for d in sorted(days)
        ]
    asked = [o for o in found if o.verdict != "not judged"]
    verdict = _verdict([o.verdict for o in asked], missing, criteria)
    sources = tuple({r.source: tables.cite(r) for r in reversed(rows)}.values())
    reach: dict[str, dict[str, float]] = {f"{r.criterion} {r.organism_group}": {} for r in rows}
    for r in rows:
        if r.requirement == "min_log_reduction":
            reach[f"{r.criterion} {r.organism_group}"][str(int(r.day))] = r.value
    return Challenge(
        provenance_of(tables, formula, today),
        standard,
        verdict,
        found,
        tuple(missing),
        overall_because(verdict, asked, missing, standard),
        meaning(verdict, standard, formula, asked),
        sources,
        reach,
    )


def challenge_json(
    results: str | Path, tables: Tables | None = None, standard: str | None = None
) -> dict[str, Any]:
    """The judged counts in their JSON form, for a record."""
    return challenge(results, standard, tables).to_json()


def _organism(
    name: str, counts: Counts, standard: str, tables: Tables, criteria: Sequence[str], needed: bool
) -> OrganismResult:
    """One organism by each criterion, the strictest first."""
    course = dict(counts.by_organism[name])
    group = group_of(name, tables)
    reductions = {d: r for d in course if d > 0 and (r := reduction(course, d)) is not None}
    shown = {str(d): rounded(value) for d, (value, _) in reductions.items()}
    at_least = tuple(str(d) for d, (_, below) in reductions.items() if below)
    notes = tuple(_notes(course, standard, group))
    if not needed or group is None:
        why = "It is no test organism of this standard; its counts are shown, not judged."
        return OrganismResult(name, group, "not judged", shown, at_least, why, (), course, notes)
    lines = {
        c: judged_lines(
            (
                r
                for r in tables.challenge_criteria
                if (r.standard, r.criterion, r.organism_group) == (standard, c, group)
            ),
            course,
        )
        for c in criteria
    }
    states = {c: verdict_of(lines[c]) for c in criteria}
    verdict, because = organism_verdict(states, lines, criteria)
    every = tuple(line for c in criteria for line in lines[c])
    return OrganismResult(name, group, verdict, shown, at_least, because, every, course, notes)


def _notes(course: dict[int, Count], standard: str, group: str | None) -> list[str]:
    out = []
    low, high = INOCULUM_LOG.get((standard, group or ""), BACTERIA_LOG)
    if 0 in course and not low - _NEAR_LOG <= course[0].log10 <= high + _NEAR_LOG:
        out.append(
            f"The inoculum of 10^{course[0].log10:.1f} lies outside the customary 10^{low:.0f} to "
            f"10^{high:.0f}: "
            "ask the laboratory."
        )
    if any(c.some_below for c in course.values()):
        out.append("Some replicates were below detection; they count at the detection limit.")
    limits = {d: c.log10 for d, c in course.items() if c.below}
    if (
        0 in course
        and limits
        and course[0].log10 - max(limits.values()) < 3
        and group == "bacteria"
    ):  # noqa: PLR2004
        out.append(
            f"The detection limit of 10^{max(limits.values()):.1f} can show "
            f"{course[0].log10 - max(limits.values()):.1f} log "
            "at most."
        )
    return out


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
