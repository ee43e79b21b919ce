"""The plan of a challenge test: organisms, dates, neutraliser, amounts, and what goes with the
sample."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.assess.findings import arrays_of
from preservecheck.evidence.challenge import criterion_name, inoculum_log
from preservecheck.formula.model import Formula
from preservecheck.provenance import Provenance, keys_of, provenance_of
from preservecheck.reference.load import Tables, load_tables
from preservecheck.reference.rows import ChallengeCriterion
from preservecheck.text import join_and, number

# grams of product: one container an organism, the neutraliser check of each, a count of the product
# itself (ISO: 20 g in a container, recalled; the others common practice)
CONTAINER_G, NEUTRALISER_G, CLEAN_G = 20, 10, 20
# what is left over when something has to be repeated
RESERVE = 1.5
# the amount to send is rounded up to this [g]
_WHOLE_G = 10


@dataclass(frozen=True)
class PlannedOrganism:
    """A microbe of the test."""

    name: str
    group: str
    strain: str
    other_collections: str | None
    inoculum_low: float
    inoculum_high: float


@dataclass(frozen=True)
class Sampling:
    """A day on which the laboratory counts."""

    day: int
    date: dt.date
    weekday: str
    for_criteria: tuple[str, ...]


@dataclass(frozen=True)
class Plan:
    """What to order from a laboratory."""

    head: Provenance
    standard: str
    start: dt.date
    organisms: tuple[PlannedOrganism, ...]
    samplings: tuple[Sampling, ...]
    criteria: tuple[str, ...]
    neutraliser: tuple[str, ...]
    sample_g: int
    send: tuple[str, ...]
    before: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """The keys that other programs read."""
        return {
            **self.head.to_json(),
            "plan": True,
            **keys_of(self, *(f.name for f in fields(self) if f.name != "head")),
        }


def plan(
    standard: str,
    start: dt.date,
    tables: Tables | None = None,
    *,
    formula: Formula | None = None,
    today: dt.date | None = None,
) -> Plan:
    """The plan of a test that is inoculated on the day ``start``; a formula says which neutraliser
    and what to send."""
    tables = tables or load_tables()
    rows = [o for o in tables.test_organisms if o.belongs_to(standard)]
    lines = [r for r in tables.challenge_criteria if r.standard == standard]
    organisms = []
    for o in rows:
        low, high = inoculum_log(standard, o.group)
        names = (o.organism, o.group, o.strain, o.other_collections)
        organisms.append(PlannedOrganism(*names, 10.0**low, 10.0**high))
    samplings = [Sampling(0, start, f"{start:%A}", ("the start count",))]
    for day in sorted({int(r.day) for r in lines}):
        date = start + dt.timedelta(days=day)
        on_it = (f"{r.criterion} {r.organism_group}" for r in lines if int(r.day) == day)
        samplings.append(Sampling(day, date, f"{date:%A}", tuple(dict.fromkeys(on_it))))
    case = arrays_of(formula, tables, today or start) if formula else None
    return Plan(
        provenance_of(tables, formula, today),
        standard,
        start,
        tuple(organisms),
        tuple(samplings),
        tuple(_criteria(lines)),
        _neutraliser(case),
        _grams(len(organisms)),
        _send(formula),
        _before(samplings),
    )


def _grams(organisms: int) -> int:
    """Product to send, rounded up to ten grams. [g]"""
    need = organisms * (CONTAINER_G + NEUTRALISER_G) + CLEAN_G
    return -(-int(need * RESERVE) // _WHOLE_G) * _WHOLE_G


def _criteria(lines: Iterable[ChallengeCriterion]) -> Iterator[str]:
    """What each criterion asks of each group."""
    wants: dict[tuple[str, str], list[str]] = {}
    for r in sorted(lines, key=lambda r: (r.criterion, r.organism_group, r.day)):
        if r.since_day is None:
            want = f"{r.value:g} log by day {r.day:.0f}"
        else:
            since = f"day {r.since_day}" if r.since_day else "the start"
            want = f"no increase at day {r.day:.0f} from {since}"
        wants.setdefault((r.criterion, r.organism_group), []).append(want)
    for (criterion, group), each in wants.items():
        yield f"{criterion_name(criterion)}, {group}: {'; '.join(each)}"


def _neutraliser(case: FormulaArrays | None) -> tuple[str, ...]:
    """Validation, and what usually stops the preservatives of this formula (facts, challenge
    protocol: recalled)."""
    out = [
        "Validate before the test: for each organism the neutraliser alone, and product with "
        "neutraliser and about 100 CFU, must give back at least half of the control. A "
        "preservative that goes on killing on the plate makes every result look good."
    ]
    if case is None:
        return (*out, "Name the preservatives to the laboratory; the neutraliser depends on them.")
    c = case.reference
    names = [c.names[i] for i in np.flatnonzero(case.amount[0] > 0)]
    tags = {tag for n in names if n in c.rows for tag in c.rows[n].tags}
    actives = [c.actives[n] for n in names if n in c.actives]
    forms = {a.active_form for a in actives if a.role == "preservative"}

    def holds(*words: str) -> bool:
        return any(word in name.casefold() for name in names for word in words)

    quaternary = bool(case.charge[0][0] > 0) or bool(forms & {"neutral molecule", "cation"})
    phenol = bool(tags & {"phenoxyethanol", "paraben"}) or holds("paraben", "phenoxy")
    releaser = "released formaldehyde" in forms or "formaldehyde-releaser" in tags
    usual = {
        "organic acids: dilution alone is often enough": "undissociated acid" in forms,
        "quaternaries, parabens, phenoxyethanol, alcohols and chlorhexidine: polysorbate 80 "
        "with lecithin": quaternary or phenol,
        "aldehydes and releasers: histidine or cysteine": releaser,
        "isothiazolinones: thioglycolate or cysteine": holds("isothiazolinone"),
    }
    if fitting := [text for text, fits in usual.items() if fits]:
        out.append(
            f"Usual for what is in this formula, from memory: {'; '.join(fitting)}. The laboratory "
            "decides."
        )
    return tuple(out)


def _send(formula: Formula | None) -> tuple[str, ...]:
    """What goes with the sample."""
    out: list[str] = [
        "the product of one batch, in its final pack, at its final pH, with batch number and day "
        "of making",
        "the formula with the per cent of every preservative, those that raw materials bring "
        "along included",
        "pH and water activity as measured, the pack and its closure, how it was stored",
        "safety data sheets, and what is sold as: leave-on or rinse-off",
    ]
    if formula is not None:
        ph = formula.measured.ph
        aw = formula.measured.water_activity
        out[2] = (
            f"pH ({'not measured yet: measure it' if ph is None else number(ph)}), water activity"
            f"{'' if aw is None else f' ({number(aw)})'}, the "
            f"pack ({formula.product.package or 'name it'}) and its closure, how it was stored"
        )
        out.append(
            f"the digest of the formula file, {formula.sha256[:12]}, so that result and formula "
            "stay together"
        )
    return tuple(out)


def _before(samplings: list[Sampling]) -> tuple[str, ...]:
    weekend = [f"day {s.day} ({s.weekday} {s.date})" for s in samplings if s.date.weekday() >= 5]  # noqa: PLR2004
    out = [
        "Count the product itself first: it must be clean.",
        "One organism in one container, 20 to 25 °C, in the dark; at most 1 % of water comes in "
        "with the inoculum (recalled).",
    ]
    if weekend:
        out.append(
            f"On a weekend fall {join_and(weekend)}: ask whether the laboratory counts then, or "
            "start on another day."
        )
    return tuple(out)
