"""What ``choose`` answers with: options in order, and the words on each."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, Literal

import numpy as np

from preservecheck.arrays.forms import MICROBES
from preservecheck.arrays.formulas import FormulaArrays, formula_arrays
from preservecheck.assess.findings import finding_of, table_arrays_for
from preservecheck.checks import CHECKS, with_key, with_lever
from preservecheck.checks.base import Check, most_critical_first
from preservecheck.formula.edit import Edit, Replace
from preservecheck.formula.model import Formula
from preservecheck.provenance import Provenance
from preservecheck.ranking.base import BaseFormula, one_each
from preservecheck.ranking.candidate import Candidate, added_below
from preservecheck.ranking.changes import GUM
from preservecheck.ranking.window import inside
from preservecheck.reference.rows import System
from preservecheck.text import join_and, number
from preservecheck.verdict import PASS, SERIOUS, WARN, Finding

Outcome = Literal["fits", "fits-after-change", "does-not-fit"]
OUTCOMES: tuple[Outcome, ...] = ("fits", "fits-after-change", "does-not-fit")
ORDER = (
    "Fits before fits after a change before the rest; then no serious warning, fewest warnings, "
    "the best chance of the weakest microbe in a challenge test, the best chance of passing."
)
# of a dose or pH to be written into the formula: as many as it has, so that review finds what was
# promised
DIGITS = 9


@dataclass(frozen=True)
class Weakest:
    """The microbe with the smallest chance of being controlled in a challenge test."""

    microbe: str
    sum_of_ratios: float | None
    challenge_chance: float | None


@dataclass(frozen=True, kw_only=True)
class Option:
    """What one system would do in the formula."""

    id: str
    outcome: Outcome
    percent: float | None
    percent_low: float | None
    percent_high: float | None
    # at which the dose is recommended; the ends of the dose are at the measured pH
    ph: float | None
    ph_low: float | None
    ph_high: float | None
    add_below_c: float | None
    phase: str
    grams: float | None
    scale_error_percent: float | None
    changes: tuple[str, ...]
    partner: str | None
    partner_percent: float | None
    counts: dict[str, int]
    weakest: Weakest
    chance: float | None
    why: str
    own: bool
    # not part of the JSON
    formula: Formula | None = None  # with the recommendation in it
    edits: tuple[Edit, ...] = ()  # that make it of the formula without its own preservatives
    check: str | None = None  # the first that stands in the way of what does not fit
    # of the changes those that no recipe can hold: a reading, a scale
    outside: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """The keys that other programs read."""
        unwritten = ("formula", "edits", "check", "outside")
        data = {f.name: getattr(self, f.name) for f in fields(self) if f.name not in unwritten}
        return data | {"changes": list(self.changes), "weakest": dict(vars(self.weakest))}


@dataclass(frozen=True, kw_only=True)
class Choice(Provenance):
    """What ``choose`` says about one formula."""

    ph: float | None
    markets: tuple[str, ...]
    order: str
    narrowed: tuple[str, ...]
    remarks: tuple[str, ...] = ()  # on the formula, whatever preservative goes in
    systems: tuple[Option, ...]

    def to_json(self) -> dict[str, Any]:
        """The keys that other programs read, in ranked order."""
        return {
            **super().to_json(),
            "name": self.name,
            "ph": self.ph,
            "markets": list(self.markets),
            "order": self.order,
            "narrowed": list(self.narrowed),
            "remarks": list(self.remarks),
            "systems": [option.to_json() for option in self.systems],
        }


def rank(option: Option) -> tuple[float, ...]:
    """What options are sorted by, best first."""
    return (
        OUTCOMES.index(option.outcome),
        option.percent is None,  # what there is no room for
        option.counts["serious"],
        option.counts["warn"],
        -(option.weakest.challenge_chance or 0.0),
        -(option.chance or 0.0),
    )


def option_of(
    base: BaseFormula,
    candidate: Candidate,
    first: Candidate,
    ends: tuple[float, float, float, float],
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
    ends
        Lowest and highest dose, lowest and highest pH. [%], [-]
    chance
        Of passing.
    """
    ph_low, ph_high = inside(ends[2], up=True), inside(ends[3], up=False)
    changes = _changes(base, candidate, ph_low, ph_high) if candidate.fits else []
    outcome: Outcome = "does-not-fit"
    if candidate.fits:
        outcome = "fits-after-change" if changes else "fits"
    fault = None if candidate.fits else _first_fault(base, first)
    nothing = np.full(len(MICROBES), np.nan)
    sums = nothing if candidate.sums is None else candidate.sums
    held = nothing if candidate.held is None else candidate.held
    weakest = 0 if np.isnan(held).all() else int(np.nanargmin(held))
    grams = candidate.percent / 100 * base.batch_g if base.batch_g else None
    step = candidate.scale_step_g or base.formula.product.scale_step_g
    partner = candidate.partner if candidate.fits else None
    return Option(
        id=candidate.system.id,
        outcome=outcome,
        percent=candidate.percent,
        percent_low=_known(ends[0]),
        percent_high=_known(ends[1]),
        ph=base.ph if candidate.ph is None else candidate.ph,
        ph_low=ph_low,
        ph_high=ph_high,
        add_below_c=added_below(candidate.system),
        phase=base.phase_of(candidate),
        grams=grams,
        scale_error_percent=100 * step / grams if step and grams else None,
        changes=tuple(text for text, _ in changes),
        partner=partner.id if partner else None,
        partner_percent=candidate.partner_percent if partner else None,
        counts=candidate.counts,
        weakest=Weakest(MICROBES[weakest], _known(sums[weakest]), _known(held[weakest])),
        chance=None if chance is None else round(chance, 3),
        why=_why(candidate, [text for text, _ in changes], fault),
        own=candidate.system.id in base.own_rows,
        formula=base.formula_with(candidate),
        edits=base.edits_of(candidate),
        check=fault.id if fault else None,
        outside=tuple(text for text, in_recipe in changes if not in_recipe),
    )


