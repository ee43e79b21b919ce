"""The tables as arrays: one axis of substances, one of acting forms, one of systems.

Everything a check multiplies or compares with stands here once, built from the rows, so that one formula and a million
formulas meet the same numbers. Not-a-number means unknown.

Axes used throughout: ``K`` substances, ``F`` acting forms (an acid and its salts are one), ``M`` microbes, ``C`` oil
classes, ``B`` binder classes, ``S`` systems, ``Q`` parts of a system, ``N`` norrish solutes, ``E`` salts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from preservecheck.chemistry import free_active, speciation
from preservecheck.chemistry.summation import weighed_sum
from preservecheck.reference.load import Tables
from preservecheck.reference.rows import Active, Binding, Ingredient, Mic, Partition, Solute, System
from preservecheck.verdict import Bools, Floats

OIL_CLASSES = ("vegetable", "ester", "hydrocarbon", "silicone", "fatty-alcohol")
# g/mL; facts on vegetable and mineral oil read, the others common practice, no source
OIL_DENSITY = {"vegetable": 0.92, "ester": 0.92, "hydrocarbon": 0.85, "silicone": 0.96, "fatty-alcohol": 0.85}
BINDER_CLASSES = (
    "nonionic ethoxylate",
    "nonionic glucoside",
    "anionic surfactant",
    "amphoteric surfactant",
    "cationic surfactant",
    "cellulose ether",
    "protein",
    "polyether",
    "polyvinylpyrrolidone",
)
# micelles that hold uncharged preservatives about as strongly as ethoxylates do, within a factor 2 (assumption)
LIKE_ETHOXYLATE = ("nonionic ethoxylate", "nonionic glucoside", "anionic surfactant", "amphoteric surfactant")
MICROBES = (
    "Pseudomonas aeruginosa",
    "Escherichia coli",
    "Staphylococcus aureus",
    "Candida albicans",
    "Aspergillus brasiliensis",
)
# roles whose antimicrobial part is added up; humectants act through water activity and are not counted twice
COUNTED_ROLES = ("preservative", "booster", "solvent")
NEUTRAL, ACID, BASE, CATION = range(4)
FORM_CODES = {
    "neutral molecule": NEUTRAL,
    "undissociated acid": ACID,
    "free base": BASE,
    "cation": CATION,
    "released formaldehyde": NEUTRAL,
    "chelating anion": NEUTRAL,
}
RATINGS = {"none": 0, "weak": 1, "moderate": 2, "strong": 3}
GROUPS = ("gram_positive", "gram_negative", "yeast", "mould")
COMPAT_COLUMNS = (
    "with_cationic_surfactant",
    "with_anionic_surfactant",
    "with_nonionic_ethoxylates",
    "with_proteins",
    "with_electrolytes",
)
COMPAT_CODES = {"ok": 0, "caution": 1, "avoid": 2}
# half-widths that the tables' own uncertainty adds, as factors (times and divided by); facts on the relations' scatter
MEASURED_FACTOR = 1.5
RELATION_FACTOR = 2.5
BINDING_FACTOR = 2.0
# scatter of curated solubilities near 25 °C is 0.05 to 0.08 log units (aqsoldb-2019); recalled ones differ more
READ_SOLUBILITY, RECALLED_SOLUBILITY = 1.15, 1.5
# free counter-ions of a micelle or lamellar gel, share of the full salt; recalled, 20 to 30 %
FREE_COUNTERION = 0.25
# osmol per kg for a surfactant above its critical micelle concentration; recalled estimate, good to a factor 2
SURFACTANT_OSMOL = 1.0
SURFACTANTS = ("cationic surfactant", "anionic surfactant", "amphoteric surfactant")


@dataclass(frozen=True)
class Context:
    """Reference arrays for one set of tables and, where a formula brings some, its own materials.

    Parameters
    ----------
    tables
        The tables.
    own
        Materials that belong to one formula alone.
    extra
        Stand-in systems for plain actives without a row.
    only_substances
        Substances on axis K, where not all are needed; figures do not depend on it.
    only_systems
        Systems on axis S, where not all are needed.
    """

    tables: Tables
    own: tuple[Ingredient, ...] = ()
    extra: tuple[System, ...] = ()
    only_substances: frozenset[str] | None = None
    only_systems: frozenset[str] | None = None

    # ---- substances -------------------------------------------------------------------------------------------------

    @cached_property
    def rows(self) -> Mapping[str, Ingredient]:
        """Ingredient row by INCI name."""
        only = self.only_substances
        return {i.inci: i for i in (*self.tables.ingredients, *self.own) if only is None or i.inci in only}

    @cached_property
    def actives(self) -> Mapping[str, Active]:
        """Active row by INCI name, acids of the salts included."""
        return {a.inci: a for a in self.tables.actives}

    @cached_property
    def _held_actives(self) -> tuple[Active, ...]:
        return tuple(a for a in self.actives.values() if a.inci in self.index)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Substances on axis K."""
        listed = [s for rule in self.tables.legal_limits for s in rule.substances]
        listed += [c.substance for c in self.tables.conversions]
        every = {*self.rows, *self.actives, *listed}
        return tuple(sorted(every if self.only_substances is None else every & self.only_substances))

    @cached_property
    def index(self) -> Mapping[str, int]:
        """Position of a substance on axis K."""
        return {n: i for i, n in enumerate(self.names)}

    def _vector(self, value: Callable[[Ingredient], float | None], missing: float = np.nan) -> Floats:
        out = np.full(len(self.names), missing)
        for i, name in enumerate(self.names):
            if (row := self.rows.get(name)) is not None and (v := value(row)) is not None:
                out[i] = v
        return out

    def _flag(self, test: Callable[[Ingredient], bool]) -> Bools:
        return np.array([(row := self.rows.get(n)) is not None and test(row) for n in self.names], dtype=bool)

    @cached_property
    def molar_mass(self) -> Floats:
        """Molar mass, from the actives, the solutes or the ingredients. [g/mol] (K,)"""
        out = self._vector(lambda r: r.molar_mass_g_mol)
        for solute in self.tables.solutes:
            if solute.molar_mass_g_mol is not None and solute.inci in self.index:
                out[self.index[solute.inci]] = solute.molar_mass_g_mol
        for active in self._held_actives:
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
                out[i, OIL_CLASSES.index(row.oil_class)] = (1 - row.water_fraction) / OIL_DENSITY[row.oil_class]
        return out

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
        for active in self._held_actives:
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
            keys = [f"inci:{name}"] + ([f"role:{row.role}", *(f"tag:{t}" for t in row.tags)] if row else [])
            for key in keys:
                out.setdefault(key, []).append(i)
        return out

    def matching(self, keys: Iterable[str]) -> Bools:
        """True for substances that an ``inci:``, ``tag:`` or ``role:`` key names. (K,)"""
        out = np.zeros(len(self.names), dtype=bool)
        for key in keys:
            out[self._members.get(key, [])] = True
        return out

    # ---- ions and solutes -------------------------------------------------------------------------------------------

    @cached_property
    def _solutes(self) -> Mapping[str, Solute]:
        return {
            s.inci: s
            for s in self.tables.solutes
            if s.preferred == "yes" and (s.inci in self.index or s.inci in self._expanded)
        }

    @cached_property
    def _expanded(self) -> frozenset[str]:
        """Solutes that stand inside something on axis K, such as the sugars of honey."""
        return frozenset(
            inci for s in self.tables.solutes if s.model == "expand" and s.inci in self.index for inci, _ in s.expand_to
        )

    @cached_property
    def norrish_rows(self) -> tuple[Solute, ...]:
        """Uncharged solutes with a constant, or taken as ideal, on axis N."""
        return tuple(
            s
            for s in self._solutes.values()
            if s.kind == "nonelectrolyte" and s.model in ("norrish", "ideal") and s.molar_mass_g_mol is not None
        )

    @cached_property
    def salt_rows(self) -> tuple[Solute, ...]:
        """Salts with Pitzer constants on axis E."""
        return tuple(s for s in self._solutes.values() if s.model == "pitzer")

    def _solute_matrix(self, rows: Sequence[Solute]) -> Floats:
        """Mol per gram of substance. [mol/g] (K, rows)"""
        at = {s.inci: j for j, s in enumerate(rows)}
        out = np.zeros((len(self.names), len(rows)))
        for j, s in enumerate(rows):
            if s.molar_mass_g_mol is not None and s.inci in self.index:
                out[self.index[s.inci], j] = 1 / s.molar_mass_g_mol
        for s in self._solutes.values():
            if s.model != "expand" or s.inci not in self.index:
                continue
            for inci, fraction in s.expand_to:
                if inci in at and (mass := rows[at[inci]].molar_mass_g_mol) is not None:
                    out[self.index[s.inci], at[inci]] = fraction / mass
        return out

    @cached_property
    def norrish(self) -> Floats:
        """Mol of each uncharged solute per gram of substance. [mol/g] (K, N)"""
        return self._solute_matrix(self.norrish_rows)

    @cached_property
    def salts(self) -> Floats:
        """Mol of each salt per gram of substance. [mol/g] (K, E)"""
        return self._solute_matrix(self.salt_rows)

    def solute_column(self, rows: Sequence[Solute], name: str, missing: float = 0.0) -> Floats:
        """One column of solute rows as a vector."""
        return np.array([v if (v := getattr(s, name)) is not None else missing for s in rows], dtype=float)

    @cached_property
    def osmol(self) -> Floats:
        """Ideal osmoles of everything that is neither a Norrish solute nor a Pitzer salt. [osmol/g] (K,)"""
        out = np.zeros(len(self.names))
        modelled = (self.norrish.sum(axis=1) > 0) | (self.salts.sum(axis=1) > 0)
        for i, name in enumerate(self.names):
            solute, row = self._solutes.get(name), self.rows.get(name)
            if solute is not None and solute.osmol_per_kg is not None:
                out[i] = solute.osmol_per_kg * (1 - self.water_fraction[i]) / 1000
            elif modelled[i]:
                continue
            elif solute is not None and solute.nu_effective is not None and solute.molar_mass_g_mol is not None:
                out[i] = solute.nu_effective / solute.molar_mass_g_mol
            elif self.oil_phase[i] > 0 or self.powder[i] > 0 or self.water_fraction[i] >= 1:
                continue
            elif row is not None and row.role in SURFACTANTS:
                out[i] = SURFACTANT_OSMOL / 1000
            elif np.isfinite(self.molar_mass[i]):
                acid = name.endswith(" Acid") or (row is not None and row.role == "acid")  # hardly dissociated
                ions = row.ions_per_molecule if row is not None and row.ions_per_molecule and not acid else 1.0
                out[i] = ions * (1 - self.water_fraction[i]) / self.molar_mass[i]
        return out

    @cached_property
    def ion_strength(self) -> Floats:
        """What a gram of substance adds to the ionic strength. [mol/g] (K,)

        Salts by their ions; bases as the salt they form; acids nothing, since they take the place of an anion that is
        counted already; surfactants a quarter, since most counter-ions stay with the micelle.
        """
        out = np.zeros(len(self.names))
        z_plus, z_minus = (self.solute_column(self.salt_rows, c) for c in ("z_plus", "z_minus"))
        nu_plus, nu_minus = (self.solute_column(self.salt_rows, c) for c in ("nu_plus", "nu_minus"))
        out += weighed_sum(self.salts, 0.5 * (nu_plus * z_plus**2 + nu_minus * z_minus**2))
        for i, name in enumerate(self.names):
            row, active = self.rows.get(name), self.actives.get(name)
            mass = self.molar_mass[i]
            if out[i] > 0 or not np.isfinite(mass):
                continue
            dry = 1 - self.water_fraction[i]
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

    # ---- acting forms -----------------------------------------------------------------------------------------------

    @cached_property
    def forms(self) -> tuple[str, ...]:
        """Acting forms on axis F: the acid for a salt, else the substance itself."""
        counted = (a for a in self.actives.values() if a.role in COUNTED_ROLES and a.inci in self.index)
        return tuple(sorted({a.acid_form or a.inci for a in counted}))

    @cached_property
    def form_index(self) -> Mapping[str, int]:
        """Position of an acting form on axis F."""
        return {n: i for i, n in enumerate(self.forms)}

    @cached_property
    def acting(self) -> Floats:
        """Grams of acting form that a gram of substance counts for. [g/g] (K, F)"""
        out = np.zeros((len(self.names), len(self.forms)))
        for a in self._held_actives:
            acid = a.acid_form or a.inci
            if a.role in COUNTED_ROLES:
                ratio = speciation.acid_equivalent(1.0, a.molar_mass_g_mol, self.actives[acid].molar_mass_g_mol)
                out[self.index[a.inci], self.form_index[acid]] = ratio if a.acid_form else 1.0
        return out

    def _form_column(self, name: str, missing: float = np.nan) -> Floats:
        values = (getattr(self.actives[f], name) for f in self.forms)
        return np.array([missing if v is None else v for v in values], dtype=float)

    @cached_property
    def form_kind(self) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
        """``NEUTRAL``, ``ACID``, ``BASE`` or ``CATION``. (F,)"""
        return np.array([FORM_CODES[self.actives[f].active_form] for f in self.forms])

    pka = cached_property(lambda self: self._form_column("pka_25c"))
    pka_error = cached_property(lambda self: self._form_column("pka_uncertainty", 0.05))
    dh_ion_kj_mol = cached_property(lambda self: self._form_column("dh_ion_kj_mol", 0.0))
    log_p = cached_property(lambda self: self._form_column("log_p"))
    solubility_g_l = cached_property(lambda self: self._form_column("water_solubility_g_l"))

    @cached_property
    def solubility_factor(self) -> Floats:
        """How far a solubility may be off, times and divided by: more where it is recalled. [-] (F,)"""
        rows = [self.actives[f] for f in self.forms]
        recalled = [
            a.basis != "published"
            or (a.recalled is not None and ("water_solubility" in a.recalled or "most figures" in a.recalled))
            for a in rows
        ]
        return np.where(recalled, RECALLED_SOLUBILITY, READ_SOLUBILITY)

    form_meq_g = cached_property(
        lambda self: 1000 * self._form_column("charge_number", 0.0) / self._form_column("molar_mass_g_mol")
    )

    @cached_property
    def mic_rows(self) -> Mapping[tuple[str, str], Mic]:
        """The preferred row for each acting form and microbe."""
        return {(m.active, m.organism): m for m in self.tables.mic if m.preferred == "yes"}

    @cached_property
    def mic_percent(self) -> Floats:
        """Least effective concentration of the form that acts. [% w/v] (F, M); not-a-number where none is known.

        A figure for total acid at a stated pH is brought to the undissociated form of that pH, of a range of pH at its
        lower end (the cautious side). A figure that says only ``more than`` is infinite: that substance does not count
        against that microbe.
        """
        out = np.full((len(self.forms), len(MICROBES)), np.nan)
        for (active, microbe), row in self.mic_rows.items():
            if active not in self.form_index or microbe not in MICROBES:
                continue
            f = self.form_index[active]
            value = row.mic_mg_l / 10_000
            if self.form_kind[f] == ACID and row.of_form == "total" and (ph := _number(row.test_ph)) is not None:
                value *= float(speciation.undissociated_fraction(ph, self.pka[f]))
            out[f, MICROBES.index(microbe)] = np.inf if row.comparator == ">" else value
        return out

    @cached_property
    def mic_factor(self) -> Floats:
        """Published spread of each figure, times and divided by. [-] (F, M)"""
        out = np.ones((len(self.forms), len(MICROBES)))
        for (active, microbe), row in self.mic_rows.items():
            if active in self.form_index and microbe in MICROBES:
                out[self.form_index[active], MICROBES.index(microbe)] = row.uncertainty_factor
        return out

    @cached_property
    def partition_rows(self) -> Mapping[tuple[str, str], Partition]:
        """The preferred row for each acting form and oil class."""
        return {(p.active, p.oil_class): p for p in self.tables.partition if p.preferred == "yes"}

    @cached_property
    def k_oil(self) -> Floats:
        """Oil-water partition coefficient of the uncharged form. [-] (F, C)

        From the table; for esters and liquid fatty alcohols else from the table's vegetable oil, times 2 and 3; else from
        log P by the relation of that oil class; cations and releasers stay in the water; not-a-number where nothing is
        known.
        """
        out = np.full((len(self.forms), len(OIL_CLASSES)), np.nan)
        for f, form in enumerate(self.forms):
            for c, oil in enumerate(OIL_CLASSES):
                if (row := self.partition_rows.get((form, oil))) is not None:
                    out[f, c] = row.k_oil_water
                    continue
                vegetable = self.partition_rows.get((form, "vegetable"))
                if self._stays_in_water(form):
                    out[f, c] = 0.0
                elif vegetable is not None and oil in ("ester", "fatty-alcohol"):
                    out[f, c] = vegetable.k_oil_water * free_active.ESTER_TO_VEGETABLE[oil]
                else:
                    acid = self.actives[form].active_form == "undissociated acid"
                    out[f, c] = free_active.partition_from_log_p(self.log_p[f], oil, phenol_or_acid=acid)
        return out

    @cached_property
    def k_oil_factor(self) -> Floats:
        """How far a coefficient may be off, times and divided by. [-] (F, C)"""
        measured = [
            [(p := self.partition_rows.get((f, o))) is not None and p.kind != "relation" for o in OIL_CLASSES]
            for f in self.forms
        ]
        return np.where(np.array(measured, dtype=bool).reshape(-1, len(OIL_CLASSES)), MEASURED_FACTOR, RELATION_FACTOR)

    @cached_property
    def k_bind_factor(self) -> Floats:
        """How far an uptake constant may be off, times and divided by. [-] (F, B)"""
        measured = [
            [(b := self.binding_rows.get((f, n))) is not None and b.kind == "measured" for n in BINDER_CLASSES]
            for f in self.forms
        ]
        return np.where(
            np.array(measured, dtype=bool).reshape(-1, len(BINDER_CLASSES)), MEASURED_FACTOR, BINDING_FACTOR
        )

    @cached_property
    def k_bind_lent(self) -> Bools:
        """Uptake constants lent from ethoxylates to another kind of micelle, without a measurement. (F, B)"""
        lent = [
            [n in LIKE_ETHOXYLATE[1:] and (f, n) not in self.binding_rows for n in BINDER_CLASSES] for f in self.forms
        ]
        return np.array(lent, dtype=bool).reshape(-1, len(BINDER_CLASSES))

    def _stays_in_water(self, form: str) -> bool:
        return self.actives[form].active_form in ("cation", "released formaldehyde")

    @cached_property
    def binding_rows(self) -> Mapping[tuple[str, str], Binding]:
        """The preferred row with a figure for each acting form and binder class."""
        return {
            (b.active, b.binder_class): b
            for b in self.tables.binding
            if b.preferred == "yes" and b.k_per_percent is not None
        }

    @cached_property
    def k_bind(self) -> Floats:
        """Uptake per per cent of binder in the water phase, R = 1 + k S. [1/%] (F, B); not-a-number where unknown."""
        out = np.full((len(self.forms), len(BINDER_CLASSES)), np.nan)
        for f, form in enumerate(self.forms):
            for b, binder in enumerate(BINDER_CLASSES):
                if (row := self.binding_rows.get((form, binder))) is not None:
                    out[f, b] = row.k_per_percent
                elif binder in LIKE_ETHOXYLATE:
                    like = self.binding_rows.get((form, "nonionic ethoxylate"))
                    if like is not None and like.k_per_percent is not None and not self._stays_in_water(form):
                        out[f, b] = like.k_per_percent
                    elif self._stays_in_water(form):
                        out[f, b] = 0.0
                    else:
                        out[f, b] = free_active.binding_from_log_p(self.log_p[f])
        return out

    # ---- systems ----------------------------------------------------------------------------------------------------

    @cached_property
    def systems(self) -> tuple[System, ...]:
        """Systems on axis S, stand-ins last."""
        only = self.only_systems
        return (*(s for s in self.tables.systems if only is None or s.id in only), *self.extra)

    @cached_property
    def system_index(self) -> Mapping[str, int]:
        """Position of a system on axis S."""
        return {s.id: i for i, s in enumerate(self.systems)}

    @cached_property
    def system_composition(self) -> Floats:
        """Mass fraction of each substance in each system. [-] (S, K)"""
        out = np.zeros((max(1, len(self.systems)), len(self.names)))
        for i, system in enumerate(self.systems):
            for inci, fraction in system.composition:
                out[i, self.index[inci]] += fraction
        return out

    @cached_property
    def silent_systems(self) -> Bools:
        """True for systems that hold nothing whose amount could be compared with an MIC, such as a ferment. (S,)"""
        return np.array(
            [
                not any(self.acting[self.index[i]].any() for i, _ in s.composition)
                and any(
                    (r := self.rows.get(i)) is not None and r.role in ("preservative", "cationic surfactant")
                    for i, _ in s.composition
                )
                for s in self.systems
            ]
            or [False]
        )

    def system_column(self, name: str) -> Floats:
        """One numeric column of the systems. (S,)"""
        values = [getattr(s, name) for s in self.systems] or [None]
        return np.array([np.nan if v is None else v for v in values], dtype=float)

    @cached_property
    def part_limits(self) -> tuple[Floats, Floats]:
        """Heat limit and preferred temperature of each part of each system. [°C] (S, Q) each

        A system without parts is one part. Places that a system does not have are not-a-number in both arrays and
        false in ``part_exists``.
        """
        width = max([1, *(len(s.parts) for s in self.tables.systems)])
        limit = np.full((max(1, len(self.systems)), width), np.nan)
        below = np.full(limit.shape, np.nan)
        for i, s in enumerate(self.systems):
            parts = [(p.heat_limit_c, p.preferred_add_below_c) for p in s.parts] or [
                (s.heat_limit_c, s.preferred_add_below_c)
            ]
            for q, (hot, cool) in enumerate(parts):
                limit[i, q] = np.nan if hot is None else hot
                below[i, q] = np.nan if cool is None else cool
        return limit, below

    @cached_property
    def part_exists(self) -> Bools:
        """True where a system has that part. (S, Q)"""
        width = self.part_limits[0].shape[1]
        return np.array([[q < max(1, len(s.parts)) for q in range(width)] for s in self.systems] or [[False] * width])

    @cached_property
    def ratings(self) -> Floats:
        """0 none to 3 strong for each microbe group. (S, 4)"""

        def value(word: str | None) -> float:
            return np.nan if word is None else RATINGS[word]

        return np.array([[value(getattr(s, g)) for g in GROUPS] for s in self.systems] or [[np.nan] * len(GROUPS)])

    @cached_property
    def compatibility(self) -> Floats:
        """0 ok, 1 caution, 2 avoid for each compatibility column. (S, 5)"""
        return np.array(
            [
                [np.nan if (c := getattr(s, col)) is None else COMPAT_CODES[c.word] for col in COMPAT_COLUMNS]
                for s in self.systems
            ]
            or [[np.nan] * len(COMPAT_COLUMNS)]
        )


def _number(text: str | None) -> float | None:
    """A number, or the lower end of a range such as ``5.0-5.5``."""
    try:
        return None if text is None else float(text.partition("-")[0])
    except ValueError:
        return None
