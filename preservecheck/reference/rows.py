"""One model per table: the columns, their units and what a cell may hold.

A blank cell means unknown and becomes ``None``. Every row ends with the same five columns: where it
comes from (``source``, a key in ``sources.csv``), the page or entry (``locator``), how it was
obtained (``basis``), which cells of a published row are nevertheless recalled (``recalled``), and a
``note``.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import ClassVar, Final, Literal, NamedTuple

from preservecheck.reference.columns import (
    Compatibility,
    PartLimit,
    Record,
    choice,
    compatibility,
    day,
    names,
    number,
    parts,
    shares,
    slug,
    text,
)

Basis = Literal["published", "memory", "practice"]
YesNo = Literal["yes", "no"]
# what a formula may say of its product: one list each
Use = Literal["leave-on", "rinse-off"]
ProductType = Literal["conditioner", "shampoo", "leave-in", "styling", "scalp", "mask"]
Users = Literal["adults", "under-3", "under-10"]
Package = Literal["jar", "pump", "tube", "spray", "bottle"]
Rating = Literal["strong", "moderate", "weak", "none"]
Group = Literal["gram-positive", "gram-negative", "yeast", "mould"]
Shares = tuple[tuple[str, float], ...]
Names = tuple[str, ...]
Pairs = tuple[tuple[str, str], ...]


class Row(Record):
    """What every table row has, after its own columns."""

    source: str = text(needed=True)
    locator: str | None = text()
    basis: Basis = choice(Basis, needed=True)
    recalled: str | None = text()
    note: str | None = text()


SourceKind = Literal[
    "law",
    "standard",
    "paper",
    "book",
    "data set",
    "software",
    "authority page",
    "page",
    "supplier paper",
    "forum",
    "practice",
    "estimate",
    "memory",
]


class Source(Record):
    """A publication, page, data set or stated habit that rows refer to."""

    id: str = slug()
    authors: str | None = text()
    year: str | None = text()
    title: str = text(needed=True)
    container: str | None = text()
    address: str | None = text()  # DOI or public address, no web shop
    kind: SourceKind = choice(SourceKind, needed=True)

    @property
    def citation(self) -> str:
        """The source in one line."""
        parts = [self.authors, self.year, self.title, self.container, self.address]
        return ", ".join(p for p in parts if p)


# ---- what is weighed in ----

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

    ordered: ClassVar[Pairs] = (
        ("ph_min", "ph_max"),
        ("usage_min_percent", "usage_max_percent"),
        ("preferred_add_below_c", "heat_limit_c"),
    )
    id: str = slug()
    composition: Shares = shares(needed=True)  # INCI:mass fraction, sums to 1
    ph_min: float = number(0, 14, needed=True)
    ph_max: float = number(0, 14, needed=True)
    ph_note: str | None = text()  # where it works best
    # of the system as supplied, in the whole formula
    usage_min_percent: float = number(0, 100, needed=True)
    usage_max_percent: float = number(0, 100, needed=True)
    # highest temperature accepted for adding it
    heat_limit_c: float = number(-50, 200, needed=True)
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

    @property
    def name(self) -> str:
        """What people call it: its substances, most first, water left out."""
        parts = [i for i, _ in sorted(self.composition, key=lambda part: -part[1]) if i != "Aqua"]
        first, *others = parts or ["Aqua"]
        return " + ".join([first, *(_small(inci) for inci in others)])

    def check(self) -> None:
        """Raise ``ValueError`` where columns contradict each other."""
        super().check()
        total = sum(f for _, f in self.composition)
        if abs(total - 1) > 0.0011:
            raise ValueError(f"composition adds up to {total:g}; mass fractions must add up to 1")


def _small(inci: str) -> str:
    """An INCI name inside a line: words without figures and abbreviations in small letters."""
    return " ".join(w.lower() if w[:1].isupper() and w[1:].islower() else w for w in inci.split())


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
    ordered: ClassVar[Pairs] = (("stability_ph_min", "stability_ph_max"),)
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
    # g formaldehyde that 1 g could release in theory
    formaldehyde_fraction: float | None = number()
    heat_note: str | None = text()
    volatility_note: str | None = text()
    hydrolysis_note: str | None = text()
    inactivated_by: str | None = text()


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
    ordered: ClassVar[Pairs] = (("ph_min", "ph_max"),)
    inci: str = text(needed=True)
    aliases: Names = names()  # common names; name@70 means: sold as a 70 % solution in water
    role: IngredientRole = choice(IngredientRole, needed=True)
    # only for goods that are always a blend: usual split, INCI:mass fraction
    composition: Shares = shares()
    charge: IngredientCharge = choice(IngredientCharge, needed=True)
    molar_mass_g_mol: float | None = number(above=0)
    charge_number: float | None = number()  # signed charges per molecule at the usual product pH
    charge_meq_g: float | None = number()  # signed charge density, for polymers
    ions_per_molecule: float | None = number()
    pka: str | None = text()
    # water in the thing this name means; 0 for a pure substance
    water_fraction: float = number(0, 1, needed=True)
    # usual strength where it is hardly ever sold pure
    sold_as_percent: float | None = number(0, 100)
    density_note: str | None = text()
    oil_class: IngredientOilClass | None = choice(IngredientOilClass)
    liquid_at_25c: YesNo | None = choice(YesNo)  # for oil-phase materials
    # what takes up preservative in the water phase
    binder_class: BinderClass | None = choice(BinderClass)
    nutrient_load: IngredientNutrientLoad = choice(IngredientNutrientLoad, needed=True)
    usual_phase: IngredientUsualPhase = choice(IngredientUsualPhase, needed=True)
    max_temp_c: float | None = number(-50, 200)
    ph_min: float | None = number(0, 14)  # stability window of the material itself
    ph_max: float | None = number(0, 14)
    ph_window_note: str | None = text()
    tags: Names = names()


# ---- what was measured ----

MicOfForm = Literal["total", "undissociated acid", "free in water", "total in lotion"]
MicComparator = Literal["=", "<=", ">", "range"]


class Mic(Row):
    """Lowest concentration seen to stop a microbe."""

    ordered: ClassVar[Pairs] = (("mic_low_mg_l", "mic_high_mg_l"),)
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


class Descriptor(Row):
    """The five descriptors of a solute, from which uptake by mineral oil is worked out."""

    key: ClassVar[tuple[str, ...]] = ("inci",)
    inci: str = text(needed=True)
    e: float = number(needed=True)  # excess refraction
    s: float = number(needed=True)  # dipolarity
    a: float = number(0, needed=True)  # hydrogen bonds given
    b: float = number(needed=True)  # and taken
    v: float = number(above=0, needed=True)  # volume, in hundreds of mL/mol


Law = Literal["first-order", "reservoir", "opens"]


class Degradation(Row):
    """How a preservative is lost in the product: by a rate, or how it releases formaldehyde."""

    key: ClassVar[tuple[str, ...]] = ("inci",)
    ordered: ClassVar[Pairs] = (("ph_low", "ph_high"),)
    inci: str = text(needed=True)
    law: Law = choice(Law, needed=True)
    rate_per_month: float | None = number(above=0)  # at 25 °C and the reference pH
    ph_reference: float | None = number(0, 14)
    ph_slope: float | None = number()  # of log10 of the rate, per unit of pH
    pka: float | None = number()  # where only the undissociated form reacts
    activation_kj_mol: float | None = number(above=0)
    ph_low: float | None = number(0, 14)  # range of pH that the law was read in
    ph_high: float | None = number(0, 14)
    factor_error: float | None = number(1)  # how far the rate may be off, times and divided by

    def check(self) -> None:
        """Raise ``ValueError`` where columns contradict each other."""
        super().check()
        needed = (self.rate_per_month, self.ph_reference, self.ph_slope, self.factor_error)
        if self.law == "first-order" and None in needed:
            raise ValueError("a first-order law needs rate, reference pH, slope and factor")


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
    solubility_g_100g_water: float | None = number(above=0)  # anhydrous; blank: mixes, or unknown
    water_activity_saturated: float | None = number(None, 1, above=0)
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


# ---- law ----

ProductScope = Literal[
    "all",
    "rinse-off",
    "leave-on",
    "hair-rinse-off",
    "hair-leave-on",
    "shampoo",
    "shampoo-antidandruff",
    "conditioner-or-mask-rinse-off",
    "hair-lotion",
    "listed-elsewhere",
    "aerosol-spray",
    "inhalable-spray",
    "spray",
    "under-3",
    "leave-on-under-3",
    "conditioner-or-mask-under-3",
    "mucous",
    "oral",
    "eye",
    "other",
]
LegalLimitDates = Literal["read", "recalled", "mixed", "none"]
LegalLimitPurpose = Literal["preservative", "other", "any"]
LegalLimitSumOf = Literal["all", "each"]
LegalLimitKind = Literal[
    "limit", "ban", "closed list", "exclusion", "condition", "unconfirmed", "advice", "no limit"
]


class Market(Row):
    """A place with a law of its own, as formulas name it."""

    id: str = text(r"[A-Z][A-Z0-9-]*", needed=True)
    name: str = text(needed=True)
    part_of: str | None = text()  # the market whose law holds here beside that of the state alone
    label_language: str | None = text()
    covers: str | None = text()  # what the tables hold of its law
    small_maker: str | None = text()  # what somebody who makes little has to do there
    # whether a preservative has to be on a list to be allowed
    positive_list: YesNo | None = choice(YesNo)
    state: dt.date | None = day()  # of the law that was read


class LegalLimit(Row):
    """One line of a market's rules for a substance or a sum of substances."""

    ordered: ClassVar[Pairs] = (("in_force_from", "in_force_to"),)
    id: str = text(needed=True)
    market: str = text(needed=True)  # a key of markets.csv
    region: str | None = text()  # a state inside the market
    entry: str = text(needed=True)  # annex and entry number, or the like
    substances: Names = names()  # blank: a remark on the list as a whole
    cas: Names = names()
    # the narrowest scope that fits the product wins
    scope: ProductScope = choice(ProductScope, needed=True)
    # closed list: only named product types; no limit: the market sets no figure; advice: a panel's,
    # not law
    kind: LegalLimitKind = choice(LegalLimitKind, needed=True)
    # % w/w of the finished product, on the printed basis; of an exclusion: % of only_with
    max_percent: float | None = number(0, 100)
    # "as weighed", or the INCI or name of the basis of a conversion
    counted_as: str = text(needed=True)
    # all listed substances together, or each one by itself
    sum_of: LegalLimitSumOf = choice(LegalLimitSumOf, needed=True)
    group: str | None = text()  # rows of one group in one market belong together
    only_with: Names = names()  # the rule holds only where one of these is in the product
    purpose: LegalLimitPurpose = choice(LegalLimitPurpose, needed=True)
    # yes: may apply to a hair product; no: kept for completeness only
    hair: YesNo = choice(YesNo, needed=True)
    conditions: str | None = text()
    in_force_from: dt.date | None = day()
    in_force_to: dt.date | None = day()
    transition: str | None = text()
    dates: LegalLimitDates = choice(LegalLimitDates, needed=True)
    state: dt.date | None = day()  # the state of the law that was read

    @property
    def only_recalled(self) -> bool:
        """Whether nobody read what it says: the row, its kind or its figure."""
        recalled = {name.strip() for name in (self.recalled or "").split(",")}
        return self.basis == "memory" or not recalled.isdisjoint(("kind", "max_percent"))

    def check(self) -> None:
        """Raise ``ValueError`` where columns contradict each other."""
        if self.kind in ("limit", "ban") and self.max_percent is None:
            raise ValueError(f"a {self.kind} needs max_percent")
        if self.kind == "ban" and self.max_percent != 0:
            raise ValueError("a ban has max_percent 0")
        if self.kind == "exclusion" and not (self.max_percent and self.only_with):
            raise ValueError("an exclusion needs max_percent and only_with")
        super().check()


