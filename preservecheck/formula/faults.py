"""Collects every fault of a formula file, and takes values out of its tables one by one."""

from __future__ import annotations

import datetime as dt
import difflib
import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar

from preservecheck.errors import Fault, FormulaError, Hint, PreservecheckError, RawPath, UnitError
from preservecheck.text import join_or

Choice = TypeVar("Choice", bound=str)

# nobody reads more than this; the rest is counted
MAX_FAULTS = 50
# a name is printed on labels and in tables
MAX_TEXT = 200
MAX_NOTE = 2000
_SHOWN = 60
_SHOWN_DIGITS = 15


class Faults:
    """The faults of one file, in the order in which they were found, and what they raise."""

    def __init__(self, where: str, error: type[PreservecheckError] = FormulaError) -> None:
        self.where = where
        self._error = error
        self._faults: dict[Fault, None] = {}
        self._left_out = 0

    @property
    def full(self) -> bool:
        """Whether further faults are only counted, so that proposals need not be worked out."""
        return len(self._faults) >= MAX_FAULTS

    def add(self, found: str, allowed: str = "", **rest: Any) -> None:
        """Note one fault; see ``Fault`` for what else it may carry."""
        self.include(Fault(found, allowed, **rest))

    def include(self, fault: Fault) -> None:
        """Note a fault that is there already."""
        if self.full:
            self._left_out += 1
        else:
            self._faults[fault.within(where=self.where)] = None

    def __bool__(self) -> bool:
        return bool(self._faults)

    def raise_if_any(self) -> None:
        """Report all faults together, by default as a ``FormulaError``."""
        if not self:
            return
        faults = list(self._faults)
        if self._left_out:
            faults.append(
                Fault(f"and {self._left_out} more faults", "correct these first", where=self.where)
            )
        raise self._error(faults)


def shown(value: object) -> str:
    """A value as a message shows it: short, on one line, text in quotes."""
    match value:
        case bool():
            text = "true" if value else "false"
        case str():
            visible = "".join(c if c.isprintable() else "?" for c in value[:_SHOWN])
            text = f'"{visible}{"…" if len(value) > _SHOWN else ""}"'
        case int():
            text = str(value) if abs(value) < 10**_SHOWN_DIGITS else "a very large number"
        case float():
            text = f"{value:.12g}"
        case dt.date() | dt.time():
            text = value.isoformat()
        case dict():
            text = "a table"
        case list() | tuple():
            text = "a list"
        case _:
            text = "empty" if value is None else type(value).__name__
    return text


def nearest_word(written: str, allowed: Sequence[str]) -> str | None:
    """The allowed word that looks most like a written one, or ``None``."""
    known = {w.casefold(): w for w in allowed}
    near = difflib.get_close_matches(written[:MAX_TEXT].strip().casefold(), known, n=1, cutoff=0.6)
    return known[near[0]] if near else None


def not_known(written: str, allowed: Sequence[str], *, guess: bool = True) -> tuple[str, str]:
    """What is wrong with a key, column or word that is none of the allowed ones, and what is
    allowed."""
    near = nearest_word(written, allowed) if guess else None
    meant = f"did you mean {near}? Allowed" if near else "allowed"
    return "is not known here", f"{meant} are {', '.join(allowed)}"


class Section:
    """One table of the file, at a path, with the keys that it may hold; ``None`` for any.

    ``place`` is the path in words; without it the names of the keys begin with the path.
    """

    def __init__(
        self,
        raw: Mapping[str, Any],
        faults: Faults,
        path: RawPath,
        allowed: Sequence[str] | None,
        place: str | None = None,
    ) -> None:
        self.raw = raw
        self.faults = faults
        self.path = path
        self.place = place or ""
        self._prefix = "".join(f"{p}." for p in path) if place is None else ""
        for key in raw if allowed is not None else ():
            if allowed is not None and key not in allowed:
                self.add(key, *not_known(key, allowed, guess=not faults.full))

    def add(
        self, key: str, found: str, allowed: str = "", value: str = "", hint: Hint | None = None
    ) -> None:
        """Note a fault of one key; without a key, of the table."""
        path = (*self.path, key) if key else self.path
        name = self._prefix + shown(key)[1:-1] if key else ""
        self.faults.add(
            found, allowed, path=path, place=self.place, name=name, value=value, hint=hint
        )

    def fault(self, key: str, allowed: str, hint: Hint | None = None) -> None:
        """Note that a value cannot be used, and what to give instead."""
        self.add(key, "", allowed, shown(self.raw[key]), hint)

    def missing(self, key: str, allowed: str, hint: Hint | None = None) -> None:
        """Note that a value is needed."""
        self.add(key, "is missing", allowed, hint=hint)

    def text(
        self, key: str, allowed: str, *, needed: bool = False, longest: int = MAX_TEXT
    ) -> str | None:
        """A text without blanks around it, or ``None`` where it is absent or a fault was noted."""
        if key not in self.raw:
            if needed:
                self.missing(key, allowed)
            return None
        value = self.raw[key]
        if not isinstance(value, str) or not value.strip():
            self.fault(key, allowed, None if isinstance(value, str) else Hint.QUOTES)
            return None
        value = value.strip()
        if len(value) > longest:
            found = f"is {len(value):,} characters long"
            self.add(key, found, f"write {longest} at most", shown(self.raw[key]))
            return None
        if any(ord(c) < ord(" ") and not (longest == MAX_NOTE and c in "\n\r\t") for c in value):
            found = "holds a line break or another control character"
            self.add(key, found, "write it on one line", shown(self.raw[key]))
            return None
        return value

    def choice(
        self, key: str, allowed: tuple[Choice, ...], *, needed: bool = False
    ) -> Choice | None:
        """One of a closed list of words."""
        if key not in self.raw:
            if needed:
                self.missing(key, f"give {join_or(allowed)}")
            return None
        return self.one_of(key, self.raw[key], allowed)

    def one_of(self, key: str, value: object, allowed: tuple[Choice, ...]) -> Choice | None:
        """A value that must be one of a closed list of words."""
        for word in allowed:
            if value == word:
                return word
        near = nearest_word(value, allowed) if isinstance(value, str) else None
        give = f"did you mean {near}? Give" if near else "give"
        self.add(key, "", f"{give} {join_or(allowed)}", shown(value))
        return None

    def number(self, key: str, low: float, high: float, allowed: str) -> float | None:
        """A number from ``low`` to ``high``."""
        if key not in self.raw:
            return None
        value = self.raw[key]
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            try:
                number = float(value)
            except OverflowError:
                number = math.inf
            if math.isfinite(number) and low <= number <= high:
                return number
        quoted = isinstance(value, str) and _is_number(value)
        self.fault(key, allowed, Hint.NO_QUOTES if quoted else None)
        return None

    def quantity(
        self, key: str, parse: Callable[[str], float], low: float, high: float, allowed: str
    ) -> float | None:
        """A text with a unit, as a number in the unit of ``parse``."""
        if key not in self.raw:
            return None
        value = self.raw[key]
        if isinstance(value, bool) or not isinstance(value, (str, int, float)):
            self.fault(key, allowed)
            return None
        try:
            number = parse(value if isinstance(value, str) else shown(value))
        except UnitError as error:
            for fault in error.faults:
                self.add(key, fault.found, fault.allowed, fault.value)
            return None
        if not low <= number <= high:
            self.fault(key, allowed)
            return None
        return number


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
