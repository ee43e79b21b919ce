"""Systems that may take the place of one that does not do, in the order of what is usual."""

from __future__ import annotations

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.reference.rows import Practice, System

# not put into a formula by a plan: what is to be avoided in that kind of product
STANDINGS = ("usual", "possible", "unusual")
CHILDREN = ("under-3", "under-10")
_LATER = 3.0


def others_for(case: FormulaArrays) -> list[System]:
    """Systems for one formula: those first that are usual in that kind of product, of these the
    ones that a formulator starts with, then those that surveys found most often."""
    kind, tables = case.kind_of(), case.reference.tables
    profile = case.profiles[int(case.profile[0])]
    users = ("any", "children") if profile.users in CHILDREN else ("any",)
    rows: dict[str, list[Practice]] = {}
    for row in tables.practice:
        if row.kind in ("any", kind.id if kind else "any") and row.users in users:
            rows.setdefault(row.system, []).append(row)
    keys = {}
    for system, found in rows.items():
        if all(row.standing in STANDINGS for row in found):
            keys[system] = (
                max(STANDINGS.index(row.standing) for row in found),
                min(row.start_rank or _LATER for row in found),
                -max(row.survey_percent or 0.0 for row in found),
            )
    return sorted((s for s in tables.systems if s.id in keys), key=lambda s: keys[s.id])
