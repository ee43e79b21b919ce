"""Does the preservative go in below its heat limit, and stay below it?

What is judged: for each addition of each system, part by part where a system has two addition
points, the highest temperature it meets (at the addition and later) with ± 2 °C for the thermometer
against the heat limit; then the temperature at the addition against the one below which it does
most good.

    fault      the temperature is above the heat limit even if the thermometer reads 2 °C too high
               (serious)
    warning    within 2 °C of the limit: too close to call; or the reading is above the temperature
               below which it does most good (a custom: the thermometer's error does not count)
    unknown    no temperature is given

Why: heat breaks some preservatives, drives others into the oil or off with the steam. The heat
limit is what the molecule or the supplier's text allows, the other figure is where custom adds it;
they differ. Salts of acids do not go off with steam and have no such figure. A phase without
``added_at`` that is heated counts with ``heated_to``; a later phase brings the batch to its
``added_at``. Where nothing is heated, all of it goes in at room temperature.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.systems import parts_of
from preservecheck.checks.base import Cause, Check, Explanation, Figures, KeyFigure, above, warmer
from preservecheck.reference.rows import System
from preservecheck.text import celsius
from preservecheck.verdict import ABSENT, PASS, SERIOUS, UNKNOWN, WARN, Codes, code_where, figure


def compute(case: FormulaArrays) -> Figures:
    """Temperatures met and limits, additions by parts. (..., A * Q)"""
    limit, below = case.reference.systems.part_limits
    slot = np.maximum(case.addition, 0)
    system = np.maximum(np.take_along_axis(case.system, slot, axis=-1), 0)
    present = (case.addition >= 0)[..., None] & case.reference.systems.part_exists[system]
    shape = present.shape
    tolerance = np.broadcast_to(case.temperature_tolerance_c[..., None, None], shape)
    flat = (*np.broadcast_shapes(shape[:-2], case.peak_c.shape[:-1]), shape[-2] * shape[-1])

    def spread(
        values: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
    ) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
        return np.broadcast_to(values, (*flat[:-1], *shape[-2:])).reshape(flat)

    return {
        "temperature_c": spread(case.peak_c[..., None]),
        "criticality": spread(case.peak_c[..., None] - limit[system]),
        "added_at_c": spread(case.addition_c[..., None]),
        "limit_c": spread(limit[system]),
        "preferred_below_c": spread(below[system]),
        "tolerance_c": spread(tolerance),
        "present": spread(present.astype(float)),
    }


def judge(figures: Figures) -> Codes:
    """Codes per addition and part. (..., A * Q)"""
    peak, tolerance = figures["temperature_c"], figures["tolerance_c"]
    unknown = np.isnan(peak) | np.isnan(figures["limit_c"])
    return code_where(
        (figures["present"] == 0, ABSENT),
        (above(peak - tolerance, figures["limit_c"]), SERIOUS),
        (unknown, UNKNOWN),
        (above(peak + tolerance, figures["limit_c"]), WARN),
        (above(figures["added_at_c"], figures["preferred_below_c"]), WARN),
        (np.isnan(figures["added_at_c"]), UNKNOWN),
        otherwise=PASS,
    )


def explain(case: FormulaArrays, values: Mapping[str, float], j: int, code: int) -> Explanation:
    """Words for one part of one addition."""
    system, parts = _subject(case, j)
    about = ", ".join(parts)
    peak, added, limit, cool = (
        values[n] for n in ("temperature_c", "added_at_c", "limit_c", "preferred_below_c")
    )
    tolerance = values["tolerance_c"]
    figures = (
        figure("temperature_c", peak, "°C", tolerance),
        figure("limit_c", limit, "°C"),
        figure("added_at_c", added, "°C", tolerance),
        figure("preferred_below_c", cool, "°C"),
    )
    met = f"It meets {celsius(peak)} ± {tolerance:.0f} °C"
    if _cold(case):
        met = f"Nothing is heated, so it meets room temperature ({celsius(peak)})"
    if np.isfinite(added) and added < peak:
        met = f"It goes in at {celsius(added)} but meets {celsius(peak)} ± {tolerance:.0f} °C later"
    target = min(limit, cool) if np.isfinite(cool) else limit
    cool_down = f"the batch cool to {celsius(target - tolerance)} before it goes in"
    do = None
    if code == UNKNOWN and np.isnan(limit):
        because = f"No heat limit is known to these tables for {about}."
        do = "Ask the supplier, and add it below 40 °C (104 °F) until you know."
    elif code == UNKNOWN:
        because = (
            "No temperature is given for the phase that it goes into; the limit is "
            f"{celsius(limit)}."
        )
        do = (
            f"Measure the batch when it goes in ({celsius(target - tolerance)} or cooler is "
            "right) and write your "
            "reading into the formula as what the batch is at when that phase goes in (added_at)."
        )
    elif code == PASS:
        because = f"{met}, below the limit of {celsius(limit)}."
    elif code == SERIOUS:
        because = f"{met}, above the limit of {celsius(limit)}: part of it is lost or breaks down."
        do = (
            f"Let {cool_down}. Do not count on what went in hotter; ask the supplier before you "
            "add a second dose."
        )
        if added < peak and not above(added, limit):
            do = f"Add it after the hottest step, or let {cool_down} and keep it there."
    elif above(peak + tolerance, limit):
        because = (
            f"{met}, within the thermometer's error of the limit of {celsius(limit)}: too "
            "close to call."
        )
        do = f"Let {cool_down}."
    else:
        because = (
            f"It goes in at {celsius(added)}, below the limit of {celsius(limit)} but "
            f"{warmer(added, tolerance, cool, celsius(cool))}"
        )
        do = f"Let {cool_down}; hotter, more of it goes into the oil or off with the steam."
    if code in (WARN, SERIOUS) and system.exposure_note:
        because += f" Note: {system.exposure_note}."
    evidence = (case.reference.tables.evidence(system),)
    return Explanation(about, figures, because, do, evidence, tuple(parts))


def subject(case: FormulaArrays, j: int, i: int = 0) -> str:
    """The part of a system, with its phase where the system goes in several times."""
    return ", ".join(_subject(case, j, i)[1])


def _subject(case: FormulaArrays, j: int, i: int = 0) -> tuple[System, list[str]]:
    """The system of one part of one addition, and what the finding is about: the part, and its
    phase where the system goes in more than once."""
    addition, part = divmod(j, int(case.reference.systems.part_exists.shape[1]))
    system = case.reference.systems.rows[int(case.system[i, case.addition[i, addition]])]
    parts = [parts_of(system)[part].name]
    if case.compositions and (case.addition[i] == case.addition[i, addition]).sum() > 1:
        composition = case.compositions[i]
        phase = composition.formula.phases[composition.additions[addition].phase]
        parts.append(f"phase {phase.name}")
    return system, parts


def too_hot(case: FormulaArrays, systems: Collection[str]) -> Iterator[Cause]:
    """The findings of this check on some systems of the first case that do not pass."""
    codes = np.atleast_2d(judge(compute(case)))[0]
    for j in np.flatnonzero(codes > PASS):
        system, parts = _subject(case, int(j))
        if system.id in systems:
            yield Cause(CHECK.id, ", ".join(parts))


def _cold(case: FormulaArrays) -> bool:
    """Whether the first formula names no temperature at all."""
    if not case.compositions:
        return False
    phases = case.compositions[0].formula.phases
    return all(phase.heated_to_c is None and phase.added_at_c is None for phase in phases)


CHECK = Check(
    id="heat-limit",
    key=KeyFigure("temperature_c", "°C", lambda f: f["tolerance_c"]),
    compute=compute,
    judge=judge,
    explain=explain,
    tables={"systems": ("heat_limit_c", "preferred_add_below_c"), "actives": (), "ingredients": ()},
    tolerances=("temperature",),
    must_pass=True,
    levers={"temperature": UNKNOWN},
    plots=("heat",),
    subject=subject,
    unanswered={
        code: "Do not count on what went in hotter; ask the supplier before you add a second dose."
        for code in (WARN, SERIOUS)
    },
)
