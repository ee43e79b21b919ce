"""The command that screens many formulas at once."""

from __future__ import annotations

import datetime as dt
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from preservecheck.cli import common as c

if TYPE_CHECKING:
    from preservecheck.screen.run import Run
    from preservecheck.screen.summary import Summary

# rows that a terminal shows
SHOWN = 30
# forms that a run writes row by row; the others show the first rows and the summary
ROWS = ("csv", "parquet", "json")
FORMS = ("text", "markdown", "html", *ROWS)
EARLIER = {"table": "text"}


def screen(
    paths: Annotated[
        list[Path],
        typer.Argument(
            metavar="PATH",
            help="Formula files, folders of them, or a long table (.csv, .parquet) with the "
            "columns formula, phase, ingredient, percent.",
        ),
    ],
    against: Annotated[
        list[str] | None,
        typer.Option(
            metavar="own|all|ID",
            help="own: each formula as it stands (default). all, or the id of a system, may be "
            "repeated: that system in place of the formula's own, at the middle of its range or "
            "at what the law allows if that is less.",
        ),
    ] = None,
    products: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Products of a long table, a row a formula. Default: NAME.products.csv beside "
            "NAME.csv, else the table's own columns.",
        ),
    ] = None,
    since: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            help="A folder with earlier tables: list only what comes off differently now, and why.",
        ),
    ] = None,
    form: Annotated[
        str, typer.Option("--format", metavar="|".join(FORMS), help="Form of the verdicts.")
    ] = "text",
    output: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the verdicts here.")
    ] = None,
    resume: Annotated[
        bool, typer.Option("--resume", help="Go on with a run that was stopped.")
    ] = False,
    jobs: Annotated[
        int | None,
        typer.Option(
            min=1, max=64, metavar="N", help="Pieces at the same time; default: all cores."
        ),
    ] = None,
    tables: c.TablesOption = None,
) -> None:
    """Screen many formulas against their own or all systems.

    Exit status: 0 all pass (with --since: nothing changed), 1 something warns, is unknown or
    changed, 2 a formula or a file could not be read.
    """
    with c.user_errors():
        form = _form(form, output)
        run = _run(paths, tuple(against or ["own"]), products, since, form, output, jobs, tables)
        summary = _done(run, form, output, resume=resume)
        raise typer.Exit(
            c.UNREADABLE
            if summary.unread
            else c.NOT_ALL_PASS
            if summary.changed or (since is None and set(summary.verdicts) - {"pass"})
            else c.ALL_PASS
        )


def _form(written: str, output: Path | None) -> str:
    """The form that is meant; a ``PreservecheckError`` where there is none, or a terminal cannot
    show it."""
    from preservecheck.errors import Fault, PreservecheckError
    from preservecheck.text import join_or

    form = EARLIER.get(written.casefold(), written.casefold())
    where = f"--format {written}"
    if form not in FORMS:
        raise PreservecheckError(Fault("", f"the formats are {join_or(FORMS)}", where=where))
    if form == "parquet" and output is None:
        raise PreservecheckError(
            Fault("a terminal cannot show it", "name a file with --output", where=where)
        )
    if form == "parquet":
        c.need("parquet")
    return form


def _run(
    paths: list[Path],
    against: tuple[str, ...],
    products: Path | None,
    since: Path | None,
    form: str,
    output: Path | None,
    jobs: int | None,
    tables: Path | None,
) -> Run:
    """The run that the options ask for; everything that can be refused is refused here."""
    import tempfile

    from preservecheck.cli.hints import HINTS
    from preservecheck.errors import Fault, PreservecheckError
    from preservecheck.reference.load import load_tables
    from preservecheck.screen.frame import systems_of
    from preservecheck.screen.run import Job, Run
    from preservecheck.screen.sources import sources_of
    from preservecheck.screen.table_diff import former_tables

    if output is not None and not output.resolve().parent.is_dir():
        found = f"the folder {output.resolve().parent} is not there"
        raise PreservecheckError(Fault(found, "make it first", where=str(output)))
    known = load_tables(tables)
    systems_of(against, known)
    if since is not None:
        former_tables(since, known)
    sources = sources_of(paths, products)
    folder = f"{output}.parts" if output else tempfile.mkdtemp(prefix="preservecheck-")
    job = Job(
        None if known.own_dir is None else str(known.own_dir.resolve()),
        against,
        dt.date.today(),
        form if form in ROWS else "table",
        None if since is None else str(since.resolve()),
        HINTS,
    )
    return Run(job, sources, Path(folder), jobs or os.cpu_count() or 1)


def _done(run: Run, form: str, output: Path | None, *, resume: bool) -> Summary:
    """Run it, and write or show what comes out."""
    import shutil

    from preservecheck.errors import Fault, PreservecheckError

    if resume and output is None:
        allowed = "without a file nothing is kept to go on with"
        raise PreservecheckError(Fault("--resume goes with --output FILE", allowed))
    try:
        run.prepare(resume=resume)
        total = run.total()
        if total < 2 * 200:  # noqa: PLR2004  # not worth a second process
            run.jobs = 1
        with _progress(total) as told_of:
            summary = run.done(told_of)
        _written(run, form, output, summary)
    except KeyboardInterrupt:
        if output is not None:
            told = f"Stopped. Nothing was written to {output}; the same command with --resume goes "
            typer.echo(told + "on.", err=True)
        raise typer.Exit(130) from None
    finally:
        if output is None:
            shutil.rmtree(run.folder, ignore_errors=True)
    shutil.rmtree(run.folder, ignore_errors=True)
    return summary


def _written(run: Run, form: str, output: Path | None, summary: Summary) -> None:
    """The verdicts in the form that is asked for, and the summary beside them."""
    from preservecheck.report import screening as built
    from preservecheck.screen import shards

    columns, head = built.columns(run.job), built.head(run.job, summary)
    if form not in ROWS:
        rows = shards.rows_shown(run.folder, SHOWN)
        c.answer(form, output, partial(built.document, run.job, rows, summary), dict)
    elif output is None:
        shards.stream(run.folder, form, sys.stdout, columns, head)
        sys.stdout.flush()
    else:
        shards.put_together(run.folder, form, output, columns, head)
        c.answer("text", None, partial(built.document, run.job, [], summary), dict)
        c.write_output(f"Wrote {output}.\n")


@contextmanager
def _progress(total: int) -> Iterator[Callable[[int], None]]:
    """A bar with the remaining time where somebody looks on."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich import progress as p
    from rich.console import Console

    columns = p.TextColumn("formulas"), p.BarColumn(), p.MofNCompleteColumn()
    left = p.TimeRemainingColumn()
    with p.Progress(*columns, left, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("formulas", total=total)
        yield lambda count: bar.advance(task, count)
