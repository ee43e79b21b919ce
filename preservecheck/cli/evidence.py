"""Commands for what comes afterwards: the challenge test and the pH over time."""

from __future__ import annotations

import datetime as dt
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from preservecheck.cli.bench import (
    FormatOption,
    FormulaOption,
    OutputOption,
    laid_out,
    read_formula,
)
from preservecheck.cli.common import (
    ALL_PASS,
    NOT_ALL_PASS,
    PlainFormat,
    TablesOption,
    load,
    user_errors,
    write_output,
)


class Standard(StrEnum):
    """Standards of the challenge test."""

    iso_11930 = "iso-11930"
    usp_51 = "usp-51"
    ph_eur_5_1_3 = "ph-eur-5.1.3"


def challenge(
    results: Annotated[
        Path | None,
        typer.Argument(
            metavar="RESULTS",
            help="The laboratory's counts; left out, the plan.",
            show_default=False,
        ),
    ] = None,
    standard: Annotated[
        Standard | None, typer.Option(help="Standard of the test; default what the file says.")
    ] = None,
    plan: Annotated[
        bool, typer.Option("--plan", help="Print the plan of a test, with dates.")
    ] = False,
    start: Annotated[
        str | None, typer.Option(metavar="2026-12-01", help="Day of the inoculation, for the plan.")
    ] = None,
    formula: FormulaOption = None,
    keep: Annotated[
        bool,
        typer.Option("--keep", help="Keep the result beside the formula, for review and record."),
    ] = False,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write a chart: a name in .svg or .png.")
    ] = None,
    form: FormatOption = PlainFormat.text,
    output: OutputOption = None,
    tables: TablesOption = None,
) -> None:
    """Judge a challenge test, or plan one.

    The laboratory's counts against the lines of the standard; without counts the plan, with dates.

    Exit status: 0 passed (or a plan was printed), 1 anything else, 2 a file could not be read.
    """
    with user_errors():
        if results is None or plan:
            write_output(_planned(results, standard, start, formula, form, output, tables), output)
            raise typer.Exit(ALL_PASS)
        from preservecheck.evidence.challenge import challenge as judged
        from preservecheck.report.evidence import challenge_page

        known = load(tables)
        product = read_formula(formula, known)
        found = judged(results, standard, known, formula=product)
        if plot is not None:
            from preservecheck.report.plots.bench import courses

            courses(found, plot)
        if keep:
            from preservecheck.errors import ReadingsError
            from preservecheck.formula.kept_test import keep as kept

            if product is None:
                raise ReadingsError(
                    "--keep writes the result beside a formula; give it with --formula"
                )
            typer.echo(f"Kept in {kept(found.to_json(), product)}.", err=True)
        write_output(laid_out(challenge_page(found), found.to_json(), form, output), output)
        raise typer.Exit(ALL_PASS if found.verdict in ("A", "passes") else NOT_ALL_PASS)


def drift(
    readings: Annotated[
        Path,
        typer.Argument(metavar="READINGS", help="File with the columns date, ph and storage_c."),
    ],
    formula: FormulaOption = None,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write a chart: a name in .svg or .png.")
    ] = None,
    form: FormatOption = PlainFormat.text,
    output: OutputOption = None,
    tables: TablesOption = None,
) -> None:
    """Say whether the pH moves over time.

    How fast, when it leaves the window, and when to read again.

    Exit status: 0 it stays inside for a year, 1 it may not or too few readings, 2 a file could not
    be read.
    """
    with user_errors():
        from preservecheck.errors import ReadingsError
        from preservecheck.evidence.drift import drift as drifted
        from preservecheck.report.evidence import drift_page

        known = load(tables)
        product = read_formula(formula, known)
        if product is None:
            raise ReadingsError(
                "give the formula with --formula: its preservatives and its type set the window"
            )
        found = drifted(readings, product, known)
        if plot is not None:
            from preservecheck.report.plots.bench import drifting

            drifting(found, plot)
        write_output(laid_out(drift_page(found), found.to_json(), form, output), output)
        raise typer.Exit(ALL_PASS if found.verdict == "pass" else NOT_ALL_PASS)


# ---- between the commands and the library --------------------------------------------------------


def _planned(
    results: Path | None,
    standard: Standard | None,
    start: str | None,
    formula: Path | None,
    form: PlainFormat,
    output: Path | None,
    tables: Path | None,
) -> str:
    """The plan of a test."""
    from preservecheck.errors import ReadingsError
    from preservecheck.evidence.challenge_plan import plan
    from preservecheck.report.evidence import plan_page

    if results is not None:
        raise ReadingsError("--plan prints a plan and reads no results; leave one of them out")
    try:
        day = dt.date.fromisoformat(start) if start else dt.date.today()
    except ValueError:
        raise ReadingsError(
            f'--start is "{start}"; give a day as year-month-day, such as 2026-12-01'
        ) from None
    known = load(tables)
    found = plan(standard or Standard.iso_11930, day, known, formula=read_formula(formula, known))
    return laid_out(plan_page(found), found.to_json(), form, output)