class Conversion(Row):
    """Grams of a legal basis that one gram of a substance counts for."""

    key: ClassVar[tuple[str, ...]] = ("basis_name", "substance")
    basis_name: str = text(needed=True)
    substance: str = text(needed=True)
    molar_mass_g_mol: float | None = number(above=0)
    units: float | None = number()  # basis units per formula unit
    factor: float = number(above=0, needed=True)


LabelRuleScope = Literal[
    "all",
    "leave-on",
    "rinse-off",
    "hair-rinse-off",
    "spray",
    "users under 3 possible",
    "leave-on, users under 3 possible",
    "rinse-off not shampoo, users under 3 possible",
    "not hair",
]


class LabelRule(Row):
    """A statement that a market wants on the pack."""

    id: str = text(needed=True)
    market: str = text(needed=True)  # a key of markets.csv
    region: str | None = text()
    substances: Names = names()  # blank: every product
    threshold_percent: float | None = number(0, 100)  # above this; blank: any amount
    counted_as: str = text(needed=True)  # "as weighed" or the basis of a conversion
    scope: LabelRuleScope = choice(LabelRuleScope, needed=True)
    statement: str = text(needed=True)
    statutory_wording: YesNo = choice(YesNo, needed=True)
    in_force_from: dt.date | None = day()
    in_force_to: dt.date | None = day()


