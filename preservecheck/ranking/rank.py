"""Which preservative? Every system against one formula, by the same checks as ``review``.

How a system gets its place:

1. The formula's own preservatives are taken out (what raw materials carry in stays); each system
   goes in where they
   went in, or, where none was, last into the cooled batch.
2. Over a grid of doses and pH values, all systems in one array, the checks on pH range, free active
   and solubility show
   where it works; the ends of the intervals are then found as roots.
3. The dose is the middle of the usage range (of a solvent, such as alcohol, the least it takes),
   but 10 % below the
   highest that usage range, law and solubility allow where that is lower, and 10 % more than the
   microbes ask for where that is higher; never above the highest, on the scale's steps.
4. That very formula is judged by all checks. ``fits``: no serious warning, and none at all on pH
   range, free active,
   solubility, dose, law, heat and coverage. Otherwise the smallest changes that answer what is
   wrong are made - cooler addition, another pH with the dose for it, a nonionic gum for an anionic
   one, a finer scale, a partner that its row names - and the changed formula is judged again:
   ``fits-after-change``. A solvent that is not in the formula yet takes the place of water, and
   that always is a change. What still does not pass ``does-not-fit``.

Order: fits, then fits after a change, then the rest; no serious warning before some, then fewest
warnings, then the margin of the weakest microbe, then the chance of passing. A margin above 3
counts as 3: MIC values differ by that much between laboratories, so more of it says nothing.
"""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from preservecheck.arrays.formulas import customary_ph
from preservecheck.errors import Fault, PreservecheckError
from preservecheck.formula.load import load_formula
from preservecheck.formula.model import Formula
from preservecheck.formula.names import names_of
from preservecheck.provenance import provenance_of
from preservecheck.ranking.base import BaseFormula
from preservecheck.ranking.candidate import Candidate
from preservecheck.ranking.changes import with_changes, with_dose_for_ph, with_partners
from preservecheck.ranking.result import ORDER, Choice, Option, no_room, option_of, rank, remarks_on
from preservecheck.ranking.window import Window
from preservecheck.reference.load import Tables, load_tables
from preservecheck.reference.rows import System
from preservecheck.text import join_and, join_or


def choose(
    formula: Formula | str | os.PathLike[str],
    tables: Tables | None = None,
    *,
    today: dt.date | None = None,
    markets: Sequence[str] = (),
    natural: bool = False,
    without: Sequence[str] = (),
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
        Substances, by any known name, that no system may hold.
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
    wishes = []
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
        wishes.append(f"markets {', '.join(markets)}")
    systems, more = _allowed(tables, natural=natural, without=without)
    wishes += more
    base = BaseFormula(formula, tables, today)
    wanted = [s for s in systems if not only or s.id in only]
    options = _wanted(base, wanted, systems)[:limit] if wanted else []
    if len(options) < len(wanted):
        wishes.append(f"the best {len(options)} of {len(wanted)}")
    return Choice(
        **vars(provenance_of(tables, formula, today)),
        ph=formula.measured.ph,
        markets=formula.product.markets,
        order=ORDER,
        narrowed=tuple(wishes),
        remarks=remarks_on(base),
        systems=tuple(options),
    )


def _wanted(base: BaseFormula, wanted: list[System], allowed: list[System]) -> list[Option]:
    """Options for some systems; those that may be their partners are looked at beside them."""
    ids = {s.id for s in wanted}
    near = ids.union(*(s.partners for s in wanted))
    options = ranked(base, [s for s in allowed if s.id in near])
    return [option for option in options if option.id in ids]


def ranked(base: BaseFormula, systems: list[System]) -> list[Option]:
    """Options for all systems, best first; those that there is no room for last."""
    fitting = [s for s in systems if s.usage_min_percent <= base.room]
    options = _options(base, fitting) if fitting else []
    options += [no_room(base, s) for s in systems if s.usage_min_percent > base.room]
    return sorted(options, key=rank)


def _options(base: BaseFormula, systems: list[System]) -> list[Option]:
    """Systems that there is room for, in the order of the table."""
    window = Window(base, systems)
    near = _usual_ph(base, window)
    can = window.grid(systems).any(axis=1)  # (S, pH)
    low, high, percent = window.doses_of(near, systems)
    ph_low, ph_high = window.ph_interval(percent, near, systems)
    # a system that works nowhere at this dose may work at its highest one
    again = np.flatnonzero(np.isnan(ph_low) & can.any(axis=-1))
    if again.size:
        some = [systems[n] for n in again]
        most = np.array([s.usage_max_percent for s in some])
        ph_low[again], ph_high[again] = window.ph_interval(most, near, some)
    plain = [Candidate(s, float(p)) for s, p in zip(systems, percent, strict=True)]
    first = base.judged(plain)
    second = list(first)
    # at the dose for the measured pH there may be no pH left to go to where the middle of the range
    # leaves one
    without_aim = [
        n
        for n, c in enumerate(first)
        if not c.fits and base.ph is not None and window.target_ph(ph_low[n], ph_high[n]) is None
    ]
    if without_aim:
        some = [systems[n] for n in without_aim]
        middle = np.array([(s.usage_min_percent + s.usage_max_percent) / 2 for s in some])
        ends = window.ph_interval(middle, near, some)
        for n, dose, left, right in zip(without_aim, middle, *ends, strict=True):
            if window.target_ph(left, right) is not None:
                ph_low[n], ph_high[n] = left, right
                second[n] = replace(second[n], percent=float(dose))
    second = [
        c if c.fits else with_changes(base, window, c, ph_low[n], ph_high[n])
        for n, c in enumerate(second)
    ]
    changed = [n for n, c in enumerate(second) if not c.codes]
    for n, c in zip(changed, base.judged([second[n] for n in changed]), strict=True):
        second[n] = c
    second = with_dose_for_ph(base, window, second, (ph_low, ph_high))
    second = with_partners(base, window, second)
    best = [b if b.fits and not a.fits else a for a, b in zip(first, second, strict=True)]
    chances = iter(base.chances([c for c in best if c.fits]))
    return [
        option_of(
            base,
            c,
            first[n],
            (low[n], high[n], ph_low[n], ph_high[n]),
            next(chances) if c.fits else None,
        )
        for n, c in enumerate(best)
    ]


def _usual_ph(base: BaseFormula, window: Window) -> float:
    """The measured pH, else the middle of what is customary for the product."""
    if base.ph is not None:
        return base.ph
    product = base.formula.product
    customary = customary_ph(base.tables, product.type, product.use)
    return (customary.ph_min + customary.ph_max) / 2 if customary else 5.0


def _allowed(
    tables: Tables, *, natural: bool, without: Sequence[str]
) -> tuple[list[System], list[str]]:
    """The systems that are left by the wishes of the maker, and the wishes in words."""
    wishes = []
    systems = list(tables.systems)
    if natural:
        systems = [s for s in systems if s.natural_standard in ("yes", "conditional")]
        wishes.append("only what a natural cosmetics standard accepts")
    if without:
        names = names_of(tables)
        if unknown := [w for w in without if names.ingredient(w) is None]:
            near = names.nearest(unknown[0])
            raise PreservecheckError(
                Fault(
                    f"{', '.join(unknown)} is no name in the tables",
                    f"did you mean {join_or(near)}?" if near else "",
                    path=("without",),
                    place="without",
                )
            )
        banned = {named.inci for w in without if (named := names.ingredient(w)) is not None}
        systems = [s for s in systems if banned.isdisjoint(i for i, _ in s.composition)]
        wishes.append(f"without {join_and(sorted(banned))}")
    return systems, wishes
