"""The plan of invented formulas: every remedy is proven again here, by reviews of the changed
formula."""

from __future__ import annotations

import datetime as dt
import os
from collections import defaultdict

import numpy as np
import pytest

from preservecheck import load_tables
from preservecheck.assess.findings import arrays_of, composer_for, findings_of
from preservecheck.checks import CHECKS
from preservecheck.formula.build import build
from preservecheck.formula.edit import Add, Remove, Replace, SetDose, SetPh, SetTemperature, apply
from preservecheck.plan.report import planned
from preservecheck.plan.trials import Trials
from preservecheck.screen.long_table import raw_formula
from tests.generated import pile

TODAY = dt.date(2026, 11, 26)
# 2,000 take eleven minutes on one core
COUNT = int(os.environ.get("PRESERVECHECK_PLANS", "200" if os.environ.get("CI") else "100"))
SEED = 14


@pytest.fixture(scope="module")
def tables():
    return load_tables()


@pytest.fixture(scope="module")
def made(tables):
    """Invented formulas with their plans."""
    lines, products = pile(tables, COUNT, SEED)
    recipes = dict(iter(lines.groupby("formula")))
    resolver = composer_for(tables).resolver
    formulas = [
        build(
            raw_formula(recipes[product["formula"]].to_dict("records"), product, resolver),
            "",
            tables,
            TODAY,
            "sheet",
        )
        for product in products.to_dict("records")
    ]
    trials = Trials(tables, TODAY)
    return [(f, planned(trials, f)) for f in formulas]


@pytest.fixture(autouse=True)
def without_chances(monkeypatch):
    """No verdict rests on chances."""
    monkeypatch.setattr("preservecheck.assess.findings.chances", lambda *_: None)


def judged(formula, tables):
    """What a report says of a formula: the code of each finding."""
    found = findings_of(arrays_of(formula, tables, TODAY))
    return {(f.finding.id, f.finding.about): f.code for f in found}


def by_check(codes):
    """Of each check the codes of what does not pass, the worst first."""
    out = defaultdict(list)
    for (check, _), code in codes.items():
        if code > 1:
            out[check].append(code)
    return {check: sorted(found, reverse=True) for check, found in out.items()}


def nothing_worse(before, after):
    """Whether no finding got worse and no check found more, or worse, than before."""
    kept = all(after[key] <= code for key, code in before.items() if key in after)
    was, now = by_check(before), by_check(after)
    return kept and all(
        len(found) <= len(was.get(check, ()))
        and all(a <= b for a, b in zip(found, was[check], strict=False))
        for check, found in now.items()
    )


def edited(formula, edits, tables):
    return apply(formula, edits, Trials(tables, TODAY).compose)


def test_every_remedy_mends_its_finding_and_worsens_nothing(made, tables):
    """The edits beside a finding, made alone, let it pass or take its subject away."""
    tried = 0
    for formula, plan in made:
        before, results = judged(formula, tables), {}
        for key, (do, edits) in plan.mended_by.items():
            if edits not in results:
                results[edits] = judged(edited(formula, edits, tables), tables)
            after = results[edits]
            assert before[key] > 1
            assert after.get(key, 1) == 1, (formula.product.name, key, do)
            assert nothing_worse(before, after), (formula.product.name, key, do)
            tried += 1
    assert tried > COUNT / 4


def test_each_step_does_good_after_those_before_it(made, tables):
    """Steps are made one after the other; each mends what it says and worsens nothing."""
    for formula, plan in made:
        now, before = formula, judged(formula, tables)
        for step in plan.steps:
            now = edited(now, step.changes, tables)
            after = judged(now, tables)
            assert step.mends
            assert all(after.get(key, 1) < before[key] for key in step.mends)
            assert nothing_worse(before, after), (formula.product.name, step.do)
            before = after


def test_no_step_takes_back_another(made):
    """Each thing is set once, and nothing that is added goes out again."""
    for formula, plan in made:
        edits = [edit for step in plan.steps for edit in step.changes]
        assert sum(isinstance(e, SetPh) for e in edits) <= 1
        doses = [e.system for e in edits if isinstance(e, SetDose)]
        phases = [e.phase for e in edits if isinstance(e, SetTemperature)]
        added = [e.share.name for e in edits if isinstance(e, Add)]
        # what goes out and in again in one step is moved to another phase
        moved = {e.system for e in edits if isinstance(e, Remove)}.intersection(added)
        gone = [e.system for e in edits if isinstance(e, Remove) and e.system not in moved]
        gone += [e.name for e in edits if isinstance(e, Replace)]
        for names in (doses, phases, added, gone):
            assert len(names) == len(set(names)), formula.product.name
        assert set(gone).isdisjoint([*added, *doses]), formula.product.name


def test_review_of_the_mended_formula_is_what_the_plan_promised(made, tables):
    """Verdict, counts and what is left are those of a review with all steps made."""
    words = {1: "pass", 2: "unknown", 3: "warn", 4: "warn"}
    for formula, plan in made:
        edits = [edit for step in plan.steps for edit in step.changes]
        codes = judged(edited(formula, edits, tables) if edits else formula, tables)
        assert plan.after.verdict == words[max(codes.values())]
        assert set(plan.after.left) == {key for key, code in codes.items() if code > 1}
        counts = [sum(c in which for c in codes.values()) for which in ((1,), (3, 4), (4,), (2,))]
        assert [plan.after.counts[n] for n in ("pass", "warn", "serious", "unknown")] == counts


def test_numbers_are_those_that_a_person_writes(made):
    """A pH in tenths, a dose of three digits at most, a temperature in whole degrees that is lower
    than before."""
    for formula, plan in made:
        for edit in (e for step in plan.steps for e in step.changes):
            if isinstance(edit, SetPh):
                assert round(edit.to, 1) == edit.to
            elif isinstance(edit, SetDose):
                assert float(f"{edit.to:.3g}") == edit.to
            elif isinstance(edit, SetTemperature):
                phases = {p.name: p.added_at_c for p in formula.phases}
                assert edit.to == int(edit.to)
                assert (before := phases.get(edit.phase)) is None or edit.to < before


def test_subject_of_a_check_is_what_its_finding_is_about(made, tables):
    """A plan names a finding by check and subject, as a report does."""
    for formula, _ in made[:30]:
        case = arrays_of(formula, tables, TODAY)
        for check in CHECKS:
            codes = np.atleast_2d(check.judge(check.compute(case)))[0]
            named = {check.subject(case, int(j), 0) for j in np.flatnonzero(codes)}
            assert named == {f.finding.about for f in findings_of(case, (check,))}, check.id
