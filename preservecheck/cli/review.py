"""Commands for one formula and its preservative: judge, rank, explain, begin."""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from preservecheck.cli import common as c

if TYPE_CHECKING:
    from preservecheck.errors import Fault
    from preservecheck.plan.review import Report
    from preservecheck.reference.load import Tables


class Only(StrEnum):
    """Ways to narrow the systems."""

    natural = "natural-standard"


def review(
    formulas: Annotated[
        list[Path], typer.Argument(metavar="FORMULA", help="Formula files: .toml, .xlsx or .csv.")
    ],
    form: c.FormatOption = c.Format.text,
    output: c.OutputOption = None,
    tables: c.TablesOption = None,
) -> None:
    """Judge formulas by all checks.

    Exit status: 0 all pass, 1 something warns or is unknown, 2 a file could not be read.
    """
    with c.user_errors():
        known = c.load(tables)
        reports, faults = _reviewed(formulas, known)
        c.print_errors(fault for of_file in faults.values() for fault in of_file)
        if reports:
            _show(reports, [str(f) for f in faults], known, form, output, len(formulas) > 1)
        passed = all(r.verdict == "pass" for r in reports)
        raise typer.Exit(c.UNREADABLE if faults else c.ALL_PASS if passed else c.NOT_ALL_PASS)


def mend(
    formula: c.FormulaArgument,
    output: Annotated[
        Path, typer.Option("--output", metavar="NEW", help="The new file, of the same form.")
    ],
    steps: Annotated[
        str | None,
        typer.Option(metavar="1,3", help="Steps of the plan to make; left out, all of them."),
    ] = None,
    form: c.FormatOption = c.Format.text,
    tables: c.TablesOption = None,
) -> None:
    """Write a formula with the changes of its plan made.

    The verdict before and after is shown.

    Exit status: 0 all pass afterwards, 1 something warns or is unknown, 2 the file could not be
    read or nothing can be mended.
    """
    with c.user_errors():
        from preservecheck.files import write_all
        from preservecheck.plan.mend import mend as mended
        from preservecheck.report import mend as built

        found = mended(formula, output, c.load(tables), steps=c.whole_numbers(steps, "--steps"))
        write_all(found.files)
        c.answer(form, None, partial(built.document, found, list(found.files)), found.to_json)
        passed = found.after.verdict == "pass"
        raise typer.Exit(c.ALL_PASS if passed else c.NOT_ALL_PASS)


def choose(
    formula: c.FormulaArgument,
    markets: Annotated[
        str | None, typer.Option(metavar="EU,GB", help="Markets instead of the formula's own.")
    ] = None,
    only: Annotated[
        Only | None, typer.Option(help="Only systems that a natural cosmetics standard accepts.")
    ] = None,
    without: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME",
            help="A substance, a system or a class such as parabens to leave out; may be repeated.",
        ),
    ] = None,
    prefer: Annotated[
        list[str] | None,
        typer.Option(
            metavar="WISH",
            help="What comes first: natural-standard, without-releasers and the like, liquid, "
            "powder; may be repeated.",
        ),
    ] = None,
    limit: Annotated[int | None, typer.Option(min=1, metavar="N", help="Show the best N.")] = None,
    form: c.FormatOption = c.Format.text,
    output: c.OutputOption = None,
    tables: c.TablesOption = None,
) -> None:
    """Rank every preservative system for a formula.

    Exit status: 0 something fits as it stands, 1 only after a change or not at all, 2 the file
    could not be read.
    """
    with c.user_errors():
        from preservecheck.ranking.rank import choose as ranked
        from preservecheck.report import choice as built

        wishes: dict[str, Any] = {
            "natural": only is not None,
            "without": without or [],
            "prefer": prefer or [],
        }
        wishes["markets"] = [m.strip().upper() for m in (markets or "").split(",") if m.strip()]
        found = ranked(formula, c.load(tables), limit=limit, **wishes)
        c.answer(form, output, partial(built.document, found), found.to_json)
        fits = any(s.outcome == "fits" for s in found.systems)
        raise typer.Exit(c.ALL_PASS if fits else c.NOT_ALL_PASS)


def explain(
    check: Annotated[
        str | None, typer.Argument(metavar="CHECK", help="A check; left out, all of them.")
    ] = None,
    form: c.FormatOption = c.Format.text,
    output: c.OutputOption = None,
) -> None:
    """Print the rule of a check and its sources."""
    with c.user_errors():
        from preservecheck.report import manual

        if check is None:
            c.answer(form, output, manual.overview, manual.overview_data)
        else:
            c.answer(form, output, partial(manual.document, check), partial(manual.data, check))


def new(
    path: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="A name that ends in .toml, .xlsx or .csv.",
            show_default="formula.toml",
        ),
    ] = Path("formula.toml"),
    force: Annotated[bool, typer.Option("--force", help="Overwrite what is there.")] = False,
) -> None:
    """Write a filled-in formula to start from."""
    from preservecheck.formula.starter import write_starter

    with c.user_errors():
        files = write_starter(path, force=force)
        first = f'"{files[0]}"' if " " in str(files[0]) else str(files[0])
        c.write_output(
            f"Wrote {', '.join(map(str, files))}.\nChange what is in it to what you make, then: "
            f"preservecheck review {first}\n"
        )


# ---- between the commands and the library --------------------------------------------------------


def _reviewed(
    files: Iterable[Path], tables: Tables
) -> tuple[list[Report], dict[Path, tuple[Fault, ...]]]:
    """Reports of the files that can be read, and the faults of the others."""
    from preservecheck.errors import FormulaError, UnitError
    from preservecheck.plan.review import review as judged

    reports: list[Report] = []
    faults: dict[Path, tuple[Fault, ...]] = {}
    for file in files:
        try:
            reports.append(judged(file, tables))
        except (FormulaError, UnitError) as error:
            faults[file] = error.faults
    return reports, faults


def _show(
    reports: list[Report],
    unread: list[str],
    tables: Tables,
    form: c.Format,
    output: Path | None,
    several: bool,
) -> None:
    """One review, or several with a summary; as data an object or a list."""
    from preservecheck.report import review as built

    if several:
        pages = partial(built.documents, reports, unread, tables)
        c.answer(form, output, pages, lambda: [r.to_json() for r in reports])
    else:
        c.answer(form, output, partial(built.document, reports[0], tables), reports[0].to_json)
