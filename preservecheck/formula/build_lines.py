"""Reads the phases of a formula with their lines, and reconciles the amounts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from preservecheck.errors import ReadingsError
from preservecheck.formula.faults import MAX_NOTE, Faults, Section, shown
from preservecheck.formula.model import AmountKind
from preservecheck.formula.names import FormulaNames
from preservecheck.formula.unknown import UnknownNames
from preservecheck.units import duration_min, temperature_c

PHASE = ("name", "heated_to", "held", "added_at", "items")
LINE = ("ingredient", "preservative", "percent", "grams", "rest", "strength", "note")
# coldest store and hottest pot that a cosmetic meets; the same bounds as in the tables
TEMPERATURE_C = (-50.0, 200.0)
READINGS_SUFFIXES = (".csv", ".tsv", ".txt", ".xlsx")
GIVE_TEMPERATURE = 'give a temperature from -50 to 200 °C, such as "40 °C" or "104 °F"'
# a week in the pot is no holding time
MAX_HELD_MIN = 7 * 24 * 60.0
# the tolerance on the sum, fixed for this program
SUM_TOLERANCE = 0.1
MAX_GRAMS = 1e8
MAX_LINES = 5000
_ROUNDING = 1e-9
REST_HELP = "rest = true (in a sheet: the word rest in the place of the amount)"
_REST_WORDS = ("rest", "qs", "q.s.", "q.s", "quantum satis", "ad 100", "to 100")


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


def read_phases(
    top: Section,
    names: FormulaNames,
    unknown: UnknownNames,
    batch_g: float | None,
    folder: Path | None = None,
) -> tuple[list[dict[str, Any]], AmountKind]:
    """All phases as plain values for the model, and what kind of amounts they hold; faults are
    noted.

    Parameters
    ----------
    top
        The whole file.
    names
        What is known.
    unknown
        Takes unknown names.
    batch_g
        Size of the batch. [g]
    folder
        Where the formula lies, and files of readings beside it; ``None`` where no file may be
        looked at.
    """
    faults = top.faults
    raw = top.raw.get("phase", [])
    if not isinstance(raw, list) or not all(isinstance(p, dict) for p in raw):
        faults.add(
            f"phase is {shown(raw)}; start each phase with the line [[phase]], in double brackets"
        )
        return [], "percent"
    if not raw:
        faults.add("there is no phase; give at least one [[phase]] with a name and items")
        return [], "percent"
    if (
        count := sum(len(i) for p in raw if isinstance(i := p.get("items"), list))
    ) > MAX_LINES or len(raw) > MAX_LINES:
        faults.add(
            f"the formula has {max(count, len(raw)):,} lines; at most {MAX_LINES:,} are read"
        )
        return [], "percent"
    reader = _Reader(names, unknown, faults, folder=folder)
    phases = [_phase(p, at, reader) for at, p in enumerate(raw, 1)]
    return phases, _reconciled(reader.amounts, batch_g, faults)


def _phase(raw: Mapping[str, Any], at: int, reader: _Reader) -> dict[str, Any]:
    faults = reader.faults
    label = raw.get("name")
    place = (
        f"phase {shown(label)}"
        if isinstance(label, str) and label.strip()
        else f"phase number {at}"
    )
    section = Section(raw, f"{place}: ", faults, PHASE)
    name = section.text(
        "name", 'give the phase a name, such as "heated" or "cool-down"', needed=True
    )
    if name is not None and (same := " ".join(name.casefold().split())) in reader.phases:
        faults.add(
            f"{place} stands twice; give every phase a name of its own, or put its lines together"
        )
    elif name is not None:
        reader.phases.add(same)
    items = raw.get("items")
    if not isinstance(items, list) or not items:
        found = "is empty" if items in (None, [], "") else f"has items = {shown(items)}"
        faults.add(
            f'{place} {found}; give it lines: items = [ {{ ingredient = "Water", rest = true }} ]'
        )
        items, reader.amounts.sound = [], False
    heated_to_c = section.quantity("heated_to", temperature_c, *TEMPERATURE_C, GIVE_TEMPERATURE)
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
        "lines": [_line(item, f"{place}, line {n}", reader) for n, item in enumerate(items, 1)],
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
            section.quantity("added_at", temperature_c, *TEMPERATURE_C, GIVE_TEMPERATURE),
            None,
            None,
        )
    from preservecheck.formula.cooling_readings import file_course

    path, moment = Path(name), str(written).partition("@")[2]
    if folder is None or path.name != name:
        section.fault(
            "added_at",
            "a file of readings must lie beside the formula file; give its name without a folder",
        )
        return None, None, None
    try:
        course = file_course(folder / path)
        at = course.moment(moment.strip()) if moment.strip() else course.time_min[-1]
        temperature, read = course.at(at)
    except ReadingsError as error:
        for message in error.messages:
            section.faults.add(f"{section.prefix}added_at: {message}")
        return None, None, None
    hottest = course.hottest_from(at)
    how = f"{path} at {course.time_text(at)}{'' if read else ', between two readings'}"
    return temperature, hottest if hottest > temperature else None, how


def _line(raw: object, place: str, reader: _Reader) -> dict[str, Any]:
    names, faults = reader.names, reader.faults
    if not isinstance(raw, dict):
        faults.add(f'{place} is {shown(raw)}; write {{ ingredient = "Glycerin", percent = 3 }}')
        reader.amounts.sound = False
        return {}
    written = raw.get("ingredient", raw.get("preservative"))
    if isinstance(written, str) and written.strip():
        place += f" ({shown(written)[1:-1]})"
    section = Section(raw, f"{place}: ", faults, LINE)
    name = _name(section, place, names, reader.unknown)
    preservative = "preservative" in raw and "ingredient" not in raw
    if "strength" in raw:
        _check_strength_place(section, name, preservative, names)
    amount, rest = _amount(section, place, preservative, reader.amounts)
    return {
        "name": name,
        "kind": "preservative" if preservative else "ingredient",
        "amount": amount,
        "rest": rest,
        "strength": _strength(section),
        "note": section.text(
            "note", "give a text in quotation marks, or leave it out", longest=MAX_NOTE
        ),
    }


def _name(section: Section, place: str, names: FormulaNames, unknown: UnknownNames) -> str | None:
    raw, faults = section.raw, section.faults
    if "ingredient" in raw and "preservative" in raw:
        faults.add(f"{place}: names an ingredient and a preservative; put them on two lines")
        return None
    if "preservative" in raw:
        written = section.text(
            "preservative",
            "give the id of a system; 'preservecheck tables list systems' shows them",
        )
        system = names.tables.system(written) if written else None
        if written is not None and system is None:
            unknown.system(written, place)
        return system
    if "ingredient" not in raw:
        faults.add(
            f'{place}: says neither ingredient nor preservative; write ingredient = "…" with a '
            "name, or "
            'preservative = "…" with the id of a system'
        )
        return None
    name = section.text("ingredient", "give an INCI name or a common name in quotation marks")
    if name is not None and not names.knows(name):
        unknown.add(name, place)
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


def _amount(
    section: Section, place: str, preservative: bool, amounts: _Amounts
) -> tuple[float | None, bool]:
    """The amount of a line, or that it is the rest line."""
    raw, faults = section.raw, section.faults
    rest = raw.get("rest", False)
    given = [key for key in ("percent", "grams") if key in raw]
    sound = False
    value = None
    if not isinstance(rest, bool):
        section.fault("rest", "write rest = true, or leave it out")
    elif len(given) == 2:  # noqa: PLR2004
        faults.add(f"{place}: gives percent and grams; keep one kind of amount in the whole file")
    elif rest and given:
        faults.add(f"{place}: is the rest line and gives {given[0]} too; keep one of them")
    elif rest and preservative:
        faults.add(f"{place}: a preservative cannot be the rest line; give its percent")
    elif rest:
        amounts.rest.append(place)
        sound = True
    elif not given:
        faults.add(
            f"{place}: has no amount; give percent or grams, or {REST_HELP} on the one line that "
            "fills up to 100 %"
        )
    elif isinstance(written := raw[given[0]], str) and written.strip().casefold() in _REST_WORDS:
        section.fault(given[0], "write rest = true instead")
    else:
        kind = given[0]
        high, give = (
            (100.0, "give a number from 0 to 100")
            if kind == "percent"
            else (MAX_GRAMS, "give the grams as a number from 0")
        )
        value = section.number(kind, 0, high, give)
        sound = value is not None
        amounts.first.setdefault(kind, place)
        if value is not None:
            (amounts.percent if kind == "percent" else amounts.grams).append(value)
    amounts.sound = amounts.sound and sound
    return value, rest is True


def _reconciled(amounts: _Amounts, batch_g: float | None, faults: Faults) -> AmountKind:
    """Check that the amounts make a whole; says which kind they are."""
    if len(amounts.first) == 2:  # noqa: PLR2004
        faults.add(
            f"percent and grams are mixed ({amounts.first['percent']} gives percent, "
            f"{amounts.first['grams']} "
            "gives grams); keep one kind in the whole file"
        )
        return "percent"
    if len(amounts.rest) > 1:
        faults.add(
            f"{len(amounts.rest)} lines are marked as rest ({'; '.join(amounts.rest[:3])}); one "
            "line alone can "
            "fill up to 100 %"
        )
        return "percent"
    kind: AmountKind = "grams" if "grams" in amounts.first else "percent"
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
            f"the lines without the rest line add up to {total:.6g} %, so nothing is left for it; "
            "correct the "
            "amounts so that they stay below 100 %"
        )
    elif not rest and abs(total - 100) > SUM_TOLERANCE + _ROUNDING:
        faults.add(
            f"the amounts add up to {total:.6g} %; they must come to 100 ± {SUM_TOLERANCE:g} %: "
            "correct them, or "
            f"mark the line that fills up, often water, with {REST_HELP}"
        )


def _check_grams(total: float, rest: bool, batch_g: float | None, faults: Faults) -> None:
    if not rest and total <= 0:
        faults.add("the amounts add up to 0 g; give the grams of each line")
    elif rest and batch_g is None:
        faults.add(
            "product.batch is missing; with grams and a rest line give the size of the batch, "
            'such as "500 g"'
        )
    elif rest and batch_g is not None and total > batch_g * (1 + _ROUNDING):
        faults.add(
            f"the lines without the rest line add up to {total:.6g} g, more than the batch "
            f"({batch_g:.6g} g), "
            "so nothing is left for the rest line; correct the amounts or the batch"
        )
