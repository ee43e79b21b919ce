"""Long tables turned into a pile, column by column.

Formulas that are plainly sound are taken as arrays. Any that may hold a fault goes through the same
reader as a formula file, one by one: it finds the words for what is wrong, or takes the formula
after all.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections import defaultdict
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from numbers import Real
from typing import TYPE_CHECKING, Any

import numpy as np

from preservecheck.arrays.recipes import NAME_SAYS, Profile, Recipes, said_by
from preservecheck.errors import Fault, FormulaError, Hint, PreservecheckError, UnitError
from preservecheck.formula.build import MAX_GRAMS, MAX_LINES, SUM_TOLERANCE, TEMPERATURE_C, build
from preservecheck.formula.compose import Composition
from preservecheck.formula.materials import Material, MaterialResolver
from preservecheck.formula.model import PH_TOLERANCE, WATER_ACTIVITY_TOLERANCE
from preservecheck.formula.names import phase_key
from preservecheck.formula.sheets import is_rest, line_amounts
from preservecheck.screen.schema import (
    IDENTITY,
    LINES,
    MEASURED_KEYS,
    PRODUCT_KEYS,
    PRODUCTS,
    Field,
)
from preservecheck.units import MAX_BATCH_G, mass_g, temperature_c
from preservecheck.verdict import Bools, Floats, Ints

if TYPE_CHECKING:
    import pandas as pd

    from preservecheck.formula.compose import Composer
    from preservecheck.reference.load import Tables

# of numbers that the reader of formula files takes
BOUNDS = {
    "ph": (0, 14),
    "ph_tolerance": (0, 3),
    "temperature": TEMPERATURE_C,
    "water_activity": (1e-12, 1),
    "water_activity_tolerance": (0, 0.2),
    "batch": (1e-12, MAX_BATCH_G),
    "scale_step": (1e-12, MAX_BATCH_G),
}
READ_UNIT: dict[str, Callable[[str], float]] = {"°C": temperature_c, "g": mass_g}


@dataclass(frozen=True)
class ReadFormulas:
    """What could be taken from a table, and what not."""

    ids: tuple[str, ...]  # formulas in the order of the table
    recipes: Recipes  # of those that were plainly sound
    recipes_at: Ints  # which of the formulas are in the pile
    others: dict[int, Composition]  # formulas that were read one by one
    faults: dict[int, str]


@dataclass
class Reader:
    """Turns tables into piles; what it has looked up once it keeps."""

    tables: Tables
    composer: Composer
    today: dt.date  # whose law holds where a formula names no day
    hints: Mapping[Hint, str] = field(default_factory=dict)  # in the words of a front end
    _materials: dict[Hashable, Material | None] = field(default_factory=dict)
    _profiles: dict[tuple[str, ...], Profile | None] = field(default_factory=dict)

    def read(self, lines: pd.DataFrame, products: pd.DataFrame) -> ReadFormulas:
        """Formulas from a table of lines and one of products, a row a formula; columns as in
        ``schema``."""
        import pandas as pd

        formula, ids = pd.factorize(texts(lines["formula"]))
        n = len(ids)
        doubt = np.zeros(n, dtype=bool)
        names = texts(products["formula"])
        row = pd.Series(np.arange(len(products)), index=names)
        doubt |= pd.Index(ids).isin(names[pd.Series(names).duplicated()])
        at = row[~row.index.duplicated()].reindex(ids)
        known = at.notna().to_numpy()
        doubt |= ~known
        product = (
            products.iloc[at.fillna(0).astype(int)] if len(products) else products.reindex(range(n))
        )
        profile, profiles = self._identities(product, doubt)
        column = {
            name: _numbers(product, name, f, doubt)
            for name, f in PRODUCTS.items()
            if f.holds != "text"
        }
        for name, (low, high) in BOUNDS.items():
            doubt |= _outside(column[name], low, high)
        cells = _Cells.of(lines, formula, n, doubt)
        material, materials = self._opened(lines, cells, doubt)
        _sums(cells, column["batch"], doubt)
        sound = np.flatnonzero(~doubt)
        recipes = _piled(cells, material, materials, column, (profile, profiles), sound, n)
        others, faults = self._one_by_one(lines, products, formula, ids, np.flatnonzero(doubt))
        return ReadFormulas(tuple(ids), recipes, sound, others, faults)

    def note_on(self, error: PreservecheckError) -> str:
        """Why a formula cannot be read, in one line without the name of its file.

        A block to be pasted does not fit into a row of a table, nor does the hint that asks for it.
        """
        plain = [
            replace(f, where="", paste="", hint=None if f.paste else f.hint) for f in error.faults
        ]
        return "; ".join(fault.text(self.hints) for fault in plain)

    def _identities(self, product: pd.DataFrame, doubt: Bools) -> tuple[Ints, tuple[Profile, ...]]:
        """The product profile of each formula."""
        import pandas as pd

        words = pd.DataFrame({n: texts(product[n]) if n in product else "" for n in IDENTITY})
        words["name"] = _telling(product)
        code, kinds = pd.factorize(pd.MultiIndex.from_frame(words.fillna("")))
        profiles: dict[Profile, int] = {}
        number = np.zeros(len(kinds), dtype=int)
        for n, key in enumerate(kinds):
            if key not in self._profiles:
                self._profiles[key] = self._profile(key)
            profile = self._profiles[key]
            number[n] = -1 if profile is None else profiles.setdefault(profile, len(profiles))
        each = number[code] if len(kinds) else np.zeros(0, dtype=int)
        doubt |= each < 0
        return np.maximum(each, 0), tuple(profiles)

    def _profile(self, key: tuple[str, ...]) -> Profile | None:
        """The profile that the words of a product mean, by the reader of formula files."""
        raw = product_raw(dict(zip((*IDENTITY, "name"), key, strict=True)))
        raw["phase"] = [{"name": "all", "items": [{"ingredient": "Aqua", "rest": True}]}]
        try:
            return Profile.of(build(raw, "", self.tables, self.today).product, self.today)
        except FormulaError:
            return None

    def _opened(
        self, lines: pd.DataFrame, cells: _Cells, doubt: Bools
    ) -> tuple[Ints, tuple[Material, ...]]:
        """The raw material of each line."""
        import pandas as pd

        inside = texts(lines["inside"]) if "inside" in lines else ""
        strength = np.where(np.isnan(cells.strength), -1.0, cells.strength)
        table = pd.DataFrame(
            {"name": texts(lines["ingredient"]), "strength": strength, "inside": inside}
        )
        kind = table.groupby(list(table.columns), sort=False).ngroup().to_numpy()
        kinds = table.drop_duplicates()
        places: dict[int, int] = {}
        materials: list[Material] = []
        number, system = np.full(len(kinds), -1), np.zeros(len(kinds), dtype=bool)
        for n, key in enumerate(kinds.itertuples(index=False, name=None)):
            if (material := self._material(*key)) is None:
                continue
            number[n] = places.setdefault(id(material), len(materials))
            if number[n] == len(materials):
                materials.append(material)
            system[n] = material.system is not None
        if not len(kinds):
            return np.zeros(0, dtype=int), ()
        doubt[cells.formula[(number[kind] < 0) | (cells.rest & system[kind])]] = True
        return np.maximum(number[kind], 0), tuple(materials)

    def _material(self, name: str, strength: float, inside: str) -> Material | None:
        key = (name, strength, inside)
        if key not in self._materials:
            self._materials[key] = material_of(self.composer.resolver, name, strength, inside)
        return self._materials[key]

    def _one_by_one(
        self, lines: pd.DataFrame, products: pd.DataFrame, formula: Ints, ids: Any, which: Ints
    ) -> tuple[dict[int, Composition], dict[int, str]]:
        """Formulas that may hold a fault, read as a file would be."""
        others: dict[int, Composition] = {}
        faults: dict[int, str] = {}
        if not which.size:
            return others, faults
        rows: dict[int, list[dict[Hashable, Any]]] = defaultdict(list)
        at = np.flatnonzero(np.isin(formula, which))
        for n, line in zip(formula[at].tolist(), lines.iloc[at].to_dict("records"), strict=True):
            rows[n].append(line)
        named: dict[str, list[dict[Hashable, Any]]] = defaultdict(list)
        names = texts(products["formula"])
        asked = np.isin(names, ids[which])
        for name, product in zip(names[asked], products[asked].to_dict("records"), strict=True):
            named[name].append(product)
        for n in which.tolist():
            mine = named[ids[n]]
            try:
                if len(mine) != 1:
                    raise FormulaError(
                        Fault("it has no row of its own among the products", "add one")
                        if not len(mine)
                        else Fault(f"it has {len(mine)} rows among the products", "keep one")
                    )
                raw = raw_formula(rows[n], mine[0], self.composer.resolver)
                others[n] = self.composer.compose(build(raw, "", self.tables, self.today, "table"))
            except FormulaError as error:
                faults[n] = self.note_on(error)
        return others, faults


def material_of(
    resolver: MaterialResolver, name: str, strength: float, inside: str
) -> Material | None:
    """What a line's raw material is made of; ``None`` where the words do not say it plainly."""
    system = resolver.names.system_in_sheet(name)
    given = None if strength < 0 else strength
    if system is not None:
        return (
            resolver.resolve(system, kind="preservative") if given is None and not inside else None
        )
    if resolver.names.ingredient(name) is None or (given is not None and not 0 < given <= 100):  # noqa: PLR2004
        return None
    plain = resolver.resolve(name, given)
    if not inside:
        return plain
    parts = tuple(replace(p, origin=inside, carried_in=True) for p in plain.parts)
    return replace(plain, parts=parts, roles=(), extra=(), inci=None)


