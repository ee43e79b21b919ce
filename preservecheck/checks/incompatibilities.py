"""Do two things in it disable each other, spoil the product or make something harmful?

What is judged: each row of the incompatibility table whose two sides are both there in the amounts,
the pH and the heat that the row names.

    fault      the row says serious and it is met beyond doubt (serious)
    warning    the row says caution, or a serious one lies within the tolerance of the pH or the
               thermometer
    unknown    both sides are there, but the pH or temperature that decides was not measured
    pass       a row that helps: shown, so that it can be kept

Amounts are of the pure substance (gels, juices and blends as weighed). Rows about what the tool
cannot see (light, copper, the pack's plastic) are printed as cautions instead.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache

import numpy as np

from preservecheck.arrays.forms import MICROBES
from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.systems import COMPAT_COLUMNS
from preservecheck.arrays.tables import TableArrays
from preservecheck.checks import free_active, heat_limit, ph_range
from preservecheck.checks.base import EPSILON, Cause, Check, Explanation, Figures, KeyFigure
from preservecheck.chemistry.summation import weighed_sum
from preservecheck.reference.rows import Incompatibility, System
from preservecheck.text import join_and, number, sentence
from preservecheck.verdict import (
    ABSENT,
    PASS,
    SERIOUS,
    UNKNOWN,
    WARN,
    Bools,
    Codes,
    Floats,
    code_where,
    figure,
)

# amounts below this are traces, unless a row names its own
TRACE_PERCENT = 0.001
# lines of the conditions that the tables name; common practice, no source
CATIONIC_MIN_PERCENT, EMULSION_MIN_PERCENT, RICH_OIL_PERCENT = 0.3, 1.0, 20.0


def _cationic_emulsion(case: FormulaArrays) -> Bools:
    quat = weighed_sum(case.amount, case.reference.role("cationic surfactant"))
    return (quat >= CATIONIC_MIN_PERCENT) & (
        weighed_sum(case.amount, case.reference.oil_phase) >= EMULSION_MIN_PERCENT
    )


def _rich_in_oil(case: FormulaArrays) -> Bools:
    liquid = (case.reference.liquid_oil.sum(axis=-1) > 0).astype(float) * case.reference.oil_phase
    return weighed_sum(case.amount, liquid) > RICH_OIL_PERCENT


def _unguarded_oil(case: FormulaArrays) -> Bools:
    c = case.reference
    oil = weighed_sum(case.amount, c.tag("oxidisable") & (c.oil_phase > 0))
    guard = weighed_sum(case.amount, c.tag("antioxidant"))
    return (oil >= EMULSION_MIN_PERCENT) & (guard <= TRACE_PERCENT)


TOO_LITTLE = "too little works at this pH"


def _too_little_works(case: FormulaArrays) -> Bools:
    """Where the preservative is outside its pH range or a microbe is not held for certain."""
    by_ph, by_amount = (
        (check.judge(check.compute(case)) >= WARN).any(axis=-1)
        for check in (ph_range.CHECK, free_active.CHECK)
    )
    return np.asarray(by_ph | by_amount)


CONDITIONS: dict[str, Callable[[FormulaArrays], Bools]] = {
    "cationic emulsion": _cationic_emulsion,
    "liquid oils above 20 %": _rich_in_oil,
    "unsaturated oil without antioxidant": _unguarded_oil,
    TOO_LITTLE: _too_little_works,
}
MELTED = "melted into the oil phase"


@lru_cache(maxsize=8)
def _rules(reference: TableArrays) -> tuple[tuple[Incompatibility, ...], Floats, Floats, Bools]:
    """Rows that can be judged, both sides as masks (K, J), and systems with the first (S, J)."""
    rows = tuple(
        r
        for r in reference.tables.incompatibilities
        if r.severity != "advice" and reference.matching(r.first).any()
    )
    if not rows:
        none, holding_first = (
            np.zeros((len(reference.names), 0)),
            np.zeros((len(reference.systems.composition), 0), dtype=bool),
        )
        return (), none, none, holding_first
    first = np.stack([reference.matching(r.first) for r in rows], axis=-1)
    second = np.stack([reference.matching(r.second) for r in rows], axis=-1) & ~first
    holding_first = weighed_sum(reference.systems.composition, first) > 0
    return rows, first.astype(float), second.astype(float), holding_first


def compute(case: FormulaArrays) -> Figures:
    """Amounts of both sides and the readings that decide. (..., J)"""
    rows, first, second, holding_first = _rules(case.reference)
    a, b = weighed_sum(case.amount, first), weighed_sum(case.amount, second)
    limit = {
        n: np.array([np.nan if (v := getattr(r, n)) is None else v for r in rows])
        for n in (
            "first_min_percent",
            "second_min_percent",
            "second_max_percent",
            "ph_from",
            "ph_to",
            "heat_above_c",
        )
    }
    named = {key.removeprefix("condition:") for row in rows for key in row.second}
    conditions = {n: test(case) for n, test in CONDITIONS.items() if n in named}
    alone = np.array([not r.second for r in rows], dtype=bool)
    lead = np.broadcast_shapes(a.shape[:-1], *(np.shape(c) for c in conditions.values()))
    state = np.zeros((*lead, len(rows)), dtype=bool)
    for j, row in enumerate(rows):
        for key in row.second:
            name = key.removeprefix("condition:")
            if name == MELTED:
                state[..., j] |= weighed_sum(case.with_oil, first[:, j]) > TRACE_PERCENT
            elif key.startswith("condition:"):
                state[..., j] |= conditions[name]
    first_present = a >= np.fmax(limit["first_min_percent"], TRACE_PERCENT) - EPSILON
    partner = (b >= np.fmax(limit["second_min_percent"], TRACE_PERCENT) - EPSILON) & ~(
        b
        > np.where(np.isnan(limit["second_max_percent"]), np.inf, limit["second_max_percent"])
        + EPSILON
    )
    both = first_present & (alone | partner | state)
    for j, row in enumerate(rows):
        if row.without:
            other = case.reference.matching(row.without).astype(float)
            both[..., j] &= weighed_sum(case.amount, other) < TRACE_PERCENT
    shape = np.broadcast_shapes(
        both.shape, (*case.ph.shape, len(rows)), (*case.peak_c.shape[:-1], len(rows))
    )
    slot = np.maximum(case.addition, 0)
    system = np.maximum(np.take_along_axis(case.system, slot, axis=-1), 0)
    touches = holding_first[system] & (case.addition >= 0)[..., None]  # (..., A, J)
    peak = np.where(
        touches, np.where(np.isnan(case.peak_c), np.inf, case.peak_c)[..., None], -np.inf
    ).max(axis=-2)
    peak = np.where(np.isinf(peak), np.nan, peak)
    severity = np.array(
        [{"benefit": 0.0, "caution": 1.0, "serious": 2.0}[r.severity] for r in rows]
    )
    arrays = {
        "first_percent": a,
        "second_percent": b,
        "both": both,
        "severity": severity,
        "peak_c": peak,
        "ph": case.ph[..., None],
        "ph_tolerance": case.ph_tolerance[..., None],
        "tolerance_c": case.temperature_tolerance_c[..., None],
        "ph_from": limit["ph_from"],
        "ph_to": limit["ph_to"],
        "heat_above_c": limit["heat_above_c"],
    }
    return {n: np.broadcast_to(np.asarray(v, dtype=float), shape) for n, v in arrays.items()}


def judge(figures: Figures) -> Codes:
    """Codes per row of the table. (..., J)"""
    ph, tolerance = figures["ph"], figures["ph_tolerance"]
    low, high = ph - tolerance, ph + tolerance
    by_ph = ~np.isnan(figures["ph_from"]) | ~np.isnan(figures["ph_to"])
    by_heat = ~np.isnan(figures["heat_above_c"])
    from_, to = (
        np.nan_to_num(figures["ph_from"], nan=-np.inf),
        np.nan_to_num(figures["ph_to"], nan=np.inf),
    )
    hot = np.nan_to_num(figures["heat_above_c"], nan=-np.inf)
    peak, error = figures["peak_c"], figures["tolerance_c"]
    may = (~by_ph | ((high >= from_ - EPSILON) & (low <= to + EPSILON))) & (
        ~by_heat | (peak + error > hot + EPSILON)
    )
    sure = (~by_ph | ((low >= from_ - EPSILON) & (high <= to + EPSILON))) & (
        ~by_heat | (peak - error > hot + EPSILON)
    )
    unknown = (by_ph & np.isnan(ph)) | (by_heat & np.isnan(peak))
    severity = figures["severity"]
    return code_where(
        (figures["both"] == 0, ABSENT),
        (unknown & (severity > 0), UNKNOWN),
        (~may, ABSENT),
        (severity == 0, PASS),
        ((severity == 2) & sure, SERIOUS),
        otherwise=WARN,
    )


def explain(case: FormulaArrays, values: Mapping[str, float], j: int, code: int) -> Explanation:
    """Words for one row that is met."""
    c = case.reference
    rows, _, second, _ = _rules(c)
    row = rows[j]
    ones, partner = _sides(case, j)
    twos, about = _named(case, second[:, j]), _about(ones, partner)
    figures = [figure("first_percent", values["first_percent"], "% of the formula")]
    if twos:
        figures.append(figure("second_percent", values["second_percent"], "% of the formula"))
    if np.isfinite(values["ph_from"]) or np.isfinite(values["ph_to"]):
        figures += [
            figure("ph", values["ph"], tolerance=values["ph_tolerance"]),
            figure("ph_from", values["ph_from"]),
            figure("ph_to", values["ph_to"]),
        ]
    if np.isfinite(values["heat_above_c"]):
        figures += [
            figure("temperature_c", values["peak_c"], "°C", values["tolerance_c"]),
            figure("heat_above_c", values["heat_above_c"], "°C"),
        ]
    amounts = f"{number(values['first_percent'])} %" + (
        f" with {number(values['second_percent'])} %" if twos else ""
    )
    effect = "this helps" if row.severity == "benefit" else f"risk: {row.effect}"
    because = f"{about} ({amounts}): {effect}. {row.mechanism.rstrip('.')}."
    if code == UNKNOWN:
        because = (
            f"{about} ({amounts}): whether it comes to harm ({row.effect}) hangs on a "
            "reading that is missing."
        )
        do: str | None = "Measure the pH, and the temperature at which the preservative goes in."
    elif code == PASS:
        do = None
    else:
        do = (
            sentence(row.remedy)
            if row.remedy
            else "Change one of the two; make a small trial and look at it after a week."
        )
    note = f" ({row.threshold_note})" if row.threshold_note else ""
    evidence, parts = (c.tables.evidence(row, note=note),), (*ones, *partner)
    causes = tuple(_causes(case, row, j)) if code > PASS else ()
    return Explanation(
        about, tuple(figures), because, do, evidence, parts, subject_told=True, causes=causes
    )


def _causes(case: FormulaArrays, row: Incompatibility, j: int) -> Iterator[Cause]:
    """What is wrong with the pH or the heat of the systems that hold the first side."""
    holding = _rules(case.reference)[3][:, j]
    rows = case.reference.systems.rows
    mine = {rows[int(i)].id for i in case.system[0] if i >= 0 and holding[int(i)]}
    if row.heat_above_c is not None:
        yield from heat_limit.too_hot(case, mine)
    if row.ph_from is not None or row.ph_to is not None:
        side = ph_range.ABOVE if row.ph_to is None else ph_range.BELOW
        yield from (c for c in ph_range.beyond_effective(case, side) if c.about in mine)
        if f"condition:{TOO_LITTLE}" in row.second:
            yield from (Cause(free_active.CHECK.id, microbe) for microbe in MICROBES)


def disabled(case: FormulaArrays, system: System, by: Bools | None = None) -> Iterator[Cause]:
    """Findings that a system does not get on with something in the first case, whatever its pH.

    Parameters
    ----------
    case
        One formula.
    system
        Of that formula.
    by
        Substances of which one has to be the other side; without them only what is serious. (K,)
    """
    rows, _, second, holding = _rules(case.reference)
    codes = np.atleast_2d(judge(compute(case)))[0]
    held = case.reference.systems.index[system.id]
    least = SERIOUS if by is None else WARN
    for j in np.flatnonzero((codes >= least) & holding[held]):
        other = second[:, j] > 0
        if rows[j].second and (by is None or (other & by & (case.amount[0] > 0)).any()):
            yield Cause(CHECK.id, subject(case, int(j)))


def broken_by_ph(case: FormulaArrays) -> Iterator[Cause]:
    """Findings on the pH of what is no preservative: soaps, gels, amine conditioners."""
    rows, _, _, holding = _rules(case.reference)
    codes = np.atleast_2d(judge(compute(case)))[0]
    held = [int(i) for i in case.system[0] if i >= 0]
    for j in np.flatnonzero(codes >= WARN):
        by_ph = rows[j].ph_from is not None or rows[j].ph_to is not None
        if by_ph and not holding[held, j].any():
            yield Cause(CHECK.id, subject(case, int(j)))


def subject(case: FormulaArrays, j: int, i: int = 0) -> str:
    """What row ``j`` is about in case ``i``; several rows about the same are shown as one."""
    return _about(*_sides(case, j, i))


def _about(ones: list[str], partner: list[str]) -> str:
    return f"{join_and(ones)} × {join_and(partner)}" if partner else join_and(ones)


def _sides(case: FormulaArrays, j: int, i: int = 0) -> tuple[list[str], list[str]]:
    """Substances on both sides of row ``j``; the second may be a state of the formula."""
    rows, first, second, _ = _rules(case.reference)
    state = [k.removeprefix("condition:") for k in rows[j].second if k.startswith("condition:")]
    return _named(case, first[:, j], i), _named(case, second[:, j], i) or state


def _named(case: FormulaArrays, mask: Floats, i: int = 0) -> list[str]:
    here = case.amount[i] * mask
    return [case.reference.names[i] for i in np.argsort(-here)[:3] if here[i] > 0]


CHECK = Check(
    id="incompatibilities",
    key=KeyFigure("first_percent", "% of the formula"),
    compute=compute,
    judge=judge,
    explain=explain,
    by_trial=True,
    tables=dict(free_active.CHECK.tables)
    | {
        "systems": ("charge", "ph_min", "ph_max", *COMPAT_COLUMNS),
        "ingredients": (),
        "incompatibilities": (),
    },
    tolerances=("ph", "temperature"),
    levers={"ph": SERIOUS, "gum": SERIOUS},
    subject=subject,
    folds=True,
    against="contact",
)
