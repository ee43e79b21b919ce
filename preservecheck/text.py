"""Numbers, temperatures and lists of words, written as a person writes them."""

from __future__ import annotations

import math
from collections.abc import Sequence


def number(value: float, digits: int = 3) -> str:
    """A number as a person writes it: three significant digits, no trailing zeros, no exponent."""
    if not math.isfinite(value):
        return "unknown"
    if value == 0:
        return "0"
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def sentence(text: str) -> str:
    """A text as a sentence; ``pH`` keeps its small letter."""
    start = text if text.startswith("pH") else text[0].upper() + text[1:]
    return start.rstrip(".") + "."


def celsius(value: float) -> str:
    """A temperature in both units: ``40 °C (104 °F)``."""
    return f"{value:.0f} °C ({value * 1.8 + 32:.0f} °F)" if math.isfinite(value) else "unknown"


def join_and(words: Sequence[str]) -> str:
    """``a, b and c``."""
    return _joined(words, "and") if words else "none"


def join_or(words: Sequence[str]) -> str:
    """``a, b or c``."""
    return _joined(words, "or")


def _joined(words: Sequence[str], last: str) -> str:
    return ", ".join(words[:-1]) + f" {last} {words[-1]}" if len(words) > 1 else "".join(words)
