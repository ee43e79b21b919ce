"""The formula without its own preservatives, and with another gum or phase in it."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from preservecheck.formula.amounts import line_percents
from preservecheck.formula.composition import Composition
from preservecheck.formula.model import Formula, Phase
from preservecheck.formula.names import folded

GUM = "Hydroxyethylcellulose"


def own_lines(composition: Composition) -> frozenset[int]:
    """The lines that are the formula's own preservatives, counted through all phases."""
    return frozenset(a.line for a in composition.additions)


def bare(formula: Formula, composition: Composition) -> Formula:
    """The formula without its own preservatives, filled to 100 % by its rest line, else by its
    water."""
    systems = own_lines(composition)
    lines = [line for phase in formula.phases for line in phase.lines]
    percents, total = line_percents(formula)
    keep = [i for i in range(len(lines)) if i not in systems]
    filler = next((i for i in keep if lines[i].rest), None)
    if filler is None:
        water = [i for i in keep if composition.lines[i].inci == "Aqua"]
        filler = max(water or keep, key=lambda i: percents[i], default=None)
    at, phases = 0, []
    for phase in formula.phases:
        kept = []
        for line in phase.lines:
            if at in keep:
                kept.append(
                    line.model_copy(update={"amount": None, "rest": True}) if at == filler else line
                )
            at += 1
        phases.append(phase.model_copy(update={"lines": tuple(kept)}))
    product = formula.product
    if formula.amounts == "grams" and product.batch_g is None:
        product = product.model_copy(update={"batch_g": total})
    return formula.model_copy(update={"phases": tuple(phases), "product": product})


def without_gums(formula: Formula, gums: Collection[str]) -> Formula:
    """The formula with some gums, by folded name, replaced by a nonionic one."""
    phases = [
        p.model_copy(
            update={
                "lines": tuple(
                    line.model_copy(update={"name": GUM}) if folded(line.name) in gums else line
                    for line in p.lines
                )
            }
        )
        for p in formula.phases
    ]
    return formula.model_copy(update={"phases": tuple(phases)})


def free_name(phases: Sequence[Phase]) -> str:
    """A name for a new phase that no phase has yet."""
    taken = {p.name for p in phases}
    return next(
        n
        for n in ("preservative", *(f"preservative {i}" for i in range(2, 1000)))
        if n not in taken
    )
