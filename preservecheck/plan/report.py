"""A plan as a report shows it: aims, steps with what they mend, and the verdict after them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.recipes import THERMOMETER_C
from preservecheck.assess.findings import counts_of
from preservecheck.checks import BY_ID
from preservecheck.formula.edit import Edit, to_json
from preservecheck.formula.model import Formula
from preservecheck.plan.build import Plan, plan_of
from preservecheck.plan.targets import Clash, Target, addition_c
from preservecheck.plan.trials import Key, Trials, Wrong, codes_of
from preservecheck.plan.words import step_words
from preservecheck.verdict import PASS, SERIOUS, WARN, WORDS, Finding, Word


@dataclass(frozen=True)
class PlanStep:
    """What a maker does in one go."""

    do: str
    changes: tuple[Edit, ...]
    mends: tuple[Key, ...]

    def to_json(self) -> dict[str, Any]:
        """Words, edits, and the findings that they mend."""
        return {
            "do": self.do,
            "changes": [to_json(edit) for edit in self.changes],
            "mends": [list(key) for key in self.mends],
        }


@dataclass(frozen=True)
class After:
    """The verdict with all steps made, and what is left."""

    verdict: Word
    counts: Mapping[str, int]
    left: tuple[Key, ...]

    def to_json(self) -> dict[str, Any]:
        """Verdict, counts and what does not pass."""
        return {
            "verdict": self.verdict,
            "counts": dict(self.counts),
            "left": [list(key) for key in self.left],
        }


@dataclass(frozen=True)
class PlanReport:
    """The plan of a formula as its report shows it."""

    targets: Mapping[str, Target]
    steps: tuple[PlanStep, ...]
    after: After
    clash: Clash | None
    # not part of the JSON
    formula: Formula  # with the steps made
    mended_by: Mapping[Key, tuple[str, tuple[Edit, ...]]] = field(default_factory=dict)

    def to_json(self) -> dict[str, Any]:
        """The keys that other programs read."""
        return {
            "targets": {name: target.to_json() for name, target in self.targets.items()},
            "clash": None if self.clash is None else self.clash.to_json(),
            "steps": [step.to_json() for step in self.steps],
            "after": self.after.to_json(),
        }

    def told(self, finding: Finding) -> Finding:
        """A finding with the remedy that was found for it."""
        found = self.mended_by.get((finding.id, finding.about))
        if found is None:
            code = SERIOUS if finding.serious else WARN
            otherwise = BY_ID[finding.id].unanswered.get(code)
            told = finding.verdict == "warn" and otherwise is not None
            return replace(finding, do=otherwise) if told else finding
        do, edits = found
        return replace(finding, do=do, changes=tuple(to_json(edit) for edit in edits))


def planned(
    trials: Trials,
    formula: Formula,
    case: FormulaArrays | None = None,
    known: tuple[dict[Key, int], int] | None = None,
) -> PlanReport:
    """The plan of a formula, worded.

    Parameters
    ----------
    trials
        Judges.
    formula
        As it is.
    case, known
        The same as arrays, and the codes of its findings with the number of those that a trial
        settled, where they are known already.
    """
    case = case or trials.arrays([formula])
    known = known or codes_of(case, formula.settled)
    before = Wrong({key: code for key, code in known[0].items() if code > PASS})
    plan = plan_of(trials, formula, case, before)
    opened = case.compositions[0]
    codes, settled = known
    if plan.steps:
        codes, settled = codes_of(trials.arrays([plan.formula]), plan.formula.settled)
    worst = max(codes.values())
    steps = tuple(
        PlanStep(step_words(s.edits, opened, plan.ph), s.edits, s.mends) for s in plan.steps
    )
    mended_by = {
        key: (step_words(edits, opened, plan.ph), edits) for key, edits in plan.mended_by.items()
    }
    after = After(
        WORDS[worst] or "unknown",
        counts_of(list(codes.values()), settled),
        tuple(key for key, code in codes.items() if code > PASS),
    )
    return PlanReport(targets_of(trials, plan), steps, after, plan.clash, plan.formula, mended_by)


def targets_of(trials: Trials, plan: Plan) -> dict[str, Target]:
    """One aim each for the pH, the temperature of addition and the dose of each system."""
    opened = trials.compose(plan.formula)
    out: dict[str, Target] = {} if plan.ph is None else {"ph": plan.ph}
    rows = [trials.systems[s.id] for s in opened.systems if s.id in trials.systems]
    limits = [row.heat_limit_c for row in rows]
    heated = any(p.heated_to_c is not None for p in plan.formula.phases)
    if limits and heated:
        to = addition_c(limits, THERMOMETER_C)
        out["add_at_c"] = Target(to, 20.0, min(limits) - THERMOMETER_C, "°C")
    for use in opened.systems:
        row = trials.systems.get(use.id)
        if row is not None:
            ends = row.usage_min_percent, row.usage_max_percent
            out[f"percent.{use.id}"] = Target(use.percent, *ends, "%")
    return out