@dataclass(frozen=True)
class _Cells:
    """The numbers of the lines."""

    formula: Ints
    phase: Ints  # number of the phase over all formulas, in the order of the formulas
    phase_formula: Ints
    heated_c: Floats
    added_c: Floats
    amount: Floats
    grams: Bools
    rest: Bools
    strength: Floats

    @classmethod
    def of(cls, lines: pd.DataFrame, formula: Ints, n: int, doubt: Bools) -> _Cells:
        import pandas as pd

        names, known = pd.factorize(texts(lines["phase"]))
        same, _ = pd.factorize(np.array([phase_key(str(k)) for k in known], dtype=object))
        blank = np.array([not str(k).strip() for k in known], dtype=bool)
        doubt[formula[blank[names]]] = True
        # phases in the order in which they first stand, formula by formula
        key = formula.astype(np.int64) * (len(known) + 1) + (same[names] if len(known) else 0)
        _, first, phase = np.unique(key, return_index=True, return_inverse=True)
        order = np.lexsort((first, formula[first]))
        number = np.empty(len(first), dtype=int)
        number[order] = np.arange(len(first))
        phase, first = number[phase], first[order]
        heat: list[Floats] = []
        for name in ("heated_to", "added_at"):
            line_doubt = np.zeros(len(lines), dtype=bool)
            value = _numbers(lines, name, LINES[name], line_doubt)
            line_doubt |= _outside(value, *TEMPERATURE_C)
            table = pd.Series(value).groupby(phase)
            heat.append(np.asarray(table.first(), dtype=float))
            line_doubt |= ~np.isnan(value) & (value != heat[-1][phase])
            doubt[formula[line_doubt]] = True
        line_doubt = np.zeros(len(lines), dtype=bool)
        rest = np.zeros(len(lines), dtype=bool)
        if "rest" in lines:
            rest |= _flags(lines["rest"], bool)
        amounts = {}
        for kind in ("percent", "grams"):
            if kind not in lines:
                amounts[kind] = np.full(len(lines), np.nan)
                continue
            if not pd.api.types.is_numeric_dtype(lines[kind].dtype):
                rest |= _flags(lines[kind], is_rest)
            amounts[kind] = _numbers(lines, kind, LINES[kind], line_doubt, leave=rest)
        grams = ~np.isnan(amounts["grams"])
        amount = np.where(grams, amounts["grams"], amounts["percent"])
        line_doubt |= grams & ~np.isnan(amounts["percent"])
        line_doubt |= rest & ~np.isnan(amount)
        line_doubt |= ~rest & ~((amount >= 0) & (amount <= np.where(grams, MAX_GRAMS, 100.0)))
        strength = _numbers(lines, "strength", LINES["strength"], line_doubt)
        doubt[formula[line_doubt]] = True
        heated, added = heat
        return cls(formula, phase, formula[first], heated, added, amount, grams, rest, strength)


