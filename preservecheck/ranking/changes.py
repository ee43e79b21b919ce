"""The smallest changes that make a system fit: cooler addition, another pH, another gum, a
partner."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from preservecheck.checks import weighing
from preservecheck.formula.names import folded
from preservecheck.ranking.base import GUM, Host
from preservecheck.ranking.candidate import Candidate, merit
from preservecheck.ranking.ph import ph_words, target_ph
from preservecheck.ranking.window import Window
from preservecheck.reference.rows_materials import System
from preservecheck.text import join_and, number
from preservecheck.verdict import PASS, SERIOUS, Floats

# of a dose to be written into the formula: as many as it has, so that review finds what was
# promised
DIGITS = 9
# steps of the scales that are sold [g]
SCALES_G = (1.0, 0.1, 0.01, 0.001)


def mended(
    host: Host, window: Window, candidate: Candidate, ph_low: float, ph_high: float
) -> Candidate:
    """The trial with the smallest changes that answer its warnings, not judged yet."""
    worst, changes, outside = candidate.worst, list(candidate.changes), list(candidate.outside)
    made: dict[str, Any] = {}
    if worst["heat-limit"] > PASS and host.phase is not None:
        made["added_at_c"] = host.target_c(candidate)
        before = host.bare.phases[host.phase] if host.phase < len(host.bare.phases) else None
        was = (
            None
            if before is None
            else before.added_at_c
            if before.added_at_c is not None
            else before.heated_to_c
        )
        instead = f" instead of {was:.0f} °C" if was is not None else ""
        changes.append(f"add it at {made['added_at_c']:.0f} °C or cooler{instead}")
    needs_ph = (
        host.ph is None
        or any(worst[c] > PASS for c in ("ph-range", "free-active", "solubility"))
        or (worst["pairs"] >= SERIOUS)
    )
    if needs_ph and (target := target_ph(host, window.case, ph_low, ph_high)) is not None:
        made["ph"] = target
        if host.ph is None:
            outside.append(
                f"measure the pH, which is not known: it must lie at {ph_words(ph_low, ph_high)}"
            )
            changes.append(outside[-1])
        elif target != host.ph:
            way = "lower" if target < host.ph else "raise"
            side = "below" if target < host.ph else "above"
            outside.append(
                f"{way} the pH from {number(host.ph, DIGITS)} to {number(target, DIGITS)} or {side}"
            )
            changes.append(outside[-1])
    if worst["ionic"] >= SERIOUS or worst["pairs"] >= SERIOUS or worst["free-active"] > PASS:
        gums = gums_of(host) if candidate.system.charge == "cationic" else {}
        if gums:
            made["without"] = frozenset(gums)
            changes.append(f"replace {join_and(sorted(gums.values()))} by {GUM}")
    by_scale = worst["weighing"] >= SERIOUS or (worst["weighing"] > PASS and worst["dose"] > PASS)
    if by_scale and (step := _finer_scale(host, candidate.percent)) is not None:
        made["scale_step_g"] = step
        outside.append(f"weigh it on a scale that shows {number(step)} g")
        changes.append(outside[-1])
    return replace(
        candidate,
        **made,
        changes=tuple(changes),
        outside=tuple(outside),
        codes={} if made else candidate.codes,
    )


def taking_its_place(host: Host, system: System, percent: float) -> tuple[str, ...]:
    """The change that a solvent among the systems makes by itself."""
    if not host.takes_the_place_of_water(system):
        return ()
    return (
        f"let it take the place of {number(percent, DIGITS)} % water, which makes another "
        "product: try the base anew",
    )


def redosed(
    host: Host, window: Window, candidates: list[Candidate], ends: Sequence[Floats]
) -> list[Candidate]:
    """Trials at another pH with the dose for that pH, where that fits; the ends of their pH are set
    in place."""
    ph_low, ph_high = ends
    moved = [i for i, t in enumerate(candidates) if t.ph is not None and host.ph is not None]
    if not moved:
        return candidates
    some = [candidates[i].system for i in moved]
    ph = np.array([candidates[i].ph for i in moved], dtype=float)
    percent = window.doses_of(ph, some)[2]
    out = list(candidates)
    for i, t in zip(
        moved,
        host.judged(
            [replace(candidates[i], percent=float(p)) for i, p in zip(moved, percent, strict=True)]
        ),
        strict=True,
    ):
        if t.fits or not candidates[i].fits:
            out[i] = t
    ph_low[moved], ph_high[moved] = window.ph_interval(
        np.array([out[i].percent for i in moved]), ph, some
    )
    return out


def _finer_scale(host: Host, percent: float) -> float | None:
    """The coarsest scale on which a dose is weighed well. [g]"""
    grams = percent / 100 * (host.batch_g or 0.0)
    return next((s for s in SCALES_G if s <= grams * weighing.WARN_PERCENT / 100), None)


def gums_of(host: Host) -> dict[str, str]:
    """Anionic gums and polymers on lines of their own: folded name to name as written."""
    rows = host.composer.opener.ingredients
    return {
        folded(w.name): w.name
        for w in host.base.lines
        if w.inci is not None
        and (r := rows.get(w.inci)) is not None
        and r.role == "anionic polymer"
    }


def with_partners(host: Host, window: Window, candidates: list[Candidate]) -> list[Candidate]:
    """Trials that leave a gap, each with the partner that does best."""
    pairs: list[tuple[int, int, float]] = []  # trial, partner, pH
    place = {s.id: i for i, s in enumerate(window.systems)}
    for i, t in enumerate(candidates):
        if t.fits or not t.codes or t.worst["legal-limit"] >= SERIOUS:
            continue
        ph = t.ph if t.ph is not None else host.ph
        if ph is None:
            continue
        pairs += [(i, place[p], ph) for p in t.system.partners if p in place and p != t.system.id]
    if not pairs:
        return candidates
    kinds = sorted({(at, ph) for _, at, ph in pairs})
    doses = window.doses_of(
        np.array([ph for _, ph in kinds]), [window.systems[at] for at, _ in kinds]
    )[2]
    dose = dict(zip(kinds, (float(d) for d in doses), strict=True))
    tries = [
        (
            i,
            replace(
                candidates[i],
                partner=window.systems[at],
                partner_percent=dose[at, ph],
                changes=(
                    *candidates[i].changes,
                    f"pair it with {number(dose[at, ph], DIGITS)} % {window.systems[at].id}",
                ),
            ),
        )
        for i, at, ph in pairs
    ]
    # the cooler of the two decides where both go in
    cool = [
        replace(t, added_at_c=host.target_c(t)) if t.added_at_c is not None else t for _, t in tries
    ]
    best = list(candidates)
    for (i, _), t in zip(tries, host.judged(cool), strict=True):
        if t.fits and (not best[i].fits or merit(t) < merit(best[i])):
            best[i] = t
    return best
