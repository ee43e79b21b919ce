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

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from preservecheck.case import Case, Profile
from preservecheck.checks.base import Figures, Words, above, listed, number
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

ID = "legal-limit"
TOLERANCES: tuple[str, ...] = ()
DECIDES: str | None = None
AS_WEIGHED = "as weighed"
SPRAY_SCOPES = ("spray", "aerosol-spray", "inhalable-spray")
# limits are printed with few digits; conversion factors carry their own rounding
ROUNDING = 1e-5
# rinse-off and leave-on lie inside all products, and so on; the highest number wins
RANKS = {
    "all": 0,
    "other": 0,
    "rinse-off": 1,
    "leave-on": 1,
    "hair-rinse-off": 2,
    "hair-leave-on": 2,
    "shampoo": 3,
    "shampoo-antidandruff": 3,
    "conditioner-or-mask-rinse-off": 3,
    "hair-lotion": 3,
    "under-3": 4,
    "leave-on-under-3": 4,
    "conditioner-or-mask-under-3": 4,
}
ELSEWHERE = ("mucous", "oral", "eye", "listed-elsewhere", "shampoo-antidandruff")
LIMIT, UNCONFIRMED, ADVICE, NO_RULE, DOUBTFUL, NO_LIMIT, CLOSED = range(7)
KINDS = {
    "limit": LIMIT,
    "ban": LIMIT,
    "closed list": CLOSED,
    "unconfirmed": UNCONFIRMED,
    "advice": ADVICE,
    "no limit": NO_LIMIT,
}


@dataclass(frozen=True)
class Rule:
    """A row of the table, or one substance of a row that limits each by itself, or a market's gap."""

    row: LegalLimit | None
    market: str
    substances: tuple[str, ...]
    kind: int
    max_percent: float


@lru_cache(maxsize=8)
def rules(context: Context) -> tuple[Rule, ...]:
    """All rules that may touch a hair product, and for each market one place for substances without a rule."""
    out: list[Rule] = []
    for row in context.tables.legal_limits:
        figure_less = row.kind == "condition" and row.max_percent is None
        if row.hair == "no" or figure_less or row.scope in ELSEWHERE or not row.substances:
            continue
        # a condition with a figure asks for proof above it, as a panel's advice does
        kind = KINDS.get(row.kind, ADVICE)
        if row.scope in ("aerosol-spray", "inhalable-spray") and kind == LIMIT:
            kind = DOUBTFUL
        groups = [row.substances] if row.sum_of == "all" else [(s,) for s in row.substances]
        groups = [g for g in groups if any(s in context.index for s in g)]
        limit = np.nan if row.max_percent is None or kind == UNCONFIRMED else row.max_percent
        out += [Rule(row, row.market, group, kind, limit) for group in groups]
    markets = dict.fromkeys(row.market for row in context.tables.legal_limits)
    return (*out, *(Rule(None, market, (), NO_RULE, np.nan) for market in markets))


@lru_cache(maxsize=8)
def factors(context: Context) -> tuple[Floats, Bools]:
    """What a gram of each substance counts for in each rule (K, R), and where a conversion is missing (K, R)."""
    table = {(c.basis_name, c.substance): c.factor for c in context.tables.conversions}
    every = rules(context)
    out = np.zeros((len(context.names), len(every)))
    gap = np.zeros(out.shape, dtype=bool)
    for r, rule in enumerate(every):
        for substance in rule.substances:
            k, basis = context.index.get(substance), rule.row.counted_as if rule.row else AS_WEIGHED
            if k is None:
                continue
            if basis in (AS_WEIGHED, substance):
                out[k, r] = 1.0
            elif (factor := table.get((basis, substance))) is not None:
                out[k, r] = factor
            else:
                gap[k, r] = True
    return out, gap


def fitting(profile: Profile) -> frozenset[str]:
    """Product scopes of the rules that a product falls under."""
    scopes = {"all", profile.use, f"hair-{profile.use}"}
    if profile.use == "leave-on":
        scopes |= {"other"}
        if profile.type in ("scalp", "leave-in"):
            scopes |= {"hair-lotion"}
    elif profile.type in ("conditioner", "mask"):
        scopes |= {"conditioner-or-mask-rinse-off"}
    if profile.type == "shampoo":
        scopes |= {"shampoo"}
    if profile.users == "under-3":
        scopes |= {"under-3"}
        if profile.use == "leave-on":
            scopes |= {"leave-on-under-3"}
        elif profile.type != "shampoo":
            scopes |= {"conditioner-or-mask-under-3"}
    if profile.package == "spray":
        scopes |= set(SPRAY_SCOPES)
    return frozenset(scopes)


def in_force(row: LegalLimit, day: dt.date) -> bool:
    """Whether a row is law on a day."""
    return (row.in_force_from is None or row.in_force_from <= day) and (
        row.in_force_to is None or day <= row.in_force_to
    )


