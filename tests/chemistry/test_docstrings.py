"""The docstrings of the chemistry modules keep the house's order and state every unit."""

from __future__ import annotations

import inspect
import re

import pytest

from preservecheck.chemistry import (
    cooling,
    free_active,
    partition,
    speciation,
    titration,
    trend,
    water_activity,
)

MODULES = (
    free_active,
    partition,
    speciation,
    water_activity,
    cooling,
    titration,
    trend,
)
SECTIONS = ["Parameters", "Returns", "Notes", "References", "Examples"]
FUNCTIONS = [
    pytest.param(function, id=f"{module.__name__.rpartition('.')[2]}.{name}")
    for module in MODULES
    for name, function in inspect.getmembers(module, inspect.isfunction)
    if function.__module__ == module.__name__ and not name.startswith("_")
]


def section(doc: str, name: str) -> str:
    """Text of one section."""
    return re.split(rf"\n{name}\n-+\n", doc)[1].split("\n\n")[0]


@pytest.mark.parametrize("function", FUNCTIONS)
def test_sections_in_order(function):
    """Each function has all sections, in the order of the house style."""
    doc = inspect.getdoc(function)
    assert re.findall(r"\n(\w+)\n-{3,}\n", doc) == SECTIONS
    assert ">>> " in doc.rpartition("Examples")[2]


@pytest.mark.parametrize("function", FUNCTIONS)
def test_every_argument_and_result_has_a_unit(function):
    """Each argument is described, and each description ends in or holds a unit in brackets."""
    doc = inspect.getdoc(function)
    entries = re.split(r"\n(?=\S)", section(doc, "Parameters"))
    described = [name for entry in entries for name in entry.split("\n")[0].split(", ")]
    assert described == list(inspect.signature(function).parameters)
    for entry in [*entries, *re.split(r"\n(?=\S)", section(doc, "Returns"))]:
        assert re.search(r"\[[^\]]+\]", entry), entry
