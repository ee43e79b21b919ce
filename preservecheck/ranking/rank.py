"""Which preservative? Every system against one formula, by the same checks as ``review``.

How a system gets its place:

1. The formula's own preservatives are taken out; what raw materials carry in, and a preservative on
   a line of an ingredient, stays. What is wrong with the formula itself is mended first, once:
   materials that do not go together, a place of addition that is too hot, a pH that was not
   measured.
2. Each system goes in where they went in, or, where none was, last, into a batch of 38 °C. The dose
   lies at six tenths of the usage range, higher in a jar, with food for microbes, oil or much
   surfactant, lower where acid or little water helps; at 92 % of what law or solubility allow where
   that is less than the range, and 10 % above what the microbes ask for.
3. That formula is judged by all checks. ``does-not-fit``: a serious finding that no change mends.
   The smallest changes that answer what is wrong are tried - cooler addition, another pH, a
   nonionic gum for an anionic one, a finer scale, a partner - and kept where they mend something.
   What is left is ``fits``, ``possible-with-warnings`` or ``fits-after-change``.
4. Doses from ... to ... are those at which the system works and at which use level, law and
   solubility find no fault, at the pH that it is tried at.
5. Partners come from all other systems, pairs of the table first. A partner is for a system with a
   gap; the best pairs of all stand in a list of their own.

Findings that every system has here are the formula's own and count for none. The order:

    what works as it stands or after one change; what needs more; what does not work;
    in each: what the law may bar last, what the maker prefers first; how usual in this kind of
    product, strong sensitisers and what leaves two or more points open lower; what formulators
    start with; warnings and unknowns of its own; changes; the chance of the weakest microbe in a
    challenge test; the chance of passing; what is in the formula already.
"""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np

from preservecheck.errors import Fault, PreservecheckError
from preservecheck.formula.load import load_formula
from preservecheck.formula.model import Formula
from preservecheck.provenance import provenance_of
from preservecheck.ranking import words
from preservecheck.ranking.base import BaseFormula, remarks_on
from preservecheck.ranking.candidate import Candidate, Shared
from preservecheck.ranking.changes import with_changes, with_dose_for_ph
from preservecheck.ranking.mending import PLAIN_PH
from preservecheck.ranking.pairs import Pairs, needs_partner
from preservecheck.ranking.result import (
    Choice,
    Ends,
    Option,
    PairOption,
    no_room,
    option_of,
    pair_of,
    rank,
)
from preservecheck.ranking.window import Window, told_ends
from preservecheck.ranking.wishes import Wishes, wishes
from preservecheck.reference.load import Tables, load_tables
from preservecheck.reference.rows import System
from preservecheck.verdict import Floats


