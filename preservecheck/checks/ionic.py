"""Do the charges in the formula let the preservative be?

What is judged: for each system, what its row says about cationic surfactants, anionic surfactants,
ethoxylates, proteins and electrolytes, wherever the formula holds them; the charges are worked out
beside it in meq/kg.

    fault      the row says avoid, and the formula holds that class; or anionic surfactants and
               polymers pair off more
               than half of a cationic preservative (serious)
    warning    the row says caution (of an acid system with cationic surfactants only where its
               anions reach a quarter of them); or they pair off more than a tenth
               of it
    unknown    nothing is known about that class

Formula: meq/kg = percent * 10 * charge number / molar mass * 1000, or percent * 10 * charge density
(meq/g) for polymers. Only surfactants, polymers and the preservative count; simple salts do not
pair off. A weak acid counts with its dissociated share. Classes count from 0.1 % (ethoxylates 3 %,
proteins 0.5 %, salts 0.3 %; common practice, no source).

Why: a cation and a large anion form a pair that neither dissolves nor works.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from preservecheck.arrays.forms import ACID
from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.systems import COMPAT_COLUMNS
from preservecheck.arrays.tables import TableArrays
from preservecheck.checks.base import Check, Explanation, Figures, KeyFigure, about_system
from preservecheck.checks.incompatibilities import disabled
from preservecheck.chemistry.summation import ordered_sum, weighed_sum
from preservecheck.text import join_or, number
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

# common practice, no source
CLASS_MIN_PERCENT = (0.1, 0.1, 3.0, 0.5, 0.3)
CLASS_WORDS = (
    "cationic surfactant or polymer",
    "anionic surfactant",
    "ethoxylated surfactant or solubiliser",
    "protein",
    "salts",
)
AVOID, CAUTION = 2, 1
# judgement of this program, common practice, no source
HALF_FREE, NEARLY_FREE = 0.5, 0.9
# share of the cations that the anions of a preservative must reach to upset them; judgement of this
# program, common practice, no source
FEW_ANIONS = 0.25


def classes(reference: TableArrays) -> Bools:
    """Members of each class of the compatibility columns. (K, 5)"""
    binder = reference.binder[:, 0] > 0
    return np.stack(
        [
            reference.role("cationic surfactant", "cationic polymer"),
            reference.role("anionic surfactant"),
            binder,
            reference.role("protein"),
            reference.role("electrolyte"),
        ],
        axis=-1,
    )


def compute(case: FormulaArrays) -> Figures:
    """Charges and the compatibility words that apply. (..., P)"""
    c = case.reference
    totals = weighed_sum(case.amount, classes(c))  # (..., 5)
    # what the system itself brings does not count against it
    own = np.take(
        weighed_sum(c.systems.composition, classes(c)), np.maximum(case.system, 0), axis=0
    )
    others = totals[..., None, :] - own * np.nan_to_num(case.system_percent)[..., None]
    present = others >= np.array(CLASS_MIN_PERCENT) - 1e-9
    words = np.take(c.systems.compatibility, np.maximum(case.system, 0), axis=0)
    cationic, anionic = case.charge
    charge = _preservative_meq(case)
    shape = charge.shape
    own_cation = ordered_sum(np.maximum(np.nan_to_num(charge), 0.0))
    others_cationic = np.maximum(cationic - own_cation, 0.0)
    # too few anions to upset the cations are none; without a pH all may be there
    few = (-charge < FEW_ANIONS * others_cationic[..., None]) & (charge < 0)
    present = np.broadcast_to(present, (*shape, len(COMPAT_COLUMNS))).copy()
    present[..., 0] &= ~few
    met = np.where(present, words, 0.0)
    cation = np.array(
        [
            any(
                (a := c.actives.get(i)) is not None and a.active_form == "cation"
                for i, _ in s.composition
            )
            for s in c.systems.rows
        ]
        or [False]
    )[np.maximum(case.system, 0)]
    free = np.where(cation, case.unpaired[..., None], 1.0)
    out = {
        "unpaired_share": np.broadcast_to(free, shape),
        "preservative_meq_kg": charge,
        "cationic_meq_kg": np.broadcast_to(others_cationic[..., None], shape),
        "anionic_meq_kg": np.broadcast_to(anionic[..., None], shape),
        "criticality": 1 - np.broadcast_to(free, shape),
        "worst": np.nanmax(np.where(np.isnan(met), -1.0, met), axis=-1),
        "unknown": np.isnan(met).any(axis=-1).astype(float),
        "present": case.has_system,
    }
    return out | {
        f"class_{i}": np.broadcast_to(met[..., i], shape) for i in range(len(COMPAT_COLUMNS))
    }


def _preservative_meq(case: FormulaArrays) -> Floats:
    """Signed charge of each system at this pH. [meq/kg] (..., P)"""
    c = case.reference
    acting = weighed_sum(c.systems.composition, c.forms.acting)  # (S, F)
    share = np.where(c.forms.kind == ACID, 1 - case.working_fraction, 1.0)
    per_percent = np.take(acting, np.maximum(case.system, 0), axis=0)  # (..., P, F)
    terms = 10 * per_percent * np.nan_to_num(c.forms.meq_g) * share[..., None, :]
    terms = np.where(per_percent > 0, terms, 0.0)
    return case.system_percent * ordered_sum(terms)


def judge(figures: Figures) -> Codes:
    """Codes per system. (..., P)"""
    free = figures["unpaired_share"]
    return code_where(
        (~figures["present"].astype(bool), ABSENT),
        ((figures["worst"] == AVOID) | (free < HALF_FREE), SERIOUS),
        ((figures["worst"] == CAUTION) | (free < NEARLY_FREE), WARN),
        (figures["unknown"] > 0, UNKNOWN),
        otherwise=PASS,
    )


def explain(case: FormulaArrays, values: Mapping[str, float], j: int, code: int) -> Explanation:
    """Words for one system."""
    c = case.reference
    system = c.systems.rows[int(case.system[0, j])]
    unit = "meq/kg"
    figures = (
        figure("preservative_meq_kg", values["preservative_meq_kg"], unit),
        figure("cationic_meq_kg", values["cationic_meq_kg"], unit),
        figure("anionic_meq_kg", values["anionic_meq_kg"], unit),
        figure("unpaired_share", values["unpaired_share"]),
    )
    balance = (
        f"The system carries {number(values['preservative_meq_kg'])} meq/kg; the other "
        f"surfactants and polymers carry {number(values['cationic_meq_kg'])} cationic and "
        f"{number(values['anionic_meq_kg'])} anionic"
    )
    hits = [
        i
        for i in range(len(COMPAT_COLUMNS))
        if values[f"class_{i}"] == values["worst"] and values["worst"] > 0
    ]
    reasons = []
    for i in hits:
        reason = getattr(system, COMPAT_COLUMNS[i]).reason
        reasons.append(f"with the {CLASS_WORDS[i]} here" + (f": {reason}" if reason else ""))
    do = None
    if code in (WARN, SERIOUS) and not hits:
        because = (
            "Anionic surfactants and polymers pair off "
            f"{number(100 * (1 - values['unpaired_share']), 2)} % of the "
            f"cations, {system.id} among them. {balance}."
        )
        do = (
            "Take a nonionic gum such as guar in place of the anionic one, or choose a nonionic "
            "system."
        )
    elif code == PASS:
        because = f"Nothing in the formula is known to bind or pair off {system.id}. {balance}."
    elif code == UNKNOWN:
        because = f"How {system.id} gets on with the charges here is not known. {balance}."
        do = (
            "Ask the supplier, and look at a sample after 24 hours: haze, strings and thinning "
            "tell."
        )
    else:
        word = "must be kept apart" if code == SERIOUS else "needs care"
        because = f"{system.id} {word} {'; '.join(reasons)}. {balance}."
        do = (
            f"Replace the {join_or([CLASS_WORDS[i] for i in hits])}, or choose a nonionic system."
            if code == SERIOUS
            else "Make a small trial, look at it after 24 hours and one week, and count on the "
            "challenge test."
        )
    evidence = (c.tables.evidence(system),)
    subject_told = code in (WARN, SERIOUS) and bool(hits)
    met = np.asarray(classes(c)[:, hits].any(axis=-1))
    causes = tuple(disabled(case, system, met)) if subject_told else ()
    return Explanation(
        system.id, figures, because, do, evidence, subject_told=subject_told, causes=causes
    )


CHECK = Check(
    id="ionic",
    key=KeyFigure("preservative_meq_kg", "meq/kg"),
    compute=compute,
    judge=judge,
    explain=explain,
    by_trial=True,
    tables={"systems": ("charge", *COMPAT_COLUMNS), "actives": (), "ingredients": ()},
    levers={"gum": SERIOUS},
    subject=about_system,
    against="charge",
)
