"""The pH to aim at: the nearest edge of the window in which the preservatives and the product both
do well."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.assess.targets import ph_window
from preservecheck.errors import Hint
from preservecheck.text import number, sentence

# closer than this is the same pH
_SAME_PH = 1e-9


@dataclass(frozen=True)
class Aim:
    """Where to go, and why."""

    target: float | None
    window: tuple[float, float] | None
    inside: bool  # nothing has to be added
    because: str
    notes: tuple[str, ...] = ()
    hints: tuple[Hint, ...] = ()


@dataclass(frozen=True)
class Window:
    """Lowest and highest pH, what sets them, and whether preservatives and product agree."""

    span: tuple[float, float] | None
    agree: bool
    because: str


def window_of(case: FormulaArrays) -> Window:
    """Lowest and highest pH that suit all preservatives and the product, and what sets them. [-]"""
    window = ph_window(case)
    (low, high), (product_low, product_high) = (
        (max(low, 0.0), min(high, 14.0)) for low, high in (window.preservative, window.product)
    )
    product = f"pH {number(product_low)} to {number(product_high)}"
    effective = f"the preservative works from pH {number(low)} to {number(high)}"
    if not np.isfinite(window.preservative).any():
        effective = "no preservative's range is known"
    both = max(low, product_low), min(high, product_high)
    if both[0] <= both[1]:
        return Window(both, True, f"{effective}, the product suits {product}")
    if low > high:
        return Window(None, False, "no pH suits all of its preservatives")
    why = f"{effective}, but the product wants {product}: no pH suits both"
    return Window((low, high), False, why)


def aim_of(case: FormulaArrays, start: float | None, tolerance: float, target: float | None) -> Aim:
    """The pH to reach: the target that the maker asked for, else the nearest that suits. The
    tolerance is the half-width of the reading ``start``. [-]"""
    found = window_of(case)
    window, why = found.span, sentence(found.because)
    if target is not None:
        notes: tuple[str, ...] = ()
        if window is not None and not window[0] <= target <= window[1]:
            notes = (
                f"The target {number(target)} lies outside the window of pH {number(window[0])} to "
                f"{number(window[1])}.",
            )
        if start is None:
            why = (
                "The pH was not measured, so there is nothing to start from: measure it at 20 to "
                "25 °C and write it into the formula as the measured pH."
            )
            return Aim(target, window, False, why, notes)
        inside = abs(start - target) <= _SAME_PH
        if inside:
            why += " It is there already; nothing has to be added."
        return Aim(target, window, inside, why, notes)
    if start is None:
        why += (
            " The pH was not measured: measure it at 20 to 25 °C and write it into the formula as "
            "the measured pH, or titrate a sample."
        )
        return Aim(None, window, False, why)
    if window is None or not found.agree:
        why += (
            " Change the preservative or the product; do not adjust the pH until then, or say "
            "where to go."
        )
        return Aim(None, window, False, why, hints=(Hint.RANK_SYSTEMS, Hint.TARGET))
    low, high = window
    margin = min(tolerance, (high - low) / 2)
    if low + margin - _SAME_PH <= start <= high - margin + _SAME_PH:
        why += f" pH {number(start)} ± {number(tolerance)} lies inside; nothing has to be added."
        return Aim(start, window, True, why)
    goal = low + margin if start < low + margin else high - margin
    why += (
        f" The nearest edge, moved in by the tolerance of the reading ({number(margin)}), is pH "
        f"{number(goal)}."
    )
    return Aim(goal, window, False, why)
