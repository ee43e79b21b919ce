"""What ``cooldown`` found as a document."""

from __future__ import annotations

from typing import TYPE_CHECKING

from preservecheck.report import words
from preservecheck.report.document import Bullets, Document, Paragraph, Plots, Section
from preservecheck.report.plots import readings
from preservecheck.text import number
from preservecheck.units import duration_text, mass_text, temperature_text

if TYPE_CHECKING:
    from preservecheck.bench.addition_window import AdditionWindow
    from preservecheck.bench.cooling import Cooldown
    from preservecheck.bench.forecast import Reach
    from preservecheck.formula.cooling_readings import Course

ALREADY_IN = "Already in"
ONLY_A_READING = (
    "A forecast opens nothing: only a measured temperature, in the stirred middle of the batch, "
    "lets a preservative go in."
)


def document(found: Cooldown) -> Document:
    """When the batch is cool enough, and what met too much heat."""
    windows = [f"{w.name}: {window_words(w, found.course)} {w.because}" for w in found.gates]
    times = [f"{r.what}, {temperature_text(r.limit_c)}: {_when(found, r)}" for r in found.reach]
    added = [f"{a.preservative}: {words.word_of(a)}. {a.because}" for a in found.added]
    mixing = found.mixing
    balance = ""
    if mixing is not None:
        balance = (
            f"Heat balance: {_part(mixing.hot_g, found)} at {number(mixing.hot_kj_kg_k)} kJ/(kg K) "
            f"and {_part(mixing.cold_g, found)} at {number(mixing.cold_kj_kg_k)}; vessel, setting "
            "wax and loss while stirring are not counted."
        )
    hold = (
        f"{duration_text(found.held_min)} at {temperature_text(found.hold_c)} or more, "
        "straight between the readings."
    )
    return Document(
        f"Cooling of {found.head.name}" if found.head.name else "Cooling",
        [Paragraph(found.because), Plots(lambda: [readings.cooling(found)], told=True)],
        [
            Section("When it may go in", [Bullets(windows)]),
            Section("When it is cool enough", [Bullets(times)]),
            Section(ALREADY_IN, [Bullets(added)]),
            Section("After the cold phase", [Paragraph(found.mixing_because), Paragraph(balance)]),
            Section("Heat hold", [Paragraph(hold)]),
            Section("Good to know", [Bullets([*found.remarks, ONLY_A_READING])]),
        ],
        words.footer(found.head),
        found.hints,
    )


def window_words(window: AdditionWindow, course: Course | None) -> str:
    """When a preservative may go in, as a sentence."""
    reach, below = window.reach, temperature_text(window.below_c)
    if reach is None or course is None or reach.minutes is None:
        return f"May go in when the thermometer shows {below} or less."
    if reach.measured:
        last = temperature_text(course.temp_c[-1])
        when = course.time_text(course.time_min[-1])
        return (
            f"The thermometer showed {last} at {when}, so it may go in: {below} or less is right."
        )
    assert reach.minutes_low is not None
    low = course.time_text(round(reach.minutes_low))
    ends = (
        f"between {low} and {course.time_text(round(reach.minutes_high))}"
        if reach.minutes_high is not None
        else f"not before {low}; the latest time cannot be told"
    )
    return (
        f"About {course.time_text(round(reach.minutes))} ({ends}), once the thermometer shows "
        f"{below} or less."
    )


def _when(found: Cooldown, reach: Reach) -> str:
    """Time with its band, and what to do."""
    if reach.minutes is None:
        return f"not known. {reach.because}"
    time, low, high = (
        None if m is None else found.course.time_text(round(m))
        for m in (reach.minutes, reach.minutes_low, reach.minutes_high)
    )
    if reach.measured:
        return f"reached at {time}. {reach.because}"
    ends = f"between {low} and {high}" if high else f"not before {low}"
    wait = reach.minutes - found.course.time_min[-1]
    return (
        f"at {time}, {duration_text(round(wait))} after the last reading ({ends}). {reach.because}"
    )


def _part(grams: float, found: Cooldown) -> str:
    """A part of the batch; its mass in grams is not known where the parts come to 100."""
    mixing = found.mixing
    whole = mixing.hot_g + mixing.cold_g if mixing else 0.0
    return f"{number(grams)} %" if abs(whole - 100) < 1e-6 else mass_text(grams)
