"""What ``choose`` found as a document: the systems best first, each with what it would take."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from preservecheck.errors import Hint
from preservecheck.report import words
from preservecheck.report.document import Block, Document, Paragraph, Section, Table
from preservecheck.text import celsius, join_and, number, sentence

if TYPE_CHECKING:
    from preservecheck.ranking.result import Choice, Option

# of a dose to be written into the formula: all it has, so that a review finds what was promised
DIGITS = 9
# below this chance of passing a fit is called close; judgement of this program
CLOSE = 0.9
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
# columns that stand beside each other on paper; the others are told in sentences below
SIDE_BY_SIDE = (0, 1, 3, 5, 6)
NOTHING = (
    "Nothing fits as it stands. The line of each system says what is in the way; change the pH, "
    "the surfactant or the market's demands, and try again."
)
HEADINGS = {
    "fits": "Fits",
    "fits-after-change": "Fits after a change",
    "does-not-fit": "Does not fit",
}


def document(choice: Choice) -> Document:
    """The ranking."""
    best = next((s for s in choice.systems if s.outcome != "does-not-fit"), None)
    ranked = list(enumerate(choice.systems, 1))
    sections = []
    for outcome, heading in HEADINGS.items():
        options = [(rank, s) for rank, s in ranked if s.outcome == outcome]
        table = _losers(options) if outcome == "does-not-fit" else _table(choice, options)
        sections.append(Section(f"{heading} ({len(options)})", [table]))
    end: list[Block] = [Paragraph(_next_step(best))] if best else [Paragraph(NOTHING)]
    return Document(
        "Which preservative?",
        [Paragraph(t) for t in (title(choice), f"Order: {choice.order}", *choice.remarks)],
        [*sections, Section("How to go on", end)],
        [words.SCREEN, *words.footer(choice)],
        hints=(Hint.REVIEW, Hint.EXPLAIN_RANKING) if best else (Hint.EXPLAIN_RANKING,),
    )


def title(choice: Choice) -> str:
    """What was ranked, for what and under which wishes."""
    ph = f"pH {number(choice.ph)}" if choice.ph is not None else "pH not measured"
    wishes = "".join(f"; {wish}" for wish in choice.narrowed)
    return (
        f"Preservatives for {choice.name}: {len(choice.systems)} systems, {ph}, "
        f"{', '.join(choice.markets)}{wishes}."
    )


def _table(choice: Choice, options: Sequence[tuple[int, Option]]) -> Table:
    rows = [[str(rank), *(cells(s)[i] for i in SIDE_BY_SIDE)] for rank, s in options]
    return Table(
        ["rank", *(HEADS[i] for i in SIDE_BY_SIDE)],
        rows,
        numbers=(0,),
        key=(3,),
        below=[notes(choice, s) for _, s in options],
    )


def _losers(options: Sequence[tuple[int, Option]]) -> Table:
    rows = [[str(rank), _name(s), s.why] for rank, s in options]
    return Table(["rank", "system", "why"], rows, numbers=(0,))


def notes(choice: Choice, option: Option) -> list[str]:
    """What is said of a system beside its figures: the doses that would do, where it goes in, what
    has to change, and what all checks say."""
    if option.outcome == "does-not-fit":
        return [option.why]
    return [
        f"{sentence(_doses(option, choice.ph))} Goes in below "
        f"{celsius(_num(option.add_below_c))}, phase {option.phase}.",
        *(["No pH is known at which it works here alone."] if option.ph_low is None else []),
        *([f"Change: {'; '.join(option.changes)}."] if option.changes else []),
        *(["Its chance of passing is too close to count on."] if _is_close(option) else []),
        f"All checks: {words.counted(option.counts)}.",
    ]


def cells(option: Option) -> list[str]:
    """Figures of a system that fits, in the order of ``HEADS``."""
    return [
        _name(option),
        _grams(option),
        _reach(option),
        _span(option.ph_low, option.ph_high),
        f"below {celsius(_num(option.add_below_c))}, phase {option.phase}",
        f"{option.weakest.microbe} {_held(option)}",
        words.chance_text(option.chance),
        words.counted(option.counts),
        "; ".join(option.changes),
    ]


# ---- pieces of sentences -------------------------------------------------------------------------


def _name(option: Option) -> str:
    return option.id + (" (your own row)" if option.own else "")


def _grams(option: Option) -> str:
    percent = "unknown" if option.percent is None else f"{number(option.percent, DIGITS)} %"
    return percent + (f" = {number(option.grams, 4)} g" if option.grams is not None else "")


def _doses(option: Option, measured_ph: float | None) -> str:
    """The doses that would do, at the pH of the recommendation and as measured."""
    low, high = option.percent_low, option.percent_high
    if low is None:
        doses = "no dose is known at which every microbe is stopped"
    elif high is not None and low > high:
        doses = f"alone it would take {number(low)} %, and at most {number(high)} % is allowed"
    else:
        doses = f"{_span(low, high, ' %')} would do"
    if measured_ph is not None and option.ph != measured_ph:
        ph = number(_num(option.ph))
        doses = f"at pH {ph}; as measured, at pH {number(measured_ph)}, {doses}"
    if option.scale_error_percent:
        return f"the scale may be off by {number(option.scale_error_percent, 2)} %; {doses}"
    return doses


def _reach(option: Option) -> str:
    """The doses at which it works, or what it would take where that is more than is allowed."""
    low, high = option.percent_low, option.percent_high
    if low is None or (high is not None and low > high):
        needs = "no dose is known" if low is None else f"{number(low)} % alone"
        return f"{needs}; at most {number(high)} %" if high is not None else needs
    return _span(low, high, " %")


def _is_close(option: Option) -> bool:
    return option.chance is not None and option.chance < CLOSE


def _held(option: Option) -> str:
    return words.chance_text(option.weakest.challenge_chance) or "unknown"


def _span(low: float | None, high: float | None, unit: str = "") -> str:
    ends = [number(e) if e is not None else "?" for e in (low, high)]
    return f"{ends[0]} to {ends[1]}{unit}"


def _num(value: float | None) -> float:
    return float("nan") if value is None else value


def _next_step(best: Option) -> str:
    lines = [(best.percent, best.id)]
    if best.partner:
        lines.append((best.partner_percent, best.partner))
    both = join_and([f"{number(percent or 0, DIGITS)} % {system}" for percent, system in lines])
    return f"To go on with the first: write {both} into the formula and have it reviewed."
