"""Turns what was read from a file, TOML or sheets alike, into a formula, or says everything that is
wrong with it: product, readings, phases with their lines, and whether the amounts make a whole."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from preservecheck.errors import Hint, RawPath, ReadingsError
from preservecheck.formula.faults import MAX_NOTE, Faults, Section, shown
from preservecheck.formula.model import (
    MEASURED,
    PACKAGES,
    PRODUCT,
    PRODUCT_TYPES,
    USERS,
    USES,
    AmountKind,
    Formula,
)
from preservecheck.formula.names import (
    Form,
    FormulaNames,
    UnknownNames,
    folded,
    names_of,
    phase_key,
)
from preservecheck.formula.own_materials import read_blends, read_own_ingredients
from preservecheck.formula.settled import read_settled
from preservecheck.text import join_or
from preservecheck.units import (
    BATCH_HELP,
    MAX_BATCH_G,
    SHELF_LIFE_HELP,
    STEP_HELP,
    duration_min,
    mass_g,
    shelf_life_months,
    temperature_c,
)

if TYPE_CHECKING:
    from preservecheck.reference.load import Tables

FORMAT = 1
TOP = ("format", "product", "measured", "phase", "settled", "blend", "ingredient")
PHASE = ("name", "heated_to", "held", "added_at", "items")
LINE = ("ingredient", "preservative", "percent", "grams", "rest", "strength", "note", "purpose")
# coldest store and hottest pot that a cosmetic meets; the same bounds as in the tables
TEMPERATURE_C = (-50.0, 200.0)
READINGS_SUFFIXES = (".csv", ".tsv", ".txt", ".xlsx")
# a week in the pot is no holding time
MAX_HELD_MIN = 7 * 24 * 60.0
# the tolerance on the sum, fixed for this program [%]
SUM_TOLERANCE = 0.1
MAX_GRAMS = 1e8
MAX_LINES = 5000
_ROUNDING = 1e-9
_YEARS = (2000, 2100)
_GIVE_TEMPERATURE = 'give a temperature from -50 to 200 °C, such as "40 °C" or "104 °F"'
_GIVE_DAY = "give a day as year-month-day, such as 2026-12-01"
_REST_WORDS = ("rest", "qs", "q.s.", "q.s", "quantum satis", "ad 100", "to 100")


def build(
    raw: Mapping[str, Any],
    where: str,
    tables: Tables,
    today: dt.date | None = None,
    form: Form = "toml",
    folder: Path | None = None,
) -> Formula:
    """The formula in nested dictionaries that have the layout of the TOML form; a ``FormulaError``
    with all faults.

    The law of ``today`` is applied where the file names no day; default is the clock's. ``form`` is
    what the file was written in, for what its user is told to write. ``folder`` is where files of
    readings may lie that it names; ``None`` where it may name none.
    """
    faults = Faults(where)
    top = Section(raw, faults, (), TOP)
    if "format" in raw and (isinstance(raw["format"], bool) or raw["format"] != FORMAT):
        top.fault("format", f"this program reads format = {FORMAT}")
    product_raw = _table(top, "product", needed=True)
    product: dict[str, Any] = {"batch_g": None}
    # where it is absent or no table, that is the fault, and not every part of it
    if product_raw or raw.get("product") == {}:
        product = _product(Section(product_raw, faults, ("product",), PRODUCT), tables, today)
    measured = _measured(Section(_table(top, "measured"), faults, ("measured",), MEASURED))
    own = read_own_ingredients(_table(top, "ingredient"), faults)
    raw_blends = _table(top, "blend")
    names = FormulaNames(names_of(tables), raw_blends, own.names)
    unknown = UnknownNames(names, faults, form)
    # a batch that is given but faulty is one fault, not two
    batch_g = (
        math.inf if product["batch_g"] is None and "batch" in product_raw else product["batch_g"]
    )
    phases, amounts = _read_phases(top, names, unknown, batch_g, folder)
    blends = read_blends(raw_blends, own.names, names, unknown, faults)
    settled = read_settled(top, lambda section, key: _day(section, key, needed=True))
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
            "settled": settled,
        }
    )


def _table(top: Section, key: str, *, needed: bool = False) -> Mapping[str, Any]:
    """A table of the file; an empty one where it is absent or no table."""
    value = top.raw.get(key, {})
    if isinstance(value, dict) and len(value) > MAX_LINES:
        top.add(key, f"has {len(value):,} entries", f"at most {MAX_LINES:,} are read")
        return {}
    if isinstance(value, dict):
        if needed and key not in top.raw:
            top.missing(key, f"it is a table with {', '.join(PRODUCT)}")
        return value
    heading = f'[{key}."name"]' if key in ("blend", "ingredient") else f"[{key}]"
    top.fault(key, f"it must be a table that starts with the line {heading}")
    return {}


def _product(section: Section, tables: Tables, today: dt.date | None) -> dict[str, Any]:
    values = {
        "name": section.text(
            "name", 'give the product a name, such as "Oat conditioner"', needed=True
        ),
        "use": section.choice("use", USES, needed=True),
        "type": section.choice("type", PRODUCT_TYPES, needed=True),
        "kind": _kind(section, tables),
        "markets": _markets(section, tuple(market.id for market in tables.markets)),
        "users": section.choice("users", USERS),
        "package": section.choice("package", PACKAGES),
        "batch_g": _mass(section, "batch", BATCH_HELP),
        "scale_step_g": _mass(section, "scale_step", STEP_HELP),
        "on_market": _day(section, "on_market") or today or dt.date.today(),
        "shelf_life_months": section.quantity(
            "shelf_life", shelf_life_months, 1, 120, SHELF_LIFE_HELP
        ),
    }
    return {k: v for k, v in values.items() if v is not None or k == "batch_g"}


def _kind(section: Section, tables: Tables) -> str | None:
    """The kind of product by id or name, whatever the case and the hyphens."""
    if "kind" not in section.raw:
        return None
    value = section.raw["kind"]
    kinds = {_plain(n): k.id for k in tables.product_kinds for n in (k.id, k.name, *k.aliases)}
    if isinstance(value, str) and (found := kinds.get(_plain(value))):
        return found
    return section.one_of("kind", value, tuple(k.id for k in tables.product_kinds))


def _plain(name: str) -> str:
    return folded(name.replace("-", " "))


def _mass(section: Section, key: str, give: str) -> float | None:
    grams = section.quantity(key, mass_g, 0, MAX_BATCH_G, give)
    if grams == 0:
        section.fault(key, give)
        return None
    return grams


def _markets(section: Section, known: tuple[str, ...]) -> tuple[str, ...]:
    give = f"give at least one of {join_or(known)}"
    if "markets" not in section.raw:
        section.missing("markets", give, Hint.MARKETS_LIST)
        return ()
    value = section.raw["markets"]
    if not isinstance(value, list) or not value:
        section.fault("markets", give, Hint.MARKETS_LIST)
        return ()
    markets = [section.one_of("markets", market, known) for market in value]
    return tuple(dict.fromkeys(market for market in markets if market is not None))


def _day(section: Section, key: str, *, needed: bool = False) -> dt.date | None:
    if key not in section.raw:
        if needed:
            section.missing(key, _GIVE_DAY)
        return None
    value = section.raw[key]
    if isinstance(value, dt.datetime):
        value = value.date()
    elif isinstance(value, str):
        try:
            value = dt.date.fromisoformat(value.strip())
        except ValueError:
            value = None
    if not isinstance(value, dt.date) or not _YEARS[0] <= value.year <= _YEARS[1]:
        section.fault(key, _GIVE_DAY)
        return None
    return value


def _measured(section: Section) -> dict[str, float | None]:
    fraction = "give a water activity above 0 and up to 1, such as 0.98"
    activity = section.raw.get("water_activity")
    if (
        isinstance(activity, (int, float))
        and not isinstance(activity, bool)
        and 1 < activity <= 100
    ):
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
            "temperature", temperature_c, *TEMPERATURE_C, _GIVE_TEMPERATURE
        ),
        "water_activity": value,
        "water_activity_tolerance": section.number(
            "water_activity_tolerance", 0, 0.2, "give a number from 0 to 0.2, such as 0.005"
        ),
    }


# ---- phases and lines ----


@dataclass
class _Amounts:
    """What the lines say about amounts, taken together."""

    percent: list[float] = field(default_factory=list)
    grams: list[float] = field(default_factory=list)
    first: dict[str, str] = field(default_factory=dict)  # kind -> place of its first line
    rest: list[str] = field(default_factory=list)  # places of rest lines
    sound: bool = True  # every line's amount could be read


@dataclass
class _Reader:
    """What is needed and gathered while the phases are read."""

    names: FormulaNames
    unknown: UnknownNames
    faults: Faults
    amounts: _Amounts = field(default_factory=_Amounts)
    phases: set[str] = field(default_factory=set)  # names met
    folder: Path | None = None  # where files of readings lie


def _read_phases(
    top: Section,
    names: FormulaNames,
    unknown: UnknownNames,
    batch_g: float | None,
    folder: Path | None = None,
) -> tuple[list[dict[str, Any]], AmountKind]:
    """All phases as plain values for the model, and what kind of amounts they hold; faults are
    noted."""
    faults = top.faults
    raw = top.raw.get("phase", [])
    if not isinstance(raw, list) or not all(isinstance(p, dict) for p in raw):
        top.fault("phase", "give a list of phases", Hint.PHASE_TABLE)
        return [], "percent"
    if not raw:
        allowed = "give at least one with a name and lines"
        faults.add("there is no phase", allowed, path=("phase",), hint=Hint.PHASE_TABLE)
        return [], "percent"
    count = sum(len(i) for p in raw if isinstance(i := p.get("items"), list))
    if count > MAX_LINES or len(raw) > MAX_LINES:
        found = f"the formula has {max(count, len(raw)):,} lines"
        faults.add(found, f"at most {MAX_LINES:,} are read", path=("phase",))
        return [], "percent"
    reader = _Reader(names, unknown, faults, folder=folder)
    phases = [_phase(p, at, reader) for at, p in enumerate(raw)]
    return phases, _reconciled(reader.amounts, batch_g, faults)


def _phase(raw: Mapping[str, Any], at: int, reader: _Reader) -> dict[str, Any]:
    faults, path = reader.faults, ("phase", at)
    label = raw.get("name")
    named = isinstance(label, str) and bool(label.strip())
    place = f"phase {shown(label)}" if named else f"phase number {at + 1}"
    section = Section(raw, faults, path, PHASE, place)
    name = section.text(
        "name", 'give the phase a name, such as "heated" or "cool-down"', needed=True
    )
    if name is not None and (same := phase_key(name)) in reader.phases:
        allowed = "give every phase a name of its own, or put its lines together"
        faults.add("appears twice", allowed, path=(*path, "name"), name=place)
    elif name is not None:
        reader.phases.add(same)
    items = raw.get("items")
    if not isinstance(items, list) or not items:
        found = "is empty" if items in (None, [], "") else f"has items = {shown(items)}"
        faults.add(found, "give it lines", path=path, name=place, hint=Hint.PHASE_LINES)
        items, reader.amounts.sound = [], False
    heated_to_c = section.quantity("heated_to", temperature_c, *TEMPERATURE_C, _GIVE_TEMPERATURE)
    added_at_c, later_c, read_in = _added_at(section, reader.folder)
    if later_c is not None and (heated_to_c is None or later_c > heated_to_c):
        heated_to_c = later_c
    return {
        "name": name,
        "heated_to_c": heated_to_c,
        "held_min": section.quantity(
            "held", duration_min, 0, MAX_HELD_MIN, 'give a time up to a week, such as "20 min"'
        ),
        "added_at_c": added_at_c,
        "added_at_from": read_in,
        "lines": [
            _line(item, f"{place}, line {n + 1}", (*path, "items", n), reader)
            for n, item in enumerate(items)
        ],
    }


def readings_file(written: object) -> str | None:
    """The file of readings that an ``added_at`` names."""
    name = written.partition("@")[0].strip() if isinstance(written, str) else ""
    return name if name.casefold().endswith(READINGS_SUFFIXES) else None


def _added_at(
    section: Section, folder: Path | None
) -> tuple[float | None, float | None, str | None]:
    """Temperature at the addition, a hotter one that the readings show later, and where both were
    read. [°C]

    ``cooling.csv@14:42`` names a file of readings beside the formula and a moment; without a moment
    the last reading is taken.
    """
    written = section.raw.get("added_at")
    if (name := readings_file(written)) is None:
        return (
            section.quantity("added_at", temperature_c, *TEMPERATURE_C, _GIVE_TEMPERATURE),
            None,
            None,
        )
    from preservecheck.formula.cooling_readings import file_course

    path, moment = Path(name), str(written).partition("@")[2]
    if folder is None or path.name != name:
        allowed = "a file of readings is beside the formula file; give its name without a folder"
        section.fault("added_at", allowed)
        return None, None, None
    try:
        course = file_course(folder / path)
        at = course.moment(moment.strip()) if moment.strip() else course.time_min[-1]
        temperature, read = course.at(at)
    except ReadingsError as error:
        for fault in error.faults:
            place = f"{section.place}: added_at: {fault.where}"
            inside = dataclasses.replace(fault, where="", path=())
            section.faults.include(inside.within(place=place, path=(*section.path, "added_at")))
        return None, None, None
    hottest = course.hottest_from(at)
    how = f"{path} at {course.time_text(at)}{'' if read else ', between two readings'}"
    return temperature, hottest if hottest > temperature else None, how


def _line(raw: object, place: str, path: RawPath, reader: _Reader) -> dict[str, Any]:
    names, faults = reader.names, reader.faults
    if not isinstance(raw, dict):
        allowed = "give a name and an amount"
        faults.add(f"is {shown(raw)}", allowed, path=path, name=place, hint=Hint.PHASE_LINES)
        reader.amounts.sound = False
        return {}
    written = raw.get("ingredient", raw.get("preservative"))
    if isinstance(written, str) and written.strip():
        place += f" ({shown(written)[1:-1]})"
    section = Section(raw, faults, path, LINE, place)
    name = _name(section, names, reader.unknown)
    preservative = "preservative" in raw and "ingredient" not in raw
    if "strength" in raw:
        _check_strength_place(section, name, preservative, names)
    amount, rest = _amount(section, preservative, reader.amounts)
    if "purpose" in raw and preservative:
        allowed = "write the substance as an ingredient, or leave its purpose out"
        section.add("purpose", "a system is there to preserve", allowed)
    return {
        "name": name,
        "kind": "preservative" if preservative else "ingredient",
        "amount": amount,
        "rest": rest,
        "strength": _strength(section),
        "note": section.text("note", "give a text, or leave it out", longest=MAX_NOTE),
        "purpose": section.text("purpose", "say what it is there for, or leave it out"),
    }


def _name(section: Section, names: FormulaNames, unknown: UnknownNames) -> str | None:
    raw = section.raw
    if "ingredient" in raw and "preservative" in raw:
        section.add("", "names an ingredient and a preservative", "put them on two lines")
        return None
    if "preservative" in raw:
        written = section.text("preservative", "give the id of a preservative system")
        system = names.tables.system(written) if written else None
        if written is not None and system is None:
            unknown.system(written, section.place, (*section.path, "preservative"))
        return system
    if "ingredient" not in raw:
        found = "names neither an ingredient nor a preservative"
        section.add("", found, "give it a name", hint=Hint.LINE_NAME)
        return None
    name = section.text("ingredient", "give an INCI name or a common name")
    if name is not None and not names.knows(name):
        unknown.add(name, section.place, (*section.path, "ingredient"))
    return name


def _check_strength_place(
    section: Section, name: str | None, preservative: bool, names: FormulaNames
) -> None:
    if preservative:
        section.fault(
            "strength",
            "a preservative takes none: its percent is that of the system as supplied, and "
            "the tables know its composition",
        )
    elif name is not None and names.blend(name) is not None:
        section.fault(
            "strength",
            f"{shown(name)} is a blend and takes none; write its water as a part of the blend",
        )


def _strength(section: Section) -> float | None:
    give = "give the percent of active substance, above 0 and up to 100"
    strength = section.number("strength", 0, 100, give)
    if strength == 0:
        section.fault("strength", give)
        return None
    return strength


def _amount(section: Section, preservative: bool, amounts: _Amounts) -> tuple[float | None, bool]:
    """The amount of a line, or that it is the rest line."""
    raw = section.raw
    rest = raw.get("rest", False)
    given = [key for key in ("percent", "grams") if key in raw]
    sound = False
    value = None
    if not isinstance(rest, bool):
        section.fault("rest", "it is true, or left out")
    elif len(given) > 1:
        allowed = "keep one kind of amount in the whole formula"
        section.add("", "gives percent and grams", allowed)
    elif rest and given:
        section.add("", f"is the rest line and gives {given[0]} too", "keep one of them")
    elif rest and preservative:
        section.add("", "a preservative cannot be the rest line", "give its percent")
    elif rest:
        amounts.rest.append(section.place)
        sound = True
    elif not given:
        allowed = "give percent or grams, or mark the one line that fills up to 100 %"
        section.add("", "has no amount", allowed, hint=Hint.REST_LINE)
    elif isinstance(written := raw[given[0]], str) and written.strip().casefold() in _REST_WORDS:
        section.fault(given[0], "mark the line as the one that fills up", Hint.REST_LINE)
    else:
        kind = given[0]
        high, allowed = (
            (100.0, "give a number from 0 to 100")
            if kind == "percent"
            else (MAX_GRAMS, "give the grams as a number from 0")
        )
        value = section.number(kind, 0, high, allowed)
        sound = value is not None
        amounts.first.setdefault(kind, section.place)
        if value is not None:
            (amounts.percent if kind == "percent" else amounts.grams).append(value)
    amounts.sound = amounts.sound and sound
    return value, rest is True


def _reconciled(amounts: _Amounts, batch_g: float | None, faults: Faults) -> AmountKind:
    """Check that the amounts make a whole; says which kind they are."""
    first = amounts.first
    if len(first) > 1:
        faults.add(
            f"percent and grams are mixed ({first['percent']} gives percent, {first['grams']} "
            "gives grams)",
            "keep one kind in the whole formula",
            path=("phase",),
        )
        return "percent"
    if len(amounts.rest) > 1:
        faults.add(
            f"{len(amounts.rest)} lines are marked as rest ({'; '.join(amounts.rest[:3])})",
            "one line alone can fill up to 100 %",
            path=("phase",),
        )
        return "percent"
    kind: AmountKind = "grams" if "grams" in first else "percent"
    if not amounts.sound:
        return kind
    if kind == "percent":
        _check_percent(sum(amounts.percent), bool(amounts.rest), faults)
    else:
        _check_grams(sum(amounts.grams), bool(amounts.rest), batch_g, faults)
    return kind


def _check_percent(total: float, rest: bool, faults: Faults) -> None:
    if rest and total > 100 + _ROUNDING:
        faults.add(
            f"the lines without the rest line add up to {total:.6g} %, so nothing is left for it",
            "correct the amounts so that they stay below 100 %",
            path=("phase",),
        )
    elif not rest and abs(total - 100) > SUM_TOLERANCE + _ROUNDING:
        faults.add(
            f"the amounts add up to {total:.6g} %",
            f"they must come to 100 ± {SUM_TOLERANCE:g} %: correct them, or mark the line that "
            "fills up, often water",
            path=("phase",),
            hint=Hint.REST_LINE,
        )


def _check_grams(total: float, rest: bool, batch_g: float | None, faults: Faults) -> None:
    if not rest and total <= 0:
        faults.add("the amounts add up to 0 g", "give the grams of each line", path=("phase",))
    elif rest and batch_g is None:
        faults.add(
            "is missing",
            'with grams and a rest line give the size of the batch, such as "500 g"',
            path=("product", "batch"),
            name="product.batch",
        )
    elif rest and batch_g is not None and total > batch_g * (1 + _ROUNDING):
        faults.add(
            f"the lines without the rest line add up to {total:.6g} g, more than the batch "
            f"({batch_g:.6g} g), so nothing is left for the rest line",
            "correct the amounts or the batch",
            path=("phase",),
        )
