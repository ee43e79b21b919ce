"""A system put into the formula with the changes that it takes, and what the checks say of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from preservecheck.arrays.recipes import THERMOMETER_C
from preservecheck.checks import CHECKS
from preservecheck.formula.edit import Replace, SetPh, SetScale
from preservecheck.ranking.mending import ADD_AT_C
from preservecheck.reference.rows import System
from preservecheck.verdict import PASS, SERIOUS, UNKNOWN, WARN, Bools, Codes, Floats, fold

# checks whose chance of passing is told
MUST_PASS = tuple(check for check in CHECKS if check.must_pass)
# a system that starts at this much of the whole formula makes another product; judgement of this
# program [%]
SOLVENT_PERCENT = 10.0


def fits(worst: Mapping[str, ArrayLike]) -> Bools:
    """Whether nothing is serious; warnings and what is unknown count in the order.

    Parameters
    ----------
    worst
        The worst code of each check: a number, or one for each of many formulas.
    """
    return np.asarray(np.logical_and.reduce([np.asarray(c) < SERIOUS for c in worst.values()]))


def counts_of(codes: Mapping[str, Codes]) -> dict[str, int]:
    """How many findings of all checks pass, warn and are unknown; a serious one warns as well."""
    flat = np.concatenate(list(codes.values()))
    serious, warn = int((flat == SERIOUS).sum()), int((flat == WARN).sum())
    return {
        "pass": int((flat == PASS).sum()),
        "warn": warn + serious,
        "serious": serious,
        "unknown": int((flat == UNKNOWN).sum()),
        "settled": 0,  # a trial speaks for the formula as it is
    }


def added_below(system: System) -> float:
    """Temperature below which a system goes in: the heat limit, or where it does most good if that
    is lower. [°C]"""
    best = system.preferred_add_below_c
    return system.heat_limit_c if best is None else min(system.heat_limit_c, best)


def added_at(systems: Sequence[System]) -> float:
    """Temperature of the batch at which systems go in: 38 °C, or what the least of them bears with
    the thermometer's error to spare. [°C]"""
    return min(ADD_AT_C, min(map(added_below, systems)) - THERMOMETER_C)


@dataclass(frozen=True)
class Candidate:
    """A system to be put into the formula, with what is changed to make it fit."""

    system: System
    percent: float
    partner: System | None = None
    partner_percent: float = 0.0
    present: bool = False  # stands on a line of an ingredient, so nothing goes in
    cooler: bool = False  # goes in after the formula's own did, at a temperature that it bears
    displaces: bool = False  # takes the place of so much water that another product is made
    changes: tuple[SetPh | Replace | SetScale, ...] = ()
    # the lowest dose that works and the highest that is allowed, at another pH [%]
    reach: tuple[float, float] | None = None
    codes: dict[str, Codes] = field(default_factory=dict)
    sums: Floats | None = None  # of ratios, by microbe
    held: Floats | None = None  # chance that a challenge test finds each microbe controlled

    @property
    def doses(self) -> tuple[tuple[System, float], ...]:
        """What goes in, in per cent of the formula."""
        alone = () if self.present else ((self.system, self.percent),)
        return alone if self.partner is None else (*alone, (self.partner, self.partner_percent))

    @property
    def added_at_c(self) -> float:
        """Temperature of the batch at which all of it goes in. [°C]"""
        return added_at([system for system, _ in self.doses] or [self.system])

    @property
    def ph(self) -> float | None:
        """The pH that it is tried at; ``None`` as measured."""
        return next((e.to for e in self.changes if isinstance(e, SetPh)), None)

    @property
    def scale_step_g(self) -> float | None:
        """The step of a finer scale; ``None`` for the maker's own."""
        return next((e.to for e in self.changes if isinstance(e, SetScale)), None)

    @property
    def count_of_changes(self) -> int:
        """How many things the maker changes for it; another product counts as two."""
        others = (self.cooler, self.partner is not None, self.displaces, self.displaces)
        return len(self.changes) + sum(others)

    @cached_property
    def worst(self) -> dict[str, int]:
        """Worst code by check."""
        return {check: int(fold(codes)) for check, codes in self.codes.items()}

    @cached_property
    def counts(self) -> dict[str, int]:
        """How many findings pass, warn and are unknown."""
        return counts_of(self.codes)

    def serious_beyond(self, shared: Mapping[str, int]) -> int:
        """How many serious findings it brings beyond those that the formula has by itself.

        Parameters
        ----------
        shared
            How many the formula has, by check.
        """
        return sum(
            max(int((codes == SERIOUS).sum()) - shared.get(check, 0), 0)
            for check, codes in self.codes.items()
        )

    def open_beyond(self, shared: Mapping[str, int]) -> tuple[str, ...]:
        """Checks with more warnings and unknowns than every system has here."""
        return tuple(
            check
            for check, codes in self.codes.items()
            if int(((codes == WARN) | (codes == UNKNOWN)).sum()) > shared.get(check, 0)
        )

    def law_is_doubtful(self, own_faults: Mapping[str, int]) -> bool:
        """Whether the law may bar it: a rule that was only recalled, or a figure at its limit."""
        law = [check.id for check in CHECKS if "law" in check.levers]
        return any(
            int((self.codes[i] >= WARN).sum()) > own_faults.get(i, 0) for i in law if self.codes
        )

    @property
    def least_held(self) -> float:
        """Chance of the weakest microbe; 0 where none is known."""
        return 0.0 if self.held is None else float(np.nan_to_num(self.held).min())


# so many systems have to agree before a warning is the formula's own
ENOUGH = 5
# more findings than a check has
EVERY = 10**6


@dataclass(frozen=True)
class Shared:
    """Findings that no preservative has a part in, by check."""

    serious: Mapping[str, int]
    open: Mapping[str, int]  # warnings and unknowns

    @classmethod
    def of(cls, own_faults: Mapping[str, int], tried: Sequence[Candidate]) -> Shared:
        """What all of some candidates have.

        Parameters
        ----------
        own_faults
            Serious findings of the formula by itself, by check.
        tried
            Candidates as they were tried first.
        """

        def least(check: str, *codes: int) -> int:
            return min((int(np.isin(c.codes[check], codes).sum()) for c in tried), default=0)

        asked = {check.id: EVERY for check in CHECKS if check.of_the_file}
        serious = {check: min(n, least(check, SERIOUS)) for check, n in own_faults.items()}
        enough = len(tried) >= ENOUGH
        open_ = {c.id: least(c.id, WARN, UNKNOWN) if enough else 0 for c in CHECKS}
        return cls(serious | asked, open_ | asked)

    def cost(self, candidate: Candidate) -> tuple[float, ...]:
        """What candidates of one system are compared by, best first."""
        return (
            candidate.serious_beyond(self.serious),
            len(candidate.open_beyond(self.open)) + candidate.count_of_changes / 2,
            -candidate.least_held,
        )
