"""What the pasted texts tell, for the page: the same results as ``challenge`` and ``drift``
give."""

from __future__ import annotations

import datetime as dt
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from preservecheck.errors import PreservecheckError, ReadingsError
from preservecheck.page.hints import FieldFault
from preservecheck.page.results_form import After, Part
from preservecheck.page.results_words import faults_of, sections_of
from preservecheck.page.svg import Drawing, drawing
from preservecheck.page.words import view_alone
from preservecheck.report.document import Paragraph, Section, Verdict

if TYPE_CHECKING:
    from preservecheck.evidence.challenge import Challenge
    from preservecheck.evidence.drift import Drift
    from preservecheck.formula.model import Formula
    from preservecheck.reference.load import Tables
    from preservecheck.report.document import Document
    from preservecheck.report.plots.chart import Chart


@dataclass(frozen=True)
class Told:
    """A result, what is wrong with what was pasted, or what is missing."""

    faults: tuple[FieldFault, ...] = ()
    stamp: Verdict | None = None
    lead: tuple[str, ...] = ()
    sections: tuple[Section, ...] = ()
    plot: Drawing | None = None
    foot: tuple[str, ...] = ()
    missing: str = ""


def result_of(
    part: Part, after: After, formula: Formula | None, tables: Tables, today: dt.date | None
) -> Challenge | Drift:
    """The judged result of one part.

    Raises
    ------
    PreservecheckError
        What was pasted cannot be used, or the formula is missing; all faults at once.
    """
    from preservecheck.evidence.challenge import challenge
    from preservecheck.evidence.drift import drift, read_ph

    with _as_file(after.text(part)) as path:
        if part == "counts":
            return challenge(path, after.standard or None, tables, formula=formula, today=today)
        if formula is None:
            read_ph(path)
            raise FormulaMissingError(NO_WINDOW)
        return drift(path, formula, tables, today=today)


class FormulaMissingError(PreservecheckError):
    """The readings can be used, but there is no formula to judge them by."""


NO_WINDOW = (
    "These readings can be used. What is missing is the formula: its preservatives and its kind "
    "of product set the pH "
    "they are judged by."
)


@contextmanager
def _as_file(text: str) -> Iterator[Path]:
    """A text where the readers find it, gone with the answer; their messages come without its
    name."""
    with tempfile.TemporaryDirectory(prefix="preservecheck-") as folder:
        path = Path(folder) / "pasted.csv"
        path.write_text(text, encoding="utf-8", errors="replace", newline="")
        try:
            yield path
        except ReadingsError as error:
            raise ReadingsError(replace(f, where="") for f in error.faults) from None


def results_of(
    part: Part, after: After, formula: Formula | None, tables: Tables, today: dt.date | None
) -> Told:
    """One part as the page tells it."""
    if not after.text(part).strip():
        return Told()
    try:
        found = result_of(part, after, formula, tables, today)
    except FormulaMissingError as error:
        return Told(missing=error.messages[0])
    except PreservecheckError as error:
        return Told(tuple(faults_of(error.faults, part)))
    document, chart = document_of(found), chart_of(found)
    verdict = next(b for b in document.lead if isinstance(b, Verdict))
    lead = [view_alone(b.text) for b in document.lead if isinstance(b, Paragraph)]
    return Told(
        stamp=replace(verdict, counted=lead[0]),
        lead=tuple(lead[1:]),
        sections=tuple(sections_of(document)),
        plot=drawing(chart, text=view_alone(chart.text)),
        foot=tuple(document.foot),
    )


def document_of(found: Challenge | Drift) -> Document:
    """The result as the command line shows it."""
    from preservecheck.evidence.challenge import Challenge
    from preservecheck.report import challenge, drift

    return challenge.document(found) if isinstance(found, Challenge) else drift.document(found)


def chart_of(found: Challenge | Drift) -> Chart:
    """The chart of the command line."""
    from preservecheck.evidence.challenge import Challenge
    from preservecheck.report.plots.readings import courses, drifting

    return courses(found) if isinstance(found, Challenge) else drifting(found)


def file_of(found: Challenge | Drift, ending: str) -> bytes:
    """The result as the command line writes it: Markdown, JSON or the chart."""
    from preservecheck.report import markdown
    from preservecheck.report.formats import json_text

    if ending == "json":
        return json_text(found.to_json()).encode()
    if ending == "md":
        return markdown.render([document_of(found)]).encode()
    return chart_of(found).file(".svg")
