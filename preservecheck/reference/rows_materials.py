"""Rows about what is weighed in: preservative systems, actives, raw materials."""

from __future__ import annotations

from typing import ClassVar, Literal

from preservecheck.reference.columns import (
    Compatibility,
    PartLimit,
    choice,
    compatibility,
    names,
    number,
    parts,
    shares,
    slug,
    text,
)
from preservecheck.reference.row import Names, Rating, Row, Shares, YesNo

SystemNaturalStandard = Literal["yes", "no", "conditional", "disputed"]
SystemCharge = Literal["nonionic", "anionic", "cationic", "mixed"]
SystemAddPhase = Literal["cool-down", "water phase", "oil phase"]
SystemSolubility = Literal["water", "oil", "dispersible"]
SystemForm = Literal["liquid", "powder"]


class System(Row):
    """A preservative as it is bought and dosed, named by its INCI composition.

    A row of one's own needs the composition, the pH and usage ranges and the heat limit; the rest
    may stay unknown.
    """

    id: str = slug()
    composition: Shares = shares(needed=True)  # INCI:mass fraction, sums to 1
    ph_min: float = number(0, 14, needed=True)
    ph_max: float = number(0, 14, needed=True)
    ph_note: str | None = text()  # where it works best
    usage_min_percent: float = number(
        0, 100, needed=True
    )  # of the system as supplied, in the whole formula
    usage_max_percent: float = number(0, 100, needed=True)
    heat_limit_c: float = number(
        -50, 200, needed=True
    )  # highest temperature accepted for adding it
    preferred_add_below_c: float | None = number(-50, 200)  # where it does most good
    parts: tuple[PartLimit, ...] = parts()  # only for a system with two addition points
    exposure_note: str | None = text()
    form: SystemForm | None = choice(SystemForm)
    solubility: SystemSolubility | None = choice(SystemSolubility)
    add_phase: SystemAddPhase | None = choice(SystemAddPhase)
    charge: SystemCharge | None = choice(SystemCharge)
    with_cationic_surfactant: Compatibility | None = compatibility()
    with_anionic_surfactant: Compatibility | None = compatibility()
    with_nonionic_ethoxylates: Compatibility | None = compatibility()
    with_proteins: Compatibility | None = compatibility()
    with_electrolytes: Compatibility | None = compatibility()
    gram_positive: Rating | None = choice(Rating)
    gram_negative: Rating | None = choice(Rating)
    yeast: Rating | None = choice(Rating)
    mould: Rating | None = choice(Rating)
    partners: Names = names()  # ids of systems, or INCI names of helpers, that close its gaps
    partner_note: str | None = text()
    sensory_note: str | None = text()
    sensitiser_note: str | None = text()
    emulsion_note: str | None = text()
    natural_standard: SystemNaturalStandard | None = choice(SystemNaturalStandard)
    natural_standard_note: str | None = text()
    regulatory_note: str | None = text()
    conflicts: str | None = text()  # where sources disagree

    def check(self) -> None:
        """Raise ``ValueError`` where columns contradict each other."""
        self.ordered("ph_min", "ph_max")
        self.ordered("usage_min_percent", "usage_max_percent")
        self.ordered("preferred_add_below_c", "heat_limit_c")
        total = sum(f for _, f in self.composition)
        if abs(total - 1) > 0.0011:
            raise ValueError(f"composition adds up to {total:g}; mass fractions must add up to 1")


ActiveCharge = Literal["nonionic", "anionic", "cationic", "amphoteric"]
ActiveActiveForm = Literal[
    "neutral molecule",
    "undissociated acid",
    "free base",
    "cation",
    "released formaldehyde",
    "chelating anion",
]
ActiveRole = Literal["preservative", "booster", "chelator", "humectant", "solvent", "surfactant"]


