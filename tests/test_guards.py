"""Guards: public names, start-up, layers."""

from __future__ import annotations

import ast
import doctest
import graphlib
import importlib
import inspect
import re
import subprocess
import sys
import textwrap
from functools import cache
from pathlib import Path
from typing import get_args

import pytest

import preservecheck
from preservecheck.assess.uncertainty import INPUTS
from preservecheck.checks import BY_ID, CHECKS, OLD_IDS
from preservecheck.checks.base import Lever
from preservecheck.cli import main, tables
from preservecheck.reference.rows import TABLES

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "preservecheck"
MODULES = sorted(PACKAGE.rglob("*.py"))
LAZY = ("pandas", "scipy", "matplotlib", "jinja2", "openpyxl", "fastapi", "pyarrow")


def loaded_after(code):
    """Top-level modules that are loaded after some code ran in a fresh interpreter."""
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            f"{code}\nimport sys\nprint('\\n'.join(sys.modules), file=sys.stderr)",
        ],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
    )
    return {name.partition(".")[0] for name in done.stderr.split()}


def command(*arguments):
    """Code that runs the program and goes on."""
    return (
        f"import sys\nsys.argv = ['preservecheck', *{list(arguments)!r}]\nfrom preservecheck.cli.main "
        "import main\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert end.code in (0, 1, None), end.code"
    )


# ---- public names ----


def test_public_names():
    """The public names are these; a change here is a change for users."""
    assert preservecheck.__all__ == [
        "Choice",
        "Figure",
        "Finding",
        "Formula",
        "FormulaError",
        "Option",
        "PreservecheckError",
        "ReadingsError",
        "Report",
        "TableError",
        "Tables",
        "UnitError",
        "__version__",
        "choose",
        "load_formula",
        "load_tables",
        "review",
    ]
    assert dir(preservecheck) == preservecheck.__all__


@pytest.mark.parametrize("name", preservecheck.__all__)
def test_public_name_is_there_and_explained(name):
    """Every public name can be had and has a docstring."""
    value = getattr(preservecheck, name)
    assert isinstance(value, str) or value.__doc__


def test_unknown_name_is_an_attribute_error():
    """A name that is not there is refused as by any module."""
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        preservecheck.nonsense  # noqa: B018


def test_import_is_light():
    """Importing the package loads nothing heavy."""
    assert loaded_after("import preservecheck").isdisjoint({"numpy", "pydantic", "typer", *LAZY})


# ---- start-up ----


@pytest.mark.parametrize(
    "arguments", [("--help",), ("review", "--help"), ("tables", "--help"), ("--version",)]
)
def test_help_is_light(arguments):
    """Help and version load none of the libraries that the program itself uses beside typer."""
    assert loaded_after(command(*arguments)).isdisjoint({"numpy", "rich", "tabulate", *LAZY})


def test_main_help_loads_typer_alone():
    """The first page of help does not even load what typer reads arguments with."""
    assert "pydantic" not in loaded_after(command("--help"))


@pytest.mark.parametrize("form", ["text", "markdown", "json"])
def test_review_is_light(form):
    """Reviewing a TOML file loads numpy and pydantic, and none of the heavier libraries."""
    loaded = loaded_after(
        command("review", str(ROOT / "tests/examples/failing-gel.toml"), "--format", form)
    )
    assert "numpy" in loaded
    assert loaded.isdisjoint(LAZY)


# ---- layers ----


@cache
def parsed(path):
    """A module as a tree."""
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def imports_of(path, *, at_top_only=False):
    """Names of the modules that a file imports, those for type checkers apart."""
    tree = parsed(path)
    skipped = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)
        for inner in ast.walk(node)
    }
    names = []
    for node in tree.body if at_top_only else ast.walk(tree):
        if id(node) in skipped:
            continue
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports are absolute"
            names.append(node.module)
            if node.module == "preservecheck":
                names += [f"preservecheck.{alias.name}" for alias in node.names]
    return tuple(names)


