"""Verdict codes on arrays, their words, and the one rule that folds many into one.

Codes are small integers so that a million verdicts are one array. Their order is the fold: the
worst of several is their maximum. A formula with an ``unknown`` is therefore never summed up as
passed, and a known fault is never hidden behind an unknown.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from preservecheck.errors import Hint

Codes = NDArray[np.int8]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = np.ndarray[tuple[int, ...], np.dtype[np.int64]]
Word = Literal["pass", "warn", "unknown"]

# the fold, from best to worst; ABSENT means that the case has no such subject
ABSENT, PASS, UNKNOWN, WARN, SERIOUS = range(5)
WORDS: tuple[Word | None, ...] = (None, "pass", "unknown", "warn", "warn")


@dataclass(frozen=True)
class Figure:
    """A number with its half-width and unit; ``None`` is not known."""

    name: str
    value: float | None
    tolerance: float | None = None
    unit: str = ""
    of: str | None = None  # the active that it belongs to

    @property
    def key(self) -> str:
        """Its name in JSON: ``ph``, ``free_percent.Benzoic Acid``."""
        return self.name if self.of is None else f"{self.name}.{self.of}"

    def to_json(self) -> dict[str, Any]:
        """Value, tolerance and unit."""
        return {"value": self.value, "tolerance": self.tolerance, "unit": self.unit}


@dataclass(frozen=True)
class Evidence:
    """What a statement rests on: a row of a table, or what was taken for want of one."""

    row: Any = None  # of any table
    what: str | None = None  # whose figure it is: ``MIC of Benzoic Acid``
    said: str | None = None  # where the row comes from, or what was taken; none: not cited
    own: bool = False  # whether the row stands in the user's own tables

    @property
    def text(self) -> str | None:
        """The line in a list of sources; none where the row is used but not cited."""
        return self.said if self.what is None else f"{self.what}: {self.said}"


def sources_of(evidence: Iterable[Evidence]) -> tuple[str, ...]:
    """What is cited, each source once."""
    return tuple(dict.fromkeys(text for e in evidence if (text := e.text) is not None))


@dataclass(frozen=True)
class Settlement:
    """What a trial showed, and whether what it was made on is still the same."""

    on: dt.date
    by: str
    saw: str
    holds: bool

    def to_json(self) -> dict[str, Any]:
        """Day, initials, what was seen, and whether it still holds."""
        return {"on": self.on.isoformat(), "by": self.by, "saw": self.saw, "holds": self.holds}


@dataclass(frozen=True)
class Finding:
    """What one check says about one subject: data first, words second."""

    id: str
    about: str
    verdict: Word
    serious: bool
    chance: float | None = None
    # share of the doubt that each input brings
    due_to: dict[str, float] = field(default_factory=dict)
    figures: tuple[Figure, ...] = ()
    because: str = ""
    do: str | None = None
    changes: tuple[dict[str, Any], ...] = ()  # edits of the formula that do it, as JSON
    evidence: tuple[Evidence, ...] = ()
    parts: tuple[str, ...] = ()  # what ``about`` is put together from: substances, then the market
    chance_told: bool = False  # whether ``because`` gives the chance of passing itself
    subject_told: bool = False  # whether ``because`` names the subject itself
    hint: Hint | None = None  # what helps further, for a front end to word
    # checks and subjects of findings that would cause this one, the nearest first, and the one that
    # does: what mends it mends this one as well
    causes: tuple[tuple[str, str], ...] = ()
    root: tuple[str, str] | None = None
    settled: Settlement | None = None  # the maker's answer by a trial
    # figures and amounts of a warning that a trial can answer
    rests_on: dict[str, float] = field(default_factory=dict)

    @property
    def sources(self) -> tuple[str, ...]:
        """What is cited, each source once."""
        return sources_of(self.evidence)

    @property
    def own(self) -> bool:
        """Whether it rests on a row of the user's own tables."""
        return any(e.own for e in self.evidence)

    def figure(self, name: str, of: str | None = None) -> Figure | None:
        """The figure of that name, or of that name and active."""
        return next((f for f in self.figures if f.name == name and f.of == of), None)

    def value(self, name: str, of: str | None = None) -> float | None:
        """The value of a figure; ``None`` where it is not known or not among the figures."""
        found = self.figure(name, of)
        return None if found is None else found.value

    def to_json(self) -> dict[str, Any]:
        """The finding with the keys that other programs read, in a fixed order."""
        return {
            "id": self.id,
            "about": self.about,
            "verdict": self.verdict,
            "serious": self.serious,
            "chance": self.chance,
            "due_to": dict(self.due_to),
            "figures": {f.key: f.to_json() for f in self.figures},
            "because": self.because,
            "do": self.do,
            "changes": [dict(change) for change in self.changes],
            "root": None if self.root is None else list(self.root),
            "settled": None if self.settled is None else self.settled.to_json(),
            "rests_on": dict(self.rests_on),
            "sources": list(self.sources),
        }


@dataclass(frozen=True)
class LabelStatement:
    """A statement that a market wants on the pack."""

    market: str  # with its region, where the rule is a region's: ``US (California)``
    statement: str  # in quotation marks where the law gives the wording
    why: str | None  # the substances that ask for it, with their sum
    evidence: Evidence

    @property
    def text(self) -> str:
        """Statement and reason, without market and source."""
        return self.statement if self.why is None else f"{self.statement} ({self.why})"

    @property
    def line(self) -> str:
        """The statement in one line, as JSON gives it."""
        source = f" [{self.evidence.text}]" if self.evidence.text else ""
        return f"{self.market}: {self.text}{source}"


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


def figure(
    name: str, value: object, unit: str = "", tolerance: object = None, of: str | None = None
) -> Figure:
    """A figure from a numpy scalar; not-a-number becomes ``None``."""
    return Figure(name, _number(value), _number(tolerance), unit, of)


def _number(value: object) -> float | None:
    if value is None:
        return None
    number = float(value)  # type: ignore[arg-type]
    return number if np.isfinite(number) else None
