"""What goes into the checks: amounts, readings and tolerances as arrays."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field, replace
from typing import Self

import numpy as np

from preservecheck.arrays.tables import TableArrays
from preservecheck.formula.compose import Composition
from preservecheck.formula.model import Product
from preservecheck.verdict import Bools, Floats

Ints = np.ndarray[tuple[int, ...], np.dtype[np.int64]]
# a thermometer in a pot, half-width; fixed for this program, no outside source
THERMOMETER_C = 2.0
# cached figures that depend on nothing but the amounts
FROM_AMOUNTS = frozenset(
    (
        "water_pct",
        "water_phase_pct",
        "oil_ratio",
        "binder_pct",
        "ionic_strength",
        "acting_pct",
        "total_in_water",
        "charge",
        "paired_kinds",
        "unpaired",
        "aw_estimate",
    )
)


@dataclass(frozen=True)
class Profile:
    """What the law, the customs and the cautions depend on, apart from amounts."""

    use: str
    type: str
    markets: tuple[str, ...]
    users: str
    package: str | None
    on_market: dt.date

    @classmethod
    def of(cls, product: Product, today: dt.date) -> Profile:
        """The profile of a product; without a date the law of today holds."""
        return cls(
            product.use,
            product.type,
            product.markets,
            product.users,
            product.package,
            product.on_market or today,
        )


@dataclass(frozen=True)
class Readings:
    """What was weighed and measured, cases first.

    Shapes: ``amount`` (..., K); readings (...,); systems (..., P); additions (..., A). Places
    without a system or an addition hold -1. Not-a-number means not measured or not given.
    """

    reference: TableArrays
    amount: Floats  # % of the whole formula, all origins
    preserving: Floats  # the part of it that counts as preservative for the law
    ph: Floats
    ph_tolerance: Floats
    sample_c: Floats  # temperature of the pH sample
    aw_measured: Floats
    aw_tolerance: Floats
    batch_g: Floats
    scale_step_g: Floats
    system: Ints  # index on axis S
    system_percent: Floats
    declared: Bools
    addition: Ints  # index into the systems of the case
    addition_c: Floats
    peak_c: Floats
    temperature_tolerance_c: Floats
    with_oil: (
        Floats  # (..., K) amounts added in a phase that was heated together with oil-phase material
    )
    profiles: tuple[Profile, ...]
    profile: Ints  # index into profiles, (...,)
    mic_percent: Floats = field(default=None)  # type: ignore[arg-type]  # (..., F, M)
    k_oil: Floats = field(default=None)  # type: ignore[arg-type]  # (..., F, C)
    k_bind: Floats = field(default=None)  # type: ignore[arg-type]  # (..., F, B)
    compositions: tuple[Composition, ...] = ()

    def __post_init__(self) -> None:
        """Take what was not drawn from the tables."""
        for name in ("mic_percent", "k_oil", "k_bind"):
            if getattr(self, name) is None:
                object.__setattr__(self, name, getattr(self.reference, name))

    def with_(self, **changes: object) -> Self:
        """The same cases with some arrays replaced; figures that hang on the amounts alone are not
        worked out again."""
        other = replace(self, **changes)  # type: ignore[arg-type]
        if changes.keys() & {"amount", "reference"}:
            return other
        kept = set(FROM_AMOUNTS)
        kept |= {"oil_term"} if "k_oil" not in changes else set()
        kept |= {"bound_ratio"} if "k_bind" not in changes else set()
        kept |= {"pka"} if "sample_c" not in changes else set()
        other.__dict__.update({n: v for n, v in self.__dict__.items() if n in kept})
        return other
