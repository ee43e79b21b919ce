"""Reads what a formula says about its raw materials: blends with their parts, and ingredients of
its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from preservecheck.errors import Hint, RawPath
from preservecheck.formula.faults import MAX_TEXT, Faults, Section, shown
from preservecheck.formula.names import FormulaNames, UnknownNames, allowed_words, folded
from preservecheck.reference.columns import read_cells
from preservecheck.reference.rows import Ingredient
from preservecheck.text import join_or

# rounding in a supplier's papers
BLEND_SUM_TOLERANCE = 0.5
# a blend of blends of blends is plausible; much more is a slip, and would take long to open
MAX_BLEND_DEPTH = 10
MAX_PARTS = 5000
# what an ingredient is taken to be where its block does not say; common practice, no source
OWN_DEFAULTS: Mapping[str, Any] = {
    "charge": "none",
    "water_fraction": 0.0,
    "nutrient_load": "low",
    "usual_phase": "cool-down",
    "source": "own",
    "basis": "practice",
}
OWN_COLUMNS = tuple(c for c in Ingredient.columns if c != "composition")


@dataclass
class OwnIngredients:
    """Rows that a formula adds for itself alone."""

    rows: list[Ingredient] = field(default_factory=list)
    names: dict[str, str] = field(default_factory=dict)  # as written -> INCI name


def read_own_ingredients(raw: Mapping[str, Any], faults: Faults) -> OwnIngredients:
    """The ``[ingredient."name"]`` blocks as rows; faults are noted."""
    own = OwnIngredients()
    taken: dict[str, str] = {}
    for name, block in raw.items():
        path: RawPath = ("ingredient", name)
        place = f"ingredient {shown(name)}"
        if _bad_name(name, path, place, faults):
            continue
        own.names[name] = name  # known even if the block is faulty: one fault is enough
        if not isinstance(block, dict):
            allowed = f'write the heading [ingredient.{shown(name)}] and below it role = "…"'
            faults.add("", allowed, path=path, name=place, value=shown(block))
            continue
        row = _own_row(
            name, block, Section(block, faults, path, (*OWN_COLUMNS, "composition"), place)
        )
        if row is None:
            continue
        for alias in (row.inci, *row.aliases):
            if taken.setdefault(folded(alias), name) != name:
                found = f"belongs to ingredient {shown(taken[folded(alias)])} already"
                faults.add(
                    found,
                    "give each name once",
                    path=path,
                    place=place,
                    name=f"the name {shown(alias)}",
                )
            own.names[alias] = row.inci
        own.rows.append(row)
    return own


def _own_row(name: str, block: Mapping[str, Any], section: Section) -> Ingredient | None:
    if "composition" in block:
        section.fault(
            "composition", f"write it as [blend.{shown(name)}] with the percent of each part"
        )
        return None
    wrong = {
        k: give
        for k, v in block.items()
        if k in OWN_COLUMNS and (give := _other_type(k, v)) is not None
    }
    for key, give in wrong.items():
        section.fault(key, give)
    if wrong or any(k not in OWN_COLUMNS for k in block):
        return None
    values = {**OWN_DEFAULTS, "inci": name, **block}
    if "role" not in values:
        section.missing("role", f"give {join_or(allowed_words('role'))}")
        return None
    if values["inci"] != name:  # the written name stays known
        aliases = values.get("aliases", [])
        aliases = aliases.split("|") if isinstance(aliases, str) else aliases
        values["aliases"] = [*aliases, name] if isinstance(aliases, list) else aliases
    row, faulty = read_cells(Ingredient, [(key, _cell(value)) for key, value in values.items()])
    for fault in faulty:
        if fault.column in values:
            section.add(fault.column, "", fault.allowed, shown(values[fault.column]))
        else:
            section.add("", fault.allowed)
    return row if isinstance(row, Ingredient) else None


def _other_type(key: str, value: object) -> str | None:
    """What to give instead of a value that no cell of a column could hold, or ``None``."""
    column = Ingredient.columns[key]
    if isinstance(value, bool):
        return 'give a number, or "yes" or "no" in quotation marks'
    if isinstance(value, list):
        texts = column.blank == () and all(isinstance(v, str) for v in value)
        return None if texts else "give a list of texts" if column.blank == () else "give one value"
    if column.read is str and not isinstance(value, str):
        return "give a text in quotation marks"
    if not isinstance(value, (str, int, float)):
        return "give a number, or a text in quotation marks"
    return None


def _cell(value: Any) -> str:
    """A value of a block as the text that a table's cell would hold."""
    if isinstance(value, list):
        return "|".join(value)
    return shown(value) if isinstance(value, int) else str(value)


