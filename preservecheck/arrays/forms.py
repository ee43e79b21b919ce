"""Axis F: the forms that hold microbes back, their constants and their MIC values."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

import numpy as np

from preservecheck.arrays.substances import Substances
from preservecheck.chemistry import speciation
from preservecheck.reference.rows import Mic
from preservecheck.verdict import Floats

MICROBES = (
    "Pseudomonas aeruginosa",
    "Escherichia coli",
    "Staphylococcus aureus",
    "Candida albicans",
    "Aspergillus brasiliensis",
)
# roles whose antimicrobial part is added up; humectants act through water activity and are not
# counted twice
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
# scatter of curated solubilities near 25 °C is 0.05 to 0.08 log units (aqsoldb-2019); recalled ones
# differ more
READ_SOLUBILITY, RECALLED_SOLUBILITY = 1.15, 1.5


class Forms(Substances):
    """Acting forms on axis F, microbes on axis M."""

    @cached_property
    def forms(self) -> tuple[str, ...]:
        """Acting forms on axis F: the acid for a salt, else the substance itself."""
        counted = (
            a for a in self.actives.values() if a.role in COUNTED_ROLES and a.inci in self.index
        )
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
                ratio = speciation.acid_equivalent(
                    1.0, a.molar_mass_g_mol, self.actives[acid].molar_mass_g_mol
                )
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
        """How far a solubility may be off, times and divided by: more where it is recalled. [-]
        (F,)"""
        rows = [self.actives[f] for f in self.forms]
        recalled = [
            a.basis != "published"
            or (
                a.recalled is not None
                and ("water_solubility" in a.recalled or "most figures" in a.recalled)
            )
            for a in rows
        ]
        return np.where(recalled, RECALLED_SOLUBILITY, READ_SOLUBILITY)

    form_meq_g = cached_property(
        lambda self: (
            1000 * self._form_column("charge_number", 0.0) / self._form_column("molar_mass_g_mol")
        )
    )

    @cached_property
    def mic_rows(self) -> Mapping[tuple[str, str], Mic]:
        """The preferred row for each acting form and microbe."""
        return {(m.active, m.organism): m for m in self.tables.mic if m.preferred == "yes"}

    @cached_property
    def mic_percent(self) -> Floats:
        """Least effective concentration of the form that acts. [% w/v] (F, M); not-a-number where
        none is known.

        A figure for total acid at a stated pH is brought to the undissociated form of that pH, of a
        range of pH at its lower end (the cautious side). A figure that says only ``more than`` is
        infinite: that substance does not count against that microbe.
        """
        out = np.full((len(self.forms), len(MICROBES)), np.nan)
        for (active, microbe), row in self.mic_rows.items():
            if active not in self.form_index or microbe not in MICROBES:
                continue
            f = self.form_index[active]
            value = row.mic_mg_l / 10_000
            if (
                self.form_kind[f] == ACID
                and row.of_form == "total"
                and (ph := _number(row.test_ph)) is not None
            ):
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


def _number(text: str | None) -> float | None:
    """A number, or the lower end of a range such as ``5.0-5.5``."""
    try:
        return None if text is None else float(text.partition("-")[0])
    except ValueError:
        return None
