"""What is pasted afterwards, the laboratory's counts and the pH over time, and what that tells: the
same results as ``challenge`` and ``drift`` give.

The fields are ``after-counts``, ``after-standard`` and ``after-ph``. A file that is opened becomes
such a text, so that there is one way from what a maker sees to what is judged.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from importlib.resources import files
from typing import TYPE_CHECKING, Literal

from preservecheck.errors import Fault, PreservecheckError, ReadingsError
from preservecheck.page.context import Submission, Upload
from preservecheck.page.files import tame, written
from preservecheck.page.hints import COLUMN_WORDS, FieldFault, worded
from preservecheck.reference.rows import STANDARDS

if TYPE_CHECKING:
    from preservecheck.evidence.challenge import Challenge
    from preservecheck.evidence.drift import Drift
    from preservecheck.report.document import Block, Document

Part = Literal["counts", "ph"]
PARTS: tuple[Part, ...] = ("counts", "ph")
NO_WINDOW = (
    "These readings can be used. What is missing is the formula: its preservatives and its kind "
    "of product set the pH they are judged by."
)
COUNTS_COLUMNS = (
    ("organism", "the test organism, or its strain number", "E. coli"),
    ("day", "days since the start; 0 is the inoculum", "7"),
    (
        "cfu_per_g",
        "colonies per g or mL; where nothing grew, < and the detection limit",
        "500000 or <10",
    ),
    ("replicate", "only where a day was counted more than once", "2"),
)
PH_COLUMNS = (
    ("date", "day of the reading", "1.9.2026 or 2026-09-01"),
    ("ph", "the pH", "5.02"),
    ("storage_c", "how warm it is kept, or room; may be left out", "40"),
)
# invented readings, to look at the view with
EXAMPLES: dict[Part, str] = {
    part: (files("preservecheck.page") / "examples" / f"{part}.csv").read_text("utf-8")
    for part in PARTS
}


@dataclass
class After:
    """The texts of the fields."""

    texts: dict[Part, str] = field(default_factory=lambda: {"counts": "", "ph": ""})
    standard: str = ""

    def filled(self, part: Part) -> bool:
        """Whether anything is pasted for one part."""
        return bool(self.texts[part].strip())


def after_of(pairs: Iterable[tuple[str, str]]) -> After:
    """What the fields of a form hold of this view; of a name that stands several times the last one
    counts."""
    values = dict(pairs)
    standard = values.get("after-standard", "")
    return After(
        {part: _lines(values.get(f"after-{part}", "")) for part in PARTS},
        standard if standard in STANDARDS else "",
    )


def _lines(text: str) -> str:
    """A text with the line ends of one kind."""
    return text.replace("\r\n", "\n").replace("\r", "\n")


def part_of(do: str) -> Part | None:
    """The part that a button or a question speaks of."""
    return next((p for p in PARTS if do == p or do.endswith(f" {p}")), None)


def acted(after: After, do: str) -> None:
    """Do what a button says: ``example counts``, ``clear ph`` and such; anything else changes
    nothing.

    An example never takes the place of what is pasted.
    """
    part = part_of(do)
    if part is not None and do.startswith("example ") and not after.filled(part):
        after.texts[part] = EXAMPLES[part]
    elif part is not None and do.startswith("clear "):
        after.texts[part] = ""


def text_of_file(upload: Upload) -> str:
    """What a picked or dropped file holds, as text to be judged; a ``ReadingsError`` where it
    cannot be read."""
    from preservecheck.formula.readings import readings_text

    name, data = upload
    if not name:
        raise ReadingsError(Fault("no file was chosen", "choose a .csv or .xlsx file"))
    with written([(tame(name), data)]) as (path,):
        return _lines(readings_text(path))


# ---- what it tells -------------------------------------------------------------------------------


@dataclass(frozen=True)
class Result:
    """A result, what is wrong with what was pasted, or what is missing."""

    faults: tuple[FieldFault, ...] = ()
    document: Document | None = None
    missing: str = ""

    @property
    def lead(self) -> list[Block]:
        """What the document begins with; the sentence on the verdict goes with it."""
        from preservecheck.report.document import Paragraph, Verdict

        assert self.document is not None
        verdict, sentence, *rest = self.document.lead
        assert isinstance(verdict, Verdict)
        assert isinstance(sentence, Paragraph)
        return [verdict._replace(counted=sentence.text), *rest]


def result_of(part: Part, after: After, sent: Submission) -> Result:
    """One part as the page tells it."""
    if not after.filled(part):
        return Result()
    try:
        judged = judged_of(part, after, sent)
    except PreservecheckError as error:
        return Result(tuple(faults_of(error, part)))
    return Result(missing=NO_WINDOW) if judged is None else Result(document=document_of(judged))


def judged_of(part: Part, after: After, sent: Submission) -> Challenge | Drift | None:
    """The judged result of one part, ``None`` for readings that have no formula to be judged by; a
    ``PreservecheckError`` with all faults where what was pasted cannot be used."""
    from preservecheck.evidence.challenge import challenge
    from preservecheck.evidence.drift import drift, read_ph

    tables, today, formula = sent.site.tables, sent.site.today, sent.formula
    data = after.texts[part].encode(errors="replace")
    with written([("pasted.csv", data)]) as (path,):
        if part == "counts":
            return challenge(path, after.standard or None, tables, formula=formula, today=today)
        if formula is None:
            read_ph(path)
            return None
        return drift(path, formula, tables, today=today)


def faults_of(error: PreservecheckError, part: Part) -> list[FieldFault]:
    """Faults of a text, each with its field and line."""
    return [_field_fault(fault, part) for fault in error.faults]


def _field_fault(fault: Fault, part: Part) -> FieldFault:
    place, name, target = fault.place, COLUMN_WORDS.get(fault.name, fault.name), f"after-{part}"
    line: int | None = None
    match fault.path:
        case ("standard",):
            target = "after-standard"
            if not (name or fault.hint):  # it is the text that speaks
                name = "what you pasted"
        case (int(row), *_):
            line, place = row, f"line {row}"
    return FieldFault(worded(fault, place=place, name=name), target, line)


def document_of(judged: Challenge | Drift) -> Document:
    """The result as the command line shows it."""
    from preservecheck.evidence.challenge import Challenge
    from preservecheck.report import challenge, drift

    return challenge.document(judged) if isinstance(judged, Challenge) else drift.document(judged)


def file_of(judged: Challenge | Drift, ending: str) -> bytes:
    """The result as the command line writes it: Markdown, JSON or the chart."""
    from preservecheck.evidence.challenge import Challenge
    from preservecheck.report import markdown
    from preservecheck.report.formats import json_text
    from preservecheck.report.plots.readings import courses, drifting

    if ending == "json":
        return json_text(judged.to_json()).encode()
    if ending == "md":
        return markdown.render([document_of(judged)]).encode()
    chart = courses(judged) if isinstance(judged, Challenge) else drifting(judged)
    return chart.file(".svg")
