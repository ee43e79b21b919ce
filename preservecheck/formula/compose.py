"""Turns a formula into amounts: raw materials opened, the rest line solved, preservatives
recognised."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from preservecheck.formula.composition import Addition, Composition, Portion, SystemUse, Weighed
from preservecheck.formula.materials import (
    MaterialResolver,
    Scope,
)
from preservecheck.formula.model import Formula, Phase
from preservecheck.reference.rows_materials import System
from preservecheck.units import temperature_text

if TYPE_CHECKING:
    from preservecheck.reference.load import Tables


# grams of the lines and the stated batch may differ by this share before it is worth a word
BATCH_SLACK = 0.005


class Composer:
    """Opens formulas against one set of tables.

    Parameters
    ----------
    tables
        The tables.
    """

    def __init__(self, tables: Tables) -> None:
        self.opener = MaterialResolver(tables)

    def compose(self, formula: Formula) -> Composition:
        """The amounts of a formula whose names and sums were checked by the reader."""
        scope = Scope(self.opener, formula)
        percents, total_g = solved(formula)
        remarks = [*_batch_remark(formula, total_g), *_reading_remarks(formula)]
        lines: list[Weighed] = []
        portions: list[Portion] = []
        extra: dict[str, System] = {}
        uses: dict[str, tuple[float, bool]] = {}
        gone_in: list[tuple[str, int, int]] = []
        materials = []
        for phase_at, phase in enumerate(formula.phases):
            for line in phase.lines:
                at, material = len(lines), scope.material(line)
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
                Addition(
                    order.index(system), line_at, phase_at, *temperatures(formula.phases, phase_at)
                )
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


def in_order(values: Iterable[float]) -> float:
    """The sum, term by term from the first to the last, as arrays of formulas are summed too."""
    total = 0.0
    for value in values:
        total += value
    return total


def solved(formula: Formula) -> tuple[list[float], float | None]:
    """Percent of every line in order, and the grams of the batch where they are known.

    Grams without a rest line are taken as the whole: their sum is 100 %.
    """
    lines = [line for phase in formula.phases for line in phase.lines]
    batch = formula.product.batch_g
    given = in_order(line.amount for line in lines if line.amount is not None)
    rest = any(line.rest for line in lines)
    if formula.amounts == "percent":
        return [100 - given if line.rest else line.amount or 0.0 for line in lines], batch
    total = batch if rest and batch is not None else given
    return [
        (total - given if line.rest else line.amount or 0.0) / total * 100 for line in lines
    ], total


def temperatures(phases: tuple[Phase, ...], at: int) -> tuple[float | None, float | None]:
    """Batch temperature when phase ``at`` goes in, and the highest temperature its lines meet from
    then on. [°C]

    A phase without ``added_at`` that is heated meets its own ``heated_to``. A later phase brings
    the batch to its ``added_at``, or, where none is given, to at most its ``heated_to``.
    """
    phase = phases[at]
    temperature = phase.added_at_c if phase.added_at_c is not None else phase.heated_to_c
    met = [phase.added_at_c, phase.heated_to_c]
    met += [p.added_at_c if p.added_at_c is not None else p.heated_to_c for p in phases[at + 1 :]]
    known = [t for t in met if t is not None]
    return temperature, max(known) if known else None
