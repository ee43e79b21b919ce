"""The smallest changes that make a system fit: cooler addition, another pH, another gum, a finer
scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from preservecheck.checks import pulled, with_lever
from preservecheck.formula.edit import Replace, SetPh, SetScale, Share
from preservecheck.ranking.base import BaseFormula
from preservecheck.ranking.candidate import Candidate
from preservecheck.ranking.mending import instead_of
from preservecheck.ranking.window import Window
from preservecheck.verdict import PASS, Floats

# steps of the scales that are sold [g]
SCALES_G = (1.0, 0.1, 0.01, 0.001)


def with_changes(
    base: BaseFormula, window: Window, candidate: Candidate, ph_low: float, ph_high: float
) -> Candidate:
    """A candidate with the smallest changes that answer its warnings, not judged yet."""
    worst = candidate.worst
    changes: list[SetPh | Replace | SetScale] = []
    cooler = pulled("temperature", worst) and base.place is not None
    if pulled("ph", worst):
        target = window.target_ph(ph_low, ph_high, candidate.system)
        if target is not None and target != base.ph:
            changes.append(SetPh(target))
    if pulled("gum", worst) and candidate.system.charge == "cationic":
        changes += [Replace(gum, by) for gum, by in anionic_gums(base)]
    # a scale that is merely coarse counts where the dose has left its range
    coarse = any(worst[check.id] > PASS for check in with_lever("scale"))
    by_scale = pulled("scale", worst) or (coarse and pulled("dose", worst))
    if by_scale and (step := _finer_scale(base, candidate.percent)) is not None:
        changes.append(SetScale(step))
    if not (cooler or changes):
        return candidate
    return replace(candidate, cooler=cooler, changes=tuple(changes), codes={})


ANIONIC = "anionic polymer"


def _finer_scale(base: BaseFormula, percent: float) -> float | None:
    """The coarsest scale on which a dose is weighed well. [g]"""
    grams = percent / 100 * (base.batch_g or 0.0)
    allowed = min(check.lines[0] for check in with_lever("scale") if check.lines)
    return next((s for s in SCALES_G if s <= grams * allowed / 100), None)


def anionic_gums(base: BaseFormula) -> list[tuple[str, Share]]:
    """INCI names of the anionic gums and polymers on lines of their own, with what takes the place
    of each."""
    rows = base.composer.resolver.ingredients
    names = dict.fromkeys(line.inci for line in base.opened.lines if line.inci in rows)
    gums = [rows[inci] for inci in names if inci and rows[inci].role == ANIONIC]
    found = [(gum.inci, instead_of(gum, (), base.tables)) for gum in gums]
    return [(inci, by) for inci, by in found if by is not None]


def with_dose_for_ph(
    base: BaseFormula, window: Window, candidates: list[Candidate], ends: Sequence[Floats]
) -> list[Candidate]:
    """Candidates that are moved to another pH, with the dose for that pH; the ends of their pH are
    set in place."""
    ph_low, ph_high = ends
    moved = [n for n, c in enumerate(candidates) if c.ph is not None]
    if not moved:
        return candidates
    systems = [candidates[n].system for n in moved]
    ph = np.array([candidates[n].ph for n in moved], dtype=float)
    least, most, percent = window.doses_of(ph, systems, exact=False)
    out = list(candidates)
    for n, a, b, p in zip(moved, least, most, percent, strict=True):
        out[n] = replace(candidates[n], percent=float(p), reach=(float(a), float(b)))
    low, high = window.ph_interval(percent, ph, systems)
    known = ~np.isnan(low)
    at = np.array(moved)[known]
    ph_low[at], ph_high[at] = low[known], high[known]
    return out
