"""The search for systems that fit, from trial to ranked options."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from preservecheck.checks import product_ph
from preservecheck.ranking.base import Host
from preservecheck.ranking.candidate import Candidate
from preservecheck.ranking.changes import mended, redosed, taking_its_place, with_partners
from preservecheck.ranking.ph import target_ph
from preservecheck.ranking.result import Option, rank
from preservecheck.ranking.window import Window
from preservecheck.ranking.words import no_room, option_of
from preservecheck.reference.rows_materials import System


def ranked(host: Host, systems: list[System]) -> list[Option]:
    """Options for all systems, best first; those that there is no room for last."""
    room = host.room
    fitting = [s for s in systems if s.usage_min_percent <= room]
    found = _options(host, fitting) if fitting else []
    return sorted(
        [*found, *(no_room(host, s) for s in systems if s.usage_min_percent > room)], key=rank
    )


def _options(host: Host, systems: list[System]) -> list[Option]:
    """Systems that there is room for, in the order of the table."""
    window = Window(host, systems)
    customary = product_ph.window_of(
        window.reference, host.bare.product.type, host.bare.product.use
    )
    near = (
        host.ph
        if host.ph is not None
        else (customary.ph_min + customary.ph_max) / 2
        if customary
        else 5.0
    )
    can = window.grid(systems).any(axis=1)  # (S, pH)
    low, high, percent = window.doses_of(near, systems)
    ph_low, ph_high = window.ph_interval(percent, near, systems)
    # a system that works nowhere at this dose may work at its highest one
    again = np.flatnonzero(np.isnan(ph_low) & can.any(axis=-1))
    if again.size:
        some = [systems[i] for i in again]
        ph_low[again], ph_high[again] = window.ph_interval(
            np.array([s.usage_max_percent for s in some]), near, some
        )
    first = host.judged(
        [
            Candidate(s, float(p), changes=taking_its_place(host, s, p))
            for s, p in zip(systems, percent, strict=True)
        ]
    )
    second = list(first)
    # at the dose for the measured pH there may be no pH left to go to where the middle of the range
    # leaves one
    tight = [
        i
        for i, t in enumerate(first)
        if not t.fits
        and host.ph is not None
        and target_ph(host, window.case, ph_low[i], ph_high[i]) is None
    ]
    if tight:
        some = [systems[i] for i in tight]
        middle = np.array([(s.usage_min_percent + s.usage_max_percent) / 2 for s in some])
        ends = window.ph_interval(middle, near, some)
        for i, dose, left, right in zip(tight, middle, *ends, strict=True):
            if target_ph(host, window.case, left, right) is not None:
                ph_low[i], ph_high[i], second[i] = (
                    left,
                    right,
                    replace(second[i], percent=float(dose)),
                )
    second = [
        t if t.fits else mended(host, window, t, ph_low[i], ph_high[i])
        for i, t in enumerate(second)
    ]
    redo = [i for i, t in enumerate(second) if not t.codes]
    for i, t in zip(redo, host.judged([second[i] for i in redo]), strict=True):
        second[i] = t
    second = redosed(host, window, second, (ph_low, ph_high))
    second = with_partners(host, window, second)
    chosen = [
        a if a.fits else b if b.fits or not a.codes else a
        for a, b in zip(first, second, strict=True)
    ]
    chance = host.chances([t for t in chosen if t.fits])
    lucky = iter(chance)
    return [
        option_of(
            host,
            t,
            first[i],
            (low[i], high[i], ph_low[i], ph_high[i]),
            next(lucky) if t.fits else None,
        )
        for i, t in enumerate(chosen)
    ]
