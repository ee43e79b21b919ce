"""One style for all plots, and the way from a drawing to inline SVG.

Colours are names: the page's style sheet decides what they are, so that one drawing serves light,
dark and paper. Nothing hangs on colour alone: lines differ in dashes and markers, areas in
hatching. Letters stay letters, so that they can be read aloud, searched and enlarged.
"""

from __future__ import annotations

import html
import io
import re
import threading
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# stand-ins that matplotlib draws with, and what the page puts in their place; the second value is
# for a bare SVG file
INK, MUTED, GRID, BAND, WARN = "#0a0a01", "#0a0a02", "#0a0a03", "#0a0a04", "#0a0a05"
LINES = ("#0a0a11", "#0a0a12", "#0a0a13", "#0a0a14", "#0a0a15", "#0a0a16")
PAPER = "#0a0a20"
COLOURS = {
    INK: ("ink", "#1d2b2a"),
    MUTED: ("muted", "#4d5f5d"),
    GRID: ("rule", "#c9d2cf"),
    BAND: ("band", "#0b6b5f"),
    WARN: ("bad", "#a32014"),
    PAPER: ("paper", "#ffffff"),
    **dict(
        zip(
            LINES,
            (
                ("line-1", "#0b6b5f"),
                ("line-2", "#8a4b08"),
                ("line-3", "#4a4fa3"),
                ("line-4", "#9c2763"),
                ("line-5", "#3d6b12"),
                ("line-6", "#4d5f5d"),
            ),
            strict=True,
        )
    ),
}
DASHES = (
    "-",
    (0, (6, 2)),
    (0, (2, 1.6)),
    (0, (7, 2, 1.5, 2)),
    (0, (4, 1.5, 1.5, 1.5, 1.5, 1.5)),
    (0, (1, 1)),
)
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
# stands in the place of a drawing
UNDRAWN = "<p>Not drawn: matplotlib is not installed. What it would show stands below in words.</p>"
# matplotlib keeps its style in one place for all threads
_ONE_AT_A_TIME = threading.Lock()


@dataclass(frozen=True)
class Plot:
    """A drawing with its heading and what it shows in words."""

    id: str
    title: str
    text: str
    svg: str


def drawn_plot(
    id_: str, title: str, text: str, height: float, draw: Callable[[Figure], None]
) -> Plot:
    """A plot as inline SVG with its text alternative.

    Parameters
    ----------
    id_
        Begins every id inside the drawing, so that several stand in one page.
    title, text
        Heading, and what the drawing shows in words.
    height
        Of the drawing. [inch]
    draw
        Draws into an empty figure. Without matplotlib a line says that nothing is drawn.
    """
    try:
        return Plot(id_, title, text, inline_svg(id_, title, text, height, draw))
    except ModuleNotFoundError as error:
        if error.name != "matplotlib":
            raise
        return Plot(id_, title, text, UNDRAWN)


def inline_svg(
    id_: str, title: str, text: str, height: float, draw: Callable[[Figure], None]
) -> str:
    """The drawing of a plot, with the parameters of ``drawn_plot``.

    Raises
    ------
    ModuleNotFoundError
        matplotlib is not installed.
    """
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    buffer = io.StringIO()
    with _ONE_AT_A_TIME, rc_context(_STYLE), warnings.catch_warnings():
        warnings.simplefilter(
            "ignore"
        )  # a letter that this font lacks is drawn by the reader's own
        figure = Figure(figsize=(WIDTH, height), layout="constrained")
        draw(figure)
        figure.savefig(
            buffer,
            format="svg",
            metadata={"Date": None, "Creator": None, "Format": None, "Type": None},
        )
    return _inline(buffer.getvalue(), id_, title, text)


def _inline(svg: str, id_: str, title: str, text: str) -> str:
    """The drawing without what only a file needs, with ids of its own, named colours and a text
    alternative."""
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>\s*", "", svg, flags=re.DOTALL)
    svg = re.sub(r'\bid="([^"]+)"', rf'id="{id_}-\1"', svg)
    svg = re.sub(r"url\(#([^)]+)\)", rf"url(#{id_}-\1)", svg)
    svg = re.sub(r'xlink:href="#([^"]+)"', rf'href="#{id_}-\1"', svg)
    for stand_in, (name, plain) in COLOURS.items():
        svg = svg.replace(stand_in, f"var(--{name}, {plain})")
    svg = svg.replace("'DejaVu Sans', sans-serif", "system-ui, sans-serif")
    box = re.search(r'viewBox="([^"]+)"', svg)
    assert box is not None
    head = (
        f'<svg viewBox="{box.group(1)}" xmlns="http://www.w3.org/2000/svg" role="img" '
        f'aria-labelledby="{id_}-title {id_}-text"><title '
        f'id="{id_}-title">{html.escape(title)}</title>'
        f'<desc id="{id_}-text">{html.escape(text)}</desc>'
    )
    body = svg[svg.index(">") + 1 :]
    return head + re.sub(r"\n\s*", "\n", body).strip()


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
