"""What all commands share: exit statuses, options, and the way from the library to the screen."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from preservecheck.errors import Fault
    from preservecheck.reference.load import Tables

# exit statuses of every command that judges
ALL_PASS, NOT_ALL_PASS, UNREADABLE = range(3)
# of a text report: at most, and in a file [characters]
WIDEST, FILE_WIDTH = 100, 80


class PlainFormat(StrEnum):
    """Forms of a ranking."""

    text = "text"
    markdown = "markdown"
    json = "json"


TablesOption = Annotated[
    Path | None,
    typer.Option(
        "--tables",
        metavar="DIR",
        help="Folder with your own rows, as CSV files named after the tables; they are added "
        "to ours or replace those with the same key. Default: the folder named in "
        "PRESERVECHECK_TABLES.",
    ),
]


@contextmanager
def user_errors() -> Iterator[None]:
    """Turn a fault of the user's input, or an extra that is not installed, into messages and exit
    status 2; a real bug shows its traceback."""
    from preservecheck.cli.extras import line_to_type
    from preservecheck.errors import PreservecheckError

    try:
        yield
    except PreservecheckError as error:
        print_errors(error.faults)
        raise typer.Exit(UNREADABLE) from None
    except ModuleNotFoundError as error:
        line = line_to_type(error.name)
        if line is None:
            raise
        typer.echo(line, err=True)
        raise typer.Exit(UNREADABLE) from None


def load(own_dir: Path | None) -> Tables:
    """The tables, with the user's own rows."""
    from preservecheck.reference.load import load_tables

    return load_tables(own_dir)


def grams(batch: str | None) -> float | None:
    """The mass that ``--batch`` gives."""
    from preservecheck.errors import PreservecheckError, UnitError
    from preservecheck.units import batch_mass_g

    if batch is None:
        return None
    try:
        return batch_mass_g(batch)
    except UnitError as error:
        raise PreservecheckError(f"--batch: {error.messages[0]}") from None


def width() -> int:
    """Width of the terminal, at most 100; 80 where there is none. [characters]"""
    return min(shutil.get_terminal_size((FILE_WIDTH, 24)).columns, WIDEST)


def print_errors(faults: Iterable[Fault]) -> None:
    """Each fault once on standard error; some end in a block to paste, on lines of its own."""
    from preservecheck.cli.hints import HINTS

    for message in dict.fromkeys(fault.text(HINTS) for fault in faults):
        typer.echo("".join(c if c.isprintable() or c == "\n" else "?" for c in message), err=True)


def write_output(text: str, output: Path | None = None) -> None:
    """Write text to a file as a whole or not at all, or to standard output."""
    if output is not None and str(output) != "-":
        from preservecheck.files import write_whole

        write_whole(output, text)
        return
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:  # the reader has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
