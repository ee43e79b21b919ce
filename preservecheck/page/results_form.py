"""What is pasted afterwards: the laboratory's counts and the pH over time, each as the text of a
spreadsheet.

``after-counts``, ``after-standard`` and ``after-ph``. A file that is opened becomes such a text, so
that there is one way from what a maker sees to what is judged.
"""

from __future__ import annotations

import dataclasses
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from preservecheck.errors import ReadingsError
from preservecheck.page.uploads import tame
from preservecheck.reference.rows import STANDARDS

if TYPE_CHECKING:
    from preservecheck.page.form import Pairs

Part = Literal["counts", "ph"]
PARTS: tuple[Part, ...] = ("counts", "ph")
COUNTS_COLUMNS = (
    ("organism", "the test organism, or its strain number", "E. coli"),
    ("day", "days since the start; 0 is the inoculum", "7"),
    (
        "cfu_per_g",
        "colonies per g or mL; where nothing grew, < and the detection limit",
        "500000 or <10",
    ),
    ("replicate", "only where a day was counted more than once", "2"),
)
PH_COLUMNS = (
    ("date", "day of the reading", "1.9.2026 or 2026-09-01"),
    ("ph", "the pH", "5.02"),
    ("storage_c", "how warm it is kept, or room; may be left out", "40"),
)
EXAMPLES: dict[Part, str] = {
    "counts": """# an invented example: no laboratory counted this
standard,ISO 11930
organism,day,cfu_per_g
Pseudomonas aeruginosa,0,480000
Pseudomonas aeruginosa,7,120
Pseudomonas aeruginosa,14,<10
Pseudomonas aeruginosa,28,<10
Staphylococcus aureus,0,610000
Staphylococcus aureus,7,90
Staphylococcus aureus,14,<10
Staphylococcus aureus,28,<10
Escherichia coli,0,530000
Escherichia coli,7,<10
Escherichia coli,14,<10
Escherichia coli,28,<10
Candida albicans,0,52000
Candida albicans,7,2100
Candida albicans,14,160
Candida albicans,28,<10
Aspergillus brasiliensis,0,47000
Aspergillus brasiliensis,7,30000
Aspergillus brasiliensis,14,16000
Aspergillus brasiliensis,28,9500
""",
    "ph": """# an invented example: nobody read this
date,ph,storage_c
2026-08-03,4.42,22
2026-08-10,4.43,22
2026-08-17,4.42,22
2026-08-31,4.42,22
2026-09-14,4.43,22
2026-09-28,4.42,22
2026-08-03,4.42,40
2026-08-10,4.40,40
2026-08-17,4.39,40
2026-08-31,4.35,40
2026-09-14,4.30,40
2026-09-28,4.26,40
""",
}


@dataclass
class After:
    """The texts of the fields."""

    counts: str = ""
    ph: str = ""
    standard: str = ""

    def text(self, part: Part) -> str:
        """What is pasted for one part."""
        return self.counts if part == "counts" else self.ph

    def write_output(self, part: Part, text: str) -> None:
        """Put a text in the place of what is there."""
        if part == "counts":
            self.counts = text
        else:
            self.ph = text


def after_of(pairs: Iterable[tuple[str, str]]) -> After:
    """What the fields of a form hold of this view; of a name that stands several times the last one
    counts."""
    said = dict(pairs)
    standard = said.get("after-standard", "")
    return After(
        _lines(said.get("after-counts", "")),
        _lines(said.get("after-ph", "")),
        standard if standard in STANDARDS else "",
    )


def _lines(written: str) -> str:
    """A text with the line ends of one kind."""
    return written.replace("\r\n", "\n").replace("\r", "\n")


def pairs_beside(after: After) -> Pairs:
    """The fields again; the reverse of ``after_of``."""
    return [
        ("after-counts", after.counts),
        ("after-standard", after.standard),
        ("after-ph", after.ph),
    ]


def part_of(do: str) -> Part | None:
    """The part that a button or a question speaks of."""
    return next((p for p in PARTS if do == p or do.endswith(f" {p}")), None)


def acted(after: After, do: str) -> Part | None:
    """Do what a button says: ``example counts``, ``clear ph`` and such; anything else changes
    nothing.

    An example never takes the place of what is pasted.
    """
    part = part_of(do)
    if part is None:
        return None
    if do.startswith("example ") and not after.text(part).strip():
        after.write_output(part, EXAMPLES[part])
    elif do.startswith("clear "):
        after.write_output(part, "")
    return part


def text_of_file(name: str, data: bytes) -> str:
    """What a picked or dropped file holds, as text to be judged.

    Parameters
    ----------
    name
        Of the file.
    data
        What is in it.

    Raises
    ------
    ReadingsError
        It cannot be read.
    """
    from preservecheck.formula.readings import readings_text

    if not name:
        raise ReadingsError("no file was chosen; choose a .csv or .xlsx file")
    with tempfile.TemporaryDirectory(prefix="preservecheck-") as folder:
        path = Path(folder) / tame(name)
        path.write_bytes(data)
        try:
            return _lines(readings_text(path))
        except ReadingsError as error:
            raise ReadingsError(
                dataclasses.replace(f, where=path.name) for f in error.faults
            ) from None
