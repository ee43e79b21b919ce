"""Commands at the bench: the cooling batch and the pH."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from preservecheck.cli.common import (
    ALL_PASS,
    FILE_WIDTH,
    NOT_ALL_PASS,
    PlainFormat,
    TablesOption,
    grams,
    load,
    user_errors,
    width,
    write_output,
)

if TYPE_CHECKING:
    from preservecheck.formula.model import Formula
    from preservecheck.reference.load import Tables
    from preservecheck.report.document import Page

FormatOption = Annotated[PlainFormat, typer.Option("--format", help="Form of the answer.")]
OutputOption = Annotated[
    Path | None,
    typer.Option("--output", metavar="FILE", help="Write it here instead of on the screen."),
]
FormulaOption = Annotated[
    Path | None,
    typer.Option("--formula", metavar="FORMULA", help="Formula file: .toml, .xlsx or .csv."),
]


def cooldown(
    readings: Annotated[
        list[str],
        typer.Argument(
            metavar="READINGS",
            help="A .csv or .xlsx file, or readings as typed: 0=74C 10=66C, or 14:05=165F "
            "14:15=150F.",
        ),
    ],
    formula: FormulaOption = None,
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
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write a chart: a name in .svg or .png.")
    ] = None,
    form: FormatOption = PlainFormat.text,
    output: OutputOption = None,
    tables: TablesOption = None,
) -> None:
    """Say when a cooling batch is cool enough.

    It also says whether something went in too hot, and what the cold phase does.

    Exit status: 0 nothing speaks against it, 1 something warns or cannot be told, 2 the readings
    could not be read.
    """
    with user_errors():
        from preservecheck.bench.cooling import cooldown as cooled
        from preservecheck.report.bench import cooldown_page

        known = load(tables)
        found = cooled(
            readings,
            read_formula(formula, known),
            known,
            room_c=_celsius(room),
            start=start,
            added=added,
        )
        if plot is not None:
            from preservecheck.report.plots.bench import cooling

            cooling(found, plot)
        write_output(laid_out(cooldown_page(found), found.to_json(), form, output), output)
        raise typer.Exit(ALL_PASS if found.verdict == "pass" else NOT_ALL_PASS)


def adjust(
    formula: Annotated[
        Path, typer.Argument(metavar="FORMULA", help="Formula file: .toml, .xlsx or .csv.")
    ],
    titration: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Bench titration: grams added to a weighed sample, and the pH."
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
    batch: Annotated[
        str | None,
        typer.Option(metavar='"2 kg"', help="Mass of this batch instead of the formula's own."),
    ] = None,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write a chart: a name in .svg or .png.")
    ] = None,
    form: FormatOption = PlainFormat.text,
    output: OutputOption = None,
    tables: TablesOption = None,
) -> None:
    """Say how much acid or base the pH needs.

    From a bench titration, else estimated; in steps, with a reading after each.

    Exit status: 0 an amount is told and no check gets worse by it, 1 otherwise, 2 a file could not
    be read.
    """
    with user_errors():
        from preservecheck.bench.adjust import adjust as adjusted
        from preservecheck.formula.load import load_formula
        from preservecheck.report.bench import adjust_page

        known = load(tables)
        found = adjusted(
            load_formula(formula, known),
            known,
            titration=titration,
            target_ph=target,
            agent=agent,
            agent_percent=agent_percent,
            batch_g=grams(batch),
        )
        if plot is not None:
            from preservecheck.report.plots.bench import titration as chart

            chart(found, plot)
        write_output(laid_out(adjust_page(found), found.to_json(), form, output), output)
        raise typer.Exit(ALL_PASS if found.settled else NOT_ALL_PASS)


# ---- between the commands and the library --------------------------------------------------------


def read_formula(path: Path | None, tables: Tables) -> Formula | None:
    """The formula of an option."""
    if path is None:
        return None
    from preservecheck.formula.load import load_formula

    return load_formula(path, tables)


def laid_out(page: Page, data: dict[str, Any], form: PlainFormat, output: Path | None) -> str:
    """An answer in one form."""
    from preservecheck.report import document as pages

    if form is PlainFormat.json:
        return pages.render_json(data)
    if form is PlainFormat.markdown:
        return pages.render_markdown(page)
    return pages.render_text(page, width=width() if output is None else FILE_WIDTH)


def _celsius(room: str | None) -> float | None:
    from preservecheck.errors import ReadingsError, UnitError
    from preservecheck.units import temperature_c

    if room is None:
        return None
    try:
        return temperature_c(room)
    except UnitError as error:
        raise ReadingsError(f"--room: {error.messages[0]}") from None
