"""Reads what a formula says about its raw materials: blends with their parts, and ingredients of
its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from preservecheck.formula.faults import MAX_TEXT, Faults, Section, shown
from preservecheck.formula.names import FormulaNames, folded
from preservecheck.formula.unknown import UnknownNames, allowed_words
from preservecheck.reference.columns import CellFault, read_cells
from preservecheck.reference.rows_materials import Ingredient
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
    """The ``[ingredient."name"]`` blocks as rows; faults are noted.

    Parameters
    ----------
    raw
        Blocks by name.
    faults
        Takes the faults.
    """
    own = OwnIngredients()
    taken: dict[str, str] = {}
    for name, block in raw.items():
        place = f"ingredient.{shown(name)}"
        if _bad_name(name, place, faults):
            continue
        own.names[name] = name  # known even if the block is faulty: one fault is enough
        if not isinstance(block, dict):
            faults.add(
                f"{place} is {shown(block)}; write the heading [ingredient.{shown(name)}] and "
                'below it role = "…"'
            )
            continue
        row = _own_row(name, block, f"{place}.", faults)
        if row is None:
            continue
        for alias in (row.inci, *row.aliases):
            if taken.setdefault(folded(alias), name) != name:
                faults.add(
                    f"{place}: the name {shown(alias)} belongs to "
                    f"ingredient.{shown(taken[folded(alias)])} "
                    "already; give each name once"
                )
            own.names[alias] = row.inci
        own.rows.append(row)
    return own


def _own_row(name: str, block: Mapping[str, Any], prefix: str, faults: Faults) -> Ingredient | None:
    section = Section(block, prefix, faults, (*OWN_COLUMNS, "composition"))
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
        _row_fault(section, values, fault)
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
    return (
        None
        if isinstance(value, (str, int, float))
        else "give a number, or a text in quotation marks"
    )


def _cell(value: Any) -> str:
    """A value of a block as the text that a table's cell would hold."""
    if isinstance(value, list):
        return "|".join(value)
    return shown(value) if isinstance(value, int) else str(value)


def _row_fault(section: Section, values: Mapping[str, Any], fault: CellFault) -> None:
    """One fault of a row, in our words."""
    if fault.column in values:
        section.faults.add(
            f"{section.prefix}{fault.column} is {shown(values[fault.column])}; {fault.allowed}"
        )
    else:
        section.faults.add(f"{section.prefix.rstrip('.')}: {fault.allowed}")


def _bad_name(name: str, place: str, faults: Faults) -> bool:
    if not folded(name):
        faults.add(f"{place}: the name has no letter; give it the name that the lines use")
    elif len(name) > MAX_TEXT or not name.isprintable():
        faults.add(
            f"{place}: the name is longer than {MAX_TEXT} characters or holds a control "
            "character; shorten it"
        )
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
    """The ``[blend."name"]`` blocks: parts in per cent; faults are noted.

    Parameters
    ----------
    raw
        Blocks by name.
    own
        The formula's own ingredients by name.
    names
        What is known.
    unknown
        Takes unknown names.
    faults
        Takes the faults.
    """
    blends: dict[str, dict[str, float]] = {}
    own_folded = {folded(n) for n in own}
    for name, parts in raw.items():
        place = f"blend {shown(name)}"
        if _bad_name(name, place, faults):
            continue
        if names.blend(name) != name:
            faults.add(
                f"{place}: stands already as {shown(names.blend(name))}; give each blend once"
            )
            continue
        if folded(name) in own_folded:
            faults.add(f"{place}: stands as [ingredient.{shown(name)}] too; keep one of them")
        if not isinstance(parts, dict) or not parts:
            faults.add(
                f"{place} is {shown(parts) if parts else 'empty'}; write its parts below "
                f"[blend.{shown(name)}], "
                'such as "Glycerin" = 75'
            )
            continue
        if len(parts) > MAX_PARTS:
            faults.add(f"{place} has {len(parts):,} parts; at most {MAX_PARTS:,} are read")
            continue
        blends[name] = _parts(parts, place, names, unknown, faults)
    if not faults:
        _check_nesting(blends, names, faults)
    return blends


def _parts(
    raw: Mapping[str, Any], place: str, names: FormulaNames, unknown: UnknownNames, faults: Faults
) -> dict[str, float]:
    section = Section(raw, f"{place}: ", faults, None)
    parts = {}
    for part in raw:
        if _bad_name(part, f"{place}: {shown(part)}", faults):
            continue
        amount = section.number(part, 0, 100, "give its percent of the blend, from 0 to 100")
        if amount is not None:
            parts[part] = amount
        if not names.knows(part):
            unknown.add(part, place)
    total = sum(parts.values())
    if len(parts) == len(raw) and abs(total - 100) > BLEND_SUM_TOLERANCE + 1e-9:
        short = (
            "add what is missing, which is often Water" if total < 100 else "correct the percents"
        )  # noqa: PLR2004
        faults.add(
            f"{place} adds up to {total:.6g} %; its parts must come to 100 ± "
            f"{BLEND_SUM_TOLERANCE:g} %: {short}"
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
                f"blend {shown(start)} is {depth[start]} blends deep and opens into "
                f"{size[start]:,} parts; "
                f"at most {MAX_BLEND_DEPTH} and {MAX_PARTS:,} are read: write its substances "
                "directly"
            )
            return


def _circle_fault(circle: list[str], faults: Faults) -> None:
    if len(circle) == 2:  # noqa: PLR2004
        faults.add(
            f"blend {shown(circle[0])} contains itself; if it is a solution of the substance of "
            "that name, "
            f"call the blend {shown(circle[0] + ' solution')}, here and on the lines that use it"
        )
    else:
        faults.add(
            f"blends contain each other in a circle: {' > '.join(map(shown, circle))}; write the "
            "substances "
            "of one of them directly"
        )
