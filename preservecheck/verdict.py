"""Verdict codes on arrays, their words, and the one rule that folds many into one.

Codes are small integers so that a million verdicts are one array. Their order is the fold: the
worst of several is their maximum. A formula with an ``unknown`` is therefore never summed up as
passed, and a known fault is never hidden behind an unknown.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Codes = NDArray[np.int8]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Word = Literal["pass", "warn", "unknown"]

# the fold, from best to worst; ABSENT means that the case has no such subject
ABSENT, PASS, UNKNOWN, WARN, SERIOUS = range(5)
WORDS: tuple[Word | None, ...] = (None, "pass", "unknown", "warn", "warn")


@dataclass(frozen=True)
class Figure:
    """A number with its half-width and unit; ``None`` is not known."""

    value: float | None
    tolerance: float | None = None
    unit: str = ""


@dataclass(frozen=True)
class Finding:
    """What one check says about one subject: data first, words second."""

    id: str
    about: str
    verdict: Word
    serious: bool
    chance: float | None = None
    due_to: dict[str, float] = field(
        default_factory=dict
    )  # share of the doubt that each input brings
    figures: dict[str, Figure] = field(default_factory=dict)
    because: str = ""
    do: str | None = None
    sources: tuple[str, ...] = ()


def fold(codes: ArrayLike, axis: int = -1) -> Codes:
    """The worst code along an axis; ``ABSENT`` where nothing is there."""
    array = np.asarray(codes, dtype=np.int8)
    return np.asarray(array.max(axis=axis, initial=ABSENT), dtype=np.int8)


def code_where(*rules: tuple[ArrayLike, int], otherwise: int) -> Codes:
    """First rule that holds gives the code.

    Parameters
    ----------
    rules
        Pairs of condition and code; they broadcast together.
    otherwise
        Code where no condition holds.
    """
    conditions = np.broadcast_arrays(*(np.asarray(c, dtype=bool) for c, _ in rules))
    return np.select(list(conditions), [np.int8(v) for _, v in rules], np.int8(otherwise)).astype(
        np.int8
    )


def figure(value: object, unit: str = "", tolerance: object = None) -> Figure:
    """A figure from a numpy scalar; not-a-number becomes ``None``."""
    return Figure(value=_number(value), tolerance=_number(tolerance), unit=unit)


def _number(value: object) -> float | None:
    if value is None:
        return None
    number = float(value)  # type: ignore[arg-type]
    return number if np.isfinite(number) else None
