"""When each preservative may go in: the reading that lets it in, and the time at which the batch
gets there."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.inputs import THERMOMETER_C
from preservecheck.arrays.systems import parts_of
from preservecheck.bench.additions import COOL_DOWN_C, system_of
from preservecheck.bench.forecast import Forecast, Reach, reach_of
from preservecheck.bench.steps import gate_windows
from preservecheck.formula.compose import Composition
from preservecheck.formula.cooling_readings import Course
from preservecheck.units import temperature_text


@dataclass(frozen=True)
class AdditionWindow:
    """A preservative part of one phase, the reading at which it may go in, and when that is."""

    name: str
    phase: str
    below_c: float
    because: str
    reach: Reach | None  # None without readings


def addition_windows(
    composition: Composition | None,
    case: FormulaArrays | None,
    course: Course | None = None,
    forecast: Forecast | None = None,
) -> tuple[AdditionWindow, ...]:
    """A gate for each preservative of a formula, hottest first; the customary one where no formula
    is known.

    Parameters
    ----------
    composition, case
        The formula, where there is one.
    course, forecast
        The readings and what they foretell, where there are some.
    """
    marks = dict.fromkeys(_marks(composition, case))
    if not marks:
        marks = {
            (
                "What goes in while it cools",
                "",
                COOL_DOWN_C,
                "The customary mark; no formula says more.",
            ): None
        }
    return tuple(
        AdditionWindow(
            name,
            phase,
            below,
            because,
            reach_of(course, forecast, name, below) if course and forecast else None,
        )
        for name, phase, below, because in sorted(marks, key=lambda m: -m[2])
    )


def _marks(
    composition: Composition | None, case: FormulaArrays | None
) -> Iterator[tuple[str, str, float, str]]:
    """Name, phase, highest reading and reason of each part. [°C]"""
    if composition is None or case is None:
        return
    phases = composition.formula.phases
    for at, phase in enumerate(phases):
        for name, below, limit in gate_windows(composition, case, at):
            yield name, phase.name, below, _because(below, limit)
    for addition in composition.additions:
        system = system_of(
            composition, case.reference.tables, composition.systems[addition.system].id
        )
        for name, part_limit, _ in parts_of(system):
            if part_limit is None:
                why = (
                    "No heat limit is known to these tables for it: ask the supplier; this is "
                    "the customary mark."
                )
                yield name, phases[addition.phase].name, COOL_DOWN_C, why


def _because(below_c: float, limit_c: float) -> str:
    """Where the highest reading comes from."""
    error = f"the thermometer may be off by {THERMOMETER_C:.0f} °C"
    if below_c + THERMOMETER_C < limit_c:
        best = temperature_text(below_c + THERMOMETER_C)
        return (
            f"Its heat limit is {temperature_text(limit_c)}, it does most good below {best}, "
            f"and {error}."
        )
    return f"Its heat limit is {temperature_text(limit_c)}, and {error}."
