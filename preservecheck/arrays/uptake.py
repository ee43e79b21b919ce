"""How strongly oils, surfactants and polymers take up each acting form."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

import numpy as np

from preservecheck.arrays.forms import Forms
from preservecheck.arrays.substances import BINDER_CLASSES, OIL_CLASSES
from preservecheck.chemistry import partition
from preservecheck.reference.rows import Binding, Partition
from preservecheck.verdict import Bools, Floats

# micelles that hold uncharged preservatives about as strongly as ethoxylates do, within a factor 2
# (assumption)
LIKE_ETHOXYLATE = (
    "nonionic ethoxylate",
    "nonionic glucoside",
    "anionic surfactant",
    "amphoteric surfactant",
)
# half-widths that the tables' own uncertainty adds, as factors (times and divided by); facts on the
# relations' scatter
MEASURED_FACTOR = 1.5
RELATION_FACTOR = 2.5
BINDING_FACTOR = 2.0


class Uptake(Forms):
    """Constants of uptake: oil classes on axis C, binder classes on axis B."""

    @cached_property
    def partition_rows(self) -> Mapping[tuple[str, str], Partition]:
        """The preferred row for each acting form and oil class."""
        return {(p.active, p.oil_class): p for p in self.tables.partition if p.preferred == "yes"}

    @cached_property
    def k_oil(self) -> Floats:
        """Oil-water partition coefficient of the uncharged form. [-] (F, C)

        From the table; for esters and liquid fatty alcohols else from the table's vegetable oil,
        times 2 and 3; else from log P by the relation of that oil class. Cations and releasers stay
        in the water. Not-a-number where nothing is known.
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
                    out[f, c] = vegetable.k_oil_water * partition.ESTER_TO_VEGETABLE[oil]
                else:
                    acid = self.actives[form].active_form == "undissociated acid"
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
            for f in self.forms
        ]
        return np.where(
            np.array(measured, dtype=bool).reshape(-1, len(OIL_CLASSES)),
            MEASURED_FACTOR,
            RELATION_FACTOR,
        )

    @cached_property
    def k_bind_factor(self) -> Floats:
        """How far an uptake constant may be off, times and divided by. [-] (F, B)"""
        measured = [
            [
                (b := self.binding_rows.get((f, n))) is not None and b.kind == "measured"
                for n in BINDER_CLASSES
            ]
            for f in self.forms
        ]
        return np.where(
            np.array(measured, dtype=bool).reshape(-1, len(BINDER_CLASSES)),
            MEASURED_FACTOR,
            BINDING_FACTOR,
        )

    @cached_property
    def k_bind_borrowed(self) -> Bools:
        """Uptake constants lent from ethoxylates to another kind of micelle, without a measurement.
        (F, B)"""
        lent = [
            [n in LIKE_ETHOXYLATE[1:] and (f, n) not in self.binding_rows for n in BINDER_CLASSES]
            for f in self.forms
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
        """Uptake per per cent of binder in the water phase, R = 1 + k S. [1/%] (F, B); not-a-number
        where unknown."""
        out = np.full((len(self.forms), len(BINDER_CLASSES)), np.nan)
        for f, form in enumerate(self.forms):
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
                        out[f, b] = like.k_per_percent
                    elif self._stays_in_water(form):
                        out[f, b] = 0.0
                    else:
                        out[f, b] = partition.binding_from_log_p(self.log_p[f])
        return out
