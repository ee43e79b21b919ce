"""The thirteen checks, in the order in which a report shows them.

Each module holds its own compute, judge and explain, and its manual page; nothing else knows what
it does.
"""

from __future__ import annotations

from preservecheck.checks import (
    burden,
    coverage,
    dose,
    free_active,
    heat_limit,
    ionic,
    legal_limit,
    pairs,
    ph_range,
    product_ph,
    solubility,
    water_activity,
    weighing,
)
from preservecheck.checks.base import Check

CHECKS: tuple[Check, ...] = (  # type: ignore[assignment]
    water_activity,
    ph_range,
    free_active,
    solubility,
    dose,
    legal_limit,
    heat_limit,
    ionic,
    pairs,
    coverage,
    burden,
    product_ph,
    weighing,
)
BY_ID: dict[str, Check] = {check.ID: check for check in CHECKS}

__all__ = ["BY_ID", "CHECKS", "Check"]
