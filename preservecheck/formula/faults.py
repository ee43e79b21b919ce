"""Collects every fault of a formula file, and takes values out of its tables one by one."""

from __future__ import annotations

import datetime as dt
import difflib
import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar

from preservecheck.errors import FormulaError, PreservecheckError, UnitError
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
    """The faults of one file, in the order in which they were found.

    Parameters
    ----------
    where
        The file as the user named it.
    error
        What is raised.
    """

    def __init__(self, where: str, error: type[PreservecheckError] = FormulaError) -> None:
        self.where = where
        self._error = error
        self._messages: dict[str, None] = {}
        self._left_out = 0

    @property
    def full(self) -> bool:
        """Whether further faults are only counted, so that proposals need not be worked out."""
        return len(self._messages) >= MAX_FAULTS

    def add(self, text: str) -> None:
        """Note one fault: place, what was found, what is allowed, what to do."""
        if self.full:
            self._left_out += 1
        else:
            self._messages[f"{self.where}: {text}"] = None

    def __bool__(self) -> bool:
        return bool(self._messages)

    def raise_if_any(self) -> None:
        """Report all faults together.

        Raises
        ------
        PreservecheckError
            There is at least one fault; by default a ``FormulaError``.
        """
        if not self:
            return
        messages = list(self._messages)
        if self._left_out:
            messages.append(f"{self.where}: and {self._left_out} more faults; correct these first")
        raise self._error(messages)


def shown(value: object) -> str:
    """A value as a message shows it: short, on one line, text in quotes."""
    match value:
        case bool():
            text = "true" if value else "false"
        case str():
            cut = value[:_SHOWN]
            text = (
                '"'
                + "".join(c if c.isprintable() else "?" for c in cut)
                + ("…" if cut != value else "")
                + '"'
            )
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


def not_known(written: str, allowed: Sequence[str], *, guess: bool = True) -> str:
    """What a message says about a key, field, column or word that is none of the allowed ones."""
    near = nearest_word(written, allowed) if guess else None
    meant = f"did you mean {near}? Allowed" if near else "allowed"
    return f"is not known here; {meant} are {', '.join(allowed)}"


class Section:
    """One table of the file.

    Parameters
    ----------
    raw
        The table as it was read.
    prefix
        Place of the table as messages show it in front of a key, such as ``product.``.
    faults
        Takes the faults.
    allowed
        Keys that the table may hold, any other being a fault; ``None`` where they are names.
    """

    def __init__(
        self, raw: Mapping[str, Any], prefix: str, faults: Faults, allowed: Sequence[str] | None
    ) -> None:
        self.raw = raw
        self.prefix = prefix
        self.faults = faults
        for key in raw if allowed is not None else ():
            if allowed is not None and key not in allowed:
                self.faults.add(
                    f"{prefix}{shown(key)[1:-1]} {not_known(key, allowed, guess=not faults.full)}"
                )

    def fault(self, key: str, give: str) -> None:
        """Note that a value cannot be used, and what to give instead."""
        self.faults.add(f"{self.prefix}{key} is {shown(self.raw[key])}; {give}")

    def missing(self, key: str, give: str) -> None:
        """Note that a value is needed."""
        self.faults.add(f"{self.prefix}{key} is missing; {give}")

    def text(
        self, key: str, give: str, *, needed: bool = False, longest: int = MAX_TEXT
    ) -> str | None:
        """A text without blanks around it, or ``None`` where it is absent or a fault was noted."""
        if key not in self.raw:
            if needed:
                self.missing(key, give)
            return None
        value = self.raw[key]
        if not isinstance(value, str) or not value.strip():
            self.fault(key, give)
            return None
        value = value.strip()
        if len(value) > longest:
            self.fault(key, f"it is {len(value):,} characters long; write {longest} at most")
            return None
        if any(ord(c) < ord(" ") and not (longest == MAX_NOTE and c in "\n\r\t") for c in value):
            self.fault(
                key, "it holds a line break or another control character; write it on one line"
            )
            return None
        return value

    def choice(
        self, key: str, allowed: tuple[Choice, ...], *, needed: bool = False
    ) -> Choice | None:
        """One of a closed list of words."""
        give = f"give {join_or(allowed)}"
        if key not in self.raw:
            if needed:
                self.missing(key, give)
            return None
        return self.one_of(key, self.raw[key], allowed)

    def one_of(self, key: str, value: object, allowed: tuple[Choice, ...]) -> Choice | None:
        """A value that must be one of a closed list of words."""
        for word in allowed:
            if value == word:
                return word
        near = nearest_word(value, allowed) if isinstance(value, str) else None
        meant = f"did you mean {near}? " if near else ""
        self.faults.add(f"{self.prefix}{key} is {shown(value)}; {meant}give {join_or(allowed)}")
        return None

    def number(self, key: str, low: float, high: float, give: str) -> float | None:
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
        written = " without quotation marks" if isinstance(value, str) and _is_number(value) else ""
        self.fault(key, give + written)
        return None

    def quantity(
        self, key: str, parse: Callable[[str], float], low: float, high: float, give: str
    ) -> float | None:
        """A text with a unit, as a number in the unit of ``parse``."""
        if key not in self.raw:
            return None
        value = self.raw[key]
        if isinstance(value, bool) or not isinstance(value, (str, int, float)):
            self.fault(key, give)
            return None
        try:
            number = parse(value if isinstance(value, str) else shown(value))
        except UnitError as error:
            self.faults.add(f"{self.prefix}{key}: {error.messages[0]}")
            return None
        if not low <= number <= high:
            self.fault(key, give)
            return None
        return number


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
