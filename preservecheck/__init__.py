"""Screens whether a preservative will work in a water-based hair product.

The public names stand in ``__all__``; each is imported when it is first asked for, so that ``import
preservecheck`` itself costs nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from preservecheck.errors import (
        FormulaError,
        PreservecheckError,
        ReadingsError,
        TableError,
        UnitError,
    )
    from preservecheck.formula.load import load_formula
    from preservecheck.formula.model import Formula
    from preservecheck.plan.review import Report, review
    from preservecheck.ranking.rank import choose
    from preservecheck.ranking.result import Choice, Option
    from preservecheck.reference.load import Tables, load_tables
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
    "Choice": "ranking.rank",
    "Option": "ranking.rank",
    "choose": "ranking.rank",
    "Figure": "verdict",
    "Finding": "verdict",
    "Formula": "formula.model",
    "FormulaError": "errors",
    "PreservecheckError": "errors",
    "ReadingsError": "errors",
    "Report": "plan.review",
    "TableError": "errors",
    "Tables": "reference.load",
    "UnitError": "errors",
    "load_formula": "formula.load",
    "load_tables": "reference.load",
    "review": "plan.review",
}


def __getattr__(name: str) -> Any:
    if name == "__version__":
        from preservecheck.version import version

        return version()
    if name not in _HOME:
        raise AttributeError(f"module 'preservecheck' has no attribute {name!r}")
    from importlib import import_module

    value = getattr(import_module(f"preservecheck.{_HOME[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return __all__
