"""How much of each active is free in the water, in its working form."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from preservecheck.arrays.forms import ACID, BASE, CATION, MICROBES
from preservecheck.arrays.phases import WATER_DENSITY, Phases, over
from preservecheck.chemistry import free_active, speciation
from preservecheck.chemistry.summation import weighed_sum
from preservecheck.verdict import Bools, Floats

# standard laboratory temperature, taken where the sample's was not written down
ROOM_C = 25.0


class Free(Phases):
    """Constants at the formula's own temperature and ionic strength, and the free
    concentrations."""

    @cached_property
    def temp_c(self) -> Floats:
        """Temperature of the pH sample, 25 °C where it was not written down. [°C] (...,)"""
        return np.where(np.isnan(self.sample_c), ROOM_C, self.sample_c)

    @cached_property
    def pka(self) -> Floats:
        """Constant that goes with a pH meter at this temperature and ionic strength. [-] (...,
        F)"""
        c = self.reference
        pka = speciation.pka_at(c.pka, c.dh_ion_kj_mol, self.temp_c[..., None])
        charge = np.where(c.form_kind == BASE, 1, 0)  # the protonated form of a base is a cation
        return speciation.pka_mixed(
            pka, charge, self.ionic_strength[..., None], self.temp_c[..., None]
        )

    def working_fraction_of(self, f: int) -> Floats:
        """Share of one active that is in its working form by pH; 1 for what does not ionise. [-]
        (...,)"""
        kind = self.reference.form_kind[f]
        if kind == ACID:
            return speciation.undissociated_fraction(self.ph, self.pka[..., f])
        if kind == BASE:
            return speciation.free_base_fraction(self.ph, self.pka[..., f])
        return np.ones(1)

    @cached_property
    def working_fraction(self) -> Floats:
        """Share of each active that is in its working form by pH. [-] (..., F)"""
        return _stacked(
            [self.working_fraction_of(f) for f in range(len(self.reference.forms))], self.ph.shape
        )

    @cached_property
    def acting_pct(self) -> Floats:
        """Total of each acting form, salts as their acid. [% w/w of the formula] (..., F)"""
        return weighed_sum(self.amount, self.reference.acting)

    @cached_property
    def total_in_water(self) -> Floats:
        """Total of each acting form over the water phase alone. [% w/v] (..., F)"""
        return over(100 * self.acting_pct, self.water_phase_pct / WATER_DENSITY)

    @cached_property
    def oil_term(self) -> Floats:
        """K phi of each acting form, summed over the oils that are there; unknown where one of them
        is. [-] (..., F)"""
        return free_active.taken_up(self.oil_ratio, self.k_oil)

    @cached_property
    def bound_ratio(self) -> Floats:
        """Total over free in the water by the binders there are; unknown uptake is not counted. [-]
        (..., F)"""
        known = np.where(np.isnan(self.k_bind), 0.0, self.k_bind)
        return 1 + free_active.taken_up(self.binder_pct, known)

    @cached_property
    def _free(self) -> dict[int, Floats]:
        return {}

    def free_uncapped_of(self, f: int) -> Floats:
        """Working form of one active free in the water phase, before its solubility is looked at.
        [% w/v] (...,)

        The shape is only as large as what it depends on: the pH does not widen what does not
        ionise.
        """
        if f not in self._free:
            free = free_active.free_undissociated(
                self.total_in_water[..., f],
                self.oil_term[..., f],
                self.bound_ratio[..., f],
                self.working_fraction_of(f),
            )
            if self.reference.form_kind[f] == CATION:
                free = free * self.unpaired
            # what is not there is not unknown, even where its constants are
            self._free[f] = np.where(self.acting_pct[..., f] > 0, free, 0.0)
        return self._free[f]

    def free_of(self, f: int) -> Floats:
        """Working form of one active free in the water phase, at most its solubility. [% w/v]
        (...,)"""
        solubility = self.reference.solubility_g_l[f] / 10
        free = self.free_uncapped_of(f)
        return free if np.isnan(solubility) else free_active.free_capped(free, solubility)[0]

    @cached_property
    def free_uncapped(self) -> Floats:
        """Working form of each active free in the water phase, before its solubility is looked at.
        [% w/v] (..., F)"""
        return _stacked(
            [self.free_uncapped_of(f) for f in range(len(self.reference.forms))],
            self.water_pct.shape,
        )

    @cached_property
    def free_pct(self) -> Floats:
        """Working form of each active free in the water phase, at most its solubility. [% w/v]
        (..., F)"""
        return _stacked(
            [self.free_of(f) for f in range(len(self.reference.forms))], self.water_pct.shape
        )

    def ratio_of(self, f: int) -> Floats:
        """Free working form of one active over its MIC; 0 where none is known. [-] (..., M)"""
        free = self.free_of(f)[..., None]
        mic = self.mic_percent[..., f, :]
        return free / np.where(np.isnan(mic), np.inf, mic)

    @cached_property
    def sums(self) -> Floats:
        """Sum of the ratios over all actives, one after the other. [-] (..., M)"""
        total = np.zeros((*self.water_pct.shape, len(MICROBES)))
        for f in range(len(self.reference.forms)):
            total = total + self.ratio_of(f)
        return total

    @cached_property
    def without_mic(self) -> Bools:
        """True where a system holds nothing whose amount could be compared with an MIC. (...,)"""
        silent = self.reference.systems_without_mic[np.maximum(self.system, 0)]
        return np.asarray(((self.system >= 0) & silent).any(axis=-1))

    @cached_property
    def unpreserved(self) -> Bools:
        """True where no active that is known to hold microbes back is there. (...,)"""
        return np.asarray(~((self.acting_pct > 0).any(axis=-1) | self.without_mic))


def _stacked(columns: list[Floats], shape: tuple[int, ...]) -> Floats:
    """Columns side by side on a last axis, each widened to the shape of all."""
    full = np.broadcast_shapes(shape, *(c.shape for c in columns))
    return (
        np.stack([np.broadcast_to(c, full) for c in columns], axis=-1)
        if columns
        else np.zeros((*full, 0))
    )
