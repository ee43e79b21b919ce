"""A pH as a maker sets it: in steps, and inside what product and materials stand."""

from __future__ import annotations

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.checks import product_ph
from preservecheck.ranking.base import Host
from preservecheck.text import number

PH_STEP = 0.05


def target_ph(host: Host, case: FormulaArrays, low: float, high: float) -> float | None:
    """The nearest pH that works with the meter's tolerance to spare, inside product and material
    windows."""
    if np.isnan(low):
        return None
    tolerance = host.bare.measured.ph_tolerance
    at = {n: float(np.asarray(v).reshape(-1)[0]) for n, v in product_ph.compute(case).items()}
    low = np.nanmax([low, at["ph_min"], at["material_min"]]) + tolerance
    high = np.nanmin([high, at["ph_max"], at["material_max"]]) - tolerance
    if low > high + 1e-9:
        return None
    near = host.ph if host.ph is not None else (low + high) / 2
    target = min(max(near, low), high)
    rounded = (
        np.floor(target / PH_STEP + 1e-9) * PH_STEP
        if target < near
        else np.ceil(target / PH_STEP - 1e-9) * PH_STEP
    )
    return round(float(rounded if low - 1e-9 <= rounded <= high + 1e-9 else target), 3)


def ph_words(low: float, high: float) -> str:
    """``4.5 to 5.5``, inside the interval."""
    return f"{number(rounded(low, up=True) or low)} to {number(rounded(high, up=False) or high)}"


def rounded(value: float, *, up: bool) -> float | None:
    """To 0.05, inside the interval."""
    if not np.isfinite(value):
        return None
    steps = np.ceil(value / PH_STEP - 1e-6) if up else np.floor(value / PH_STEP + 1e-6)
    return round(float(steps * PH_STEP), 2)
