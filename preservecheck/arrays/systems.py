"""Axis S: preservatives as they are bought."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from preservecheck.arrays.forms import Forms
from preservecheck.arrays.substances import Substances
from preservecheck.reference.rows import System
from preservecheck.verdict import Bools, Floats

RATINGS = {"none": 0, "weak": 1, "moderate": 2, "strong": 3}
GROUPS = ("gram_positive", "gram_negative", "yeast", "mould")
COMPAT_COLUMNS = (
    "with_cationic_surfactant",
    "with_anionic_surfactant",
    "with_nonionic_ethoxylates",
    "with_proteins",
    "with_electrolytes",
)
COMPAT_CODES = {"ok": 0, "caution": 1, "avoid": 2}


class Part(NamedTuple):
    """What goes in by itself: a system, or one part of a system that is added in parts."""

    name: str
    heat_limit_c: float | None
    preferred_below_c: float | None

    @property
    def below_c(self) -> float:
        """Below which it goes in: the heat limit, or where it does most good if that is lower."""
        marks = (self.heat_limit_c, self.preferred_below_c)
        return min((mark for mark in marks if mark is not None), default=float("nan"))


def parts_of(system: System) -> tuple[Part, ...]:
    """The parts of a system; a system without parts is one."""
    if not system.parts:
        return (Part(system.id, system.heat_limit_c, system.preferred_add_below_c),)
    return tuple(
        Part(f"{system.id} ({' + '.join(p.substances)})", p.heat_limit_c, p.preferred_add_below_c)
        for p in system.parts
    )


@dataclass(frozen=True)
class Systems:
    """Systems on axis S, parts of a system on axis Q.

    Parameters
    ----------
    substances, forms
        Of the same tables.
    extra
        Stand-in systems for plain actives without a row.
    only
        Systems on axis S, where not all are needed.
    """

    substances: Substances
    forms: Forms
    extra: tuple[System, ...] = ()
    only: frozenset[str] | None = None

    @cached_property
    def rows(self) -> tuple[System, ...]:
        """Systems on axis S, stand-ins last."""
        only = self.only
        return (
            *(s for s in self.substances.tables.systems if only is None or s.id in only),
            *self.extra,
        )

    @cached_property
    def index(self) -> Mapping[str, int]:
        """Position of a system on axis S."""
        return {s.id: i for i, s in enumerate(self.rows)}

    @cached_property
    def composition(self) -> Floats:
        """Mass fraction of each substance in each system. [-] (S, K)"""
        out = np.zeros((max(1, len(self.rows)), len(self.substances.names)))
        for i, system in enumerate(self.rows):
            for inci, fraction in system.composition:
                out[i, self.substances.index[inci]] += fraction
        return out

    @cached_property
    def without_mic(self) -> Bools:
        """True for systems that hold nothing to compare with an MIC, such as a ferment. (S,)"""
        return np.array(
            [
                not any(self.forms.acting[self.substances.index[i]].any() for i, _ in s.composition)
                and any(
                    (r := self.substances.rows.get(i)) is not None
                    and r.role in ("preservative", "cationic surfactant")
                    for i, _ in s.composition
                )
                for s in self.rows
            ]
            or [False]
        )

    def column(self, name: str) -> Floats:
        """One numeric column of the systems. (S,)"""
        values = [getattr(s, name) for s in self.rows] or [None]
        return np.array([np.nan if v is None else v for v in values], dtype=float)

    @cached_property
    def part_limits(self) -> tuple[Floats, Floats]:
        """Heat limit and preferred temperature of each part of each system. [°C] (S, Q) each

        A system without parts is one part. Places that a system does not have are not-a-number in
        both arrays and false in ``part_exists``.
        """
        width = max([1, *(len(s.parts) for s in self.substances.tables.systems)])
        limit = np.full((max(1, len(self.rows)), width), np.nan)
        below = np.full(limit.shape, np.nan)
        for i, s in enumerate(self.rows):
            for q, (_, hot, cool) in enumerate(parts_of(s)):
                limit[i, q] = np.nan if hot is None else hot
                below[i, q] = np.nan if cool is None else cool
        return limit, below

    @cached_property
    def part_exists(self) -> Bools:
        """True where a system has that part. (S, Q)"""
        width = self.part_limits[0].shape[1]
        return np.array(
            [[q < max(1, len(s.parts)) for q in range(width)] for s in self.rows]
            or [[False] * width]
        )

    @cached_property
    def ratings(self) -> Floats:
        """0 none to 3 strong for each microbe group. (S, 4)"""

        def value(word: str | None) -> float:
            return np.nan if word is None else RATINGS[word]

        return np.array(
            [[value(getattr(s, g)) for g in GROUPS] for s in self.rows] or [[np.nan] * len(GROUPS)]
        )

    @cached_property
    def compatibility(self) -> Floats:
        """0 ok, 1 caution, 2 avoid for each compatibility column. (S, 5)"""
        return np.array(
            [
                [
                    np.nan if (c := getattr(s, col)) is None else COMPAT_CODES[c.word]
                    for col in COMPAT_COLUMNS
                ]
                for s in self.rows
            ]
            or [[np.nan] * len(COMPAT_COLUMNS)]
        )
