"""Files that are picked or dropped, read with the readers and limits of the command line.

They are written under tame names into a folder of their own that is gone when the answer is.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from preservecheck.errors import Fault, FormulaError
from preservecheck.formula.build import build
from preservecheck.formula.load import read_raw
from preservecheck.page.hints import HINTS

if TYPE_CHECKING:
    from preservecheck.reference.load import Tables

MAX_FILES = 10
MAX_NAME = 100
_NOT_TAME = re.compile(r"[^\w .()+-]")


def opened(
    files: Sequence[tuple[str, bytes]], tables: Tables
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """The formula in one file, or in a set of CSV sheets, as nested dictionaries, and what is wrong
    with it.

    Parameters
    ----------
    files
        Name and content of each.
    tables
        The tables.

    Raises
    ------
    FormulaError
        Nothing can be read.
    """
    files = [(tame(name), data) for name, data in files if name]
    if not files:
        allowed = "choose a .toml or .xlsx file, or the .csv sheets of one formula"
        raise FormulaError(Fault("no file was chosen", allowed))
    if len(files) > MAX_FILES:
        raise FormulaError(Fault(f"{len(files)} files", "open one formula at a time"))
    if len(files) > 1 and not all(name.casefold().endswith(".csv") for name, _ in files):
        names = ", ".join(n for n, _ in files)
        allowed = "only .csv sheets go together"
        raise FormulaError(Fault("open one formula at a time", allowed, where=names))
    with tempfile.TemporaryDirectory(prefix="preservecheck-") as folder:
        for name, data in files:
            (Path(folder) / name).write_bytes(data)
        path = Path(folder) / files[0][0]
        try:
            raw, _, where, form = read_raw(path, tables)
        except FormulaError as error:
            raise FormulaError(_renamed(f) for f in error.faults) from None
        try:
            build(raw, where, tables, form=form)
        except FormulaError as error:
            return raw, tuple(_renamed(f).text(HINTS) for f in error.faults)
        return raw, ()


def tame(name: str) -> str:
    """The last part of a file's name with letters, digits and a few signs, and its ending."""
    last = re.split(r"[/\\]", name)[-1]
    plain = _NOT_TAME.sub("_", last).lstrip(". ") or "formula"
    stem, dot, ending = plain.rpartition(".")
    return f"{stem[:MAX_NAME]}{dot}{ending[:10]}" if dot else plain[:MAX_NAME]


def _renamed(fault: Fault) -> Fault:
    """A fault that names its file without the folder."""
    return replace(fault, where=Path(fault.where).name, paste="")
