"""The report as JSON, with the keys that other programs read and every figure in full."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from preservecheck.assess.review import Report


def render(report: Report) -> str:
    """One report as an object."""
    return json.dumps(report.to_json(), ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def render_many(reports: Sequence[Report], unread: Iterable[str] = ()) -> str:
    """Several reports as a list; a file that could not be read has no entry."""
    return (
        json.dumps([r.to_json() for r in reports], ensure_ascii=False, indent=2, allow_nan=False)
        + "\n"
    )
