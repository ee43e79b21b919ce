"""Systems that may take the place of one that does not do, in the order of what is usual."""

from __future__ import annotations

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.ranking.standing import STANDINGS, places
from preservecheck.reference.rows import System


def others_for(case: FormulaArrays) -> list[System]:
    """Systems for one formula, without those to be avoided: first those that are usual in that
    kind of product, of these the ones that a formulator starts with, then those that surveys found
    most often."""
    tables, profile = case.reference.tables, case.profiles[int(case.profile[0])]
    found = places(tables, case.kind_of(), profile, tables.systems)
    keys = {
        system: (place.step, place.choice, -((place.row and place.row.survey_percent) or 0.0))
        for system, place in found.items()
        if place.step < STANDINGS.index("avoid")
    }
    return sorted((s for s in tables.systems if s.id in keys), key=lambda s: keys[s.id])