# ---- bench and laboratory ----

IncompatibilitySeverity = Literal["serious", "caution", "benefit", "advice"]
IncompatibilityEffect = Literal[
    "inactivated",
    "precipitates",
    "complexed",
    "emulsion breaks",
    "discolours",
    "odour",
    "ph drift",
    "nitrosamine risk",
    "benzene risk",
    "boosts",
]


class Incompatibility(Row):
    """Two things that disable each other, spoil the product or help each other."""

    id: str = text(needed=True)
    first: Names = names(needed=True)  # inci:, tag:, role: keys
    # the same, or condition: with a name from the list in checks/incompatibilities.py
    second: Names = names()
    without: Names = names()  # the row does not speak where one of these is there
    effect: IncompatibilityEffect = choice(IncompatibilityEffect, needed=True)
    # advice: the tool cannot see it, the report says it
    severity: IncompatibilitySeverity = choice(IncompatibilitySeverity, needed=True)
    first_min_percent: float | None = number(0, 100)
    second_min_percent: float | None = number(0, 100)
    second_max_percent: float | None = number(0, 100)
    ph_from: float | None = number(0, 14)  # only at or above
    ph_to: float | None = number(0, 14)  # only at or below
    heat_above_c: float | None = number(-50, 200)  # only when the preservative meets more than this
    threshold_note: str | None = text()
    mechanism: str = text(needed=True)
    remedy: str | None = text()


