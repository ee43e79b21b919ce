"""Findings that a trial answered: they pass with what was seen, as long as what they rest on has
not changed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.assess.findings import CodedFinding
from preservecheck.checks import BY_ID, current_id
from preservecheck.formula.model import Settled
from preservecheck.text import join_and, number
from preservecheck.verdict import PASS, WARN, Finding, Settlement

# figures are compared as a report prints them
DIGITS = 4
SAME = 1e-3


def settle(
    found: Iterable[CodedFinding], case: FormulaArrays, answers: Iterable[Settled]
) -> tuple[list[CodedFinding], tuple[str, ...]]:
    """The findings with the answers of a formula's file, and remarks on answers without a finding.

    A warning that a trial can answer passes with what was seen. Where something that it rests on
    has changed since, the answer has lapsed: the warning stands and asks for the trial again. What
    is serious is never settled.

    Parameters
    ----------
    found
        What the checks say of a formula.
    case
        That formula.
    answers
        As its file has them.
    """
    by_subject = {(current_id(a.check), a.about): a for a in answers}
    out, met = [], set()
    for f in found:
        key = (f.finding.id, f.finding.about)
        basis = rests_on(case, f.finding) if can_settle(f) else {}
        answer = by_subject.get(key)
        if answer is not None:
            met.add(key)
        if answer is None or not basis:
            out.append(replace(f, finding=replace(f.finding, rests_on=basis)))
            continue
        out.append(_answered(f, answer, basis))
    remarks = tuple(
        f"The answer of {a.on} to {key[0]} about {a.about} meets no finding; take it out"
        for key, a in by_subject.items()
        if key not in met
    )
    return out, remarks


def can_settle(found: CodedFinding) -> bool:
    """Whether a trial can answer a finding: a warning, not serious, of a check that says so."""
    return found.code == WARN and BY_ID[found.finding.id].by_trial


def rests_on(case: FormulaArrays, finding: Finding) -> dict[str, float]:
    """The figures, amounts and readings that a finding rests on, as they are printed."""
    c = case.reference
    out = {f.key: f.value for f in finding.figures if f.value is not None}
    systems = {
        c.systems.rows[int(s)].id: float(p)
        for s, p in zip(case.system[0], case.system_percent[0], strict=True)
        if s >= 0
    }
    whole = finding.about == "formula"
    out |= {name: p for name, p in systems.items() if whole or name in finding.parts}
    out |= {p: float(case.amount[0, c.index[p]]) for p in finding.parts if p in c.index}
    if whole and math.isfinite(case.ph[0]):
        out["ph"] = float(case.ph[0])
    return {name: float(f"{value:.{DIGITS}g}") for name, value in out.items()}


def _answered(found: CodedFinding, answer: Settled, basis: Mapping[str, float]) -> CodedFinding:
    """A finding with its answer, which holds or has lapsed."""
    changed = [
        (name, was, basis.get(name))
        for name, was in answer.rests_on.items()
        if not math.isclose(basis.get(name, math.nan), was, rel_tol=SAME, abs_tol=SAME**3)
    ]
    settlement = Settlement(answer.on, answer.by, answer.saw, holds=not changed)
    finding = replace(found.finding, settled=settlement, rests_on=dict(basis))
    if changed:
        said = join_and(
            [
                f"{name} was {number(was)}, " + ("is gone" if now is None else f"is {number(now)}")
                for name, was, now in changed
            ]
        )
        lapsed = f" The answer of {answer.on} ({answer.by}) no longer holds: {said}."
        again = "Make the trial again, and write down what you see."
        finding = replace(finding, because=finding.because + lapsed, do=again)
        return replace(found, finding=finding)
    because = f"Settled on {answer.on} by {answer.by}: {answer.saw}. {finding.because}"
    if not answer.rests_on:
        because += " What it was seen on is not written down, so a later change is not noticed."
    return replace(
        found,
        code=PASS,
        finding=replace(finding, verdict="pass", chance=None, do=None, because=because, root=None),
    )
