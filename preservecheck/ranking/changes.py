"""The smallest changes that make a system fit: cooler addition, another pH, another gum, a finer
scale, a partner."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from preservecheck.checks import pulled, with_lever
from preservecheck.formula.edit import Replace, SetPh, SetScale, Share
from preservecheck.ranking.base import BaseFormula
from preservecheck.ranking.candidate import Candidate
from preservecheck.ranking.window import Window
from preservecheck.verdict import PASS, Floats

# nonionic; takes the place of anionic gums
GUM = "Hydroxyethylcellulose"
# steps of the scales that are sold [g]
SCALES_G = (1.0, 0.1, 0.01, 0.001)


def with_changes(
    base: BaseFormula, window: Window, candidate: Candidate, ph_low: float, ph_high: float
) -> Candidate:
    """A candidate with the smallest changes that answer its warnings, not judged yet."""
    worst = candidate.worst
    changes: list[SetPh | Replace | SetScale] = []
    cooler = pulled("temperature", worst) and base.place is not None
    asks_for_ph = base.ph is None or pulled("ph", worst)
    if asks_for_ph and (target := window.target_ph(ph_low, ph_high)) is not None:
        changes.append(SetPh(target))
    if pulled("gum", worst) and candidate.system.charge == "cationic":
        changes += [Replace(gum, Share("ingredient", GUM)) for gum in anionic_gums(base)]
    # a scale that is merely coarse counts where the dose has left its range
    coarse = any(worst[check.id] > PASS for check in with_lever("scale"))
    by_scale = pulled("scale", worst) or (coarse and pulled("dose", worst))
    if by_scale and (step := _finer_scale(base, candidate.percent)) is not None:
        changes.append(SetScale(step))
    if not (cooler or changes):
        return candidate
    return replace(candidate, cooler=cooler, changes=tuple(changes), codes={})


def _finer_scale(base: BaseFormula, percent: float) -> float | None:
    """The coarsest scale on which a dose is weighed well. [g]"""
    grams = percent / 100 * (base.batch_g or 0.0)
    allowed = min(check.lines[0] for check in with_lever("scale") if check.lines)
    return next((s for s in SCALES_G if s <= grams * allowed / 100), None)


def anionic_gums(base: BaseFormula) -> list[str]:
    """INCI names of the anionic gums and polymers on lines of their own."""
    rows = base.composer.resolver.ingredients
    names = dict.fromkeys(line.inci for line in base.opened.lines if line.inci in rows)
    return [inci for inci in names if inci and rows[inci].role == "anionic polymer"]


def with_dose_for_ph(
    base: BaseFormula, window: Window, candidates: list[Candidate], ends: Sequence[Floats]
) -> list[Candidate]:
    """Candidates at another pH with the dose for that pH, where that fits; the ends of their pH
    are set in place."""
    ph_low, ph_high = ends
    moved = [n for n, c in enumerate(candidates) if c.ph is not None and base.ph is not None]
    if not moved:
        return candidates
    systems = [candidates[n].system for n in moved]
    ph = np.array([candidates[n].ph for n in moved], dtype=float)
    percent = window.doses_of(ph, systems)[2]
    tried = base.judged(
        [replace(candidates[n], percent=float(p)) for n, p in zip(moved, percent, strict=True)]
    )
    out = list(candidates)
    for n, candidate in zip(moved, tried, strict=True):
        if candidate.fits or not out[n].fits:
            out[n] = candidate
    ph_low[moved], ph_high[moved] = window.ph_interval(
        np.array([out[n].percent for n in moved]), ph, systems
    )
    return out


def with_partners(
    base: BaseFormula, window: Window, candidates: list[Candidate]
) -> list[Candidate]:
    """Candidates that leave a gap, each with the partner that does best."""
    place = {s.id: n for n, s in enumerate(window.systems)}
    pairs: list[tuple[int, int, float]] = []  # candidate, partner, pH
    for n, c in enumerate(candidates):
        ph = c.ph if c.ph is not None else base.ph
        if not c.fits and not pulled("law", c.worst) and ph is not None:
            others = (p for p in c.system.partners if p in place and p != c.system.id)
            pairs += [(n, place[p], ph) for p in others]
    if not pairs:
        return candidates
    kinds = sorted({(at, ph) for _, at, ph in pairs})
    partners = [window.systems[at] for at, _ in kinds]
    doses = window.doses_of(np.array([ph for _, ph in kinds]), partners)[2]
    dose = dict(zip(kinds, map(float, doses), strict=True))
    tried = base.judged(
        [
            replace(candidates[n], partner=window.systems[at], partner_percent=dose[at, ph])
            for n, at, ph in pairs
        ]
    )
    best = list(candidates)
    for (n, _, _), pair in zip(pairs, tried, strict=True):
        if pair.fits and (not best[n].fits or pair.merit < best[n].merit):
            best[n] = pair
    return best
