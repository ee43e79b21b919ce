"""The pH over time as a document."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from preservecheck.report import document as d
from preservecheck.report import words
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


def document(found: Drift) -> d.Document:
    """The pH over time, storage by storage."""
    word = "serious" if any(s.serious for s in found.series) else found.verdict
    sentences = [f"{s.storage}: {s.because}{f' {s.do}' if s.do else ''}" for s in found.series]
    apart = APART if len(found.series) > 1 else ""
    table = d.Table(HEADS, [_row(s) for s in found.series], numbers=(1,), key=(3, 4, 5))
    window = found.window_because
    if found.window is not None:
        low, high = map(number, found.window)
        window = f"Window: pH {low} to {high}. {window}"
    return d.Document(
        f"pH over time: {found.head.name}",
        [
            d.Verdict(word, word),
            d.Paragraph(_worst_words(_worst(found))),
            d.Paragraph(window),
            d.Plots(lambda: [readings.drifting(found)], told=True),
        ],
        [
            d.Section("By storage", [table]),
            d.Section("In words", [d.Bullets(sentences), d.Paragraph(apart)]),
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

    def badness(s: Series) -> tuple[int, int]:
        leaving = s.leaves_on_early or s.leaves_on or dt.date.max
        return s.code, -leaving.toordinal()

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
