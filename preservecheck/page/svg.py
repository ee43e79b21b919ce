"""Plots for a page whose rules for content allow no style written into the elements."""

from __future__ import annotations

import re

_STYLE_BLOCK = re.compile(r"<defs>\s*<style[^>]*>.*?</style>\s*</defs>", re.DOTALL)
_STYLE = re.compile(r'\bstyle="([^"]*)"')


def as_attributes(svg: str) -> str:
    """The drawing with its styles as attributes of the elements; it looks the same."""
    svg = _STYLE_BLOCK.sub("", svg)
    svg = _STYLE.sub(lambda found: _attributes(found.group(1)), svg)
    return svg.replace("<svg ", '<svg stroke-linejoin="round" stroke-linecap="butt" ', 1)


def _attributes(style: str) -> str:
    pairs = (part.partition(":") for part in style.split(";") if part.strip())
    return " ".join(f'{key.strip()}="{value.strip()}"' for key, _, value in pairs)
