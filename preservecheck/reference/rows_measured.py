"""Rows of what was measured: MIC values, uptake by oils and binders, solutes, limits of growth."""

from __future__ import annotations

from typing import Literal

from preservecheck.reference.columns import choice, number, shares, text
from preservecheck.reference.row import Row, Shares, YesNo
from preservecheck.reference.rows_materials import BinderClass

MicOfForm = Literal["total", "undissociated acid", "free in water", "total in lotion"]
MicComparator = Literal["=", "<=", ">", "range"]


class Mic(Row):
    """Lowest concentration seen to stop a microbe."""

    id: str = text(needed=True)
    active: str = text(needed=True)  # INCI of the acting form
    organism: str = text(needed=True)
    mic_mg_l: float = number(above=0, needed=True)  # upper end of a range
    mic_low_mg_l: float | None = number(above=0)
    mic_high_mg_l: float | None = number(above=0)
    comparator: MicComparator = choice(MicComparator, needed=True)
    test_ph: str | None = text()
    of_form: MicOfForm = choice(MicOfForm, needed=True)
    uncertainty_factor: float = number(1, needed=True)  # times and divided by
    preferred: YesNo = choice(YesNo, needed=True)
    method_note: str | None = text()

    def check(self) -> None:
        """Raise ``ValueError`` where columns contradict each other."""
        self.ordered("mic_low_mg_l", "mic_high_mg_l")


PartitionKind = Literal["measured", "from solubilities", "relation"]
PartitionOilClass = Literal["vegetable", "ester", "hydrocarbon", "silicone", "wax", "octanol"]


class Partition(Row):
    """Oil-water partition coefficient of the uncharged form, concentration over concentration."""

    id: str = text(needed=True)
    active: str = text(needed=True)
    oil: str = text(needed=True)
    oil_class: PartitionOilClass = choice(PartitionOilClass, needed=True)
    k_oil_water: float = number(above=0, needed=True)
    temperature_c: str | None = text()
    kind: PartitionKind = choice(PartitionKind, needed=True)
    preferred: YesNo = choice(YesNo, needed=True)


BindingKind = Literal["measured", "relation", "statement"]
BindingBinderClass = Literal[BinderClass, "other"]


class Binding(Row):
    """Uptake by a surfactant or polymer: total over free is 1 + k per percent."""

    id: str = text(needed=True)
    active: str = text(needed=True)  # INCI, or a class in words where no figure is known
    binder: str = text(needed=True)
    binder_class: BindingBinderClass = choice(BindingBinderClass, needed=True)
    percent_range: str | None = text()
    total_over_free: str | None = text()  # as printed, R@percent
    k_per_percent: float | None = number(0)  # per % w/v in the water phase
    temperature_c: str | None = text()
    ph: str | None = text()
    kind: BindingKind = choice(BindingKind, needed=True)
    preferred: YesNo = choice(YesNo, needed=True)
    effect: str | None = text()  # where no figure is known


SoluteConfidence = Literal["high", "medium", "low"]
SoluteModel = Literal["norrish", "pitzer", "ideal", "osmol", "expand"]
SoluteKind = Literal["nonelectrolyte", "electrolyte", "polymer"]


class Solute(Row):
    """What a solute in the water phase does to water activity."""

    id: str = text(needed=True)
    inci: str = text(needed=True)
    cas: str | None = text()
    molar_mass_g_mol: float | None = number(above=0)
    kind: SoluteKind = choice(SoluteKind, needed=True)
    model: SoluteModel = choice(SoluteModel, needed=True)
    k_norrish: float | None = number()  # natural logarithm, negative binds water
    k3_norrish: float | None = number()
    z_plus: float | None = number()
    z_minus: float | None = number()
    nu_plus: float | None = number()
    nu_minus: float | None = number()
    beta0: float | None = number()
    beta1: float | None = number()
    beta2: float | None = number()
    c_phi: float | None = number()
    alpha1: float | None = number()
    alpha2: float | None = number()
    nu_effective: float | None = number()
    osmol_per_kg: float | None = number()  # per kg of the dry polymer
    valid_max_molality: float | None = number()
    valid_max_mole_fraction: float | None = number()
    temperature_c: float | None = number()
    confidence: SoluteConfidence = choice(SoluteConfidence, needed=True)
    preferred: YesNo = choice(YesNo, needed=True)
    expand_to: Shares = shares()  # only for model expand


GrowthLimitGroup = Literal[
    "gram-negative", "gram-positive", "spore-former", "yeast", "mould", "limit", "criterion"
]


class GrowthLimit(Row):
    """Lowest water activity and pH range in which a microbe was seen to grow."""

    id: str = text(needed=True)
    organism: str = text(needed=True)
    group: GrowthLimitGroup = choice(GrowthLimitGroup, needed=True)
    aw_min: float | None = number(None, 1, above=0)
    aw_min_range: str | None = text()
    ph_min: float | None = number(0, 14)
    ph_max: float | None = number(0, 14)
    conditions: str | None = text()
    compare: YesNo = choice(YesNo, needed=True)  # yes: the water-activity check compares with it
