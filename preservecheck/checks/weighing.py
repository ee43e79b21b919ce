"""Can this scale weigh the preservative?

What is judged: for each system, one step of the scale against the grams to weigh. Taring and
reading may each be off by half a step, so the error taken is one whole step.

    fault      the error is above 10 % of the dose (serious)
    warning    it is above 8 %
    unknown    the scale's step or the batch size is not given

Why: a 0.1 g scale turns 0.5 g into anything from 0.4 to 0.6 g. A common rule wants a dose of at
least fifty steps, one step of twelve goes without a word, twenty steps are what is asked for
(common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.checks.base import Check, Explanation, Figures, KeyFigure, about_system, above
from preservecheck.checks.incompatibilities import disabled
from preservecheck.checks.legal_limit import banned
from preservecheck.text import join_and, number
from preservecheck.verdict import ABSENT, PASS, SERIOUS, UNKNOWN, WARN, Codes, code_where, figure

# fixed for this program, no outside source
SERIOUS_PERCENT = 10.0
# common practice, no source
WARN_PERCENT = 8.0
# common practice, no source
GOOD_PERCENT = 5.0


def compute(case: FormulaArrays) -> Figures:
    """Grams to weigh and the error of one scale step. (..., P)"""
    grams = case.batch_g[..., None] * case.system_percent / 100
    step = np.broadcast_to(case.scale_step_g[..., None], grams.shape)
    error = 100 * step / np.where(grams > 0, grams, np.nan)
    return {
        "grams": grams,
        "criticality": error,
        "error_percent": error,
        "scale_step_g": step,
        "present": case.has_system,
    }


def judge(figures: Figures) -> Codes:
    """Codes per system. (..., P)"""
    error = figures["error_percent"]
    return code_where(
        (~figures["present"].astype(bool), ABSENT),
        (np.isnan(error), UNKNOWN),
        (above(error, SERIOUS_PERCENT), SERIOUS),
        (above(error, WARN_PERCENT), WARN),
        otherwise=PASS,
    )


def explain(case: FormulaArrays, values: Mapping[str, float], j: int, code: int) -> Explanation:
    """Words for one system."""
    system = case.reference.systems.rows[int(case.system[0, j])]
    grams, error, step = values["grams"], values["error_percent"], values["scale_step_g"]
    figures = (figure("grams", grams, "g", step), figure("error_percent", error, "%"))
    do = None
    if code == UNKNOWN:
        missing = [
            what
            for what, given in (
                ("the smallest step of your scale (scale_step)", np.isfinite(step)),
                ("the size of the batch (batch)", np.isfinite(grams)),
            )
            if not given
        ]
        verb = "is" if len(missing) == 1 else "are"
        because = (
            f"Whether your scale can weigh this dose is not known: {join_and(missing)} {verb} "
            "not given."
        )
        do = f"Write {join_and(missing)} into the formula."
    else:
        because = (
            f"{number(grams)} g on a scale that steps by {number(step)} g may be off by "
            f"{number(error, 2)} % of the dose."
        )
        if code != PASS:
            wanted = step / (GOOD_PERCENT / 100)
            batch = wanted / values["grams"] * case.batch_g[0]
            do = (
                f"Use a scale with a step of {number(grams * GOOD_PERCENT / 100, 1)} g or less, "
                "or make at least "
                f"{number(batch)} g, or weigh a larger amount diluted in part of the water."
            )
    causes = (*disabled(case, system), *banned(case, system)) if code > PASS else ()
    return Explanation(system.id, figures, because, do, causes=causes)


CHECK = Check(
    id="weighing",
    key=KeyFigure("grams", "g", lambda f: f["scale_step_g"]),
    compute=compute,
    judge=judge,
    explain=explain,
    tables={"systems": (), "ingredients": ()},
    levers={"scale": SERIOUS},
    lines=(WARN_PERCENT, SERIOUS_PERCENT),
    subject=about_system,
    unanswered={
        code: "Make a larger batch, or weigh a larger amount diluted in part of the water."
        for code in (WARN, SERIOUS)
    },
)
