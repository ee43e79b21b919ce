"""Turns a formula into amounts: raw materials opened, the rest line solved, preservatives
recognised."""

from __future__ import annotations

from typing import TYPE_CHECKING

from preservecheck.formula.amounts import line_percents, temperatures
from preservecheck.formula.composition import Addition, Composition, Portion, SystemUse, Weighed
from preservecheck.formula.materials import (
    MaterialResolver,
    Scope,
)
from preservecheck.formula.model import Formula
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
