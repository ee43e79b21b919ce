"""Commands for the tables behind the verdicts."""

from __future__ import annotations

from functools import partial
from typing import Annotated

import typer

from preservecheck.cli import common as c

app = typer.Typer(rich_markup_mode=None)
TableArgument = Annotated[str, typer.Argument(metavar="TABLE")]


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
    table: TableArgument,
    key: Annotated[
        list[str], typer.Argument(metavar="KEY", help="Its key; blanks need no quotes.")
    ],
    form: c.FormatOption = c.Format.text,
    output: c.OutputOption = None,
    tables: c.TablesOption = None,
) -> None:
    """Print one row in full, with its source and what is only recalled."""
    with c.user_errors():
        from preservecheck.report import tables as t

        row = (c.load(tables or context.obj), table, " ".join(key))
        c.answer(form, output, partial(t.full_row, *row), partial(t.row_data, *row))


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
        from preservecheck.errors import TableError
        from preservecheck.reference.validate import validate_tables
        from preservecheck.report import tables as t
        from preservecheck.report.formats import json_text

        try:
            known = c.load(tables or context.obj)
            if faults := validate_tables(known):
                raise TableError(faults)
        except TableError as error:
            if form is not c.Format.json:
                raise
            c.write_output(json_text(c.faults_data(error.faults)), output)
            raise typer.Exit(c.UNREADABLE) from None
        c.answer(form, output, partial(t.sound, known), partial(t.overview_data, known))
