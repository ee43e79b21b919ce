"""Formulas as arrays: one formula is one case; a grid of doses, many draws or a shelf of formulas
are more.

All arrays have the cases in front and broadcast against each other, so a check written for one
formula works for all. ``arrays/__init__`` names the axes.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from types import EllipsisType
from typing import NamedTuple, Self

import numpy as np

from preservecheck.arrays.filling import filled
from preservecheck.arrays.forms import ACID, BASE, CATION, MICROBES
from preservecheck.arrays.recipes import Profile, Recipes, recipes_of
from preservecheck.arrays.stability import BREAKS, IDLE
from preservecheck.arrays.substances import BINDER_CLASSES, LAMELLA
from preservecheck.arrays.systems import Part, parts_of
from preservecheck.arrays.tables import TableArrays
from preservecheck.chemistry import (
    degradation,
    free_active,
    saturation,
    speciation,
    uptake,
    water_activity,
)
from preservecheck.chemistry.summation import MANY, weighed_sum
from preservecheck.formula.compose import Composition
from preservecheck.formula.materials import Material
from preservecheck.reference.load import Tables
from preservecheck.reference.rows import Ingredient, ProductKind, ProductPh, System
from preservecheck.verdict import Bools, Floats, Ints

# which of the cases: all, or those at some places
Rows = EllipsisType | Ints
# water density in g/mL; polyols raise it to 1.05 at most
WATER_DENSITY = 1.0
# ISO 29621, low-risk criterion: below this water activity no growth is expected that a preservative
# has to stop
LOW_RISK_AW = 0.75
# ISO 29621, low-risk criteria on pH and on alcohol [% w/w]
LOW_RISK_PH, LOW_RISK_ALCOHOL_PERCENT = (3.0, 10.0), 20.0
ALCOHOLS = ("inci:Alcohol", "inci:Isopropyl Alcohol")
# standard laboratory temperature, taken where the sample's was not written down
ROOM_C = 25.0
# traces do not decide a pH; common practice, no source [%]
TRACE_PERCENT = 0.1
# any of it at all [%]
TRACE = 1e-9
# a common part narrower than a meter's tolerance on both sides is none
NARROW_PH = 0.2
# cached figures that depend on nothing but the amounts
FROM_AMOUNTS = frozenset(
    (
        "water_pct",
        "water_phase_pct",
        "oil_ratio",
        "lamella",
        "binder_pct",
        "quat_mmol",
        "solution",
        "ionic_strength",
        "acting_pct",
        "total_in_water",
        "charge",
        "paired_kinds",
        "unpaired",
        "_aw_model",
        "kind",
        "windows",
    )
)


class ProductPhWindow(NamedTuple):
    """Between which pH values a product should lie. (...,) each"""

    low: Floats  # of the product type by custom, or of the materials where these lie wholly apart
    high: Floats
    material_low: Floats  # beyond these a raw material breaks; infinite where nothing does
    material_high: Floats
    apart: Bools  # whether the materials' window has taken the place of the custom


def customary_ph(tables: Tables, type_: str, use: str) -> ProductPh | None:
    """The row of a product type and use, or of the type in any use."""
    rows: dict[tuple[str, str], ProductPh] = {(r.type, r.use): r for r in tables.product_ph}
    return rows.get((type_, use)) or rows.get((type_, "any"))


@dataclass(frozen=True)
class FormulaArrays:
    """What was weighed and measured, and the figures that several checks share; each is computed
    once.

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
    pka_shift: Floats = field(default_factory=lambda: np.zeros(1))  # (..., F)
    # total over free of a preservative's anion beside an excess of long-chain quat (khan-2001;
    # assumption)
    ion_uptake: float = 5.0
    left: Floats = field(default_factory=lambda: np.ones(1))  # (..., F) share not lost over time

    def __post_init__(self) -> None:
        """Take what was not drawn from the tables."""
        for name in ("mic_percent", "k_oil", "k_bind"):
            if getattr(self, name) is None:
                object.__setattr__(self, name, getattr(self.reference.forms, name))

    def with_(self, **changes: object) -> Self:
        """The same cases with some arrays replaced; what hangs on the others is kept."""
        other = replace(self, **changes)  # type: ignore[arg-type]
        if changes.keys() & {"amount", "reference"}:
            return other
        kept = set(FROM_AMOUNTS) - ({"total_in_water"} if "left" in changes else set())
        kept |= {"oil_term"} if "k_oil" not in changes else set()
        kept |= {"bound_ratio"} if "k_bind" not in changes else set()
        kept |= {"pka"} if not changes.keys() & {"sample_c", "pka_shift"} else set()
        other.__dict__.update({n: v for n, v in self.__dict__.items() if n in kept})
        return other

    # ---- phases, ions and water activity ---------------------------------------------------------

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
        """Volume of each class of liquid oil, and of swollen layers, over the volume of the water
        phase. [-] (..., C)"""
        ratio = over(
            weighed_sum(self.amount, self.reference.liquid_oil),
            self.water_phase_pct / WATER_DENSITY,
        )
        ratio[..., LAMELLA] = self.lamella
        return ratio

    @cached_property
    def lamella(self) -> Floats:
        """Volume of the layers of fatty alcohol and long-chain quat over the volume of the water
        phase. [-] (...,)"""
        parts = np.stack((self.reference.layer_lipid, self.reference.swelling), axis=-1)
        share = over(100 * weighed_sum(self.amount, parts), self.water_phase_pct / WATER_DENSITY)
        return uptake.lamellar_volume_ratio(share[..., 0], share[..., 1])

    @cached_property
    def binder_pct(self) -> Floats:
        """Binders in the water phase; quats that stand in layers form no micelles.
        [% w/v] (..., B)"""
        binders = over(
            100 * weighed_sum(self.amount, self.reference.binder),
            self.water_phase_pct / WATER_DENSITY,
        )
        quats = BINDER_CLASSES.index("cationic surfactant")
        binders[..., quats] = np.where(self.lamella > 0, 0.0, binders[..., quats])
        return binders

    @cached_property
    def quat_mmol(self) -> Floats:
        """Cationic surfactant. [mmol per 100 g] (...,)"""
        c = self.reference
        density = np.nan_to_num(c.meq_g) * c.role("cationic surfactant")
        return weighed_sum(self.amount, np.maximum(density, 0.0))

    @cached_property
    def ionic_strength(self) -> Floats:
        """Ions per kg of water in the product, of what dissolves. [mol/kg] (...,)"""
        solutes = self.reference.solutes
        others = 1000 * weighed_sum(self.amount, solutes.other_ion_strength)
        salts = self.solution.dissolved[..., len(solutes.norrish_rows) :]
        dissolved = np.nan_to_num(weighed_sum(salts, solutes.salt_strength))
        return dissolved + over(others[..., None], self.water_pct)[..., 0]

    @cached_property
    def charge(self) -> tuple[Floats, Floats]:
        """Cationic and anionic charge of what pairs off. [meq/kg] (...,) each"""
        c = self.reference
        density = np.nan_to_num(c.meq_g) * self.paired_kinds
        return (
            weighed_sum(self.amount, 10 * np.maximum(density, 0)),
            weighed_sum(self.amount, 10 * np.maximum(-density, 0)),
        )

    @cached_property
    def paired_kinds(self) -> Bools:
        """What pairs off one to one: surfactants, polymers, cationic preservatives. (K,)"""
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
    def solution(self) -> saturation.Dissolved:
        """Uncharged solutes and salts, dissolved and solid. [mol/kg of water] (..., N + E) each"""
        solutes = self.reference.solutes
        per_kg = 1000 / np.where(self.water_pct > 0, self.water_pct, np.nan)[..., None]
        molality = [
            weighed_sum(self.amount, grams) * per_kg for grams in (solutes.norrish, solutes.salts)
        ]
        return saturation.dissolved(np.concatenate(molality, axis=-1), *solutes.solubility)

    @cached_property
    def _aw_model(self) -> tuple[Floats, Floats, Bools]:
        """Estimated water activity [-], its half-width [-], and whether it is too far outside its
        model to decide anything. (...,) each"""
        solutes = self.reference.solutes
        n = len(solutes.norrish_rows)
        molality, solid = self.solution
        water = np.where(self.water_pct > 0, self.water_pct, np.nan)
        limit = solutes.osmol_solubility
        amount = self.amount
        if np.isfinite(limit).any():
            finite = np.isfinite(limit)
            most = np.where(finite, limit, 0.0) * np.nan_to_num(water)[..., None] / 100
            amount = np.minimum(amount, np.where(finite, most, np.inf))
        estimate = water_activity.water_activity(
            molality[..., :n],
            solutes.norrish_constants,
            molality[..., n:],
            solutes.pitzer_constants,
            1000 * weighed_sum(amount, solutes.osmol) / water,
        )
        table, model = solutes.saturated_aw
        aw = saturation.corrected_at_saturation(estimate.aw, solid, table, model)
        held = ((solid > 0) & ~np.isnan(table)).any(axis=-1)
        far = saturation.far_outside(estimate.used, aw) & ~held
        return aw, water_activity.estimate_error(aw, estimate.outside & ~held), far

    @property
    def aw_estimate(self) -> tuple[Floats, Floats]:
        """Estimated water activity and the half-width of its 95 % band. [-] (...,) each"""
        return self._aw_model[:2]

    @property
    def aw_unknown(self) -> Bools:
        """True where the water activity was not measured and lies too far outside the model for an
        estimate to decide anything. (...,)"""
        return np.asarray(np.isnan(self.aw_measured) & self._aw_model[2])

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
        """True without water, or where the water activity is surely below 0.75. (...,)"""
        aw, tolerance, _ = self.aw
        low = (aw + tolerance < LOW_RISK_AW) & ~self.aw_unknown
        return np.asarray((self.water_pct <= 0) | low)

    @cached_property
    def maybe_low_risk(self) -> Bools:
        """True where the water activity may or may not lie below 0.75. (...,)"""
        aw, tolerance, _ = self.aw
        return np.asarray(~self.dry & ((aw - tolerance < LOW_RISK_AW) | self.aw_unknown))

    @cached_property
    def kind(self) -> Ints:
        """The kind of product: index into ``reference.kinds``, -1 for none. (...,)

        As the file names it, or a finer one whose conditions the recipe meets; where it names none,
        the first kind whose conditions it meets.
        """
        kinds = self.reference.kinds
        places = {kind.id: i for i, kind in enumerate(kinds)}
        named = [p.kind for p in self.profiles]
        given = np.array([places.get(n or "", -1) for n in named], dtype=int)
        out = np.broadcast_to(given[self.profile], self.water_pct.shape)
        for i in reversed(range(len(kinds))):
            may = [n is None or n in kinds[i].finer_than for n in named]
            if any(may):
                open_to = np.array(may, dtype=bool)[self.profile]
                out = np.where(open_to & self._looks_like(i), i, out)
        return out

    def _looks_like(self, i: int) -> Bools:
        """Whether the recipe meets every condition of a kind; a blank one holds. (...,)"""
        c, kind = self.reference, self.reference.kinds[i]
        fits = np.array(
            [
                p.type in kind.types
                and (not kind.uses or p.use in kind.uses)
                and (not kind.users or p.users in kind.users)
                and (not kind.packages or p.package in kind.packages)
                for p in self.profiles
            ],
            dtype=bool,
        )[self.profile]
        if not fits.any():
            return fits
        for keys, least in ((kind.has, kind.has_min_percent), (kind.also, kind.also_min_percent)):
            if keys:
                fits = fits & (weighed_sum(self.amount, c.matching(keys)) >= (least or TRACE))
        if kind.without:
            most = kind.without_from_percent or TRACE
            fits = fits & (weighed_sum(self.amount, c.matching(kind.without)) < most)
        if kind.water_below_percent is not None:
            fits = fits & (self.water_pct < kind.water_below_percent)
        return fits

    def kind_of(self, n: int = 0) -> ProductKind | None:
        """The row of one case's kind of product."""
        at = int(self.kind.reshape(-1)[n])
        return self.reference.kinds[at] if at >= 0 else None

    # ---- free active -----------------------------------------------------------------------------

    @cached_property
    def temp_c(self) -> Floats:
        """Temperature of the pH sample, 25 °C where it was not written down. [°C] (...,)"""
        return np.where(np.isnan(self.sample_c), ROOM_C, self.sample_c)

    @cached_property
    def pka(self) -> Floats:
        """The pKa that goes with a pH meter at this temperature and ionic strength. [-] (..., F)"""
        c = self.reference
        pka = speciation.pka_at(c.forms.pka, c.forms.dh_ion_kj_mol, self.temp_c[..., None])
        pka = pka + self.pka_shift
        charge = np.where(c.forms.kind == BASE, 1, 0)  # the protonated form of a base is a cation
        return speciation.pka_mixed(
            pka, charge, self.ionic_strength[..., None], self.temp_c[..., None]
        )

    def working_fraction_of(self, f: int, rows: Rows = ...) -> Floats:
        """Share of one active in its working form, in some of the cases; 1 for what does not
        ionise. [-] (...,)"""
        kind = self.reference.forms.kind[f]
        if kind == ACID:
            return speciation.undissociated_fraction(self.ph[rows], self.pka[..., f][rows])
        if kind == BASE:
            return speciation.free_base_fraction(self.ph[rows], self.pka[..., f][rows])
        return np.ones(1)

    @cached_property
    def working_fraction(self) -> Floats:
        """Share of each active that is in its working form by pH. [-] (..., F)"""
        return _stacked(
            [self.working_fraction_of(f) for f in range(len(self.reference.forms.names))],
            self.ph.shape,
        )

    @cached_property
    def acting_pct(self) -> Floats:
        """Total of each acting form, salts as their acid. [% w/w of the formula] (..., F)"""
        return weighed_sum(self.amount, self.reference.forms.acting)

    @cached_property
    def total_in_water(self) -> Floats:
        """Total of each acting form that is left, over the water phase alone. [% w/v] (..., F)"""
        whole = over(100 * self.acting_pct, self.water_phase_pct / WATER_DENSITY)
        return whole * self.left

    @cached_property
    def oil_term(self) -> Floats:
        """K phi of each acting form over the oils there; unknown where one is. [-] (..., F)"""
        return free_active.taken_up(self.oil_ratio, self.k_oil)

    @cached_property
    def bound_ratio(self) -> Floats:
        """Total over free in the water; unknown uptake is not counted. [-] (..., F)"""
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
            # what is not there is not unknown, even where its constants are
            here = self.acting_pct[..., f] > 0
            if here.ndim > 1 or here.size < MANY or self.ph.shape != here.shape:
                self._free[f] = np.where(here, self._free_at(f), 0.0)
            else:
                rows = np.flatnonzero(here)
                self._free[f] = np.zeros(here.shape)
                self._free[f][rows] = self._free_at(f, rows)
        return self._free[f]

    def _free_at(self, f: int, rows: Rows = ...) -> Floats:
        """The same for some of the cases, as if it were in all of them."""
        free = free_active.free_undissociated(
            self.total_in_water[..., f][rows],
            self.oil_term[..., f][rows],
            self.bound_ratio[..., f][rows],
            self.working_fraction_of(f, rows),
            self.ion_ratio_of(f, rows),
        )
        return free * self.unpaired[rows] if self.reference.forms.kind[f] == CATION else free

    def ion_ratio_of(self, f: int, rows: Rows = ...) -> Floats:
        """Total over free of the anion beside long-chain quat; 1 without it. [-] (...,)"""
        mass, quat = self.reference.forms.molar_mass[f], self.quat_mmol[rows]
        if self.reference.forms.kind[f] != ACID or not quat.any():
            return np.ones(1)
        ions = 1000 * self.acting_pct[..., f][rows] / mass * (1 - self.working_fraction_of(f, rows))
        return uptake.ion_ratio(self.ion_uptake, ions, quat)

    def free_of(self, f: int) -> Floats:
        """Free working form of one active, at most its solubility. [% w/v] (...,)"""
        solubility = self.reference.forms.solubility_g_l[f] / 10
        free = self.free_uncapped_of(f)
        return free if np.isnan(solubility) else free_active.free_capped(free, solubility)[0]

    @cached_property
    def free_uncapped(self) -> Floats:
        """Free working form of each active before its solubility is looked at. [% w/v] (..., F)"""
        return _stacked(
            [self.free_uncapped_of(f) for f in range(len(self.reference.forms.names))],
            self.water_pct.shape,
        )

    @cached_property
    def free_pct(self) -> Floats:
        """Free working form of each active, at most its solubility. [% w/v] (..., F)"""
        return _stacked(
            [self.free_of(f) for f in range(len(self.reference.forms.names))], self.water_pct.shape
        )

    def ratio_of(self, f: int, rows: Rows = ...) -> Floats:
        """Free working form of one active over its MIC; 0 where none is known. [-] (..., M)"""
        free = self.free_of(f)[rows][..., None]
        mic = self.mic_percent[..., f, :]
        return free / np.where(np.isnan(mic), np.inf, mic)

    @cached_property
    def sums(self) -> Floats:
        """Sum of the ratios over all actives. [-] (..., M)"""
        return self.sum_of(range(len(self.reference.forms.names)))

    def sum_of(self, forms: Iterable[int]) -> Floats:
        """Sum of the ratios over some actives, one after the other. [-] (..., M)"""
        total = np.zeros((*self.water_pct.shape, len(MICROBES)))
        for f in forms:
            free = self.free_of(f)
            few = free.ndim > 1 or free.size < MANY
            if few or free.shape != total.shape[:-1] or self.mic_percent.ndim > 2:
                total = total + self.ratio_of(f)
            else:  # most actives are in few of many cases
                rows = np.flatnonzero(free)
                total[rows] += self.ratio_of(f, rows)
        return total

    @cached_property
    def without_mic(self) -> Bools:
        """True where a system holds nothing whose amount could be compared with an MIC. (...,)"""
        without_mic = self.reference.systems.without_mic[np.maximum(self.system, 0)]
        return np.asarray(((self.system >= 0) & without_mic).any(axis=-1))

    @cached_property
    def unpreserved(self) -> Bools:
        """True where no active that is known to hold microbes back is there. (...,)"""
        return np.asarray(~((self.acting_pct > 0).any(axis=-1) | self.without_mic))

    @cached_property
    def usual_here(self) -> Bools:
        """Whether a system of the formula is usual in this kind of product, at a pH at which it
        works. (...,)"""
        low, high = self.effective_ph
        ph = self.ph[..., None]
        usual = self.reference.usual[np.maximum(self.system, 0), self.kind[..., None]]
        return np.asarray((self.has_system & usual & (ph >= low) & (ph <= high)).any(axis=-1))

    @cached_property
    def loss_rate(self) -> Floats:
        """Rate at which each active is lost at 25 °C; not-a-number where none is known.
        [1/month] (..., F)"""
        rate, ph, slope, energy, pka, low, high, _ = self.reference.forms.degradation
        return degradation.loss_rate(
            self.ph[..., None], ROOM_C, rate, ph, slope, energy, pka, low, high
        )

    # ---- systems and windows of pH ---------------------------------------------------------------

    def system_values(self, column: Floats) -> Floats:
        """A column of the systems for those of each case; not-a-number at empty places. (..., P)"""
        return np.where(
            self.system >= 0, np.take(column, np.maximum(self.system, 0), axis=0), np.nan
        )

    @cached_property
    def has_system(self) -> Bools:
        """True where a case has a system at that place. (..., P)"""
        return self.system >= 0

    @cached_property
    def effective_ph(self) -> tuple[Floats, Floats]:
        """Lowest and highest pH at which each system works. (..., P) each"""
        c = self.reference
        return (
            self.system_values(c.systems.column("ph_min")),
            self.system_values(c.systems.column("ph_max")),
        )

    @cached_property
    def product_ph(self) -> ProductPhWindow:
        """The pH that suits product and raw materials."""
        c = self.reference
        by_type = _ph_ends([customary_ph(c.tables, p.type, p.use) for p in self.profiles])
        by_kind = _ph_ends([*c.kinds, None])  # the last stands for none
        custom = np.where((self.kind >= 0)[..., None], by_kind[self.kind], by_type[self.profile])
        low, high = c.own_stable_ph
        counted = self.amount >= TRACE_PERCENT
        least = np.where(counted, low, -np.inf).max(axis=-1)
        most = np.where(counted, high, np.inf).min(axis=-1)
        breaks_below, breaks_above = c.stability.edges(BREAKS)
        least = np.maximum(
            least, np.where(self.windows, breaks_below, -np.inf).max(axis=-1, initial=-np.inf)
        )
        most = np.minimum(
            most, np.where(self.windows, breaks_above, np.inf).min(axis=-1, initial=np.inf)
        )
        apart = np.minimum(most, custom[..., 1]) - np.maximum(least, custom[..., 0]) < NARROW_PH
        return ProductPhWindow(
            np.where(apart, least, custom[..., 0]),
            np.where(apart, most, custom[..., 1]),
            least,
            most,
            apart,
        )

    @cached_property
    def windows(self) -> Bools:
        """Which windows of stability hold. (..., W)"""
        return self.reference.stability.hold(self.amount)

    @cached_property
    def idle_chelator_pct(self) -> Floats:
        """Chelators that do not act at this pH. [% w/w of the formula] (...,)"""
        stability = self.reference.stability
        low, high = stability.edges(IDLE)
        ph = self.ph[..., None]
        idle = ((ph < low) | (ph > high)) & self.windows
        held = weighed_sum(self.amount, stability.materials)
        return np.asarray(np.where(idle, held, 0.0).sum(axis=-1))

    @cached_property
    def alcohol_pct(self) -> Floats:
        """Ethanol and isopropanol. [% w/w of the formula] (...,)"""
        return weighed_sum(self.amount, self.reference.matching(ALCOHOLS).astype(float))

    @cached_property
    def low_risk(self) -> Bools:
        """True where alcohol or pH alone keep microbes from growing. (...,)"""
        low, high = LOW_RISK_PH
        return np.asarray(
            (self.alcohol_pct >= LOW_RISK_ALCOHOL_PERCENT)
            | (self.ph + self.ph_tolerance < low)
            | (self.ph - self.ph_tolerance > high)
        )

    def parts_added(self) -> Iterator[tuple[int, Part]]:
        """Each addition of the first case with each part of its system."""
        for a, slot in enumerate(self.addition[0]):
            if slot >= 0:
                for part in parts_of(self.reference.systems.rows[int(self.system[0, slot])]):
                    yield a, part


