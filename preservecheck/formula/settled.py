"""Answers to findings: what a trial showed, as a formula file holds it."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping
from typing import Any

from preservecheck.formula.faults import MAX_NOTE, Section

KEYS = ("check", "about", "on", "by", "saw", "rests_on")
MAX_ANSWERS = 1000
_GIVE_FIGURES = "give the figures as the report prints them: name = number; name = number"


def read_settled(
    top: Section, day: Callable[[Section, str], dt.date | None]
) -> list[dict[str, Any]]:
    """The answers as plain values for the model; faults are noted.

    Parameters
    ----------
    top
        The whole file.
    day
        How a day is read, with its faults.
    """
    raw = top.raw.get("settled", [])
    if not isinstance(raw, list) or not all(isinstance(s, dict) for s in raw):
        top.fault("settled", "give each answer as a table that starts with the line [[settled]]")
        return []
    give = "name the check and the subject as the report does"
    seen = "write down what you saw, and after how long"
    out = []
    for at, entry in enumerate(raw[:MAX_ANSWERS]):
        section = Section(entry, top.faults, ("settled", at), KEYS, f"answer number {at + 1}")
        basis = _figures(entry.get("rests_on", {}))
        if basis is None:
            section.fault("rests_on", _GIVE_FIGURES)
        out.append(
            {
                "check": section.text("check", give, needed=True),
                "about": section.text("about", give, needed=True),
                "on": day(section, "on"),
                "by": section.text("by", "give your initials", needed=True),
                "saw": section.text("saw", seen, needed=True, longest=MAX_NOTE),
                "rests_on": basis or {},
            }
        )
    return out


def _figures(written: object) -> dict[str, float] | None:
    """Figures by name, from a table or from one cell; ``None`` where they cannot be read."""
    if isinstance(written, str):
        parts = [part.rpartition("=") for part in written.split(";") if part.strip()]
        if not all(name.strip() for name, _, _ in parts):
            return None
        try:
            written = {name.strip(): float(value) for name, _, value in parts}
        except ValueError:
            return None
    if not isinstance(written, Mapping) or not all(map(_is_number, written.values())):
        return None
    return {str(name): float(value) for name, value in written.items()}


def in_one_cell(figures: Mapping[str, Any]) -> str:
    """Figures by name as one cell of a sheet, or one field, holds them."""
    return "; ".join(f"{name} = {value}" for name, value in figures.items())


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
