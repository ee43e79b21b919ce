"""Does the preservative last as long as the product?

What is judged: what is left of each active at the end of the shelf life (30 months where none is
stated) at 25 °C, by published rates; then free-active again with what is left of all of them.

    fault      a microbe that is held today (chance of 80 % and more) is no longer held: its chance
               falls below 80 %, by 10 % and more (serious)
    warning    it falls below 80 % by less, or does so at the unfavourable end of the rate
    unknown    the pH was not measured, and the rate hangs on it
    pass       every microbe that is held today is still held; or no rate is published, which is
               said once

Only what loses more than a twentieth is named as the reason.

Rate:  k = k_ref 10^(slope (pH - pH_ref)) f(pH) / f(pH_ref), f the undissociated share where only
that reacts; left = exp(-k t). First order, in water, at 25 °C.

Parabens: the uncharged ester reacts with hydroxide and with buffer; read at 70 °C in phosphate,
carried to 25 °C with 102 kJ/mol. Bronopol: half-lives of 5 years (pH 4) and 2 months (pH 8) at 20
°C, four times faster for every 10 °C. Isothiazolinones: stable at pH 5.5, half a year in an
alkaline concentrate with amines. Hydroxamic acid: by the acid hydrolysis of acetohydroxamic acid.
Each rate may be off by the factor of its row, 2.5 to 5: the band says so. Releasers of formaldehyde
are told by class: amide N-formals hold a reservoir (no rate), amine N-formals open fully.

Limits: micelles, oil and low water activity slow hydrolysis; light, air, metals, thiols, amines and
soft packs take more. It says nothing of what the pH does over time.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from preservecheck.arrays.forms import MICROBES
from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.checks import free_active
from preservecheck.checks.base import Check, Explanation, Figures, KeyFigure, below, kept
from preservecheck.checks.free_active import LIKELY
from preservecheck.checks.ph_range import beyond_effective
from preservecheck.chemistry.degradation import half_life_months, left_fraction
from preservecheck.text import join_and, number
from preservecheck.verdict import (
    ABSENT,
    PASS,
    SERIOUS,
    UNKNOWN,
    WARN,
    Codes,
    Figure,
    Floats,
    code_where,
    figure,
)

# what loses no more than this is no reason; judgement of this program
LOSS = 0.05
# a smaller fall of the chance is only warned of; judgement of this program
FALL = 0.1
# longer half-lives are not given; common practice, no source [months]
LONGEST_MONTHS = 1200.0
# steps of the search for the month in which a microbe is no longer held
STEPS = 240


def compute(case: FormulaArrays) -> Figures:
    """What is left of each active, and the least chance of a microbe that is held today with what
    is left of all. (..., F)"""
    months = np.array([p.shelf_life_months for p in case.profiles])[case.profile][..., None]
    rate, factor = case.loss_rate, case.reference.forms.degradation[-1]
    known = ~np.isnan(case.reference.forms.degradation[0])
    told = known & ~np.isnan(rate)
    left = left_fraction(np.where(np.isnan(rate), 0.0, rate), months)
    least = left_fraction(np.where(np.isnan(rate), 0.0, rate * factor), months)
    today = free_active.CHECK.compute(case)
    held = ~below(today["challenge_chance"], LIKELY)
    at_end, at_least = (np.where(held, chances_left(case, share), 1.0) for share in (left, least))
    fall = np.where(below(at_end, LIKELY), today["challenge_chance"] - at_end, 0.0)
    present = np.broadcast_to(case.acting_pct > 0, left.shape)
    return {
        "left_percent": 100 * np.where(told, left, np.nan),
        "left_low": 100 * np.where(told, least, np.nan),
        "left_high": 100 * np.where(told, left_fraction(rate / factor, months), np.nan),
        "half_life_months": half_life_months(rate),
        "shelf_life_months": months,
        "criticality": 1 - left,
        "chance_at_end": at_end.min(axis=-1, keepdims=True),
        "chance_at_least": at_least.min(axis=-1, keepdims=True),
        "fall": fall.max(axis=-1, keepdims=True),
        "present": present & ~case.dry[..., None],
        "known": np.broadcast_to(known, left.shape),
        # of several without a rate the first says it for all
        "first_without": np.cumsum(present & ~known, axis=-1) == 1,
        "ph": case.ph[..., None],
    }


def chances_left(case: FormulaArrays, left: Floats) -> Floats:
    """Chance of each microbe when a share of each active is left. [-] (..., M)"""
    today = free_active.CHECK.compute(case)
    if not (left < 1).any():
        return np.asarray(today["challenge_chance"])
    total = case.sums
    later = case.with_(left=left).sums
    ratio = np.where(total > 0, later / np.where(total > 0, total, 1.0), 1.0)
    return free_active.chance_with(today, ratio)


def judge(figures: Figures) -> Codes:
    """Codes per active. (..., F)"""
    known, first = figures["known"].astype(bool), figures["first_without"].astype(bool)
    lost = below(figures["left_percent"], 100 * (1 - LOSS))
    lost_at_least = below(figures["left_low"], 100 * (1 - LOSS))
    return code_where(
        (~figures["present"].astype(bool) | (~known & ~first), ABSENT),
        (~known, PASS),
        (np.isnan(figures["ph"]), UNKNOWN),
        (lost & ~below(figures["fall"], FALL), SERIOUS),
        (lost & below(figures["chance_at_end"], LIKELY), WARN),
        (lost_at_least & below(figures["chance_at_least"], LIKELY), WARN),
        otherwise=PASS,
    )


def explain(case: FormulaArrays, values: Mapping[str, float], j: int, code: int) -> Explanation:
    """Words for one active."""
    forms, tables = case.reference.forms, case.reference.tables
    name, months = forms.names[j], values["shelf_life_months"]
    row = forms.degradation_rows.get(name)
    if not values["known"]:
        unknown = (figure("left_percent", np.nan, "%"),)
        return Explanation("formula", unknown, _without_rate(case), subject_told=True)
    evidence = () if row is None else (tables.evidence(row, f"loss of {name}"),)
    low, high = values["left_low"], values["left_high"]
    half = values["half_life_months"]
    figures = (
        figure("left_percent", values["left_percent"], "%", (high - low) / 2, of=name),
        figure("half_life_months", np.nan if half > LONGEST_MONTHS else half, "months", of=name),
        figure("shelf_life_months", months, "months"),
        *(_held_months(case, months) if code in (WARN, SERIOUS) else ()),
    )
    if code == UNKNOWN:
        return Explanation(
            name,
            figures,
            f"How fast {name} is lost hangs on the pH, which was not measured.",
            "Measure the pH of the finished batch at 20 to 25 °C and write it into the formula as "
            "the measured pH.",
            evidence,
            causes=beyond_effective(case, 0),
        )
    because = (
        f"After {number(months)} months at 25 °C and pH {number(values['ph'])} about "
        f"{number(values['left_percent'], 2)} % of the {name} is left ({number(low, 2)} to "
        f"{number(high, 2)} %)"
    )
    if code == PASS:
        held = free_active.CHECK.compute(case)["challenge_chance"]
        any_held = not below(held, LIKELY).all()
        end = "; what is held today is still held." if any_held else "."
        return Explanation(name, figures, because + end, None, evidence)
    if below(values["chance_at_end"], LIKELY):
        lost = [f.of for f in figures if f.name == "held_months" and f.of is not None]
        month = min((f.value or 0 for f in figures if f.name == "held_months"), default=0.0)
        because += (
            f": {join_and(lost)}, held today, {'is' if len(lost) == 1 else 'are'} no longer held "
            f"after about {number(month, 2)} months."
        )
    else:
        because += ": what is held today is still held at the middle of the band, not at its end."
    do = (
        "State a shorter shelf life, bring the pH to where it lasts, or pair it with an active "
        "that lasts; keep samples and repeat the challenge test at the end of the life."
    )
    return Explanation(name, figures, because, do, evidence)


def _without_rate(case: FormulaArrays) -> str:
    """What is not known of those without a rate, by how they act."""
    forms = case.reference.forms
    there = [forms.names[f] for f in np.flatnonzero(case.acting_pct[0] > 0)]
    laws = {n: row.law for n, row in forms.degradation_rows.items()}
    without = [n for n in there if n not in laws]
    reservoir = [n for n in there if laws.get(n) == "reservoir"]
    opened = [n for n in there if laws.get(n) == "opens"]
    said = []
    if without:
        said.append(f"No rate of loss is published for {join_and(without)}.")
    if reservoir:
        verb = "releases" if len(reservoir) == 1 else "release"
        said.append(
            f"{join_and(reservoir)} {verb} formaldehyde from a reservoir; how long it lasts is not "
            "published."
        )
    if opened:
        verb = "opens" if len(opened) == 1 else "open"
        said.append(f"{join_and(opened)} {verb} fully in the product to formaldehyde.")
    return " ".join(said)


def _held_months(case: FormulaArrays, months: float) -> tuple[Figure, ...]:
    """Months until each microbe that is held today falls below what is needed."""
    grid = np.linspace(0.0, months, STEPS + 1)
    course = chances_over(case, grid)
    held = ~below(course[0], LIKELY)
    return tuple(
        figure("held_months", grid[int(below(course[:, m], LIKELY).argmax())], "months", of=microbe)
        for m, microbe in enumerate(MICROBES)
        if held[m] and below(course[-1, m], LIKELY)
    )


def chances_over(case: FormulaArrays, months: Floats, off: float = 0.0) -> Floats:
    """Chance of each microbe of a single case after some months; ``off`` 1 for rates at the
    unfavourable end of their error, -1 for the favourable one. [-] (months, M)"""
    rate, factor = case.loss_rate, case.reference.forms.degradation[-1]
    each = np.nan_to_num(rate[0] * factor**off)
    return np.concatenate([chances_left(case, left_fraction(each, t)[None, :]) for t in months])


def subject(case: FormulaArrays, j: int, _: int = 0) -> str:
    """The active, or the formula where no rate is published for it."""
    forms = case.reference.forms
    return forms.names[j] if np.isfinite(forms.degradation[0][j]) else "formula"


CHECK = Check(
    id="lasting",
    key=KeyFigure("left_percent", "%", tolerance=lambda f: (f["left_high"] - f["left_low"]) / 2),
    compute=kept(compute),
    judge=judge,
    explain=explain,
    tables=dict(free_active.CHECK.tables) | {"degradation": ()},
    plots=("months",),
    course=chances_over,
    subject=subject,
    by_dose=True,
)
