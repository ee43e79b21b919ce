"""Commands for the tables behind the verdicts."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from preservecheck.cli import common as c

if TYPE_CHECKING:
    from preservecheck.reference.load import Tables

app = typer.Typer(rich_markup_mode=None)


@app.callback(invoke_without_command=True)
def start(context: typer.Context, tables: c.TablesOption = None) -> None:
    """Look at the tables behind the verdicts.

    Without a command, name them all.
    """
    context.obj = tables
    if context.invoked_subcommand is None:
        list_(context)


@app.command("list")
def list_(
    context: typer.Context,
    table: Annotated[
        str | None, typer.Argument(metavar="TABLE", help="Left out: all tables.")
    ] = None,
    form: c.FormatOption = c.Format.text,
    output: c.OutputOption = None,
    tables: c.TablesOption = None,
) -> None:
    """List the rows of a table; without one, the tables."""
    with c.user_errors():
        from preservecheck.report import tables as t

        known = c.load(tables or context.obj)
        if table is None:
            c.answer(form, output, partial(t.overview, known), partial(t.overview_data, known))
        else:
            build, data = partial(t.listing, known, table), partial(t.listing_data, known, table)
            c.answer(form, output, build, data)


@app.command()
def show(
    context: typer.Context,
    table: Annotated[str, typer.Argument(metavar="[TABLE]")],
    key: Annotated[
        list[str] | None, typer.Argument(metavar="KEY", help="Its key; blanks need no quotes.")
    ] = None,
    form: c.FormatOption = c.Format.text,
    output: c.OutputOption = None,
    tables: c.TablesOption = None,
) -> None:
    """Print one row in full.

    With where each cell comes from, read or recalled.
    """
    with c.user_errors():
        from preservecheck.report import tables as t

        row = (c.load(tables or context.obj), table, " ".join(key or ()))
        c.answer(form, output, partial(t.full_rows, *row), partial(t.rows_data, *row))


@app.command()
def search(
    context: typer.Context,
    words: Annotated[list[str], typer.Argument(metavar="WORDS")],
    form: c.FormatOption = c.Format.text,
    output: c.OutputOption = None,
    tables: c.TablesOption = None,
) -> None:
    """Find the rows of all tables that hold every word."""
    with c.user_errors():
        from preservecheck.report import tables as t

        wanted = (c.load(tables or context.obj), words)
        c.answer(form, output, partial(t.search, *wanted), partial(t.search_data, *wanted))


@app.command()
def validate(
    context: typer.Context,
    form: c.FormatOption = c.Format.text,
    output: c.OutputOption = None,
    tables: c.TablesOption = None,
) -> None:
    """Check every row of every table. Exit status: 0 no fault, 2 faults."""
    with c.user_errors():
        from preservecheck.report import tables as t

        known = _without_fault(tables or context.obj, form, output)
        c.answer(form, output, partial(t.sound, known), partial(t.overview_data, known))


def _without_fault(folder: Path | None, form: c.Format, output: Path | None) -> Tables:
    """The tables, every row of which is sound; faults end the command, as JSON where that was
    asked for."""
    from preservecheck.errors import TableError
    from preservecheck.reference.validate import validate_tables
    from preservecheck.report.formats import json_text

    try:
        known = c.load(folder)
        if faults := validate_tables(known):
            raise TableError(faults)
    except TableError as error:
        if form is not c.Format.json:
            raise
        c.write_output(json_text(c.faults_data(error.faults)), output)
        raise typer.Exit(c.UNREADABLE) from None
    return known


@app.command()
def age(
    context: typer.Context,
    form: c.FormatOption = c.Format.text,
    output: c.OutputOption = None,
    tables: c.TablesOption = None,
) -> None:
    """Say how old the law of each market is."""
    with c.user_errors():
        import datetime as dt

        from preservecheck.report import tables as t

        known, day = c.load(tables or context.obj), dt.date.today()
        c.answer(form, output, partial(t.age, known, day), partial(t.age_data, known, day))


@app.command()
def coverage(
    context: typer.Context,
    form: c.FormatOption = c.Format.text,
    output: c.OutputOption = None,
    tables: c.TablesOption = None,
) -> None:
    """Show what was read, recalled, or is missing.

    In HTML with pictures.
    """
    with c.user_errors():
        from preservecheck.report import tables as t

        known = c.load(tables or context.obj)
        c.answer(form, output, partial(t.covered, known), partial(t.covered_data, known))