def no_room(base: BaseFormula, system: System) -> Option:
    """A system of which more has to go in than the formula can give way to."""
    check = with_lever("dose")[0].id
    why = (
        f"{check}: it takes {number(system.usage_min_percent)} % and more of the whole formula, "
        f"and only {number(base.room)} % of this one can give way"
    )
    return Option(
        id=system.id,
        outcome="does-not-fit",
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
        partner_percent=None,
        counts={"pass": 0, "warn": 0, "serious": 0, "unknown": 0},
        weakest=Weakest(MICROBES[0], None, None),
        chance=None,
        why=why,
        own=system.id in base.own_rows,
        check=check,
    )


def _changes(
    base: BaseFormula, candidate: Candidate, ph_low: float | None, ph_high: float | None
) -> list[tuple[str, bool]]:
    """What is to be changed for a candidate, in words, and whether a recipe can hold it."""
    out = []
    if base.displaces_water(candidate.system):
        out.append(
            (
                f"let it take the place of {number(candidate.percent, DIGITS)} % water, which "
                "makes another product: try the base anew",
                True,
            )
        )
    if candidate.cooler and (place := base.place):
        before = place.added_at_c if place.added_at_c is not None else place.heated_to_c
        instead = "" if before is None else f" instead of {before:.0f} °C"
        out.append((f"add it at {candidate.added_at_c:.0f} °C or cooler{instead}", True))
    if candidate.ph is not None and base.ph is None:
        span = f"{number(ph_low or 0)} to {number(ph_high or 0)}"
        out.append((f"measure the pH, which is not known: it must lie at {span}", False))
    elif candidate.ph is not None and candidate.ph != base.ph:
        way, side = ("lower", "below") if candidate.ph < (base.ph or 0) else ("raise", "above")
        now, target = number(base.ph or 0, DIGITS), number(candidate.ph, DIGITS)
        out.append((f"{way} the pH from {now} to {target} or {side}", False))
    gums = {e.name for e in candidate.changes if isinstance(e, Replace)}
    if names := sorted({line.name for line in base.opened.lines if line.inci in gums}):
        out.append((f"replace {join_and(names)} by {GUM}", True))
    if candidate.scale_step_g is not None:
        out.append((f"weigh it on a scale that shows {number(candidate.scale_step_g)} g", False))
    if candidate.partner is not None:
        dose = number(candidate.partner_percent, DIGITS)
        out.append((f"pair it with {dose} % {candidate.partner.id}", True))
    return out


def _why(candidate: Candidate, changes: list[str], fault: Finding | None) -> str:
    """One line: what speaks for it, or the first thing that is wrong."""
    if changes:
        return f"{'; '.join(changes)}: then it passes what it must"
    if candidate.fits:
        warned = [c for c, code in candidate.worst.items() if code == WARN]
        return "passes what it must" + (f"; look at {join_and(warned)}" if warned else "")
    return f"{fault.id}: {fault.because}" if fault else "it does not pass"


def _first_fault(base: BaseFormula, candidate: Candidate) -> Finding | None:
    """What is wrong with a candidate, the worst first."""
    # what the law forbids no dose can mend, so it is said first
    ranked = sorted(
        CHECKS, key=lambda c: (-candidate.worst[c.id], "law" not in c.levers, not c.must_pass)
    )
    for check in ranked:
        worst = candidate.worst[check.id]
        if worst > PASS and (check.must_pass or worst == SERIOUS):
            arrays = base.arrays_of([candidate])
            figures = check.compute(arrays)
            codes = np.atleast_2d(check.judge(figures))
            return _finding(check, arrays, most_critical_first(figures, codes)[0])
    return None


def remarks_on(base: BaseFormula) -> tuple[str, ...]:
    """What is to be said of the formula itself, whatever preservative goes in."""
    arrays = formula_arrays([base.opened], table_arrays_for(base.tables), base.today)
    out = []
    if arrays.dry[0]:
        finding = _finding(with_key("water_activity"), arrays, 0)
        out.append(f"{finding.because} It needs no preservative as long as no water gets in.")
    # what stands in the formula, whatever goes in: rows of the law and of incompatibilities
    for check in (c for c in CHECKS if c.folds):
        figures = check.compute(arrays)
        codes = one_each(check, arrays, figures, np.atleast_2d(check.judge(figures)))[0]
        for j in np.flatnonzero(codes >= SERIOUS):
            finding = _finding(check, arrays, int(j))
            mend = f"Mend this first, no preservative can: {finding.because}"
            out.append(f"{mend} {finding.do}" if finding.do else mend)
    return tuple(out)


def _finding(check: Check, arrays: FormulaArrays, j: int) -> Finding:
    """One finding of a check on the first formula."""
    figures = check.compute(arrays)
    code = int(np.atleast_2d(check.judge(figures))[0, j])
    return finding_of(check, arrays, figures, j, code, None, {})


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
