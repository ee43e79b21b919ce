"""What ``choose`` says about a system in a formula."""

from __future__ import annotations

from typing import Any

import numpy as np

from preservecheck.arrays.forms import MICROBES
from preservecheck.arrays.formulas import FormulaArrays, formula_arrays
from preservecheck.assess.review import finding_of, table_arrays_for
from preservecheck.checks import CHECKS, legal_limit, pairs, water_activity
from preservecheck.checks.base import Check, most_critical_first
from preservecheck.ranking.base import Host, added_below, one_each
from preservecheck.ranking.candidate import MUST_PASS, Candidate
from preservecheck.ranking.ph import rounded
from preservecheck.ranking.result import Option, Outcome, Weakest, known
from preservecheck.reference.rows_materials import System
from preservecheck.text import join_and, number
from preservecheck.verdict import PASS, SERIOUS, WARN, Finding


def option_of(
    host: Host,
    candidate: Candidate,
    first: Candidate,
    ends: tuple[float, float, float, float],
    chance: float | None,
) -> Option:
    """What a trial would do, with the ends of dose and pH and the chance of passing."""
    low, high, ph_low, ph_high = ends
    formula = host.formula_with(candidate)
    sums = candidate.sums if candidate.sums is not None else np.array([np.nan])
    at = int(np.nanargmin(sums)) if not np.isnan(sums).all() else 0
    outcome: Outcome = (
        "fits"
        if candidate.fits and not candidate.changes
        else "fits-after-change"
        if candidate.fits
        else "does-not-fit"
    )
    fault = _first_fault(host, first) if outcome == "does-not-fit" else None
    grams = candidate.percent / 100 * host.batch_g if host.batch_g else None
    step = candidate.scale_step_g or host.bare.product.scale_step_g
    return Option(
        id=candidate.system.id,
        outcome=outcome,
        percent=candidate.percent,
        percent_low=known(low),
        percent_high=known(high),
        ph=candidate.ph if candidate.ph is not None else host.ph,
        ph_low=rounded(ph_low, up=True),
        ph_high=rounded(ph_high, up=False),
        add_below_c=added_below(candidate.system),
        phase=host.phase_name(candidate),
        grams=grams,
        scale_error_percent=100 * step / grams if step and grams else None,
        changes=candidate.changes if outcome == "fits-after-change" else (),
        partner=candidate.partner.id if candidate.partner and candidate.fits else None,
        partner_percent=candidate.partner_percent if candidate.partner and candidate.fits else None,
        counts=candidate.counts,
        weakest=Weakest(microbe=MICROBES[at], sum_of_ratios=known(float(sums[at]))),
        chance=None if chance is None else round(chance, 3),
        why=_why(candidate, fault),
        own=candidate.system.id in host.own,
        formula=formula,
        check=fault.id if fault else None,
        outside=candidate.outside if outcome == "fits-after-change" else (),
    )


def no_room(host: Host, system: System) -> Option:
    """A system of which more has to go in than the formula can give way to."""
    why = (
        f"dose: it takes {number(system.usage_min_percent)} % and more of the whole formula, and "
        "only "
        f"{number(host.room)} % of this one can give way"
    )
    return Option(
        id=system.id,
        outcome="does-not-fit",
        percent=None,
        percent_low=None,
        percent_high=None,
        ph=host.ph,
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
        weakest=Weakest(microbe=MICROBES[0], sum_of_ratios=None),
        chance=None,
        why=why,
        own=system.id in host.own,
        check="dose",
    )


def before_any(host: Host) -> tuple[str, ...]:
    """What is to be said of the formula itself, whatever preservative goes in."""
    case = formula_arrays([host.base], table_arrays_for(host.tables), host.today)
    out = []
    if case.dry[0]:
        dryness: Any = water_activity
        finding = _finding(dryness, case, 0)
        out.append(f"{finding.because} It needs no preservative as long as no water gets in.")
    matters: tuple[Any, ...] = (legal_limit, pairs)
    for check in matters:
        figures = check.compute(case)
        codes = one_each(check, case, figures, np.atleast_2d(check.judge(figures)))[0]
        for j in np.flatnonzero(codes >= SERIOUS):
            finding = _finding(check, case, int(j))
            out.append(
                f"Mend this first, no preservative can: {finding.because} "
                f"{finding.do or ''}".strip()
            )
    return tuple(out)


def _finding(check: Check, case: FormulaArrays, j: int) -> Finding:
    """One finding of a check on the first case."""
    figures = check.compute(case)
    return finding_of(
        check, case, figures, j, int(np.atleast_2d(check.judge(figures))[0, j]), None, {}
    )


def _why(candidate: Candidate, fault: Finding | None) -> str:
    """One line: what speaks for it, or the first thing that is wrong."""
    if candidate.fits and not candidate.changes:
        warned = [c for c, code in candidate.worst.items() if code == WARN]
        return "passes what it must" + (f"; look at {join_and(warned)}" if warned else "")
    if candidate.fits:
        return f"{'; '.join(candidate.changes)}: then it passes what it must"
    return f"{fault.id}: {fault.because}" if fault else "it does not pass"


def _first_fault(host: Host, candidate: Candidate) -> Finding | None:
    """What is wrong with a trial, the worst first."""
    case = host.case_of([candidate])
    # what the law forbids no dose can mend, so it is said first
    ranked = sorted(
        CHECKS,
        key=lambda c: (-candidate.worst[c.ID], c.ID != legal_limit.ID, c.ID not in MUST_PASS),
    )
    check = next(
        (
            c
            for c in ranked
            if candidate.worst[c.ID] > PASS
            and (c.ID in MUST_PASS or candidate.worst[c.ID] == SERIOUS)
        ),
        None,
    )
    if check is None:
        return None
    figures = check.compute(case)
    return _finding(
        check, case, most_critical_first(figures, np.atleast_2d(check.judge(figures)))[0]
    )
