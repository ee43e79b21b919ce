"""Reads a formula written as TOML into nested dictionaries; what they say is judged by
``build``."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from preservecheck.errors import FormulaError

# a formula is three levels deep; the reader of the standard library calls itself for every level
MAX_NESTING = 50
# names joined by dots; the time of the standard library's reader grows with the square of their
# number
MAX_DOTS = 30
_WORD = r"""(?:(?<![\w-])[\w-]++|"[^"\n]*+"|'[^'\n]*+')"""
_MANY_DOTS = re.compile(rf"(?:{_WORD}[ \t]*+\.[ \t]*+){{{MAX_DOTS}}}")
_BRACKETS = re.compile(r"[\[{\]}]")


def read_toml(data: bytes, where: str) -> dict[str, Any]:
    """The file as nested dictionaries.

    Parameters
    ----------
    data
        The file, UTF-8.
    where
        File name for messages.

    Raises
    ------
    FormulaError
        It is not UTF-8, not TOML, or nested deeper than any formula.
    """
    text = decoded(data, where)
    if _nesting(text) > MAX_NESTING or _MANY_DOTS.search(text):
        raise FormulaError(
            f"{where}: brackets or dotted names are nested deeper than {MAX_NESTING} levels; a "
            "formula "
            "needs three. 'preservecheck new' writes an example"
        )
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FormulaError(
            f"{where}: not readable as TOML: {_reason(error)}. Text stands in quotation marks, "
            "numbers "
            "with a decimal point and without unit; 'preservecheck new' writes an example"
        ) from None
    except (
        ValueError,
        RecursionError,
        OverflowError,
    ):  # numbers of thousands of digits, impossible dates
        raise FormulaError(
            f"{where}: not readable as TOML: it holds a number or date that is too large or "
            "impossible; "
            "'preservecheck new' writes an example"
        ) from None


def decoded(data: bytes, where: str) -> str:
    """Text of a file that must be UTF-8.

    Parameters
    ----------
    data
        The file.
    where
        File name for messages.

    Raises
    ------
    FormulaError
        It is not UTF-8; the message names the byte and its line.
    """
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise FormulaError(
            f"{where}: written as UTF-16; save it as UTF-8 (in a spreadsheet: 'CSV UTF-8')"
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise FormulaError(
            f"{where}: not UTF-8: byte {error.start} on line {line} is 0x{data[error.start]:02X}; "
            "save "
            "it as UTF-8 (in a spreadsheet: 'CSV UTF-8')"
        ) from None


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
