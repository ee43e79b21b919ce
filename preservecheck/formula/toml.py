"""Reads a formula written as TOML into nested dictionaries; what they say is judged by
``build``."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from preservecheck.errors import FormulaError, Hint
from preservecheck.files import decoded

# a formula is three levels deep; the reader of the standard library calls itself for every level
MAX_NESTING = 50
# names joined by dots; the time of that reader grows with the square of their number
MAX_DOTS = 30
_WORD = r"""(?:(?<![\w-])[\w-]++|"[^"\n]*+"|'[^'\n]*+')"""
_MANY_DOTS = re.compile(rf"(?:{_WORD}[ \t]*+\.[ \t]*+){{{MAX_DOTS}}}")
_BRACKETS = re.compile(r"[\[{\]}]")


def read_toml(data: bytes, where: str) -> dict[str, Any]:
    """The file as nested dictionaries; a ``FormulaError`` where it is not UTF-8, not TOML, or
    nested deeper than any formula."""
    text = decoded(data, where, FormulaError)
    if _nesting(text) > MAX_NESTING or _MANY_DOTS.search(text):
        found = f"brackets or dotted names are nested deeper than {MAX_NESTING} levels"
        allowed = "a formula needs three"
    else:
        try:
            return tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            found = f"not readable as TOML: {_reason(error)}"
            allowed = "text goes in quotation marks, numbers have a decimal point and no unit"
        except (ValueError, RecursionError, OverflowError):
            found = (
                "not readable as TOML: it holds a number or date that is too large or impossible"
            )
            allowed = ""
    raise FormulaError(found, allowed, where=where, hint=Hint.FORMULA_EXAMPLE) from None


def _nesting(text: str) -> int:
    """Deepest nesting of brackets, those in text and comments included."""
    deepest = depth = 0
    for match in _BRACKETS.finditer(text):
        if match.group() in "[{":
            depth += 1
            deepest = max(deepest, depth)
        else:
            depth = max(0, depth - 1)
    return deepest


def _reason(error: ValueError) -> str:
    message = str(error)
    return (message[0].lower() + message[1:])[:300] if message else "unknown fault"
