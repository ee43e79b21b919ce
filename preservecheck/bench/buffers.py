"""Weak acids and bases that a composition states, and how much agent a change of pH takes by the
charge balance."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.chemistry import speciation
from preservecheck.errors import ReadingsError
from preservecheck.formula.names import names_of
from preservecheck.reference.load import Tables
from preservecheck.reference.rows import Active, Ingredient
from preservecheck.text import join_or
from preservecheck.verdict import Floats

# uncharged materials whose listed constant is that of a base; the others are acids
_BASES = ("Niacinamide", "Caffeine", "Climbazole")
# plant matter, protein and gums of unknown composition hold pH by themselves
_UNKNOWN_ROLES = ("botanical", "protein", "anionic polymer", "chelator", "wax")
# less than this of dry matter does not decide; common practice, no source
_TRACE_PERCENT = 0.1
# spread of the tables' constants and of what raw materials hold, half-widths of 95 %; recalled
# estimate
PKA_SPREAD, AMOUNT_SPREAD = 0.15, 0.10
# room for what no table states: at least so much either way, and where such materials are in it so
# much more
LEAST_FACTOR, UNKNOWN_FACTOR = 1.25, 2.0
_DRAWS, _SEED = 400, 20261201
# an acid or base that is charged less than this at the target cannot bring it there
_LEAST_CHARGE = 0.05


@dataclass(frozen=True)
class Ionic:
    """A weak or strong electrolyte."""

    inci: str
    pkas: tuple[float, ...]
    charge_protonated: int
    counter_charge: int  # of the ions that come with one molecule, such as +1 for a sodium salt
    molar_mass_g_mol: float
    corrosive: bool = False

    def charge(self, ph: float, shift: float = 0.0) -> float:
        """Mean charge that one molecule brings, counter-ions included. [-]"""
        if not self.pkas:
            return float(self.counter_charge)
        return self.counter_charge + float(
            speciation.mean_charge(
                np.array(ph),
                shifted(np.array(self.pkas), self.charge_protonated, shift),
                self.charge_protonated,
            )
        )


@dataclass(frozen=True)
class Buffers:
    """What holds the pH of a formula, per kg of its water phase."""

    names: tuple[str, ...]
    mol_kg: Floats  # (n,)
    pkas: Floats  # (n, k)
    charge_protonated: Floats  # (n,)
    strength_mol_kg: float
    water_phase_share: float  # of the formula
    unknown: tuple[str, ...]  # materials that hold pH and whose constants no table states

    def charge(
        self, ph: Floats, mol_kg: Floats | None = None, pkas: Floats | None = None
    ) -> Floats:
        """Charge of the weak acids and bases with H+ and OH-. [mol/kg] (...)"""
        protons = 10.0**-ph - 10.0 ** (ph - speciation.PKW_25C)
        if not self.names:
            return np.asarray(protons)
        base = shifted(
            self.pkas if pkas is None else pkas,
            self.charge_protonated[:, None],
            self.strength_mol_kg,
        )
        means = speciation.mean_charge(ph[..., None], base, self.charge_protonated)
        return np.asarray(
            protons + ((self.mol_kg if mol_kg is None else mol_kg) * means).sum(axis=-1)
        )


def shifted(pkas: Floats, charge_protonated: object, strength_mol_kg: float) -> Floats:
    """Constants for the reading of a meter at an ionic strength, step by step."""
    before = np.asarray(charge_protonated, dtype=float) - np.arange(pkas.shape[-1])
    return speciation.pka_mixed(pkas, before, strength_mol_kg)


def ionic_of(row: Ingredient | None, active: Active | None, inci: str) -> Ionic | None:
    """The constants of one substance, where the tables state them."""
    mass = (row.molar_mass_g_mol if row else None) or (active.molar_mass_g_mol if active else None)
    if mass is None:
        return None
    corrosive = row is not None and "corrosive" in row.tags
    written = (
        row.pka
        if row and row.pka
        else f"{active.pka_25c}"
        if active and active.pka_25c is not None
        else None
    )
    if written is None:
        return None
    if written.startswith(">"):  # a hydroxide
        return Ionic(inci, (), 0, 1, mass, corrosive)
    if written.startswith("<0"):  # hydrochloric acid
        return Ionic(inci, (), 0, -1, mass, corrosive)
    pkas = constants(written)
    if not pkas:
        return None
    base = (
        inci in _BASES
        or (row is not None and row.charge in ("cationic", "zwitterionic"))
        or (active is not None and active.active_form == "free base")
    )
    ions = int(row.ions_per_molecule or 1) if row else 1
    first = inci.partition(" ")[0]
    salt = first.endswith("sodium") or first in ("Sodium", "Potassium", "Ammonium")
    return Ionic(inci, pkas, 1 if base else 0, ions - 1 if salt else 0, mass, corrosive)


def constants(written: str) -> tuple[float, ...]:
    """``3.13/4.76/6.40``, ``8.5-9``, ``~6``, ``3.86 (gluconic acid)``; empty where no number
    stands."""
    out = []
    for part in re.sub(r"\(.*?\)", "", written).split("/"):
        numbers = [float(n) for n in re.findall(r"\d+(?:\.\d+)?", part)]
        if "<" in part or not numbers or len(numbers) > 2:  # noqa: PLR2004
            return ()
        out.append(sum(numbers) / len(numbers))
    return tuple(out)


def agent_of(written: str, tables: Tables) -> tuple[Ionic, float | None]:
    """An acid or base by its name, and the strength that the name itself means; a ``ReadingsError``
    where it is not known, or no constant of it is. [-], [%]"""
    names = names_of(tables)
    named = names.ingredient(written)
    rows: Mapping[str, Ingredient] = {i.inci: i for i in tables.ingredients}
    ionic = None
    if named is not None:
        active = next((a for a in tables.actives if a.inci == named.inci), None)
        ionic = ionic_of(rows.get(named.inci), active, named.inci)
    if named is None or ionic is None:
        known = [
            i.inci
            for i in tables.ingredients
            if i.role in ("acid", "base") and ionic_of(i, None, i.inci)
        ]
        why = (
            "is not a known acid or base"
            if named is None
            else "is known, but not as an acid or base with constants"
        )
        raise ReadingsError(
            why,
            f"known are {join_or(known)}",
            path=("agent",),
            name="agent",
            value=f'"{written[:60]}"',
        )
    return ionic, named.strength


def buffers_of(case: FormulaArrays) -> Buffers:
    """The weak acids and bases of a single case."""
    c = case.reference
    share = float(case.water_phase_pct[0]) / 100
    names, mol, pkas, first, unknown = [], [], [], [], []
    for i in np.flatnonzero(case.amount[0] > 0):
        name, percent = c.names[i], float(case.amount[0, i])
        row, active = c.rows.get(name), c.actives.get(name)
        ionic = ionic_of(row, active, name)
        if ionic is not None and not ionic.pkas:
            continue  # a strong one is in the balance already, by the measured pH
        if ionic is None or (row is not None and row.role == "wax"):
            dry = percent * (1 - row.water_fraction) if row else 0.0
            if row is not None and row.role in _UNKNOWN_ROLES and dry >= _TRACE_PERCENT:
                unknown.append(name)
            continue
        names.append(name)
        mol.append(10 * percent / ionic.molar_mass_g_mol / share if share > 0 else 0.0)
        pkas.append(ionic.pkas)
        first.append(ionic.charge_protonated)
    width = max([1, *(len(p) for p in pkas)])
    padded = np.array([[*p, *[np.nan] * (width - len(p))] for p in pkas]).reshape(-1, width)
    return Buffers(
        tuple(names),
        np.array(mol),
        padded,
        np.array(first, dtype=float),
        float(case.ionic_strength[0]),
        share,
        tuple(unknown),
    )


def agent_needed(buffers: Buffers, agent: Ionic, start_ph: float, target_ph: float) -> float:
    """Agent per kg of water phase that takes the pH from one value to another; not-a-number where
    it cannot. [mol/kg]

    The strong ions follow from the measured pH, so that what is neutralised already need not be
    known: x z(target) = Q(start) - Q(target), Q the charge of the weak acids and bases with H+ and
    OH-.
    """
    each = agent.charge(target_ph, buffers.strength_mol_kg)
    charge = buffers.charge(np.array([start_ph, target_ph]))
    needed = float(charge[0] - charge[1])
    if abs(each) < _LEAST_CHARGE or needed * each < 0:
        return float("nan")
    return needed / each


def ph_after(buffers: Buffers, agent: Ionic, start_ph: float, mol_kg: float) -> float:
    """The pH once some agent is in, by the charge balance. [-]"""
    strong = -float(buffers.charge(np.array([start_ph]))[0])
    width = max(buffers.pkas.shape[-1], len(agent.pkas), 1)

    def wide(rows: Floats) -> Floats:
        return np.pad(rows, ((0, 0), (0, width - rows.shape[-1])), constant_values=np.nan)

    own = shifted(buffers.pkas, buffers.charge_protonated[:, None], buffers.strength_mol_kg)
    total, pkas, first = buffers.mol_kg, wide(own), buffers.charge_protonated
    if agent.pkas:
        extra = shifted(
            np.array([agent.pkas]), np.array([[agent.charge_protonated]]), buffers.strength_mol_kg
        )
        total, pkas = np.append(total, mol_kg), np.concatenate([pkas, wide(extra)])
        first = np.append(first, agent.charge_protonated)
    return float(
        speciation.charge_balance_ph(
            total, pkas, first, strong + mol_kg * agent.counter_charge, davies=False
        )
    )


def agent_spread(
    buffers: Buffers, agent: Ionic, start_ph: float, target_ph: float, tolerance: float, best: float
) -> tuple[float, float]:
    """Low and high end of an estimate: inputs drawn, then room for what no table states.
    [mol/kg]"""
    rng = np.random.default_rng(_SEED)
    n = len(buffers.names)
    start = start_ph + tolerance / 1.96 * rng.standard_normal(_DRAWS)
    mol = buffers.mol_kg * np.maximum(
        1 + AMOUNT_SPREAD / 1.96 * rng.standard_normal((_DRAWS, n)), 0.0
    )
    pkas = buffers.pkas + PKA_SPREAD / 1.96 * rng.standard_normal((_DRAWS, n, 1))
    target = np.full(_DRAWS, target_ph)
    needed = buffers.charge(start, mol, pkas) - buffers.charge(target, mol, pkas)
    drawn = needed / agent.charge(target_ph, buffers.strength_mol_kg)
    low, high = np.quantile(drawn, [0.025, 0.975])
    low, high = (
        min(max(float(low), 0.0), best / LEAST_FACTOR),
        max(float(high), best * LEAST_FACTOR),
    )
    return low, high * (UNKNOWN_FACTOR if buffers.unknown else 1.0)