def choose(
    formula: Formula | str | os.PathLike[str],
    tables: Tables | None = None,
    *,
    today: dt.date | None = None,
    markets: Sequence[str] = (),
    natural: bool = False,
    without: Sequence[str] = (),
    prefer: Sequence[str] = (),
    only: Sequence[str] = (),
    limit: int | None = None,
) -> Choice:
    """Rank every preservative system for a formula.

    Parameters
    ----------
    formula
        A formula, or the path of its file, with or without a preservative in it.
    tables
        The tables; default the shipped ones with the user's own rows.
    today
        Date of the report, and of the law where the formula names no day.
    markets
        Markets to satisfy instead of the formula's own.
    natural
        Only systems that a natural cosmetics standard accepts.
    without
        Substances, by any known name, systems and classes that are left out; see ``wishes``.
    prefer
        What comes first among what works alike: ``natural-standard``, ``without-releasers`` and
        the like.
    only
        Ids of systems to look at alone; each with the partners that its row names. All where empty.
    limit
        How many systems to report, best first; all where ``None``.

    Raises
    ------
    FormulaError
        The file cannot be used.
    """
    tables = tables or load_tables()
    today = today or dt.date.today()
    if not isinstance(formula, Formula):
        formula = load_formula(formula, tables, today=today)
    said = []
    known = [market.id for market in tables.markets]
    if strange := [m for m in markets if m not in known]:
        raise PreservecheckError(
            Fault(
                f"{', '.join(strange)} is not known",
                f"the markets are {', '.join(known)}",
                path=("markets",),
                place="markets",
            )
        )
    if markets:
        formula = formula.model_copy(
            update={"product": formula.product.model_copy(update={"markets": tuple(markets)})}
        )
        said.append(f"markets {', '.join(markets)}")
    wanted = wishes(tables, natural=natural, without=without, prefer=prefer)
    said += wanted.said
    base = BaseFormula(formula, tables, today)
    needs_none = base.needs_none
    own = (*base.own_systems, *base.kept)
    every, pairs = ([], []) if needs_none else ranked(base, tables.systems, wanted)
    every = [option for option in every if option.id in wanted.left or option.id in own]
    ranks = {option.id: n for n, option in enumerate(every, 1)}
    options = [s for s in every if not only or s.id in only]
    if limit is not None and limit < len(options):
        said.append(f"the best {limit} of {len(options)}")
        options = [s for n, s in enumerate(options) if n < limit or s.id in own]
    return Choice(
        **vars(provenance_of(tables, formula, today)),
        ph=formula.measured.ph,
        markets=formula.product.markets,
        kind=base.kind.id if base.kind else None,
        order=words.ORDER,
        narrowed=tuple(said),
        mended_first=() if needs_none else base.mends,
        mended_words=() if needs_none else tuple(words.mended(base)),
        remarks=() if needs_none else remarks_on(base),
        needs_none=needs_none,
        now=tuple((i, ranks.get(i)) for i in own),
        systems=tuple(options),
        pairs=tuple(pairs),
        ranks=tuple(ranks.items()),
    )


def ranked(
    base: BaseFormula, systems: Sequence[System], wanted: Wishes
) -> tuple[list[Option], list[PairOption]]:
    """Options for all systems, best first, and the pairs that do best; what there is no room for
    comes last.

    Parameters
    ----------
    base
        The formula.
    systems
        All systems, so that what they have in common does not depend on the wishes.
    wanted
        What is left out, and what comes first.
    """
    fitting = [s for s in systems if s.usage_min_percent <= base.room or s.id in base.kept]
    options, pairs = _options(base, fitting, wanted.left) if fitting else ([], [])
    options += [no_room(base, s) for s in systems if s not in fitting]
    if wanted.preferred is not None:
        options = [replace(s, preferred=s.id in wanted.preferred) for s in options]
    options = [s if s.id in wanted.left else replace(s, unwanted=True) for s in options]
    return sorted(options, key=rank), pairs


def _options(
    base: BaseFormula, systems: list[System], wanted: Collection[str]
) -> tuple[list[Option], list[PairOption]]:
    """Systems that there is room for, in the order of the table, and the best pairs of them."""
    window = Window(base, systems)
    near = base.ph if base.ph is not None else PLAIN_PH
    low, high, percent = window.doses_of(near, systems)
    ph_low, ph_high = _ph_ends(window, percent, near)
    first = base.judged([_plain(base, s, float(p)) for s, p in zip(systems, percent, strict=True)])
    shared = Shared.of(base.own_faults, _comparable(base, first))
    # where it works at no pH by itself, a partner may help it inside its own range
    reach_low = np.where(np.isnan(ph_low), [s.ph_min for s in systems], ph_low)
    reach_high = np.where(np.isnan(ph_high), [s.ph_max for s in systems], ph_high)
    changed = [
        with_changes(base, window, c, reach_low[n], reach_high[n]) if any(shared.cost(c)[:2]) else c
        for n, c in enumerate(first)
    ]
    changed = with_dose_for_ph(base, window, changed, (ph_low, ph_high))
    best = _better(base, shared, first, {n: [c] for n, c in enumerate(changed) if not c.codes})
    search = Pairs(base, best, shared, frozenset(wanted))
    partners = {n: search.partners_of(n) for n, c in enumerate(best) if needs_partner(c, shared)}
    best = _better(base, shared, best, partners)
    fitting = [n for n, c in enumerate(best) if _sound(c, shared)]
    chances = dict(zip(fitting, base.chances([best[n] for n in fitting]), strict=True))
    doses = _dose_ends(base, window, best, (low, high))
    options = [
        option_of(
            base,
            c,
            first[n],
            shared,
            Ends(doses[n], (low[n], high[n]), (ph_low[n], ph_high[n])),
            chances.get(n),
        )
        for n, c in enumerate(best)
    ]
    return options, [
        pair_of(base, c, shared, search.standing_of(c)) for c in base.judged(search.best())
    ]


