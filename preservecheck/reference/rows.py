"""One model per table: the columns, their units and what a cell may hold.

A blank cell means unknown and becomes ``None``. Every row ends with the same five columns: where it comes
from (``source``, a key in ``sources.csv``), the page or entry (``locator``), how it was obtained (``basis``),
which cells of a published row are nevertheless recalled (``recalled``), and a ``note``.
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

Basis = Literal["published", "memory", "practice"]
YesNo = Literal["yes", "no"]
Market = Literal["EU", "GB", "US", "CA", "JP", "ASEAN"]
Rating = Literal["strong", "moderate", "weak", "none"]
Group = Literal["gram-positive", "gram-negative", "yeast", "mould"]


def _pipe(value: Any) -> Any:
    """Turn ``a|b`` into a tuple; a blank cell gives an empty one."""
    if value is None:
        return ()
    if isinstance(value, str):
        return tuple(part.strip() for part in value.split("|") if part.strip())
    return value


Names = Annotated[tuple[str, ...], BeforeValidator(_pipe)]
Fraction = Annotated[float, Field(ge=0, le=1)]
Percent = Annotated[float, Field(ge=0, le=100)]
Positive = Annotated[float, Field(gt=0)]
Ph = Annotated[float, Field(ge=0, le=14)]
TempC = Annotated[float, Field(ge=-50, le=200)]
WaterActivity = Annotated[float, Field(gt=0, le=1)]


class Row(BaseModel):
    """What every table row has."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, defer_build=True)
    key: ClassVar[tuple[str, ...]] = ("id",)

    source: str
    locator: str | None = None
    basis: Basis
    recalled: str | None = None
    note: str | None = None

    @property
    def key_text(self) -> str:
        """The row's key as it is shown and searched."""
        return " / ".join("" if (v := getattr(self, k)) is None else
                          "|".join(v) if isinstance(v, tuple) else str(v) for k in self.key)

    def _ordered(self, low: str, high: str) -> None:
        a, b = getattr(self, low), getattr(self, high)
        if a is not None and b is not None and a > b:
            raise ValueError(f"{low} {a:g} is above {high} {b:g}")


