"""What a check is made of, and the few comparisons that all checks share."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import wraps
from types import ModuleType
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.errors import Hint
from preservecheck.verdict import ABSENT, Bools, Codes, Evidence, Figure, Floats

# rounding noise of binary numbers, far below any reading
EPSILON = 1e-9
Figures = Mapping[str, NDArray[Any]]


class Cause(NamedTuple):
    """A finding that may have caused another one."""

    check: str
    about: str


@dataclass(frozen=True)
class Explanation:
    """What a check says about one subject of one case."""

    about: str
    figures: tuple[Figure, ...]
    because: str
    do: str | None = None
    evidence: tuple[Evidence, ...] = ()
    parts: tuple[str, ...] = ()  # what ``about`` is put together from, where it has several
    subject_told: bool = False  # whether ``because`` names the subject itself
    hint: Hint | None = None  # what helps further
    # findings that would be its root, the nearest first: the first that does not pass is it
    causes: tuple[Cause, ...] = ()


@dataclass(frozen=True)
class KeyFigure:
    """The figure that a check is known by: the first in its words, and the one of a screen."""

    name: str
    unit: str = ""
    tolerance: Callable[[Figures], Floats] | None = None  # its half-width, from the figures


def about_formula(_: FormulaArrays, __: int, ___: int = 0) -> str:
    """The subject of a check that looks at the formula as a whole."""
    return "formula"


def about_system(case: FormulaArrays, j: int, i: int = 0) -> str:
    """The subject of a check that looks at each system."""
    return case.reference.systems.rows[int(case.system[i, j])].id


# what a maker can change to answer a check: the pH, the temperature of addition, the dose in its
# range, less of it, another gum, a chelator, a finer scale, a second preservative; nothing but
# another system answers the law
Lever = Literal["ph", "temperature", "dose", "less", "gum", "chelator", "scale", "partner", "law"]
# what can speak against a preservative in a formula; two that agree are no coincidence
Against = Literal["ph", "charge", "contact", "solubility"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Check:
    """What a check is made of, and all that the other rooms may ask of it.

    Each module under ``checks`` ends with its own. The other rooms go through ``CHECKS`` and pick
    by what a check declares here, never by its id.

    Parameters
    ----------
    id
        Its name in reports, JSON and on the command line.
    key
        The figure it is known by.
    compute
        Figures as arrays (..., J): cases in front, subjects last. ``criticality``, where it is
        given, is higher the nearer a subject is to its limit, or the further beyond.
    judge
        Verdict codes (..., J) from these figures.
    explain
        Words for subject ``j`` of a single case, from its figures and its code.
    tables
        Tables whose rows can change its verdict, each with its columns that are this check's own:
        a column that no check calls its own can change every check that reads the table.
    tolerances
        Names out of ``uncertainty.INPUTS`` whose spread can change the verdict.
    decides
        The figure that the verdict hangs on, where several inputs spread it. (..., J)
    holds
        What is counted over the draws, where that is not whether it passes: 1 where it holds,
        not-a-number where that cannot be known. (..., J)
    forecast
        The figure that is its chance, where it says one of itself; the share of the draws in which
        it ``holds`` is then a figure beside it.
    must_pass
        Whether a system is said to fit only where this passes; the others may warn.
    unknown_will_do
        Whether a check that must pass may stay unknown.
    levers
        What a maker can change to answer it, each with the code from which on it is pulled.
    by_trial
        Whether a trial can answer its warnings, so that a maker may settle them; never what is
        serious.
    against
        What it says against a preservative, where it does not pass because of one.
    unanswered
        What helps where no change of the recipe does, by code; what one does mend, the plan says.
    by_dose
        Whether another dose of a preservative can change its verdict.
    lines
        Where the figure that decides begins to warn and where it is serious.
    bar
        Names of the lower limit (``None``: zero), the amount and the upper limit, where it holds an
        amount between limits.
    plots
        Plots that show what it is about.
    course
        Chance of each microbe of a single case after some months, with rates at the middle (0), the
        unfavourable (1) or the favourable end (-1) of their error. (months, M)
    of_the_file
        Whether it asks about what the file says of the product, whatever preserves it.
    subject
        What subject ``j`` of case ``i`` is about, as a finding on it says.
    folds
        Whether several rows of a table may be about one matter; the most critical of them alone is
        shown.
    """

    id: str
    key: KeyFigure
    compute: Callable[[FormulaArrays], Figures]
    judge: Callable[[Figures], Codes]
    explain: Callable[[FormulaArrays, Mapping[str, float], int, int], Explanation]
    tables: Mapping[str, tuple[str, ...]]
    tolerances: tuple[str, ...] = ()
    decides: Callable[[FormulaArrays], Floats] | None = None
    holds: Callable[[FormulaArrays], Floats] | None = None
    forecast: str | None = None
    must_pass: bool = False
    unknown_will_do: bool = False
    levers: Mapping[Lever, int] = field(default_factory=dict)
    by_trial: bool = False
    against: Against | None = None
    unanswered: Mapping[int, str] = field(default_factory=dict)
    by_dose: bool = False
    lines: tuple[float, float] | None = None
    bar: tuple[str | None, str, str] | None = None
    plots: tuple[str, ...] = ()
    course: Callable[[FormulaArrays, Floats, float], Floats] | None = None
    subject: Callable[[FormulaArrays, int, int], str] = about_formula
    of_the_file: bool = False
    folds: bool = False

    @property
    def module(self) -> ModuleType:
        """The module that it stands in."""
        return sys.modules[self.compute.__module__]

    @property
    def manual(self) -> str:
        """Its manual page: the docstring of its module."""
        return self.module.__doc__ or ""

    @property
    def question(self) -> str:
        """The question that it answers: the first line of its manual page."""
        return self.manual.partition("\n")[0]

    def pulls(self, lever: Lever, code: int) -> bool:
        """Whether a verdict of this check is answered by a lever."""
        return lever in self.levers and code >= self.levers[lever]


def kept(compute: Callable[[FormulaArrays], Figures]) -> Callable[[FormulaArrays], Figures]:
    """A compute whose figures stay with the formulas, for the checks that rest on another one."""

    @wraps(compute)
    def once(case: FormulaArrays) -> Figures:
        held = case.__dict__.setdefault("_figures", {})
        if compute not in held:
            held[compute] = compute(case)
        figures: Figures = held[compute]
        return figures

    return once


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
    here, criticality = codes[case], _criticalities(figures, codes)[case]
    return sorted(
        map(int, np.flatnonzero(here != ABSENT)), key=lambda j: (-here[j], -criticality[j])
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


def warmer(met: float, tolerance: float, cool: float, written: str) -> str:
    """That a temperature is, or may be, above the one below which it does most good. [°C]"""
    if above(met - tolerance, cool):
        return f"above the {written} below which it does most good."
    return f"not clearly below {written}, where it does most good."
