"""What ``choose`` says about a system in a formula."""

from __future__ import annotations

from typing import Any

import numpy as np

from preservecheck.arrays.formulas import Case, cases
from preservecheck.arrays.tables import MICROBES
from preservecheck.assess.review import context_for, finding_of
from preservecheck.checks import CHECKS, legal_limit, pairs, water_activity
from preservecheck.checks.base import Check, hardest_first
from preservecheck.ranking.base import Host, added_below, one_each
from preservecheck.ranking.candidate import MUST_PASS, Trial
from preservecheck.ranking.ph import rounded
from preservecheck.ranking.result import Option, Outcome, Weakest, known
from preservecheck.reference.rows import System
from preservecheck.text import join_and, number
from preservecheck.verdict import PASS, SERIOUS, WARN, Finding


def option_of(
    host: Host,
    trial: Trial,
    first: Trial,
    ends: tuple[float, float, float, float],
    chance: float | None,
) -> Option:
    """What a trial would do, with the ends of dose and pH and the chance of passing."""
    low, high, ph_low, ph_high = ends
    formula = host.formula_with(trial)
    sums = trial.sums if trial.sums is not None else np.array([np.nan])
    at = int(np.nanargmin(sums)) if not np.isnan(sums).all() else 0
    outcome: Outcome = (
        "fits"
        if trial.fits and not trial.changes
        else "fits-after-change"
        if trial.fits
        else "does-not-fit"
    )
    fault = _first_fault(host, first) if outcome == "does-not-fit" else None
    grams = trial.percent / 100 * host.batch_g if host.batch_g else None
    step = trial.scale_step_g or host.bare.product.scale_step_g
    return Option(
        id=trial.system.id,
        outcome=outcome,
        percent=trial.percent,
        percent_low=known(low),
        percent_high=known(high),
        ph=trial.ph if trial.ph is not None else host.ph,
        ph_low=rounded(ph_low, up=True),
        ph_high=rounded(ph_high, up=False),
        add_below_c=added_below(trial.system),
        phase=host.phase_name(trial),
        grams=grams,
        scale_error_percent=100 * step / grams if step and grams else None,
        changes=trial.changes if outcome == "fits-after-change" else (),
        partner=trial.partner.id if trial.partner and trial.fits else None,
        partner_percent=trial.partner_percent if trial.partner and trial.fits else None,
        counts=trial.counts,
        weakest=Weakest(microbe=MICROBES[at], sum_of_ratios=known(float(sums[at]))),
        chance=None if chance is None else round(chance, 3),
        why=_why(trial, fault),
        own=trial.system.id in host.own,
        formula=formula,
        check=fault.id if fault else None,
        outside=trial.outside if outcome == "fits-after-change" else (),
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
    case = cases([host.base], context_for(host.tables), host.today)
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


def _finding(check: Check, case: Case, j: int) -> Finding:
    """One finding of a check on the first case."""
    figures = check.compute(case)
    return finding_of(
        check, case, figures, j, int(np.atleast_2d(check.judge(figures))[0, j]), None, {}
    )


def _why(trial: Trial, fault: Finding | None) -> str:
    """One line: what speaks for it, or the first thing that is wrong."""
    if trial.fits and not trial.changes:
        warned = [c for c, code in trial.worst.items() if code == WARN]
        return "passes what it must" + (f"; look at {join_and(warned)}" if warned else "")
    if trial.fits:
        return f"{'; '.join(trial.changes)}: then it passes what it must"
    return f"{fault.id}: {fault.because}" if fault else "it does not pass"


def _first_fault(host: Host, trial: Trial) -> Finding | None:
    """What is wrong with a trial, the worst first."""
    case = host.case_of([trial])
    # what the law forbids no dose can mend, so it is said first
    ranked = sorted(
        CHECKS, key=lambda c: (-trial.worst[c.ID], c.ID != legal_limit.ID, c.ID not in MUST_PASS)
    )
    check = next(
        (
            c
            for c in ranked
            if trial.worst[c.ID] > PASS and (c.ID in MUST_PASS or trial.worst[c.ID] == SERIOUS)
        ),
        None,
    )
    if check is None:
        return None
    figures = check.compute(case)
    return _finding(check, case, hardest_first(figures, np.atleast_2d(check.judge(figures)))[0])
