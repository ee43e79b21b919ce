"""The outcome of a challenge test as a decision record takes it: what ``challenge`` writes as
JSON."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError

from preservecheck.errors import ReadingsError
from preservecheck.formula.files import file_bytes

MAX_BYTES = 1_000_000


class OrganismOutcome(BaseModel):
    """One organism of the test."""

    model_config = ConfigDict(extra="ignore")
    name: str
    group: str | None = None
    verdict: str | None = None
    log_reductions: dict[str, float | None] = {}
    because: str | None = None


class Outcome(BaseModel):
    """The keys of ``challenge`` that a record prints; others are left out."""

    model_config = ConfigDict(extra="ignore")
    standard: str
    verdict: str
    because: str | None = None
    organisms: tuple[OrganismOutcome, ...] = ()
    missing: tuple[str, ...] = ()


def read_outcome(path: Path) -> dict[str, Any]:
    """What ``challenge --format json`` wrote.

    Raises
    ------
    ReadingsError
        The file is something else.
    """
    try:
        return Outcome.model_validate_json(file_bytes(path, MAX_BYTES)).model_dump(mode="json")
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(map(str, first["loc"])) or "file"
        raise ReadingsError(
            f"{path}: {where}: {first['msg']}; give what 'preservecheck challenge RESULTS "
            "--format json' wrote"
        ) from None
