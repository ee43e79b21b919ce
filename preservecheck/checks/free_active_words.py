"""The words of the check ``free-active``: reasons, remedies, figures and sources."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from preservecheck.arrays.forms import ACID, BASE, CATION, MICROBES
from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.substances import BINDER_CLASSES, OIL_CLASSES
from preservecheck.text import join_and, number
from preservecheck.verdict import WARN, Evidence, Figure, figure


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


def figures_of(case: FormulaArrays, f: int, j: int) -> Iterator[Figure]:
    """What one active's part in the sum is made of."""
    c, name = case.reference, case.reference.forms[f]

    def of(key: str, value: object, unit: str = "", tolerance: object = None) -> Figure:
        return figure(key, value, unit, tolerance, of=name)

    mic = case.mic_percent[f, j] if case.mic_percent.ndim == 2 else case.mic_percent[0, f, j]  # noqa: PLR2004
    water = "% w/v of the water phase"
    yield of("total_percent", case.acting_pct[0, f], "% of the formula")
    yield of("total_in_water_percent", case.total_in_water[0, f], water)
    yield of("undissociated_fraction", case.working_fraction[0, f])
    yield of("free_percent", case.free_pct[0, f], water)
    yield of("mic_percent", mic, "% w/v")
    if c.form_kind[f] in (ACID, BASE):
        yield of("pka", case.pka[0, f], tolerance=c.pka_error[f])
    yield of("bound_ratio", 1 + (np.nan_to_num(c.k_bind[f]) * case.binder_pct[0]).sum())
    oil = np.where(case.oil_ratio[0] > 0, c.k_oil[f] * case.oil_ratio[0], 0.0)
    yield of("oil_term", oil.sum())
    for i in np.flatnonzero(case.oil_ratio[0] > 0):
        yield of(f"k_{OIL_CLASSES[i].replace('-', '_')}", c.k_oil[f, i])


def evidence_of(case: FormulaArrays, present: list[int], j: int) -> tuple[Evidence, ...]:
    """Where the figures of the actives come from, or what was taken for want of one."""
    return tuple(
        e
        for f in present
        for e in (
            *_molecule(case, f, j),
            *(_in_oil(case, f, int(i)) for i in np.flatnonzero(case.oil_ratio[0] > 0)),
            *(e for i in np.flatnonzero(case.binder_pct[0] > 0) for e in _bound(case, f, int(i))),
        )
    )


def _molecule(case: FormulaArrays, f: int, j: int) -> Iterator[Evidence]:
    """MIC and pKa."""
    c, tables, name = case.reference, case.reference.tables, case.reference.forms[f]
    if (mic := c.mic_rows.get((name, MICROBES[j]))) is not None:
        yield tables.evidence(mic, f"MIC of {name}")
    if c.form_kind[f] in (ACID, BASE):
        yield tables.evidence(c.actives[name], f"pKa of {name}")


def _in_oil(case: FormulaArrays, f: int, i: int) -> Evidence:
    """The partition coefficient in one class of oils."""
    c, tables = case.reference, case.reference.tables
    name, oil = c.forms[f], OIL_CLASSES[i]
    what = f"K of {name} in {oil} oils"
    if (row := c.partition_rows.get((name, oil))) is not None:
        return tables.evidence(row, what)
    like = c.partition_rows.get((name, "vegetable")) if oil in ("ester", "fatty-alcohol") else None
    if like is None:
        return Evidence(what=what, said="no measurement known; relation with log P, factor 2 to 3")
    said = (
        f"no measurement known; taken as a multiple of vegetable oil ({tables.cite(like)}), "
        "factor 2 to 3"
    )
    return Evidence(like, what, said, tables.is_own(like))


def _bound(case: FormulaArrays, f: int, i: int) -> Iterator[Evidence]:
    """The uptake by one class of surfactants and polymers."""
    c, name, binder = case.reference, case.reference.forms[f], BINDER_CLASSES[i]
    what = f"uptake of {name} by {binder}"
    if (row := c.binding_rows.get((name, binder))) is not None:
        yield c.tables.evidence(row, what)
    elif np.isnan(c.k_bind[f, i]):
        yield Evidence(what=what, said="no figure known, not counted")
    elif c.k_bind[f, i] > 0:
        said = "taken as strong as by ethoxylates, relation with log P, factor 2"
        like = c.binding_rows.get((name, BINDER_CLASSES[0])) if c.k_bind_borrowed[f, i] else None
        yield Evidence(like, what, said, like is not None and c.tables.is_own(like))
