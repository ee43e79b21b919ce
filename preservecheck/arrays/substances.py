"""Axis K: every substance that a formula may hold, and what the tables say about it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import get_args

import numpy as np

from preservecheck.reference.load import Tables
from preservecheck.reference.rows import Active, BinderClass, Ingredient, ProductKind
from preservecheck.verdict import Bools, Floats

# the last is no oil but the layers of fatty alcohol that a long-chain quat swells
OIL_CLASSES = ("vegetable", "ester", "hydrocarbon", "silicone", "fatty-alcohol", "lamella")
LAMELLA = OIL_CLASSES.index("lamella")
# g/mL; facts on vegetable and mineral oil read, the others common practice, no source
OIL_DENSITY = {
    "vegetable": 0.92,
    "ester": 0.92,
    "hydrocarbon": 0.85,
    "silicone": 0.96,
    "fatty-alcohol": 0.85,
    "lamella": 0.90,
}
BINDER_CLASSES: tuple[str, ...] = get_args(BinderClass)
# food for microbes per gram of dry substance; judgement of this program, common practice, no source
NUTRIENT_WEIGHTS = {"none": 0.0, "low": 0.02, "medium": 0.3, "high": 1.0}


@dataclass(frozen=True)
class Substances:
    """The tables with the substances on axis K.

    Parameters
    ----------
    tables
        The tables.
    own
        Materials that belong to one formula alone.
    only_substances
        Substances on axis K, where not all are needed; figures do not depend on it.
    """

    tables: Tables
    own: tuple[Ingredient, ...] = ()
    only_substances: frozenset[str] | None = None

    @cached_property
    def rows(self) -> Mapping[str, Ingredient]:
        """Ingredient row by INCI name."""
        only = self.only_substances
        return {
            i.inci: i
            for i in (*self.tables.ingredients, *self.own)
            if only is None or i.inci in only
        }

    @cached_property
    def actives(self) -> Mapping[str, Active]:
        """Active row by INCI name, acids of the salts included."""
        return {a.inci: a for a in self.tables.actives}

    @cached_property
    def held_actives(self) -> tuple[Active, ...]:
        """Actives that stand on axis K themselves."""
        return tuple(a for a in self.actives.values() if a.inci in self.index)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Substances on axis K."""
        listed = [s for rule in self.tables.legal_limits for s in rule.substances]
        listed += [c.substance for c in self.tables.conversions]
        every = {*self.rows, *self.actives, *listed}
        return tuple(
            sorted(every if self.only_substances is None else every & self.only_substances)
        )

    @cached_property
    def kinds(self) -> tuple[ProductKind, ...]:
        """Kinds of product in the order in which they are tried."""
        return tuple(sorted(self.tables.product_kinds, key=lambda row: row.match_order))

    @cached_property
    def index(self) -> Mapping[str, int]:
        """Position of a substance on axis K."""
        return {n: i for i, n in enumerate(self.names)}

    def _vector(
        self, value: Callable[[Ingredient], float | None], missing: float = np.nan
    ) -> Floats:
        out = np.full(len(self.names), missing)
        for i, name in enumerate(self.names):
            if (row := self.rows.get(name)) is not None and (v := value(row)) is not None:
                out[i] = v
        return out

    def _flag(self, test: Callable[[Ingredient], bool]) -> Bools:
        return np.array(
            [(row := self.rows.get(n)) is not None and test(row) for n in self.names], dtype=bool
        )

    @cached_property
    def molar_mass(self) -> Floats:
        """Molar mass, from the actives, the solutes or the ingredients. [g/mol] (K,)"""
        out = self._vector(lambda r: r.molar_mass_g_mol)
        for solute in self.tables.solutes:
            if solute.molar_mass_g_mol is not None and solute.inci in self.index:
                out[self.index[solute.inci]] = solute.molar_mass_g_mol
        for active in self.held_actives:
            out[self.index[active.inci]] = active.molar_mass_g_mol
        return out

    @cached_property
    def water_fraction(self) -> Floats:
        """Water in what the name means. [-] (K,)"""
        return self._vector(lambda r: r.water_fraction, 0.0)

    @cached_property
    def oil_phase(self) -> Floats:
        """Share that belongs to the oil phase, liquid or solid. [-] (K,)"""
        return self._vector(lambda r: 1 - r.water_fraction if r.oil_class is not None else 0.0, 0.0)

    @cached_property
    def liquid_oil(self) -> Floats:
        """Volume of liquid oil per mass, by class. [mL/g] (K, C)"""
        out = np.zeros((len(self.names), len(OIL_CLASSES)))
        for i, name in enumerate(self.names):
            row = self.rows.get(name)
            if row is not None and row.oil_class in OIL_CLASSES and row.liquid_at_25c == "yes":
                out[i, OIL_CLASSES.index(row.oil_class)] = (1 - row.water_fraction) / OIL_DENSITY[
                    row.oil_class
                ]
        return out

    @cached_property
    def nutrient(self) -> Floats:
        """Dry nutrient per gram; oils and waxes are no food in this sense. [g/g] (K,)"""
        weight = self._vector(
            lambda r: NUTRIENT_WEIGHTS[r.nutrient_load] if r.oil_class is None else 0.0, 0.0
        )
        return weight * (1 - self.water_fraction)

    @cached_property
    def own_stable_ph(self) -> tuple[Floats, Floats]:
        """Lowest and highest pH of the formula's own materials, as their maker wrote them down;
        open sides are infinite. (K,) each

        The windows of the table are custom and feel; what breaks stands in stability_windows.csv.
        """
        own = {row.inci for row in self.own}
        return (
            self._vector(lambda r: r.ph_min if r.inci in own else None, -np.inf),
            self._vector(lambda r: r.ph_max if r.inci in own else None, np.inf),
        )

    @cached_property
    def layer_lipid(self) -> Floats:
        """1 for solid fatty alcohols and glyceryl stearate, which a long-chain quat swells. (K,)"""
        return self._flag(
            lambda r: (
                r.liquid_at_25c != "yes"
                and (r.role == "fatty alcohol" or r.inci.startswith("Glyceryl Stearate"))
            )
        ).astype(float)

    @cached_property
    def swelling(self) -> Floats:
        """1 for long-chain quats. (K,)"""
        return self.tag("hard-quat").astype(float)

    @cached_property
    def powder(self) -> Floats:
        """1 for an insoluble powder, which is no part of the water phase. [-] (K,)"""
        return self._flag(lambda r: r.role == "powder").astype(float)

    @cached_property
    def binder(self) -> Floats:
        """Dry mass share of each binder class; water-insoluble waxes are none. [-] (K, B)"""
        out = np.zeros((len(self.names), len(BINDER_CLASSES)))
        for i, name in enumerate(self.names):
            row = self.rows.get(name)
            if row is not None and row.binder_class is not None:
                out[i, BINDER_CLASSES.index(row.binder_class)] = 1 - row.water_fraction
        return out

    @cached_property
    def meq_g(self) -> Floats:
        """Signed charge density. [meq/g] (K,)

        Charge number over molar mass, or the table's own density for polymers.
        """

        def density(row: Ingredient) -> float | None:
            if row.charge_meq_g is not None:
                return row.charge_meq_g
            if row.charge_number is not None and row.molar_mass_g_mol is not None:
                return 1000 * row.charge_number / row.molar_mass_g_mol
            return None

        out = self._vector(density)
        for active in self.held_actives:
            if active.charge_number is not None:
                out[self.index[active.inci]] = 1000 * active.charge_number / active.molar_mass_g_mol
        return out

    def role(self, *roles: str) -> Bools:
        """True for substances of the given roles. (K,)"""
        return self.matching(f"role:{r}" for r in roles)

    def tag(self, *tags: str) -> Bools:
        """True for substances that carry one of the tags. (K,)"""
        return self.matching(f"tag:{t}" for t in tags)

    @cached_property
    def _members(self) -> Mapping[str, list[int]]:
        """Positions on axis K by ``inci:``, ``tag:`` and ``role:`` key."""
        out: dict[str, list[int]] = {}
        for i, name in enumerate(self.names):
            row = self.rows.get(name)
            keys = [f"inci:{name}"] + (
                [f"role:{row.role}", *(f"tag:{t}" for t in row.tags)] if row else []
            )
            for key in keys:
                out.setdefault(key, []).append(i)
        return out

    def matching(self, keys: Iterable[str]) -> Bools:
        """True for substances that an ``inci:``, ``tag:`` or ``role:`` key names. (K,)"""
        out = np.zeros(len(self.names), dtype=bool)
        for key in keys:
            out[self._members.get(key, [])] = True
        return out
