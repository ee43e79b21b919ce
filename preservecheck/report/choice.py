"""What ``choose`` found as a document: the systems best first, each with what it would take."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from preservecheck.errors import Hint
from preservecheck.report import words
from preservecheck.report.document import Block, Document, Paragraph, Section, Table
from preservecheck.text import celsius, join_and, number, sentence

if TYPE_CHECKING:
    from preservecheck.ranking.result import Choice, Option, Weakest

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
    "possible-with-warnings": "Possible, with warnings",
    "fits-after-change": "Fits after a change",
    "does-not-fit": "Does not fit",
}
PAIR_HEADS = ("pair", "doses", "outcome", "weakest microbe", "why")
# pairs that are shown to people
MOST_PAIRS = 3


def document(choice: Choice) -> Document:
    """The ranking; where no preservative is needed, that and nothing else."""
    if choice.needs_none is not None:
        none = f"Needs none. {choice.needs_none}"
        paragraphs = [Paragraph(title(choice)), Paragraph(none, "strong")]
        return Document("Which preservative?", paragraphs, [], [*words.footer(choice)])
    best = next((s for s in choice.systems if s.outcome != "does-not-fit"), None)
    sections = []
    # a run of the same outcome is one table, so that the order stays that of the ranks
    ranked = [(choice.rank_of(s), s) for s in choice.systems]
    losers = [(rank, s) for rank, s in ranked if s.outcome == "does-not-fit"]
    good = [(rank, s) for rank, s in ranked if s.outcome != "does-not-fit"]
    if good:
        sections.append(Section(f"In order ({len(good)})", [_table(choice, good)]))
    if choice.pairs:
        sections.append(Section("Best pairs", [_pairs(choice)]))
    if losers:
        heading = f"{HEADINGS['does-not-fit']} ({len(losers)})"
        sections.append(Section(heading, [_losers(losers)]))
    end: list[Block] = [Paragraph(_next_step(best))] if best else [Paragraph(NOTHING)]
    head = [title(choice), *choice.mended_words, *choice.remarks, *_now(choice)]
    return Document(
        "Which preservative?",
        [Paragraph(t) for t in (*head, f"Order: {choice.order}")],
        [*sections, Section("How to go on", end)],
        [words.SCREEN, *words.footer(choice)],
        hints=(Hint.REVIEW, Hint.EXPLAIN_RANKING) if best else (Hint.EXPLAIN_RANKING,),
    )


def title(choice: Choice) -> str:
    """What was ranked, for what and under which wishes."""
    ph = f"pH {number(choice.ph)}" if choice.ph is not None else "pH not measured"
    wishes = "".join(f"; {wish}" for wish in choice.narrowed)
    taken = f"{choice.kind}, " if choice.kind else ""
    return (
        f"Preservatives for {choice.name}: {len(choice.systems)} systems, {taken}{ph}, "
        f"{', '.join(choice.markets)}{wishes}."
    )


def _now(choice: Choice) -> list[str]:
    """Where the formula's own systems stand."""
    places = [f"{i} has rank {rank}" for i, rank in choice.now if rank is not None]
    return [sentence(f"in the formula now: {join_and(places)}")] if places else []


def _pairs(choice: Choice) -> Table:
    """The best pairs, those that work first."""
    good = [p for p in choice.pairs if p.outcome != "does-not-fit"] or list(choice.pairs[:1])
    rows = [
        [
            f"{pair.first.id} + {pair.second.id}",
            f"{number(pair.first.percent)} % + {number(pair.second.percent)} %",
            HEADINGS[pair.outcome].casefold(),
            f"{pair.weakest.microbe} {_held(pair.weakest)}",
            pair.why,
        ]
        for pair in good[:MOST_PAIRS]
    ]
    return Table(PAIR_HEADS, rows)


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
        sentence(f"{HEADINGS[option.outcome]}: {option.why}"),
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
        f"{option.weakest.microbe} {_held(option.weakest)}",
        words.chance_text(option.chance),
        words.counted(option.counts),
        "; ".join(option.said),
    ]


# ---- pieces of sentences -------------------------------------------------------------------------


def _name(option: Option) -> str:
    marks = [*(["your own row"] if option.own else []), *(["in it now"] if option.now else [])]
    return option.id + (f" ({join_and(marks)})" if marks else "")


def _grams(option: Option) -> str:
    percent = "unknown" if option.percent is None else f"{number(option.percent, DIGITS)} %"
    return percent + (f" = {number(option.grams, 4)} g" if option.grams is not None else "")


def _doses(option: Option, measured_ph: float | None) -> str:
    """The doses that would do, at the pH of the recommendation."""
    low, high = option.percent_low, option.percent_high
    if low is None or high is None:
        doses = "at no dose that is allowed is every microbe held by it alone"
    else:
        doses = f"effective from {_span(low, high, ' %')}"
    if option.ph is not None and option.ph != measured_ph:
        doses = f"at pH {number(option.ph)} {doses}"
    if option.scale_error_percent:
        return f"the scale may be off by {number(option.scale_error_percent, 2)} %; {doses}"
    return doses


def _reach(option: Option) -> str:
    """The doses at which it works."""
    low, high = option.percent_low, option.percent_high
    return "not by itself" if low is None or high is None else _span(low, high, " %")


def _is_close(option: Option) -> bool:
    return option.chance is not None and option.chance < CLOSE


def _held(weakest: Weakest) -> str:
    return words.chance_text(weakest.challenge_chance) or "unknown"


def _span(low: float | None, high: float | None, unit: str = "") -> str:
    ends = [number(e) if e is not None else "?" for e in (low, high)]
    return f"{ends[0]} to {ends[1]}{unit}"


def _num(value: float | None) -> float:
    return float("nan") if value is None else value


def _next_step(best: Option) -> str:
    lines = [(best.percent, best.id)]
    if best.partner:
        lines.append((best.partner.percent, best.partner.id))
    both = join_and([f"{number(percent or 0, DIGITS)} % {system}" for percent, system in lines])
    return f"To go on with the first: write {both} into the formula and have it reviewed."
