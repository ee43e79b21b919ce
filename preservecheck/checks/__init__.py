"""The checks, in the order in which a report shows them.

Each module holds its own compute, judge and explain, and its manual page; nothing else knows what
it does. What a check declares for the other rooms stands in ``base.Check``.
"""

from __future__ import annotations

from collections.abc import Mapping

from preservecheck.checks import (
    contradictions,
    free_active,
    heat_limit,
    incompatibilities,
    ionic,
    lasting,
    legal_limit,
    nutrient_load,
    ph_range,
    product_ph,
    solubility,
    spectrum,
    use_level,
    water_activity,
    weighing,
)
from preservecheck.checks.base import Check, Lever

CHECKS: tuple[Check, ...] = (
    water_activity.CHECK,
    ph_range.CHECK,
    free_active.CHECK,
    solubility.CHECK,
    use_level.CHECK,
    legal_limit.CHECK,
    heat_limit.CHECK,
    ionic.CHECK,
    incompatibilities.CHECK,
    spectrum.CHECK,
    nutrient_load.CHECK,
    product_ph.CHECK,
    weighing.CHECK,
    lasting.CHECK,
    contradictions.CHECK,
)
BY_ID: dict[str, Check] = {check.id: check for check in CHECKS}
# how checks were called before; files and records that name one are read all the same
OLD_IDS = {
    "dose": "use-level",
    "pairs": "incompatibilities",
    "coverage": "spectrum",
    "burden": "nutrient-load",
}


def current_id(check_id: str) -> str:
    """The id of a check, also where it was called by an old one."""
    return OLD_IDS.get(check_id, check_id)


def with_lever(lever: Lever) -> tuple[Check, ...]:
    """The checks that a lever answers."""
    return tuple(check for check in CHECKS if lever in check.levers)


def pulled(lever: Lever, worst: Mapping[str, int]) -> bool:
    """Whether the worst codes of the checks, by id, ask for a lever."""
    return any(check.pulls(lever, worst[check.id]) for check in CHECKS)


def with_key(name: str) -> Check:
    """The check that is known by a figure."""
    return next(check for check in CHECKS if check.key.name == name)
