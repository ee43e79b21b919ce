"""How usual each system is in a kind of product, and for whom it goes last."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import get_args

from preservecheck.arrays.recipes import Profile
from preservecheck.reference.load import Tables
from preservecheck.reference.rows import Practice, ProductKind, Standing, System

STANDINGS: tuple[Standing, ...] = get_args(Standing)
# tags of what sensitises strongly; patch-test clinics see 2 to 4 % of patients react to the first,
# below 3 % to the second
STRONG_SENSITISERS = ("isothiazolinone", "formaldehyde-releaser", "iodine-preservative")
# how far a strong sensitiser falls: in what is rinsed off, and in what stays on or is for children;
# judgement of this program
FALL, FALL_FURTHER = 1, 2
# the place of a system that is neither a first nor a second choice
NO_CHOICE = 3


@dataclass(frozen=True)
class Place:
    """Where a system stands by custom."""

    standing: Standing
    choice: int = NO_CHOICE  # 1 where a formulator starts, 2 what is tried next
    sensitiser: int = 0  # steps that it falls as a strong sensitiser
    children: int = 0  # steps that it falls because children use it
    row: Practice | None = None
    children_row: Practice | None = None

    @property
    def step(self) -> int:
        """0 for usual, one more for each step down."""
        return STANDINGS.index(self.standing) + self.sensitiser + self.children


def places(
    tables: Tables, kind: ProductKind | None, profile: Profile, systems: Iterable[System]
) -> dict[str, Place]:
    """The place of each system, by id; what no row speaks of is possible."""
    rows = {(r.system, r.kind, r.users): r for r in tables.practice}
    young = profile.users != "adults"
    strong = {i.inci for i in tables.ingredients if not set(i.tags).isdisjoint(STRONG_SENSITISERS)}
    fall = FALL_FURTHER if young or profile.use == "leave-on" else FALL
    out = {}
    for system in systems:
        row = rows.get((system.id, kind.id if kind else "any", "any"))
        children = rows.get((system.id, "any", "children")) if young else None
        out[system.id] = Place(
            standing=row.standing if row else "possible",
            choice=int(row.start_rank) if row and row.start_rank else NO_CHOICE,
            sensitiser=fall if any(inci in strong for inci, _ in system.composition) else 0,
            children=STANDINGS.index(children.standing) if children else 0,
            row=row,
            children_row=children,
        )
    return out
