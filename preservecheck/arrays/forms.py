"""Axis F: the forms that hold microbes back, their constants, their MIC values, and how strongly
oils, surfactants and polymers take them up."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from preservecheck.arrays.substances import BINDER_CLASSES, OIL_CLASSES, Substances
from preservecheck.chemistry import partition, speciation, uptake
from preservecheck.reference.rows import Active, Binding, Degradation, Descriptor, Mic, Partition
from preservecheck.verdict import Bools, Floats, Ints

MICROBES = (
    "Pseudomonas aeruginosa",
    "Escherichia coli",
    "Staphylococcus aureus",
    "Candida albicans",
    "Aspergillus brasiliensis",
)
# roles whose antimicrobial part is added up; a humectant only where it has an MIC of its own
COUNTED_ROLES = ("preservative", "booster", "solvent", "humectant")
# pH at which each grows best; recalled, food microbiology
BEST_PH = (7.0, 7.0, 7.0, 6.0, 5.5)
NEUTRAL, ACID, BASE, CATION = range(4)
FORM_CODES = {
    "neutral molecule": NEUTRAL,
    "undissociated acid": ACID,
    "free base": BASE,
    "cation": CATION,
    "released formaldehyde": NEUTRAL,
    "chelating anion": NEUTRAL,
}
# scatter of curated solubilities near 25 °C is 0.05 to 0.08 log units (aqsoldb-2019); recalled ones
# differ more
READ_SOLUBILITY, RECALLED_SOLUBILITY = 1.15, 1.5


# micelles that hold uncharged preservatives about as strongly as ethoxylates do, within a factor 2
# (assumption)
LIKE_ETHOXYLATE = (
    "nonionic ethoxylate",
    "nonionic glucoside",
    "anionic surfactant",
    "amphoteric surfactant",
    "cationic surfactant",
)
# half-widths that the tables' own uncertainty adds, as factors (times and divided by); facts on the
# relations' scatter
MEASURED_FACTOR = 1.5
RELATION_FACTOR = 2.5
BINDING_FACTOR = 2.0
# by kind of oil where that is wider: no measured value to hold silicones and layers against, three
# recalled ones for esters
WIDE_FACTOR = {"ester": 4.0, "fatty-alcohol": 4.0, "silicone": 6.1, "lamella": 7.6}
# another micelle, mole for mole: 0.35 in log10
MICELLE_FACTOR = 4.9
# molar masses that stand for a class of micelle, against that of polysorbate 80 [g/mol]
POLYSORBATE_MASS = 1310.0
MICELLE_MASS = {
    "nonionic glucoside": 420.0,
    "anionic surfactant": 420.0,
    "amphoteric surfactant": 356.0,
    "cationic surfactant": 320.0,
}
# mineral oil by the five descriptors: e, s, a, b, v and c, fitted on 104 values in n-dodecane
# (brown-2022); 0.13 off in log10 on five values in liquid paraffin
MINERAL_OIL = (0.875, -1.935, -3.609, -4.851, 4.435)
MINERAL_OIL_CONSTANT = 0.168
# ionic strength of a nutrient broth [mol/L]; common practice, no source
BROTH_MOL_L = 0.12
# an MIC that is only said to be above a bound, or at most there, is taken at so many times the
# bound; judgement of this program
BEYOND_BOUND = {">": 2.0, "<=": 1 / 1.5}
# how far a figure of a single laboratory is good; scatter between laboratories
ONE_LABORATORY = 3.8


@dataclass(frozen=True)
class Forms:
    """Acting forms (F) against microbes (M), with their uptake by oils (C) and binders (B)."""

    substances: Substances

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Acting forms on axis F: the acid for a salt, else the substance itself."""
        counted = (
            a
            for a in self.substances.actives.values()
            if self._counts(a) and a.inci in self.substances.index
        )
        return tuple(sorted({a.acid_form or a.inci for a in counted}))

    @cached_property
    def _with_mic(self) -> frozenset[str]:
        return frozenset(active for active, _ in self.mic_rows)

    def _counts(self, active: Active) -> bool:
        """Whether an active is added up."""
        if active.role == "humectant":
            return active.inci in self._with_mic
        return active.role in COUNTED_ROLES

    @cached_property
    def index(self) -> Mapping[str, int]:
        """Position of an acting form on axis F."""
        return {n: i for i, n in enumerate(self.names)}

    @cached_property
    def acting(self) -> Floats:
        """Grams of acting form that a gram of substance counts for. [g/g] (K, F)"""
        out = np.zeros((len(self.substances.names), len(self.names)))
        for a in self.substances.held_actives:
            acid = a.acid_form or a.inci
            if self._counts(a):
                ratio = speciation.acid_equivalent(
                    1.0, a.molar_mass_g_mol, self.substances.actives[acid].molar_mass_g_mol
                )
                out[self.substances.index[a.inci], self.index[acid]] = ratio if a.acid_form else 1.0
        return out

    def _form_column(self, name: str, missing: float = np.nan) -> Floats:
        values = (getattr(self.substances.actives[f], name) for f in self.names)
        return np.array([missing if v is None else v for v in values], dtype=float)

    @cached_property
    def kind(self) -> Ints:
        """``NEUTRAL``, ``ACID``, ``BASE`` or ``CATION``. (F,)"""
        return np.array([FORM_CODES[self.substances.actives[f].active_form] for f in self.names])

    pka = cached_property(lambda self: self._form_column("pka_25c"))
    pka_error = cached_property(lambda self: self._form_column("pka_uncertainty", 0.05))
    dh_ion_kj_mol = cached_property(lambda self: self._form_column("dh_ion_kj_mol", 0.0))
    molar_mass = cached_property(lambda self: self._form_column("molar_mass_g_mol"))
    log_p = cached_property(lambda self: self._form_column("log_p"))
    solubility_g_l = cached_property(lambda self: self._form_column("water_solubility_g_l"))

    @cached_property
    def solubility_factor(self) -> Floats:
        """How far a solubility may be off, as a factor: more where it is recalled. [-] (F,)"""
        rows = [self.substances.actives[f] for f in self.names]
        recalled = [
            a.basis != "published"
            or (
                a.recalled is not None
                and ("water_solubility" in a.recalled or "most figures" in a.recalled)
            )
            for a in rows
        ]
        return np.where(recalled, RECALLED_SOLUBILITY, READ_SOLUBILITY)

    meq_g = cached_property(
        lambda self: (
            1000 * self._form_column("charge_number", 0.0) / self._form_column("molar_mass_g_mol")
        )
    )

    @cached_property
    def mic_rows(self) -> Mapping[tuple[str, str], Mic]:
        """The preferred row for each acting form and microbe."""
        return {
            (m.active, m.organism): m for m in self.substances.tables.mic if m.preferred == "yes"
        }

    @cached_property
    def mic_percent(self) -> Floats:
        """Least effective concentration of the form that acts. [% w/v] (F, M); not-a-number where
        none is known.

        A range counts at its geometric mean; a bound at twice (``>``) or two thirds (``<=``) of it,
        which lie within its spread. A figure for total acid at a stated pH is brought to the
        undissociated form of that pH, of a range of pH at its middle, with the pKa of a broth.
        """
        out = np.full((len(self.names), len(MICROBES)), np.nan)
        broth = speciation.pka_mixed(
            self.pka, np.where(self.kind == BASE, 1, 0), np.array(BROTH_MOL_L), np.array(25.0)
        )
        for (active, microbe), row in self.mic_rows.items():
            if active not in self.index or microbe not in MICROBES:
                continue
            f = self.index[active]
            value = _taken_at(row) / 10_000
            if (
                self.kind[f] == ACID
                and row.of_form == "total"
                and (ph := _number(row.test_ph)) is not None
            ):
                value *= float(speciation.undissociated_fraction(ph, broth[f]))
            out[f, MICROBES.index(microbe)] = value
        return out

    @cached_property
    def mic_factor(self) -> Floats:
        """Spread of each figure, times and divided by: as published, of a bound or of a single
        laboratory's figure at least 3.8. [-] (F, M)"""
        out = np.ones((len(self.names), len(MICROBES)))
        for (active, microbe), row in self.mic_rows.items():
            if active in self.index and microbe in MICROBES:
                bound = row.comparator in BEYOND_BOUND
                factor = max(row.uncertainty_factor, ONE_LABORATORY if bound else 1.0)
                out[self.index[active], MICROBES.index(microbe)] = factor
        return out

    @cached_property
    def growth_limits(self) -> Floats:
        """Lowest water activity and lowest pH at which each microbe grows. [-] (2, M)"""
        rows = {g.organism: g for g in self.substances.tables.growth_limits}
        columns = ([getattr(rows.get(m), n, None) for m in MICROBES] for n in ("aw_min", "ph_min"))
        return np.array([[np.nan if v is None else v for v in column] for column in columns])

    @cached_property
    def partition_rows(self) -> Mapping[tuple[str, str], Partition]:
        """The preferred row for each acting form and oil class."""
        return {
            (p.active, p.oil_class): p
            for p in self.substances.tables.partition
            if p.preferred == "yes"
        }

    @cached_property
    def k_oil(self) -> Floats:
        """Oil-water partition coefficient of the uncharged form. [-] (F, C)

        From the table; for esters and liquid fatty alcohols else from the table's vegetable oil,
        times 2 and 3; for mineral oil and silicone else from the five descriptors; else from log P
        by the relation of that oil class, or of ordered skin lipid for layers of fatty alcohol.
        Cations and releasers stay in the water. Not-a-number where nothing is known.
        """
        out = np.full((len(self.names), len(OIL_CLASSES)), np.nan)
        for f, form in enumerate(self.names):
            for c, oil in enumerate(OIL_CLASSES):
                if (row := self.partition_rows.get((form, oil))) is not None:
                    out[f, c] = row.k_oil_water
                    continue
                vegetable = self.partition_rows.get((form, "vegetable"))
                if self._stays_in_water(form):
                    out[f, c] = 0.0
                elif oil == "lamella":
                    out[f, c] = uptake.lamellar_partition(self.log_p[f])
                elif oil in ("hydrocarbon", "silicone") and form in self.descriptor_rows:
                    out[f, c] = self._in_mineral_oil(self.descriptor_rows[form])
                elif vegetable is not None and oil in ("ester", "fatty-alcohol"):
                    out[f, c] = vegetable.k_oil_water * partition.ESTER_TO_VEGETABLE[oil]
                else:
                    acid = self.substances.actives[form].active_form == "undissociated acid"
                    out[f, c] = partition.partition_from_log_p(
                        self.log_p[f], oil, phenol_or_acid=acid
                    )
        return out

    @cached_property
    def k_oil_factor(self) -> Floats:
        """How far a coefficient may be off, times and divided by. [-] (F, C)"""
        measured = [
            [
                (p := self.partition_rows.get((f, o))) is not None and p.kind != "relation"
                for o in OIL_CLASSES
            ]
            for f in self.names
        ]
        else_ = np.array([WIDE_FACTOR.get(oil, RELATION_FACTOR) for oil in OIL_CLASSES])
        return np.where(
            np.array(measured, dtype=bool).reshape(-1, len(OIL_CLASSES)), MEASURED_FACTOR, else_
        )

    @cached_property
    def k_oil_measured(self) -> Bools:
        """Whether a coefficient was measured. (F, C)"""
        return np.asarray(self.k_oil_factor == MEASURED_FACTOR)

    @cached_property
    def descriptor_rows(self) -> Mapping[str, Descriptor]:
        """The five descriptors of each acting form."""
        return {d.inci: d for d in self.substances.tables.descriptors}

    @cached_property
    def degradation_rows(self) -> Mapping[str, Degradation]:
        """How each acting form is lost."""
        return {d.inci: d for d in self.substances.tables.degradation}

    @cached_property
    def degradation(self) -> Floats:
        """Rate at 25 °C and the reference pH [1/month], reference pH, slope [-], activation energy
        [kJ/mol], pKa, lowest and highest pH of the law [-], factor of error [-]; a rate of
        not-a-number where none is known. (8, F)"""
        columns = {
            "rate_per_month": np.nan,
            "ph_reference": 7.0,
            "ph_slope": 0.0,
            "activation_kj_mol": np.nan,
            "pka": np.inf,
            "ph_low": 0.0,
            "ph_high": 14.0,
            "factor_error": 1.0,
        }
        rows = [self.degradation_rows.get(name) for name in self.names]
        return np.array(
            [
                [missing if (v := getattr(r, n, None)) is None else v for r in rows]
                for n, missing in columns.items()
            ]
        ).reshape(len(columns), -1)

    @staticmethod
    def _in_mineral_oil(row: Descriptor) -> float:
        log_k = uptake.linear_free_energy(
            [row.e, row.s, row.a, row.b, row.v], MINERAL_OIL, MINERAL_OIL_CONSTANT
        )
        return float(10**log_k)

    @cached_property
    def k_bind_factor(self) -> Floats:
        """How far an uptake constant may be off, times and divided by. [-] (F, B)"""
        measured = [
            [
                (b := self.binding_rows.get((f, n))) is not None and b.kind == "measured"
                for n in BINDER_CLASSES
            ]
            for f in self.names
        ]
        return np.where(
            np.array(measured, dtype=bool).reshape(-1, len(BINDER_CLASSES)),
            MEASURED_FACTOR,
            np.where(self.k_bind_borrowed, MICELLE_FACTOR, BINDING_FACTOR),
        )

    @cached_property
    def k_bind_borrowed(self) -> Bools:
        """Uptake constants taken from ethoxylates for another kind of micelle. (F, B)"""
        borrowed = [
            [n in LIKE_ETHOXYLATE[1:] and (f, n) not in self.binding_rows for n in BINDER_CLASSES]
            for f in self.names
        ]
        return np.array(borrowed, dtype=bool).reshape(-1, len(BINDER_CLASSES))

    def _stays_in_water(self, form: str) -> bool:
        return self.substances.actives[form].active_form in ("cation", "released formaldehyde")

    @cached_property
    def binding_rows(self) -> Mapping[tuple[str, str], Binding]:
        """The preferred row with a figure for each acting form and binder class."""
        return {
            (b.active, b.binder_class): b
            for b in self.substances.tables.binding
            if b.preferred == "yes" and b.k_per_percent is not None
        }

    @cached_property
    def k_bind(self) -> Floats:
        """Uptake per per cent of binder in the water phase, R = 1 + k S. [1/%] (F, B)"""
        out = np.full((len(self.names), len(BINDER_CLASSES)), np.nan)
        for f, form in enumerate(self.names):
            for b, binder in enumerate(BINDER_CLASSES):
                if (row := self.binding_rows.get((form, binder))) is not None:
                    out[f, b] = row.k_per_percent
                elif binder in LIKE_ETHOXYLATE:
                    like = self.binding_rows.get((form, "nonionic ethoxylate"))
                    if (
                        like is not None
                        and like.k_per_percent is not None
                        and not self._stays_in_water(form)
                    ):
                        out[f, b] = _carried(like.k_per_percent, binder)
                    elif self._stays_in_water(form):
                        out[f, b] = 0.0
                    else:
                        ethoxylate = float(partition.binding_from_log_p(self.log_p[f]))
                        out[f, b] = _carried(ethoxylate, binder)
        return out


def _carried(k_per_pct: float, binder: str) -> float:
    """A constant of polysorbate 80 carried to another micelle, mole for mole. [1/%]"""
    mass = MICELLE_MASS.get(binder, POLYSORBATE_MASS)
    return float(uptake.binding_per_mole(k_per_pct, POLYSORBATE_MASS, mass))


def _taken_at(row: Mic) -> float:
    """One figure for a row. [mg/L]"""
    low, high = row.mic_low_mg_l or row.mic_mg_l, row.mic_high_mg_l or row.mic_mg_l
    return BEYOND_BOUND.get(row.comparator, 1.0) * float((low * high) ** 0.5)


def _number(text: str | None) -> float | None:
    """A number, or the middle of a range such as ``5.0-5.5``."""
    try:
        ends = [float(end) for end in text.split("-")] if text is not None else []
    except ValueError:
        return None
    return sum(ends) / len(ends) if ends else None