def _flags(column: pd.Series[Any], true: Callable[[Any], bool]) -> Bools:
    """Which cells say yes; empty ones, of whatever kind, do not."""
    filled = column.notna().to_numpy(dtype=bool)
    out = np.zeros(len(filled), dtype=bool)
    out[filled] = [true(v) for v in column[filled].tolist()]
    return out


def _sums(cells: _Cells, batch_g: Floats, doubt: Bools) -> None:
    """Doubt where the amounts do not make a whole."""
    n = len(doubt)
    of = cells.formula
    rests, grams = np.bincount(of, cells.rest, n), np.bincount(of, cells.grams, n)
    given = np.bincount(of, np.where(np.isnan(cells.amount), 0.0, cells.amount), n)
    lines = np.bincount(of, minlength=n)
    in_grams = grams > 0
    doubt |= (rests > 1) | (in_grams & (grams + rests < lines)) | (lines > MAX_LINES)
    doubt |= ~in_grams & (rests > 0) & (given > 100)
    doubt |= ~in_grams & (rests == 0) & (np.abs(given - 100) > SUM_TOLERANCE)
    doubt |= in_grams & (rests == 0) & (given <= 0)
    doubt |= in_grams & (rests > 0) & ~(given <= batch_g)


def _piled(
    cells: _Cells,
    material: Ints,
    materials: tuple[Material, ...],
    column: Mapping[str, Floats],
    profiles: tuple[Ints, tuple[Profile, ...]],
    sound: Ints,
    n: int,
) -> Recipes:
    """The sound formulas as a pile, lines sorted by phase."""
    number = np.full(n, -1)
    number[sound] = np.arange(len(sound))
    phases = np.flatnonzero(number[cells.phase_formula] >= 0)
    phase_number = np.full(len(cells.phase_formula), -1)
    phase_number[phases] = np.arange(len(phases))
    lines = np.flatnonzero(number[cells.formula] >= 0)
    lines = lines[np.argsort(cells.phase[lines], kind="stable")]

    def of(name: str, missing: float = np.nan) -> Floats:
        values = column[name][sound]
        return np.where(np.isnan(values), missing, values)

    return Recipes(
        ph=of("ph"),
        ph_tolerance=of("ph_tolerance", PH_TOLERANCE),
        sample_c=of("temperature"),
        aw_measured=of("water_activity"),
        aw_tolerance=of("water_activity_tolerance", WATER_ACTIVITY_TOLERANCE),
        stated_batch_g=of("batch"),
        scale_step_g=of("scale_step"),
        in_grams=np.bincount(cells.formula, cells.grams, n)[sound] > 0,
        profiles=profiles[1],
        profile=profiles[0][sound],
        phase_formula=number[cells.phase_formula[phases]],
        heated_c=cells.heated_c[phases],
        added_c=cells.added_c[phases],
        line_formula=number[cells.formula[lines]],
        line_phase=phase_number[cells.phase[lines]],
        line_material=material[lines],
        amount=cells.amount[lines],
        rest=cells.rest[lines],
        materials=materials,
    )


