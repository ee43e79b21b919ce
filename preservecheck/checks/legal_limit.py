"""Is it allowed, in this amount, in this product, in each market named?

What is judged: for each rule of a market that fits the product and the day it is placed on the market, the total of the
substances the rule names, whatever brought them in, on the basis the rule prints (the acid, the base, silver,
formaldehyde, or as weighed), against the limit.

    fault      over the limit, banned, or not allowed for this use (serious)
    warning    over a panel's advice that is not law; a spray rule that a pump spray may or may not meet
    unknown    no confirmed figure, a substance whose conversion is not known, or a preservative for which the tables
               hold no rule of that market

Of several rules for the same substances the narrowest that fits counts: an age group before a named product type,
before hair, before rinse-off and leave-on, before all products. Rules about sprays are judged beside the others.
Annex III rules (other purposes than preserving) count only what does not preserve, preservative rules only what does.

This is a screen of a table with a date, no legal advice. The official journal decides, and a qualified safety assessor.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from preservecheck.case import Case, Profile
from preservecheck.checks.base import Figures, Key, Words, above, listed, number
from preservecheck.checks.legal_rules import (
    ADVICE,
    AS_WEIGHED,
    CLOSED,
    DOUBTFUL,
    LIMIT,
    NO_LIMIT,
    NO_RULE,
    UNCONFIRMED,
    Rule,
    applying,
    covered,
    elsewhere_ruled,
    factors,
    fitting,
    in_force,
    rules,
)
from preservecheck.chemistry.summation import weighed_sum
from preservecheck.context import Context
from preservecheck.reference.rows import LegalLimit
from preservecheck.verdict import (
    ABSENT,
    PASS,
    SERIOUS,
    UNKNOWN,
    WARN,
    Bools,
    Codes,
    Figure,
    Floats,
    code_where,
    figure,
)

__all__ = [
    "CLOSED",
    "DECIDES",
    "ID",
    "LIMIT",
    "TOLERANCES",
    "applying",
    "compute",
    "covered",
    "explain",
    "factors",
    "fitting",
    "in_force",
    "judge",
    "lawful_dose",
    "rules",
    "subject",
]

ID = "legal-limit"
TOLERANCES: tuple[str, ...] = ()
DECIDES: str | None = None
KEY = Key("percent_as_limited", "% of the product")
# limits are printed with few digits; conversion factors carry their own rounding
ROUNDING = 1e-5


def compute(case: Case) -> Figures:
    """Totals on each rule's basis and the limits. (..., R)"""
    c = case.context
    every, (factor, gap) = rules(c), factors(c)
    applies = _by_profile(case, [applying(c, p) for p in case.profiles]) & _gate(case)
    totals = _totals(case, factor)
    limit = np.array([r.max_percent for r in every])
    with np.errstate(divide="ignore", invalid="ignore"):
        pressure = np.nan_to_num(totals / limit, nan=0.0)  # of several limits met, the tightest is shown
    return {
        "percent_as_limited": totals,
        "pressure": pressure,
        "percent_max": np.broadcast_to(limit, totals.shape),
        "kind": np.broadcast_to(np.array([float(r.kind) for r in every]), totals.shape),
        "gap": weighed_sum(case.amount, gap) > 0,
        "applies": applies,
    }


def _totals(case: Case, factor: Floats) -> Floats:
    """What counts in each rule: for another purpose what does not preserve, for preserving what does. (..., R)

    Where a market has no rule for another use of a substance, its preservative rules count all of it.
    """
    every = rules(case.context)
    purpose = np.array([r.row.purpose if r.row else "no rule" for r in every])
    market = np.array([r.market for r in every])
    other = case.amount - case.preserving
    out = np.moveaxis(np.zeros((len(every), *case.amount.shape[:-1])), 0, -1)

    def put(which: Bools, amount: Floats) -> None:
        columns = np.flatnonzero(which)
        if columns.size:
            out[..., columns] = weighed_sum(amount, factor[:, columns])

    put(purpose == "any", case.amount)
    put(purpose == "other", other)
    for name in dict.fromkeys(market):
        if any(name in p.markets for p in case.profiles):
            ruled = _by_profile(case, [_ruled(case.context, p, name) for p in case.profiles])
            mine = market == name
            put((purpose == "preservative") & mine, case.preserving + np.where(ruled, 0.0, other))
            loose = np.where(_by_profile(case, [covered(case.context, p, name) for p in case.profiles]), 0.0, 1.0)
            for r in np.flatnonzero((purpose == "no rule") & mine):
                out[..., r] = (case.preserving * loose).max(axis=-1, initial=0.0)
    return out


