"""Asks what a listed preservative is there for, where the file does not say and the law differs."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.law import rules
from preservecheck.checks import with_key
from preservecheck.text import join_and
from preservecheck.verdict import WARN, Floats


def purpose_questions(case: FormulaArrays) -> tuple[str, ...]:
    """A question for each ingredient line that preserves, if it does, under another rule than for
    any other purpose.

    Parameters
    ----------
    case
        A single formula.
    """
    return tuple(
        f"{line}: is it there to preserve? For another purpose the law is another one "
        f"({join_and(sorted(markets))}). If it is not, write its purpose on its line"
        for line, markets in _open(case)
    )


def _open(case: FormulaArrays) -> Iterator[tuple[str, set[str]]]:
    """Lines whose purpose decides, and the markets where it does."""
    if not case.compositions:
        return
    composition, index = case.compositions[0], case.reference.index
    lines = [line for phase in composition.formula.phases for line in phase.lines]
    as_it_is = _warned(case)
    for at, line in enumerate(lines):
        held = [p for p in composition.portions if p.line == at and p.preserving]
        if line.kind != "ingredient" or line.purpose is not None or not held:
            continue
        taken: Floats = np.zeros_like(case.preserving)
        for portion in held:
            taken[0, index[portion.substance]] += portion.percent
        other = case.with_(preserving=np.maximum(case.preserving - taken, 0.0))
        if markets := {market for market, _ in as_it_is ^ _warned(other)}:
            yield line.name, markets


def _warned(case: FormulaArrays) -> frozenset[tuple[str, int]]:
    """Rules of the law that a formula does not keep: the market, and which."""
    law = with_key("percent_as_limited")
    codes = np.atleast_2d(law.judge(law.compute(case)))[0]
    found = np.flatnonzero(codes >= WARN)
    return frozenset((rules(case.reference)[r].market, int(r)) for r in found)
