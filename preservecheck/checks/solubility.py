"""Does the preservative stay dissolved?

What is judged: for each active, its working form free in the water phase, before any cap, against
what the water phase dissolves of it (the undissociated form for an acid). A solubility that was
read is taken as good to a factor 1.15, a recalled one to a factor 1.5.

    fault      over the solubility even at the upper end of its error (serious)
    warning    over it, but within its error; or a booster that disperses rather than crystallises
               is over
    unknown    the solubility is not known, or the pH was not measured and the active is an acid or
               a base
    pass       up to the solubility; up to 1.2 times of it where a surfactant (1 %, cationic 0.3 %)
               or ten times its weight of benzyl alcohol or phenoxyethanol is there (common
               practice, no source)

Formula: log10 of the solubility rises by sigma f with ethanol, glycols and glycerin, f their share
of the water phase by volume (up to 0.3 together): sigma = 0.95 log P + 0.30 for ethanol, 0.78 log P
+ 0.37 for propylene glycol (other glycols are taken alike), 0.35 log P + 0.28 for glycerin. Good to
0.2, 0.14 and 0.3 in sigma; the last was never checked.

Why: what is over falls out as crystals or droplets, often only in the cold; it protects nothing and
can be felt.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from preservecheck.arrays.forms import ACID
from preservecheck.arrays.formulas import WATER_DENSITY, FormulaArrays, over
from preservecheck.arrays.tables import TableArrays
from preservecheck.checks.base import Check, Explanation, Figures, KeyFigure, above
from preservecheck.checks.ph_range import beyond_effective
from preservecheck.chemistry import uptake
from preservecheck.chemistry.summation import weighed_sum
from preservecheck.text import number
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

# the tables' mark for a substance that mixes with water in all shares; g/L
MISCIBLE_G_L = 1000.0
# common practice, no source
DISSOLVED_BY_OTHERS, SOLVENT_TO_SOLUTE = 1.2, 10.0
SURFACTANT_MIN_PERCENT, CATIONIC_MIN_PERCENT = 1.0, 0.3
AROMATIC_ALCOHOLS = ("Benzyl Alcohol", "Phenoxyethanol")
MOST_COSOLVENT = 0.3


class Cosolvent(NamedTuple):
    """How a solvent in the water raises solubility: sigma = slope log P + constant."""

    materials: tuple[str, ...]
    density_g_ml: float
    slope: float
    constant: float
    error: float  # half-width of sigma


# recalled, checked on ten read values but for glycerin (chemistry/uptake.py); densities recalled
COSOLVENTS = (
    Cosolvent(("inci:Alcohol", "inci:Isopropyl Alcohol"), 0.79, 0.95, 0.30, 0.20),
    Cosolvent(
        (
            "inci:Propylene Glycol",
            "inci:Propanediol",
            "inci:Butylene Glycol",
            "inci:Dipropylene Glycol",
            "inci:Hexylene Glycol",
            "inci:Methylpropanediol",
            "inci:Pentylene Glycol",
            "inci:Triethylene Glycol",
            "inci:1,2-Hexanediol",
        ),
        1.03,
        0.78,
        0.37,
        0.14,
    ),
    Cosolvent(("inci:Glycerin",), 1.26, 0.35, 0.28, 0.30),
)


def compute(case: FormulaArrays) -> Figures:
    """Dissolved working form and its solubility. (..., F)"""
    forms = case.reference.forms
    known = np.where(forms.solubility_g_l >= MISCIBLE_G_L, np.inf, forms.solubility_g_l)
    dissolved = 10 * case.free_uncapped
    raised, doubt = _cosolvents(case)
    solubility = known * raised
    return {
        "dissolved_g_l": dissolved,
        "criticality": dissolved / solubility,
        "solubility_g_l": np.broadcast_to(solubility, dissolved.shape),
        "factor": np.broadcast_to(forms.solubility_factor * doubt, dissolved.shape),
        "slack": np.broadcast_to(_slack(case), dissolved.shape),
        "disperses": np.broadcast_to(_boosters(case.reference), dissolved.shape),
        "present": np.broadcast_to(case.acting_pct > 0, dissolved.shape),
    }


def _cosolvents(case: FormulaArrays) -> tuple[Floats, Floats]:
    """By how much the solvents in the water raise the solubility, and how far off that may be, as
    factors. (..., F) each"""
    c = case.reference
    share = over(
        np.stack(
            [
                weighed_sum(case.amount, c.matching(s.materials) / s.density_g_ml)
                for s in COSOLVENTS
            ],
            axis=-1,
        ),
        case.water_phase_pct / WATER_DENSITY,
    )
    total = share[..., 0] + share[..., 1] + share[..., 2]
    share = (
        share
        * np.where(total > MOST_COSOLVENT, MOST_COSOLVENT / np.fmax(total, 1e-9), 1.0)[..., None]
    )
    # where log P is not known nothing is counted
    log_p = np.nan_to_num(c.forms.log_p)
    shape = (*share.shape[:-1], len(log_p))
    logarithm, doubt = np.zeros(shape), np.zeros((*share.shape[:-1], 1))
    for i, solvent in enumerate(COSOLVENTS):
        sigma = np.where(np.isnan(c.forms.log_p), 0.0, solvent.slope * log_p + solvent.constant)
        change = uptake.cosolvent_log_activity(np.maximum(sigma, 0.0), share[..., i, None])
        logarithm = logarithm - change
        doubt = doubt + solvent.error * share[..., i, None]
    return 10**logarithm, 10**doubt


def _slack(case: FormulaArrays) -> Floats:
    """How far above its solubility in water an active may lie before it is too much. (..., F)"""
    c = case.reference
    surfactant = weighed_sum(
        case.amount,
        c.role("anionic surfactant", "amphoteric surfactant", "nonionic surfactant").astype(float),
    )
    cationic = weighed_sum(case.amount, c.role("cationic surfactant").astype(float))
    micelles = (surfactant >= SURFACTANT_MIN_PERCENT) | (cationic >= CATIONIC_MIN_PERCENT)
    alcohols = [c.forms.index[name] for name in AROMATIC_ALCOHOLS if name in c.forms.index]
    alcohol = case.acting_pct[..., alcohols].sum(axis=-1)
    solvent = alcohol[..., None] >= SOLVENT_TO_SOLUTE * case.acting_pct
    return np.where(micelles[..., None] | solvent, DISSOLVED_BY_OTHERS, 1.0)


def _boosters(reference: TableArrays) -> Bools:
    return np.array(
        [reference.actives[f].role == "booster" for f in reference.forms.names], dtype=bool
    )


def judge(figures: Figures) -> Codes:
    """Codes per active. (..., F)"""
    dissolved, limit = figures["dissolved_g_l"], figures["solubility_g_l"]
    most = limit * np.maximum(figures["factor"], figures["slack"])
    return code_where(
        (~figures["present"].astype(bool), ABSENT),
        (np.isinf(limit), PASS),
        (np.isnan(dissolved) | np.isnan(limit), UNKNOWN),
        (above(dissolved, most) & ~figures["disperses"].astype(bool), SERIOUS),
        (above(dissolved, limit * figures["slack"]), WARN),
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
        within = dissolved <= limit * max(values["factor"], values["slack"])
        end = "" if code == PASS else ": over, but within its error" if within else ": over"
        holder = "it" if limit > 1.01 * c.forms.solubility_g_l[j] else "water"
        because = (
            f"{number(dissolved)} g/L of {form} in the water phase; {holder} holds about "
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
    causes = beyond_effective(case) if code == UNKNOWN and np.isnan(dissolved) else ()
    return Explanation(
        name, figures, because, do, evidence, subject_told=subject_told, causes=causes
    )


def subject(case: FormulaArrays, j: int, _: int = 0) -> str:
    """The active."""
    return case.reference.forms.names[j]


CHECK = Check(
    id="solubility",
    key=KeyFigure("dissolved_g_l", "g/L of the water phase"),
    compute=compute,
    judge=judge,
    explain=explain,
    tables={"systems": (), "actives": (), "ingredients": (), "partition": (), "binding": ()},
    tolerances=("ph", "scale", "oil", "binding"),
    decides=lambda case: case.free_uncapped,
    must_pass=True,
    levers={"ph": UNKNOWN, "less": WARN},
    plots=("ph",),
    subject=subject,
    against="solubility",
    by_dose=True,
    unanswered={
        code: "Dissolve it in a glycol first, and look for crystals after two weeks at 4 °C."
        for code in (WARN, SERIOUS)
    },
)