def _gate(case: Case) -> Bools:
    """False where a rule counts only together with a substance that is not there. (..., R)"""
    c = case.context
    every = rules(c)
    gate = np.moveaxis(np.ones((len(every), *case.amount.shape[:-1]), dtype=bool), 0, -1)
    for r, rule in enumerate(every):
        if rule.row is not None and rule.row.only_with:
            keys = [c.index[s] for s in rule.row.only_with if s in c.index]
            gate[..., r] = (case.amount[..., keys] > 0).any(axis=-1)
    return gate


def _by_profile(case: Case, rows: list[Bools]) -> Bools:
    """The row of each case's product profile, column by column in memory. (..., n)"""
    return np.moveaxis(np.stack(rows, axis=-1)[..., case.profile], 0, -1)


def _ruled(context: Context, profile: Profile, market: str) -> Bools:
    if market not in profile.markets:
        return np.zeros(len(context.names), dtype=bool)
    return np.asarray(elsewhere_ruled(context, profile)[profile.markets.index(market)])


def judge(figures: Figures) -> Codes:
    """Codes per rule. (..., R)"""
    total, kind, limit = figures["percent_as_limited"], figures["kind"], figures["percent_max"]
    there = figures["applies"].astype(bool) & ((total > 0) | figures["gap"].astype(bool))
    over = above(total, limit * (1 + ROUNDING))
    return code_where(
        (~there, ABSENT),
        ((kind == NO_RULE) | (kind == UNCONFIRMED), UNKNOWN),
        (over & ((kind == LIMIT) | (kind == CLOSED)), SERIOUS),
        (over | (kind == CLOSED), WARN),
        (figures["gap"].astype(bool), UNKNOWN),
        otherwise=PASS,
    )


def lawful_dose(start: Floats, slope: Floats, applies: Floats, kind: Floats, limit: Floats) -> Floats:
    """Dose of a system at which the first limit of the law is met: the totals grow in proportion to it. [%] (...,)

    Parameters
    ----------
    start
        Totals without it, shape (..., R). [% of the product]
    slope
        What each per cent of it adds. [-]
    applies, kind, limit
        As ``compute`` gives them.
    """
    binds = (applies > 0) & np.isin(kind, (LIMIT, CLOSED)) & (slope > 0)
    room = np.maximum(limit - start, 0.0) / np.where(slope > 0, slope, 1.0)
    return np.asarray(np.where(binds, room, np.inf).min(axis=-1, initial=np.inf))


