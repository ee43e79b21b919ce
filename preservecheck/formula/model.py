"""What a formula file says, with every quantity in one unit: grams, degrees Celsius, minutes, per
cent."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field

from preservecheck.reference.rows import Ingredient, Package, ProductType, Use, Users

AmountKind = Literal["percent", "grams"]

USES: tuple[Use, ...] = get_args(Use)
PRODUCT_TYPES: tuple[ProductType, ...] = get_args(ProductType)
USERS: tuple[Users, ...] = get_args(Users)
PACKAGES: tuple[Package, ...] = get_args(Package)

# what a file calls the parts of a product and its readings
PRODUCT = (
    "name",
    "use",
    "type",
    "kind",
    "markets",
    "users",
    "package",
    "batch",
    "scale_step",
    "on_market",
    "shelf_life",
)
MEASURED = ("ph", "ph_tolerance", "temperature", "water_activity", "water_activity_tolerance")

# a pH meter that was calibrated the same day; common practice, no source
PH_TOLERANCE = 0.1
# a water-activity meter; tables/README.md
WATER_ACTIVITY_TOLERANCE = 0.005


class _Part(BaseModel):
    model_config = ConfigDict(
        frozen=True, extra="forbid", allow_inf_nan=False, arbitrary_types_allowed=True
    )


# so much an unopened pack is meant to keep where nothing is said; longer needs no date in the EU
SHELF_LIFE_MONTHS = 30.0


class Product(_Part):
    """What is made, for whom, in what pack and for which market."""

    name: str
    use: Use
    type: ProductType
    kind: str | None = None  # key of tables/product_kinds.csv; None: what the recipe looks like
    markets: tuple[str, ...]  # keys of tables/markets.csv
    users: Users = "adults"
    package: Package | None = None
    batch_g: Annotated[float, Field(gt=0)] | None = None
    scale_step_g: Annotated[float, Field(gt=0)] | None = None
    on_market: dt.date | None = None  # the law of that day; the reader fills in today
    shelf_life_months: Annotated[float, Field(ge=1, le=120)] = SHELF_LIFE_MONTHS


class Measured(_Part):
    """Readings; what was not measured is ``None``."""

    ph: Annotated[float, Field(ge=0, le=14)] | None = None
    ph_tolerance: Annotated[float, Field(ge=0, le=3)] = PH_TOLERANCE
    temperature_c: float | None = None  # of the pH sample
    water_activity: Annotated[float, Field(gt=0, le=1)] | None = None
    water_activity_tolerance: Annotated[float, Field(ge=0, le=0.2)] = WATER_ACTIVITY_TOLERANCE


class Line(_Part):
    """One line of the recipe."""

    name: str  # as written; of a preservative its id
    kind: Literal["ingredient", "preservative"]
    amount: Annotated[float, Field(ge=0)] | None = None  # per cent or grams; None on the rest line
    rest: bool = False  # quantum satis: fills to 100 %
    # per cent active; what is left is water
    strength: Annotated[float, Field(gt=0, le=100)] | None = None
    note: str | None = None
    purpose: str | None = None  # of a listed preservative that is there for another reason


class Phase(_Part):
    """Lines that go in together, with the temperatures that they meet."""

    name: str
    heated_to_c: float | None = None
    held_min: float | None = None
    added_at_c: float | None = None  # temperature of the batch when this goes in
    added_at_from: str | None = None  # the readings that it was taken from
    lines: tuple[Line, ...]


class Settled(_Part):
    """A finding that a trial answered."""

    check: str
    about: str
    on: dt.date
    by: str  # initials
    saw: str
    # figures and amounts of the day, as a report printed them; a change of one ends it
    rests_on: dict[str, float] = {}


class Formula(_Part):
    """A formula file."""

    format: Literal[1] = 1
    product: Product
    measured: Measured = Measured()
    phases: tuple[Phase, ...]
    amounts: AmountKind = "percent"
    blends: dict[str, dict[str, float]] = {}  # raw material as written -> its parts in per cent
    own_ingredients: tuple[Ingredient, ...] = ()  # rows for this formula alone
    settled: tuple[Settled, ...] = ()
    sha256: str = ""  # of the file that it was read from
    path: str | None = None
