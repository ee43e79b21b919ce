"""The pH over time as a document."""

from __future__ import annotations

from typing import TYPE_CHECKING

from preservecheck.report import words
from preservecheck.report.document import (
    Bullets,
    Document,
    Paragraph,
    Plots,
    Section,
    Table,
    Verdict,
)
from preservecheck.report.plots import readings
from preservecheck.text import number

if TYPE_CHECKING:
    from preservecheck.evidence.drift import Drift, Series

DAYS_A_MONTH = 30.4
HEADS = ["storage", "readings", "pH a month", "leaves on", "at the earliest", "re-check", "verdict"]
APART = (
    "Readings of different storage temperatures are never put into one line; warm storage is "
    "not turned into years."
)


def document(found: Drift) -> Document:
    """The pH over time, storage by storage."""
    worst = _worst(found)
    word = "serious" if any(s.serious for s in found.series) else found.verdict
    sentences = [f"{s.storage}: {s.because}{f' {s.do}' if s.do else ''}" for s in found.series]
    window = (
        ""
        if found.window is None
        else f"Window: pH {number(found.window[0])} to {number(found.window[1])}. "
    )
    rows = [_row(s) for s in found.series]
    return Document(
        f"pH over time: {found.head.name}",
        [
            Verdict(word, word),
            Paragraph(_worst_words(worst)),
            Paragraph(window + found.window_because),
            Plots(lambda: [readings.drifting(found)], told=True),
        ],
        [
            Section("By storage", [Table(HEADS, rows, numbers=(1,), key=(3, 4, 5))]),
            Section(
                "In words",
                [Bullets(sentences), Paragraph(APART if len(found.series) > 1 else "")],
            ),
        ],
        words.footer(found.head),
        found.hints,
    )


def _row(s: Series) -> list[str]:
    slopes = [s.slope_per_day, s.slope_low, s.slope_high]
    month, low, high = ("" if v is None else f"{DAYS_A_MONTH * v:+.2f}" for v in slopes)
    return [
        s.storage,
        str(len(s.ph)),
        f"{month} ({low} to {high})" if month and low and high else "",
        str(s.leaves_on or ""),
        str(s.leaves_on_early or ""),
        str(s.recheck_on),
        words.word_of(s),
    ]


def _worst(found: Drift) -> Series:
    """The storage that is worst off: by verdict, then by the day on which it leaves the window."""

    def badness(s: Series) -> tuple[bool, bool, bool, int]:
        leaving = s.leaves_on_early or s.leaves_on
        return (
            s.serious,
            s.verdict == "warn",
            s.verdict == "unknown",
            -leaving.toordinal() if leaving else -4_000_000,
        )

    return max(found.series, key=badness)


def _worst_words(worst: Series) -> str:
    """What becomes of it, in one sentence."""
    from preservecheck.evidence.drift import WATCHED_DAYS

    if worst.verdict == "pass":
        return (
            f"The pH stays inside the window for {WATCHED_DAYS} days and more, if nothing changes."
        )
    if worst.serious:
        last = number(worst.ph[-1])
        return f"{worst.storage}: the last reading, pH {last}, lies outside the window."
    if worst.leaves_on is not None:
        early = f", at the earliest on {worst.leaves_on_early}" if worst.leaves_on_early else ""
        return f"{worst.storage}: the pH would leave the window on {worst.leaves_on}{early}."
    if worst.leaves_on_early is not None:
        return f"{worst.storage}: the pH may leave the window from {worst.leaves_on_early} on."
    return f"{worst.storage}: {worst.because}"