class Source(BaseModel):
    """A publication, page, data set or stated habit that rows refer to."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)
    key: ClassVar[tuple[str, ...]] = ("id",)
    id: Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9.-]*$")]
    authors: str | None = None
    year: str | None = None
    title: str
    container: str | None = None
    address: str | None = None  # DOI or public address, no web shop
    kind: Literal["law", "standard", "paper", "book", "data set", "software", "authority page", "page",
                  "supplier paper", "forum", "practice", "estimate", "memory"]

    @property
    def key_text(self) -> str:
        """The id."""
        return self.id

    @property
    def citation(self) -> str:
        """The source in one line."""
        parts = [self.authors, self.year, self.title, self.container, self.address]
        return ", ".join(p for p in parts if p)


class Compatibility(BaseModel):
    """A cell such as ``caution: thins weak emulsions``: a word and its reason."""

    model_config = ConfigDict(frozen=True)
    word: Literal["ok", "caution", "avoid"]
    reason: str | None = None


def _compatibility(value: Any) -> Any:
    if isinstance(value, str):
        word, _, reason = value.partition(":")
        return {"word": word.strip(), "reason": reason.strip() or None}
    return value


Compat = Annotated[Compatibility, BeforeValidator(_compatibility)]


def _composition(value: Any) -> Any:
    """``Aqua:0.45|DMDM Hydantoin:0.55`` becomes pairs of name and mass fraction."""
    if value is None:
        return ()
    if isinstance(value, str):
        pairs = []
        for part in value.split("|"):
            name, _, fraction = part.rpartition(":")
            pairs.append((name.strip(), fraction.strip()))
        return tuple(pairs)
    return value


Composition = Annotated[tuple[tuple[str, Fraction], ...], BeforeValidator(_composition)]


class PartLimit(BaseModel):
    """One part of a system that is added at two points: its substances and its own temperatures."""

    model_config = ConfigDict(frozen=True)
    substances: tuple[str, ...]
    heat_limit_c: TempC
    preferred_add_below_c: TempC | None = None


def _parts(value: Any) -> Any:
    """``Imidazolidinyl Urea:40:40|Methylparaben+Propylparaben:80:70`` becomes the parts of a system."""
    if value is None:
        return ()
    if isinstance(value, str):
        parts = []
        for part in value.split("|"):
            names, limit, below = (part.split(":") + ["", ""])[:3]
            parts.append({"substances": tuple(n.strip() for n in names.split("+")),
                          "heat_limit_c": limit.strip(), "preferred_add_below_c": below.strip() or None})
        return tuple(parts)
    return value


Parts = Annotated[tuple[PartLimit, ...], BeforeValidator(_parts)]


class System(Row):
    """A preservative as it is bought and dosed, named by its INCI composition."""

    id: Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]*$")]
    composition: Composition  # INCI:mass fraction, sums to 1
    ph_min: Ph
    ph_max: Ph
    ph_note: str | None = None  # where it works best
    usage_min_percent: Percent  # of the system as supplied, in the whole formula
    usage_max_percent: Percent
    heat_limit_c: TempC  # highest temperature accepted for adding it
    preferred_add_below_c: TempC | None = None  # where it does most good
    parts: Parts = ()  # only for a system with two addition points
    exposure_note: str | None = None
    form: Literal["liquid", "powder"]
    solubility: Literal["water", "oil", "dispersible"]
    add_phase: Literal["cool-down", "water phase", "oil phase"]
    charge: Literal["nonionic", "anionic", "cationic", "mixed"]
    with_cationic_surfactant: Compat
    with_anionic_surfactant: Compat
    with_nonionic_ethoxylates: Compat
    with_proteins: Compat
    with_electrolytes: Compat
    gram_positive: Rating
    gram_negative: Rating
    yeast: Rating
    mould: Rating
    partners: Names = ()  # ids of systems, or INCI names of helpers, that close its gaps
    partner_note: str | None = None
    sensory_note: str | None = None
    sensitiser_note: str | None = None
    emulsion_note: str | None = None
    natural_standard: Literal["yes", "no", "conditional", "disputed"]
    natural_standard_note: str | None = None
    regulatory_note: str | None = None
    conflicts: str | None = None  # where sources disagree

    @model_validator(mode="after")
    def _check(self) -> System:
        self._ordered("ph_min", "ph_max")
        self._ordered("usage_min_percent", "usage_max_percent")
        self._ordered("preferred_add_below_c", "heat_limit_c")
        total = sum(f for _, f in self.composition)
        if abs(total - 1) > 0.0011:
            raise ValueError(f"composition adds up to {total:g}; mass fractions must add up to 1")
        return self


class Active(Row):
    """A substance that holds microbes back, or helps one that does."""

    key: ClassVar[tuple[str, ...]] = ("inci",)
    inci: str
    cas: str | None = None
    formula: str | None = None
    molar_mass_g_mol: Positive
    acid_form: str | None = None  # INCI of the acid or phenol whose salt this is
    role: Literal["preservative", "booster", "chelator", "humectant", "solvent", "surfactant"]
    active_form: Literal["neutral molecule", "undissociated acid", "free base", "cation", "released formaldehyde",
                         "chelating anion"]
    pka_25c: float | None = None
    pka_uncertainty: float | None = None
    dh_ion_kj_mol: float | None = None  # enthalpy of dissociation
    log_p: float | None = None  # octanol-water, uncharged form
    water_solubility_g_l: Positive | None = None  # of this substance; 1000 means miscible
    charge: Literal["nonionic", "anionic", "cationic", "amphoteric"]
    charge_number: float | None = None  # charges per molecule when fully charged, signed
    heat_limit_c: TempC | None = None
    stability_ph_min: Ph | None = None
    stability_ph_max: Ph | None = None
    formaldehyde_fraction: float | None = None  # g formaldehyde that 1 g could release in theory
    heat_note: str | None = None
    volatility_note: str | None = None
    hydrolysis_note: str | None = None
    inactivated_by: str | None = None

    @model_validator(mode="after")
    def _check(self) -> Active:
        self._ordered("stability_ph_min", "stability_ph_max")
        return self


class Ingredient(Row):
    """A raw material under its INCI name."""

    key: ClassVar[tuple[str, ...]] = ("inci",)
    inci: str
    aliases: Names = ()  # common names; name@70 means: sold as a 70 % solution in water
    role: Literal["water", "humectant", "cationic surfactant", "anionic surfactant", "amphoteric surfactant",
                  "nonionic surfactant", "nonionic emulsifier", "solubiliser", "cationic polymer", "anionic polymer",
                  "nonionic polymer", "fatty alcohol", "oil", "ester", "wax", "silicone", "protein", "botanical",
                  "electrolyte", "acid", "base", "chelator", "fragrance", "vitamin", "active", "powder",
                  "preservative", "booster", "oxidiser", "solvent"]
    composition: Composition = ()  # only for goods that are always a blend: usual split, INCI:mass fraction
    charge: Literal["none", "anionic", "cationic", "zwitterionic", "salt"]
    molar_mass_g_mol: Positive | None = None
    charge_number: float | None = None  # signed charges per molecule at the usual product pH
    charge_meq_g: float | None = None  # signed charge density, for polymers
    ions_per_molecule: float | None = None
    pka: str | None = None
    water_fraction: Fraction  # water in the thing this name means; 0 for a pure substance
    sold_as_percent: Percent | None = None  # usual strength where it is hardly ever sold pure
    density_note: str | None = None
    oil_class: Literal["vegetable", "ester", "hydrocarbon", "silicone", "fatty-alcohol", "wax-solid"] | None = None
    liquid_at_25c: YesNo | None = None  # for oil-phase materials
    binder_class: Literal["nonionic ethoxylate", "nonionic glucoside", "anionic surfactant", "amphoteric surfactant",
                          "cationic surfactant", "cellulose ether", "protein", "polyether", "polyvinylpyrrolidone"
                          ] | None = None  # what takes up preservative in the water phase
    nutrient_load: Literal["none", "low", "medium", "high"]
    usual_phase: Literal["heated water", "heated oil", "cool-down"]
    max_temp_c: TempC | None = None
    ph_min: Ph | None = None  # stability window of the material itself
    ph_max: Ph | None = None
    ph_window_note: str | None = None
    tags: Names = ()

    @model_validator(mode="after")
    def _check(self) -> Ingredient:
        self._ordered("ph_min", "ph_max")
        return self


class Mic(Row):
    """Lowest concentration seen to stop a microbe."""

    key: ClassVar[tuple[str, ...]] = ("id",)
    id: str
    active: str  # INCI of the acting form
    organism: str
    mic_mg_l: Positive  # upper end of a range
    mic_low_mg_l: Positive | None = None
    mic_high_mg_l: Positive | None = None
    comparator: Literal["=", "<=", ">", "range"]
    test_ph: str | None = None
    of_form: Literal["total", "undissociated acid", "free in water", "total in lotion"]
    uncertainty_factor: Annotated[float, Field(ge=1)]  # times and divided by
    preferred: YesNo
    method_note: str | None = None

    @model_validator(mode="after")
    def _check(self) -> Mic:
        self._ordered("mic_low_mg_l", "mic_high_mg_l")
        return self


class Partition(Row):
    """Oil-water partition coefficient of the uncharged form, concentration over concentration."""

    id: str
    active: str
    oil: str
    oil_class: Literal["vegetable", "ester", "hydrocarbon", "silicone", "wax", "octanol"]
    k_oil_water: Positive
    temperature_c: str | None = None
    kind: Literal["measured", "from solubilities", "relation"]
    preferred: YesNo


class Binding(Row):
    """Uptake by a surfactant or polymer: total over free is 1 + k per percent."""

    id: str
    active: str  # INCI, or a class in words where no figure is known
    binder: str
    binder_class: Literal["nonionic ethoxylate", "nonionic glucoside", "anionic surfactant", "amphoteric surfactant",
                          "cationic surfactant", "cellulose ether", "protein", "polyether", "polyvinylpyrrolidone",
                          "other"]
    percent_range: str | None = None
    total_over_free: str | None = None  # as printed, R@percent
    k_per_percent: Annotated[float, Field(ge=0)] | None = None  # per % w/v in the water phase
    temperature_c: str | None = None
    ph: str | None = None
    kind: Literal["measured", "relation", "statement"]
    preferred: YesNo
    effect: str | None = None  # where no figure is known


class Solute(Row):
    """What a solute in the water phase does to water activity."""

    id: str
    inci: str
    cas: str | None = None
    molar_mass_g_mol: Positive | None = None
    kind: Literal["nonelectrolyte", "electrolyte", "polymer"]
    model: Literal["norrish", "pitzer", "ideal", "osmol", "expand"]
    k_norrish: float | None = None  # natural logarithm, negative binds water
    k3_norrish: float | None = None
    z_plus: float | None = None
    z_minus: float | None = None
    nu_plus: float | None = None
    nu_minus: float | None = None
    beta0: float | None = None
    beta1: float | None = None
    beta2: float | None = None
    c_phi: float | None = None
    alpha1: float | None = None
    alpha2: float | None = None
    nu_effective: float | None = None
    osmol_per_kg: float | None = None  # per kg of the dry polymer
    valid_max_molality: float | None = None
    valid_max_mole_fraction: float | None = None
    temperature_c: float | None = None
    confidence: Literal["high", "medium", "low"]
    preferred: YesNo
    expand_to: Composition = ()  # only for model expand


class GrowthLimit(Row):
    """Lowest water activity and pH range in which a microbe was seen to grow."""

    id: str
    organism: str
    group: Literal["gram-negative", "gram-positive", "spore-former", "yeast", "mould", "limit", "criterion"]
    aw_min: WaterActivity | None = None
    aw_min_range: str | None = None
    ph_min: Ph | None = None
    ph_max: Ph | None = None
    conditions: str | None = None
    compare: YesNo  # yes: the water-activity check compares with it


ProductScope = Literal[
    "all", "rinse-off", "leave-on", "hair-rinse-off", "hair-leave-on", "shampoo", "shampoo-antidandruff",
    "conditioner-or-mask-rinse-off", "hair-lotion", "listed-elsewhere", "aerosol-spray", "inhalable-spray", "spray",
    "under-3", "leave-on-under-3", "conditioner-or-mask-under-3", "mucous", "oral", "eye", "other"]


class LegalLimit(Row):
    """One line of a market's rules for a substance or a sum of substances."""

    id: str
    market: Market
    region: str | None = None  # a state inside the market
    entry: str  # annex and entry number, or the like
    substances: Names = ()  # blank: a remark on the list as a whole
    cas: Names = ()
    scope: ProductScope  # the narrowest scope that fits the product wins
    # closed list: only named product types; no limit: the market sets no figure; advice: a panel's, not law
    kind: Literal["limit", "ban", "closed list", "condition", "unconfirmed", "advice", "no limit"]
    max_percent: Percent | None = None  # % w/w of the finished product, on the printed basis
    counted_as: str  # "as weighed", or the INCI or name of the basis of a conversion
    sum_of: Literal["all", "each"]  # all listed substances together, or each one by itself
    group: str | None = None  # rows of one group in one market belong together
    only_with: Names = ()  # the rule holds only where one of these is in the product
    purpose: Literal["preservative", "other", "any"]
    hair: YesNo  # yes: may apply to a hair product; no: kept for completeness only
    conditions: str | None = None
    in_force_from: dt.date | None = None
    in_force_to: dt.date | None = None
    transition: str | None = None
    dates: Literal["read", "recalled", "mixed", "none"]
    state: dt.date | None = None  # the state of the law that was read

    @model_validator(mode="after")
    def _check(self) -> LegalLimit:
        if self.kind in ("limit", "ban") and self.max_percent is None:
            raise ValueError(f"a {self.kind} needs max_percent")
        if self.kind == "ban" and self.max_percent != 0:
            raise ValueError("a ban has max_percent 0")
        self._ordered("in_force_from", "in_force_to")
        return self


