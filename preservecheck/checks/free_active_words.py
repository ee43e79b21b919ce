"""The words of the check ``free-active``: reasons, remedies, figures and sources."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from preservecheck.arrays.forms import ACID, BASE, CATION, MICROBES
from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.substances import BINDER_CLASSES, OIL_CLASSES
from preservecheck.text import join_and, number
from preservecheck.verdict import WARN, Figure, figure


def unknown(case: FormulaArrays, one: Mapping[str, float], said: str, j: int) -> tuple[str, str]:
    """What is missing for one microbe, and how to get it."""
    c = case.reference
    if np.isnan(one["ph"]):
        return (
            "The pH was not measured, and the working share of the preservative hangs on it.",
            "Measure the pH of the finished batch at 20 to 25 °C and write it into the formula as "
            "the measured pH.",
        )
    present = np.flatnonzero(case.acting_pct[0] > 0)
    if np.isfinite(one["sum_of_ratios"]):
        silent = [c.forms[f] for f in present if np.isnan(c.mic_percent[f, j])]
        silent += [
            s.id for s, quiet in zip(c.systems, c.systems_without_mic, strict=False) if quiet
        ]
        return (
            f"As far as known, {said[0].lower()}{said[1:]}; no figure is known for "
            f"{join_and(silent)}.",
            "Ask the supplier for MIC values, or let a challenge test decide; add them to your "
            "own mic.csv.",
        )
    return (
        "A figure that this sum needs is not in the tables: "
        f"{join_and(_gaps(case, list(present)))}.",
        "Add the missing figure to your own tables, or let a challenge test decide.",
    )


def short(
    case: FormulaArrays, one: Mapping[str, float], code: int, said: str, j: int, *, half: bool
) -> str:
    """Why it is too little; ``half``: less than half of what is needed."""
    c = case.reference
    because = f"{said}: " + ("less than half of what is needed." if half else "short of 1.")
    deaf = [
        c.forms[f] for f in np.flatnonzero(case.acting_pct[0] > 0) if np.isinf(c.mic_percent[f, j])
    ]
    if deaf:
        because += f" {join_and(deaf)} does not stop it at any usual level."
    if code == WARN and half and one["maybe_low_risk"]:
        because += (
            " It hangs on the water activity, which may be low enough by itself: have it measured."
        )
    elif code == WARN and half:
        because += (
            " With less uptake by oil or surfactant than assumed it would be "
            f"{number(one['sum_at_best'], 2)}."
        )
    return because


def _gaps(case: FormulaArrays, present: list[int]) -> list[str]:
    c = case.reference
    gaps = []
    for f in present:
        if np.isnan(case.working_fraction[0, f]):
            gaps.append(f"pKa of {c.forms[f]}")
        oils = [
            OIL_CLASSES[i] for i in np.flatnonzero((case.oil_ratio[0] > 0) & np.isnan(c.k_oil[f]))
        ]
        gaps += [f"partition of {c.forms[f]} into {oil} oils" for oil in oils]
    return gaps or ["unknown"]


def remedy(case: FormulaArrays, ranked: list[int]) -> str:
    """What would free more of the actives, those that do most first."""
    c = case.reference
    lost = [f for f in ranked if c.form_kind[f] == ACID and case.working_fraction[0, f] < 0.3]  # noqa: PLR2004
    bound = [f for f in ranked if (np.nan_to_num(c.k_bind[f]) * case.binder_pct[0]).sum() > 1]
    paired = [f for f in ranked if c.form_kind[f] == CATION and case.unpaired[0] < 0.5]  # noqa: PLR2004
    ways = []
    if lost:
        f = lost[0]
        ways.append(
            f"lower the pH (at {number(case.ph[0])} only "
            f"{number(case.working_fraction[0, f] * 100, 2)} % of the "
            f"{c.forms[f]} is in its working form)"
        )
    if paired:
        ways.append("take out the anionic surfactant or gum that pairs off the preservative")
    if bound:
        ways.append("use less surfactant, which holds part of it")
    ways.append("raise the dose within its range, or pair it with a second active")
    text = "; or ".join(ways)
    return text[0].upper() + text[1:] + "."


def figures_of(case: FormulaArrays, f: int, j: int) -> dict[str, Figure]:
    """What one active's part in the sum is made of."""
    c, name = case.reference, case.reference.forms[f]
    mic = case.mic_percent[f, j] if case.mic_percent.ndim == 2 else case.mic_percent[0, f, j]  # noqa: PLR2004
    out = {
        f"total_percent.{name}": figure(case.acting_pct[0, f], "% of the formula"),
        f"total_in_water_percent.{name}": figure(
            case.total_in_water[0, f], "% w/v of the water phase"
        ),
        f"undissociated_fraction.{name}": figure(case.working_fraction[0, f]),
        f"free_percent.{name}": figure(case.free_pct[0, f], "% w/v of the water phase"),
        f"mic_percent.{name}": figure(mic, "% w/v"),
    }
    if c.form_kind[f] in (ACID, BASE):
        out[f"pka.{name}"] = figure(case.pka[0, f], tolerance=c.pka_error[f])
    held = np.nan_to_num(c.k_bind[f]) * case.binder_pct[0]
    out[f"bound_ratio.{name}"] = figure(1 + held.sum())
    oil = np.where(case.oil_ratio[0] > 0, c.k_oil[f] * case.oil_ratio[0], 0.0)
    out[f"oil_term.{name}"] = figure(oil.sum())
    for i in np.flatnonzero(case.oil_ratio[0] > 0):
        out[f"k_{OIL_CLASSES[i].replace('-', '_')}.{name}"] = figure(c.k_oil[f, i])
    return out


def sources_of(case: FormulaArrays, present: list[int], j: int) -> tuple[str, ...]:
    """Where the figures of the actives come from, or what was taken for want of one."""
    c, tables = case.reference, case.reference.tables
    out = []
    for f in present:
        name = c.forms[f]
        if (mic := c.mic_rows.get((name, MICROBES[j]))) is not None:
            out.append(f"MIC of {name}: {tables.cite(mic)}")
        if c.form_kind[f] in (ACID, BASE):
            out.append(f"pKa of {name}: {tables.cite(c.actives[name])}")
        for i in np.flatnonzero(case.oil_ratio[0] > 0):
            row = c.partition_rows.get((name, OIL_CLASSES[i]))
            like = (
                c.partition_rows.get((name, "vegetable"))
                if OIL_CLASSES[i] in ("ester", "fatty-alcohol")
                else None
            )
            if row is not None:
                how = tables.cite(row)
            elif like is not None:
                how = (
                    "no measurement known; taken as a multiple of vegetable oil "
                    f"({tables.cite(like)}), factor 2 to 3"
                )
            else:
                how = "no measurement known; relation with log P, factor 2 to 3"
            out.append(f"K of {name} in {OIL_CLASSES[i]} oils: {how}")
        for i in np.flatnonzero(case.binder_pct[0] > 0):
            bound = c.binding_rows.get((name, BINDER_CLASSES[i]))
            if bound is not None:
                out.append(f"uptake of {name} by {BINDER_CLASSES[i]}: {tables.cite(bound)}")
            elif np.isnan(c.k_bind[f, i]):
                out.append(f"uptake of {name} by {BINDER_CLASSES[i]}: no figure known, not counted")
            elif c.k_bind[f, i] > 0:
                out.append(
                    f"uptake of {name} by {BINDER_CLASSES[i]}: taken as strong as by ethoxylates, "
                    "relation with "
                    "log P, factor 2"
                )
    return tuple(dict.fromkeys(out))