ProductPhUse = Literal[Use, "any"]


class ProductPh(Row):
    """Customary pH window of a product type."""

    key: ClassVar[tuple[str, ...]] = ("type", "use")
    ordered: ClassVar[Pairs] = (("ph_min", "ph_max"),)
    type: ProductType = choice(ProductType, needed=True)
    use: ProductPhUse = choice(ProductPhUse, needed=True)
    ph_min: float = number(0, 14, needed=True)
    ph_max: float = number(0, 14, needed=True)


# ---- custom ----

KindUse = Literal[Use, "any"]
PhSet = Literal["free", "measured", "none"]
Standing = Literal["usual", "possible", "unusual", "avoid"]
PracticeUsers = Literal["any", "children"]
Counted = Literal["as supplied", "active"]


class ProductKind(Row):
    """A kind of product: its customary pH, and how a formula that names none is recognised.

    The first row in `match_order` whose conditions all hold is the kind; a blank one holds.
    """

    ordered: ClassVar[Pairs] = (
        ("ph_min", "ph_max"),
        ("ph_min", "aim_low"),
        ("aim_low", "aim_ph"),
        ("aim_ph", "aim_high"),
        ("aim_low", "aim_high"),
        ("aim_high", "ph_max"),
    )
    id: str = slug()
    name: str = text(needed=True)
    aliases: Names = names()  # what else a formula may call it
    types: Names = names(needed=True)  # product types it belongs to
    default_use: KindUse = choice(KindUse, needed=True)
    match_order: float = number(0, needed=True)
    # wider kinds that mean this one where a formula names them and meets its conditions
    finer_than: Names = names()
    uses: Names = names()
    users: Names = names()
    packages: Names = names()
    # inci:, tag:, role: keys, in % of the pure substances together
    has: Names = names()
    has_min_percent: float | None = number(0, 100)
    also: Names = names()
    also_min_percent: float | None = number(0, 100)
    without: Names = names()  # their sum below without_from_percent
    without_from_percent: float | None = number(0, 100)
    water_below_percent: float | None = number(0, 100)
    ph_min: float | None = number(0, 14)  # customary window
    ph_max: float | None = number(0, 14)
    aim_low: float | None = number(0, 14)
    aim_ph: float | None = number(0, 14)
    aim_high: float | None = number(0, 14)
    aim_ph_flat: float | None = number(0, 14)  # for systems whose action does not hang on the pH
    # free: a lever; measured: the base sets it; none: there is nothing to set
    ph_set: PhSet = choice(PhSet, needed=True)
    low_risk: str | None = text()


