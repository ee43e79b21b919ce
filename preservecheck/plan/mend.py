"""A formula file with the changes of its plan made, and the reviews before and after."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from preservecheck.assess.findings import composer_for
from preservecheck.errors import Fault, PreservecheckError
from preservecheck.formula.edit import apply
from preservecheck.formula.load import load_formula
from preservecheck.formula.rewrite import rewritten
from preservecheck.plan.report import PlanStep
from preservecheck.plan.review import Report, review
from preservecheck.provenance import Provenance
from preservecheck.reference.load import Tables, load_tables


@dataclass(frozen=True)
class Mended:
    """What ``mend`` changes in a formula, and what a review says before and after."""

    before: Report
    after: Report
    steps: tuple[PlanStep, ...]  # that were made
    files: Mapping[Path, bytes]  # to be written

    def to_json(self) -> dict[str, Any]:
        """The keys that other programs read."""
        sides = {"before": self.before, "after": self.after}
        return {
            **Provenance.to_json(self.before),
            **{name: {"verdict": r.verdict, "counts": r.counts} for name, r in sides.items()},
            "steps": [step.to_json() for step in self.steps],
            "written": [str(path) for path in self.files],
        }


def mend(
    path: Path,
    output: Path,
    tables: Tables | None = None,
    *,
    steps: Sequence[int] = (),
    today: dt.date | None = None,
) -> Mended:
    """Make the changes of a formula's plan.

    Parameters
    ----------
    path
        The formula file.
    output
        The new file, of the same form; nothing is written here.
    tables
        The tables; default the shipped ones with the user's own rows.
    steps
        Numbers of the steps to make, from 1 on; all where empty.
    today
        Date of the reviews, and of the law where the formula names no day.

    Raises
    ------
    FormulaError
        The file cannot be used, or not be written anew; see ``rewritten``.
    PreservecheckError
        The plan has no such step, or none at all.
    """
    tables, today = tables or load_tables(), today or dt.date.today()
    formula = load_formula(path, tables, today=today)
    before = review(formula, tables, today=today)
    every = before.plan.steps if before.plan else ()
    if not every:
        found = "there is nothing that a change of this formula mends"
        raise PreservecheckError(Fault(found, where=str(path)))
    if strange := [n for n in steps if not 1 <= n <= len(every)]:
        allowed = f"the plan has the steps 1 to {len(every)}" if len(every) > 1 else "only step 1"
        named = ", ".join(map(str, strange))
        raise PreservecheckError(Fault(f"there is no step {named}", allowed, place="steps"))
    chosen = tuple(step for n, step in enumerate(every, 1) if not steps or n in steps)
    edits = [edit for step in chosen for edit in step.changes]
    changed = apply(formula, edits, composer_for(tables).compose)
    files = rewritten(path, output, formula, changed, today, tables)
    return Mended(before, review(changed, tables, today=today), chosen, files)
