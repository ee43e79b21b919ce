"""Turns what was read from a file, TOML or sheets alike, into a formula, or says everything that is
wrong with it."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from preservecheck.formula.build_lines import (
    GIVE_TEMPERATURE,
    MAX_LINES,
    TEMPERATURE_C,
    read_phases,
)
from preservecheck.formula.faults import Faults, Section, shown
from preservecheck.formula.model import MARKETS, PACKAGES, PRODUCT_TYPES, USERS, USES, Formula
from preservecheck.formula.names import FormulaNames, names_of
from preservecheck.formula.own_materials import read_blends, read_own_ingredients
from preservecheck.formula.unknown import Form, UnknownNames
from preservecheck.text import join_or
from preservecheck.units import BATCH_HELP, MAX_BATCH_G, STEP_HELP, mass_g, temperature_c

if TYPE_CHECKING:
    from preservecheck.reference.load import Tables

FORMAT = 1
TOP = ("format", "product", "measured", "phase", "blend", "ingredient")
PRODUCT = ("name", "use", "type", "markets", "users", "package", "batch", "scale_step", "on_market")
MEASURED = ("ph", "ph_tolerance", "temperature", "water_activity", "water_activity_tolerance")

_YEARS = (2000, 2100)


def build(
    raw: Mapping[str, Any],
    where: str,
    tables: Tables,
    today: dt.date | None = None,
    form: Form = "toml",
    folder: Path | None = None,
) -> Formula:
    """The formula that a file describes.

    Parameters
    ----------
    raw
        The file as nested dictionaries, in the layout of the TOML form.
    where
        The file as messages name it.
    tables
        The tables, for the names of ingredients and preservative systems.
    today
        Day whose law is applied where the file names none; default is the clock's.
    form
        ``toml``, ``sheet`` or ``page``: what the user is told to write depends on it.
    folder
        Where files of readings may lie that the formula names; ``None`` where it may name none.

    Returns
    -------
    Formula
        With every quantity in grams, degrees Celsius, minutes and per cent.

    Raises
    ------
    FormulaError
        All faults at once.
    """
    faults = Faults(where)
    top = Section(raw, "", faults, TOP)
    if "format" in raw and (isinstance(raw["format"], bool) or raw["format"] != FORMAT):
        top.fault("format", f"this program reads format = {FORMAT}")
    product_raw = _table(top, "product", needed=True)
    # one that is absent or no table is one fault, said already; of an empty one each part is
    # missing
    there = bool(product_raw) or raw.get("product") == {}
    product = (
        _product(Section(product_raw, "product.", faults, PRODUCT), today)
        if there
        else {"batch_g": None}
    )
    measured = _measured(Section(_table(top, "measured"), "measured.", faults, MEASURED))
    own = read_own_ingredients(_table(top, "ingredient"), faults)
    raw_blends = _table(top, "blend")
    names = FormulaNames(names_of(tables), raw_blends, own.names)
    unknown = UnknownNames(names, faults, form)
    # a batch that is given but faulty is one fault, not two
    batch_g = (
        math.inf if product["batch_g"] is None and "batch" in product_raw else product["batch_g"]
    )
    phases, amounts = read_phases(top, names, unknown, batch_g, folder)
    blends = read_blends(raw_blends, own.names, names, unknown, faults)
    unknown.report()
    faults.raise_if_any()
    return Formula.model_validate(
        {
            "product": product,
            "measured": {k: v for k, v in measured.items() if v is not None},
            "phases": phases,
            "amounts": amounts,
            "blends": blends,
            "own_ingredients": own.rows,
        }
    )


def _table(top: Section, key: str, *, needed: bool = False) -> Mapping[str, Any]:
    """A table of the file; an empty one where it is absent or no table."""
    value = top.raw.get(key, {})
    if isinstance(value, dict) and len(value) > MAX_LINES:
        top.faults.add(f"{key} has {len(value):,} entries; at most {MAX_LINES:,} are read")
        return {}
    if isinstance(value, dict):
        if needed and key not in top.raw:
            top.missing(f"[{key}]", f"the file starts with it: {', '.join(PRODUCT)}")
        return value
    heading = f'[{key}."name"]' if key in ("blend", "ingredient") else f"[{key}]"
    top.fault(key, f"it must be a table that starts with the line {heading}")
    return {}


def _product(section: Section, today: dt.date | None) -> dict[str, Any]:
    values = {
        "name": section.text(
            "name", 'give the product a name, such as "Oat conditioner"', needed=True
        ),
        "use": section.choice("use", USES, needed=True),
        "type": section.choice("type", PRODUCT_TYPES, needed=True),
        "markets": _markets(section),
        "users": section.choice("users", USERS),
        "package": section.choice("package", PACKAGES),
        "batch_g": _mass(section, "batch", BATCH_HELP),
        "scale_step_g": _mass(section, "scale_step", STEP_HELP),
        "on_market": _day(section) or today or dt.date.today(),
    }
    return {k: v for k, v in values.items() if v is not None or k == "batch_g"}


def _mass(section: Section, key: str, give: str) -> float | None:
    grams = section.quantity(key, mass_g, 0, MAX_BATCH_G, give)
    if grams == 0:
        section.fault(key, give)
        return None
    return grams


def _markets(section: Section) -> tuple[str, ...]:
    give = f'give a list such as ["EU", "GB"]; the markets are {join_or(MARKETS)}'
    if "markets" not in section.raw:
        section.missing("markets", give)
        return ()
    value = section.raw["markets"]
    if not isinstance(value, list) or not value:
        section.fault("markets", give)
        return ()
    found = [section.one_of("markets", market, MARKETS) for market in value]
    return tuple(dict.fromkeys(market for market in found if market is not None))


def _day(section: Section) -> dt.date | None:
    give = "give a day as year-month-day, such as 2026-12-01"
    if "on_market" not in section.raw:
        return None
    value = section.raw["on_market"]
    if isinstance(value, dt.datetime):
        value = value.date()
    elif isinstance(value, str):
        try:
            value = dt.date.fromisoformat(value.strip())
        except ValueError:
            section.fault("on_market", give)
            return None
    if not isinstance(value, dt.date) or not _YEARS[0] <= value.year <= _YEARS[1]:
        section.fault("on_market", give)
        return None
    return value


def _measured(section: Section) -> dict[str, float | None]:
    fraction = "give a water activity above 0 and up to 1, such as 0.98"
    activity = section.raw.get("water_activity")
    if (
        isinstance(activity, (int, float))
        and not isinstance(activity, bool)
        and 1 < activity <= 100
    ):  # noqa: PLR2004
        fraction += f"; {shown(activity)} % relative humidity is {shown(activity / 100)}"
    value = section.number("water_activity", 0, 1, fraction)
    if value == 0:
        section.fault("water_activity", fraction)
    return {
        "ph": section.number("ph", 0, 14, "give a pH from 0 to 14"),
        "ph_tolerance": section.number(
            "ph_tolerance", 0, 3, "give a number from 0 to 3: 0.1 with a meter, 0.5 with strips"
        ),
        "temperature_c": section.quantity(
            "temperature", temperature_c, *TEMPERATURE_C, GIVE_TEMPERATURE
        ),
        "water_activity": value,
        "water_activity_tolerance": section.number(
            "water_activity_tolerance", 0, 0.2, "give a number from 0 to 0.2, such as 0.005"
        ),
    }
