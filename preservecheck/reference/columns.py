"""What a cell of a table may hold, and how its text becomes a value.

A column is declared where the row class names it: ``ph_min: float = number(0, 14)``. Reading two
thousand rows at every start has to cost milliseconds, so a column is one plain function from text
to value that says what is allowed.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, NamedTuple, NoReturn, get_args


@dataclass(frozen=True, eq=False, repr=False)
class Column:
    """One column: how to read a cell, whether it may be blank, and what it may hold."""

    read: Callable[[str], Any]
    needed: bool
    blank: Any = None
    choices: tuple[str, ...] = ()
    numeric: bool = False


class Compatibility(NamedTuple):
    """A cell such as ``caution: thins weak emulsions``: a word and its reason."""

    word: str
    reason: str | None


class PartLimit(NamedTuple):
    """One part of a system that is added at two points: its substances and its own temperatures."""

    substances: tuple[str, ...]
    heat_limit_c: float
    preferred_add_below_c: float | None


def text(pattern: str | None = None, *, needed: bool = False) -> Any:
    """A text, if need be of a pattern."""
    if pattern is None:
        return Column(str, needed)
    matches = re.compile(pattern).fullmatch

    def read(cell: str) -> str:
        if matches(cell) is None:
            raise ValueError(f"give a text of the form {pattern}")
        return cell

    return Column(read, needed)


def slug() -> Any:
    """An id of small letters, digits, dots and hyphens."""
    return text(r"[a-z0-9][a-z0-9.-]*", needed=True)


def number(
    low: float | None = None,
    high: float | None = None,
    *,
    above: float | None = None,
    needed: bool = False,
) -> Any:
    """A finite number within bounds."""
    allowed = _bounds(low, high, above)

    def read(cell: str) -> float:
        try:
            value = float(cell)
        except ValueError:
            raise ValueError(allowed) from None
        if (
            not (value - value == 0)
            or (low is not None and value < low)
            or (high is not None and value > high)
            or (above is not None and value <= above)
        ):
            raise ValueError(allowed)
        return value

    return Column(read, needed, numeric=True)


def _bounds(low: float | None, high: float | None, above: float | None) -> str:
    if above is not None:
        return f"give a number above {above:g}" + (
            f", at most {high:g}" if high is not None else ""
        )
    if low is not None and high is not None:
        return f"give a number from {low:g} to {high:g}"
    return (
        f"give a number of {low:g} or more"
        if low is not None
        else "give a number, with a dot as decimal sign"
    )


def choice(words: Any, *, needed: bool = False) -> Any:
    """One of the words of a ``Literal``."""
    allowed = tuple(str(w) for w in get_args(words))
    known = frozenset(allowed)

    def read(cell: str) -> str:
        if cell not in known:
            raise ValueError(f"give {_either(allowed)}")
        return cell

    return Column(read, needed, choices=allowed)


def names(*, needed: bool = False) -> Any:
    """Texts parted by ``|``; a blank cell is none."""

    def read(cell: str) -> tuple[str, ...]:
        return tuple(part.strip() for part in cell.split("|") if part.strip())

    return Column(read, needed, ())


def day() -> Any:
    """A date, year-month-day."""

    def read(cell: str) -> dt.date:
        try:
            return dt.date.fromisoformat(cell)
        except ValueError:
            raise ValueError("give a date as 2026-12-31") from None

    return Column(read, needed=False)


def shares(*, needed: bool = False) -> Any:
    """``Aqua:0.45|DMDM Hydantoin:0.55``: names with their mass fractions, 0 to 1."""

    def read(cell: str) -> tuple[tuple[str, float], ...]:
        out = []
        for part in cell.split("|"):
            name, _, fraction = part.rpartition(":")
            try:
                value = float(fraction)
            except ValueError:
                value = -1.0
            if not name.strip() or not 0 <= value <= 1:
                raise ValueError(
                    "give names with mass fractions from 0 to 1, as in Aqua:0.45|Glycerin:0.55"
                )
            out.append((name.strip(), value))
        return tuple(out)

    return Column(read, needed, ())


def compatibility() -> Any:
    """``ok``, ``caution`` or ``avoid``, with a reason after a colon."""

    def read(cell: str) -> Compatibility:
        word, _, reason = cell.partition(":")
        if word.strip() not in ("ok", "caution", "avoid"):
            raise ValueError("give ok, caution or avoid, then a colon and the reason")
        return Compatibility(word.strip(), reason.strip() or None)

    return Column(read, needed=False)


def parts() -> Any:
    """``Imidazolidinyl Urea:40:40|Methylparaben:80:70``: parts with heat limit and preferred
    temperature. [°C]"""

    def read(cell: str) -> tuple[PartLimit, ...]:
        out = []
        for part in cell.split("|"):
            found = [*part.split(":"), "", ""][:3]
            try:
                limit, below = float(found[1]), float(found[2]) if found[2].strip() else None
            except ValueError:
                raise ValueError(
                    "give parts as Name+Name:heat limit:add below, in °C, parted by |"
                ) from None
            out.append(PartLimit(tuple(n.strip() for n in found[0].split("+")), limit, below))
        return tuple(out)

    return Column(read, needed=False, blank=())


def _plain(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


class Record:
    """A row with typed columns; it does not change once it is read."""

    key: ClassVar[tuple[str, ...]] = ("id",)
    # columns of which the first is at most the second
    ordered: ClassVar[tuple[tuple[str, str], ...]] = ()
    columns: ClassVar[Mapping[str, Column]] = {}
    blanks: ClassVar[Mapping[str, Any]] = {}
    needed: ClassVar[tuple[str, ...]] = ()
    readers: ClassVar[Mapping[str, Callable[[str], Any]]] = {}

    def __init_subclass__(cls) -> None:
        """Gather the columns, inherited ones last."""
        own = {n: c for n, c in vars(cls).items() if isinstance(c, Column)}
        for name in own:
            delattr(cls, name)
        cls.columns = {**own, **{n: c for n, c in cls.columns.items() if n not in own}}
        cls.blanks = {n: c.blank for n, c in cls.columns.items()}
        cls.readers = {n: c.read for n, c in cls.columns.items()}
        cls.needed = tuple(n for n, c in cls.columns.items() if c.needed)

    def __init__(self, **values: Any) -> None:
        unknown = set(values) - set(self.columns)
        if unknown:
            raise TypeError(f"{type(self).__name__} has no column {', '.join(sorted(unknown))}")
        self.__dict__.update(self.blanks)
        self.__dict__.update(values)

    def __setattr__(self, name: str, value: Any) -> NoReturn:
        raise AttributeError(f"{type(self).__name__} rows do not change")

    def __eq__(self, other: object) -> bool:
        return type(self) is type(other) and self.__dict__ == other.__dict__

    def __hash__(self) -> int:
        return hash((type(self), self.key_text))

    def __repr__(self) -> str:
        return f"{type(self).__name__}({self.key_text!r})"

    @property
    def key_text(self) -> str:
        """The row's key as it is shown and searched."""
        if len(self.key) == 1:
            return str(self.__dict__[self.key[0]])
        return " / ".join(str(self.__dict__[k]) for k in self.key)

    def check(self) -> None:
        """Raise ``ValueError`` where columns contradict each other; unknown cells pass."""
        for low, high in self.ordered:
            a, b = self.__dict__[low], self.__dict__[high]
            if a is not None and b is not None and a > b:
                raise ValueError(f"{low} {_plain(a)} is above {high} {_plain(b)}")

    def as_dict(self) -> dict[str, Any]:
        """Columns and values."""
        return dict(self.__dict__)


def _wanted(column: Column) -> str:
    return f"give {_either(column.choices)}" if column.choices else "this column is needed"


def _either(words: tuple[str, ...]) -> str:
    return f"{', '.join(words[:-1])} or {words[-1]}"


class CellFault(NamedTuple):
    """What is wrong with one cell, or, without a column, with a row."""

    column: str
    value: str | None  # None: the cell is empty
    allowed: str


def read_cells(
    model: type[Record], cells: Iterable[tuple[str, str]]
) -> tuple[Record | None, list[CellFault]]:
    """A row from the column and text of its cells, blank ones being unknown, or the faults
    found."""
    row = model.__new__(model)
    values = row.__dict__
    values.update(model.blanks)
    readers = model.readers
    faults: list[CellFault] = []
    for name, cell in cells:
        if cell:
            try:
                values[name] = readers[name](cell)
            except ValueError as error:
                values[name] = cell
                faults.append(CellFault(name, cell, str(error)))
    for name in model.needed:
        if values[name] is None or values[name] == ():
            faults.append(CellFault(name, None, _wanted(model.columns[name])))
    if not faults:
        try:
            row.check()
        except ValueError as error:
            faults.append(CellFault("", None, str(error)))
    return (None, faults) if faults else (row, faults)
