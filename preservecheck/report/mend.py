"""What ``mend`` changed in a formula as a document: before, the steps, after."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from preservecheck.report import document as d
from preservecheck.report import review, words

if TYPE_CHECKING:
    from preservecheck.plan.mend import Mended


def document(found: Mended, written: Sequence[Path]) -> d.Document:
    """The verdict before, each step that was made, the verdict after and what is left."""
    before, after = found.before, found.after
    steps = [f"{n}. {step.do}" for n, step in enumerate(found.steps, 1)]
    left = review.actions(after)
    files = f"Written: {', '.join(map(str, written))}."
    return d.Document(
        f"{before.product.name}, mended",
        [d.Paragraph(files)],
        [
            d.Section("Before", [words.verdict_of(before, before.counts)]),
            d.Section("Changed", [d.Bullets(steps)]),
            d.Section("After", [words.verdict_of(after, after.counts)]),
            d.Section("What is left", [d.Actions(left)] if left else []),
        ],
        [words.SCREEN, *words.footer(after)],
    )