def inside(path):
    """Imports from the package, without its name."""
    return {
        name.removeprefix("preservecheck").lstrip(".")
        for name in imports_of(path)
        if name.split(".")[0] == "preservecheck"
    } - {""}


# the house: a module imports from lower floors and from its own room, nothing else; DEVELOPERS.md
# draws the same list
FLOORS = (
    ("version", "errors", "text"),
    ("units", "files", "provenance", "verdict"),
    ("chemistry",),
    ("reference",),
    ("formula",),
    ("arrays",),
    ("checks",),
    ("assess",),
    ("ranking",),
    ("plan",),
    ("bench", "screen"),
    ("evidence",),
    ("report",),
    ("page",),
    ("cli",),
    ("__main__",),
)
FLOOR = {room: floor for floor, rooms in enumerate(FLOORS) for room in rooms}


def room_of(path):
    """The folder of a module in the package, or its own name."""
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def module_of(name):
    """The module that an imported name stands in, without the name of the package."""
    place = PACKAGE.joinpath(*name.split("."))
    return name if place.is_dir() or place.with_suffix(".py").is_file() else name.rpartition(".")[0]


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_go_down(path):
    """A module imports from lower floors and from its own room."""
    if path == PACKAGE / "__init__.py":
        assert inside(path) == {"version"}
        return
    own = room_of(path)
    others = {name.partition(".")[0] for name in inside(path)} - {own}
    assert {room for room in others if FLOOR[room] >= FLOOR[own]} == set()


def test_no_module_imports_itself_by_way_of_others():
    """There is no circle, in no room."""
    graph = {}
    for path in MODULES:
        name = ".".join(path.relative_to(PACKAGE).with_suffix("").parts).removesuffix(".__init__")
        graph[name] = {m for m in map(module_of, inside(path)) if m} - {name}
    order = graphlib.TopologicalSorter(graph)
    order.prepare()


OUTSIDE_CHECKS = [path for path in MODULES if room_of(path) != "checks"]


