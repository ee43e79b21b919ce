"""The phases of a formula: how much water, oil and binder there is, and what is dissolved in the
water."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from preservecheck.arrays.inputs import Readings
from preservecheck.chemistry import water_activity
from preservecheck.chemistry.summation import weighed_sum
from preservecheck.verdict import Bools, Floats

# water density in g/mL; polyols raise it to 1.05 at most
WATER_DENSITY = 1.0
# ISO 29621, low-risk criterion: below this water activity no growth is expected that a preservative
# has to stop
LOW_RISK_AW = 0.75


class Phases(Readings):
    """Amounts of each phase, ions, charges and water activity."""

    @cached_property
    def water_pct(self) -> Floats:
        """Water, free or inside raw materials. [% w/w of the formula] (...,)"""
        return weighed_sum(self.amount, self.reference.water_fraction)

    @cached_property
    def water_phase_pct(self) -> Floats:
        """Everything but oil phase and insoluble powder. [% w/w of the formula] (...,)"""
        return weighed_sum(self.amount, 1 - self.reference.oil_phase - self.reference.powder)

    @cached_property
    def oil_ratio(self) -> Floats:
        """Volume of each class of liquid oil over the volume of the water phase. [-] (..., C)"""
        return over(
            weighed_sum(self.amount, self.reference.liquid_oil),
            self.water_phase_pct / WATER_DENSITY,
        )

    @cached_property
    def binder_pct(self) -> Floats:
        """Binders in the water phase. [% w/v] (..., B)"""
        return over(
            100 * weighed_sum(self.amount, self.reference.binder),
            self.water_phase_pct / WATER_DENSITY,
        )

    @cached_property
    def ionic_strength(self) -> Floats:
        """Ions per kg of water in the product. [mol/kg] (...,)"""
        moles = weighed_sum(self.amount, self.reference.ion_strength)
        return over(1000 * moles[..., None], self.water_pct)[..., 0]

    @cached_property
    def charge(self) -> tuple[Floats, Floats]:
        """Cationic and anionic charges of surfactants, polymers and cationic preservatives.
        [meq/kg] (...,) each"""
        c = self.reference
        density = np.nan_to_num(c.meq_g) * self.paired_kinds
        return (
            weighed_sum(self.amount, 10 * np.maximum(density, 0)),
            weighed_sum(self.amount, 10 * np.maximum(-density, 0)),
        )

    @cached_property
    def paired_kinds(self) -> Bools:
        """Substances whose charges pair off one to one: surfactants, polymers, cationic
        preservatives. (K,)"""
        c = self.reference
        cation = np.array(
            [(a := c.actives.get(n)) is not None and a.active_form == "cation" for n in c.names]
        )
        return np.asarray(
            c.role(
                "cationic surfactant", "anionic surfactant", "cationic polymer", "anionic polymer"
            )
            | cation
        )

    @cached_property
    def unpaired(self) -> Floats:
        """Share of the cations that no anionic surfactant or polymer has paired off. [-] (...,)"""
        cationic, anionic = self.charge
        return np.clip(1 - over(anionic[..., None], cationic)[..., 0], 0.0, 1.0)

    @cached_property
    def aw_estimate(self) -> tuple[Floats, Floats]:
        """Estimated water activity and the half-width of its 95 % band. [-] (...,) each"""
        c = self.reference
        per_kg = 1000 / np.where(self.water_pct > 0, self.water_pct, np.nan)[..., None]
        estimate = water_activity.water_activity(
            weighed_sum(self.amount, c.norrish) * per_kg,
            c.norrish_constants,
            weighed_sum(self.amount, c.salts) * per_kg,
            c.pitzer_constants,
            weighed_sum(self.amount, c.osmol) * per_kg[..., 0],
        )
        return estimate.aw, water_activity.estimate_error(*estimate)

    @cached_property
    def aw(self) -> tuple[Floats, Floats, Bools]:
        """Water activity, its half-width, and whether it was measured. (...,) each"""
        measured = ~np.isnan(self.aw_measured)
        estimate, error = self.aw_estimate
        return (
            np.where(measured, self.aw_measured, estimate),
            np.where(measured, self.aw_tolerance, error),
            measured,
        )

    @cached_property
    def dry(self) -> Bools:
        """True where nothing needs to be held back: no water, or a water activity surely below
        0.75. (...,)"""
        aw, tolerance, _ = self.aw
        return np.asarray((self.water_pct <= 0) | (aw + tolerance < LOW_RISK_AW))

    @cached_property
    def maybe_low_risk(self) -> Bools:
        """True where the water activity may or may not lie below 0.75. (...,)"""
        aw, tolerance, _ = self.aw
        return np.asarray(~self.dry & (aw - tolerance < LOW_RISK_AW))


def over(value: Floats, base: Floats) -> Floats:
    """Value over a base that may be zero, where the answer is zero."""
    safe = np.where(base > 0, base, 1.0)[..., None]
    return np.where(base[..., None] > 0, value / safe, 0.0)
