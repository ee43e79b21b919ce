"""What is wrong with a formula itself is mended once, before any preservative is tried in it.

Three things that no preservative can answer: two materials that do not go together, a place of
addition that is too hot, a pH that nobody measured. A replacement is kept only if fewer serious
findings are left with it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator

import numpy as np

from preservecheck.arrays.formulas import formula_arrays
from preservecheck.assess.findings import composer_for, table_arrays_for
from preservecheck.checks import CHECKS
from preservecheck.formula.compose import Composition
from preservecheck.formula.edit import Replace, SetPh, Share, apply
from preservecheck.formula.model import Formula
from preservecheck.reference.load import Tables
from preservecheck.reference.rows import Ingredient, ProductKind
from preservecheck.verdict import SERIOUS

# a batch into which nearly every system can go, and the warmest that is called so [°C]
ADD_AT_C, WARM_C = 38.0, 40.0
# where neither an aim nor a window of the kind is known [-]
PLAIN_PH = 5.0
# what two materials do to each other
BETWEEN_MATERIALS = tuple(c for c in CHECKS if "gum" in c.levers and c.folds)


def base_edits(
    formula: Formula, tables: Tables, today: dt.date, kind: ProductKind | None
) -> list[SetPh | Replace]:
    """Edits that leave fewer serious findings between the materials of a formula: the pH that its
    kind is brought to, then other materials."""
    composer = composer_for(tables)
    done: list[SetPh | Replace] = []
    opened = composer.compose(formula)
    now = _serious(opened, tables, today)
    for edit in _possible(opened, tables, kind) if now else ():
        tried = composer.compose(apply(opened.formula, [edit], composer.compose))
        if (then := _serious(tried, tables, today)) < now:
            done.append(edit)
            opened, now = tried, then
    return done


def _possible(
    opened: Composition, tables: Tables, kind: ProductKind | None
) -> Iterator[SetPh | Replace]:
    aim = kind.aim_ph if kind is not None and kind.ph_set == "free" else None
    if aim is not None and opened.formula.measured.ph not in (None, aim):
        yield SetPh(aim)
    rows = composer_for(tables).resolver.ingredients
    here = [rows[inci] for line in opened.lines if (inci := line.inci) in rows and inci]
    keys = set().union(*(_keys(row) for row in here))
    for row in here:
        if (by := instead_of(row, keys, tables)) is not None:
            yield Replace(row.inci, by)


def instead_of(row: Ingredient, beside: Collection[str], tables: Tables) -> Share | None:
    """What takes the place of a material beside others, which are given by their keys."""
    for other in tables.replacements:
        met = not other.beside or not set(other.beside).isdisjoint(beside)
        if met and other.by != row.inci and not _keys(row).isdisjoint(other.material):
            return Share("ingredient", other.by, other.percent)
    return None


def _keys(row: Ingredient) -> set[str]:
    return {f"inci:{row.inci}", f"role:{row.role}", *(f"tag:{t}" for t in row.tags)}


def _serious(opened: Composition, tables: Tables, today: dt.date) -> int:
    """How many serious findings the materials cause between them."""
    arrays = formula_arrays([opened], table_arrays_for(tables), today)
    return sum(int((c.judge(c.compute(arrays)) == SERIOUS).sum()) for c in BETWEEN_MATERIALS)


def assumed_ph(kind: ProductKind | None) -> float:
    """The pH at which systems are compared where none was measured: the aim of the kind of product,
    else the middle of what is customary. [-]"""
    if kind is None:
        return PLAIN_PH
    if (aim := kind.aim_ph if kind.aim_ph is not None else kind.aim_ph_flat) is not None:
        return aim
    ends = [e for e in (kind.ph_min, kind.ph_max) if e is not None]
    return float(np.mean(ends)) if len(ends) > 1 else PLAIN_PH
