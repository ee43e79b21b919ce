"""What ``choose`` found, as text, Markdown or JSON: the same facts in the same order."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterator
from typing import TYPE_CHECKING

from preservecheck.report import outline as o
from preservecheck.report.markdown import escaped, table
from preservecheck.text import celsius, join_and, number

if TYPE_CHECKING:
    from preservecheck.ranking.result import Choice, Option

# of a dose to be written into the formula: as many as it has, so that review finds what was
# promised
DIGITS = 9
# below this chance of passing a fit is called close; judgement of this program
CLOSE = 0.9
# what systems are told of that fit, in this order
HEADS = (
    "system",
    "dose",
    "works from to",
    "pH",
    "goes in",
    "weakest microbe",
    "chance",
    "findings",
    "change",
)
NOTHING = (
    "Nothing fits as it stands. The lines above say what stands in the way; change the pH, the "
    "surfactant or the "
    "market's demands, and try again."
)
HEADINGS = {
    "fits": "FITS",
    "fits-after-change": "FITS AFTER A CHANGE",
    "does-not-fit": "DOES NOT FIT",
}


def render_json(choice: Choice) -> str:
    """All systems with their figures, best first."""
    return json.dumps(choice.to_json(), ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def render_text(choice: Choice, *, width: int = 80) -> str:
    """The ranking for a terminal.

    Parameters
    ----------
    choice
        The ranking.
    width
        Longest line. [characters]
    """
    lines = [*textwrap.wrap(title(choice), width), *textwrap.wrap(f"Order: {choice.order}", width)]
    for remark in choice.remarks:
        lines += ["", *textwrap.wrap(remark, width)]
    rank = 0
    for outcome, heading in HEADINGS.items():
        options = [s for s in choice.systems if s.outcome == outcome]
        if not options:
            continue
        lines += ["", f"{heading}  ({len(options)})"]
        for option in options:
            rank += 1
            lines += _entry(choice, option, rank, width)
    if not any(s.outcome != "does-not-fit" for s in choice.systems):
        lines += ["", *textwrap.wrap(NOTHING, width)]
    lines += ["", *textwrap.wrap(_closing(choice), width), *textwrap.wrap(o.SCREEN, width)]
    lines += textwrap.wrap(footer(choice, 12), width)
    return "\n".join(lines) + "\n"


def _entry(choice: Choice, option: Option, rank: int, width: int) -> Iterator[str]:
    mark = " (your own row)" if option.own else ""
    yield from textwrap.wrap(
        f"{rank:3}. {option.id}{mark}", width, subsequent_indent="     ", break_on_hyphens=False
    )
    for text in texts(choice, option):
        yield from textwrap.wrap(
            text, width, initial_indent="     ", subsequent_indent="     ", break_on_hyphens=False
        )


def texts(choice: Choice, option: Option) -> list[str]:
    """What is said of one system: why it does not fit, or dose, place, pH, margin, changes and
    verdicts.

    Parameters
    ----------
    choice
        The ranking.
    option
        One of its systems.
    """
    if option.outcome == "does-not-fit":
        return [option.why]
    return [
        f"{_dose(option, choice.ph)} {_place(option)}",
        f"{_ph(option)} {_margin(option)}",
        *(["Change: " + "; ".join(option.changes) + "."] if option.changes else []),
        _counts(option),
    ]


def cells(option: Option) -> list[str]:
    """Figures of a system that fits, in the order of ``HEADS``."""
    return [
        option.id + (" (your own row)" if option.own else ""),
        _grams(option),
        _reach(option),
        _span(option.ph_low, option.ph_high),
        f"below {celsius(_num(option.add_below_c))}, phase {option.phase}",
        f"{option.weakest.microbe} {_times(option)}",
        o.chance_text(option.chance),
        o.counted(option.counts),
        "; ".join(option.changes),
    ]


def render_markdown(choice: Choice) -> str:
    """The ranking as Markdown."""
    lines = [
        "# Which preservative?",
        "",
        escaped(title(choice)),
        "",
        f"Order: {escaped(choice.order)}",
    ]
    for remark in choice.remarks:
        lines += ["", escaped(remark)]
    for outcome, heading in HEADINGS.items():
        options = [s for s in choice.systems if s.outcome == outcome]
        if not options:
            continue
        lines += ["", f"## {heading.capitalize()}", ""]
        if outcome == "does-not-fit":
            lines += table(["system", "why"], [[s.id, s.why] for s in options])
            continue
        lines += table(HEADS, [cells(s) for s in options])
    lines += ["", escaped(_closing(choice)), "", escaped(o.SCREEN), "", escaped(footer(choice, 64))]
    return "\n".join(lines) + "\n"


def title(choice: Choice) -> str:
    """What was ranked, for what and under which wishes."""
    ph = f"pH {number(choice.ph)}" if choice.ph is not None else "pH not measured"
    narrowed = f"; {'; '.join(choice.narrowed)}" if choice.narrowed else ""
    return (
        f"Preservatives for {choice.name}: {len(choice.systems)} systems, {ph}, "
        f"{', '.join(choice.markets)}{narrowed}."
    )


def _dose(option: Option, measured_ph: float | None) -> str:
    low, high = option.percent_low, option.percent_high
    error = (
        f" (the scale may be off by {number(option.scale_error_percent, 2)} %)"
        if option.scale_error_percent
        else ""
    )
    if low is None:
        reach = "no dose is known at which every microbe is stopped"
    elif high is not None and low > high:
        reach = f"alone it would take {number(low)} %, and at most {number(high)} % is allowed"
    else:
        reach = f"{_span(low, high, ' %')} would do"
    if measured_ph is not None and option.ph != measured_ph:
        reach = (
            f"at pH {number(_num(option.ph))}; as measured, at pH {number(measured_ph)}, {reach}"
        )
    return f"{_grams(option)}{error}; {reach}."


def _grams(option: Option) -> str:
    percent = "unknown" if option.percent is None else f"{number(option.percent, DIGITS)} %"
    return percent + (f" = {number(option.grams, 4)} g" if option.grams is not None else "")


def _place(option: Option) -> str:
    return f"Goes in below {celsius(_num(option.add_below_c))}, phase {option.phase}."


def _ph(option: Option) -> str:
    if option.ph_low is None:
        return "No pH is known at which it works here alone."
    return f"Works from pH {_span(option.ph_low, option.ph_high)}."


def _margin(option: Option) -> str:
    chance = (
        f", chance of passing {o.chance_text(option.chance)}" if option.chance is not None else ""
    )
    if option.chance is not None and option.chance < CLOSE:
        chance += ": too close to count on"
    return f"Weakest against {option.weakest.microbe}: {_times(option)}{chance}."


def _times(option: Option) -> str:
    total = option.weakest.sum_of_ratios
    return "unknown" if total is None else f"{number(total, 2)} times what stops it"


def _counts(option: Option) -> str:
    return f"All checks: {o.counted(option.counts)}."


def _reach(option: Option) -> str:
    """The doses at which it works, or what it would take where that is more than is allowed."""
    low, high = option.percent_low, option.percent_high
    if low is None or (high is not None and low > high):
        needs = "no dose is known" if low is None else f"{number(low)} % alone"
        return f"{needs}; at most {number(high)} %" if high is not None else needs
    return _span(low, high, " %")


def _span(low: float | None, high: float | None, unit: str = "") -> str:
    ends = [number(e) if e is not None else "?" for e in (low, high)]
    return f"{ends[0]} to {ends[1]}{unit}"


def _num(value: float | None) -> float:
    return float("nan") if value is None else value


def _closing(choice: Choice) -> str:
    best = next((s for s in choice.systems if s.outcome != "does-not-fit"), None)
    if best is None:
        return "Read 'preservecheck explain choose' for how systems are judged."
    lines = [
        (best.percent, best.id),
        *([(best.partner_percent, best.partner)] if best.partner else []),
    ]
    both = join_and([f"{number(percent or 0, DIGITS)} % {system}" for percent, system in lines])
    return (
        f"To go on with the first: write {both} into the formula and run 'preservecheck review'. "
        "'preservecheck explain choose' tells how systems are judged."
    )


def footer(choice: Choice, digits: int) -> str:
    """Program, date and digests, with so many digits of each."""
    return (
        f"{choice.program}, {choice.date}; tables {choice.tables_sha256[:digits]}, formula "
        f"{choice.formula_sha256[:digits]}."
    )
