"""Rows of the law: limits, the bases they are counted on, what has to stand on the pack."""

from __future__ import annotations

import datetime as dt
from typing import ClassVar, Literal

from preservecheck.reference.columns import choice, day, names, number, text
from preservecheck.reference.row import Market, Names, Row, YesNo

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
    "limit", "ban", "closed list", "condition", "unconfirmed", "advice", "no limit"
]


class LegalLimit(Row):
    """One line of a market's rules for a substance or a sum of substances."""

    id: str = text(needed=True)
    market: Market = choice(Market, needed=True)
    region: str | None = text()  # a state inside the market
    entry: str = text(needed=True)  # annex and entry number, or the like
    substances: Names = names()  # blank: a remark on the list as a whole
    cas: Names = names()
    scope: ProductScope = choice(
        ProductScope, needed=True
    )  # the narrowest scope that fits the product wins
    # closed list: only named product types; no limit: the market sets no figure; advice: a panel's,
    # not law
    kind: LegalLimitKind = choice(LegalLimitKind, needed=True)
    max_percent: float | None = number(
        0, 100
    )  # % w/w of the finished product, on the printed basis
    counted_as: str = text(
        needed=True
    )  # "as weighed", or the INCI or name of the basis of a conversion
    # all listed substances together, or each one by itself
    sum_of: LegalLimitSumOf = choice(LegalLimitSumOf, needed=True)
    group: str | None = text()  # rows of one group in one market belong together
    only_with: Names = names()  # the rule holds only where one of these is in the product
    purpose: LegalLimitPurpose = choice(LegalLimitPurpose, needed=True)
    hair: YesNo = choice(
        YesNo, needed=True
    )  # yes: may apply to a hair product; no: kept for completeness only
    conditions: str | None = text()
    in_force_from: dt.date | None = day()
    in_force_to: dt.date | None = day()
    transition: str | None = text()
    dates: LegalLimitDates = choice(LegalLimitDates, needed=True)
    state: dt.date | None = day()  # the state of the law that was read

    def check(self) -> None:
        """Raise ``ValueError`` where columns contradict each other."""
        if self.kind in ("limit", "ban") and self.max_percent is None:
            raise ValueError(f"a {self.kind} needs max_percent")
        if self.kind == "ban" and self.max_percent != 0:
            raise ValueError("a ban has max_percent 0")
        self.ordered("in_force_from", "in_force_to")


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
    market: Market = choice(Market, needed=True)
    region: str | None = text()
    substances: Names = names()  # blank: every product
    threshold_percent: float | None = number(0, 100)  # above this; blank: any amount
    counted_as: str = text(needed=True)  # "as weighed" or the basis of a conversion
    scope: LabelRuleScope = choice(LabelRuleScope, needed=True)
    statement: str = text(needed=True)
    statutory_wording: YesNo = choice(YesNo, needed=True)
    in_force_from: dt.date | None = day()
    in_force_to: dt.date | None = day()