def _bad_name(name: str, path: RawPath, place: str, faults: Faults) -> bool:
    if not folded(name):
        faults.add(
            "the name has no letter", "give it the name that the lines use", path=path, place=place
        )
    elif len(name) > MAX_TEXT or not name.isprintable():
        found = f"the name is longer than {MAX_TEXT} characters or holds a control character"
        faults.add(found, "shorten it", path=path, place=place)
    else:
        return False
    return True


def read_blends(
    raw: Mapping[str, Any],
    own: Mapping[str, str],
    names: FormulaNames,
    unknown: UnknownNames,
    faults: Faults,
) -> dict[str, dict[str, float]]:
    """The ``[blend."name"]`` blocks: parts in per cent; faults are noted."""
    blends: dict[str, dict[str, float]] = {}
    own_folded = {folded(n) for n in own}
    for name, parts in raw.items():
        path: RawPath = ("blend", name)
        place = f"blend {shown(name)}"
        if _bad_name(name, path, place, faults):
            continue
        if names.blend(name) != name:
            found = f"is there already as {shown(names.blend(name))}"
            faults.add(found, "give each blend once", path=path, name=place)
            continue
        if folded(name) in own_folded:
            found = f"is described as ingredient {shown(name)} too"
            faults.add(found, "keep one of them", path=path, name=place)
        if not isinstance(parts, dict) or not parts:
            faults.add(
                f"is {shown(parts)}" if parts else "is empty",
                "give what it is made of, with percents that come to 100",
                path=path,
                name=place,
                hint=Hint.BLEND_PARTS,
                paste=f'[blend.{shown(name)}]\n"Glycerin" = 75\n"Aqua" = 25\n',
            )
            continue
        if len(parts) > MAX_PARTS:
            found = f"has {len(parts):,} parts"
            faults.add(found, f"at most {MAX_PARTS:,} are read", path=path, name=place)
            continue
        blends[name] = _parts(Section(parts, faults, path, None, place), names, unknown)
    if not faults:
        _check_nesting(blends, names, faults)
    return blends


def _parts(section: Section, names: FormulaNames, unknown: UnknownNames) -> dict[str, float]:
    parts = {}
    for part in section.raw:
        path = (*section.path, part)
        if _bad_name(part, path, f"{section.place}: {shown(part)}", section.faults):
            continue
        amount = section.number(part, 0, 100, "give its percent of the blend, from 0 to 100")
        if amount is not None:
            parts[part] = amount
        if not names.knows(part):
            unknown.add(part, section.place, path)
    total = sum(parts.values())
    if len(parts) == len(section.raw) and abs(total - 100) > BLEND_SUM_TOLERANCE + 1e-9:
        short = total < 100
        what = "add what is missing, which is often Water" if short else "correct the percents"
        section.faults.add(
            f"adds up to {total:.6g} %",
            f"its parts must come to 100 ± {BLEND_SUM_TOLERANCE:g} %: {what}",
            path=section.path,
            name=section.place,
        )
    return parts


def _check_nesting(
    blends: Mapping[str, Mapping[str, float]], names: FormulaNames, faults: Faults
) -> None:
    """Circles, blends nested too deep, and blends that open into too many parts."""
    size: dict[str, int] = {}  # parts once opened
    depth: dict[str, int] = {}
    for start in blends:
        path: list[str] = []
        todo: list[tuple[str, bool]] = [(start, False)]
        while todo:
            name, opened = todo.pop()
            if opened:
                path.pop()
                inner = [names.blend(p) for p in blends[name]]
                size[name] = sum(size.get(i, 1) if i else 1 for i in inner)
                depth[name] = 1 + max((depth.get(i, 0) for i in inner if i), default=0)
                continue
            if name in size:
                continue
            if name in path:
                _circle_fault([*path[path.index(name) :], name], faults)
                return
            path.append(name)
            todo.append((name, True))
            todo += [(i, False) for p in blends[name] if (i := names.blend(p)) is not None]
        if depth[start] > MAX_BLEND_DEPTH or size[start] > MAX_PARTS:
            faults.add(
                f"is {depth[start]} blends deep and opens into {size[start]:,} parts",
                f"at most {MAX_BLEND_DEPTH} and {MAX_PARTS:,} are read: write its substances "
                "directly",
                path=("blend", start),
                name=f"blend {shown(start)}",
            )
            return


def _circle_fault(circle: list[str], faults: Faults) -> None:
    path: RawPath = ("blend", circle[0])
    if len(circle) == 2:  # noqa: PLR2004
        faults.add(
            "contains itself",
            "if it is a solution of the substance of that name, call the blend "
            f"{shown(circle[0] + ' solution')}, here and on the lines that use it",
            path=path,
            name=f"blend {shown(circle[0])}",
        )
    else:
        faults.add(
            f"blends contain each other in a circle: {' > '.join(map(shown, circle))}",
            "write the substances of one of them directly",
            path=path,
        )
