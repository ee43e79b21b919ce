"""Commands for what comes afterwards: the challenge test and the pH over time."""

from __future__ import annotations

import datetime as dt
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from preservecheck.cli import common as c

if TYPE_CHECKING:
    from preservecheck.evidence.challenge import Challenge
    from preservecheck.evidence.challenge_plan import Plan
    from preservecheck.formula.model import Formula
    from preservecheck.reference.load import Tables


NO_WINDOW = "the preservatives and the type of a formula set the window of the pH"


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
    formula: c.FormulaOption = None,
    keep: Annotated[
        bool,
        typer.Option("--keep", help="Keep the result beside the formula, for review and record."),
    ] = False,
    plot: c.PlotOption = None,
    form: c.FormatOption = c.Format.text,
    output: c.OutputOption = None,
    tables: c.TablesOption = None,
) -> None:
    """Judge a challenge test, or plan one.

    The laboratory's counts against the lines of the standard; without counts the plan, with dates.

    Exit status: 0 passed (or a plan was printed), 1 anything else, 2 a file could not be read.
    """
    with c.user_errors():
        from preservecheck.report import challenge as built

        known = c.load(tables)
        product = c.read_formula(formula, known)
        if results is None or plan:
            planned = _planned(results, standard, start, product, known)
            c.answer(form, output, partial(built.plan_document, planned), planned.to_json)
            raise typer.Exit(c.ALL_PASS)
        found = _judged(results, standard, product, known, plot, keep)
        c.answer(form, output, partial(built.document, found), found.to_json)
        raise typer.Exit(c.ALL_PASS if found.verdict in ("A", "passes") else c.NOT_ALL_PASS)


def drift(
    readings: Annotated[
        Path,
        typer.Argument(metavar="READINGS", help="File with the columns date, ph and storage_c."),
    ],
    formula: c.FormulaOption = None,
    plot: c.PlotOption = None,
    form: c.FormatOption = c.Format.text,
    output: c.OutputOption = None,
    tables: c.TablesOption = None,
) -> None:
    """Say whether the pH moves over time.

    How fast, when it leaves the window, and when to read again.

    Exit status: 0 it stays inside for a year, 1 it may not or too few readings, 2 a file could not
    be read.
    """
    with c.user_errors():
        from preservecheck.errors import Fault, Hint, ReadingsError
        from preservecheck.evidence.drift import drift as drifted
        from preservecheck.report import drift as built
        from preservecheck.report.plots import readings as charts

        known = c.load(tables)
        product = c.read_formula(formula, known)
        if product is None:
            raise ReadingsError(Fault(NO_WINDOW, hint=Hint.FORMULA))
        found = drifted(readings, product, known)
        c.write_chart(charts.drifting(found), plot)
        c.answer(form, output, partial(built.document, found), found.to_json)
        raise typer.Exit(c.ALL_PASS if found.verdict == "pass" else c.NOT_ALL_PASS)


# ---- between the commands and the library --------------------------------------------------------


def _judged(
    results: Path,
    standard: Standard | None,
    product: Formula | None,
    tables: Tables,
    plot: Path | None,
    keep: bool,
) -> Challenge:
    """A test, with its chart and its result in files where that is asked for."""
    from preservecheck.errors import Fault, Hint, ReadingsError
    from preservecheck.evidence.challenge import challenge as judged
    from preservecheck.formula.stored_result import store
    from preservecheck.report.plots import readings as charts

    found = judged(results, standard, tables, formula=product)
    c.write_chart(charts.courses(found), plot)
    if keep:
        if product is None:
            raise ReadingsError(
                Fault("--keep writes the result beside a formula", hint=Hint.FORMULA)
            )
        typer.echo(f"Kept in {store(found.to_json(), product)}.", err=True)
    return found


def _planned(
    results: Path | None,
    standard: Standard | None,
    start: str | None,
    product: Formula | None,
    tables: Tables,
) -> Plan:
    """The plan of a test."""
    from preservecheck.errors import Fault, ReadingsError
    from preservecheck.evidence.challenge_plan import plan

    if results is not None:
        raise ReadingsError(
            Fault("--plan prints a plan and reads no results", "leave one of them out")
        )
    try:
        day = dt.date.fromisoformat(start) if start else dt.date.today()
    except ValueError:
        allowed = "give a day as year-month-day, such as 2026-12-01"
        raise ReadingsError(Fault("", allowed, name="--start", value=f'"{start}"')) from None
    return plan(standard or Standard.iso_11930, day, tables, formula=product)
