"""Opened formulas filled into arrays."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from preservecheck.case.readings import THERMOMETER_C, Profile
from preservecheck.context import Context
from preservecheck.formula.compose import Composition
from preservecheck.formula.model import Formula
from preservecheck.verdict import Floats


def filled(compositions: Sequence[Composition], context: Context, today: dt.date) -> dict[str, Any]:
    """The arrays of a case by name, from formulas of which the context holds every substance and system."""
    n, k = len(compositions), len(context.names)
    width = max([1, *(len(c.systems) for c in compositions)])
    moments = max([1, *(len(c.additions) for c in compositions)])
    amount, preserving, with_oil = np.zeros((n, k)), np.zeros((n, k)), np.zeros((n, k))
    system = np.full((n, width), -1)
    percent = np.full((n, width), np.nan)
    declared = np.zeros((n, width), dtype=bool)
    addition = np.full((n, moments), -1)
    temperature, peak = np.full((n, moments), np.nan), np.full((n, moments), np.nan)
    profiles: dict[Profile, int] = {}
    profile = np.zeros(n, dtype=int)
    for at, c in enumerate(compositions):
        hot = _phases_with_hot_oil(c, context)
        for p in c.portions:
            column = context.index[p.substance]
            amount[at, column] += p.percent
            if p.preserving:
                preserving[at, column] += p.percent
            if c.lines[p.line].phase in hot:
                with_oil[at, column] += p.percent
        for j, use in enumerate(c.systems):
            system[at, j], percent[at, j] = context.system_index[use.id], use.percent
            declared[at, j] = use.declared
        for j, a in enumerate(c.additions):
            addition[at, j] = a.system
            temperature[at, j] = np.nan if a.temperature_c is None else a.temperature_c
            peak[at, j] = np.nan if a.peak_c is None else a.peak_c
        profile[at] = profiles.setdefault(Profile.of(c.formula.product, today), len(profiles))
    formulas = [c.formula for c in compositions]
    return dict(
        amount=amount,
        preserving=preserving,
        with_oil=with_oil,
        ph=_column(formulas, lambda f: f.measured.ph),
        ph_tolerance=_column(formulas, lambda f: f.measured.ph_tolerance),
        sample_c=_column(formulas, lambda f: f.measured.temperature_c),
        aw_measured=_column(formulas, lambda f: f.measured.water_activity),
        aw_tolerance=_column(formulas, lambda f: f.measured.water_activity_tolerance),
        batch_g=np.array([_batch(c) for c in compositions]),
        scale_step_g=_column(formulas, lambda f: f.product.scale_step_g),
        system=system,
        system_percent=percent,
        declared=declared,
        addition=addition,
        addition_c=temperature,
        peak_c=peak,
        temperature_tolerance_c=np.full(n, THERMOMETER_C),
        profiles=tuple(profiles),
        profile=profile,
        compositions=tuple(compositions),
    )


def _column(formulas: Sequence[Formula], get: Callable[[Formula], float | None]) -> Floats:
    values = [get(f) for f in formulas]
    return np.array([np.nan if v is None else v for v in values], dtype=float)


def _batch(composition: Composition) -> float:
    grams = [w.grams for w in composition.lines]
    return sum(g for g in grams if g is not None) if all(g is not None for g in grams) else float("nan")


def _phases_with_hot_oil(composition: Composition, context: Context) -> set[int]:
    """Phases that are heated and hold oil-phase material."""
    oily = {
        composition.lines[p.line].phase
        for p in composition.portions
        if p.percent > 0 and context.oil_phase[context.index[p.substance]] > 0
    }
    return {i for i, phase in enumerate(composition.formula.phases) if phase.heated_to_c is not None and i in oily}
