"""Opens an input file: what it may be and how large, in the words of the messages."""

from __future__ import annotations

import stat
from dataclasses import dataclass
from pathlib import Path

from preservecheck.errors import FormulaError

# a formula is a few kilobytes; TOML takes some 75 times its size in memory, and a workbook may hold
# pictures
MAX_TEXT_BYTES = 2_000_000
MAX_WORKBOOK_BYTES = 10_000_000
FORMS = (
    "a formula is a .toml file, an .xlsx workbook, or CSV files NAME.Product.csv and "
    "NAME.Formula.csv"
)


@dataclass(frozen=True)
class Kind:
    """How messages name a sort of file, say what forms it has, and help where it is empty."""

    of: str
    forms: str
    empty: str


FORMULA = Kind("a formula of this form", FORMS, "'preservecheck new' writes an example")


def file_bytes(path: Path, limit: int, *, only_look: bool = False, kind: Kind = FORMULA) -> bytes:
    """The bytes of a file that may not exceed a limit.

    Parameters
    ----------
    path
        The file.
    limit
        Largest size. [bytes]
    only_look
        Check the file without reading it.
    kind
        What messages call it.

    Raises
    ------
    FormulaError
        It is missing, no plain file, empty, too large, or may not be read. A file that is too large
        is not opened.
    """
    try:
        state = path.stat()
        if stat.S_ISDIR(state.st_mode):
            raise FormulaError(
                f"{path}: is a folder; give a file. {kind.forms[0].upper()}{kind.forms[1:]}"
            )
        if not stat.S_ISREG(state.st_mode):
            raise FormulaError(f"{path}: is no plain file; {kind.forms}")
        if state.st_size == 0:
            raise FormulaError(f"{path}: is empty; {kind.empty}")
        if state.st_size > limit:
            raise FormulaError(
                f"{path}: {state.st_size / 1e6:.1f} MB; {kind.of} has at most {limit / 1e6:.0f} MB"
            )
        if only_look:
            return b""
        with path.open("rb") as file:
            data = file.read(limit + 1)
    except FileNotFoundError:
        raise FormulaError(
            f"{path}: there is no such file; check the name and the folder"
        ) from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise FormulaError(f"{path}: cannot be read: {reason}") from None
    if len(data) > limit:
        raise FormulaError(f"{path}: grew while it was read; close the program that writes it")
    if not data.strip():
        raise FormulaError(f"{path}: is empty; {kind.empty}")
    return data
