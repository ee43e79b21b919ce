"""What a formula should be brought to: the pH that suits its preservatives, its product and its raw
materials."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays


@dataclass(frozen=True)
class PhWindow:
    """Between which pH values a formula should lie; infinite where an end is not known. [-]"""

    preservative: tuple[float, float]  # where all of its systems work
    product: tuple[float, float]  # by custom, and as its raw materials bear it

    @property
    def both(self) -> tuple[float, float]:
        """Where both do well; the lower end lies above the upper where they disagree."""
        (low, high), (product_low, product_high) = self.preservative, self.product
        return max(low, product_low), min(high, product_high)


def ph_window(case: FormulaArrays) -> PhWindow:
    """The window of a single case."""
    lows, highs = (np.asarray(ends)[0] for ends in case.effective_ph)
    product = case.product_ph
    return PhWindow(
        (float(np.nanmax([*lows, -np.inf])), float(np.nanmin([*highs, np.inf]))),
        (
            float(np.nanmax([product.low[0], product.material_low[0]])),
            float(np.nanmin([product.high[0], product.material_high[0]])),
        ),
    )