class Practice(Row):
    """How usual a system is in a kind of product."""

    key: ClassVar[tuple[str, ...]] = ("system", "kind", "users")
    system: str = text(needed=True)
    kind: str = text(needed=True)  # id of product_kinds.csv, or any
    users: PracticeUsers = choice(PracticeUsers, needed=True)
    standing: Standing = choice(Standing, needed=True)
    start_rank: float | None = number(1, 2)  # where a formulator starts: first or second
    why: str = text(needed=True)
    survey_substance: str | None = text()
    survey_percent: float | None = number(0, 100)  # share of products that carry it
    survey_products: float | None = number(1)  # how many were looked at
    survey_of: str | None = text()
    survey_source: str | None = text()

    def check(self) -> None:
        """Raise ``ValueError`` where columns contradict each other."""
        if (self.survey_percent is None) != (self.survey_source is None):
            raise ValueError("a survey figure and its source belong together")
        if self.start_rank is not None and self.standing not in ("usual", "possible"):
            raise ValueError(f"a {self.standing} system is no first or second choice")


class Pair(Row):
    """Two systems or a system and a booster that close each other's gaps."""

    ordered: ClassVar[Pairs] = (
        ("ph_min", "ph_max"),
        ("first_min_percent", "first_max_percent"),
        ("second_min_percent", "second_max_percent"),
    )
    id: str = slug()
    first: Names = names(needed=True)  # system:, inci: or tag: keys, any of which counts
    second: Names = names(needed=True)
    standing: Standing = choice(Standing, needed=True)
    same_as: str | None = text()  # the system that is sold as this pair
    first_counted: Counted = choice(Counted, needed=True)
    first_min_percent: float | None = number(0, 100)
    first_max_percent: float | None = number(0, 100)
    second_counted: Counted = choice(Counted, needed=True)
    second_min_percent: float | None = number(0, 100)
    second_max_percent: float | None = number(0, 100)
    ph_min: float | None = number(0, 14)
    ph_max: float | None = number(0, 14)
    kinds: Names = names()  # blank: every kind
    why: str = text(needed=True)
    caution: str | None = text()


Edge = Literal["breaks", "feel", "idle"]


class StabilityWindow(Row):
    """The pH that a raw material stands; goes before the window in ingredients.csv."""

    ordered: ClassVar[Pairs] = (("ph_min", "ph_max"),)
    id: str = slug()
    name: str = text(needed=True)
    materials: Names = names(needed=True)  # inci:, tag:, role: keys, together
    min_percent: float = number(0, 100, needed=True)
    # `beside` and `without`: the window holds only where these are there, or are not
    beside: Names = names()
    beside_min_percent: float | None = number(0, 100)
    without: Names = names()
    without_from_percent: float | None = number(0, 100)
    ph_min: float | None = number(0, 14)
    # breaks: product or material is lost; feel: thickness or feel; idle: it does not act
    below: Edge | None = choice(Edge)
    ph_max: float | None = number(0, 14)
    above: Edge | None = choice(Edge)
    what_happens: str = text(needed=True)

    def check(self) -> None:
        """Raise ``ValueError`` where columns contradict each other."""
        super().check()
        for limit, edge in ((self.ph_min, self.below), (self.ph_max, self.above)):
            if (limit is None) != (edge is None):
                raise ValueError("an edge needs a pH and what it does")


class Replacement(Row):
    """A material that takes the place of one that does not bear the rest of the base."""

    id: str = slug()
    material: Names = names(needed=True)  # any of: inci:, role:, tag:
    beside: Names = names()  # and any of these in the formula; blank: whatever is there
    by: str = text(needed=True)  # INCI name
    percent: float = number(0, 100, needed=True)
    why: str = text(needed=True)


CautionAbout = Literal["handling", "product", "user", "legal", "hygiene"]


