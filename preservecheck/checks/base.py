"""What a check is made of, and the few comparisons that all checks share."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.verdict import ABSENT, Bools, Codes, Evidence, Figure, Floats

# rounding noise of binary numbers, far below any reading
EPSILON = 1e-9
Figures = Mapping[str, NDArray[Any]]


@dataclass(frozen=True)
class Explanation:
    """What a check says about one subject of one case."""

    about: str
    figures: tuple[Figure, ...]
    because: str
    do: str | None = None
    evidence: tuple[Evidence, ...] = ()
    parts: tuple[str, ...] = ()  # what ``about`` is put together from, where it has several


@dataclass(frozen=True)
class KeyFigure:
    """The figure that a check is known by: the first of its words, and the one that a screen of
    many shows."""

    name: str
    unit: str = ""
    tolerance: Callable[[Figures], Floats] | None = None  # its half-width, from the figures


class Check(Protocol):
    """A check module. Its docstring is its manual page, printed by ``preservecheck explain``."""

    __doc__: str | None
    ID: str
    TOLERANCES: tuple[str, ...]  # inputs of uncertainty.INPUTS whose spread can change the verdict
    DECIDES: str | None  # the figure that the verdict hangs on, where several inputs spread it
    KEY: KeyFigure

    @staticmethod
    def compute(case: FormulaArrays) -> Figures:
        """Figures as arrays (..., J): cases in front, subjects last.

        ``pressure``, where it is given, is higher the nearer a subject is to its limit, or the
        further beyond.
        """

    @staticmethod
    def judge(figures: Figures) -> Codes:
        """Verdict codes (..., J)."""

    @staticmethod
    def explain(case: FormulaArrays, one: Mapping[str, float], j: int, code: int) -> Explanation:
        """Words for subject ``j`` of a single case, from its figures."""


def most_critical(figures: Figures, codes: Codes) -> NDArray[np.intp]:
    """The subject that decides: of the worst code the one nearest to its limit, of several alike
    the first. (...,)

    Parameters
    ----------
    figures
        Of a check.
    codes
        Of its subjects, shape (..., J) with J of 1 or more.
    """
    worst = codes == codes.max(axis=-1, keepdims=True)
    return np.asarray(np.where(worst, _criticalities(figures, codes), -np.inf).argmax(axis=-1))


def most_critical_first(figures: Figures, codes: Codes, case: int = 0) -> list[int]:
    """The subjects that are there in one of several cases: the worst first, of several alike the
    hardest pressed.

    Parameters
    ----------
    figures
        Of a check.
    codes
        Of its subjects, shape (N, J).
    case
        Which case.
    """
    mine, criticality = codes[case], _criticalities(figures, codes)[case]
    return sorted(
        map(int, np.flatnonzero(mine != ABSENT)), key=lambda j: (-mine[j], -criticality[j])
    )


def _criticalities(figures: Figures, codes: Codes) -> Floats:
    """How hard each subject is pressed, the least where it is not known. As the codes"""
    criticality = np.broadcast_to(
        np.asarray(figures.get("criticality", 0.0), dtype=float), codes.shape
    )
    return np.asarray(np.nan_to_num(criticality, nan=-1e300))


def above(value: ArrayLike, limit: ArrayLike) -> Bools:
    """Value over a limit by more than rounding noise; false where either is unknown."""
    return np.asarray(np.asarray(value) > np.asarray(limit) + EPSILON)


def below(value: ArrayLike, limit: ArrayLike) -> Bools:
    """Value under a limit by more than rounding noise; false where either is unknown."""
    return np.asarray(np.asarray(value) < np.asarray(limit) - EPSILON)
