"""Challenge results stored beside a formula or entered into a record, and whether they still cover
the formula."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, ValidationError

from preservecheck.errors import Hint, ReadingsError
from preservecheck.files import Kind, file_bytes, write_whole
from preservecheck.formula.model import Formula
from preservecheck.reference.rows import STANDARDS

ENDING = ".challenge.json"
MAX_BYTES = 1_000_000
_RESULT = Kind(
    "a result of a challenge test",
    "it is what judging a challenge test writes as JSON",
    ReadingsError,
    hint=Hint.RESULT_FILE,
)
_STORED = Kind(
    "a stored result",
    "it is what storing a judged challenge test writes",
    ReadingsError,
    "delete it",
    Hint.KEEP,
)
_WORDS = {
    "A": "criterion A reached",
    "B": "criterion B reached, which needs further reasons",
    "passes": "passed",
    "fails": "failed",
    "incomplete": "incomplete",
}


class StoredOrganism(BaseModel):
    """One organism of the test."""

    model_config = ConfigDict(extra="ignore")
    name: str
    group: str | None = None
    verdict: str | None = None
    log_reductions: dict[str, float | None] = {}
    because: str | None = None


class ChallengeResult(BaseModel):
    """The keys of a judged test that a record prints; others are left out."""

    model_config = ConfigDict(extra="ignore")
    standard: str
    verdict: str
    because: str | None = None
    organisms: tuple[StoredOrganism, ...] = ()
    missing: tuple[str, ...] = ()


def read_result(path: Path) -> dict[str, Any]:
    """A judged challenge test in a JSON file, as a record prints it; a ``ReadingsError`` where it
    is something else."""
    data = file_bytes(path, MAX_BYTES, _RESULT)
    try:
        return ChallengeResult.model_validate_json(data).model_dump(mode="json")
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(map(str, first["loc"])) or "file"
        raise ReadingsError(
            first["msg"], where=str(path), path=first["loc"], place=place, hint=Hint.RESULT_FILE
        ) from None


@dataclass(frozen=True)
class StoredResult:
    """A result stored beside a formula."""

    path: str
    standard: str
    verdict: str
    date: str
    because: str
    covers: bool  # the formula has not changed since
    result: dict[str, Any]

    @property
    def sentence(self) -> str:
        """What a report says of it."""
        known = STANDARDS.get(self.standard)
        name = known.name if known else self.standard
        said = f"Test of {self.date} by {name}: {_WORDS[self.verdict]}. {self.because}"
        if self.covers:
            return said
        return (
            f"{said} The formula has changed since, so that this test no longer covers it: "
            "have the new formula tested."
        )


def stored_path(formula_path: str | Path) -> Path:
    """The file beside a formula that holds its challenge result."""
    path = Path(formula_path)
    stem = path.stem
    if path.suffix.casefold() == ".csv":  # a set of sheets is one formula
        stem = stem.rpartition(".")[0] or stem
    return path.with_name(stem + ENDING)


def store(result: dict[str, Any], formula: Formula, today: dt.date | None = None) -> Path:
    """Write a judged challenge test, in its JSON form, beside the formula that was tested; a
    ``ReadingsError`` where that does not come from a file."""
    if formula.path is None:
        raise ReadingsError("a result is stored beside a formula file", hint=Hint.FORMULA)
    path = stored_path(formula.path)
    data = {
        **result,
        "formula_sha256": formula.sha256,
        "kept_on": (today or dt.date.today()).isoformat(),
    }
    write_whole(path, json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False) + "\n")
    return path


def stored_for(formula: Formula) -> StoredResult | None:
    """The result stored beside a formula, or ``None`` where there is none; a ``ReadingsError``
    where it cannot be read."""
    if formula.path is None or not (path := stored_path(formula.path)).is_file():
        return None
    try:
        data = json.loads(file_bytes(path, MAX_BYTES, _STORED))
        verdict, standard, digest = (
            str(data[k]) for k in ("verdict", "standard", "formula_sha256")
        )
        if verdict not in _WORDS or not isinstance(data.get("organisms"), list):
            raise ValueError
    except (ValueError, KeyError, TypeError, RecursionError):
        found = "is no stored result of a challenge test"
        raise ReadingsError(
            found, "write it again, or delete it", where=str(path), hint=Hint.KEEP
        ) from None
    return StoredResult(
        str(path),
        standard,
        verdict,
        str(data.get("date", "unknown date")),
        str(data.get("because", "")),
        digest == formula.sha256,
        data,
    )


def stored_sentence(formula: Formula) -> str | None:
    """What a report says of a stored result; one that cannot be read is told, never hidden."""
    try:
        stored = stored_for(formula)
    except ReadingsError as error:
        return f"A result is stored beside this formula but cannot be read: {error.messages[0]}"
    return stored.sentence if stored else None
