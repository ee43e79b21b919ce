"""Formulas screened: a data frame of lines in, a data frame of verdicts out."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from preservecheck.arrays.formulas import FormulaArrays, formula_arrays_of, table_arrays_of
from preservecheck.arrays.recipes import Recipes, recipes_of
from preservecheck.arrays.tables import TableArrays
from preservecheck.assess.findings import composer_for, table_arrays_for
from preservecheck.checks import CHECKS, with_lever
from preservecheck.checks.base import most_critical
from preservecheck.errors import Fault, FormulaError, Hint, PreservecheckError
from preservecheck.formula.compose import Composer, Composition
from preservecheck.reference.load import Tables, load_tables
from preservecheck.reference.rows import Ingredient, System
from preservecheck.screen.long_table import Reader, ReadFormulas
from preservecheck.screen.schema import LINES, PRODUCTS, ROW, Field, columns_of
from preservecheck.screen.substitution import BaseRecipes, doses, lawful_doses, with_each
from preservecheck.verdict import ABSENT, PASS, SERIOUS, Codes, Floats, Ints

if TYPE_CHECKING:
    import pandas as pd

Texts = NDArray[np.object_]
OWN, ALL = "own", "all"
# formula-system pairs judged at once: enough to outweigh the calls, few enough for the processor's
# cache
PAIRS = 8_000
VERDICTS = ("", "pass", "unknown", "warn", "unread")  # codes of the words in a frame
_WORD_OF = np.array([0, 1, 2, 3, 3], dtype=np.int8)  # verdict code -> place in VERDICTS
UNREAD = 4
_DOSE = CHECKS.index(with_lever("dose")[0])


@dataclass(frozen=True)
class VerdictArrays:
    """What the checks say of formulas (axis N): of each check the subject that decides."""

    codes: Codes  # (N, checks)
    value: Floats  # of the key figure; not-a-number where there is none
    tolerance: Floats  # half-width of that figure

    @classmethod
    def none(cls, count: int) -> VerdictArrays:
        """No verdict on so many formulas."""
        shape = (count, len(CHECKS))
        unknown = np.full(shape, np.nan)
        return cls(np.full(shape, ABSENT, dtype=np.int8), unknown, unknown.copy())

    def at(self, places: Ints) -> VerdictArrays:
        """Those on the formulas at some places."""
        return VerdictArrays(self.codes[places], self.value[places], self.tolerance[places])


def verdicts_on(case: FormulaArrays) -> VerdictArrays:
    """All checks on all formulas: the same compute and judge as a review."""
    n = len(case.ph)
    out = VerdictArrays.none(n)
    codes, value, tolerance = out.codes, out.value, out.tolerance
    rows = np.arange(n)
    for at, check in enumerate(CHECKS):
        figures = check.compute(case)
        each = check.judge(figures)
        each = np.broadcast_to(each, (n, each.shape[-1]))
        if not each.shape[-1]:
            continue
        j = most_critical(figures, each)
        codes[:, at] = each[rows, j]
        value[:, at] = _taken(figures[check.key.name], j, n)
        if check.key.tolerance is not None:
            tolerance[:, at] = _taken(check.key.tolerance(figures), j, n)
    for figure in (value, tolerance):
        figure[(codes == ABSENT) | ~np.isfinite(figure)] = np.nan
    return out


def _taken(values: Floats, j: Ints, n: int) -> Floats:
    """The value of each formula's own subject; one subject, or one formula, stands for all. (N,)"""
    values = np.asarray(values, dtype=float)
    rows = np.arange(n) if values.shape[0] > 1 or n == 1 else np.zeros(n, dtype=int)
    return np.asarray(values[rows, j if values.shape[-1] > 1 else 0])


@dataclass(frozen=True)
class Rows:
    """Verdicts on formulas, or on pairs of formula and system (axis N)."""

    formula: Ints  # place among the formulas
    system: Texts
    percent: Floats  # of the system; not-a-number where there are several or none
    verdicts: VerdictArrays
    note: Texts  # why one was not judged