class Conversion(Row):
    """Grams of a legal basis that one gram of a substance counts for."""

    key: ClassVar[tuple[str, ...]] = ("basis_name", "substance")
    basis_name: str
    substance: str
    molar_mass_g_mol: Positive | None = None
    units: float | None = None  # basis units per formula unit
    factor: Positive


class LabelRule(Row):
    """A statement that a market wants on the pack."""

    id: str
    market: Market
    region: str | None = None
    substances: Names = ()  # blank: every product
    threshold_percent: Percent | None = None  # above this; blank: any amount
    counted_as: str  # "as weighed" or the basis of a conversion
    scope: Literal["all", "leave-on", "rinse-off", "hair-rinse-off", "spray", "users under 3 possible",
                   "leave-on, users under 3 possible", "rinse-off not shampoo, users under 3 possible",
                   "not hair"]
    statement: str
    statutory_wording: YesNo
    in_force_from: dt.date | None = None
    in_force_to: dt.date | None = None


class Incompatibility(Row):
    """Two things that disable each other, spoil the product or help each other."""

    id: str
    first: Names  # inci:, tag:, role: keys
    second: Names = ()  # the same, or condition: with a name from the list in checks/pairs.py
    effect: Literal["inactivated", "precipitates", "complexed", "emulsion breaks", "discolours", "odour", "ph drift",
                    "nitrosamine risk", "benzene risk", "boosts"]
    severity: Literal["serious", "caution", "benefit", "advice"]  # advice: the tool cannot see it, the report says it
    first_min_percent: Percent | None = None
    second_min_percent: Percent | None = None
    second_max_percent: Percent | None = None
    ph_from: Ph | None = None  # only at or above
    ph_to: Ph | None = None  # only at or below
    heat_above_c: TempC | None = None  # only when the preservative meets more than this
    threshold_note: str | None = None
    mechanism: str
    remedy: str | None = None


