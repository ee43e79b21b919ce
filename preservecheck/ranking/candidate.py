"""A system tried in a formula, and what the checks say of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from preservecheck.reference.rows_materials import System
from preservecheck.verdict import PASS, SERIOUS, UNKNOWN, WARN, Bools, Codes, Floats, fold

# checks that must pass before a system is said to fit; others may warn and count in the order
MUST_PASS = (
    "ph-range",
    "free-active",
    "solubility",
    "dose",
    "legal-limit",
    "heat-limit",
    "coverage",
)


def fits(worst: Mapping[str, ArrayLike]) -> Bools:
    """No serious warning, and nothing but a pass where a pass is asked for; law that is not known
    may stay so.

    Parameters
    ----------
    worst
        The worst code of each check: a number, or one for each of many formulas.
    """
    codes = {check: np.asarray(code) for check, code in worst.items()}
    calm = np.logical_and.reduce([code < SERIOUS for code in codes.values()])
    good = [(codes[c] <= PASS) | ((codes[c] == UNKNOWN) & (c == "legal-limit")) for c in MUST_PASS]
    return np.asarray(calm & np.logical_and.reduce(good))


@dataclass(frozen=True)
class Candidate:
    """A system put into the formula, with what was changed to make it fit."""

    system: System
    percent: float
    partner: System | None = None
    partner_percent: float = 0.0
    ph: float | None = None  # None: as measured
    added_at_c: float | None = None  # None: where the formula's own preservative goes in
    scale_step_g: float | None = None  # a finer scale; None: the maker's own
    without: frozenset[str] = frozenset()  # anionic gums replaced by a nonionic one
    changes: tuple[str, ...] = ()
    outside: tuple[
        str, ...
    ] = ()  # of the changes those that no recipe can hold: a reading, a scale
    codes: dict[str, Codes] = field(default_factory=dict)
    sums: Floats | None = None

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
        every = np.concatenate([c for c in self.codes.values()])
        serious, warn = int((every == SERIOUS).sum()), int((every == WARN).sum())
        return {
            "pass": int((every == PASS).sum()),
            "warn": warn + serious,
            "serious": serious,
            "unknown": int((every == UNKNOWN).sum()),
        }


def merit(candidate: Candidate) -> tuple[float, ...]:
    """What trials of one system are sorted by, best first."""
    counts = candidate.counts
    margin = float(np.nanmin(candidate.sums)) if candidate.sums is not None else 0.0
    return (counts["serious"], counts["warn"], counts["unknown"], len(candidate.changes), -margin)
