"""The batch sheet as a page to print and as a workbook."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Literal

from preservecheck.report.html import page
from preservecheck.text import number
from preservecheck.units import mass_text

if TYPE_CHECKING:
    from openpyxl.cell.cell import Cell
    from openpyxl.worksheet.worksheet import Worksheet as Sheet

    from preservecheck.bench.batch_sheet import SheetLine, SheetPhase, Worksheet

Paper = Literal["a4", "letter"]
SIGNED = ("Batch number", "Made by", "Date", "Started at", "Finished at")
# lines of a sheet from which smaller letters are taken, so that one page holds it
MANY, VERY_MANY = 22, 31
PAPER_CODES = {"letter": 1, "a4": 9}  # of the workbook format
WIDTHS = (5, 40, 10, 12, 10, 14, 18)
_ILLEGAL = re.compile("[\\x00-\\x08\\x0b\\x0c\\x0e-\\x1f]")


def to_html(sheet: Worksheet, paper: Paper = "a4") -> str:
    """The sheet as one page."""
    rows = (
        len(sheet.fetch) / 2
        + sum(len(p.lines) + 2 + 0.7 * len(p.steps) for p in sheet.phases)
        + len(sheet.handling)
    )
    size = "tiny" if rows > VERY_MANY else "small" if rows > MANY else "plain"
    phases = [
        {
            "name": p.name,
            "steps": p.steps,
            "warning": p.warning,
            "reads": p.reads,
            "grams": grams(p.grams, sheet),
            "lines": [_line(line, sheet) for line in p.lines],
        }
        for p in sheet.phases
    ]
    return page(
        "worksheet.html",
        title=f"Batch sheet: {sheet.name}",
        sheet=sheet,
        paper=paper,
        size=size,
        phases=phases,
        batch=mass_text(sheet.batch_g),
        made=grams(sheet.made_g, sheet),
        signed=_signed(sheet),
        step=mass_text(sheet.scale_step_g) if sheet.scale_step_g else "not given",
        fetch=[
            {"name": f.name, "grams": grams(f.grams, sheet), "phases": f.phases}
            for f in sheet.fetch
        ],
        foot=f"{sheet.program}, {sheet.date}; formula {sheet.formula_sha256[:12]}, tables "
        f"{sheet.tables_sha256[:12]}",
    )


def _signed(sheet: Worksheet) -> dict[str, str]:
    """What is filled in by hand, with what is known of it."""
    return {label: (sheet.batch_number or "") if label == SIGNED[0] else "" for label in SIGNED}


def grams(value: float, sheet: Worksheet) -> str:
    """Grams with as many places as the scale shows."""
    step = sheet.scale_step_g or 0.01
    places = max(0, -_exponent(step))
    return f"{value:.{places}f}"


def _exponent(step: float) -> int:
    text = f"{step:.9f}".rstrip("0")
    return -len(text.partition(".")[2])


def _line(line: SheetLine, sheet: Worksheet) -> dict[str, Any]:
    off = 0.0 if abs(line.error_percent) < 0.005 else line.error_percent  # noqa: PLR2004
    return {
        "name": line.name,
        "percent": number(line.percent, 4),
        "weigh": grams(line.weigh_g, sheet),
        "error": "0" if off == 0 else f"{'+' if off > 0 else '−'}{number(abs(off), 2)} %",
        "preservative": line.preservative,
        "rest": line.rest,
        "note": line.note,
        "warning": line.warning,
    }


def to_workbook(sheet: Worksheet, paper: Paper = "a4") -> bytes:
    """The sheet as a workbook, set up to print on one page."""
    import openpyxl
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.properties import PageSetupProperties

    book = openpyxl.Workbook()
    tab = book.active
    assert tab is not None
    tab.title = "Batch sheet"
    for at, width in enumerate(WIDTHS, 1):
        tab.column_dimensions[get_column_letter(at)].width = width
    _fill(_Writer(tab), sheet)
    tab.page_setup.paperSize = PAPER_CODES[paper]
    tab.page_setup.orientation = "portrait"
    tab.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    tab.page_setup.fitToWidth, tab.page_setup.fitToHeight = 1, 1
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def _fill(writer: _Writer, sheet: Worksheet) -> None:
    """All rows of the sheet, from top to bottom."""
    writer.row([f"Batch sheet: {sheet.name}"], bold=True, size=15)
    writer.row(
        [
            f"Batch {mass_text(sheet.batch_g)}, {sheet.date}; review: {sheet.verdict}"
            + (", serious: do not fill it as it stands" if sheet.serious else "")
        ]
    )
    for warning in sheet.warnings:
        writer.row([f"! {warning}"], bold=True)
    for label, known in _signed(sheet).items():
        writer.row(["", label, "", "", known, "", ""], boxed=(5, 6))
    writer.row([])
    writer.row(["", "Fetch", "", "grams", "", "got it", "lot number"], heading=True)
    for f in sheet.fetch:
        writer.row(
            ["", f.name, "", f.grams, "", "", ""], boxed=(6, 7), number_format=_format(sheet)
        )
    writer.row([])
    writer.row(["", "Before you start", "", "", "", "done", ""], heading=True)
    for text in sheet.before:
        writer.row(["", text, "", "", "", "", ""], boxed=(6,))
    for i, phase in enumerate(sheet.phases, 1):
        _fill_phase(writer, sheet, i, phase)
    writer.row([])
    writer.row(["", "pH", "", "", "", "read", ""], heading=True)
    for text in sheet.ph_steps:
        writer.row(["", text])
    for text in ("pH before", "added, g, of what", "pH after", "temperature of the sample"):
        writer.row(["", text, "", "", "", "", ""], boxed=(6, 7))
    writer.row(["", "At the end", "", "", "", "done", ""], heading=True)
    for text in sheet.after:
        writer.row(["", text, "", "", "", "", ""], boxed=(6,))
    writer.row(["", "Handling", "", "", "", "", ""], heading=True)
    for text in sheet.handling:
        writer.row(["", text], merged=True)


def _fill_phase(writer: _Writer, sheet: Worksheet, i: int, phase: SheetPhase) -> None:
    writer.row([])
    writer.row(
        [str(i), f"Phase {phase.name}", "%", "grams", "error, %", "weighed, g", "lot number"],
        heading=True,
    )
    for text in phase.steps:
        writer.row(["", text])
    if phase.warning:
        writer.row(["", f"! {phase.warning}"], bold=True)
    for line in phase.lines:
        mark = "◆" if line.preservative else ""
        writer.row(
            [
                mark,
                line.name,
                round(line.percent, 6),
                line.weigh_g,
                round(line.error_percent, 3),
                "",
                "",
            ],
            boxed=(6, 7),
            number_format=_format(sheet),
        )
        for remark in (line.warning, line.note):
            if remark:
                writer.row(["", f"   {remark}"])
    for text in phase.reads:
        writer.row(["", text, "", "", "", "", ""], boxed=(6,))


def _format(sheet: Worksheet) -> str:
    places = max(0, -_exponent(sheet.scale_step_g or 0.01))
    return "0" if places == 0 else f"0.{'0' * places}"


class _Writer:
    """Rows of a workbook's sheet; texts stay texts, also those that begin like a calculation."""

    def __init__(self, tab: Sheet) -> None:
        self.tab, self.at = tab, 0

    def row(
        self,
        values: Sequence[Any],
        *,
        bold: bool = False,
        heading: bool = False,
        size: int = 10,
        boxed: Sequence[int] = (),
        number_format: str | None = None,
        merged: bool = False,
    ) -> None:
        from openpyxl.styles import Alignment, Border, Font, PatternFill, Side

        self.at += 1
        side = Side(style="thin", color="FF4D5F5D")
        for column, value in enumerate(values, 1):
            cell: Cell = self.tab.cell(self.at, column)  # type: ignore[assignment]
            if isinstance(value, str):
                cell.value = _ILLEGAL.sub("?", value)
                cell.data_type = "s"
            else:
                cell.value = value
                if column == 4 and number_format:  # noqa: PLR2004
                    cell.number_format = number_format
            cell.font = Font(bold=bold or heading, size=size)
            if heading:
                cell.fill = PatternFill("solid", fgColor="FFDDE8E4")
            if column in boxed:
                cell.border = Border(left=side, right=side, top=side, bottom=side)
        if merged:
            self.tab.merge_cells(
                start_row=self.at, start_column=2, end_row=self.at, end_column=len(WIDTHS)
            )
            self.tab.cell(self.at, 2).alignment = Alignment(wrap_text=True, vertical="top")
            length = len(str(values[1]))
            self.tab.row_dimensions[self.at].height = 13.0 * (1 + length // 105)