@lru_cache(maxsize=512)
def applying(context: Context, profile: Profile) -> Bools:
    """Which rules count for a product: right market, day and scope, the narrowest of each set. (R,)"""
    every, scopes = rules(context), fitting(profile)
    out = np.zeros(len(every), dtype=bool)
    best: dict[tuple[object, ...], int] = {}
    keys: dict[int, tuple[object, ...]] = {}
    for r, rule in enumerate(every):
        row = rule.row
        if rule.market not in profile.markets:
            continue
        if row is None:
            out[r] = True
            continue
        if row.scope not in scopes or not in_force(row, profile.on_market):
            continue
        if row.scope in SPRAY_SCOPES or row.kind == "advice":
            out[r] = True
            continue
        keys[r] = (row.market, row.region, row.group or rule.substances, rule.substances, row.purpose)
        best[keys[r]] = max(best.get(keys[r], 0), RANKS[row.scope])
    for r, key in keys.items():
        row = every[r].row
        out[r] = row is not None and RANKS[row.scope] == best[key]
    return out


@lru_cache(maxsize=512)
def elsewhere_ruled(context: Context, profile: Profile) -> Bools:
    """Substances whose use for another purpose a market rules by a row of its own. (markets of the profile, K)

    There the preservative rows count only what preserves; everywhere else they count all of a substance.
    """
    factor, gap = factors(context)
    every, applies = rules(context), applying(context, profile)
    out = np.zeros((len(profile.markets), len(context.names)), dtype=bool)
    for m, market in enumerate(profile.markets):
        mine = [
            r
            for r, rule in enumerate(every)
            if applies[r] and rule.market == market and rule.row is not None and rule.row.purpose == "other"
        ]
        out[m] = ((factor[:, mine] > 0) | gap[:, mine]).any(axis=1)
        for row in _in_words(context, profile, market):
            if row.purpose == "other":
                out[m, [context.index[s] for s in row.substances if s in context.index]] = True
    return out


@lru_cache(maxsize=512)
def _in_words(context: Context, profile: Profile, market: str) -> tuple[LegalLimit, ...]:
    """Rules without a figure that fit a product in one market."""
    scopes = fitting(profile)
    return tuple(
        row
        for row in context.tables.legal_limits
        if row.market == market
        and row.kind == "condition"
        and row.region is None
        and row.hair == "yes"
        and row.scope in scopes
        and in_force(row, profile.on_market)
    )


def compute(case: Case) -> Figures:
    """Totals on each rule's basis and the limits. (..., R)"""
    c = case.context
    every, (factor, gap) = rules(c), factors(c)
    purpose = np.array([r.row.purpose if r.row else "any" for r in every])
    market = np.array([r.market for r in every])
    other = case.amount - case.preserving
    counted = np.where(purpose == "other", weighed_sum(other, factor), weighed_sum(case.amount, factor))
    for name in dict.fromkeys(market):
        ruled = np.stack([_ruled(c, p, name) for p in case.profiles])[case.profile]
        counted = np.where(
            (purpose == "preservative") & (market == name),
            weighed_sum(case.preserving + np.where(ruled, 0.0, other), factor),
            counted,
        )
    applies = np.stack([applying(c, p) for p in case.profiles])[case.profile]
    gated = [r for r, rule in enumerate(every) if rule.row is not None and rule.row.only_with]
    gate = np.ones((*case.amount.shape[:-1], len(every)), dtype=bool)
    for r in gated:
        row = every[r].row
        keys = [c.index[s] for s in row.only_with if s in c.index] if row is not None else []
        gate[..., r] = (case.amount[..., keys] > 0).any(axis=-1)
    no_rule = np.array([r.kind == NO_RULE for r in every])
    totals = np.where(no_rule, _without_rule(case, applies, factor, gap), counted)
    shape = totals.shape
    limit = np.array([r.max_percent for r in every])
    with np.errstate(divide="ignore", invalid="ignore"):
        pressure = np.nan_to_num(totals / limit, nan=0.0)  # of several limits met, the tightest is shown
    return {
        "percent_as_limited": totals,
        "pressure": pressure,
        "percent_max": np.broadcast_to(limit, shape),
        "kind": np.broadcast_to(np.array([float(r.kind) for r in every]), shape),
        "gap": weighed_sum(case.amount, gap) > 0,
        "applies": applies & gate,
    }


def _ruled(context: Context, profile: Profile, market: str) -> Bools:
    if market not in profile.markets:
        return np.zeros(len(context.names), dtype=bool)
    return np.asarray(elsewhere_ruled(context, profile)[profile.markets.index(market)])


def covered(context: Context, profile: Profile, market: str) -> Bools:
    """Substances for which a market has some rule that fits the product, in figures or in words. (K,)"""
    factor, gap = factors(context)
    mine = applying(context, profile) & np.array([r.market == market and r.kind != NO_RULE for r in rules(context)])
    out = np.asarray(((factor[:, mine] > 0) | gap[:, mine]).any(axis=1))
    for row in _in_words(context, profile, market):
        if row.purpose != "other":
            out[[context.index[s] for s in row.substances if s in context.index]] = True
    return out


def _without_rule(case: Case, applies: Bools, factor: Floats, gap: Bools) -> Floats:
    """Largest preservative without any rule, at each market's place. (..., R)"""
    c = case.context
    every = rules(c)
    out = np.zeros((*case.amount.shape[:-1], len(every)))
    for r, rule in enumerate(every):
        if rule.kind == NO_RULE:
            known = np.stack([covered(c, p, rule.market) for p in case.profiles])[case.profile]
            out[..., r] = np.where(known, 0.0, case.preserving).max(axis=-1)
    return out


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
