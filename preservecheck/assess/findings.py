"""What the checks say of one formula, in words, and what preserves it."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays, formula_arrays
from preservecheck.arrays.tables import TableArrays
from preservecheck.assess.uncertainty import INPUTS, READINGS, SURE, chances, drawn, shares
from preservecheck.checks import CHECKS
from preservecheck.checks.base import Check, most_critical_first
from preservecheck.formula.compose import Composer, Composition
from preservecheck.formula.model import Formula
from preservecheck.reference.load import Tables
from preservecheck.verdict import (
    PASS,
    SERIOUS,
    UNKNOWN,
    WARN,
    WORDS,
    Evidence,
    Finding,
    Floats,
)


@dataclass(frozen=True)
class Part:
    """One active in the formula and what brought it in."""

    inci: str
    percent: float
    origin: str


@dataclass(frozen=True)
class Preservative:
    """A system in the formula, or what a raw material carries in."""

    id: str
    percent: float
    actives: tuple[Part, ...]
    carried_in: bool = False

    def to_json(self) -> dict[str, Any]:
        """Amount and actives, each with what brought it in."""
        actives = [{"inci": a.inci, "percent": a.percent, "from": a.origin} for a in self.actives]
        return {"id": self.id, "percent": self.percent, "actives": actives}


@lru_cache(maxsize=4)
def table_arrays_for(tables: Tables) -> TableArrays:
    """The reference arrays of a set of tables, built once."""
    return TableArrays(tables)


@lru_cache(maxsize=4)
def composer_for(tables: Tables) -> Composer:
    """The composer of a set of tables, built once."""
    return Composer(tables)


def arrays_of(formula: Formula, tables: Tables, today: dt.date) -> FormulaArrays:
    """One formula as the arrays that the checks judge."""
    return formula_arrays([composer_for(tables).compose(formula)], table_arrays_for(tables), today)


@dataclass(frozen=True)
class CodedFinding:
    """A finding with its code."""

    code: int
    finding: Finding
    place: int


def findings_of(case: FormulaArrays, checks: Iterable[Check] = CHECKS) -> Iterable[CodedFinding]:
    """Findings of a single case, check by check, subject by subject, each with its root."""
    return _with_roots(list(_found(case, checks)))


def _with_roots(found: list[CodedFinding]) -> list[CodedFinding]:
    """The findings, each with the one that it comes down to, where there is one that warns, or for
    what is unknown one that is unknown."""
    codes = {(f.finding.id, f.finding.about): f.code for f in found}
    nearest = {
        (f.finding.id, f.finding.about): next(
            (cause for cause in f.finding.causes if codes.get(cause, PASS) >= min(f.code, WARN)),
            None,
        )
        for f in found
        if f.code > PASS
    }

    def root(of: tuple[str, str]) -> tuple[str, str] | None:
        met, at = {of}, nearest.get(of)
        while at is not None and (further := nearest.get(at)) is not None and at not in met:
            met.add(at)
            at = further
        return None if at in met else at

    return [
        replace(f, finding=replace(f.finding, root=root((f.finding.id, f.finding.about))))
        for f in found
    ]


def _found(case: FormulaArrays, checks: Iterable[Check]) -> Iterable[CodedFinding]:
    """Findings of a single case without their roots."""
    cloud = drawn(case)
    for check in checks:
        figures = check.compute(case)
        each = np.atleast_2d(check.judge(figures))
        codes = each[0]
        chance = chances(check, cloud)
        chance = None if chance is None else chance.reshape(codes.shape)
        due = _shares(check, case, chance)
        found: dict[str, CodedFinding] = {}
        # several rows about one matter: the worst is shown, and of several alike the one that
        # presses hardest
        for j in most_critical_first(figures, each):
            finding = finding_of(check, case, figures, j, int(codes[j]), chance, due[j])
            if (shown := found.get(finding.about)) is None:
                found[finding.about] = CodedFinding(code=int(codes[j]), finding=finding, place=j)
            else:
                used = tuple(
                    Evidence(e.row, own=e.own) for e in finding.evidence if e.row is not None
                )
                evidence = (*shown.finding.evidence, *used)
                found[finding.about] = replace(
                    shown, finding=replace(shown.finding, evidence=evidence)
                )
        yield from sorted(found.values(), key=lambda f: f.place)


def _shares(
    check: Check, case: FormulaArrays, chance: Floats | None
) -> dict[int, dict[str, float]]:
    """For each subject that is not sure either way, the share of its spread by input."""
    out: dict[int, dict[str, float]] = defaultdict(dict)
    if chance is None or not ((chance > 1 - SURE) & (chance < SURE)).any():
        return out
    for name, share in shares(check, case).items():
        flat = share.reshape(chance.shape)
        for j in np.flatnonzero((chance > 1 - SURE) & (chance < SURE) & (flat > 0)):
            out[int(j)][name] = round(float(flat[j]), 3)
    return out


def finding_of(
    check: Check,
    case: FormulaArrays,
    figures: Mapping[str, Floats],
    j: int,
    code: int,
    chance: Floats | None,
    due: dict[str, float],
) -> Finding:
    """One finding in words."""
    one = {name: _at(array, j) for name, array in figures.items()}
    if check.forecast is not None and chance is not None:
        one["share_of_draws"] = float(chance[j])
    words = check.explain(case, one, j, code)
    said = one[check.forecast] if check.forecast is not None else _at(chance, j)
    likely = None if np.isnan(said) or code == UNKNOWN else round(said, 3)
    because = words.because
    near = code == PASS and check.forecast is None and likely is not None and likely < SURE
    if near and likely is not None:
        because += (
            f" It passes by less than its uncertainty: {likely * 100:.0f} chances in "
            f"100{_mostly(due)}."
        )
    return Finding(
        id=check.id,
        about=words.about,
        verdict=WORDS[code] or "unknown",
        serious=code == SERIOUS,
        chance=likely,
        due_to=due,
        figures=words.figures,
        because=because,
        do=words.do,
        evidence=words.evidence,
        parts=words.parts or (words.about,),
        chance_told=near or check.forecast is not None,
        subject_told=words.subject_told,
        hint=words.hint,
        causes=words.causes,
    )


def _mostly(due: dict[str, float]) -> str:
    """The input to improve first, and the reading to improve first where that is another one."""
    if not due:
        return ""
    first = max(due, key=lambda n: due[n])
    text = f", {due[first] * 100:.0f} % of it due to {INPUTS[first]}"
    readings = [n for n in due if n in READINGS]
    if readings and first not in readings:
        best = max(readings, key=lambda n: due[n])
        text += f"; of your own readings improve {READINGS[best]} first"
    return text


def _at(array: Floats | None, j: int) -> float:
    """Value of subject ``j`` of the single case; an array with one subject holds for all."""
    if array is None:
        return float("nan")
    flat = np.asarray(array, dtype=float).reshape(-1)
    return float(flat[j if flat.size > 1 else 0])


def counts_of(codes: list[int], settled: int = 0) -> dict[str, int]:
    """How many findings pass, warn and are unknown; a serious one warns as well, and one that a
    trial settled passes as well."""
    return {
        "pass": codes.count(PASS),
        "warn": codes.count(WARN) + codes.count(SERIOUS),
        "serious": codes.count(SERIOUS),
        "unknown": codes.count(UNKNOWN),
        "settled": settled,
    }


def preservatives(composition: Composition, case: FormulaArrays) -> tuple[Preservative, ...]:
    """Systems with their actives, then what raw materials carry in."""
    acting = set(case.reference.actives)
    out = []
    for use in composition.systems:
        lines = {
            a.line for a in composition.additions if composition.systems[a.system].id == use.id
        }
        parts = [
            p
            for p in composition.portions
            if p.line in lines and p.substance in acting and not p.carried_in
        ]
        out.append(
            Preservative(
                id=use.id,
                percent=use.percent,
                actives=tuple(
                    Part(inci=p.substance, percent=p.percent, origin=p.origin) for p in parts
                ),
            )
        )
    carried: dict[str, list[Part]] = {}
    for p in composition.portions:
        if p.carried_in and p.preserving:
            carried.setdefault(p.origin, []).append(
                Part(inci=p.substance, percent=p.percent, origin=p.origin)
            )
    return (
        *out,
        *(
            Preservative(
                id=f"carried in by {origin}",
                percent=sum(a.percent for a in parts),
                actives=tuple(parts),
                carried_in=True,
            )
            for origin, parts in carried.items()
        ),
    )
