"""Reads a formula file of any form: guards first, then the reader of the form, then the one
builder."""

from __future__ import annotations

import datetime as dt
import hashlib
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

from preservecheck.errors import Fault, FormulaError, Hint
from preservecheck.files import MAX_TEXT_BYTES, MAX_WORKBOOK_BYTES, Kind, file_bytes
from preservecheck.formula.build import build, readings_file
from preservecheck.formula.model import Formula
from preservecheck.formula.names import Form, names_of
from preservecheck.formula.toml import read_toml

if TYPE_CHECKING:
    from preservecheck.formula.grid import Grid
    from preservecheck.reference.load import Tables

FORMULA = Kind(
    "a formula of this form",
    "a formula is a .toml file, an .xlsx workbook, or CSV files NAME.Product.csv and "
    "NAME.Formula.csv",
    FormulaError,
    hint=Hint.FORMULA_EXAMPLE,
)

_OTHER_FORMS = {
    ".xls": "save it as .xlsx",
    ".xlsm": "save it as .xlsx, without macros",
    ".xlsb": "save it as .xlsx",
    ".ods": "save it as .xlsx",
    ".numbers": "export it as .xlsx",
    ".tsv": "name it NAME.Formula.csv; tabs are read there",
}


def load_formula(
    path: str | os.PathLike[str], tables: Tables | None = None, today: dt.date | None = None
) -> Formula:
    """The formula in a ``.toml`` file, an ``.xlsx`` workbook, or one of a set of CSV files; a
    ``FormulaError`` with all faults that can be seen at once.

    Every quantity is in grams, degrees Celsius, minutes and per cent. Default are the shipped
    tables with the user's own, and the law of today where the file names no day.
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
        parts = [file_bytes(path.parent / n, MAX_WORKBOOK_BYTES, FORMULA) for n in named]
        digest = hashlib.sha256(b"".join([digest.encode(), *parts])).hexdigest()
    return formula.model_copy(update={"sha256": digest, "path": str(path)})


def read_raw(path: Path, tables: Tables) -> tuple[dict[str, Any], str, str, Form]:
    """The file as nested dictionaries, its digest, its name for messages, and its form."""
    suffix = path.suffix.casefold()
    if suffix == ".toml":
        data = file_bytes(path, MAX_TEXT_BYTES, FORMULA)
        return read_toml(data, str(path)), hashlib.sha256(data).hexdigest(), str(path), "toml"
    if suffix not in (".xlsx", ".csv"):
        file_bytes(path, MAX_WORKBOOK_BYTES, FORMULA, only_look=True)
        allowed = _OTHER_FORMS.get(suffix, FORMULA.forms)
        raise FormulaError("is not read in this form", allowed, where=str(path))
    from preservecheck.formula.sheets import sheet_files, sheets_to_raw

    if suffix == ".xlsx":
        from preservecheck.formula.workbook import read_workbook

        data = file_bytes(path, MAX_WORKBOOK_BYTES, FORMULA)
        raw = sheets_to_raw(read_workbook(data, str(path)), str(path), names_of(tables))
        return raw, hashlib.sha256(data).hexdigest(), str(path), "sheet"
    from preservecheck.formula.grid import csv_grid

    file_bytes(path, MAX_TEXT_BYTES, FORMULA, only_look=True)
    files = sheet_files(path)
    stem = path.stem.rpartition(".")[0]
    parts: dict[str, bytes] = {}
    grids: dict[str, Grid] = {}
    faults: list[Fault] = []
    for name, file in files.items():
        try:
            parts[name] = file_bytes(file, MAX_TEXT_BYTES, FORMULA)
            grids[name] = csv_grid(parts[name], str(file), f"sheet {name}", FormulaError)
        except FormulaError as error:
            faults += error.faults
    if faults:
        raise FormulaError(faults)
    where = str(path.with_name(f"{stem}.*.csv"))
    raw = sheets_to_raw(grids, where, names_of(tables))
    return raw, hashlib.sha256(b"".join(parts.values())).hexdigest(), where, "sheet"