class Caution(Row):
    """A sentence that protects the maker or the user."""

    id: str = text(needed=True)
    # any of: inci:, tag:, role:, system:, form:, package:, users:, use:, type:, always
    when: Names = names(needed=True)
    and_when: Names = names()  # and any of these
    about: CautionAbout = choice(CautionAbout, needed=True)
    text: str = text(needed=True)


ChallengeCriterionRequirement = Literal[
    "min_log_reduction",
    "no_increase_from_initial",
    "no_increase_from_day_7",
    "no_increase_from_day_14",
]
ChallengeCriterionOrganismGroup = Literal["bacteria", "yeast", "mould"]
ChallengeCriterionStandard = Literal["iso-11930", "usp-51", "ph-eur-5.1.3"]


class Standard(NamedTuple):
    """A standard of the challenge test."""

    name: str
    full_name: str  # with the category that is meant here
    column: str  # of the test organisms


STANDARDS: Final[Mapping[str, Standard]] = {
    "iso-11930": Standard("ISO 11930", "ISO 11930", "iso_11930"),
    "usp-51": Standard("USP <51>", "USP <51>, category 2", "usp_51"),
    "ph-eur-5.1.3": Standard("Ph. Eur. 5.1.3", "Ph. Eur. 5.1.3, topical", "ph_eur_5_1_3"),
}
# the day whose count a line without an increase is held against
_SINCE_DAY: Final = {
    "no_increase_from_initial": 0,
    "no_increase_from_day_7": 7,
    "no_increase_from_day_14": 14,
}


class ChallengeCriterion(Row):
    """One acceptance line of a challenge-test standard."""

    id: str = text(needed=True)
    standard: ChallengeCriterionStandard = choice(ChallengeCriterionStandard, needed=True)
    edition: str | None = text()
    criterion: str = text(needed=True)
    organism_group: ChallengeCriterionOrganismGroup = choice(
        ChallengeCriterionOrganismGroup, needed=True
    )
    day: float = number(needed=True)
    requirement: ChallengeCriterionRequirement = choice(ChallengeCriterionRequirement, needed=True)
    value: float = number(needed=True)
    tolerance_log: float | None = number()
    if_missed: Literal["fails", "warns"] | None = choice(Literal["fails", "warns"])  # blank: fails

    @property
    def since_day(self) -> int | None:
        """The day whose count may not be passed; ``None`` for a line on reductions."""
        return _SINCE_DAY.get(self.requirement)


class TestOrganism(Row):
    """A microbe of the challenge tests with its strain numbers."""

    __test__: ClassVar[bool] = False
    key: ClassVar[tuple[str, ...]] = ("organism",)
    organism: str = text(needed=True)
    group: Group = choice(Group, needed=True)
    strain: str = text(needed=True)
    other_collections: str | None = text()
    iso_11930: YesNo = choice(YesNo, needed=True)
    usp_51: YesNo = choice(YesNo, needed=True)
    ph_eur_5_1_3: YesNo = choice(YesNo, needed=True)

    def belongs_to(self, standard: str) -> bool:
        """Whether a standard tests it."""
        return bool(getattr(self, STANDARDS[standard].column) == "yes")

    @property
    def criteria_group(self) -> str:
        """The group that the criteria name: bacteria, yeast or mould."""
        return self.group if self.group in ("yeast", "mould") else "bacteria"


TABLES: dict[str, type[Record]] = {
    "systems": System,
    "actives": Active,
    "ingredients": Ingredient,
    "mic": Mic,
    "partition": Partition,
    "descriptors": Descriptor,
    "degradation": Degradation,
    "binding": Binding,
    "solutes": Solute,
    "growth_limits": GrowthLimit,
    "markets": Market,
    "legal_limits": LegalLimit,
    "conversions": Conversion,
    "label_rules": LabelRule,
    "incompatibilities": Incompatibility,
    "product_ph": ProductPh,
    "product_kinds": ProductKind,
    "practice": Practice,
    "pairs": Pair,
    "stability_windows": StabilityWindow,
    "replacements": Replacement,
    "cautions": Caution,
    "challenge_criteria": ChallengeCriterion,
    "test_organisms": TestOrganism,
    "sources": Source,
}


def table_of(row: Record) -> str:
    """The table that a row stands in."""
    return next(name for name, model in TABLES.items() if isinstance(row, model))
