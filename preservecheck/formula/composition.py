"""A formula as amounts: its lines, what is in them, the preservative systems and when they go
in."""

from __future__ import annotations

from dataclasses import dataclass

from preservecheck.formula.materials import Material
from preservecheck.formula.model import Formula
from preservecheck.reference.rows_materials import System


@dataclass(frozen=True)
class Portion:
    """Some of one substance, and how it came into the formula."""

    substance: str
    percent: float  # w/w of the whole formula
    line: int  # index into Composition.lines
    origin: str  # the system's id, the blend's name, or the line as written
    carried_in: bool  # came inside a blend, not by the maker's choice
    preserving: bool  # counts as a preservative for the law


@dataclass(frozen=True)
class Weighed:
    """A line of the recipe with its amount solved."""

    name: str
    inci: str | None  # None for a blend or a system
    system: str | None
    phase: int
    percent: float
    grams: float | None
    rest: bool


@dataclass(frozen=True)
class SystemUse:
    """A preservative system in the formula, all its additions together."""

    id: str
    percent: float  # of the system as supplied, w/w of the whole formula
    grams: float | None
    declared: bool  # named as a system; otherwise recognised from a plain substance line


@dataclass(frozen=True)
class Addition:
    """One moment at which a system goes in."""

    system: int  # index into Composition.systems
    line: int
    phase: int
    temperature_c: float | None  # of the batch at that moment
    peak_c: float | None  # highest temperature it meets, then or later


@dataclass(frozen=True)
class Composition:
    """A formula as amounts."""

    formula: Formula
    lines: tuple[Weighed, ...]
    portions: tuple[Portion, ...]
    systems: tuple[SystemUse, ...]
    additions: tuple[Addition, ...]
    extra_systems: tuple[System, ...]  # stand-ins for plain actives that no system row covers
    remarks: tuple[str, ...]  # what was taken for granted
    materials: tuple[Material, ...]  # one for each line, what it is made of

    def total(self, substance: str) -> float:
        """Percent of one substance from all origins."""
        return sum(p.percent for p in self.portions if p.substance == substance)
