"""How much of a solution a batch takes per kg: read off a titration, or estimated by the charge
balance."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.bench.buffers import Ionic, agent_needed, agent_spread, buffers_of, ph_after
from preservecheck.bench.ph_window import Aim
from preservecheck.bench.titration import EXTRA_PH, Titration
from preservecheck.chemistry.titration import buffer_capacity
from preservecheck.text import join_and, number

# shares of the whole that are in after each addition: half, then ever less
STEPS = (0.5, 0.75, 0.9, 1.0)
# an estimate begins below its low end
FIRST_OF_LOW = 0.8


@dataclass(frozen=True)
class Amount:
    """Solution per kg of batch, with its ends, and the pH on the way."""

    per_kg: float
    low: float
    high: float
    ph_after: Callable[[float], float]  # grams per kg -> pH
    first_share: float
    capacity: float | None
    because: str


def _titrated(
    bench: Titration, agent: Ionic | None, percent: float | None, target: float, tolerance: float
) -> tuple[Amount | None, str]:
    first, last = float(bench.ph[0]), float(bench.ph[-1])
    if (target < first) != bench.falling:
        way, other = ("lowers", "raises") if bench.falling else ("raises", "lowers")
        return (
            None,
            f"What was titrated {way} the pH, but the target {number(target)} asks for something "
            f"that {other} it.",
        )
    best = bench.grams_for(target)
    if np.isnan(best):
        return None, (
            f"The titration ends at pH {number(last)}, and no amount is told more than "
            f"{EXTRA_PH:g} pH past its last "
            f"reading: go on with the same sample until it is past {number(target)}."
        )
    scale = 1000 / bench.sample_g
    sign = 1 if bench.falling else -1
    low, high = (
        bench.grams_for(target + sign * tolerance),
        bench.grams_for(target - sign * tolerance),
    )
    low = best if np.isnan(low) else low
    high = best + (best - low) if np.isnan(high) else high
    past = best > bench.grams[-1]
    said = (
        f"{number(best, 3)} g brought {number(bench.sample_g, 4)} g of sample to pH "
        f"{number(target)}"
        f"{', straight on past the last reading' if past else ', between its readings'}; the "
        "batch takes "
        f"{number(best * scale, 3)} g per kg."
    )
    if bench.smoothed:
        said += " Small steps against the trend were evened out."
    return Amount(
        best * scale,
        low * scale,
        high * scale,
        lambda g: bench.ph_at(g / scale),
        STEPS[0],
        capacity_of(bench, agent, percent, target),
        said,
    ), said


def capacity_of(
    bench: Titration | None, agent: Ionic | None, percent: float | None, ph: float
) -> float | None:
    """Moles of agent per kg and pH, in thousandths; ``None`` without a titration or a molar mass.
    [mmol/(kg pH)]"""
    if bench is None or agent is None or percent is None:
        return None
    mol_kg = bench.grams * percent / 100 / agent.molar_mass_g_mol / bench.sample_g * 1000
    value = 1000 * buffer_capacity(
        mol_kg, bench.ph, min(max(ph, float(bench.ph.min())), float(bench.ph.max()))
    )
    return value if np.isfinite(value) else None


def _estimated(
    case: FormulaArrays, agent: Ionic, percent: float, start: float, target: float, tolerance: float
) -> tuple[Amount | None, str]:
    buffers = buffers_of(case)
    if buffers.water_phase_share <= 0:
        return None, "There is no water in it, so there is no pH to adjust."
    mol = agent_needed(buffers, agent, start, target)
    if np.isnan(mol):
        return None, (
            f"{agent.inci} cannot bring the pH from {number(start)} to {number(target)}; choose "
            f"{'an acid' if target < start else 'a base'}."
        )
    low, high = agent_spread(buffers, agent, start, target, tolerance, mol)
    per_kg = (
        agent.molar_mass_g_mol / (percent / 100) * buffers.water_phase_share
    )  # grams of solution per kg of batch
    capacity = 1000 * mol / abs(target - start) * buffers.water_phase_share
    held = (
        f"what holds the pH is taken to be {join_and(buffers.names[:6])}"
        if buffers.names
        else "no weak acid or base is stated, so hardly anything holds the pH and the figure is a "
        "guess"
    )
    more = (
        f"; {join_and(buffers.unknown[:4])} hold it too, by an amount that is not known"
        if buffers.unknown
        else ""
    )
    said = (
        f"An estimate, not a measurement, by the charge balance: {held}{more}. It may lie "
        "anywhere between "
        f"{number(low * per_kg, 2)} and {number(high * per_kg, 2)} g per kg. Titrate a weighed "
        "sample for a figure "
        "to rely on."
    )
    return Amount(
        mol * per_kg,
        low * per_kg,
        high * per_kg,
        lambda g: ph_after(buffers, agent, start, g / per_kg),
        min(STEPS[0], FIRST_OF_LOW * low / mol),
        capacity,
        said,
    ), said


def amount_of(
    bench: Titration | None,
    case: FormulaArrays,
    agent: Ionic | None,
    percent: float | None,
    aim: Aim,
    start: float | None,
    tolerance: float,
) -> tuple[Amount | None, str]:
    """How much per kg of batch, or why that cannot be told."""
    if aim.target is None or start is None:
        return None, ""
    if aim.inside:
        return Amount(
            0.0, 0.0, 0.0, lambda _: start, 1.0, capacity_of(bench, agent, percent, start), ""
        ), ""
    if bench is not None:
        return _titrated(bench, agent, percent, aim.target, tolerance)
    assert agent is not None
    assert percent is not None
    return _estimated(case, agent, percent, start, aim.target, tolerance)
