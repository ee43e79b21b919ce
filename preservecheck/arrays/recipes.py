"""Recipes as arrays: formulas, their phases and their lines, each a run of a longer array.

One formula is a pile of one. Whatever a formula came from, its amounts are worked out here, so that
a formula alone and the same formula among a million meet the same sums in the same order.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from preservecheck.formula.amounts import Amounts, hottest
from preservecheck.formula.compose import Composition
from preservecheck.formula.materials import Material
from preservecheck.formula.model import SHELF_LIFE_MONTHS, Product
from preservecheck.verdict import Bools, Floats, Ints

# a thermometer in a pot, half-width; fixed for this program, no outside source
THERMOMETER_C = 2.0
_OF_FORMULAS = (
    "ph",
    "ph_tolerance",
    "sample_c",
    "aw_measured",
    "aw_tolerance",
    "stated_batch_g",
    "scale_step_g",
    "in_grams",
    "profile",
)


# what a product's name says of it, in plain words; a name is read for nothing else
NAME_SAYS: Mapping[str, tuple[str, ...]] = {
    "leave-on": ("leave in", "leave on", "no rinse", "rinse free"),
    "rinse-off": ("rinse off", "rinse out"),
    "under-3": ("baby", "babies", "toddler", "toddlers", "infant", "infants", "newborn"),
    "under-10": ("kid", "kids", "child", "children", "childrens", "junior"),
    "spray": ("spray", "mist", "aerosol", "spritz"),
    "dry": ("dry",),
}
# the fine hairs at the hairline of anybody
_NO_BABY = ("baby hair", "baby hairs")


def said_by(name: str) -> frozenset[str]:
    """What a product's name says of its use, its users and its pack: keys of ``NAME_SAYS``."""
    plain = "".join(ch if ch.isalnum() else " " for ch in name.casefold().replace("'", ""))
    words = f" {' '.join(plain.split())} "
    for phrase in _NO_BABY:
        words = words.replace(f" {phrase} ", " ")
    return frozenset(
        key
        for key, phrases in NAME_SAYS.items()
        if any(f" {phrase} " in words for phrase in phrases)
    )


@dataclass(frozen=True)
class Profile:
    """What the law, the customs and the cautions depend on, apart from amounts."""

    use: str
    type: str
    markets: tuple[str, ...]
    users: str
    package: str | None
    on_market: dt.date
    kind: str | None = None  # as the file names it; see FormulaArrays.kind
    said: frozenset[str] = frozenset()  # by its name
    shelf_life_months: float = SHELF_LIFE_MONTHS

    @classmethod
    def of(cls, product: Product, today: dt.date) -> Profile:
        """The profile of a product; without a date the law of today holds."""
        return cls(
            product.use,
            product.type,
            product.markets,
            product.users,
            product.package,
            product.on_market or today,
            product.kind,
            said_by(product.name),
            product.shelf_life_months,
        )

    @property
    def stays_on(self) -> bool:
        """Whether its type or its name says that it is not rinsed off."""
        return self.type in ("leave-in", "styling") or "leave-on" in self.said

    @property
    def young(self) -> str | None:
        """The children whom its name speaks to, where it is made for older users by its file."""
        for group, older in (("under-3", ("adults", "under-10")), ("under-10", ("adults",))):
            if group in self.said and self.users in older:
                return group
        return None

    @property
    def strict(self) -> Profile:
        """The profile by which the law is judged: where name, type, use and pack contradict each
        other, the reading under which more is forbidden."""
        return replace(
            self,
            use="leave-on" if self.stays_on else self.use,
            users=self.young or self.users,
            package="spray" if "spray" in self.said else self.package,
        )


