"""The formula as a file: opened with the readers of the command line, saved so that it reads back
as the same.

Files that are picked or dropped are written under tame names into a folder of their own that is
gone when the answer is.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from preservecheck.errors import Fault, FormulaError, PreservecheckError
from preservecheck.formula.build import build
from preservecheck.formula.load import read_raw
from preservecheck.formula.names import folded, names_of
from preservecheck.formula.rewrite import toml_key, toml_value

if TYPE_CHECKING:
    from preservecheck.reference.load import Tables

MAX_FILES = 10
MAX_NAME = 100
_NOT_TAME = re.compile(r"[^\w .()+-]")
# XML 1.0, production 2; a line end of the old kind too, which a cell shows as a sign
_NOT_IN_XML = re.compile("[^\t\n\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


# ---- opening -------------------------------------------------------------------------------------


def opened(
    files: Sequence[tuple[str, bytes]], tables: Tables
) -> tuple[dict[str, Any], tuple[Fault, ...]]:
    """The formula in one file, or in a set of CSV sheets, as nested dictionaries, and what is wrong
    with it; a ``FormulaError`` where nothing can be read."""
    files = [(tame(name), data) for name, data in files if name]
    names = ", ".join(name for name, _ in files)
    if not files:
        allowed = "choose a .toml or .xlsx file, or the .csv sheets of one formula"
        raise FormulaError(Fault("no file was chosen", allowed))
    if len(files) > MAX_FILES:
        raise FormulaError(Fault(f"{len(files)} files", "open one formula at a time"))
    if len(files) > 1 and not all(name.casefold().endswith(".csv") for name, _ in files):
        allowed = "open one formula at a time; only .csv sheets go together"
        raise FormulaError(Fault("several files", allowed, where=names))
    with written(files) as (path, *_):
        raw, _, where, form = read_raw(path, tables)
        try:
            build(raw, where, tables, form=form)
        except FormulaError as error:
            return raw, _by_name(error)
        return raw, ()


@contextmanager
def written(files: Sequence[tuple[str, bytes]]) -> Iterator[list[Path]]:
    """Files where the readers find them, gone with the answer; faults name them without their
    folder."""
    with tempfile.TemporaryDirectory(prefix="preservecheck-") as folder:
        paths = [Path(folder) / name for name, _ in files]
        for path, (_, data) in zip(paths, files, strict=True):
            path.write_bytes(data)
        try:
            yield paths
        except PreservecheckError as error:
            raise type(error)(_by_name(error)) from None


def _by_name(error: PreservecheckError) -> tuple[Fault, ...]:
    return tuple(replace(fault, where=Path(fault.where).name) for fault in error.faults)


def tame(name: str) -> str:
    """The last part of a file's name with letters, digits and a few signs, and its ending."""
    last = re.split(r"[/\\]", name)[-1]
    plain = _NOT_TAME.sub("_", last).lstrip(". ") or "formula"
    stem, dot, ending = plain.rpartition(".")
    return f"{stem[:MAX_NAME]}{dot}{ending[:10]}" if dot else plain[:MAX_NAME]


# ---- saving as a workbook ------------------------------------------------------------------------


def workbook_of(raw: dict[str, Any], tables: Tables) -> bytes:
    """The formula, in the layout of the TOML form, as ``.xlsx`` in the form that ``new`` writes."""
    from preservecheck.formula.starter import raw_to_sheets, workbook_bytes

    raw = _for_xml(raw)
    names = names_of(tables)
    own = {folded(n) for kind in ("blend", "ingredient") for n in raw.get(kind, {})}

    def item(line: dict[str, Any]) -> dict[str, Any]:
        """A line; an ingredient written like the id of a preservative, as which it would be read,
        by its INCI name."""
        name = line.get("ingredient", "")
        if name and folded(name) not in own and names.system_in_sheet(name):
            named = names.ingredient(name)
            return {**line, "ingredient": named.inci} if named else line
        return line

    phases = [{**p, "items": [item(line) for line in p["items"]]} for p in raw["phase"]]
    return workbook_bytes(raw_to_sheets({**raw, "phase": phases}))


def _for_xml(value: Any) -> Any:
    """The same, with texts without the signs that a workbook cannot hold."""
    if isinstance(value, dict):
        return {_for_xml(k): _for_xml(v) for k, v in value.items()}
    if isinstance(value, list):
        return [_for_xml(v) for v in value]
    return _NOT_IN_XML.sub("", value) if isinstance(value, str) else value


# ---- saving as TOML ------------------------------------------------------------------------------


def toml_text(raw: Mapping[str, Any]) -> str:
    """The TOML file that reads as the given dictionaries, in the order of the contract."""
    return "\n".join(_lines(raw)) + "\n"


def _lines(raw: Mapping[str, Any]) -> Iterator[str]:
    yield "# A formula for preservecheck."
    yield f"format = {raw.get('format', 1)}"
    for section in ("product", "measured"):
        if section in raw:
            yield from ("", f"[{section}]", *_pairs(raw[section]))
    for phase in raw.get("phase", ()):
        yield from ("", "[[phase]]", *_pairs({k: v for k, v in phase.items() if k != "items"}))
        items = (f"  {toml_value(item)}," for item in phase.get("items", ()))
        yield from ("items = [", *items, "]")
    for answer in raw.get("settled", ()):
        yield from ("", "[[settled]]", *_pairs(answer))
    for section in ("blend", "ingredient"):
        for name, block in raw.get(section, {}).items():
            yield from ("", f"[{section}.{toml_key(name)}]", *_pairs(block))


def _pairs(table: Mapping[str, Any]) -> Iterator[str]:
    return (f"{toml_key(key)} = {toml_value(value)}" for key, value in table.items())