class ProductPh(Row):
    """Customary pH window of a product type."""

    key: ClassVar[tuple[str, ...]] = ("type", "use")
    type: Literal["conditioner", "shampoo", "leave-in", "styling", "scalp", "mask"]
    use: Literal["leave-on", "rinse-off", "any"]
    ph_min: Ph
    ph_max: Ph

    @model_validator(mode="after")
    def _check(self) -> ProductPh:
        self._ordered("ph_min", "ph_max")
        return self


class Caution(Row):
    """A sentence that protects the maker or the user."""

    id: str
    when: Names  # any of: inci:, tag:, role:, system:, form:, package:, users:, use:, type:, always
    and_when: Names = ()  # and any of these
    about: Literal["handling", "product", "user", "legal", "hygiene"]
    text: str


class ChallengeCriterion(Row):
    """One acceptance line of a challenge-test standard."""

    id: str
    standard: Literal["iso-11930", "usp-51", "ph-eur-5.1.3"]
    edition: str | None = None
    criterion: str
    organism_group: Literal["bacteria", "yeast", "mould"]
    day: int
    requirement: Literal["min_log_reduction", "no_increase_from_initial", "no_increase_from_day_7",
                         "no_increase_from_day_14"]
    value: float
    tolerance_log: float | None = None


class TestOrganism(Row):
    """A microbe of the challenge tests with its strain numbers."""

    __test__: ClassVar[bool] = False
    key: ClassVar[tuple[str, ...]] = ("organism",)
    organism: str
    group: Group
    strain: str
    other_collections: str | None = None
    iso_11930: YesNo
    usp_51: YesNo
    ph_eur_5_1_3: YesNo


TABLES: dict[str, type[Row] | type[Source]] = {
    "systems": System,
    "actives": Active,
    "ingredients": Ingredient,
    "mic": Mic,
    "partition": Partition,
    "binding": Binding,
    "solutes": Solute,
    "growth_limits": GrowthLimit,
    "legal_limits": LegalLimit,
    "conversions": Conversion,
    "label_rules": LabelRule,
    "incompatibilities": Incompatibility,
    "product_ph": ProductPh,
    "cautions": Caution,
    "challenge_criteria": ChallengeCriterion,
    "test_organisms": TestOrganism,
    "sources": Source,
}