@dataclass(frozen=True)
class Screen:
    """What to screen against."""

    tables: Tables
    systems: tuple[System, ...] | None  # None: each formula as it stands
    today: dt.date  # whose law holds where a formula names no day
    hints: Mapping[Hint, str] = field(default_factory=dict)  # in the words of a front end
    _met: list[TableArrays] = field(default_factory=list, repr=False, compare=False)

    @cached_property
    def composer(self) -> Composer:
        """Opens formulas."""
        return composer_for(self.tables)

    @cached_property
    def reader(self) -> Reader:
        """Reads long tables."""
        return Reader(self.tables, self.composer, self.today, self.hints)

    def rows(self, recipes: Recipes, own: Sequence[Ingredient] = ()) -> list[Rows]:
        """Verdicts on formulas, a bounded number of pairs at a time."""
        if not recipes.count:
            return []
        reference = self._reference(recipes, own)
        judged = _as_it_stands if self.systems is None else self._with_each_system
        step = max(1, PAIRS // max(1, len(self.systems or (1,))))
        out = []
        for first in range(0, recipes.count, step):
            part = recipes if recipes.count <= step else recipes.part(first, first + step)
            rows = judged(part, reference)
            out.append(replace(rows, formula=rows.formula + first))
        return out

    def _reference(self, recipes: Recipes, own: Sequence[Ingredient]) -> TableArrays:
        """The tables for some formulas; they grow with what was met, so that they are rarely built
        anew."""
        fresh = table_arrays_of(
            recipes.materials, table_arrays_for(self.tables), own, self.systems or ()
        )
        if own:
            return fresh
        met = self._met[0] if self._met else fresh
        both = TableArrays(
            self.tables,
            only_substances=(met.only_substances or frozenset())
            | (fresh.only_substances or frozenset()),
            extra=tuple({s.id: s for s in (*met.extra, *fresh.extra)}.values()),
            only_systems=(met.only_systems or frozenset()) | (fresh.only_systems or frozenset()),
        )
        if not self._met or both != met:
            self._met[:] = [both]
        return self._met[0]

    def _with_each_system(self, recipes: Recipes, reference: TableArrays) -> Rows:
        systems, resolver = self.systems or (), self.composer.resolver
        base = BaseRecipes.of(recipes)
        dose = doses(base, systems, lawful_doses(base, reference, systems, resolver))
        pairs = with_each(base, systems, np.minimum(dose, base.room), resolver)
        verdicts = verdicts_on(formula_arrays_of(pairs, reference))
        room = np.broadcast_to(base.room, dose.shape).reshape(-1)
        dose = dose.reshape(-1)
        note = np.full(len(dose), "", dtype=object)
        # a system that the formula has no room for fails by its dose; nothing else can be said
        for n in np.flatnonzero(dose > room):
            verdicts.codes[n], verdicts.value[n], verdicts.tolerance[n] = ABSENT, np.nan, np.nan
            verdicts.codes[n, _DOSE] = SERIOUS
            note[n] = (
                f"it takes {dose[n]:.4g} % of the whole formula, and only {room[n]:.4g} % of this "
                "one can give way"
            )
        # formula by formula, not system by system
        order = np.arange(len(dose)).reshape(len(systems), -1).T.reshape(-1)
        return Rows(
            np.repeat(np.arange(recipes.count), len(systems)),
            np.array([s.id for s in systems] * recipes.count, dtype=object),
            dose[order],
            verdicts.at(order),
            note[order],
        )


def _as_it_stands(recipes: Recipes, reference: TableArrays) -> Rows:
    case = formula_arrays_of(recipes, reference)
    ids = [[reference.systems.rows[i].id for i in row if i >= 0] for row in case.system]
    alone = np.array([len(systems) == 1 for systems in ids], dtype=bool)
    return Rows(
        np.arange(recipes.count),
        np.array([" + ".join(systems) or "none" for systems in ids], dtype=object),
        np.where(alone, case.system_percent[:, 0], np.nan),
        verdicts_on(case),
        np.full(recipes.count, "", dtype=object),
    )


def systems_of(against: str | Sequence[str], tables: Tables) -> tuple[System, ...] | None:
    """The systems that ``own``, ``all`` or ids name; a ``PreservecheckError`` with an id that the
    tables do not know."""
    wanted = [against] if isinstance(against, str) else list(against)
    if wanted in ([OWN], []):
        return None
    if wanted == [ALL]:
        return tables.systems
    known = {s.id: s for s in tables.systems}
    if unknown := [w for w in wanted if w not in known]:
        from preservecheck.formula.names import names_of

        near = names_of(tables).nearest_system(unknown[0])
        meant = f"did you mean {' or '.join(near)}? Or " if near else ""
        raise PreservecheckError(
            f"{', '.join(unknown)}: no such system",
            f"{meant}give {OWN}, {ALL} or ids of systems",
            path=("against",),
            place="against",
            hint=Hint.LIST_SYSTEMS,
        )
    return tuple(known[w] for w in dict.fromkeys(wanted))


def screen_frame(
    frame: pd.DataFrame,
    *,
    against: str | Sequence[str] = OWN,
    tables: Tables | None = None,
    today: dt.date | None = None,
) -> pd.DataFrame:
    """Verdicts on the formulas of a long data frame.

    The frame holds a row a line of a recipe, the product's columns repeated on each line of its
    formula; columns as in ``LINES`` and ``PRODUCTS``. ``own`` judges each formula as it stands;
    ``all``, or ids of systems, puts each system in place of the formula's own, at the middle of its
    usage range or at what the law allows if that is less. Default are the shipped tables with the
    user's own rows, and the law of today where a formula names no day.

    Out comes a row a formula and system, columns as ``columns`` lists them, formulas in the order
    of the frame. A formula that cannot be read has one row with the verdict ``unread`` and the
    fault as its ``note``. A ``FormulaError`` where columns are missing or not known, a
    ``PreservecheckError`` where a system is.
    """
    tables = tables or load_tables()
    screen = Screen(tables, systems_of(against, tables), today or dt.date.today())
    check_columns(frame, LINES | PRODUCTS, "the frame")
    return frame_of(screen.reader.read(frame, products_of(frame)), screen)


def check_columns(frame: pd.DataFrame, known: Mapping[str, Field], where: str) -> None:
    """Refuse a table whose columns do not fit, by a ``FormulaError`` with all faults."""
    allowed, columns = columns_of(known), [str(c) for c in frame.columns]
    known_ones = f"the columns are {', '.join(allowed)}"
    faults = []

    def refuse(names: Iterable[str], found: str, what: str = "") -> None:
        if listed := ", ".join(dict.fromkeys(names)):
            faults.append(Fault(f"the column {listed} {found}", what, where=where))

    refuse((n for n, f in known.items() if f.needed and n not in columns), "is missing", known_ones)
    strange = (c for c in columns if c not in allowed and c not in ("note", "held"))
    refuse(strange, "is not known", known_ones)
    refuse(sorted(c for c in columns if columns.count(c) > 1), "stands twice", "keep one")
    if "ingredient" in known and not {"percent", "grams"} & set(columns):
        refuse(["percent or grams"], "is missing")
    if faults:
        raise FormulaError(faults)


def products_of(lines: pd.DataFrame) -> pd.DataFrame:
    """The products that stand on the lines of their formulas, a row a formula."""
    columns = ["formula", *(c for c in lines.columns if c in columns_of(PRODUCTS))]
    return lines[columns].drop_duplicates("formula", ignore_index=True)


def frame_of(read: ReadFormulas, screen: Screen) -> pd.DataFrame:
    """Verdicts on the formulas of a table."""
    rows: list[tuple[Ints, Rows]] = [(read.recipes_at, r) for r in screen.rows(read.recipes)]
    return assembled(read.ids, rows + _one_by_one(read.others, screen), read.faults)


def _one_by_one(formulas: dict[int, Composition], screen: Screen) -> list[tuple[Ints, Rows]]:
    """Verdicts on opened formulas; those with the same ingredients of their own go together."""
    groups: dict[str, list[int]] = defaultdict(list)
    for n, c in formulas.items():
        groups[repr([i.as_dict() for i in c.formula.own_ingredients])].append(n)
    out = []
    for members in groups.values():
        opened = [formulas[n] for n in members]
        own = opened[0].formula.own_ingredients
        rows = screen.rows(recipes_of(opened, screen.today), own)
        out += [(np.array(members, dtype=int), r) for r in rows]
    return out


def columns() -> list[str]:
    """Columns of the verdicts, in order."""
    out = list(ROW)
    for check in CHECKS:
        out += [check.id, f"{check.id}.serious", f"{check.id}.{check.key.name}"]
        out += [f"{check.id}.{check.key.name}.tolerance"] if check.key.tolerance is not None else []
    return out


def assembled(
    ids: Sequence[str], judged: Sequence[tuple[Ints, Rows]], faults: dict[int, str]
) -> pd.DataFrame:
    """Verdicts and faults as one frame, formulas in their order."""
    import pandas as pd

    unread = Rows(
        np.array(list(faults), dtype=int),
        np.full(len(faults), "", dtype=object),
        np.full(len(faults), np.nan),
        VerdictArrays.none(len(faults)),
        np.array(list(faults.values()), dtype=object),
    )
    rows = [*(replace(r, formula=at[r.formula]) for at, r in judged), unread]
    place = np.concatenate([r.formula for r in rows])
    order = np.argsort(place, kind="stable")

    def column(name: str) -> Any:
        return np.concatenate([getattr(r, name) for r in rows])[order]

    codes = np.concatenate([r.verdicts.codes for r in rows])[order]
    value = np.concatenate([r.verdicts.value for r in rows])[order]
    tolerance = np.concatenate([r.verdicts.tolerance for r in rows])[order]
    worst = codes.max(axis=1, initial=ABSENT)
    limiting = np.where(worst > PASS, codes.argmax(axis=1), -1)
    word = np.where(order < len(order) - len(faults), _WORD_OF[worst], UNREAD)
    words, checks = pd.Index(VERDICTS), pd.Index([c.id for c in CHECKS])
    data: dict[str, object] = {
        "formula": pd.Series(np.array(ids, dtype=object)[column("formula")], dtype="str"),
        "system": pd.Series(column("system"), dtype="str"),
        "percent": column("percent"),
        "verdict": pd.Categorical.from_codes(word, categories=words),
        "serious": worst == SERIOUS,
        "limiting_check": pd.Categorical.from_codes(limiting, categories=checks),
        "note": pd.Series(column("note"), dtype="str"),
    }
    for at, check in enumerate(CHECKS):
        key = f"{check.id}.{check.key.name}"
        data[check.id] = pd.Categorical.from_codes(_WORD_OF[codes[:, at]], categories=words)
        data[f"{check.id}.serious"] = codes[:, at] == SERIOUS
        data[key] = value[:, at]
        if check.key.tolerance is not None:
            data[f"{key}.tolerance"] = tolerance[:, at]
    return pd.DataFrame(data)
