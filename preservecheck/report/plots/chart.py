"""A chart: drawn once in one style, shown as SVG in a page or kept as SVG or PNG in a file.

In a page colours are names: its style sheet decides what they are, so that one drawing serves
light, dark and paper. Nothing hangs on colour alone: lines differ in dashes and markers, areas in
hatching. Letters stay letters, so that they can be read aloud, searched and enlarged.
"""

from __future__ import annotations

import html
import io
import re
import threading
import warnings
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Style = dict[str, Any]
# each is different, so that in a page each can be told by its name
INK, MUTED, GRID, BAND, WARN = "#1d2b2a", "#4d5f5d", "#c9d2cf", "#0b6b5e", "#a32014"
LINES = ("#0b6b5f", "#8a4b08", "#4a4fa3", "#9c2763", "#3d6b12", "#4d5f5e")
PAPER = "#fffffe"
NAMES = {
    INK: "ink",
    MUTED: "muted",
    GRID: "rule",
    BAND: "band",
    WARN: "bad",
    PAPER: "paper",
    **{colour: f"line-{i}" for i, colour in enumerate(LINES, 1)},
}
DASHES = (
    "-",
    (0, (6, 2)),
    (0, (2, 1.6)),
    (0, (7, 2, 1.5, 2)),
    (0, (4, 1.5, 1.5, 1.5, 1.5, 1.5)),
    (0, (1, 1)),
)
# a span with its ends
SPAN: Style = {"linewidth": 1.4, "marker": "|", "markersize": 7}
MARKERS = ("o", "s", "^", "D", "v", "P")
# narrow, so that letters stay readable on a phone and two plots stand beside each other on paper
# [inch]
WIDTH = 4.6
_STYLE: dict[Any, Any] = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 9.5,
    "text.parse_math": False,
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.edgecolor": MUTED,
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": GRID,
    "grid.linewidth": 0.6,
    "axes.linewidth": 0.8,
    "lines.linewidth": 1.8,
    "legend.frameon": False,
    "legend.fontsize": 9.0,
    "legend.handlelength": 3.2,
    "figure.facecolor": "none",
    "axes.facecolor": "none",
    "savefig.facecolor": "none",
    "hatch.linewidth": 0.6,
    "svg.fonttype": "none",
    "svg.hashsalt": "preservecheck",
    "axes.axisbelow": True,
}
# matplotlib keeps its style in one place for all threads
_ONE_AT_A_TIME = threading.Lock()


_DPI = 150


@dataclass(frozen=True)
class Chart:
    """A drawing with its heading, and what it shows in words."""

    id: str  # begins every id inside the drawing
    title: str
    text: str
    draw: Callable[[Figure], None]  # into an empty figure
    height: float = 3.4  # [inch]

    def svg(self, prefix: str = "") -> str:
        """For a page, with its text alternative; empty where matplotlib is not installed.
        ``prefix`` begins its ids, where several of a kind stand in one page."""
        try:
            svg = self._inline(prefix + self.id)
        except ModuleNotFoundError as error:
            if error.name is None or error.name.partition(".")[0] != "matplotlib":
                raise
            return ""
        for colour, name in NAMES.items():
            svg = svg.replace(colour, f"var(--{name}, {colour})")
        return svg

    def file(self, suffix: str) -> bytes:
        """For a file: ``.svg`` or ``.png``, on white."""
        if suffix == ".svg":
            return self._inline(self.id).encode()
        return self._saved(format="png", dpi=_DPI, facecolor="white")

    def _saved(self, **how: Any) -> bytes:
        from matplotlib import rc_context
        from matplotlib.figure import Figure

        buffer = io.BytesIO()
        with _ONE_AT_A_TIME, rc_context(_STYLE), warnings.catch_warnings():
            # a letter that this font lacks is drawn by the reader's own
            warnings.simplefilter("ignore")
            figure = Figure(figsize=(WIDTH, self.height), layout="constrained")
            self.draw(figure)
            figure.savefig(buffer, **how)
        return buffer.getvalue()

    def _inline(self, id_: str) -> str:
        """The drawing without what a file alone needs, with ids of its own and in words."""
        nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
        svg = self._saved(format="svg", metadata=nothing).decode()
        svg = svg[svg.index("<svg") :]
        svg = re.sub(r"<metadata>.*?</metadata>\s*", "", svg, flags=re.DOTALL)
        svg = re.sub(r'\bid="([^"]+)"', rf'id="{id_}-\1"', svg)
        svg = re.sub(r"url\(#([^)]+)\)", rf"url(#{id_}-\1)", svg)
        svg = re.sub(r'xlink:href="#([^"]+)"', rf'href="#{id_}-\1"', svg)
        svg = svg.replace("'DejaVu Sans', sans-serif", "system-ui, sans-serif")
        box = re.search(r'viewBox="([^"]+)"', svg)
        assert box is not None
        head = (
            f'<svg viewBox="{box.group(1)}" xmlns="http://www.w3.org/2000/svg" role="img" '
            f'aria-labelledby="{id_}-title {id_}-text">'
            f'<title id="{id_}-title">{html.escape(self.title)}</title>'
            f'<desc id="{id_}-text">{html.escape(self.text)}</desc>'
        )
        return head + re.sub(r"\n\s*", "\n", svg[svg.index(">") + 1 :]).strip()


