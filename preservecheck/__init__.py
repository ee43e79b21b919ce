"""Screens whether a preservative will work in a water-based hair product.

The public names stand in ``__all__``; each is imported when it is first asked for, so that ``import
preservecheck`` itself costs nothing.
"""

from __future__ import annotations

import sys
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from preservecheck.choose import Choice, Option, choose
    from preservecheck.errors import (
        FormulaError,
        PreservecheckError,
        ReadingsError,
        TableError,
        UnitError,
    )
    from preservecheck.formula.load import load_formula
    from preservecheck.formula.model import Formula
    from preservecheck.reference.load import Tables, load_tables
    from preservecheck.review import Report, review
    from preservecheck.verdict import Figure, Finding

    __version__: str

__all__ = [
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

_HOME = {
    "Choice": "choose",
    "Option": "choose",
    "choose": "choose",
    "Figure": "verdict",
    "Finding": "verdict",
    "Formula": "formula.model",
    "FormulaError": "errors",
    "PreservecheckError": "errors",
    "ReadingsError": "errors",
    "Report": "review",
    "TableError": "errors",
    "Tables": "reference.load",
    "UnitError": "errors",
    "load_formula": "formula.load",
    "load_tables": "reference.load",
    "review": "review",
}


class _Package(ModuleType):
    """The package; a public function keeps its name also after the module of the same name was
    imported."""

    def __setattr__(self, name: str, value: Any) -> None:
        if name in _HOME and isinstance(value, ModuleType):
            return
        super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package


def __getattr__(name: str) -> Any:
    if name == "__version__":
        return _version()
    if name not in _HOME:
        raise AttributeError(f"module 'preservecheck' has no attribute {name!r}")
    from importlib import import_module

    value = getattr(import_module(f"preservecheck.{_HOME[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return __all__


def _version() -> str:
    """Version of the checkout where there is one, else of the installed package."""
    from pathlib import Path

    project = Path(__file__).resolve().parents[1] / "pyproject.toml"
    if project.is_file():
        for line in project.read_text(encoding="utf-8").splitlines():
            if line.startswith("version = "):
                return line.split('"')[1]
    from importlib.metadata import version

    return version("preservecheck")
