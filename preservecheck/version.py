"""Name and version of the program."""

from __future__ import annotations

from functools import cache
from pathlib import Path

PROGRAM = "preservecheck"


@cache
def version() -> str:
    """Version of the checkout where there is one, else of the installed package."""
    project = Path(__file__).resolve().parents[1] / "pyproject.toml"
    if project.is_file():
        for line in project.read_text(encoding="utf-8").splitlines():
            if line.startswith("version = "):
                return line.split('"')[1]
    from importlib import metadata

    return metadata.version(PROGRAM)


def program() -> str:
    """Name and version, as every result shows it."""
    return f"{PROGRAM} {version()}"