def _plain(base: BaseFormula, system: System, percent: float) -> Candidate:
    """A system as it is tried first; what stands on a line of an ingredient stays what it is."""
    if (kept := base.kept.get(system.id)) is not None:
        return Candidate(system, kept, present=True)
    return Candidate(system, percent, displaces=base.displaces_water(system))


def _sound(candidate: Candidate, shared: Shared) -> bool:
    return candidate.serious_beyond(shared.serious) == 0


def _comparable(base: BaseFormula, tried: list[Candidate]) -> list[Candidate]:
    """Candidates from which is read what all systems have in common: those that are used in this
    kind of product, all where none is."""
    used = ("usual", "possible")
    some = [c for c in tried if base.places[c.system.id].standing in used and not c.displaces]
    return some or tried


def _better(
    base: BaseFormula, shared: Shared, before: list[Candidate], tries: dict[int, list[Candidate]]
) -> list[Candidate]:
    """Candidates, and in the place of each the best of its tries where that costs less."""
    flat = [(n, c) for n, some in tries.items() for c in some]
    out = list(before)
    for (n, _), c in zip(flat, base.judged([c for _, c in flat]), strict=True):
        if shared.cost(c) < shared.cost(out[n]):
            out[n] = c
    return out


def _ph_ends(window: Window, percent: Floats, near: float) -> tuple[Floats, Floats]:
    """Lowest and highest pH at which each system works: at its dose; where that leaves no pH to go
    to, at a plain dose, and at the most of it."""
    systems = window.systems
    low, high = window.ph_interval(percent, near, systems)
    for dose in (window.plain_doses(systems), np.array([s.usage_max_percent for s in systems])):
        again = np.array(
            [
                n
                for n, s in enumerate(systems)
                if window.target_ph(low[n], high[n], s) is None or np.isnan(low[n])
            ],
            dtype=int,
        )
        if again.size:
            some = [systems[int(n)] for n in again]
            left, right = window.ph_interval(dose[again], near, some)
            better = ~np.isnan(left)
            low[again[better]], high[again[better]] = left[better], right[better]
    return low, high


def _dose_ends(
    base: BaseFormula, window: Window, candidates: list[Candidate], first: tuple[Floats, Floats]
) -> list[tuple[float | None, float | None]]:
    """Lowest and highest dose of each candidate; those of its first trial where neither pH nor
    partner has changed."""
    reach = [c.reach or (float(a), float(b)) for c, a, b in zip(candidates, *first, strict=True)]
    out = [
        (None, None) if c.present else told_ends(c.system, *ends)
        for c, ends in zip(candidates, reach, strict=True)
    ]
    again = [n for n, c in enumerate(candidates) if c.partner is not None]
    if not again:
        return out
    some = [candidates[n] for n in again]
    ph = np.array([c.ph if c.ph is not None else base.ph for c in some], dtype=float)
    partners = [None if c.partner is None else (c.partner, c.partner_percent) for c in some]
    ends = window.ends_of(ph, [c.system for c in some], partners)
    for n, both in zip(again, ends, strict=True):
        out[n] = both
    return out
