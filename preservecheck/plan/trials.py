"""Formulas judged side by side: what is wrong with each, by check and subject.

A remedy is an edit that was made and judged; this is where it is judged.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from preservecheck.arrays.formulas import (
    FormulaArrays,
    formula_arrays,
    formula_arrays_of,
    table_arrays_of,
)
from preservecheck.arrays.recipes import Recipes, recipes_of
from preservecheck.arrays.tables import TableArrays
from preservecheck.assess.findings import composer_for, findings_of, table_arrays_for
from preservecheck.assess.settled import settle
from preservecheck.checks import BY_ID, CHECKS, current_id
from preservecheck.errors import FormulaError
from preservecheck.formula.compose import Composition
from preservecheck.formula.edit import Edit, apply
from preservecheck.formula.materials import FormulaMaterials
from preservecheck.formula.model import Formula, Line, Settled
from preservecheck.reference.load import Tables
from preservecheck.verdict import ABSENT, PASS, SERIOUS, Floats

# a check and what its finding is about: ("free-active", "Candida albicans")
Key = tuple[str, str]
# what a finding weighs where formulas are compared: one serious fault outweighs any number of
# others
WEIGHTS = np.array([0.0, 0.0, 1.0, 1.0, 1000.0])


class Wrong(Mapping[Key, int]):
    """The findings of a formula that do not pass, with their codes."""

    def __init__(self, codes: Mapping[Key, int]) -> None:
        self._codes = dict(codes)

    def __getitem__(self, key: Key) -> int:
        return self._codes[key]

    def __iter__(self) -> Iterator[Key]:
        return iter(self._codes)

    def __len__(self) -> int:
        return len(self._codes)

    @property
    def serious(self) -> int:
        """How many are serious."""
        return sum(code == SERIOUS for code in self._codes.values())

    @property
    def weight(self) -> float:
        """What they weigh together."""
        return float(sum(WEIGHTS[code] for code in self._codes.values()))

    @property
    def worst(self) -> dict[str, int]:
        """The worst code of each check that does not pass."""
        out: dict[str, int] = {}
        for (check, _), code in self._codes.items():
            out[check] = max(code, out.get(check, PASS))
        return out

    def worse_than(self, before: Mapping[Key, int]) -> tuple[Key, ...]:
        """Findings that are worse here than before, or new.

        What is said of one preservative in the place of another is not new: a finding of the same
        check that was as bad and is gone.
        """
        gone: dict[str, list[int]] = {}
        for (check, about), code in before.items():
            if (check, about) not in self._codes:
                gone.setdefault(check, []).append(code)
        out = []
        for key, code in self._codes.items():
            if code <= before.get(key, PASS):
                continue
            others = [c for c in gone.get(key[0], ()) if c >= code]
            if key in before or not others:
                out.append(key)
            else:
                gone[key[0]].remove(min(others))
        return tuple(out)


class Trials:
    """Judges changed formulas with the checks of the review.

    Parameters
    ----------
    tables
        The tables.
    today
        The day whose law holds where a formula names none.
    """

    def __init__(self, tables: Tables, today: dt.date) -> None:
        self.tables, self.today = tables, today
        self.composer = composer_for(tables)
        self.systems = {s.id: s for s in tables.systems}
        self._held: list[TableArrays] = []

    def hold(self, formula: Formula, ingredients: Iterable[str], systems: Iterable[str]) -> None:
        """Keep the arrays of all that a formula and its changes hold: they are built once, not for
        each set of changes.

        Parameters
        ----------
        formula
            That is changed.
        ingredients, systems
            What may be put into it.
        """
        lines = [line for phase in formula.phases for line in phase.lines]
        lines += [Line(kind="ingredient", name=name, amount=0.0) for name in ingredients]
        lines += [Line(kind="preservative", name=name, amount=0.0) for name in systems]
        own = FormulaMaterials(self.composer.resolver, formula)
        every = table_arrays_for(self.tables)
        materials = [own.material(line) for line in lines]
        self._held.append(table_arrays_of(materials, every, formula.own_ingredients))

    def compose(self, formula: Formula) -> Composition:
        """The amounts of a formula."""
        return self.composer.compose(formula)

    def changed(self, formula: Formula, edits: Iterable[Edit]) -> Formula | None:
        """The formula with some edits; ``None`` where they cannot be made."""
        try:
            return apply(formula, edits, self.composer.compose)
        except FormulaError:
            return None

    def arrays(self, formulas: Sequence[Formula]) -> FormulaArrays:
        """Formulas as arrays."""
        opened = [self.compose(f) for f in formulas]
        recipes = recipes_of(opened, self.today)
        held = next((h for h in self._held if _holds(h, recipes)), None)
        if held is None:
            return formula_arrays(opened, table_arrays_for(self.tables), self.today)
        return replace(formula_arrays_of(recipes, held), compositions=tuple(opened))

    def judged(self, formulas: Sequence[Formula]) -> list[Wrong]:
        """What is wrong with each of some formulas."""
        if not formulas:
            return []
        found = wrongs(self.arrays(formulas), len(formulas))
        return [self._unsettled(f, wrong) for f, wrong in zip(formulas, found, strict=True)]

    def _unsettled(self, formula: Formula, wrong: Wrong) -> Wrong:
        """What is wrong with a formula without what a trial has answered and still holds."""
        asked = {(current_id(a.check), a.about) for a in formula.settled}.intersection(wrong)
        if not asked:
            return wrong
        case = self.arrays([formula])
        checks = [BY_ID[check] for check in dict.fromkeys(check for check, _ in asked)]
        found, _ = settle(findings_of(case, checks), case, formula.settled)
        answered = {(f.finding.id, f.finding.about) for f in found if f.code == PASS}
        return Wrong({key: code for key, code in wrong.items() if key not in answered})

    def tried(self, formula: Formula, options: Sequence[Sequence[Edit]]) -> list[Wrong | None]:
        """What is wrong with a formula after each of several sets of edits; ``None`` where one
        cannot be made."""
        made = [self.changed(formula, edits) for edits in options]
        judged = iter(self.judged([f for f in made if f is not None]))
        return [None if f is None else next(judged) for f in made]


def _holds(reference: TableArrays, recipes: Recipes) -> bool:
    """Whether arrays of the tables hold all that some recipes do."""
    ids = {row.id for row in reference.systems.rows}
    return all(
        all(part.substance in reference.index for part in material.parts)
        and all(role.system in ids for role in material.roles)
        for material in recipes.materials
    )


def wrongs(case: FormulaArrays, count: int) -> list[Wrong]:
    """What is wrong with each of some cases."""
    found: list[dict[Key, int]] = [{} for _ in range(count)]
    for check in CHECKS:
        codes = np.atleast_2d(check.judge(check.compute(case)))
        codes = np.broadcast_to(codes, (count, codes.shape[-1]))
        for n, j in zip(*map(np.ndarray.tolist, np.nonzero(codes > PASS)), strict=True):
            key = (check.id, check.subject(case, j, n))
            found[n][key] = max(int(codes[n, j]), found[n].get(key, PASS))
    return [Wrong(f) for f in found]


def codes_of(case: FormulaArrays, answers: Sequence[Settled]) -> tuple[dict[Key, int], int]:
    """Every finding of a single case with its code, as a report counts them, and how many of them
    a trial has settled."""
    if answers:
        found, _ = settle(findings_of(case), case, answers)
        held = sum(f.finding.settled is not None and f.finding.settled.holds for f in found)
        return {(f.finding.id, f.finding.about): f.code for f in found}, held
    out: dict[Key, int] = {}
    for check in CHECKS:
        codes = np.atleast_2d(check.judge(check.compute(case)))[0]
        for j in np.flatnonzero(codes != ABSENT).tolist():
            key = (check.id, check.subject(case, j, 0))
            out[key] = max(int(codes[j]), out.get(key, ABSENT))
    return out, 0


def weights(case: FormulaArrays, count: int) -> dict[str, Floats]:
    """What the findings of each check weigh in each of some cases, for the checks whose findings
    differ between them. (count,) each"""
    out = {}
    for check in CHECKS:
        codes = np.atleast_2d(check.judge(check.compute(case)))
        if len(codes) == count and np.ptp(weight := WEIGHTS[codes].sum(axis=-1)) > 0:
            out[check.id] = weight
    return out
