"""The command line: options become calls of the library, results become text and an exit status."""

from __future__ import annotations

import gc
import os
import sys
from typing import IO, Annotated

import typer

from preservecheck.cli import bench, evidence, page, paper, review, screen, tables
from preservecheck.cli.common import write_output

app = typer.Typer(rich_markup_mode=None, pretty_exceptions_enable=False, add_completion=False)
for command in (
    review.review,
    review.choose,
    review.mend,
    review.explain,
    review.new,
    paper.record,
    paper.batch_sheet,
    bench.cooldown,
    bench.adjust,
    evidence.challenge,
    evidence.drift,
    page.page,
    screen.screen,
):
    app.command()(command)
# names of earlier versions
app.command("worksheet", hidden=True)(paper.worksheet)
app.add_typer(tables.app, name="tables")


def main() -> None:
    """Run the program."""
    gc.set_threshold(100_000, 20, 20)  # starting up makes many objects and no rubbish
    # no command needs worker threads, and starting them costs a tenth of the time; the pieces of a
    # screen run side by side
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    for stream in (sys.stdout, sys.stderr):
        _let_everything_through(stream)
    _leave_out_others(sys.argv[1] if len(sys.argv) > 1 else "")
    app()


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


def _leave_out_others(wanted: str) -> None:
    """Set up only the command that is asked for: each costs milliseconds; for anything else all
    stay."""
    asked = [
        command
        for command in app.registered_commands
        if wanted == (command.name or getattr(command.callback, "__name__", "").replace("_", "-"))
    ]
    if asked:
        app.registered_commands, app.registered_groups = asked, []


def _let_everything_through(stream: IO[str]) -> None:
    """A sign that a terminal cannot show becomes a question mark; files and pipes get UTF-8."""
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is None:
        return
    if stream.isatty() or "PYTHONIOENCODING" in os.environ:
        reconfigure(errors="replace")
    else:
        reconfigure(encoding="utf-8", errors="replace")
