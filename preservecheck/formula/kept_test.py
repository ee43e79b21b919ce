"""Challenge results kept beside a formula, and whether they still speak of it."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from preservecheck.errors import FormulaError, ReadingsError
from preservecheck.formula.files import Kind, file_bytes
from preservecheck.formula.model import Formula
from preservecheck.reference.rows_practice import STANDARDS

ENDING = ".challenge.json"
MAX_BYTES = 1_000_000
_KIND = Kind(
    "a kept result",
    "it is what 'preservecheck challenge RESULTS --keep --formula FORMULA' writes",
    "delete it",
)
_WORDS = {
    "A": "criterion A reached",
    "B": "criterion B reached, which needs further reasons",
    "passes": "passed",
    "fails": "failed",
    "incomplete": "incomplete",
}


@dataclass(frozen=True)
class ChallengeVerdict:
    """A kept result."""

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


def kept_path(formula_path: str | Path) -> Path:
    """The file beside a formula that holds its challenge results."""
    path = Path(formula_path)
    stem = path.stem
    if path.suffix.casefold() == ".csv":  # a set of sheets is one formula
        stem = stem.rpartition(".")[0] or stem
    return path.with_name(stem + ENDING)


def keep(result: dict[str, Any], formula: Formula, today: dt.date | None = None) -> Path:
    """Write a judged challenge test beside its formula.

    Parameters
    ----------
    result
        The JSON form of the test.
    formula
        The formula that was tested, read from a file.
    today
        Date of keeping.

    Raises
    ------
    ReadingsError
        The formula does not come from a file.
    """
    from preservecheck.files import write_whole

    if formula.path is None:
        raise ReadingsError("a result is kept beside a formula file; give one with --formula")
    path = kept_path(formula.path)
    data = {
        **result,
        "formula_sha256": formula.sha256,
        "kept_on": (today or dt.date.today()).isoformat(),
    }
    write_whole(path, json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False) + "\n")
    return path


def kept_for(formula: Formula) -> ChallengeVerdict | None:
    """The result kept beside a formula, or ``None`` where there is none.

    Raises
    ------
    ReadingsError
        There is a file, but it cannot be read.
    """
    if formula.path is None:
        return None
    path = kept_path(formula.path)
    if not path.is_file():
        return None
    help_text = (
        "write it again with 'preservecheck challenge RESULTS --keep --formula FORMULA', "
        "or delete it"
    )
    try:
        data = json.loads(file_bytes(path, MAX_BYTES, kind=_KIND))
        verdict, standard, digest = (
            str(data[k]) for k in ("verdict", "standard", "formula_sha256")
        )
    except FormulaError as error:
        raise ReadingsError(error.messages) from None
    except (ValueError, KeyError, TypeError, RecursionError):
        raise ReadingsError(f"{path}: is no kept result of a challenge test; {help_text}") from None
    if verdict not in _WORDS or not isinstance(data.get("organisms"), list):
        raise ReadingsError(f"{path}: is no kept result of a challenge test; {help_text}")
    return ChallengeVerdict(
        str(path),
        standard,
        verdict,
        str(data.get("date", "unknown date")),
        str(data.get("because", "")),
        digest == formula.sha256,
        data,
    )


def kept_sentence(formula: Formula) -> str | None:
    """What a report says of a kept result; a file that cannot be read is told, never hidden."""
    try:
        found = kept_for(formula)
    except ReadingsError as error:
        return f"A result is kept beside this formula but cannot be read: {error.messages[0]}"
    return found.sentence if found else None
