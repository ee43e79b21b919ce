"""Commands that make paper: the decision record and the batch sheet."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from preservecheck.cli.common import (
    ALL_PASS,
    NOT_ALL_PASS,
    TablesOption,
    grams,
    load,
    user_errors,
    write_output,
)

if TYPE_CHECKING:
    from preservecheck.evidence.record import Built


class Paper(StrEnum):
    """Sizes of paper."""

    a4 = "a4"
    letter = "letter"


def record(
    formula: Annotated[
        Path | None,
        typer.Argument(
            metavar="FORMULA", help="Formula file: .toml, .xlsx or .csv.", show_default=False
        ),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR", help="Folder for the three files; it is made if it is not there."
        ),
    ] = None,
    batch_number: Annotated[
        str | None, typer.Option(metavar="TEXT", help="Batch number to print.")
    ] = None,
    reason: Annotated[
        str | None, typer.Option(metavar="TEXT", help="Why you chose this preservative.")
    ] = None,
    results: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Outcome of the challenge test: what 'challenge --format json' wrote.",
        ),
    ] = None,
    force: Annotated[
        bool, typer.Option("--force", help="Overwrite a record that is there.")
    ] = False,
    verify: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Work the JSON file of a record out again and compare."),
    ] = None,
    tables: TablesOption = None,
) -> None:
    """Write down why a preservative was chosen, or check it.

    The decision record comes as HTML, Markdown and JSON; --verify works a JSON file out again.

    Exit status: 0 all pass (or the record agrees), 1 something warns or is unknown (or differs), 2
    unreadable.
    """
    with user_errors():
        if verify is not None:
            raise typer.Exit(_verified(verify, tables))
        built = _built(formula, output, tables, results, batch_number=batch_number, reason=reason)
        files = _record_files(built, output or Path("."), force)
        write_output("Wrote " + ", ".join(str(f) for f in files) + ".\n")
        raise typer.Exit(ALL_PASS if built.report.verdict == "pass" else NOT_ALL_PASS)


def worksheet(
    formula: Annotated[
        Path, typer.Argument(metavar="FORMULA", help="Formula file: .toml, .xlsx or .csv.")
    ],
    batch: Annotated[
        str | None,
        typer.Option(metavar='"2 kg"', help="Size of this batch instead of the formula's own."),
    ] = None,
    batch_number: Annotated[
        str | None, typer.Option(metavar="TEXT", help="Batch number to print.")
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="A name that ends in .html or .xlsx; left out, HTML on the screen."
        ),
    ] = None,
    paper: Annotated[Paper, typer.Option(help="Paper to print on.")] = Paper.a4,
    tables: TablesOption = None,
) -> None:
    """Write a batch sheet to print and fill in.

    Exit status: 0 all checks of the formula pass, 1 something warns or is unknown, 2 the file could
    not be read.
    """
    from preservecheck.bench.batch_sheet import worksheet as sheet_of
    from preservecheck.report.batch_sheet import to_html, to_workbook

    with user_errors():
        form = _form(output)
        sheet = sheet_of(formula, load(tables), batch_g=grams(batch), batch_number=batch_number)
        if form == ".xlsx" and output is not None:
            from preservecheck.files import write_all

            write_all({output: to_workbook(sheet, paper.value)})
        else:
            write_output(to_html(sheet, paper.value), output)
        raise typer.Exit(ALL_PASS if sheet.verdict == "pass" else NOT_ALL_PASS)


# ---- between the commands and the library --------------------------------------------------------


def _verified(path: Path, tables: Path | None) -> int:
    """Print what a record that is worked out again comes to, and the exit status."""
    from preservecheck.evidence.verify import render, verify

    found = verify(path, load(tables))
    write_output(render(found))
    return ALL_PASS if found.agrees else NOT_ALL_PASS


def _built(
    formula: Path | None,
    output: Path | None,
    tables: Path | None,
    results: Path | None,
    **said: str | None,
) -> Built:
    """The record that the options ask for."""
    from preservecheck.errors import PreservecheckError
    from preservecheck.evidence.record import build
    from preservecheck.evidence.result_file import read_outcome

    if formula is None or output is None:
        raise PreservecheckError("record: give a formula and --output DIR, or --verify FILE")
    known = load(tables)
    challenge = None if results is None else read_outcome(results)
    return build(
        formula,
        known,
        batch_number=said["batch_number"],
        reason=said["reason"],
        challenge=challenge,
    )


def _record_files(built: Built, folder: Path, force: bool) -> list[Path]:
    """Write the three files, all or none."""
    from preservecheck.errors import PreservecheckError
    from preservecheck.evidence.record import to_json
    from preservecheck.files import write_all
    from preservecheck.report.record import to_html, to_markdown

    stem = Path(built.record.formula["path"] or "formula").stem
    names = [folder / f"{stem}.record.{end}" for end in ("html", "md", "json")]
    if there := [n for n in names if n.exists() and not force]:
        raise PreservecheckError(
            f"{there[0]}: exists already; a record is kept. Choose another folder, or --force"
        )
    texts = (to_html(built), to_markdown(built), to_json(built.record))
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise PreservecheckError(f"{folder}: cannot be made: {error.strerror or error}") from None
    write_all({n: t.encode() for n, t in zip(names, texts, strict=True)})
    return names


def _form(output: Path | None) -> str:
    from preservecheck.errors import PreservecheckError

    form = ".html" if output is None or str(output) == "-" else output.suffix.casefold()
    if form not in (".html", ".htm", ".xlsx"):
        raise PreservecheckError(f"{output}: give a name that ends in .html or .xlsx")
    return form
