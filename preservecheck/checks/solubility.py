"""Does the preservative stay dissolved?

What is judged: for each active, its working form free in the water phase, before any cap, against
its water solubility (the undissociated form for an acid). A solubility that was read is taken as
good to a factor 1.15, a recalled one to a factor 1.5.

    fault      over the solubility (serious)
    warning    within its error of it: too close to call; or a booster that disperses rather than
               crystallises is over
    unknown    the solubility is not known, or the pH was not measured and the active is an acid or
               a base

Why: what is over falls out as crystals or droplets, often only in the cold; it protects nothing and
can be felt.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from preservecheck.arrays.forms import ACID
from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.tables import TableArrays
from preservecheck.checks.base import Check, Explanation, Figures, KeyFigure
from preservecheck.text import number
from preservecheck.verdict import (
    ABSENT,
    PASS,
    SERIOUS,
    UNKNOWN,
    WARN,
    Bools,
    Codes,
    code_where,
    figure,
)

# the tables' mark for a substance that mixes with water in all shares; g/L
MISCIBLE_G_L = 1000.0


def compute(case: FormulaArrays) -> Figures:
    """Dissolved working form and its solubility. (..., F)"""
    known = case.reference.forms.solubility_g_l
    solubility = np.where(known >= MISCIBLE_G_L, np.inf, known)
    dissolved = 10 * case.free_uncapped
    return {
        "dissolved_g_l": dissolved,
        "criticality": dissolved / solubility,
        "solubility_g_l": np.broadcast_to(solubility, dissolved.shape),
        "factor": np.broadcast_to(case.reference.forms.solubility_factor, dissolved.shape),
        "disperses": np.broadcast_to(_boosters(case.reference), dissolved.shape),
        "present": np.broadcast_to(case.acting_pct > 0, dissolved.shape),
    }


def _boosters(reference: TableArrays) -> Bools:
    return np.array(
        [reference.actives[f].role == "booster" for f in reference.forms.names], dtype=bool
    )


def judge(figures: Figures) -> Codes:
    """Codes per active. (..., F)"""
    dissolved, limit = figures["dissolved_g_l"], figures["solubility_g_l"]
    return code_where(
        (~figures["present"].astype(bool), ABSENT),
        (np.isinf(limit), PASS),
        (np.isnan(dissolved) | np.isnan(limit), UNKNOWN),
        ((dissolved > limit * figures["factor"]) & ~figures["disperses"].astype(bool), SERIOUS),
        (dissolved > limit / figures["factor"], WARN),
        otherwise=PASS,
    )


def explain(case: FormulaArrays, values: Mapping[str, float], j: int, code: int) -> Explanation:
    """Words for one active."""
    c = case.reference
    name = c.forms.names[j]
    dissolved, limit = values["dissolved_g_l"], values["solubility_g_l"]
    figures = (
        figure("dissolved_g_l", dissolved, "g/L of the water phase"),
        figure("solubility_g_l", limit, "g/L", (values["factor"] - 1) * limit),
    )
    form = f"undissociated {name}" if c.forms.kind[j] == ACID else name
    do = None
    if code == PASS and np.isinf(limit):
        because = f"{name} mixes with water in any share."
    elif code == UNKNOWN:
        missing = (
            "the pH was not measured"
            if np.isnan(dissolved)
            else "its water solubility is not in the tables"
        )
        because = f"Whether all of it stays dissolved is not known: {missing}."
        do = "Keep a sample at 4 °C for two weeks and look for crystals."
    else:
        over = dissolved > limit * values["factor"]
        end = "" if code == PASS else ": over" if over else ": too close to call"
        because = (
            f"{number(dissolved)} g/L of {form} in the water phase; water holds about "
            f"{number(limit)} g/L{end}."
        )
        if code != PASS:
            higher = (
                " or let the pH be a little higher, where more of it is salt,"
                if c.forms.kind[j] == ACID
                else ""
            )
            do = (
                f"Lower the dose,{higher} or dissolve it in a glycol first, and look for crystals "
                "after two weeks at "
                "4 °C."
            )
    evidence = (c.tables.evidence(c.actives[name], f"solubility of {name}"),)
    subject_told = code == PASS and bool(np.isinf(limit))
    return Explanation(name, figures, because, do, evidence, subject_told=subject_told)


CHECK = Check(
    id="solubility",
    key=KeyFigure("dissolved_g_l", "g/L of the water phase"),
    compute=compute,
    judge=judge,
    explain=explain,
    tables={"systems": (), "actives": (), "ingredients": (), "partition": (), "binding": ()},
    tolerances=("ph", "scale", "oil", "binding"),
    decides="dissolved_g_l",
    must_pass=True,
    levers={"ph": UNKNOWN, "less": WARN},
    plots=("ph",),
)
