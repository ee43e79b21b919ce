"""Plots for a page whose rules for content allow no style written into the elements."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from preservecheck.report.plots.chart import Chart

_STYLE_BLOCK = re.compile(r"<defs>\s*<style[^>]*>.*?</style>\s*</defs>", re.DOTALL)
_STYLE = re.compile(r'\bstyle="([^"]*)"')


@dataclass(frozen=True)
class Drawing:
    """A chart for a page, with its words in the words of the page."""

    title: str
    text: str
    drawn: str

    def svg(self, _at: str) -> str:
        """The drawing; its ids are set already."""
        return self.drawn


def drawing(chart: Chart, prefix: str = "", text: str | None = None) -> Drawing:
    """A chart without written-in styles.

    Parameters
    ----------
    chart
        The chart.
    prefix
        Begins its ids.
    text
        What it shows, where the page words it differently.
    """
    words = chart.text if text is None else text
    return Drawing(chart.title, words, as_attributes(chart.svg(prefix)))


def as_attributes(svg: str) -> str:
    """The drawing with its styles as attributes of the elements; it looks the same."""
    svg = _STYLE_BLOCK.sub("", svg)
    svg = _STYLE.sub(lambda found: _attributes(found.group(1)), svg)
    return svg.replace("<svg ", '<svg stroke-linejoin="round" stroke-linecap="butt" ', 1)


def _attributes(style: str) -> str:
    pairs = (part.partition(":") for part in style.split(";") if part.strip())
    return " ".join(f'{key.strip()}="{value.strip()}"' for key, _, value in pairs)
