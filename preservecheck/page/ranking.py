"""The ranking as the page shows it: what is asked for, and the rows in the order and the choice
that are asked for.

The fields of the view begin with ``which-``. What to leave out, the natural standard and the
markets change the ranking itself, since partners are sought among what is left; text, verdict,
charge and order only choose among its rows, so that a script can do the same to the rows that stand
there.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING

from preservecheck.formula.names import names_of
from preservecheck.page.context import Submission, system_name
from preservecheck.ranking.result import OUTCOMES
from preservecheck.ranking.wishes import is_natural
from preservecheck.report import choice as words

if TYPE_CHECKING:
    from preservecheck.ranking.result import Choice, Option
    from preservecheck.reference.load import Tables
    from preservecheck.reference.rows import System

PREFIX = "which-"
CHARGES = ("nonionic", "anionic", "cationic", "mixed")
# orders, and how they are called where they are chosen
ORDERS = {
    "rank": "best first",
    "name": "name, from A to Z",
    "dose": "smallest dose first",
    "margin": "best held first",
    "chance": "best chance first",
    "findings": "fewest warnings first",
    "check": "what stands in the way",
}
OUTCOME_WORDS = {outcome: words.HEADINGS[outcome].casefold() for outcome in OUTCOMES}
# signs of the reports' verdicts that stand before the words
OUTCOME_SIGNS = {
    "fits": "pass",
    "possible-with-warnings": "warn",
    "fits-after-change": "warn",
    "does-not-fit": "serious",
}
# as many names as anybody has reason to leave out
MOST_LEFT_OUT = 50


@dataclass(frozen=True)
class Wishes:
    """What the fields of the view ask for."""

    natural: bool = False
    without: tuple[str, ...] = ()  # INCI names
    markets: tuple[str, ...] = ()
    text: str = ""
    outcomes: tuple[str, ...] = ()
    charge: str = ""
    order: str = "rank"
    turned: bool = False
    unknown: str = ""  # a name that cannot be left out, since the tables do not know it
    near: tuple[str, ...] = ()  # what may have been meant


@dataclass(frozen=True)
class Row:
    """One system in the ranking."""

    rank: int
    id: str
    name: str
    sign: str
    word: str
    option: Option
    # dose, range, pH, goes in, weakest, chance, findings; empty where it does not fit
    cells: tuple[str, ...]
    texts: tuple[str, ...]
    charge: str
    natural: bool
    holds: tuple[str, ...]
    now: bool  # in the formula as it stands
    search: str
    keys: dict[str, float | str | None]
    shown: bool


def wishes_of(sent: Submission) -> Wishes:
    """What is asked for, after the button that was pressed."""
    verb, _, what = sent.value("do").partition(" ")
    names = names_of(sent.site.tables)

    def many(key: str) -> list[str]:
        return [v.strip() for k, v in sent.pairs if k == f"{PREFIX}{key}" and v.strip()]

    without: list[str] = []
    unknown = ""
    for written in [
        *many("without"),
        *many("leave-out"),
        *([what] if verb == "leave-out" and what else []),
    ]:
        named = names.ingredient(written)
        if named is None:
            unknown = written
        elif not (verb == "take-back" and named.inci == what):
            without.append(named.inci)
    order = sent.value(f"{PREFIX}order")
    turned = sent.value(f"{PREFIX}turned") == "yes"
    if verb == "order" and what in ORDERS:
        order, turned = what, what == (order or "rank") and not turned
    charge = sent.value(f"{PREFIX}charge")
    return Wishes(
        natural=sent.value(f"{PREFIX}natural") == "yes",
        without=tuple(dict.fromkeys(without))[:MOST_LEFT_OUT],
        markets=tuple(m for m in sent.site.markets if m in many("markets")),
        text=sent.value(f"{PREFIX}text").strip()[:100],
        outcomes=tuple(x for x in OUTCOMES if x in many("outcome")),
        charge=charge if charge in CHARGES else "",
        order=order if order in ORDERS else "rank",
        turned=turned,
        unknown=unknown,
        near=tuple(sent.site.nearest(unknown)) if unknown else (),
    )


def rows_of(choice: Choice, tables: Tables, wishes: Wishes, now: Collection[str]) -> list[Row]:
    """The rows of a ranking in the order that is asked for; those that are not asked for are not
    shown. ``now`` holds the ids of the systems in the formula as it is."""
    systems = {s.id: s for s in tables.systems}
    rows = [
        _row(
            choice, choice.rank_of(option) - 1, option, systems[option.id], option.id in now, wishes
        )
        for option in choice.systems
    ]
    known = [r for r in rows if r.keys[wishes.order] is not None]
    known.sort(key=lambda r: (r.keys[wishes.order], r.rank), reverse=wishes.turned)
    return known + [r for r in rows if r.keys[wishes.order] is None]


def _row(choice: Choice, at: int, option: Option, system: System, now: bool, wishes: Wishes) -> Row:
    fits = option.outcome != "does-not-fit"
    name, word = system_name(system), OUTCOME_WORDS[option.outcome]
    margin = option.weakest.challenge_chance
    texts = words.notes(choice, option)
    charge, partner = system.charge or "", option.partner.id if option.partner else ""
    about = [name, option.id, partner, word, option.why, *option.said, charge]
    search = " ".join(about).lower()
    return Row(
        rank=at + 1,
        id=option.id,
        name=name,
        sign=OUTCOME_SIGNS[option.outcome],
        word=word,
        option=option,
        cells=tuple(words.cells(option)[1:8]) if fits else (),
        texts=tuple(texts if fits else ()),
        charge=charge,
        natural=is_natural(system),
        holds=tuple(inci for inci, _ in system.composition),
        now=now,
        search=search,
        keys={
            "rank": at + 1,
            "name": name.casefold(),
            "dose": option.percent if fits else None,
            "margin": -margin if fits and margin is not None else None,
            "chance": -option.chance if fits and option.chance is not None else None,
            "findings": option.counts["warn"] + option.counts["unknown"] if fits else None,
            "check": option.check,
        },
        shown=all(part in search for part in wishes.text.lower().split())
        and (not wishes.outcomes or option.outcome in wishes.outcomes)
        and wishes.charge in ("", charge),
    )
