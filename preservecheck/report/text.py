"""The report as plain text: the verdict and what to do first, the evidence below."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from preservecheck.report import outline as o

if TYPE_CHECKING:
    from preservecheck.assess.review import Report
    from preservecheck.verdict import Finding

WIDTH = 80
NARROWEST = 40
NARROWEST_COLUMN = 12
# only the verdict word is coloured: red, yellow, blue, green
COLOURS = {"serious": "1;31", "warn": "1;33", "unknown": "1;34", "pass": "1;32"}
_WORD = 9


def render(report: Report, *, width: int = WIDTH, colour: bool = False) -> str:
    """The report as text.

    Parameters
    ----------
    report
        The report.
    width
        Longest line. [characters]
    colour
        Colour the verdict word, for a terminal.
    """
    return _Page(max(width, NARROWEST), colour).report(report)


def render_many(
    reports: Sequence[Report],
    unread: Iterable[str] = (),
    *,
    width: int = WIDTH,
    colour: bool = False,
) -> str:
    """Several reports one after the other, and a closing summary.

    Parameters
    ----------
    reports
        The reports.
    unread
        Names of files that could not be read.
    width
        Longest line. [characters]
    colour
        Colour the verdict words.
    """
    page = _Page(max(width, NARROWEST), colour)
    line = "=" * page.width
    parts = [f"{page.report(r)}\n{line}\n\n" for r in reports]
    page.lines.clear()
    page.heading("SUMMARY")
    for r in reports:
        page.labelled(
            page.painted("serious" if r.serious else r.verdict),
            f"{r.path or r.product.name}: {o.counted(r.counts)}",
        )
    for name in unread:
        page.labelled("unread", f"{name}: could not be read")
    return "".join(parts) + page.text()


class _Page:
    """Lines of a page that is not wider than ``width``."""

    def __init__(self, width: int, colour: bool) -> None:
        self.width = width
        self.colour = colour
        self.lines: list[str] = []
        self.sources = o.Sources()

    def text(self) -> str:
        return "\n".join(line.rstrip() for line in self.lines).rstrip("\n") + "\n"

    # ---- pieces ----------------------------------------------------------------------------------

    def heading(self, text: str) -> None:
        if self.lines:
            self.lines.append("")
        self.paragraph(text)

    def paragraph(self, text: str, first: str = "", rest: str | None = None) -> None:
        """Wrapped text; ``first`` and ``rest`` stand in front of the first and of the other
        lines."""
        rest = " " * len(first) if rest is None else rest
        self.lines += textwrap.wrap(
            printable(text),
            self.width,
            initial_indent=first,
            subsequent_indent=rest,
            break_on_hyphens=False,
        ) or [first]

    def labelled(self, label: str, text: str) -> None:
        """A word in the margin and text beside it."""
        plain = re.sub("\033\\[[0-9;]*m", "", label)
        lines = textwrap.wrap(printable(text), self.width - _WORD - 2, break_on_hyphens=False) or [
            ""
        ]
        self.lines.append(f"  {label}{' ' * max(1, _WORD - len(plain))}{lines[0]}")
        self.lines += [" " * (_WORD + 2) + line for line in lines[1:]]

    def items(self, texts: Iterable[str]) -> None:
        for text in texts:
            self.paragraph(text, "  - ")

    def painted(self, word: str) -> str:
        """A verdict word, coloured where that is wanted."""
        return f"\033[{COLOURS[word]}m{word}\033[0m" if self.colour and word in COLOURS else word

    # ---- the report ------------------------------------------------------------------------------

    def report(self, report: Report) -> str:
        self.lines.clear()
        self.sources = o.Sources()
        self._top(report)
        self._to_do(report)
        self._evidence(report)
        self._beside(report)
        self._end(report)
        return self.text()

    def _top(self, report: Report) -> None:
        self.paragraph(report.product.name)
        self.paragraph(o.product_line(report))
        self.paragraph(o.preservative_line(report), "Preservatives: ", "  ")
        self.lines.append("")
        verdict = textwrap.wrap(o.verdict_of(report), self.width - 9)
        word = report.verdict
        key = "serious" if report.serious else word
        if self.colour:
            verdict[0] = verdict[0].replace(word, f"\033[{COLOURS[key]}m{word}\033[0m", 1)
        self.lines += [f"VERDICT  {verdict[0]}", *(" " * 9 + v for v in verdict[1:])]
        self.paragraph(o.counted(report.counts), " " * 9)

    def _to_do(self, report: Report) -> None:
        entries = o.actions(report)
        self.heading("WHAT TO DO")
        if not entries:
            self.paragraph(
                "Nothing has to change. Have the challenge test done on the finished product.", "  "
            )
        for at, action in enumerate(entries, 1):
            start = f"{at:2}. {self.painted(action.kind)} "
            plain = len(f"{at:2}. {action.kind} ")
            lines = textwrap.wrap(action.title, self.width - plain, break_on_hyphens=False)
            self.lines += [start + lines[0], *("    " + line for line in lines[1:])]
            self.paragraph(action.because, "    ")
            self.paragraph(action.do, "    -> ", "       ")

    def _evidence(self, report: Report) -> None:
        self.heading("EVIDENCE  (numbers in brackets: see SOURCES)")
        for check, findings in o.by_check(report):
            self.lines.append(check)
            for finding in findings:
                self._finding(finding)
            if check == o.MICROBE_CHECK:
                self._actives(findings)

    def _finding(self, finding: Finding) -> None:
        subject = (
            ""
            if finding.about == "formula" or finding.because.startswith(finding.about)
            else f"{finding.about}: "
        )
        likely = ""
        sure = finding.verdict == "pass" and finding.chance == 1
        if finding.chance is not None and not sure and not finding.chance_told:
            doubt = o.doubt_text(finding)
            likely = f" Chance of passing {o.chance_text(finding.chance)}" + (
                f"; the doubt comes from {doubt}." if doubt else "."
            )
        own = " Rests on a row of your own." if finding.own else ""
        said = f"{subject}{finding.because}{likely}{own} {self.sources.refer(finding.sources)}"
        self.labelled(self.painted(o.word_of(finding)), said.rstrip())
        figures = o.common_figures(finding)
        if finding.verdict != "pass" and figures and finding.id != o.MICROBE_CHECK:
            self.paragraph(o.figures_text(figures), " " * (_WORD + 2))

    def _actives(self, findings: list[Finding]) -> None:
        microbes, rows = o.active_rows(findings)
        if not rows:
            return
        heads = [
            "active",
            "% of the\nformula",
            "% w/v of\nthe water",
            "working\nshare, %",
            "oil takes,\nK phi",
            "bound,\nR",
            "free,\n% w/v",
        ]
        self._table(
            heads, [[r.name, r.total, r.in_water, r.working, r.oil, r.bound, r.free] for r in rows]
        )
        heads = [
            "stops it, % w/v",
            *(m.replace(" ", "\n") if len(m) < 12 else _genus(m) for m in microbes),
        ]  # noqa: PLR2004
        self._table(heads, [[r.name, *r.limits] for r in rows])

    def _table(self, heads: list[str], rows: list[list[str]]) -> None:
        """A table whose first column is wrapped so that all fits; on a narrow page a list
        instead."""
        others = [
            max(len(p) for p in (*head.split("\n"), *(row[i] for row in rows)))
            for i, head in enumerate(heads)
            if i > 0
        ]
        first = min(
            self.width - 4 - sum(others) - 2 * len(others),
            max(len(row[0]) for row in (heads, *rows)),
        )
        if first < NARROWEST_COLUMN:
            for row in rows:
                cells = "; ".join(
                    f"{h.replace(chr(10), ' ')} {c}"
                    for h, c in zip(heads[1:], row[1:], strict=True)
                )
                self.paragraph(f"{row[0]}: {cells}", "    ", "      ")
            return
        if self.lines[-1]:
            self.lines.append("")
        for row in (heads, *rows):
            stacks = [textwrap.wrap(row[0], first), *(cell.split("\n") for cell in row[1:])]
            height = max(map(len, stacks))
            # headings stand on the line above the figures, figures beside the first line of a name
            blanks = [[""] * (height - len(stack)) for stack in stacks]
            full = [b + s if row is heads else s + b for b, s in zip(blanks, stacks, strict=True)]
            for name, *figures in zip(*full, strict=True):
                columns = "".join(f"  {f:>{w}}" for f, w in zip(figures, others, strict=True))
                self.lines.append(f"    {name:<{first}}{columns}")
        self.lines.append("")

    def _beside(self, report: Report) -> None:
        sections = (
            ("TAKEN FOR GRANTED", report.remarks),
            ("ROWS OF YOUR OWN THAT THIS RESTS ON", report.own_rows),
            ("STATEMENTS FOR THE PACK", o.statements(report, self.sources)),
            ("CAUTIONS", report.cautions),
        )
        for title, texts in sections:
            if texts:
                self.heading(title)
                self.items(texts)
        self.heading("CHALLENGE TEST")
        lines = o.challenge_lines(report)
        lines[-1] = f"{lines[-1]} {self.sources.refer(report.challenge_test.sources)}".rstrip()
        self.items(lines)
        self.heading("NOT COVERED")
        self.items(report.not_covered)

    def _end(self, report: Report) -> None:
        self.heading("SOURCES")
        for at, source in self.sources.numbered():
            self.paragraph(source, f"{f'[{at}]':>6} ", " " * 7)
        self.lines.append("")
        for line in (o.SCREEN, *o.footer_lines(report, digits=12)):
            self.paragraph(line)


def printable(text: str) -> str:
    """Text without signs that steer a terminal."""
    return re.sub("[\\x00-\\x08\\x0e-\\x1f\\x7f-\\x9f]", "?", text)


def _genus(microbe: str) -> str:
    """``P.`` over ``aeruginosa``."""
    genus, _, species = microbe.partition(" ")
    return f"{genus[0]}.\n{species}"