class Active(Row):
    """A substance that holds microbes back, or helps one that does."""

    key: ClassVar[tuple[str, ...]] = ("inci",)
    inci: str = text(needed=True)
    cas: str | None = text()
    formula: str | None = text()
    molar_mass_g_mol: float = number(above=0, needed=True)
    acid_form: str | None = text()  # INCI of the acid or phenol whose salt this is
    role: ActiveRole = choice(ActiveRole, needed=True)
    active_form: ActiveActiveForm = choice(ActiveActiveForm, needed=True)
    pka_25c: float | None = number()
    pka_uncertainty: float | None = number()
    dh_ion_kj_mol: float | None = number()  # enthalpy of dissociation
    log_p: float | None = number()  # octanol-water, uncharged form
    water_solubility_g_l: float | None = number(above=0)  # of this substance; 1000 means miscible
    charge: ActiveCharge = choice(ActiveCharge, needed=True)
    charge_number: float | None = number()  # charges per molecule when fully charged, signed
    heat_limit_c: float | None = number(-50, 200)
    stability_ph_min: float | None = number(0, 14)
    stability_ph_max: float | None = number(0, 14)
    formaldehyde_fraction: float | None = (
        number()
    )  # g formaldehyde that 1 g could release in theory
    heat_note: str | None = text()
    volatility_note: str | None = text()
    hydrolysis_note: str | None = text()
    inactivated_by: str | None = text()

    def check(self) -> None:
        """Raise ``ValueError`` where columns contradict each other."""
        self.ordered("stability_ph_min", "stability_ph_max")


IngredientUsualPhase = Literal["heated water", "heated oil", "cool-down"]
IngredientNutrientLoad = Literal["none", "low", "medium", "high"]
BinderClass = Literal[
    "nonionic ethoxylate",
    "nonionic glucoside",
    "anionic surfactant",
    "amphoteric surfactant",
    "cationic surfactant",
    "cellulose ether",
    "protein",
    "polyether",
    "polyvinylpyrrolidone",
]
IngredientOilClass = Literal[
    "vegetable", "ester", "hydrocarbon", "silicone", "fatty-alcohol", "wax-solid"
]
IngredientCharge = Literal["none", "anionic", "cationic", "zwitterionic", "salt"]
IngredientRole = Literal[
    "water",
    "humectant",
    "cationic surfactant",
    "anionic surfactant",
    "amphoteric surfactant",
    "nonionic surfactant",
    "nonionic emulsifier",
    "solubiliser",
    "cationic polymer",
    "anionic polymer",
    "nonionic polymer",
    "fatty alcohol",
    "oil",
    "ester",
    "wax",
    "silicone",
    "protein",
    "botanical",
    "electrolyte",
    "acid",
    "base",
    "chelator",
    "fragrance",
    "vitamin",
    "active",
    "powder",
    "preservative",
    "booster",
    "oxidiser",
    "solvent",
]


class Ingredient(Row):
    """A raw material under its INCI name."""

    key: ClassVar[tuple[str, ...]] = ("inci",)
    inci: str = text(needed=True)
    aliases: Names = names()  # common names; name@70 means: sold as a 70 % solution in water
    role: IngredientRole = choice(IngredientRole, needed=True)
    composition: Shares = (
        shares()
    )  # only for goods that are always a blend: usual split, INCI:mass fraction
    charge: IngredientCharge = choice(IngredientCharge, needed=True)
    molar_mass_g_mol: float | None = number(above=0)
    charge_number: float | None = number()  # signed charges per molecule at the usual product pH
    charge_meq_g: float | None = number()  # signed charge density, for polymers
    ions_per_molecule: float | None = number()
    pka: str | None = text()
    water_fraction: float = number(
        0, 1, needed=True
    )  # water in the thing this name means; 0 for a pure substance
    sold_as_percent: float | None = number(
        0, 100
    )  # usual strength where it is hardly ever sold pure
    density_note: str | None = text()
    oil_class: IngredientOilClass | None = choice(IngredientOilClass)
    liquid_at_25c: YesNo | None = choice(YesNo)  # for oil-phase materials
    binder_class: BinderClass | None = choice(
        BinderClass
    )  # what takes up preservative in the water phase
    nutrient_load: IngredientNutrientLoad = choice(IngredientNutrientLoad, needed=True)
    usual_phase: IngredientUsualPhase = choice(IngredientUsualPhase, needed=True)
    max_temp_c: float | None = number(-50, 200)
    ph_min: float | None = number(0, 14)  # stability window of the material itself
    ph_max: float | None = number(0, 14)
    ph_window_note: str | None = text()
    tags: Names = names()

    def check(self) -> None:
        """Raise ``ValueError`` where columns contradict each other."""
        self.ordered("ph_min", "ph_max")