def _ph_ends(rows: Sequence[ProductPh | ProductKind | None]) -> Floats:
    """Lowest and highest customary pH of each row; not-a-number where there is none. (rows, 2)"""
    ends = [(np.nan, np.nan) if r is None else (r.ph_min, r.ph_max) for r in rows]
    return np.array(ends, dtype=float).reshape(-1, 2)


def over(value: Floats, base: Floats) -> Floats:
    """Value over a base that may be zero, where the answer is zero."""
    safe = np.where(base > 0, base, 1.0)[..., None]
    return np.where(base[..., None] > 0, value / safe, 0.0)


def _stacked(columns: list[Floats], shape: tuple[int, ...]) -> Floats:
    """Columns side by side on a last axis, each widened to the shape of all."""
    full = np.broadcast_shapes(shape, *(c.shape for c in columns))
    return (
        np.stack([np.broadcast_to(c, full) for c in columns], axis=-1)
        if columns
        else np.zeros((*full, 0))
    )


def table_arrays_of(
    materials: Sequence[Material],
    reference: TableArrays,
    own: Sequence[Ingredient] = (),
    systems: Sequence[System] = (),
) -> TableArrays:
    """A context of just what some raw materials hold, own ingredients and stand-in systems
    included.

    Figures do not depend on what else a context holds; a small one is built and multiplied faster.

    Parameters
    ----------
    materials
        The raw materials.
    context
        Reference arrays of the tables.
    own
        Ingredients that belong to the formulas alone.
    systems
        Systems that it has to hold besides.
    """
    tables = reference.tables
    extra = {s.id: s for m in materials for s in m.extra}
    used = (
        {r.system for m in materials for r in m.roles}
        if reference.only_systems is None
        else reference.only_systems
    )
    used = frozenset(used) | {s.id for s in systems}
    held = {p.substance for m in materials for p in m.parts}
    held |= {inci for s in tables.systems if s.id in used for inci, _ in s.composition}
    return TableArrays(
        tables,
        tuple(own),
        only_substances=frozenset(held),
        extra=tuple(extra.values()),
        only_systems=used,
    )


def formula_arrays_of(recipes: Recipes, reference: TableArrays) -> FormulaArrays:
    """A pile of recipes as arrays, against a context that holds all of it."""
    return FormulaArrays(reference=reference, **filled(recipes, reference))


def formula_arrays(
    compositions: Sequence[Composition], reference: TableArrays, today: dt.date
) -> FormulaArrays:
    """Formulas as arrays.

    Parameters
    ----------
    compositions
        Opened formulas.
    context
        Reference arrays of the tables.
    today
        The day whose law holds where a formula names none.
    """
    own = {i.inci: i for c in compositions for i in c.formula.own_ingredients}
    recipes = recipes_of(compositions, today)
    reference = table_arrays_of(recipes.materials, reference, tuple(own.values()))
    return FormulaArrays(
        reference=reference, **filled(recipes, reference), compositions=tuple(compositions)
    )