def explain(case: Case, one: Mapping[str, float], j: int, code: int) -> Words:
    """Words for one rule."""
    c = case.context
    rule = rules(c)[j]
    profile = case.profiles[int(case.profile[0])]
    total, limit = one["percent_as_limited"], one["percent_max"]
    unit = "% of the product"
    figures = {"percent_as_limited": figure(total, unit), "percent_max": figure(limit, unit)}
    row = rule.row
    if row is None:
        return _no_rule(case, rule, figures)
    held, where = _held(case, rule), _where(row)
    basis = "" if row.counted_as == AS_WEIGHED else f", counted as {row.counted_as}"
    about = subject(case, j)
    entry = f"{row.entry}"
    source = (
        c.tables.cite(row)
        + (f"; state of {row.state}" if row.state else "")
        + (f"; in force from {row.in_force_from}" if row.in_force_from else "")
    )
    sources = (source,)
    amount = f"{number(total)} %{basis}"
    do = None
    if rule.kind == UNCONFIRMED:
        because = f"{where}, {entry}: no figure could be confirmed. {row.conditions or ''}".rstrip()
        do = f"Look {listed(held)} up in the law of {where} before you sell there."
    elif code == UNKNOWN:
        because = f"{where}, {entry}: how {listed(held)} is converted to {row.counted_as} is not in the tables."
        do = "Work the sum out by hand from the molar masses, or ask your safety assessor."
    elif code == PASS and rule.kind == NO_LIMIT:
        because = f"{where}, {entry}: {amount}; no figure is set. {row.conditions or ''}".rstrip()
    elif code == PASS:
        word = "the advice, which is not law, is at most" if rule.kind == ADVICE else "allowed is at most"
        because = f"{where}, {entry}: {amount}; {word} {number(limit)} %."
    elif rule.kind == CLOSED and code == WARN:
        because = (
            f"{where}, {entry}: {amount}, allowed only in the product types on a closed list. {row.conditions or ''}"
        )
        do = "Make sure that your product is one of them, or take another preservative."
    elif rule.kind == ADVICE:
        asked = "proof is asked for" if row.kind == "condition" else "a panel, whose advice is not law, stops"
        because = f"{where}, {entry}: {amount}; {asked} above {number(limit)} %. {row.conditions or ''}".rstrip()
        do = f"Stay at {number(limit)} % or have your safety assessor say why more is safe."
    elif rule.kind == DOUBTFUL:
        because = (
            f"{where}, {entry}: not allowed in {row.scope.replace('-', ' ')}s; whether a pump spray falls under it "
            "hangs on the size of its drops."
        )
        do = "Use another pack, or let your safety assessor judge the droplet size."
    elif limit == 0:
        because = (
            f"{where}, {entry}: {listed(held)} is not allowed in this product ({profile.use} {profile.type}"
            + (f", users {profile.users}" if profile.users != "adults" else "")
            + f"); there is {amount}."
        )
        do = f"Take {listed(held)} out" + (f": {_origins(case, held)}." if _origins(case, held) else ".")
    else:
        because = f"{where}, {entry}: {amount}; at most {number(limit)} % is allowed."
        do = _less(case, held, limit / total)
    return Words(about, figures, because, do, sources)


def subject(case: Case, j: int, i: int = 0) -> str:
    """What rule ``j`` is about in case ``i``; several rules about the same are shown as one."""
    rule = rules(case.context)[j]
    if rule.row is None:
        return f"{listed(_loose(case, rule, i))} × {rule.market}"
    return f"{listed(_held(case, rule, i))} × {_where(rule.row)}"


def _held(case: Case, rule: Rule, i: int = 0) -> list[str]:
    index = case.context.index
    return [s for s in rule.substances if s in index and case.amount[i, index[s]] > 0]


def _loose(case: Case, rule: Rule, i: int = 0) -> list[str]:
    """Preservatives of a case that no rule of a market names."""
    known = covered(case.context, case.profiles[int(case.profile[i])], rule.market)
    return [n for k, n in enumerate(case.context.names) if case.preserving[i, k] > 0 and not known[k]]


def _where(row: LegalLimit) -> str:
    return row.market if row.region is None else f"{row.market} ({row.region})"


def _less(case: Case, held: list[str], share: float) -> str:
    """What to weigh instead, where all of it comes from one place; else where it comes from."""
    composition = case.compositions[0] if case.compositions else None
    lines = {p.line for p in composition.portions if p.substance in held and p.percent > 0} if composition else set()
    if composition is not None and len(lines) == 1:
        line = composition.lines[lines.pop()]
        most = np.floor(line.percent * share * 1000) / 1000
        grams = f" ({number(most / 100 * case.batch_g[0])} g in this batch)" if np.isfinite(case.batch_g[0]) else ""
        return f"Use at most {number(most)} % of {line.name}{grams}."
    return f"Keep {share * 100:.0f} % of it or less; it comes from {_origins(case, held)}."


def _origins(case: Case, held: list[str]) -> str:
    portions = case.compositions[0].portions if case.compositions else ()
    found: dict[str, float] = {}
    for p in portions:
        if p.substance in held and p.percent > 0:
            found[p.origin] = found.get(p.origin, 0.0) + p.percent
    return listed([f"{o} ({number(v)} %)" for o, v in found.items()]) if found else ""


def _no_rule(case: Case, rule: Rule, figures: dict[str, Figure]) -> Words:
    loose = _loose(case, rule)
    because = f"{rule.market}: the tables hold no rule for {listed(loose)}."
    do = (
        "It is on no list of allowed preservatives held here. It may be in the product for another purpose; your "
        "safety assessor sets the level, and a challenge test has to show what it does."
    )
    if rule.market in ("US", "CA"):
        do = "Ask a safety assessor who knows that market; a missing rule is not a permission."
    return Words(f"{listed(loose)} × {rule.market}", figures, because, do, ("no row in legal_limits.csv",))
