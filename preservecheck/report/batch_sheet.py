"""The batch sheet as a document to print and fill in, and as a workbook."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any, Literal

from preservecheck.report import document as d
from preservecheck.report import words
from preservecheck.text import number
from preservecheck.units import mass_text

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet as Tab

    from preservecheck.bench.batch_sheet import BatchSheet, SheetLine, SheetPhase

Paper = Literal["a4", "letter"]
SIGNED = ("Batch number", "Made by", "Date", "Started at", "Finished at")
HEADS = ("material", "%", "weigh, g", "rounding", "weighed, g", "lot number")
PH_BLANKS = ("pH", "at °C", "added (what, g)", "pH", "added (what, g)", "final pH")
END_BLANKS = ("filled, g", "packs", "lost, g", "signature")
# lines of a sheet from which smaller letters are taken, so that one page holds it
MANY, VERY_MANY = 22, 31
# of a workbook: sizes of paper by its format, widths of columns, letters in a merged line
PAPER_CODES = {"letter": 1, "a4": 9}
WIDTHS = (5, 40, 10, 12, 10, 14, 18)
LINE_LETTERS = 105
GRAMS_COLUMN = 4
PRESERVATIVE = "◆"
_ILLEGAL = re.compile("[\\x00-\\x08\\x0b\\x0c\\x0e-\\x1f]")


def document(sheet: BatchSheet, paper: Paper = "a4") -> d.Document:
    """The sheet, for one page of that paper."""
    rows = (
        len(sheet.fetch) / 2
        + sum(len(p.lines) + 2 + 0.7 * len(p.steps) for p in sheet.phases)
        + len(sheet.handling)
    )
    size = "tiny" if rows > VERY_MANY else "small" if rows > MANY else "plain"
    step = mass_text(sheet.scale_step_g) if sheet.scale_step_g else "not given"
    phases = [
        d.Section(f"{at}. {p.name} ({grams(p.grams, sheet)} g)", list(_phase(p, sheet)))
        for at, p in enumerate(sheet.phases, 1)
    ]
    fetch = [(f.name, f"{grams(f.grams, sheet)} g") for f in sheet.fetch]
    word = words.word_of(sheet)
    return d.Document(
        f"Batch sheet: {sheet.name}",
        [
            d.Paragraph(
                f"Batch {mass_text(sheet.batch_g)}; scale step {step}; the weights below come to "
                f"{grams(sheet.made_g, sheet)} g."
            ),
            d.Verdict(word, *words.VERDICTS[word]),
            *(d.Paragraph(warning, "alarm") for warning in sheet.warnings),
            d.Blanks(_signed(sheet)),
        ],
        [
            d.Section("Fetch", [d.Pairs(fetch, ticks=True)]),
            d.Section("Before you start", [d.Bullets(sheet.before, ticks=True)]),
            *phases,
            d.Section("pH", [d.Bullets(sheet.ph_steps), _blanks(PH_BLANKS)]),
            d.Section("At the end", [d.Bullets(sheet.after, ticks=True), _blanks(END_BLANKS)]),
            d.Section("Handling", [d.Bullets(sheet.handling)]),
        ],
        [f"{PRESERVATIVE} preservative. {'; '.join(words.footer(sheet))}"],
        paper=paper,
        layout=f"sheet size-{size}",
    )


def _phase(phase: SheetPhase, sheet: BatchSheet) -> Iterator[d.Block]:
    for step, waits in zip(phase.steps, phase.waits, strict=True):
        yield d.Paragraph(step, "gate" if waits else "strong")
    if phase.warning:
        yield d.Paragraph(phase.warning, "alarm")
    yield d.Table(
        HEADS,
        [[*_cells(line, sheet), "", ""] for line in phase.lines],
        numbers=(1, 2, 3),
        blanks=(4, 5),
        below=[[t for t in (line.note, line.warning) if t] for line in phase.lines],
    )
    if phase.reads:
        yield _blanks(phase.reads)


def _cells(line: SheetLine, sheet: BatchSheet) -> list[str]:
    """Name, percent, grams and what rounding does to them."""
    mark = f"{PRESERVATIVE} " if line.preservative else ""
    off = line.error_percent
    rounding = "0" if abs(off) < 0.005 else f"{'+' if off > 0 else '−'}{number(abs(off), 2)} %"
    return [
        mark + line.name + (" (fills up)" if line.rest else ""),
        number(line.percent, 4),
        grams(line.weigh_g, sheet),
        rounding,
    ]


def _blanks(names: Sequence[str]) -> d.Blanks:
    return d.Blanks([(name, None) for name in names])


def _signed(sheet: BatchSheet) -> list[tuple[str, str | None]]:
    """What is filled in by hand, with what is known of it."""
    return [(name, sheet.batch_number if name == SIGNED[0] else None) for name in SIGNED]


def grams(value: float, sheet: BatchSheet) -> str:
    """Grams with as many places as the scale shows."""
    return f"{value:.{_places(sheet)}f}"


def _places(sheet: BatchSheet) -> int:
    step = f"{sheet.scale_step_g or 0.01:.9f}".rstrip("0")
    return len(step.partition(".")[2])


# ---- as a workbook -------------------------------------------------------------------------------


def workbook(sheet: BatchSheet, paper: Paper = "a4") -> bytes:
    """The sheet as a workbook, set up to print on one page."""
    import openpyxl
    from openpyxl.worksheet.properties import PageSetupProperties

    book = openpyxl.Workbook()
    tab = book.active
    assert tab is not None
    tab.title = "Batch sheet"
    for letter, width in zip("ABCDEFG", WIDTHS, strict=True):
        tab.column_dimensions[letter].width = width
    _fill(_Writer(tab, _places(sheet)), sheet)
    tab.page_setup.paperSize = PAPER_CODES[paper]
    tab.page_setup.orientation = "portrait"
    tab.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    tab.page_setup.fitToWidth, tab.page_setup.fitToHeight = 1, 1
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def _fill(writer: _Writer, sheet: BatchSheet) -> None:
    """All rows of the sheet, from top to bottom."""
    writer.row(f"Batch sheet: {sheet.name}", bold=True, size=15)
    serious = ", serious: do not fill it as it stands" if sheet.serious else ""
    batch = f"Batch {mass_text(sheet.batch_g)}, {sheet.date}"
    writer.row(f"{batch}; review: {sheet.verdict}{serious}")
    for warning in sheet.warnings:
        writer.row(f"! {warning}", bold=True)
    for name, known in _signed(sheet):
        writer.row("", name, "", "", known or "", boxed=(5, 6))
    writer.row()
    writer.row("", "Fetch", "", "grams", "", "got it", "lot number", heading=True)
    for f in sheet.fetch:
        writer.row("", f.name, "", f.grams, boxed=(6, 7))
    writer.row()
    writer.list("Before you start", sheet.before, "done", boxed=(6,))
    for at, phase in enumerate(sheet.phases, 1):
        writer.row()
        _fill_phase(writer, at, phase)
    writer.row()
    writer.list("pH", sheet.ph_steps, "read")
    for text in ("pH before", "added, g, of what", "pH after", "temperature of the sample"):
        writer.row("", text, boxed=(6, 7))
    writer.list("At the end", sheet.after, "done", boxed=(6,))
    writer.list("Handling", sheet.handling, "", merged=True)


def _fill_phase(writer: _Writer, at: int, phase: SheetPhase) -> None:
    heads = ("%", "grams", "error, %", "weighed, g", "lot number")
    writer.row(str(at), f"Phase {phase.name}", *heads, heading=True)
    for text in phase.steps:
        writer.row("", text)
    if phase.warning:
        writer.row("", f"! {phase.warning}", bold=True)
    for line in phase.lines:
        mark = PRESERVATIVE if line.preservative else ""
        figures = (round(line.percent, 6), line.weigh_g, round(line.error_percent, 3))
        writer.row(mark, line.name, *figures, boxed=(6, 7))
        for remark in (line.warning, line.note):
            if remark:
                writer.row("", f"   {remark}")
    for text in phase.reads:
        writer.row("", text, boxed=(6,))


class _Writer:
    """Rows of a workbook's sheet; texts stay texts, also those that begin like a calculation."""

    def __init__(self, tab: Tab, places: int) -> None:
        self.tab, self.at = tab, 0
        self.grams_format = f"0.{'0' * places}" if places else "0"

    def list(self, title: str, texts: Sequence[str], last: str, **looks: Any) -> None:
        """A heading and sentences under it."""
        self.row("", title, "", "", "", last, "", heading=True)
        for text in texts:
            self.row("", text, **looks)

    def row(
        self,
        *values: str | float,
        bold: bool = False,
        heading: bool = False,
        size: int = 10,
        boxed: Sequence[int] = (),
        merged: bool = False,
    ) -> None:
        """The next row, in the columns that have a value or a box."""
        from openpyxl.styles import Alignment, Border, Font, PatternFill, Side

        self.at += 1
        side = Side(style="thin", color="FF4D5F5D")
        blanks = [""] * (max((len(values), *boxed)) - len(values))
        for column, value in enumerate((*values, *blanks), 1):
            cell: Any = self.tab.cell(self.at, column)
            if isinstance(value, str):
                cell.value = _ILLEGAL.sub("?", value)
                cell.data_type = "s"
            else:
                cell.value = value
                if column == GRAMS_COLUMN:
                    cell.number_format = self.grams_format
            cell.font = Font(bold=bold or heading, size=size)
            if heading:
                cell.fill = PatternFill("solid", fgColor="FFDDE8E4")
            if column in boxed:
                cell.border = Border(left=side, right=side, top=side, bottom=side)
        if merged:
            self.tab.merge_cells(f"B{self.at}:G{self.at}")
            self.tab.cell(self.at, 2).alignment = Alignment(wrap_text=True, vertical="top")
            lines = 1 + len(str(values[1])) // LINE_LETTERS
            self.tab.row_dimensions[self.at].height = 13.0 * lines