def _telling(product: pd.DataFrame) -> Any:
    """What the name of each product says of it, as a name that says just that; few do."""
    import pandas as pd

    named = texts(product["name"]) if "name" in product else np.full(len(product), "", dtype=object)
    code, names = pd.factorize(np.where(named == "", texts(product["formula"]), named))
    said = [
        " ".join(phrases[0] for k, phrases in NAME_SAYS.items() if k in said_by(n)) for n in names
    ]
    return np.array([s or "unnamed" for s in said], dtype=object)[code]


def texts(column: pd.Series[Any]) -> Any:
    """A column as text, blanks stripped, nothing as an empty text."""
    return column.astype(object).where(column.notna(), "").map(text).to_numpy(dtype=object)


def _numbers(
    frame: pd.DataFrame, name: str, column: Field, doubt: Bools, leave: Bools | None = None
) -> Floats:
    """A column as numbers; what cannot be read is doubted, except where it is to be left alone."""
    import pandas as pd

    out = np.full(len(frame), np.nan)
    if column.number is not None and column.number in frame:
        out = pd.to_numeric(frame[column.number], errors="coerce").to_numpy(dtype=float)
        doubt |= np.isnan(out) & frame[column.number].notna().to_numpy()
    if name not in frame:
        return out
    values = frame[name]
    if column.number is None and pd.api.types.is_numeric_dtype(values.dtype):
        return np.asarray(values.to_numpy(dtype=float, na_value=np.nan))
    code, known = pd.factorize(values)  # few different texts occur
    read = np.array([_read(k, column) for k in known] + [np.nan])
    blank = np.array([not text(k) for k in known] + [True])
    found = read[code]
    lost = np.isnan(found) & ~blank[code]
    doubt |= lost if leave is None else lost & ~leave
    return np.where(np.isnan(found), out, found)


