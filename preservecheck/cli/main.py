"""The command line: options become calls of the library, results become text and an exit status."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Iterable
from enum import StrEnum
from pathlib import Path
from typing import IO, TYPE_CHECKING, Annotated, Any

import typer

from preservecheck.cli import bench, evidence, page, paper, screen
from preservecheck.cli.common import (
    ALL_PASS,
    FILE_WIDTH,
    NOT_ALL_PASS,
    UNREADABLE,
    PlainFormat,
    TablesOption,
    load,
    print_errors,
    user_errors,
    width,
    write_output,
)

if TYPE_CHECKING:
    from preservecheck.assess.review import Report
    from preservecheck.errors import Fault
    from preservecheck.ranking.result import Choice
    from preservecheck.reference.load import Tables

app = typer.Typer(rich_markup_mode=None, pretty_exceptions_enable=False, add_completion=False)
tables_app = typer.Typer(rich_markup_mode=None)
app.add_typer(tables_app, name="tables")


class Format(StrEnum):
    """Forms of a report."""

    text = "text"
    markdown = "markdown"
    html = "html"
    json = "json"


class Only(StrEnum):
    """Ways to narrow the systems."""

    natural = "natural-standard"


def main() -> None:
    """Run the program."""
    gc.set_threshold(100_000, 20, 20)  # starting up makes many objects and no rubbish
    for stream in (sys.stdout, sys.stderr):
        _let_everything_through(stream)
    _leave_out_others(sys.argv[1] if len(sys.argv) > 1 else "")
    app()


def _leave_out_others(wanted: str) -> None:
    """Set up only the command that is asked for: each costs milliseconds; for anything else all
    stay."""
    mine = [
        c
        for c in app.registered_commands
        if c.callback is not None and c.callback.__name__ == wanted
    ]
    if mine:
        app.registered_commands, app.registered_groups = mine, []


@app.callback(invoke_without_command=True)
def start(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Show the version and exit.")] = False,
) -> None:
    """Screen whether a preservative will work in a water-based hair product.

    It screens, it never proves: only a challenge test does.
    """
    if version:
        from preservecheck.version import program

        write_output(f"{program()}\n")
        raise typer.Exit
    if context.invoked_subcommand is None:
        write_output(context.get_help() + "\n")


@app.command()
def review(
    formulas: Annotated[
        list[Path], typer.Argument(metavar="FORMULA", help="Formula files: .toml, .xlsx or .csv.")
    ],
    form: Annotated[Format, typer.Option("--format", help="Form of the report.")] = Format.text,
    output: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write the report here instead of on the screen."),
    ] = None,
    tables: TablesOption = None,
) -> None:
    """Judge formulas by all checks.

    Exit status: 0 all pass, 1 something warns or is unknown, 2 a file could not be read.
    """
    with user_errors():
        reports, faults = _reviewed(formulas, load(tables))
        print_errors(fault for of_file in faults.values() for fault in of_file)
        if reports:
            unread = [str(f) for f in faults]
            write_output(
                _rendered(reports, unread, form, len(formulas) > 1, output, tables), output
            )
        passed = all(r.verdict == "pass" for r in reports)
        raise typer.Exit(UNREADABLE if faults else ALL_PASS if passed else NOT_ALL_PASS)


@app.command()
def choose(
    formula: Annotated[
        Path, typer.Argument(metavar="FORMULA", help="Formula file: .toml, .xlsx or .csv.")
    ],
    markets: Annotated[
        str | None, typer.Option(metavar="EU,GB", help="Markets instead of the formula's own.")
    ] = None,
    only: Annotated[
        Only | None, typer.Option(help="Only systems that a natural cosmetics standard accepts.")
    ] = None,
    without: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="A substance that no system may hold; may be repeated."),
    ] = None,
    limit: Annotated[int | None, typer.Option(min=1, metavar="N", help="Show the best N.")] = None,
    form: Annotated[
        PlainFormat, typer.Option("--format", help="Form of the ranking.")
    ] = PlainFormat.text,
    output: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write it here instead of on the screen.")
    ] = None,
    tables: TablesOption = None,
) -> None:
    """Rank every preservative system for a formula.

    Exit status: 0 something fits as it stands, 1 only after a change or not at all, 2 the file
    could not be read.
    """
    with user_errors():
        found = _chosen(formula, markets, only, without or [], limit, tables)
        write_output(_ranked(found, form, output), output)
        raise typer.Exit(
            ALL_PASS if any(s.outcome == "fits" for s in found.systems) else NOT_ALL_PASS
        )


@app.command()
def explain(
    check: Annotated[
        str | None, typer.Argument(metavar="CHECK", help="A check; left out, all of them.")
    ] = None,
) -> None:
    """Print the rule of a check and its sources."""
    from preservecheck.report import manual

    with user_errors():
        write_output(
            manual.render_list(width=width())
            if check is None
            else manual.render(check, width=width())
        )


@app.command()
def new(
    path: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="A name that ends in .toml, .xlsx or .csv.",
            show_default="formula.toml",
        ),
    ] = Path("formula.toml"),
    force: Annotated[bool, typer.Option("--force", help="Overwrite what is there.")] = False,
) -> None:
    """Write a filled-in formula to start from."""
    from preservecheck.formula.starter import write_starter

    with user_errors():
        files = write_starter(path, force=force)
        write_output(
            f"Wrote {', '.join(map(str, files))}.\nChange what is in it to what you make, then: "
            f"preservecheck review {_quoted(files[0])}\n"
        )


@tables_app.callback(invoke_without_command=True)
def tables_start(context: typer.Context, tables: TablesOption = None) -> None:
    """Look at the tables behind the verdicts.

    Without a command, name them all.
    """
    context.obj = tables
    if context.invoked_subcommand is None:
        from preservecheck.report import tables as rows

        with user_errors():
            write_output(rows.render_tables(load(tables), width=width()))


@tables_app.command("list")
def tables_list(
    context: typer.Context,
    table: Annotated[
        str | None, typer.Argument(metavar="TABLE", help="Left out: all tables.")
    ] = None,
    tables: TablesOption = None,
) -> None:
    """List the rows of a table; without one, the tables."""
    from preservecheck.report import tables as rows

    with user_errors():
        known = load(tables or context.obj)
        write_output(
            rows.render_list(known, table) if table else rows.render_tables(known, width=width())
        )


@tables_app.command("show")
def tables_show(
    context: typer.Context,
    table: Annotated[str, typer.Argument(metavar="TABLE")],
    key: Annotated[
        list[str], typer.Argument(metavar="KEY", help="Its key; blanks need no quotes.")
    ],
    tables: TablesOption = None,
) -> None:
    """Print one row in full, with its source and what is only recalled."""
    from preservecheck.report import tables as rows

    with user_errors():
        write_output(
            rows.render_row(load(tables or context.obj), table, " ".join(key), width=width())
        )


@tables_app.command("search")
def tables_search(
    context: typer.Context,
    words: Annotated[list[str], typer.Argument(metavar="WORDS")],
    tables: TablesOption = None,
) -> None:
    """Find the rows of all tables that hold every word."""
    from preservecheck.report import tables as rows

    with user_errors():
        write_output(rows.render_search(load(tables or context.obj), words, width=width()))


@tables_app.command("validate")
def tables_validate(context: typer.Context, tables: TablesOption = None) -> None:
    """Check every row of every table. Exit status: 0 no fault, 2 faults."""
    from preservecheck.errors import TableError
    from preservecheck.reference.rows import TABLES
    from preservecheck.reference.validate import validate_tables

    with user_errors():
        known = load(tables or context.obj)
        if faults := validate_tables(known):
            raise TableError(faults)
        write_output(
            f"No fault in {sum(len(known.rows(name)) for name in TABLES)} rows of {len(TABLES)} "
            "tables.\n"
        )


# ---- between the commands and the library --------------------------------------------------------


def _reviewed(
    files: Iterable[Path], tables: Tables
) -> tuple[list[Report], dict[Path, tuple[Fault, ...]]]:
    """Reports of the files that can be read, and the faults of the others."""
    # one formula needs no worker threads, and starting them costs a tenth of the time
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from preservecheck.assess.review import review as judged
    from preservecheck.errors import FormulaError, UnitError

    reports: list[Report] = []
    faults: dict[Path, tuple[Fault, ...]] = {}
    for file in files:
        try:
            reports.append(judged(file, tables))
        except (FormulaError, UnitError) as error:
            faults[file] = error.faults
    return reports, faults


def _chosen(
    formula: Path,
    markets: str | None,
    only: Only | None,
    without: list[str],
    limit: int | None,
    tables: Path | None,
) -> Choice:
    """The ranking that the options ask for."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from preservecheck.ranking.rank import choose as ranked

    wanted = [m.strip().upper() for m in (markets or "").split(",") if m.strip()]
    return ranked(
        formula,
        load(tables),
        markets=wanted,
        natural=only is not None,
        without=without,
        limit=limit,
    )


