"""A system put into the formula with the changes that it takes, and what the checks say of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from preservecheck.arrays.recipes import THERMOMETER_C
from preservecheck.checks import CHECKS
from preservecheck.formula.edit import Replace, SetPh, SetScale
from preservecheck.reference.rows import System
from preservecheck.verdict import PASS, SERIOUS, UNKNOWN, WARN, Bools, Codes, Floats, fold

# checks that must pass before a system is said to fit; others may warn and count in the order
MUST_PASS = tuple(check for check in CHECKS if check.must_pass)
# a system that starts at this much of the whole formula makes another product; judgement of this
# program [%]
SOLVENT_PERCENT = 10.0


def fits(worst: Mapping[str, ArrayLike]) -> Bools:
    """No serious warning, and nothing but a pass where a pass is asked for; law that is not known
    may stay so.

    Parameters
    ----------
    worst
        The worst code of each check: a number, or one for each of many formulas.
    """
    codes = {check: np.asarray(code) for check, code in worst.items()}
    none_serious = np.logical_and.reduce([code < SERIOUS for code in codes.values()])
    passed = [
        (codes[c.id] <= PASS) | ((codes[c.id] == UNKNOWN) & c.unknown_will_do) for c in MUST_PASS
    ]
    return np.asarray(none_serious & np.logical_and.reduce(passed))


def counts_of(codes: Mapping[str, Codes]) -> dict[str, int]:
    """How many findings of all checks pass, warn and are unknown; a serious one warns as well."""
    flat = np.concatenate(list(codes.values()))
    serious, warn = int((flat == SERIOUS).sum()), int((flat == WARN).sum())
    return {
        "pass": int((flat == PASS).sum()),
        "warn": warn + serious,
        "serious": serious,
        "unknown": int((flat == UNKNOWN).sum()),
    }


def added_below(system: System) -> float:
    """Temperature below which a system goes in: the heat limit, or where it does most good if that
    is lower. [°C]"""
    best = system.preferred_add_below_c
    return system.heat_limit_c if best is None else min(system.heat_limit_c, best)


@dataclass(frozen=True)
class Candidate:
    """A system to be put into the formula, with what is changed to make it fit."""

    system: System
    percent: float
    partner: System | None = None
    partner_percent: float = 0.0
    cooler: bool = False  # goes in after the formula's own did, at a temperature that it bears
    changes: tuple[SetPh | Replace | SetScale, ...] = ()
    codes: dict[str, Codes] = field(default_factory=dict)
    sums: Floats | None = None  # of ratios, by microbe
    held: Floats | None = None  # chance that a challenge test finds each microbe controlled

    @property
    def doses(self) -> tuple[tuple[System, float], ...]:
        """What goes in, in per cent of the formula."""
        alone = ((self.system, self.percent),)
        return alone if self.partner is None else (*alone, (self.partner, self.partner_percent))

    @property
    def added_at_c(self) -> float:
        """Temperature at which all of it can go in with the thermometer's error to spare. [°C]"""
        return min(added_below(system) for system, _ in self.doses) - THERMOMETER_C

    @property
    def ph(self) -> float | None:
        """The pH that it is tried at; ``None`` as measured."""
        return next((e.to for e in self.changes if isinstance(e, SetPh)), None)

    @property
    def scale_step_g(self) -> float | None:
        """The step of a finer scale; ``None`` for the maker's own."""
        return next((e.to for e in self.changes if isinstance(e, SetScale)), None)

    @cached_property
    def worst(self) -> dict[str, int]:
        """Worst code by check."""
        return {check: int(fold(codes)) for check, codes in self.codes.items()}

    @cached_property
    def fits(self) -> bool:
        """Whether it serves as it stands; see ``fits``."""
        return bool(fits(self.worst))

    @cached_property
    def counts(self) -> dict[str, int]:
        """How many findings pass, warn and are unknown."""
        return counts_of(self.codes)

    @property
    def merit(self) -> tuple[float, ...]:
        """What pairs of one system are sorted by, best first."""
        counts = self.counts
        return (counts["serious"], counts["warn"], counts["unknown"], -self.least_held)

    @property
    def least_held(self) -> float:
        """Chance of the weakest microbe; 0 where none is known."""
        if self.held is None or np.isnan(self.held).all():
            return 0.0
        return float(np.nanmin(self.held))
