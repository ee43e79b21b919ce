"""Commands at the bench: the cooling batch and the pH."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer

from preservecheck.cli import common as c


def cooldown(
    readings: Annotated[
        list[str],
        typer.Argument(
            metavar="READINGS",
            help="A .csv or .xlsx file, or readings as typed: 0=74C 10=66C, or 14:05=165F "
            "14:15=150F.",
        ),
    ],
    formula: c.FormulaOption = None,
    room: Annotated[
        str | None,
        typer.Option(
            metavar='"21 °C"', help="Temperature of the room or water bath; left out, it is fitted."
        ),
    ] = None,
    start: Annotated[
        str | None,
        typer.Option(metavar="14:05", help="Clock time of minute 0, for readings in minutes."),
    ] = None,
    added: Annotated[
        str | None,
        typer.Option(metavar="TIME", help="When the cool-down phase went in: 14:42, or minutes."),
    ] = None,
    plot: c.PlotOption = None,
    form: c.FormatOption = c.Format.text,
    output: c.OutputOption = None,
    tables: c.TablesOption = None,
) -> None:
    """Say when a cooling batch is cool enough.

    It also says whether something went in too hot, and what the cold phase does.

    Exit status: 0 nothing speaks against it, 1 something warns or cannot be told, 2 the readings
    could not be read.
    """
    with c.user_errors():
        from preservecheck.bench.cooling import cooldown as cooled
        from preservecheck.report import cooling as built
        from preservecheck.report.plots import readings as charts
        from preservecheck.units import temperature_c

        known = c.load(tables)
        product = c.read_formula(formula, known)
        room_c = c.quantity(temperature_c, room, "--room")
        found = cooled(readings, product, known, room_c=room_c, start=start, added=added)
        c.write_chart(charts.cooling(found), plot)
        c.answer(form, output, partial(built.document, found), found.to_json)
        raise typer.Exit(c.ALL_PASS if found.verdict == "pass" else c.NOT_ALL_PASS)


def adjust(
    formula: c.FormulaArgument,
    titration: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Bench titration: c.grams added to a weighed sample, and the pH."
        ),
    ] = None,
    target: Annotated[
        float | None, typer.Option(min=0, max=14, metavar="PH", help="pH to reach.")
    ] = None,
    agent: Annotated[str | None, typer.Option(metavar="NAME", help="Acid or base to add.")] = None,
    agent_percent: Annotated[
        float | None,
        typer.Option(min=0.01, max=100, metavar="PERCENT", help="Strength of its solution."),
    ] = None,
    batch: c.BatchOption = None,
    plot: c.PlotOption = None,
    form: c.FormatOption = c.Format.text,
    output: c.OutputOption = None,
    tables: c.TablesOption = None,
) -> None:
    """Say how much acid or base the pH needs.

    From a bench titration, else estimated; in steps, with a reading after each.

    Exit status: 0 an amount is told and no check gets worse by it, 1 otherwise, 2 a file could not
    be read.
    """
    with c.user_errors():
        from preservecheck.bench.adjust import adjust as adjusted
        from preservecheck.formula.load import load_formula
        from preservecheck.report import adjust as built
        from preservecheck.report.plots import readings as charts

        known = c.load(tables)
        solution: dict[str, Any] = {"agent": agent, "agent_percent": agent_percent}
        aim: dict[str, Any] = {"target_ph": target, "batch_g": c.grams(batch)}
        product = load_formula(formula, known)
        found = adjusted(product, known, titration=titration, **solution, **aim)
        c.write_chart(charts.titration(found), plot)
        c.answer(form, output, partial(built.document, found), found.to_json)
        raise typer.Exit(c.ALL_PASS if found.complete else c.NOT_ALL_PASS)
