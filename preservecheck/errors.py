"""What can be wrong with what a user gives us, as data. Only ``cli`` and ``page`` catch these.

A fault says where it is, what was found and what is allowed. What helps further is named by a
``Hint``, which each front end words for its own user.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from dataclasses import KW_ONLY, dataclass
from enum import StrEnum, auto
from types import MappingProxyType
from typing import Any

# place in what was read, such as ("phase", 0, "items", 2, "percent")
RawPath = tuple[str | int, ...]
NO_WORDS: Mapping[Hint, str] = MappingProxyType({})


class Hint(StrEnum):
    """What helps the user further."""

    # formula files
    FORMULA_EXAMPLE = auto()  # where to get a formula to start from
    LIST_SYSTEMS = auto()  # where all preservative systems are listed
    MARKETS_LIST = auto()  # how several markets are written
    PHASE_TABLE = auto()  # how a phase begins
    PHASE_LINES = auto()  # how the lines of a phase are written
    LINE_NAME = auto()  # how a line names an ingredient or a preservative
    REST_LINE = auto()  # how the line that fills up is marked
    QUOTES = auto()  # text stands in quotation marks
    NO_QUOTES = auto()  # numbers stand without quotation marks
    BLEND_PARTS = auto()  # how a blend is written
    SYSTEM_LINE = auto()  # how a preservative system is written on a line
    SYSTEM_IN_SHEET = auto()
    NEW_INGREDIENT = auto()  # how an unknown ingredient is described
    NEW_INGREDIENT_IN_SHEET = auto()
    OVERWRITE = auto()
    # tables
    TABLES_FOLDER = auto()  # how the folder of own tables is given
    LIST_TABLE = auto()  # where the rows of a table are listed
    LIST_TABLES = auto()  # how tables and rows are looked at
    SHOW_ROW = auto()  # how one row is printed in full
    # choices of a ranking or a screen
    RANK_SYSTEMS = auto()  # what ranks the systems for a formula
    PRODUCTS = auto()  # the table of the products beside one of lines
    START_ANEW = auto()  # a run that cannot be gone on with
    FEWER_JOBS = auto()  # less at the same time takes less memory
    # bench
    FORMULA = auto()
    BATCH = auto()  # the size of the batch
    ROOM = auto()  # the temperature of the room
    ADDED = auto()  # the time of an addition
    TARGET = auto()  # the pH to reach
    TITRATION = auto()
    ADJUST_PH = auto()  # what works out the amount of acid or base
    # evidence
    STANDARD = auto()  # the standard of a challenge test
    RESULT_FILE = auto()  # what writes the results of a test
    KEEP = auto()  # what keeps a result with its formula
    RECORD = auto()  # what writes a decision record
    # what is printed
    EXPLAIN = auto()  # where the rule of a check is printed
    EXPLAIN_RANKING = auto()
    REVIEW = auto()
    WRITE_ALL = auto()


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong."""

    found: str  # such as "is missing"; empty where the value alone says it
    allowed: str = ""  # or what to do
    _: KW_ONLY
    where: str = ""  # the file, as the user named it
    path: RawPath = ()  # in what was read: ("phase", 0, "items", 2, "percent")
    place: str = ""  # the same in words, without the field: phase "heated", line 3 (Glycerin)
    name: str = ""  # the field, as the file calls it: percent
    value: str = ""  # what is in it, as ``shown`` prints it
    hint: Hint | None = None  # what helps further
    paste: str = ""  # a block for the user's file

    def text(self, hints: Mapping[Hint, str] = NO_WORDS) -> str:
        """The fault in words, with its hint in those of a front end.

        Examples
        --------
        >>> Fault("", "give a number from 0 to 100", place="line 3", name="percent",
        ...       value="200").text()
        'line 3: percent is 200; give a number from 0 to 100'
        """
        if self.value and self.found:
            clause = ": ".join(filter(None, (self.name, f"{self.value} {self.found}")))
        else:
            clause = " ".join(
                filter(None, (self.name, f"is {self.value}" if self.value else self.found))
            )
        allowed = f"; {self.allowed}" if self.allowed and clause else self.allowed
        text = ": ".join(filter(None, (self.where, self.place, f"{clause}{allowed}")))
        help_text = hints.get(self.hint, "") if self.hint is not None else ""
        if help_text and self.allowed:
            text += f". {help_text[0].upper()}{help_text[1:]}"
        elif help_text:
            text += f"; {help_text}"
        return f"{text}\n\n{self.paste}" if self.paste and help_text else text

    def within(self, *, where: str = "", place: str = "", path: RawPath = ()) -> Fault:
        """The same fault as part of something larger; what it says of its own place stays."""
        return dataclasses.replace(
            self,
            where=self.where or where,
            place=": ".join(filter(None, (place, self.place))),
            path=(*path, *self.path),
        )


class PreservecheckError(Exception):
    """Faults in the user's input: all that were found, not the first alone.

    A single one may be given by its parts, as ``Fault`` takes them.
    """

    def __init__(
        self, faults: str | Fault | Iterable[Fault], allowed: str = "", **rest: Any
    ) -> None:
        if isinstance(faults, str):
            faults = Fault(faults, allowed, **rest)
        self.faults = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(self.messages))

    def __reduce__(self) -> tuple[type[PreservecheckError], tuple[tuple[Fault, ...]]]:
        return type(self), (self.faults,)

    @property
    def messages(self) -> tuple[str, ...]:
        """Each fault in words, without hints."""
        return tuple(fault.text() for fault in self.faults)


class FormulaError(PreservecheckError):
    """The formula file cannot be used as it stands."""


class TableError(PreservecheckError):
    """A table, ours or the user's own, has a fault."""


class UnitError(PreservecheckError):
    """A quantity is written in a unit that is not known here."""


class ReadingsError(PreservecheckError):
    """A file of readings or counts cannot be used as it stands."""
