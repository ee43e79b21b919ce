"""What is installed on demand, and the line that installs it."""

from __future__ import annotations

from importlib.util import find_spec

# extra of pyproject.toml: the libraries that it brings, by the names that are imported
EXTRAS = {
    "bench": ("scipy",),
    "page": ("fastapi", "starlette", "uvicorn", "python_multipart"),
    "plots": ("matplotlib",),
    "parquet": ("pyarrow",),
}


def need(extra: str) -> None:
    """Refuse before the work begins what could not be finished; a ``ModuleNotFoundError`` where a
    library of the extra is not installed."""
    for library in EXTRAS[extra]:
        if find_spec(library) is None:
            raise ModuleNotFoundError(f"No module named {library!r}", name=library)


def line_to_type(library: str | None) -> str | None:
    """What installs a library that is missing; ``None`` for one that belongs to no extra."""
    name = (library or "").partition(".")[0]
    extra = next((e for e, libraries in EXTRAS.items() if name in libraries), None)
    if extra is None:
        return None
    return f"This needs {name}, which is not installed. Type: pip install 'preservecheck[{extra}]'"
