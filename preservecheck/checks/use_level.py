"""Is the amount inside the supplier's usage range?

What is judged: for each system, the percentage of the system as supplied, all its lines together,
against the usage range.

    fault      above the maximum or below the minimum (serious)
    warning    below the minimum, where nobody named the system: a single substance was recognised
               from its own line
               and may be there as a helper

Why: below the range it does not protect, above it it irritates, and the supplier's papers no longer
cover it. The law is another check (legal-limit), and a range can exceed the law.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.checks.base import (
    Check,
    Explanation,
    Figures,
    KeyFigure,
    about_system,
    above,
    below,
)
from preservecheck.checks.legal_limit import over_the_law
from preservecheck.text import number
from preservecheck.verdict import ABSENT, PASS, SERIOUS, UNKNOWN, WARN, Codes, code_where, figure


def compute(case: FormulaArrays) -> Figures:
    """Percent of each system and its range. (..., P)"""
    c, percent = case.reference, case.system_percent
    low = case.system_values(c.systems.column("usage_min_percent"))
    high = case.system_values(c.systems.column("usage_max_percent"))
    return {
        "percent": percent,
        "percent_min": low,
        "percent_max": high,
        "criticality": np.maximum(low - percent, percent - high),
        "present": case.has_system,
        "declared": case.declared,
    }


def judge(figures: Figures) -> Codes:
    """Codes per system. (..., P)"""
    low = below(figures["percent"], figures["percent_min"])
    high = above(figures["percent"], figures["percent_max"])
    unknown = np.isnan(figures["percent_min"]) | np.isnan(figures["percent_max"])
    return code_where(
        (~figures["present"].astype(bool), ABSENT),
        (unknown, UNKNOWN),
        (high, SERIOUS),
        (low & ~figures["declared"].astype(bool), WARN),
        (low, SERIOUS),
        otherwise=PASS,
    )


def explain(case: FormulaArrays, values: Mapping[str, float], j: int, code: int) -> Explanation:
    """Words for one system."""
    system = case.reference.systems.rows[int(case.system[0, j])]
    percent, low, high = values["percent"], values["percent_min"], values["percent_max"]
    unit = "% of the formula"
    figures = (
        figure("percent", percent, unit),
        figure("percent_min", low, unit),
        figure("percent_max", high, unit),
    )
    span = f"{number(low)} to {number(high)} %"
    do = None
    batch = case.batch_g[0]
    if code == UNKNOWN:
        because = f"No usage range is known to these tables for {system.id}."
        do = (
            "Take the range from the supplier's data sheet and add it as a row of your own "
            "systems.csv."
        )
    elif code == PASS:
        because = f"{number(percent)} % lies inside {span}."
    elif code == WARN:
        because = (
            f"{number(percent)} % is below {span}, the range in which {system.id} protects; at "
            "this level it "
            "only helps another preservative."
        )
        do = f"If it is to protect, use at least {_amount(low, batch)}."
    elif percent > high:
        because = f"{number(percent)} % is above {span}."
        do = f"Use at most {_amount(high, batch)}."
    else:
        because = f"{number(percent)} % is below {span}: too little to protect."
        do = f"Use at least {_amount(low, batch)}, or leave it out."
    causes = tuple(over_the_law(case, system)) if code > PASS and percent > high else ()
    evidence = (case.reference.tables.evidence(system),)
    return Explanation(system.id, figures, because, do, evidence, causes=causes)


def _amount(percent: float, batch_g: float) -> str:
    grams = f" ({number(percent / 100 * batch_g)} g in this batch)" if np.isfinite(batch_g) else ""
    return f"{number(percent)} %{grams}"


CHECK = Check(
    id="use-level",
    key=KeyFigure("percent", "% of the formula"),
    compute=compute,
    judge=judge,
    explain=explain,
    tables={"systems": ("usage_min_percent", "usage_max_percent"), "ingredients": ()},
    must_pass=True,
    levers={"dose": UNKNOWN},
    bar=("percent_min", "percent", "percent_max"),
    plots=("dose",),
    subject=about_system,
    by_dose=True,
    unanswered={
        WARN: "Ask the supplier what it does at this dose.",
        SERIOUS: "No dose in its range suits this formula: take another system.",
    },
)
