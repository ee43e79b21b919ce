"""What can go wrong with what a user gives us. Only ``cli`` and ``page`` catch these."""

from __future__ import annotations

from collections.abc import Iterable


class PreservecheckError(Exception):
    """A fault in the user's input; carries every message found, not the first alone."""

    def __init__(self, messages: str | Iterable[str]) -> None:
        self.messages: tuple[str, ...] = (
            (messages,) if isinstance(messages, str) else tuple(messages)
        )
        super().__init__("\n".join(self.messages))


class FormulaError(PreservecheckError):
    """The formula file cannot be used as it stands."""


class TableError(PreservecheckError):
    """A table, ours or the user's own, has a fault."""


class UnitError(PreservecheckError):
    """A quantity is written in a unit that is not known here."""


class ReadingsError(PreservecheckError):
    """A file of readings or counts cannot be used as it stands."""
