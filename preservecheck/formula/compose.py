"""A formula as amounts: raw materials opened, the rest line solved, preservatives recognised, and
when they go in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from preservecheck.formula.amounts import line_percents, temperatures
from preservecheck.formula.materials import FormulaMaterials, Material, MaterialResolver
from preservecheck.formula.model import Formula
from preservecheck.reference.rows import System
from preservecheck.units import temperature_text

if TYPE_CHECKING:
    from preservecheck.reference.load import Tables

# grams of the lines and the stated batch may differ by this share before it is worth a word
BATCH_SLACK = 0.005


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

    @property
    def batch_g(self) -> float | None:
        """Mass of all lines together, where it is known. [g]"""
        grams = [line.grams for line in self.lines if line.grams is not None]
        return sum(grams) if grams else None

    def total(self, substance: str) -> float:
        """Percent of one substance from all origins."""
        return sum(p.percent for p in self.portions if p.substance == substance)


class Composer:
    """Opens formulas against one set of tables."""

    def __init__(self, tables: Tables) -> None:
        self.resolver = MaterialResolver(tables)

    def compose(self, formula: Formula) -> Composition:
        """The amounts of a formula whose names and sums were checked by the reader."""
        own = FormulaMaterials(self.resolver, formula)
        percents, total_g = line_percents(formula)
        met = temperatures(formula.phases)
        remarks = [*_batch_remark(formula, total_g), *_reading_remarks(formula)]
        lines: list[Weighed] = []
        portions: list[Portion] = []
        extra: dict[str, System] = {}
        uses: dict[str, tuple[float, bool]] = {}
        gone_in: list[tuple[str, int, int]] = []
        materials = []
        for phase_at, phase in enumerate(formula.phases):
            for line in phase.lines:
                at, material = len(lines), own.material(line)
                percent = percents[at]
                grams = None if total_g is None else percent / 100 * total_g
                lines.append(
                    Weighed(
                        line.name,
                        material.inci,
                        material.system,
                        phase_at,
                        percent,
                        grams,
                        line.rest,
                    )
                )
                portions += [
                    Portion(
                        p.substance, percent * p.fraction, at, p.origin, p.carried_in, p.preserving
                    )
                    for p in material.parts
                ]
                remarks += material.remarks
                materials.append(material)
                for role in material.roles:
                    if (dose := role.percent_of(percent)) is None:
                        continue
                    before, was = uses.get(role.system, (0.0, False))
                    uses[role.system] = (before + dose, was or role.declared)
                    gone_in.append((role.system, at, phase_at))
                    extra.update({s.id: s for s in material.extra if s.id == role.system})
        order = list(uses)
        return Composition(
            formula,
            tuple(lines),
            tuple(portions),
            tuple(
                SystemUse(i, p, None if total_g is None else p / 100 * total_g, d)
                for i, (p, d) in uses.items()
            ),
            tuple(
                Addition(order.index(system), line_at, phase_at, *met[phase_at])
                for system, line_at, phase_at in gone_in
            ),
            tuple(extra.values()),
            tuple(dict.fromkeys(remarks)),
            tuple(materials),
        )


def _batch_remark(formula: Formula, total_g: float | None) -> list[str]:
    batch = formula.product.batch_g
    if total_g is None or batch is None or abs(total_g - batch) <= BATCH_SLACK * batch:
        return []
    return [
        f"The lines add up to {total_g:.4g} g, the batch is given as {batch:.4g} g: the lines count"
    ]


def _reading_remarks(formula: Formula) -> list[str]:
    return [
        f"Phase {p.name} went in at {temperature_text(p.added_at_c)}, taken from {p.added_at_from}"
        for p in formula.phases
        if p.added_at_from and p.added_at_c is not None
    ]
