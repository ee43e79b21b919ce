"""Files: guards on what is read, one dialect of CSV, and writing that is whole or not at all."""

from __future__ import annotations

import csv
import io
import os
import re
import stat
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from preservecheck.errors import Hint, PreservecheckError

# a formula is a few kilobytes, and TOML takes some 75 times its size in memory
MAX_TEXT_BYTES = 2_000_000
# a workbook may hold pictures
MAX_WORKBOOK_BYTES = 10_000_000
SEPARATORS = ";\t,"
# lines that the separator is told from
HEAD_LINES = 60
_SAVE_AS_UTF8 = "save it as UTF-8 (in a spreadsheet: 'CSV UTF-8')"


@dataclass(frozen=True)
class Kind:
    """A sort of file: how messages name it, its forms, and what a fault of it raises."""

    of: str
    forms: str
    error: type[PreservecheckError]
    empty: str = ""  # what to do with an empty one
    hint: Hint | None = None  # of an empty one


def file_bytes(path: Path, limit: int, kind: Kind, *, only_look: bool = False) -> bytes:
    """The bytes of a file that may not exceed a limit; of one to be looked at only, none.

    The error of the kind where it is missing, no regular file, empty, too large, or may not be
    read. A file that is too large is not opened.
    """

    def refused(found: str, allowed: str = "", hint: Hint | None = None) -> PreservecheckError:
        return kind.error(found, allowed, where=str(path), hint=hint)

    try:
        state = path.stat()
        if stat.S_ISDIR(state.st_mode):
            raise refused("is a folder", f"give a file. {kind.forms[0].upper()}{kind.forms[1:]}")
        if not stat.S_ISREG(state.st_mode):
            raise refused("is not a regular file", kind.forms)
        if state.st_size == 0:
            raise refused("is empty", kind.empty, kind.hint)
        if state.st_size > limit:
            raise refused(
                f"is too large: {state.st_size / 1e6:.1f} MB",
                f"{kind.of} has at most {limit / 1e6:.0f} MB",
            )
        if only_look:
            return b""
        with path.open("rb") as file:
            data = file.read(limit + 1)
    except FileNotFoundError:
        raise refused("there is no such file", "check the name and the folder") from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise refused(f"cannot be read: {reason}") from None
    if len(data) > limit:
        raise refused("changed while being read", "close any program that has it open")
    if not data.strip():
        raise refused("is empty", kind.empty, kind.hint)
    return data


def decoded(data: bytes, where: str, error: type[PreservecheckError]) -> str:
    """Text of a file that must be UTF-8, else the error, with the byte and its line."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise error("written as UTF-16", _SAVE_AS_UTF8, where=where)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = data.count(b"\n", 0, fault.start) + 1
        found = f"not UTF-8: byte {fault.start} on line {line} is 0x{data[fault.start]:02X}"
        raise error(found, _SAVE_AS_UTF8, where=where, path=(line,)) from None


# ---- CSV ----


@dataclass(frozen=True)
class Dialect:
    """How a CSV file separates its cells."""

    separator: str
    skipped: int = 0  # lines above the first row, such as ``sep=;``

    @property
    def comma_is_decimal(self) -> bool:
        """Whether ``1,500`` is one and a half: where semicolons leave the comma to the numbers."""
        return self.separator == ";"


def csv_dialect(text: str) -> Dialect:
    r"""The separator of a CSV text: what its first line says, else what most of its lines hold.

    Where two are level, a semicolon wins over a tab and a tab over a comma: lines of semicolons
    hold decimal commas too. A text without any is taken to be separated by commas.

    Examples
    --------
    >>> csv_dialect("time;temperature\n0;74,5\n10;66,5").separator
    ';'
    """
    head = text.partition("\n")[0].strip()
    if head.casefold().startswith("sep=") and len(head) == len("sep=;"):
        return Dialect(head[-1], skipped=1)
    if head.casefold() == "sep=":  # a tab was stripped
        return Dialect("\t", skipped=1)
    lines = [re.sub(r'"[^"]*"', "", x) for x in text.split("\n", HEAD_LINES)[:HEAD_LINES]]
    counts = {s: sum(s in line for line in lines) for s in SEPARATORS}
    return Dialect(max(SEPARATORS, key=lambda s: counts[s]) if any(counts.values()) else ",")


def csv_rows(
    text: str,
    where: str,
    error: type[PreservecheckError],
    dialect: Dialect | None = None,
    *,
    most_rows: int | None = None,
    most_columns: int | None = None,
) -> Iterator[tuple[int, list[str]]]:
    """The rows of a CSV text with their numbers, as a spreadsheet counts them.

    The dialect is by default what the text itself tells. The error is raised where it is not CSV,
    or larger than allowed.
    """
    dialect = dialect or csv_dialect(text)
    if dialect.separator not in SEPARATORS:
        found = f"the separator {dialect.separator!r} is not read here"
        raise error(found, "use comma, semicolon or tab", where=where)
    for _ in range(dialect.skipped):
        text = text.partition("\n")[2]
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=dialect.separator, strict=True)
    try:
        for number, cells in enumerate(reader, 1 + dialect.skipped):
            if (most_rows and number > most_rows) or (most_columns and len(cells) > most_columns):
                found = f"more than {most_rows:,} rows or {most_columns} columns"
                raise error(found, "keep only what is to be read", where=where)
            yield number, cells
    except csv.Error as fault:
        raise error(
            f"not readable as CSV ({fault})",
            "put a cell that holds a separator or a line break in quotation marks",
            where=where,
            place=f"line {reader.line_num + dialect.skipped}",
            path=(reader.line_num + dialect.skipped,),
        ) from None


# ---- writing ----


@contextmanager
def replaced(path: Path, error: type[PreservecheckError] = PreservecheckError) -> Iterator[Path]:
    """A file beside the target to write into, which takes its place when all went well; the error
    where it cannot be written, and what was there before is untouched.

    A link stays a link; a device or a pipe is written to, never replaced.
    """
    if path.is_dir():
        raise error("is a folder", "give a file", where=str(path))
    part: Path | None = None
    try:
        target = path.resolve()
        if target.exists() and not target.is_file():
            yield target
            return
        handle, name = tempfile.mkstemp(".half", f".{target.name}.", target.parent)
        os.close(handle)
        part = Path(name)
        yield part
        mask = os.umask(0)
        os.umask(mask)
        part.chmod(target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~mask)
        os.replace(part, target)
    except OSError as fault:
        reason = fault.strerror or str(fault)
        raise error(f"cannot be written: {reason}", where=str(path)) from None
    finally:
        if part is not None:
            part.unlink(missing_ok=True)


def write_whole(
    path: Path, content: str | bytes, error: type[PreservecheckError] = PreservecheckError
) -> None:
    """Write a file as a whole or not at all; text as UTF-8. Raises as ``replaced``."""
    with replaced(path, error) as part:
        part.write_bytes(content.encode() if isinstance(content, str) else content)


def write_all(
    files: Mapping[Path, str | bytes], error: type[PreservecheckError] = PreservecheckError
) -> None:
    """Write several files, all or none. Raises as ``replaced``; then all is as it was before."""
    before = {path: path.read_bytes() if path.is_file() else None for path in files}
    try:
        with ExitStack() as stack:  # all are written before the first takes its place
            for path, content in files.items():
                part = stack.enter_context(replaced(path, error))
                part.write_bytes(content.encode() if isinstance(content, str) else content)
    except error:
        for path, data in before.items():
            if data is None and path.is_file():
                path.unlink()
            elif data is not None and path.read_bytes() != data:
                path.write_bytes(data)
        raise