def line(i: int) -> Style:
    """Looks of the line at that place, which differ without colour too."""
    return {
        "color": LINES[i % len(LINES)],
        "linestyle": DASHES[i % len(DASHES)],
        "marker": MARKERS[i % len(MARKERS)],
        "markersize": 4.5,
    }


def hatched(
    axes: Axes, low: float, high: float, colour: str, hatch: str, linewidth: float = 0.6
) -> None:
    """An area from one value to another, behind everything."""
    style: Style = {"edgecolor": colour, "hatch": hatch, "linewidth": linewidth}
    axes.axvspan(low, high, facecolor="none", zorder=0.5, **style)


def over(axes: Axes, x: float, text: str, y: float, side: str, fontsize: float = 8.0) -> None:
    """A text above the axes, at a value."""
    style: Style = {"ha": side, "va": "bottom", "fontsize": fontsize}
    axes.text(x, y, text, transform=axes.get_xaxis_transform(), **style)


def named_rows(axes: Axes, names: Sequence[str], **style: Any) -> list[int]:
    """Rows with names in place of a scale, from the top; where each row is."""
    rows = list(range(len(names)))[::-1]
    axes.set_ylim(-0.6, len(names) - 0.4)
    axes.set_yticks(rows, names, **style)
    axes.grid(visible=False, axis="y")
    quiet_frame(axes, left=False)
    return rows


def quiet_frame(axes: Axes, *, left: bool = True) -> None:
    """Thin frame: ticks outside, no left edge where rows have names."""
    axes.tick_params(length=3, width=0.8)
    if not left:
        axes.spines["left"].set_visible(False)
        axes.tick_params(axis="y", length=0)


def fitted(text: str, longest: int) -> str:
    """A name cut to what fits, with a sign that it was cut."""
    return text if len(text) <= longest else text[: longest - 1].rstrip(" -") + "…"


def broken(text: str, longest: int) -> str:
    """A name on two lines at most, broken at a hyphen or blank, cut where that is not enough."""
    if len(text) <= longest:
        return text
    cut = max(text.rfind("-", 0, longest), text.rfind(" ", 0, longest - 1))
    cut = longest - 1 if cut < longest // 3 else cut
    return f"{text[: cut + 1].rstrip()}\n{fitted(text[cut + 1 :].lstrip(), longest)}"


def matrix(
    id_: str,
    title: str,
    rows: Sequence[str],
    heads: Sequence[str],
    cells: Sequence[Sequence[str]],
    marks: Mapping[str, Style],
) -> Chart:
    """A mark for each row and column, by the word that stands there; a word without one is left
    blank."""

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        axes.grid(visible=False)
        for word, style in marks.items():
            at = [(x, y) for y, row in enumerate(cells) for x, w in enumerate(row) if w == word]
            if at:
                axes.plot(*zip(*at, strict=True), linestyle="", label=word, **style)
        axes.set(
            xlim=(-0.5, len(heads) - 0.5),
            ylim=(len(rows) - 0.5, -0.5),
            xticks=range(len(heads)),
            yticks=range(len(rows)),
        )
        axes.set_xticklabels(heads, rotation=60, ha="left", rotation_mode="anchor", fontsize=8)
        axes.set_yticklabels(rows, fontsize=7)
        axes.tick_params(length=0, top=False, labeltop=True, bottom=False, labelbottom=False)
        quiet_frame(axes)
        figure.legend(loc="outside lower center", ncols=len(marks))

    return Chart(id_, title, title, draw, height=1.6 + 0.16 * len(rows))
