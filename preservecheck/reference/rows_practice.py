"""Rows of the bench and the laboratory: what does not go together, customary pH, cautions,
challenge tests."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar, Final, Literal, NamedTuple

from preservecheck.reference.columns import choice, names, number, text
from preservecheck.reference.row import Group, Names, Row, YesNo

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
    second: Names = names()  # the same, or condition: with a name from the list in checks/pairs.py
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


ProductPhUse = Literal["leave-on", "rinse-off", "any"]
ProductPhType = Literal["conditioner", "shampoo", "leave-in", "styling", "scalp", "mask"]


class ProductPh(Row):
    """Customary pH window of a product type."""

    key: ClassVar[tuple[str, ...]] = ("type", "use")
    type: ProductPhType = choice(ProductPhType, needed=True)
    use: ProductPhUse = choice(ProductPhUse, needed=True)
    ph_min: float = number(0, 14, needed=True)
    ph_max: float = number(0, 14, needed=True)

    def check(self) -> None:
        """Raise ``ValueError`` where columns contradict each other."""
        self.ordered("ph_min", "ph_max")


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
