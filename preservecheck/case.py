"""Cases: formulas as arrays. One formula is one case; a grid of doses, many draws or a pile of formulas are more.

All arrays have the cases in front and broadcast against each other, so a check written for one formula works for all.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from preservecheck.chemistry import free_active, speciation, water_activity
from preservecheck.chemistry.summation import weighed_sum
from preservecheck.context import ACID, BASE, CATION, Context
from preservecheck.formula.compose import Composition
from preservecheck.formula.model import Formula, Product
from preservecheck.verdict import Bools, Floats

Ints = np.ndarray[tuple[int, ...], np.dtype[np.int64]]
# a thermometer in a pot, half-width; the contract's figure
THERMOMETER_C = 2.0
# water density in g/mL; polyols raise it to 1.05 at most
WATER_DENSITY = 1.0
# ISO 29621, low-risk criterion: below this water activity no growth is expected that a preservative has to stop
LOW_RISK_AW = 0.75
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
# standard laboratory temperature, taken where the sample's was not written down
ROOM_C = 25.0


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
            product.use, product.type, product.markets, product.users, product.package, product.on_market or today
        )


@dataclass(frozen=True)
class Case:
    """Formulas as arrays, cases first.

    Shapes: ``amount`` (..., K); readings (...,); systems (..., P); additions (..., A). Places without a system or an
    addition hold -1. Not-a-number means not measured or not given.
    """

    context: Context
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
    with_oil: Floats  # (..., K) amounts added in a phase that was heated together with oil-phase material
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
                object.__setattr__(self, name, getattr(self.context, name))

    def with_(self, **changes: object) -> Case:
        """The same cases with some arrays replaced; figures that hang on the amounts alone are not worked out again."""
        other = replace(self, **changes)  # type: ignore[arg-type]
        if changes.keys() & {"amount", "context"}:
            return other
        kept = set(FROM_AMOUNTS)
        kept |= {"oil_term"} if "k_oil" not in changes else set()
        kept |= {"bound_ratio"} if "k_bind" not in changes else set()
        kept |= {"pka"} if "sample_c" not in changes else set()
        other.__dict__.update({n: v for n, v in self.__dict__.items() if n in kept})
        return other

    # ---- shared figures, computed once for all checks ---------------------------------------------------------------

    @cached_property
    def water_pct(self) -> Floats:
        """Water, free or inside raw materials. [% w/w of the formula] (...,)"""
        return weighed_sum(self.amount, self.context.water_fraction)

    @cached_property
    def water_phase_pct(self) -> Floats:
        """Everything but oil phase and insoluble powder. [% w/w of the formula] (...,)"""
        return weighed_sum(self.amount, 1 - self.context.oil_phase - self.context.powder)

    @cached_property
    def oil_ratio(self) -> Floats:
        """Volume of each class of liquid oil over the volume of the water phase. [-] (..., C)"""
        return _over(weighed_sum(self.amount, self.context.liquid_oil), self.water_phase_pct / WATER_DENSITY)

    @cached_property
    def binder_pct(self) -> Floats:
        """Binders in the water phase. [% w/v] (..., B)"""
        return _over(100 * weighed_sum(self.amount, self.context.binder), self.water_phase_pct / WATER_DENSITY)

    @cached_property
    def ionic_strength(self) -> Floats:
        """Ions per kg of water in the product. [mol/kg] (...,)"""
        moles = weighed_sum(self.amount, self.context.ion_strength)
        return _over(1000 * moles[..., None], self.water_pct)[..., 0]

    @cached_property
    def temp_c(self) -> Floats:
        """Temperature of the pH sample, 25 °C where it was not written down. [°C] (...,)"""
        return np.where(np.isnan(self.sample_c), ROOM_C, self.sample_c)

    @cached_property
    def pka(self) -> Floats:
        """Constant that goes with a pH meter at this temperature and ionic strength. [-] (..., F)"""
        c = self.context
        pka = speciation.pka_at(c.pka, c.dh_ion_kj_mol, self.temp_c[..., None])
        charge = np.where(c.form_kind == BASE, 1, 0)  # the protonated form of a base is a cation
        return speciation.pka_mixed(pka, charge, self.ionic_strength[..., None], self.temp_c[..., None])

    def working_fraction_of(self, f: int) -> Floats:
        """Share of one active that is in its working form by pH; 1 for what does not ionise. [-] (...,)"""
        kind = self.context.form_kind[f]
        if kind == ACID:
            return speciation.undissociated_fraction(self.ph, self.pka[..., f])
        if kind == BASE:
            return speciation.free_base_fraction(self.ph, self.pka[..., f])
        return np.ones(1)

    @cached_property
    def working_fraction(self) -> Floats:
        """Share of each active that is in its working form by pH. [-] (..., F)"""
        return _stacked([self.working_fraction_of(f) for f in range(len(self.context.forms))], self.ph.shape)

    @cached_property
    def acting_pct(self) -> Floats:
        """Total of each acting form, salts as their acid. [% w/w of the formula] (..., F)"""
        return weighed_sum(self.amount, self.context.acting)

    @cached_property
    def total_in_water(self) -> Floats:
        """Total of each acting form over the water phase alone. [% w/v] (..., F)"""
        return _over(100 * self.acting_pct, self.water_phase_pct / WATER_DENSITY)

    @cached_property
    def oil_term(self) -> Floats:
        """K phi of each acting form, summed over the oils that are there; unknown where one of them is. [-] (..., F)"""
        return _taken_up(self.oil_ratio, self.k_oil)

    @cached_property
    def bound_ratio(self) -> Floats:
        """Total over free in the water by the binders there are; unknown uptake is not counted. [-] (..., F)"""
        return 1 + _taken_up(self.binder_pct, np.where(np.isnan(self.k_bind), 0.0, self.k_bind))

    @cached_property
    def _free(self) -> dict[int, Floats]:
        return {}

    def free_uncapped_of(self, f: int) -> Floats:
        """Working form of one active free in the water phase, before its solubility is looked at. [% w/v] (...,)

        The shape is only as large as what it depends on: the pH does not widen what does not ionise.
        """
        if f not in self._free:
            free = free_active.free_undissociated(
                self.total_in_water[..., f],
                self.oil_term[..., f],
                self.bound_ratio[..., f],
                self.working_fraction_of(f),
            )
            if self.context.form_kind[f] == CATION:
                free = free * self.unpaired
            # what is not there is not unknown, even where its constants are
            self._free[f] = np.where(self.acting_pct[..., f] > 0, free, 0.0)
        return self._free[f]

    def free_of(self, f: int) -> Floats:
        """Working form of one active free in the water phase, at most its solubility. [% w/v] (...,)"""
        solubility = self.context.solubility_g_l[f] / 10
        free = self.free_uncapped_of(f)
        return free if np.isnan(solubility) else free_active.free_capped(free, solubility)[0]

    @cached_property
    def free_uncapped(self) -> Floats:
        """Working form of each active free in the water phase, before its solubility is looked at. [% w/v] (..., F)"""
        return _stacked([self.free_uncapped_of(f) for f in range(len(self.context.forms))], self.water_pct.shape)

    @cached_property
    def free_pct(self) -> Floats:
        """Working form of each active free in the water phase, at most its solubility. [% w/v] (..., F)"""
        return _stacked([self.free_of(f) for f in range(len(self.context.forms))], self.water_pct.shape)

    @cached_property
    def charge(self) -> tuple[Floats, Floats]:
        """Cationic and anionic charges of surfactants, polymers and cationic preservatives. [meq/kg] (...,) each"""
        c = self.context
        density = np.nan_to_num(c.meq_g) * self.paired_kinds
        return (
            weighed_sum(self.amount, 10 * np.maximum(density, 0)),
            weighed_sum(self.amount, 10 * np.maximum(-density, 0)),
        )

    @cached_property
    def paired_kinds(self) -> Bools:
        """Substances whose charges pair off one to one: surfactants, polymers, cationic preservatives. (K,)"""
        c = self.context
        cation = np.array([(a := c.actives.get(n)) is not None and a.active_form == "cation" for n in c.names])
        return np.asarray(
            c.role("cationic surfactant", "anionic surfactant", "cationic polymer", "anionic polymer") | cation
        )

    @cached_property
    def unpaired(self) -> Floats:
        """Share of the cations that no anionic surfactant or polymer has paired off. [-] (...,)"""
        cationic, anionic = self.charge
        return np.clip(1 - _over(anionic[..., None], cationic)[..., 0], 0.0, 1.0)

    @cached_property
    def aw_estimate(self) -> tuple[Floats, Floats]:
        """Estimated water activity and the half-width of its 95 % band. [-] (...,) each"""
        c = self.context
        per_kg = 1000 / np.where(self.water_pct > 0, self.water_pct, np.nan)[..., None]
        neutral = weighed_sum(self.amount, c.norrish) * per_kg
        salts = weighed_sum(self.amount, c.salts) * per_kg
        other = weighed_sum(self.amount, c.osmol) * per_kg[..., 0]
        k, k3 = c.solute_column(c.norrish_rows, "k_norrish"), c.solute_column(c.norrish_rows, "k3_norrish")
        columns = {
            n: c.solute_column(c.salt_rows, n)
            for n in ("z_plus", "z_minus", "nu_plus", "nu_minus", "beta0", "beta1", "beta2", "c_phi")
        }
        columns |= {
            n: c.solute_column(c.salt_rows, n, m)
            for n, m in (("alpha1", 2.0), ("alpha2", 12.0), ("valid_max_molality", np.inf))
        }
        limit = c.solute_column(c.norrish_rows, "valid_max_mole_fraction", 1.0)
        ln_salts, outside = water_activity.electrolytes_pooled(salts, **columns)
        ln_neutral = water_activity.norrish_pooled(neutral, k, k3)
        beyond = water_activity.beyond_mole_fraction(neutral, limit)
        aw = np.exp(ln_neutral + ln_salts + water_activity.ideal_ln_aw(other))
        return aw, water_activity.estimate_error(aw, outside | beyond)

    @cached_property
    def aw(self) -> tuple[Floats, Floats, Bools]:
        """Water activity, its half-width, and whether it was measured. (...,) each"""
        measured = ~np.isnan(self.aw_measured)
        estimate, error = self.aw_estimate
        return (np.where(measured, self.aw_measured, estimate), np.where(measured, self.aw_tolerance, error), measured)

    @cached_property
    def dry(self) -> Bools:
        """True where nothing needs to be held back: no water, or a water activity surely below 0.75. (...,)"""
        aw, tolerance, _ = self.aw
        return np.asarray((self.water_pct <= 0) | (aw + tolerance < LOW_RISK_AW))

    @cached_property
    def maybe_dry(self) -> Bools:
        """True where the water activity may or may not lie below 0.75. (...,)"""
        aw, tolerance, _ = self.aw
        return np.asarray(~self.dry & (aw - tolerance < LOW_RISK_AW))

    def system_values(self, column: Floats) -> Floats:
        """A column of the systems table for each system of each case; not-a-number where there is none. (..., P)"""
        return np.where(self.system >= 0, np.take(column, np.maximum(self.system, 0), axis=0), np.nan)

    @cached_property
    def has_system(self) -> Bools:
        """True where a case has a system at that place. (..., P)"""
        return self.system >= 0


def _stacked(columns: list[Floats], shape: tuple[int, ...]) -> Floats:
    """Columns side by side on a last axis, each widened to the shape of all."""
    full = np.broadcast_shapes(shape, *(c.shape for c in columns))
    return np.stack([np.broadcast_to(c, full) for c in columns], axis=-1) if columns else np.zeros((*full, 0))


def _taken_up(there: Floats, constants: Floats) -> Floats:
    """Sum over classes of how much is there times its constant, class by class. (..., F)"""
    out = np.zeros(np.broadcast_shapes((*there.shape[:-1], 1), constants.shape[:-1]))
    for i in range(there.shape[-1]):
        if there[..., i].any():
            out = out + np.where(there[..., i, None] > 0, there[..., i, None] * constants[..., i], 0.0)
    return out


def _over(value: Floats, base: Floats) -> Floats:
    """Value over a base that may be zero, where the answer is zero."""
    safe = np.where(base > 0, base, 1.0)[..., None]
    return np.where(base[..., None] > 0, value / safe, 0.0)


def context_of(compositions: Sequence[Composition], context: Context) -> Context:
    """A context of just what some formulas hold, their own materials and stand-in systems included.

    Figures do not depend on what else a context holds; a small one is built and multiplied faster.
    """
    own = {i.inci: i for c in compositions for i in c.formula.own_ingredients}
    extra = {s.id: s for c in compositions for s in c.extra_systems}
    used = {u.id for c in compositions for u in c.systems} if context.only_systems is None else context.only_systems
    held = {p.substance for c in compositions for p in c.portions}
    held |= {inci for s in context.tables.systems if s.id in used for inci, _ in s.composition}
    return Context(context.tables, tuple(own.values()), tuple(extra.values()), frozenset(held), frozenset(used))


def cases(compositions: Sequence[Composition], context: Context, today: dt.date) -> Case:
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
    context = context_of(compositions, context)
    n, k = len(compositions), len(context.names)
    width = max([1, *(len(c.systems) for c in compositions)])
    moments = max([1, *(len(c.additions) for c in compositions)])
    amount, preserving, with_oil = np.zeros((n, k)), np.zeros((n, k)), np.zeros((n, k))
    system = np.full((n, width), -1)
    percent = np.full((n, width), np.nan)
    declared = np.zeros((n, width), dtype=bool)
    addition = np.full((n, moments), -1)
    temperature, peak = np.full((n, moments), np.nan), np.full((n, moments), np.nan)
    profiles: dict[Profile, int] = {}
    profile = np.zeros(n, dtype=int)
    for at, c in enumerate(compositions):
        hot = _phases_with_hot_oil(c, context)
        for p in c.portions:
            column = context.index[p.substance]
            amount[at, column] += p.percent
            if p.preserving:
                preserving[at, column] += p.percent
            if c.lines[p.line].phase in hot:
                with_oil[at, column] += p.percent
        for j, use in enumerate(c.systems):
            system[at, j], percent[at, j] = context.system_index[use.id], use.percent
            declared[at, j] = use.declared
        for j, a in enumerate(c.additions):
            addition[at, j] = a.system
            temperature[at, j] = np.nan if a.temperature_c is None else a.temperature_c
            peak[at, j] = np.nan if a.peak_c is None else a.peak_c
        profile[at] = profiles.setdefault(Profile.of(c.formula.product, today), len(profiles))
    formulas = [c.formula for c in compositions]
    return Case(
        context=context,
        amount=amount,
        preserving=preserving,
        with_oil=with_oil,
        ph=_column(formulas, lambda f: f.measured.ph),
        ph_tolerance=_column(formulas, lambda f: f.measured.ph_tolerance),
        sample_c=_column(formulas, lambda f: f.measured.temperature_c),
        aw_measured=_column(formulas, lambda f: f.measured.water_activity),
        aw_tolerance=_column(formulas, lambda f: f.measured.water_activity_tolerance),
        batch_g=np.array([_batch(c) for c in compositions]),
        scale_step_g=_column(formulas, lambda f: f.product.scale_step_g),
        system=system,
        system_percent=percent,
        declared=declared,
        addition=addition,
        addition_c=temperature,
        peak_c=peak,
        temperature_tolerance_c=np.full(n, THERMOMETER_C),
        profiles=tuple(profiles),
        profile=profile,
        compositions=tuple(compositions),
    )


def _column(formulas: Sequence[Formula], get: object) -> Floats:
    values = [get(f) for f in formulas]  # type: ignore[operator]
    return np.array([np.nan if v is None else v for v in values], dtype=float)


def _batch(composition: Composition) -> float:
    grams = [w.grams for w in composition.lines]
    return sum(g for g in grams if g is not None) if all(g is not None for g in grams) else float("nan")


def _phases_with_hot_oil(composition: Composition, context: Context) -> set[int]:
    """Phases that are heated and hold oil-phase material."""
    oily = {
        composition.lines[p.line].phase
        for p in composition.portions
        if p.percent > 0 and context.oil_phase[context.index[p.substance]] > 0
    }
    return {i for i, phase in enumerate(composition.formula.phases) if phase.heated_to_c is not None and i in oily}