def _read(cell: Any, column: Field) -> float:
    if isinstance(cell, bool):
        return float("nan")
    if column.number is None:
        try:
            return float(cell)
        except (TypeError, ValueError):
            return float("nan")
    try:
        return READ_UNIT[column.unit or ""](cell) if isinstance(cell, str) else float("nan")
    except UnitError:
        return float("nan")


def _outside(values: Floats, low: float, high: float) -> Bools:
    return (values < low) | (values > high) | np.isinf(values)


# ---- one formula, in the layout that the reader of formula files takes ----


def raw_formula(
    lines: Sequence[Mapping[Hashable, Any]],
    product: Mapping[Hashable, Any],
    resolver: MaterialResolver,
) -> dict[str, Any]:
    """One formula of a long table, its lines and its product by column, as nested dictionaries in
    the layout of the TOML form; a ``FormulaError`` where lines of one phase give different
    temperatures."""
    raw = product_raw({str(k): v for k, v in product.items()})
    phases: dict[str, dict[str, Any]] = {}
    blends: dict[str, dict[str, float]] = {}
    faults: list[Fault] = []
    for line in lines:
        cells = {str(k): v for k, v in line.items() if _there(v)}
        name = text(cells.get("phase", ""))
        phase = phases.setdefault(phase_key(name), {"name": name, "items": []})
        for key in ("heated_to", "added_at"):
            given = cells.get(key, f"{n} °C" if (n := cells.get(f"{key}_c")) is not None else None)
            if given is not None and phase.setdefault(key, given) != given:
                found = f"is {phase[key]} on one line and {given} on another"
                faults.append(Fault(found, "keep one", place=f"phase {name}", name=key))
        phase["items"].append(_item(cells, resolver, blends))
    if faults:
        raise FormulaError(faults)
    raw["phase"] = list(phases.values())
    if blends:
        raw["blend"] = blends
    return raw


def _item(
    cells: Mapping[str, Any], resolver: MaterialResolver, blends: dict[str, dict[str, float]]
) -> dict[str, Any]:
    name = text(cells.get("ingredient", ""))
    inside = text(cells.get("inside", ""))
    system = resolver.names.system_in_sheet(name) if name and not inside else None
    item: dict[str, Any] = {"ingredient": name} if system is None else {"preservative": system}
    if inside:
        # a raw material of this substance alone, for its part of the one that it came in
        item = {"ingredient": f"{inside}: {name}"}
        blends.setdefault(item["ingredient"], {name: 100.0})
    item |= line_amounts(cells, _number)
    if cells.get("rest") is True or cells.get("rest") == 1:
        item["rest"] = True
    return item


def product_raw(product: Mapping[str, Any]) -> dict[str, Any]:
    """The product and its readings as nested dictionaries in the layout of the TOML form."""
    values = {k: v for k, v in product.items() if _there(v)}
    for name, column in PRODUCTS.items():
        if column.number in values and name not in values:
            values[name] = f"{values[column.number]} {column.unit}"
        if name in values and column.holds == "number":
            values[name] = _number(values[name])
        elif name in values and name != "markets":
            values[name] = text(values[name])
    values.setdefault("name", text(values.get("formula", "")) or "unnamed")
    if "markets" in values:
        values["markets"] = [m for m in re.split(r"[,;/|\s]+", text(values["markets"])) if m]
    return {
        "product": {k: values[k] for k in PRODUCT_KEYS if k in values},
        "measured": {k: values[k] for k in MEASURED_KEYS if k in values},
    }


def _number(cell: Any) -> Any:
    """A cell as a number where it is one; else as it stands, for the reader to refuse."""
    if isinstance(cell, str):
        try:
            return float(cell)
        except ValueError:
            return cell.strip()
    return cell.item() if hasattr(cell, "item") else cell


def _there(cell: Any) -> bool:
    if isinstance(cell, str):
        return bool(cell.strip())
    # not-a-number, and the marks for nothing that tables use
    if cell is None or type(cell).__name__ in ("NAType", "NaTType"):
        return False
    return not (isinstance(cell, Real) and math.isnan(cell))


def text(cell: Any) -> str:
    """A cell as text; a whole number loses its decimal point, a moment its time of day."""
    if isinstance(cell, str):
        return cell.strip()
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return cell.date().isoformat() if isinstance(cell, dt.datetime) else str(cell)
