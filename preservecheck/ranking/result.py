"""What ``choose`` answers with: options in order, and the pairs that do best."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from functools import cached_property
from typing import Any, Literal, NamedTuple

import numpy as np

from preservecheck.arrays.forms import MICROBES
from preservecheck.assess.findings import finding_of
from preservecheck.checks import CHECKS, with_lever
from preservecheck.checks.base import Check, most_critical_first
from preservecheck.formula.edit import Edit, SetTemperature, to_json
from preservecheck.formula.model import Formula
from preservecheck.provenance import Provenance
from preservecheck.ranking import words
from preservecheck.ranking.base import BaseFormula
from preservecheck.ranking.candidate import Candidate, Shared, added_below
from preservecheck.ranking.standing import Place
from preservecheck.ranking.window import inside
from preservecheck.reference.rows import Standing, System
from preservecheck.text import number
from preservecheck.verdict import SERIOUS, Finding

Outcome = Literal["fits", "possible-with-warnings", "fits-after-change", "does-not-fit"]
OUTCOMES: tuple[Outcome, ...] = (
    "fits",
    "possible-with-warnings",
    "fits-after-change",
    "does-not-fit",
)
# so many warnings and unknowns of its own take a system a step down; judgement of this program
MANY_OPEN = 2
# chances that differ by less are the same
CHANCE_STEP = 0.1


@dataclass(frozen=True)
class Weakest:
    """The microbe with the smallest chance of being controlled in a challenge test."""

    microbe: str
    sum_of_ratios: float | None
    challenge_chance: float | None = None


@dataclass(frozen=True)
class Partner:
    """A second system, and its dose. [% of the formula]"""

    id: str
    percent: float


@dataclass(frozen=True, kw_only=True)
class Option:
    """What one system would do in the formula."""

    id: str
    name: str
    outcome: Outcome
    standing: Standing
    percent: float | None
    percent_low: float | None
    percent_high: float | None
    # at which the dose and its ends are told
    ph: float | None
    ph_low: float | None
    ph_high: float | None
    add_below_c: float | None
    phase: str
    grams: float | None
    scale_error_percent: float | None
    changes: tuple[Edit, ...]
    partner: Partner | None
    counts: dict[str, int]
    weakest: Weakest
    chance: float | None
    why: str
    own: bool
    # not part of the JSON
    place: Place
    open: tuple[str, ...] = ()  # checks with warnings and unknowns of its own
    serious: int = 0  # serious findings of its own
    change_count: int = 0
    doubtful: bool = False  # whether the law may bar it
    preferred: bool = True  # whether it is what the maker prefers
    unwanted: bool = False  # in the formula as it is, though the maker wants it left out
    # the lowest dose that works by itself and the highest that is allowed, at the pH as it is [%]
    works_from: float | None = None
    allowed_to: float | None = None
    now: bool = False  # in the formula as it is
    base: BaseFormula | None = field(default=None, compare=False, repr=False)
    candidate: Candidate | None = field(default=None, compare=False, repr=False)
    check: str | None = None  # the first that stands in the way of what does not fit
    said: tuple[str, ...] = ()  # the changes in words
    outside: tuple[str, ...] = ()  # those of them that no recipe can hold: a reading, a scale

    @cached_property
    def formula(self) -> Formula | None:
        """The formula with the recommendation in it."""
        if self.base is None or self.candidate is None:
            return None
        return self.base.formula_with(self.candidate)

    @property
    def edits(self) -> tuple[Edit, ...]:
        """What makes it of the formula without its own preservatives."""
        if self.base is None or self.candidate is None:
            return ()
        warm = [e for e in self.base.mends if isinstance(e, SetTemperature)]
        others = [e for e in self.base.mends if not isinstance(e, SetTemperature)]
        return (*others, *self.base.edits_of(self.candidate), *warm)

    @property
    def step(self) -> int:
        """How far down the order it stands by custom and by what it leaves open."""
        return self.place.step + (len(self.open) >= MANY_OPEN)

    def to_json(self) -> dict[str, Any]:
        """The keys that other programs read."""
        names = [f.name for f in fields(self)]
        data = {n: getattr(self, n) for n in names[: names.index("place")]}
        return data | {
            "changes": [to_json(edit) for edit in self.changes],
            "partner": None if self.partner is None else vars(self.partner),
            "weakest": dict(vars(self.weakest)),
        }


@dataclass(frozen=True)
class PairOption:
    """Two systems together."""

    first: Partner
    second: Partner
    outcome: Outcome
    weakest: Weakest
    counts: dict[str, int]
    why: str

    def to_json(self) -> dict[str, Any]:
        """The keys that other programs read."""
        return {
            **vars(self),
            "first": vars(self.first),
            "second": vars(self.second),
            "weakest": dict(vars(self.weakest)),
        }


@dataclass(frozen=True, kw_only=True)
class Choice(Provenance):
    """What ``choose`` says about one formula."""

    ph: float | None
    markets: tuple[str, ...]
    kind: str | None  # of product
    order: str
    narrowed: tuple[str, ...]
    mended_first: tuple[Edit, ...] = ()
    mended_words: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()  # on the formula, whatever preservative goes in
    needs_none: str | None = None  # why it needs no preservative
    now: tuple[tuple[str, int | None], ...] = ()  # its own systems with their ranks
    systems: tuple[Option, ...] = ()
    pairs: tuple[PairOption, ...] = ()

    def rank_of(self, option: Option) -> int:
        """The place of an option among all systems; those left out by a limit count."""
        return dict(self.ranks)[option.id]

    ranks: tuple[tuple[str, int], ...] = ()

    def to_json(self) -> dict[str, Any]:
        """The keys that other programs read, in ranked order."""
        ranks = dict(self.ranks)
        own = [{"id": i, "rank": rank} for i, rank in self.now]
        return {
            **super().to_json(),
            "name": self.name,
            "ph": self.ph,
            "kind": self.kind,
            "markets": list(self.markets),
            "order": self.order,
            "narrowed": list(self.narrowed),
            "mended_first": [to_json(edit) for edit in self.mended_first],
            "remarks": [*self.mended_words, *self.remarks],
            "needs_none": self.needs_none,
            "now": own[0] | ({"others": own[1:]} if own[1:] else {}) if own else None,
            "systems": [
                {"id": s.id, "name": s.name, "rank": ranks[s.id]} | s.to_json()
                for s in self.systems
            ],
            "pairs": [pair.to_json() for pair in self.pairs],
        }


def rank(option: Option) -> tuple[float, ...]:
    """What options are sorted by, best first; ``words.ORDER`` says the same."""
    fits = option.outcome != "does-not-fit"
    group = 0 if fits and option.change_count <= 1 else 1 if fits else 2
    chance = option.weakest.challenge_chance or 0.0
    return (
        option.unwanted,
        group,
        option.percent is None,  # what there is no room for
        0 if fits else option.serious,
        option.doubtful,
        not option.preferred,
        option.step,
        option.place.choice,
        len(option.open),
        option.change_count,
        -np.floor(chance / CHANCE_STEP),
        -(option.chance or 0.0),
        not option.now,
    )


class Ends(NamedTuple):
    """Between which doses and pH values a system works."""

    dose: tuple[float | None, float | None]  # told, at the pH that it is tried at [%]
    first: tuple[float, float]  # by itself and at the pH as it is [%]
    ph: tuple[float, float]


def option_of(
    base: BaseFormula,
    candidate: Candidate,
    first: Candidate,
    shared: Shared,
    ends: Ends,
    chance: float | None,
) -> Option:
    """What a candidate would do.

    Parameters
    ----------
    base
        The formula.
    candidate
        The system with the changes that were made for it.
    first
        The same without any, whose fault is told where none of them helps.
    shared
        Findings that no preservative has a part in.
    ends
        Of dose and pH.
    chance
        Of passing.
    """
    serious = candidate.serious_beyond(shared.serious)
    fits = serious == 0
    candidate = candidate if fits else first
    open_ = candidate.open_beyond(shared.open)
    ph_low, ph_high = inside(ends.ph[0], up=True), inside(ends.ph[1], up=False)
    outcome: Outcome = "does-not-fit"
    if fits and candidate.count_of_changes:
        outcome = "fits-after-change"
    elif fits:
        outcome = "possible-with-warnings" if open_ or base.measured_ph is None else "fits"
    fault = None if fits else _first_fault(base, first, shared)
    grams = candidate.percent / 100 * base.batch_g if base.batch_g else None
    step = candidate.scale_step_g or base.formula.product.scale_step_g
    place = base.places[candidate.system.id]
    said = words.changes(base, candidate) if fits else []
    partner = candidate.partner if fits else None
    return Option(
        id=candidate.system.id,
        name=candidate.system.name,
        outcome=outcome,
        standing=place.standing,
        percent=candidate.percent,
        percent_low=ends.dose[0],
        percent_high=ends.dose[1],
        ph=base.ph if candidate.ph is None else candidate.ph,
        ph_low=ph_low,
        ph_high=ph_high,
        add_below_c=added_below(candidate.system),
        phase=base.phase_of(candidate),
        grams=grams,
        scale_error_percent=100 * step / grams if step and grams else None,
        changes=base.changes_of(candidate) if fits else (),
        partner=Partner(partner.id, candidate.partner_percent) if partner else None,
        counts=candidate.counts,
        weakest=_weakest(candidate),
        chance=None if chance is None else round(chance, 3),
        why=words.why(base, place, open_, [text for text, _ in said], fault),
        own=candidate.system.id in base.own_rows,
        place=place,
        open=open_,
        serious=serious,
        change_count=candidate.count_of_changes,
        works_from=_known(ends.first[0]),
        allowed_to=_known(ends.first[1]),
        doubtful=candidate.law_is_doubtful(base.law_by_itself),
        now=candidate.system.id in (*base.own_systems, *base.kept),
        base=base,
        candidate=candidate,
        check=fault.id if fault else None,
        said=tuple(text for text, _ in said),
        outside=(*words.readings(base), *(text for text, in_recipe in said if not in_recipe)),
    )


def no_room(base: BaseFormula, system: System) -> Option:
    """A system of which more has to go in than the formula can give way to."""
    check = with_lever("dose")[0].id
    why = (
        f"{check}: it takes {number(system.usage_min_percent)} % and more of the whole formula, "
        f"and only {number(base.room)} % of this one can give way"
    )
    place = base.places[system.id]
    return Option(
        id=system.id,
        name=system.name,
        outcome="does-not-fit",
        standing=place.standing,
        percent=None,
        percent_low=None,
        percent_high=None,
        ph=base.ph,
        ph_low=None,
        ph_high=None,
        add_below_c=added_below(system),
        phase="cool-down",
        grams=None,
        scale_error_percent=None,
        changes=(),
        partner=None,
        counts={"pass": 0, "warn": 0, "serious": 0, "unknown": 0, "settled": 0},
        weakest=Weakest(MICROBES[0], None),
        chance=None,
        why=why,
        own=system.id in base.own_rows,
        place=place,
        now=system.id in base.own_systems,
        check=check,
    )


def pair_of(base: BaseFormula, candidate: Candidate, shared: Shared, standing: str) -> PairOption:
    """What two systems would do together.

    Parameters
    ----------
    base
        The formula.
    candidate
        Both, judged.
    shared
        Findings that no preservative has a part in.
    standing
        How usual the pair is, in words.
    """
    open_ = candidate.open_beyond(shared.open)
    outcome: Outcome = "possible-with-warnings" if open_ else "fits"
    if candidate.serious_beyond(shared.serious):
        outcome = "does-not-fit"
    elif candidate.cooler or candidate.changes:
        outcome = "fits-after-change"
    first, second = (Partner(s.id, p) for s, p in candidate.doses)
    return PairOption(
        first=first,
        second=second,
        outcome=outcome,
        weakest=_weakest(candidate),
        counts=candidate.counts,
        why=words.pair_why(standing, open_),
    )


def _first_fault(base: BaseFormula, candidate: Candidate, shared: Shared) -> Finding | None:
    """The serious finding that keeps a candidate out; what the law forbids first, since no dose can
    mend it."""
    for check in sorted(CHECKS, key=lambda c: ("law" not in c.levers, not c.must_pass)):
        found = int((candidate.codes[check.id] == SERIOUS).sum())
        if found <= shared.serious.get(check.id, 0):
            continue
        arrays = base.arrays_of([candidate])
        figures = check.compute(arrays)
        codes = np.atleast_2d(check.judge(figures))
        order = [j for j in most_critical_first(figures, codes) if codes[0, j] == SERIOUS]
        own = _own_first(base, check, arrays, order)
        return finding_of(check, arrays, figures, own, int(codes[0, own]), None, {})
    return None


def _own_first(base: BaseFormula, check: Check, arrays: Any, order: list[int]) -> int:
    """Of several serious findings the first that the formula does not have by itself."""
    if not check.folds:
        return order[0]
    alone = np.atleast_2d(check.judge(check.compute(base.alone)))[0]
    before = {check.subject(base.alone, int(j), 0) for j in np.flatnonzero(alone == SERIOUS)}
    return next((j for j in order if check.subject(arrays, j, 0) not in before), order[0])


def _weakest(candidate: Candidate) -> Weakest:
    nothing = np.full(len(MICROBES), np.nan)
    sums = nothing if candidate.sums is None else candidate.sums
    held = nothing if candidate.held is None else candidate.held
    at = 0 if np.isnan(held).all() else int(np.nanargmin(held))
    return Weakest(MICROBES[at], _known(sums[at]), _known(held[at]))


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