def _ranked(found: Choice, form: PlainFormat, output: Path | None) -> str:
    """The ranking in one form."""
    from preservecheck.report import choice

    if form is PlainFormat.text:
        return choice.render_text(found, width=width() if output is None else FILE_WIDTH)
    return (
        choice.render_markdown(found) if form is PlainFormat.markdown else choice.render_json(found)
    )


def _rendered(
    reports: list[Report],
    unread: list[str],
    form: Format,
    several: bool,
    output: Path | None,
    tables: Path | None,
) -> str:
    """Reports in one form; for several files with a summary, or as a list."""
    from importlib import import_module

    module = import_module(f"preservecheck.report.{form}")
    layout: dict[str, Any] = {"tables": load(tables)} if form is Format.html else {}
    if form is Format.text:
        layout = (
            {"width": width(), "colour": _coloured()} if output is None else {"width": FILE_WIDTH}
        )
    text: str = (
        module.render_many(reports, unread, **layout)
        if several
        else module.render(reports[0], **layout)
    )
    return text


def _coloured() -> bool:
    return (
        sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    )


def _let_everything_through(stream: IO[str]) -> None:
    """A sign that a terminal cannot show becomes a question mark; files and pipes get UTF-8."""
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is None:
        return
    if stream.isatty() or "PYTHONIOENCODING" in os.environ:
        reconfigure(errors="replace")
    else:
        reconfigure(encoding="utf-8", errors="replace")


def _quoted(path: Path) -> str:
    text = str(path)
    return f'"{text}"' if " " in text else text


def _add_commands() -> None:
    """Commands that stand in modules of their own."""
    for command in (
        paper.record,
        paper.worksheet,
        bench.cooldown,
        bench.adjust,
        evidence.challenge,
        evidence.drift,
        page.page,
        screen.screen,
    ):
        app.command()(command)


_add_commands()
