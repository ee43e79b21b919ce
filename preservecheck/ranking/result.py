"""What ``choose`` answers with."""

from __future__ import annotations

import datetime as dt
from typing import Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict

from preservecheck.formula.model import Formula

Outcome = Literal["fits", "fits-after-change", "does-not-fit"]
# a margin beyond what MIC values differ by between laboratories says nothing more
WIDE = 3.0
OUTCOMES: tuple[Outcome, ...] = ("fits", "fits-after-change", "does-not-fit")
ORDER = (
    "Fits before fits after a change before the rest; then no serious warning, fewest warnings, "
    "the widest margin "
    "of the weakest microbe (above 3 times counts as 3), the best chance of passing."
)


class Weakest(BaseModel):
    """The microbe with the smallest margin."""

    model_config = ConfigDict(frozen=True)
    microbe: str
    sum_of_ratios: float | None


class Option(BaseModel):
    """What one system would do in the formula."""

    model_config = ConfigDict(frozen=True)
    id: str
    outcome: Outcome
    percent: float | None
    percent_low: float | None
    percent_high: float | None
    ph: (
        float | None
    )  # at which the dose is recommended; the ends of the dose are at the measured pH
    ph_low: float | None
    ph_high: float | None
    add_below_c: float | None
    phase: str
    grams: float | None
    scale_error_percent: float | None
    changes: tuple[str, ...]
    partner: str | None
    partner_percent: float | None
    counts: dict[str, int]
    weakest: Weakest
    chance: float | None
    why: str
    own: bool
    # not part of the JSON
    formula: Formula | None = None  # with the recommendation in it
    check: str | None = None  # the first that stands in the way of what does not fit
    outside: tuple[
        str, ...
    ] = ()  # of the changes those that no recipe can hold: a reading, a scale


class Choice(BaseModel):
    """What ``choose`` says about one formula."""

    model_config = ConfigDict(frozen=True)
    program: str
    tables_sha256: str
    formula_sha256: str
    date: dt.date
    name: str
    ph: float | None
    markets: tuple[str, ...]
    order: str
    narrowed: tuple[str, ...]
    remarks: tuple[str, ...] = ()  # on the formula, whatever preservative goes in
    systems: tuple[Option, ...]

    def to_json(self) -> dict[str, Any]:
        """Keys that other programs read, in ranked order."""
        data = self.model_dump(
            mode="json", exclude={"systems": {"__all__": {"formula", "check", "outside"}}}
        )
        return {"format": 1, **data}


def rank(option: Option) -> tuple[float, ...]:
    """What options are sorted by, best first."""
    counts = option.counts
    return (
        OUTCOMES.index(option.outcome),
        option.percent is None,  # what there is no room for
        counts["serious"],
        counts["warn"],
        -min(option.weakest.sum_of_ratios or 0.0, WIDE),
        -(option.chance or 0.0),
    )


def known(value: float) -> float | None:
    """A number, or ``None`` where there is none."""
    return float(value) if np.isfinite(value) else None
