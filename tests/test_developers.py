"""The contributors' guide tells the truth: its paths, floors, quantities and axis letters are those of
the program."""

from __future__ import annotations

import importlib
import inspect
import re
from pathlib import Path

import pytest

from tests.test_guards import FLOORS, MODULES, PACKAGE, ROOT

GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PATHS = sorted(
    {
        path
        for path in re.findall(r"`([\w./*-]+)`", re.sub(r"```.*?```", "", GUIDE, flags=re.DOTALL))
        if "/" in path
    }
)
# folders of tests beside those of the rooms
BESIDE = {"examples", "outside"}


def rows(heading):
    """The rows of the first table under a heading."""
    table = re.search(rf"## {heading}\n.*?\n\|[-| ]+\|\n(.*?)\n\n", GUIDE, re.DOTALL)
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in table[1].split("\n")]


def names_in(cell):
    """The names in backticks."""
    return re.findall(r"`([^`]+)`", cell)


@pytest.mark.parametrize("path", PATHS)
def test_paths_are_there(path):
    """What the guide names is in the repository, as written or inside the package."""
    assert [*ROOT.glob(path), *PACKAGE.glob(path)]


def test_floors_are_those_that_are_asserted():
    """The drawing and the guard are one list."""
    assert tuple(tuple(names_in(rooms)) for _, rooms in rows("Floors")) == FLOORS


def test_test_folders_mirror_the_package():
    """Each room has its folder of tests, and each folder of tests a room."""
    rooms = {path.parent.name for path in PACKAGE.glob("*/__init__.py")}
    folders = {path.parent.name for path in Path(ROOT / "tests").glob("*/test_*.py")}
    assert folders - BESIDE == rooms


def quantities():
    """Parameters of the chemistry with the unit that their docstrings give, where it is one: (name,
    unit)."""
    for path in sorted((PACKAGE / "chemistry").glob("[!_]*.py")):
        module = importlib.import_module(f"preservecheck.chemistry.{path.stem}")
        for name, function in inspect.getmembers(module, inspect.isfunction):
            if function.__module__ != module.__name__ or name.startswith("_"):
                continue
            section = re.split(r"\nParameters\n-+\n", inspect.getdoc(function))[1].split("\n\n")[0]
            for entry in re.split(r"\n(?=\S)", section):
                units = set(re.findall(r"\[([^\]]+)\]", entry))
                if len(units) == 1:
                    for parameter in entry.split("\n")[0].split(", "):
                        yield parameter, *units


def glossary():
    """Unit by name."""
    return {name: unit for names, _, _, unit in rows("Glossary of quantities")
            for name in names_in(names)}  # fmt: skip


def test_every_quantity_of_the_chemistry_is_in_the_glossary():
    """A parameter with a unit stands there with that unit; pure numbers may."""
    known, units = glossary(), dict(quantities())
    assert len(units) > 50
    physical = {
        name: unit
        for name, unit in quantities()
        if unit not in ("-", "any") and not unit.startswith("as ") and "," not in unit
    }
    assert {n: u for n, u in physical.items() if known.get(n) != u} == {}
    assert {n for n, u in quantities() if n in known and u != known[n]} == set()
    assert set(known) <= set(units)


def test_the_other_quantities_are_names_of_the_program():
    """What stands in the second table is a name in the code."""
    second = GUIDE.split("These names stand in the arrays")[1].split("\nWater phase")[0]
    code = "\n".join(path.read_text(encoding="utf-8") for path in MODULES)
    names = names_in(
        "\n".join(line.split("|")[1] for line in second.split("\n")[4:] if "|" in line)
    )
    assert len(names) >= 12
    assert [n for n in names if not re.search(rf"\b{n}\b", code)] == []


def test_axis_letters_are_explained():
    """Each letter of a shape in the docstrings of the arrays and the checks is in the list."""
    letters = {
        letter
        for room in ("arrays", "checks")
        for path in (PACKAGE / room).glob("*.py")
        for shape in re.findall(
            r"\((?:\.\.\.|[A-Z])(?:,\s*[A-Z0-9])*,?\)", path.read_text(encoding="utf-8")
        )
        if "," in shape
        for letter in re.findall(r"[A-Z]", shape)
    }
    assert {"N", "K", "F", "J"} <= letters
    assert letters <= {x for names, _ in rows("Axis letters") for x in names.split(", ")}
