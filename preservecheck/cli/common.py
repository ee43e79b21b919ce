"""What all commands share: exit statuses, options, and the way from the library to the screen."""

from __future__ import annotations

import dataclasses
import os
import shutil
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from enum import StrEnum
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from preservecheck.errors import Fault
    from preservecheck.formula.model import Formula
    from preservecheck.reference.load import Tables
    from preservecheck.report.document import Document
    from preservecheck.report.plots.chart import Chart

# extra of pyproject.toml: the libraries that it brings, by the names that are imported
EXTRAS = {
    "bench": ("scipy",),
    "page": ("fastapi", "starlette", "uvicorn", "python_multipart"),
    "plots": ("matplotlib",),
    "parquet": ("pyarrow",),
}
# exit statuses of every command that judges
ALL_PASS, NOT_ALL_PASS, UNREADABLE = range(3)
# of a text report: at most, and in a file [characters]
WIDEST, FILE_WIDTH = 100, 80


class Format(StrEnum):
    """Forms of every result."""

    text = "text"
    markdown = "markdown"
    html = "html"
    json = "json"


FormulaArgument = Annotated[
    Path, typer.Argument(metavar="FORMULA", help="Formula file: .toml, .xlsx or .csv.")
]
FormulaOption = Annotated[
    Path | None,
    typer.Option("--formula", metavar="FORMULA", help="Formula file: .toml, .xlsx or .csv."),
]
FormatOption = Annotated[
    Format, typer.Option("--format", case_sensitive=False, help="Form of the answer.")
]
OutputOption = Annotated[
    Path | None,
    typer.Option("--output", metavar="FILE", help="Write it here instead of on the screen."),
]
PlotOption = Annotated[
    Path | None,
    typer.Option("--plot", metavar="FILE", help="Write a chart: a name in .svg or .png."),
]
BatchOption = Annotated[
    str | None,
    typer.Option(
        "--batch", metavar='"2 kg"', help="Size of this batch instead of the formula's own."
    ),
]
BatchNumberOption = Annotated[
    str | None, typer.Option("--batch-number", metavar="TEXT", help="Batch number to print.")
]
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


# ---- what comes in -------------------------------------------------------------------------------


@contextmanager
def user_errors() -> Iterator[None]:
    """Turn a fault of the user's input, or an extra that is not installed, into messages and exit
    status 2; a real bug shows its traceback."""
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


def need(extra: str) -> None:
    """Refuse before the work begins what could not be finished; a ``ModuleNotFoundError`` where a
    library of the extra is not installed."""
    for library in EXTRAS[extra]:
        if find_spec(library) is None:
            raise ModuleNotFoundError(f"No module named {library!r}", name=library)


def line_to_type(library: str | None) -> str | None:
    """What installs a library that is missing; ``None`` for one that belongs to no extra."""
    name = (library or "").partition(".")[0]
    extra = next((e for e, libraries in EXTRAS.items() if name in libraries), None)
    if extra is None:
        return None
    return f"This needs {name}, which is not installed. Type: pip install 'preservecheck[{extra}]'"


def load(own_dir: Path | None) -> Tables:
    """The tables, with the user's own rows."""
    from preservecheck.reference.load import load_tables

    return load_tables(own_dir)


def read_formula(path: Path | None, tables: Tables) -> Formula | None:
    """The formula of an option."""
    from preservecheck.formula.load import load_formula

    return None if path is None else load_formula(path, tables)


def quantity(parse: Callable[[str], float], written: str | None, option: str) -> float | None:
    """The quantity that an option gives."""
    from preservecheck.errors import PreservecheckError, UnitError

    try:
        return None if written is None else parse(written)
    except UnitError as error:
        raise PreservecheckError(f.within(where=option) for f in error.faults) from None


def whole_numbers(written: str | None, option: str) -> tuple[int, ...]:
    """The whole numbers that an option lists: ``1,3``."""
    from preservecheck.errors import Fault, PreservecheckError

    parts = [part.strip() for part in (written or "").split(",") if part.strip()]
    if not all(part.isdecimal() for part in parts):
        found, allowed = f"{written} is no list of numbers", "write them as 1,3"
        raise PreservecheckError(Fault(found, allowed, where=option))
    return tuple(map(int, parts))


def grams(batch: str | None) -> float | None:
    """The mass that ``--batch`` gives."""
    from preservecheck.units import batch_mass_g

    return quantity(batch_mass_g, batch, "--batch")


# ---- what goes out -------------------------------------------------------------------------------


def answer(
    form: str,
    output: Path | None,
    document: Callable[[], Document | Sequence[Document]],
    data: Callable[[], Any],
) -> None:
    """Show a result in one format, or write it to a file."""
    from preservecheck.report.formats import render

    file = output is not None and str(output) != "-"
    width = FILE_WIDTH if file else terminal_width()
    made = (lambda: _with_hints(document())) if form == Format.text and not file else document
    text = render(form, made, data, width=width, colour=not file and _coloured())
    write_output(text, output)


def _with_hints(made: Document | Sequence[Document]) -> Document | Sequence[Document]:
    """A document for the terminal: its hints stand below it, in the words of the command line."""
    from preservecheck.cli.hints import HINTS
    from preservecheck.text import sentence

    if isinstance(made, Sequence):
        return made
    hints = [sentence(HINTS[hint]) for hint in made.hints if hint in HINTS]
    return dataclasses.replace(made, foot=(*made.foot, *hints))


def write_chart(chart: Chart | None, path: Path | None) -> None:
    """Write the chart that ``--plot`` asks for; a ``PreservecheckError`` where there is nothing to
    draw, or the name ends in something else than .svg and .png."""
    if path is None:
        return
    from preservecheck.errors import Fault, Hint, PreservecheckError
    from preservecheck.files import write_all

    if chart is None:
        raise PreservecheckError(Fault("there is no titration to draw", hint=Hint.TITRATION))
    suffix = path.suffix.casefold()
    if suffix not in (".svg", ".png"):
        raise PreservecheckError(
            Fault("", "give a name that ends in .svg or .png", where=str(path))
        )
    write_all({path: chart.file(suffix)})


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


def print_errors(faults: Iterable[Fault]) -> None:
    """Each fault once on standard error; some end in a block to paste, on lines of its own."""
    from preservecheck.cli.hints import HINTS

    for message in dict.fromkeys(fault.text(HINTS) for fault in faults):
        typer.echo("".join(c if c.isprintable() or c == "\n" else "?" for c in message), err=True)


def faults_data(faults: Iterable[Fault]) -> dict[str, Any]:
    """Faults as data: place, what was found, what is allowed, and all of it as a sentence."""
    from preservecheck.cli.hints import HINTS
    from preservecheck.provenance import keys_of

    names = ("where", "path", "place", "name", "value", "found", "allowed")
    return {"faults": [{**keys_of(f, *names), "text": f.text(HINTS)} for f in faults]}


def terminal_width() -> int:
    """Width of the terminal, at most 100; 80 where there is none. [characters]"""
    return min(shutil.get_terminal_size((FILE_WIDTH, 24)).columns, WIDEST)


def _coloured() -> bool:
    dumb = os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb"
    return sys.stdout.isatty() and not dumb
