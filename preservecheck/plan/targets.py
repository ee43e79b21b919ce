"""One aim each for pH, dose and temperature of addition.

An aim is found by judging, not by a formula of its own: the recipe is judged at every pH of a grid,
by the very checks of the review, and the aim lies where what is wrong is least. So whatever bears
on a pH (effective range, free active for every microbe, the customary window, what the raw
materials stand, the solubility of an acid, the edges of incompatibilities) bears on the aim, and
nothing that is advised can be called wrong by the next review. The checks take in the meter's
tolerance, so the range that is found keeps it inside.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.plan.trials import weights
from preservecheck.verdict import Bools, Floats

# the pH values that are looked at, in the steps in which a pH is read and written [-]
PH_LOW, PH_HIGH, PH_STEP = 2.5, 11.0, 0.1
# where a batch is cool enough for most, and where one asks for less; common practice [°C]
ADD_AT_C, COOL_C = 38.0, 28.0
# where nobody says what is customary; common practice [-]
ANY_PH = 5.0
_NOISE = 1e-9


@dataclass(frozen=True)
class Target:
    """An aim with the range that is as good."""

    value: float
    low: float
    high: float
    unit: str = ""
    # the checks that speak against what lies beyond an end
    low_by: str | None = None
    high_by: str | None = None

    def to_json(self) -> dict[str, float | str]:
        """Value, ends and unit."""
        return {"value": self.value, "low": self.low, "high": self.high, "unit": self.unit}


@dataclass(frozen=True)
class Clash:
    """Two checks whose ranges of pH have no common part."""

    first: str  # check ids
    second: str
    first_range: tuple[float, float]
    second_range: tuple[float, float]

    def to_json(self) -> dict[str, object]:
        """Both with their ranges."""
        return {
            "first": {"check": self.first, "low": self.first_range[0], "high": self.first_range[1]},
            "second": {
                "check": self.second,
                "low": self.second_range[0],
                "high": self.second_range[1],
            },
        }


@dataclass(frozen=True)
class Custom:
    """The pH that is customary for a kind of product."""

    low: float = -np.inf
    high: float = np.inf
    aim: float | None = None  # of a preservative that hangs on the pH; none: it is read, not set
    aim_flat: float | None = None  # of one that does not
    lever: bool = True  # whether a maker sets it; a soap or a clay does so by itself
    matters: bool = True  # whether there is one at all

    def inside(self, low: float, high: float) -> tuple[float, float]:
        """The part of a range that is customary, or all of it where none is."""
        clipped = max(low, self.low), min(high, self.high)
        return clipped if clipped[0] <= clipped[1] else (low, high)

    def covered_by(self, low: float, high: float) -> bool:
        """Whether a range leaves nothing out."""
        return low <= self.low + PH_STEP and high >= self.high - PH_STEP


@dataclass(frozen=True)
class PhGrid:
    """What is wrong with a formula at each pH of a grid, for each check that the pH moves."""

    ph: Floats
    weight: dict[str, Floats]  # as ph

    @property
    def total(self) -> Floats:
        """All checks together. As ``ph``"""
        return np.asarray(sum(self.weight.values(), start=np.zeros(len(self.ph))))

    def beyond(self, low: float, high: float) -> tuple[str | None, str | None]:
        """The checks that ask most for what lies within two ends."""
        at = np.flatnonzero((self.ph >= low - _NOISE) & (self.ph <= high + _NOISE))
        return self._rises(at[0], at[0] - 1), self._rises(at[-1], at[-1] + 1)

    def _rises(self, inside: int, outside: int) -> str | None:
        if not 0 <= outside < len(self.ph):
            return None
        rise = {n: float(w[outside] - w[inside]) for n, w in self.weight.items()}
        most = max(rise, key=lambda n: rise[n])
        return most if rise[most] > 0 else None

    @property
    def best(self) -> Bools:
        """Where what is wrong is least. As ``ph``"""
        total = self.total
        return np.asarray(total <= total.min() + _NOISE)


def ph_grid(case: FormulaArrays, present: float | None) -> PhGrid:
    """A single case judged over the whole range of pH values, its own among them."""
    steps = round((PH_HIGH - PH_LOW) / PH_STEP) + 1
    ph = np.round(np.linspace(PH_LOW, PH_HIGH, steps), 2)
    if present is not None:
        ph = np.unique(np.append(ph, present))
    return PhGrid(ph, weights(case.with_(ph=ph), len(ph)))


def run_at(good: Bools, grid: Floats, near: float) -> tuple[float, float] | None:
    """First and last place of the run of good places that is nearest to a value."""
    at = np.flatnonzero(good)
    if not len(at):
        return None
    low = high = int(at[np.abs(grid[at] - near).argmin()])
    while low > 0 and good[low - 1]:
        low -= 1
    while high + 1 < len(good) and good[high + 1]:
        high += 1
    return float(grid[low]), float(grid[high])


def ph_target(grid: PhGrid, present: float | None, custom: Custom) -> Target | None:
    """The pH to aim at; ``None`` where no pH makes a difference.

    The present pH stays where it is as good as any. Else it is what is customary, drawn into the
    range.
    """
    if not (grid.weight and custom.matters) or (present is None and not custom.lever):
        return None
    good = grid.best
    stays = present is not None and bool(good[int(np.abs(grid.ph - present).argmin())])
    stays = stays and (custom.aim is None or custom.low <= (present or 0.0) <= custom.high)
    wanted = next(ph for ph in (None if stays else custom.aim, present, ANY_PH) if ph is not None)
    span = run_at(good, grid.ph, wanted)
    if span is None:
        return None
    low, high = custom.inside(*span)
    if stays and present is not None:
        low, high = min(low, present), max(high, present)
        return Target(present, low, high, "", *grid.beyond(low, high))
    if custom.aim_flat is not None and custom.covered_by(*span):
        wanted = custom.aim_flat
    aim = _written(min(max(wanted, low), high), low, high)
    return Target(aim, low, high, "", *grid.beyond(low, high))


def _written(value: float, low: float, high: float) -> float:
    """To a tenth where one lies in the range, else as it is."""
    near = round(value, 1)
    for candidate in (near, round(near + PH_STEP, 1), round(near - PH_STEP, 1)):
        if low - _NOISE <= candidate <= high + _NOISE:
            return candidate
    return round(value, 2)


def clash_of(grid: PhGrid, custom: Custom, among: Collection[str]) -> Clash | None:
    """Two checks whose ranges have no common part, those that weigh most first; the first is one of
    some."""
    ranges, near = {}, ANY_PH if custom.aim is None else custom.aim
    for name, weight in grid.weight.items():
        span = run_at(weight <= weight.min() + _NOISE, grid.ph, near)
        if span is not None:
            ranges[name] = (span, float(weight.max()))
    names = sorted(ranges, key=lambda n: -ranges[n][1])
    for first in names:
        for second in names if first in among else ():
            a, b = ranges[first][0], ranges[second][0]
            if a[1] < b[0] - _NOISE or b[1] < a[0] - _NOISE:
                return Clash(first, second, a, b)
    return None


def addition_c(limits: Sequence[float], tolerance_c: float) -> float:
    """The temperature to add at, below every limit with the thermometer's error to spare. [°C]"""
    lowest = min(limits, default=np.inf)
    return next((t for t in (ADD_AT_C, COOL_C) if t + tolerance_c <= lowest), COOL_C)


def custom_of(case: FormulaArrays) -> Custom:
    """The pH that is customary for what is made; of a product whose base sets it there is none."""
    window, kind = case.product_ph, case.kind_of()
    low, high = float(window.low[0]), float(window.high[0])
    if np.isnan(low) or np.isnan(high):
        low, high = -np.inf, np.inf
    if kind is not None:
        lever, matters = kind.ph_set == "free", kind.ph_set != "none"
        return Custom(low, high, kind.aim_ph, kind.aim_ph_flat, lever, matters)
    return Custom(low, high, round((low + high) / 2, 1) if np.isfinite(low + high) else None)
