"""What a result says, block by block; text, Markdown and HTML lay the same blocks out.

Builders make a ``Document`` from a result and decide nothing about its looks; the renderers know
blocks and nothing of preservatives. Blocks are named tuples, since each dataclass costs a
millisecond at every start.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, NamedTuple

if TYPE_CHECKING:
    from preservecheck.errors import Hint
    from preservecheck.report.plots.chart import Chart

Word = Literal["pass", "unknown", "warn", "serious", "note", "unread"]
Tone = Literal["", "notice", "strong", "quiet", "alarm", "gate"]


class Paragraph(NamedTuple):
    """A paragraph; its tone says how much it presses."""

    text: str
    tone: Tone = ""


class Bullets(NamedTuple):
    """Sentences under each other, with a box to tick where that is wanted."""

    texts: Sequence[str]
    ticks: bool = False


class Pairs(NamedTuple):
    """Names with what they stand for; ``None`` is left to be written by hand."""

    rows: Sequence[tuple[str, str | None]]
    ticks: bool = False


class Blanks(NamedTuple):
    """Names with a line to write on; what is known stands on it."""

    rows: Sequence[tuple[str, str | None]]
    roomy: bool = False  # space for a signature


class Table(NamedTuple):
    """Rows under heads; the first column names the row."""

    heads: Sequence[str]
    rows: Sequence[Sequence[str]]
    title: str = ""
    numbers: Sequence[int] = ()  # columns that hold numbers
    blanks: Sequence[int] = ()  # columns to fill in by hand
    below: Sequence[Sequence[str]] = ()  # sentences below each row
    key: Sequence[int] = ()  # columns that are never broken


class Working(NamedTuple):
    """A calculation, line by line."""

    title: str
    lines: Sequence[str]


class Rule(NamedTuple):
    """A manual page as it stands in its module."""

    text: str
    title: str = ""


class Verdict(NamedTuple):
    """The whole result in one line, and what it rests on."""

    word: Word
    label: str
    text: str = ""
    counted: str = ""

    @property
    def said(self) -> str:
        """The line as a whole."""
        return f"{self.label}: {self.text}" if self.text else self.label


class Action(NamedTuple):
    """Something to do, and why."""

    word: Word
    title: str
    reason: str
    remedy: str


class Actions(NamedTuple):
    """What to do, the most pressing first."""

    entries: Sequence[Action]


class FindingText(NamedTuple):
    """What a check says of one subject."""

    word: Word
    subject: str  # empty where the sentence names it
    text: str
    figures: str = ""
    chance: str = ""
    chance_told: bool = False  # by the sentence already
    refs: str = ""  # numbers of its sources


class Findings(NamedTuple):
    """The findings of one check, with tables of their figures."""

    title: str
    entries: Sequence[FindingText]
    tables: Sequence[Table] = ()


class Plots(NamedTuple):
    """Charts; they are made only where a format shows them."""

    make: Callable[[], Sequence["Chart"]]
    told: bool = False  # by the paragraphs beside them


class Sources(NamedTuple):
    """The sources, in the order of their numbers."""

    texts: Sequence[str]


Block = (
    Paragraph
    | Bullets
    | Pairs
    | Blanks
    | Table
    | Working
    | Rule
    | Verdict
    | Actions
    | Findings
    | Plots
    | Sources
)


class Section(NamedTuple):
    """A heading with what stands below it; an empty one is not shown."""

    title: str
    blocks: Sequence[Block]
    annex: bool = False  # small print, from a new sheet of paper on


@dataclass(frozen=True)
class Document:
    """A result: what stands on top, its sections, and the small print at its end."""

    title: str
    lead: Sequence[Block]
    sections: Sequence[Section] = ()
    foot: Sequence[str] = ()
    hints: Sequence["Hint"] = ()  # what helps further, for a front end to word
    kind: str = ""  # of a web page, above the title
    paper: Literal["", "a4", "letter"] = ""
    layout: str = ""  # classes of the style sheet
    contents: bool = False  # whether a long one begins with links to its sections

    @property
    def filled(self) -> Sequence[Section]:
        """The sections that say something, with the blocks that do."""
        shown = [Section(s.title, [b for b in s.blocks if says(b)], s.annex) for s in self.sections]
        return [s for s in shown if s.blocks]


def says(block: "Block") -> bool:
    """Whether there is anything in a block."""
    match block:
        case Paragraph(text) | Rule(text):
            return bool(text)
        case Bullets(rows) | Pairs(rows) | Blanks(rows) | Sources(rows) | Working(_, rows):
            return bool(rows)
        case Table():
            return bool(block.rows)
    return True


@dataclass
class References:
    """Numbers for sources, in the order in which a document refers to them."""

    numbers: dict[str, int] = field(default_factory=dict)

    def refer(self, sources: Iterable[str]) -> str:
        """``[1, 3-5]``; empty where there is no source."""
        wanted = sorted({self.numbers.setdefault(s, len(self.numbers) + 1) for s in sources})
        runs: list[list[int]] = []
        for n in wanted:
            if runs and n == runs[-1][-1] + 1:
                runs[-1].append(n)
            else:
                runs.append([n])
        spans = [f"{r[0]}-{r[-1]}" if len(r) > 2 else ", ".join(map(str, r)) for r in runs]
        return f"[{', '.join(spans)}]" if spans else ""
