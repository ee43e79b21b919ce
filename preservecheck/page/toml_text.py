"""A formula as TOML text, in the order of the contract; the reverse of reading it."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Iterator, Mapping
from typing import Any

_PLAIN_KEY = re.compile(r"[A-Za-z0-9_-]+")
_HEAD = "# A formula for preservecheck."


def toml_text(raw: Mapping[str, Any]) -> str:
    """The file that reads as the given dictionaries.

    Parameters
    ----------
    raw
        In the layout of the TOML form, with texts, numbers, days, lists and tables.
    """
    return "\n".join(_lines(raw)) + "\n"


def _lines(raw: Mapping[str, Any]) -> Iterator[str]:
    yield _HEAD
    yield f"format = {_value(raw.get('format', 1))}"
    for section in ("product", "measured"):
        if section in raw:
            yield from ("", f"[{section}]", *_pairs(raw[section]))
    for phase in raw.get("phase", ()):
        yield from ("", "[[phase]]", *_pairs({k: v for k, v in phase.items() if k != "items"}))
        yield from ("items = [", *(f"  {_value(item)}," for item in phase.get("items", ())), "]")
    for section in ("blend", "ingredient"):
        for name, block in raw.get(section, {}).items():
            yield from ("", f"[{section}.{_quoted(name)}]", *_pairs(block))


def _pairs(table: Mapping[str, Any]) -> Iterator[str]:
    return (f"{_key(k)} = {_value(v)}" for k, v in table.items())


def _key(key: str) -> str:
    return key if _PLAIN_KEY.fullmatch(key) else _quoted(key)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")


def _value(value: Any) -> str:
    match value:
        case bool():
            return "true" if value else "false"
        case int() | float():
            return repr(value)
        case dt.date():
            return value.isoformat()
        case list() | tuple():
            return f"[{', '.join(_value(v) for v in value)}]"
        case dict():
            return f"{{ {', '.join(_pairs(value))} }}"
        case _:
            return _quoted(str(value))
