"""Reads a formula file of any form: guards first, then the reader of the form, then the one
builder."""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from preservecheck.errors import FormulaError
from preservecheck.formula.build import build
from preservecheck.formula.build_lines import readings_file
from preservecheck.formula.model import Formula
from preservecheck.formula.names import names_of
from preservecheck.formula.read_toml import read_toml
from preservecheck.formula.unknown import Form

if TYPE_CHECKING:
    from preservecheck.formula.sheet_form import Grid
    from preservecheck.reference.load import Tables

# a formula is a few kilobytes; TOML takes some 75 times its size in memory, and a workbook may hold
# pictures
MAX_TEXT_BYTES = 2_000_000
MAX_WORKBOOK_BYTES = 10_000_000
_OTHER_FORMS = {
    ".xls": "save it as .xlsx",
    ".xlsm": "save it as .xlsx, without macros",
    ".xlsb": "save it as .xlsx",
    ".ods": "save it as .xlsx",
    ".numbers": "export it as .xlsx",
    ".tsv": "name it NAME.Formula.csv; tabs are read there",
}
_FORMS = (
    "a formula is a .toml file, an .xlsx workbook, or CSV files NAME.Product.csv and "
    "NAME.Formula.csv"
)


@dataclass(frozen=True)
class Kind:
    """How messages name a sort of file, say what forms it has, and help where it is empty."""

    of: str
    forms: str
    empty: str


FORMULA = Kind("a formula of this form", _FORMS, "'preservecheck new' writes an example")


def load_formula(
    path: str | os.PathLike[str], tables: Tables | None = None, today: dt.date | None = None
) -> Formula:
    """The formula in a file.

    Parameters
    ----------
    path
        A ``.toml`` file, an ``.xlsx`` workbook, or one of a set of CSV files.
    tables
        The tables; default are the shipped ones with the user's own.
    today
        Day whose law is applied where the file names none; default is the clock's.

    Returns
    -------
    Formula
        Checked, with every quantity in grams, degrees Celsius, minutes and per cent.

    Raises
    ------
    FormulaError
        Whatever is wrong with the file; all faults that can be seen at once.
    """
    if tables is None:
        from preservecheck.reference.load import load_tables

        tables = load_tables()
    path = Path(path)
    raw, digest, where, form = read_raw(path, tables)
    formula = build(raw, where, tables, today, form, path.parent)
    # readings that the formula names are part of what was judged
    named = sorted(
        {n for p in raw.get("phase", []) if (n := readings_file(p.get("added_at"))) is not None}
    )
    if named:
        parts = [file_bytes(path.parent / n, MAX_WORKBOOK_BYTES) for n in named]
        digest = hashlib.sha256(b"".join([digest.encode(), *parts])).hexdigest()
    return formula.model_copy(update={"sha256": digest, "path": str(path)})


def read_raw(path: Path, tables: Tables) -> tuple[dict[str, Any], str, str, Form]:
    """The file as nested dictionaries, its digest, its name for messages, and its form."""
    suffix = path.suffix.casefold()
    if suffix == ".toml":
        data = file_bytes(path, MAX_TEXT_BYTES)
        return read_toml(data, str(path)), hashlib.sha256(data).hexdigest(), str(path), "toml"
    if suffix not in (".xlsx", ".csv"):
        file_bytes(path, MAX_WORKBOOK_BYTES, only_look=True)
        raise FormulaError(f"{path}: {_OTHER_FORMS.get(suffix, _FORMS)}")
    from preservecheck.formula.read_sheet import sheets_to_raw

    if suffix == ".xlsx":
        from preservecheck.formula.read_workbook import read_workbook

        data = file_bytes(path, MAX_WORKBOOK_BYTES)
        raw = sheets_to_raw(read_workbook(data, str(path)), str(path), names_of(tables))
        return raw, hashlib.sha256(data).hexdigest(), str(path), "sheet"
    from preservecheck.formula.read_csv import read_csv, sheet_files

    file_bytes(path, MAX_TEXT_BYTES, only_look=True)
    files = sheet_files(path)
    stem = path.stem.rpartition(".")[0]
    parts: dict[str, bytes] = {}
    grids: dict[str, Grid] = {}
    faults: list[str] = []
    for name, file in files.items():
        try:
            parts[name] = file_bytes(file, MAX_TEXT_BYTES)
            grids[name] = read_csv(parts[name], str(file), f"sheet {name}")
        except FormulaError as error:
            faults += error.messages
    if faults:
        raise FormulaError(faults)
    where = str(path.with_name(f"{stem}.*.csv"))
    raw = sheets_to_raw(grids, where, names_of(tables))
    return raw, hashlib.sha256(b"".join(parts.values())).hexdigest(), where, "sheet"


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