@pytest.mark.parametrize("path", OUTSIDE_CHECKS, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_no_check_is_called_by_name(path):
    """Outside their folder no module imports a check and none spells the id of one: what is asked
    of a check, the check declares."""
    modules = {p.stem for p in (PACKAGE / "checks").glob("*.py")} - {"__init__", "base"}
    # a table and a property have the same names as these; as a key or in a comparison it is the id
    words = {"incompatibilities", "solubility"}
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module == "preservecheck.checks":
            assert {alias.name for alias in node.names}.isdisjoint(modules)
        elif isinstance(node, (ast.Import, ast.ImportFrom)):
            named = [getattr(node, "module", None) or "", *(alias.name for alias in node.names)]
            assert {f"preservecheck.checks.{m}" for m in modules}.isdisjoint(named)
        elif isinstance(node, ast.Constant):
            assert node.value not in BY_ID.keys() - words, f"line {node.lineno}"
        elif isinstance(node, (ast.Subscript, ast.Compare)):
            parts = [node.slice] if isinstance(node, ast.Subscript) else node.comparators
            assert words.isdisjoint(p.value for p in parts if isinstance(p, ast.Constant))


def test_checks_declare_what_they_are_asked():
    """Tables, columns, plots, levers and figures that a check declares are there."""
    for check in CHECKS:
        assert set(check.tables) <= set(TABLES), check.id
        for table, columns in check.tables.items():
            assert set(columns) <= set(TABLES[table].columns), (check.id, table)
        assert set(check.tolerances) <= set(INPUTS), check.id
        assert check.question.endswith("?"), check.id
        assert set(check.levers) <= set(get_args(Lever)), check.id
    assert set(OLD_IDS.values()) <= set(BY_ID)
    assert set(OLD_IDS).isdisjoint(BY_ID)


def test_chemistry_knows_no_model_table_or_file():
    """The chemistry takes numbers and gives numbers: numpy, scipy and the standard library alone,
    no files."""
    allowed = {
        "__future__",
        "collections",
        "functools",
        "math",
        "numpy",
        "preservecheck",
        "typing",
        "dataclasses",
        "scipy",
    }
    for path in sorted((PACKAGE / "chemistry").rglob("*.py")):
        assert {name.partition(".")[0] for name in imports_of(path)} <= allowed, path.name


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_heavy_libraries_are_imported_inside_functions(path):
    """No module imports a heavy library at its top."""
    assert {name.partition(".")[0] for name in imports_of(path, at_top_only=True)}.isdisjoint(LAZY)


def test_top_of_the_command_line_is_the_standard_library_and_typer():
    """The top of the command line imports nothing else, so that help is fast."""
    top = {
        name.partition(".")[0] for name in imports_of(PACKAGE / "cli" / "main.py", at_top_only=True)
    }
    assert top - set(sys.stdlib_module_names) == {"typer", "preservecheck"}


def test_click_is_never_imported():
    """Typer bundles its own; another one would be a stranger to it."""
    assert not [
        path.name
        for path in MODULES
        for name in imports_of(path)
        if name.partition(".")[0] == "click"
    ]


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_every_module_says_what_it_is(path):
    """Every module that holds anything has a docstring."""
    tree = parsed(path)
    assert not tree.body or ast.get_docstring(tree)


@pytest.mark.parametrize(
    "path",
    [p for p in MODULES if ">>> " in p.read_text(encoding="utf-8")],
    ids=lambda p: str(p.relative_to(PACKAGE)),
)
def test_examples_in_docstrings(path):
    """They give what they say."""
    name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
    failed, tried = doctest.testmod(importlib.import_module(name))
    assert tried
    assert failed == 0


def test_commands_are_thin():
    """The body of a command is about fifteen lines: read, call, render, exit status."""
    callbacks = [c.callback for app in (main.app, tables.app) for c in app.registered_commands]
    assert len(callbacks) >= 17
    for callback in callbacks:
        (node,) = ast.parse(textwrap.dedent(inspect.getsource(callback))).body
        body = node.body[1:]
        assert body[-1].end_lineno - body[0].lineno < 15, node.name


@pytest.mark.parametrize(
    "module", ["checks", "chemistry.speciation", "report.text", "reference.load", "formula.load"]
)
def test_modules_import_alone(module):
    """No module needs another to have been imported before it."""
    assert importlib.import_module(f"preservecheck.{module}")
    loaded_after(f"import preservecheck.{module}")


# ---- words ----

FRONT_ENDS = ("cli", "page", "__main__")


def literals_of(path):
    """Every text in the code of a module, docstrings included."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [n.value for n in ast.walk(tree) if isinstance(n, ast.Constant) and type(n.value) is str]


def commands():
    """The names of all commands, as they are typed."""
    from preservecheck.cli.main import app

    of_app = [c.name or c.callback.__name__.replace("_", "-") for c in app.registered_commands]
    return [*of_app, *(group.name for group in app.registered_groups)]


@pytest.mark.parametrize(
    "path",
    [path for path in MODULES if room_of(path) not in FRONT_ENDS],
    ids=lambda p: str(p.relative_to(PACKAGE)),
)
def test_only_front_ends_name_commands_and_options(path):
    """What helps further is a hint; the command line and the page word it, each for its own user."""
    named = re.compile(
        rf"preservecheck (?:{'|'.join(commands())})\b|(?<![\w-])--[a-z][a-z-]+|on the page\b"
    )
    assert [match.group() for text in literals_of(path) for match in named.finditer(text)] == []


def test_every_hint_is_worded_for_the_command_line():
    """No hint is lost on the way to the screen."""
    from preservecheck.cli.hints import HINTS
    from preservecheck.errors import Hint

    assert set(Hint) == set(HINTS)
