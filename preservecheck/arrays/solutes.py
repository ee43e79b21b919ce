"""What a gram of each substance adds to the ions and particles in the water."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from preservecheck.arrays.substances import Substances
from preservecheck.chemistry.summation import weighed_sum
from preservecheck.chemistry.water_activity import Norrish, Pitzer, water_activity
from preservecheck.reference.rows import Solute
from preservecheck.verdict import Floats

# free counter-ions of a micelle or lamellar gel, share of the full salt; recalled, 20 to 30 %
FREE_COUNTERION = 0.25
# osmol per kg for a surfactant above its critical micelle concentration; recalled estimate, good to
# a factor 2
SURFACTANT_OSMOL = 1.0
SURFACTANTS = ("cationic surfactant", "anionic surfactant", "amphoteric surfactant")


@dataclass(frozen=True)
class Solutes:
    """Axes N (uncharged solutes with a constant) and E (salts), and what is neither."""

    substances: Substances

    @cached_property
    def _solutes(self) -> Mapping[str, Solute]:
        return {
            s.inci: s
            for s in self.substances.tables.solutes
            if s.preferred == "yes"
            and (s.inci in self.substances.index or s.inci in self._expanded)
        }

    @cached_property
    def _expanded(self) -> frozenset[str]:
        """Solutes that stand inside something on axis K, such as the sugars of honey."""
        return frozenset(
            inci
            for s in self.substances.tables.solutes
            if s.model == "expand" and s.inci in self.substances.index
            for inci, _ in s.expand_to
        )

    @cached_property
    def norrish_rows(self) -> tuple[Solute, ...]:
        """Uncharged solutes with a constant, or taken as ideal, on axis N."""
        return tuple(
            s
            for s in self._solutes.values()
            if s.kind == "nonelectrolyte"
            and s.model in ("norrish", "ideal")
            and s.molar_mass_g_mol is not None
        )

    @cached_property
    def salt_rows(self) -> tuple[Solute, ...]:
        """Salts with Pitzer constants on axis E."""
        return tuple(s for s in self._solutes.values() if s.model == "pitzer")

    def _solute_matrix(self, rows: Sequence[Solute]) -> Floats:
        """Mol per gram of substance. [mol/g] (K, rows)"""
        at = {s.inci: j for j, s in enumerate(rows)}
        out = np.zeros((len(self.substances.names), len(rows)))
        for j, s in enumerate(rows):
            if s.molar_mass_g_mol is not None and s.inci in self.substances.index:
                out[self.substances.index[s.inci], j] = 1 / s.molar_mass_g_mol
        for s in self._solutes.values():
            if s.model != "expand" or s.inci not in self.substances.index:
                continue
            for inci, fraction in s.expand_to:
                if inci in at and (mass := rows[at[inci]].molar_mass_g_mol) is not None:
                    out[self.substances.index[s.inci], at[inci]] = fraction / mass
        return out

    @cached_property
    def norrish(self) -> Floats:
        """Mol of each uncharged solute per gram of substance. [mol/g] (K, N)"""
        return self._solute_matrix(self.norrish_rows)

    @cached_property
    def salts(self) -> Floats:
        """Mol of each salt per gram of substance. [mol/g] (K, E)"""
        return self._solute_matrix(self.salt_rows)

    @cached_property
    def norrish_constants(self) -> Norrish:
        """Constants of the uncharged solutes; without a constant ideal, at any amount. (N,) each"""
        columns = ("k_norrish", 0.0), ("k3_norrish", 0.0), ("valid_max_mole_fraction", 1.0)
        return Norrish(*(_column(self.norrish_rows, *c) for c in columns))

    @cached_property
    def pitzer_constants(self) -> Pitzer:
        """Constants of the salts. (E,) each"""
        missing = {"alpha1": 2.0, "alpha2": 12.0, "valid_max_molality": np.inf}
        return Pitzer(*(_column(self.salt_rows, n, missing.get(n, 0.0)) for n in Pitzer._fields))

    @cached_property
    def solubility(self) -> Floats:
        """Solubility [g/100 g water] and molar mass [g/mol] of uncharged solutes and salts;
        not-a-number where one is not known. (2, N + E)"""
        rows = (*self.norrish_rows, *self.salt_rows)
        columns = "solubility_g_100g_water", "molar_mass_g_mol"
        return np.array([_column(rows, n, np.nan) for n in columns]).reshape(2, -1)

    @cached_property
    def saturated_aw(self) -> Floats:
        """Water activity over the saturated solution of each uncharged solute and salt: by the
        tables, and by the model. [-] (2, N + E)"""
        rows = (*self.norrish_rows, *self.salt_rows)
        table = _column(rows, "water_activity_saturated", np.nan)
        grams, mass = self.solubility
        alone = np.diag(np.nan_to_num(10 * grams / mass))
        n = len(self.norrish_rows)
        model = water_activity(
            alone[:, :n], self.norrish_constants, alone[:, n:], self.pitzer_constants
        ).aw
        return np.array([table, np.broadcast_to(model, table.shape)])

    @cached_property
    def osmol_solubility(self) -> Floats:
        """Solubility of what counts as ideal particles; infinite where not known.
        [g/100 g water] (K,)"""
        out = np.full(len(self.substances.names), np.inf)
        for inci, row in self._solutes.items():
            if inci in self.substances.index and row.solubility_g_100g_water is not None:
                out[self.substances.index[inci]] = row.solubility_g_100g_water
        return np.where(self.osmol > 0, out, np.inf)

    @cached_property
    def salt_strength(self) -> Floats:
        """Ionic strength of one mole of each salt. [-] (E,)"""
        z_plus, z_minus, nu_plus, nu_minus = (np.asarray(c) for c in self.pitzer_constants[:4])
        return np.asarray(0.5 * (nu_plus * z_plus**2 + nu_minus * z_minus**2))

    @cached_property
    def osmol(self) -> Floats:
        """Ideal osmoles of what is neither Norrish solute nor Pitzer salt. [osmol/g] (K,)"""
        out = np.zeros(len(self.substances.names))
        modelled = (self.norrish.sum(axis=1) > 0) | (self.salts.sum(axis=1) > 0)
        for i, name in enumerate(self.substances.names):
            solute, row = self._solutes.get(name), self.substances.rows.get(name)
            if solute is not None and solute.osmol_per_kg is not None:
                out[i] = solute.osmol_per_kg * (1 - self.substances.water_fraction[i]) / 1000
            elif modelled[i]:
                continue
            elif (
                solute is not None
                and solute.nu_effective is not None
                and solute.molar_mass_g_mol is not None
            ):
                out[i] = solute.nu_effective / solute.molar_mass_g_mol
            elif (
                self.substances.oil_phase[i] > 0
                or self.substances.powder[i] > 0
                or self.substances.water_fraction[i] >= 1
            ):
                continue
            elif row is not None and row.role in SURFACTANTS:
                out[i] = SURFACTANT_OSMOL / 1000
            elif np.isfinite(self.substances.molar_mass[i]):
                acid = name.endswith(" Acid") or (
                    row is not None and row.role == "acid"
                )  # hardly dissociated
                ions = (
                    row.ions_per_molecule
                    if row is not None and row.ions_per_molecule and not acid
                    else 1.0
                )
                out[i] = (
                    ions * (1 - self.substances.water_fraction[i]) / self.substances.molar_mass[i]
                )
        return out

    @cached_property
    def ion_strength(self) -> Floats:
        """What a gram of substance adds to the ionic strength if all of it dissolves. [mol/g]
        (K,)"""
        return self.other_ion_strength + weighed_sum(self.salts, self.salt_strength)

    @cached_property
    def other_ion_strength(self) -> Floats:
        """The same without the salts of axis E. [mol/g] (K,)

        Other salts by their ions; bases as the salt they form; acids nothing, since they take the
        place of an anion that is counted already; surfactants a quarter, since most counter-ions
        stay with the micelle.
        """
        out = np.zeros(len(self.substances.names))
        counted = self.salts.sum(axis=1) > 0
        for i, name in enumerate(self.substances.names):
            row, active = self.substances.rows.get(name), self.substances.actives.get(name)
            mass = self.substances.molar_mass[i]
            if counted[i] or not np.isfinite(mass):
                continue
            dry = 1 - self.substances.water_fraction[i]
            if row is not None and row.role in ("cationic surfactant", "anionic surfactant"):
                out[i] = FREE_COUNTERION * dry / mass
            elif row is not None and row.role == "base":
                out[i] = dry / mass
            elif row is not None and row.role in ("electrolyte", "chelator") and row.charge_number:
                z = abs(row.charge_number)
                out[i] = 0.5 * z * (z + 1) * dry / mass
            elif row is not None and row.role == "electrolyte":
                out[i] = dry / mass
            elif active is not None and active.acid_form is not None:
                out[i] = 1 / mass
            elif active is not None and active.active_form == "cation":
                z = abs(active.charge_number or 1)
                out[i] = 0.5 * z * (z + 1) / mass
        return out


def _column(rows: Sequence[Solute], name: str, missing: float) -> Floats:
    """One column of solute rows."""
    return np.array([missing if (v := getattr(s, name)) is None else v for s in rows], dtype=float)
