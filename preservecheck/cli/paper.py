"""Commands that make paper: the decision record and the batch sheet."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from functools import partial, wraps
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from preservecheck.cli import common as c

if TYPE_CHECKING:
    from preservecheck.evidence.record import Built
    from preservecheck.reference.load import Tables

# forms of the record that are kept together
KEPT = (c.Format.html, c.Format.markdown, c.Format.json)
XLSX = ".xlsx"
PaperFormatOption = Annotated[
    c.Format | None,
    typer.Option("--format", case_sensitive=False, help="Form of the paper.", show_default=False),
]
WHAT_TO_GIVE = "record: give a formula and --output DIR, or --verify FILE"


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
    batch_number: c.BatchNumberOption = None,
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
    form: PaperFormatOption = None,
    tables: c.TablesOption = None,
) -> None:
    """Write down why a preservative was chosen, or check it.

    The decision record comes as HTML, Markdown and JSON, or in the one form that --format names;
    --verify works a JSON file out again.

    Exit status: 0 all pass (or the record agrees), 1 something warns or is unknown (or differs), 2
    unreadable.
    """
    with c.user_errors():
        known = c.load(tables)
        if verify is not None:
            raise typer.Exit(_verified(verify, known, form or c.Format.text))
        given = formula if output is not None or form is not None else None
        built = _built(given, known, results, batch_number, reason)
        if output is None and form is not None:
            c.write_output(_record(built, form))
        else:
            files = _record_files(built, output, [form] if form else KEPT, force)
            c.write_output("Wrote " + ", ".join(str(f) for f in files) + ".\n")
        raise typer.Exit(c.ALL_PASS if built.report.verdict == "pass" else c.NOT_ALL_PASS)


def batch_sheet(
    formula: c.FormulaArgument,
    batch: c.BatchOption = None,
    batch_number: c.BatchNumberOption = None,
    output: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="A name that ends in .html, .xlsx, .md, .txt or .json; left out, the screen.",
        ),
    ] = None,
    paper: Annotated[Paper, typer.Option(help="Paper to print on.")] = Paper.a4,
    form: PaperFormatOption = None,
    tables: c.TablesOption = None,
) -> None:
    """Write a batch sheet to print and fill in.

    As HTML, unless --format or the name of the file says otherwise.

    Exit status: 0 all checks of the formula pass, 1 something warns or is unknown, 2 the file could
    not be read.
    """
    with c.user_errors():
        from preservecheck.bench.batch_sheet import batch_sheet as sheet_of
        from preservecheck.files import write_all
        from preservecheck.report import batch_sheet as built

        ending = _sheet_form(output) if form is None else form
        sheet = sheet_of(formula, c.load(tables), batch_g=c.grams(batch), batch_number=batch_number)
        if ending == XLSX and output is not None:
            write_all({output: built.workbook(sheet, paper.value)})
        else:
            page = partial(built.document, sheet, paper.value)
            c.answer(ending, output, page, partial(sheet.model_dump, mode="json"))
        raise typer.Exit(c.ALL_PASS if sheet.verdict == "pass" else c.NOT_ALL_PASS)


@wraps(batch_sheet)
def worksheet(**options: Any) -> None:
    """The batch sheet by its earlier name."""
    typer.echo("'worksheet' is now called 'batch-sheet'.", err=True)
    batch_sheet(**options)


# ---- between the commands and the library --------------------------------------------------------


def _verified(path: Path, tables: Tables, form: c.Format) -> int:
    """Show what a record that is worked out again comes to, and the exit status."""
    from preservecheck.evidence.verify import verify
    from preservecheck.report import verification as built

    found = verify(path, tables)
    c.answer(form, None, partial(built.document, found), partial(built.data, found))
    return c.ALL_PASS if found.agrees else c.NOT_ALL_PASS


def _built(
    formula: Path | None,
    tables: Tables,
    results: Path | None,
    batch_number: str | None,
    reason: str | None,
) -> Built:
    """The record that the options ask for."""
    from preservecheck.errors import Fault, PreservecheckError
    from preservecheck.evidence.record import build
    from preservecheck.formula.stored_result import read_result

    if formula is None:
        raise PreservecheckError(Fault(WHAT_TO_GIVE))
    challenge = None if results is None else read_result(results)
    return build(formula, tables, batch_number=batch_number, reason=reason, challenge=challenge)


def _record(built: Built, form: c.Format) -> str:
    """The record in one form."""
    from preservecheck.evidence.record import to_json
    from preservecheck.report import record
    from preservecheck.report.formats import render

    if form is c.Format.json:
        return to_json(built.record)
    return render(form, lambda: record.document(built), dict)


def _record_files(
    built: Built, folder: Path | None, forms: Sequence[c.Format], force: bool
) -> list[Path]:
    """Write the record in these forms, all or none."""
    from preservecheck.errors import Fault, PreservecheckError
    from preservecheck.files import write_all
    from preservecheck.report.formats import ENDINGS

    if folder is None:
        raise PreservecheckError(Fault(WHAT_TO_GIVE))
    stem = Path(built.record.formula["path"] or "formula").stem
    files = {folder / f"{stem}.record{ENDINGS[form]}": form for form in forms}
    if there := [file for file in files if file.exists() and not force]:
        allowed = "a record is kept. Choose another folder, or --force"
        raise PreservecheckError(Fault("exists already", allowed, where=str(there[0])))
    texts = {file: _record(built, form).encode() for file, form in files.items()}
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        found = f"cannot be made: {error.strerror or error}"
        raise PreservecheckError(Fault(found, where=str(folder))) from None
    write_all(texts)
    return list(files)


def _sheet_form(output: Path | None) -> str:
    """The form that the name of a file asks for."""
    from preservecheck.errors import Fault, PreservecheckError
    from preservecheck.report.formats import ENDINGS

    forms = {ending: form for form, ending in ENDINGS.items()} | {".htm": "html", XLSX: XLSX}
    suffix = ".html" if output is None or str(output) == "-" else output.suffix.casefold()
    if suffix not in forms:
        allowed = "give a name that ends in .html, .xlsx, .md, .txt or .json"
        raise PreservecheckError(Fault("", allowed, where=str(output)))
    return forms[suffix]