@dataclass(frozen=True)
class Recipes:
    """Formulas (axis N), their phases (axis H) and their lines (axis L), in the order of the
    formulas.

    Not-a-number means not measured or not given.
    """

    ph: Floats  # (N,) and so on
    ph_tolerance: Floats
    sample_c: Floats
    aw_measured: Floats
    aw_tolerance: Floats
    stated_batch_g: Floats
    scale_step_g: Floats
    in_grams: Bools
    profiles: tuple[Profile, ...]
    profile: Ints
    phase_formula: Ints  # (H,) the formula that a phase belongs to
    heated_c: Floats
    added_c: Floats
    line_formula: Ints  # (L,)
    line_phase: Ints  # index on axis H
    line_material: Ints  # index into materials
    amount: Floats  # % or g; not-a-number on a rest line
    rest: Bools
    materials: tuple[Material, ...]

    @property
    def count(self) -> int:
        """How many formulas."""
        return len(self.ph)

    def part(self, first: int, stop: int) -> Recipes:
        """The formulas from one place to before another."""
        phase, end_phase = np.searchsorted(self.phase_formula, (first, stop))
        line, end_line = np.searchsorted(self.line_formula, (first, stop))
        formulas, phases, lines = slice(first, stop), slice(phase, end_phase), slice(line, end_line)
        return replace(
            self,
            **{n: getattr(self, n)[formulas] for n in _OF_FORMULAS},
            phase_formula=self.phase_formula[phases] - first,
            heated_c=self.heated_c[phases],
            added_c=self.added_c[phases],
            line_formula=self.line_formula[lines] - first,
            line_phase=self.line_phase[lines] - phase,
            line_material=self.line_material[lines],
            amount=self.amount[lines],
            rest=self.rest[lines],
        )

    def repeated(self, times: int) -> Recipes:
        """All formulas, and all of them again."""
        turn = np.arange(times)[:, None]
        names = (*_OF_FORMULAS, "heated_c", "added_c", "line_material", "amount", "rest")
        tiled: dict[str, Any] = {name: np.tile(getattr(self, name), times) for name in names}
        return replace(
            self,
            **tiled,
            phase_formula=(self.phase_formula + self.count * turn).reshape(-1),
            line_formula=(self.line_formula + self.count * turn).reshape(-1),
            line_phase=(self.line_phase + len(self.heated_c) * turn).reshape(-1),
        )

    def summed(self, values: Floats) -> Floats:
        """Sum over the lines of each formula, line by line. (N,)"""
        return np.bincount(self.line_formula, values, self.count).astype(float, copy=False)

    @cached_property
    def amounts(self) -> Amounts:
        """What is written on the lines, and what follows from it."""
        return Amounts(
            self.line_formula, self.amount, self.rest, self.in_grams, self.stated_batch_g
        )

    @property
    def percent(self) -> Floats:
        """Amount of each line. [% of the formula] (L,)"""
        return self.amounts.percent

    @cached_property
    def batch_g(self) -> Floats:
        """What the lines weigh together; not-a-number where it is not known. [g] (N,)"""
        return self.summed(self.percent / 100 * self.amounts.batch_g[self.line_formula])

    @cached_property
    def met_c(self) -> tuple[Floats, Floats]:
        """Batch temperature when each phase goes in, and the highest it meets. [°C] (H,) each"""
        return hottest(self.heated_c, self.added_c, self.phase_formula, self.count)

    @cached_property
    def roles(self) -> Roles:
        """Every line that stands for a preservative system, in the order of the lines."""
        line, at = spread(self.line_material, starts([len(m.roles) for m in self.materials]))
        every = [r for m in self.materials for r in m.roles]
        column = {
            n: np.array([getattr(r, n) for r in every], dtype=float)[at]
            for n in ("fraction", "share", "least_percent", "declared")
        }
        amount = self.percent[line] * column["fraction"]
        declared = column["declared"] > 0
        counted = declared | ((amount > 0) & (amount >= column["least_percent"]))
        ids = {s: i for i, s in enumerate(dict.fromkeys(r.system for r in every))}
        number = np.array([ids[r.system] for r in every], dtype=int)
        return Roles(
            tuple(ids),
            line[counted],
            number[at[counted]],
            (amount / column["share"])[counted],
            declared[counted],
        )


@dataclass(frozen=True)
class Roles:
    """Lines that stand for systems (axis V)."""

    ids: tuple[str, ...]
    line: Ints  # (V,) index on axis L
    system: Ints  # index into ids
    percent: Floats  # of the system as supplied
    declared: Bools


def spread(kind: Ints, start: Ints) -> tuple[Ints, Ints]:
    """Each thing with all the parts of its kind: where the thing stands, and where the part.

    Parameters
    ----------
    kind
        Kind of each thing, shape (n,).
    start
        Where the parts of each kind start in their array, one entry more than there are kinds.
    """
    counts = np.diff(start)[kind] if len(kind) else np.zeros(0, dtype=int)
    thing = np.repeat(np.arange(len(kind)), counts)
    first = np.repeat(np.cumsum(counts) - counts, counts)
    part = start[:-1][kind[thing]] + np.arange(len(thing)) - first if len(thing) else thing
    return thing, part


def starts(lengths: Sequence[int]) -> Ints:
    """Where runs of these lengths start, one entry more."""
    return np.concatenate([[0], np.cumsum(np.array(lengths, dtype=int))]).astype(int)


def recipes_of(compositions: Sequence[Composition], today: dt.date) -> Recipes:
    """Opened formulas as a pile.

    Parameters
    ----------
    compositions
        The formulas.
    today
        The day whose law holds where a formula names none.
    """
    formulas = [c.formula for c in compositions]
    phases = [(n, p) for n, f in enumerate(formulas) for p in f.phases]
    lines = [(n, h, line) for h, (n, phase) in enumerate(phases) for line in phase.lines]
    profiles: dict[Profile, int] = {}
    profile = [profiles.setdefault(Profile.of(f.product, today), len(profiles)) for f in formulas]
    materials: dict[int, int] = {}
    every = [m for c in compositions for m in c.materials]
    kinds = [materials.setdefault(id(m), len(materials)) for m in every]
    by_id = {id(m): m for m in every}
    return Recipes(
        ph=_floats(f.measured.ph for f in formulas),
        ph_tolerance=_floats(f.measured.ph_tolerance for f in formulas),
        sample_c=_floats(f.measured.temperature_c for f in formulas),
        aw_measured=_floats(f.measured.water_activity for f in formulas),
        aw_tolerance=_floats(f.measured.water_activity_tolerance for f in formulas),
        stated_batch_g=_floats(f.product.batch_g for f in formulas),
        scale_step_g=_floats(f.product.scale_step_g for f in formulas),
        in_grams=np.array([f.amounts == "grams" for f in formulas], dtype=bool),
        profiles=tuple(profiles),
        profile=np.array(profile, dtype=int),
        phase_formula=np.array([n for n, _ in phases], dtype=int),
        heated_c=_floats(p.heated_to_c for _, p in phases),
        added_c=_floats(p.added_at_c for _, p in phases),
        line_formula=np.array([n for n, _, _ in lines], dtype=int),
        line_phase=np.array([h for _, h, _ in lines], dtype=int),
        line_material=np.array(kinds, dtype=int),
        amount=_floats(line.amount for _, _, line in lines),
        rest=np.array([line.rest for _, _, line in lines], dtype=bool),
        materials=tuple(by_id[i] for i in materials),
    )


def _floats(values: Iterable[float | None]) -> Floats:
    return np.array([np.nan if v is None else v for v in values], dtype=float)
