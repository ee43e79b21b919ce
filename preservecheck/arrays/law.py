"""Axis R: the rules of the law, which of them count for a product, and what each substance counts
for in them."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from preservecheck.arrays.recipes import Profile
from preservecheck.arrays.tables import TableArrays
from preservecheck.reference.rows import LegalLimit
from preservecheck.verdict import Bools, Floats

AS_WEIGHED = "as weighed"
SPRAY_SCOPES = ("spray", "aerosol-spray", "inhalable-spray")
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
LIMIT, UNCONFIRMED, ADVICE, NO_RULE, DOUBTFUL, NO_LIMIT, CLOSED, RECALLED = range(8)
KINDS = {
    "limit": LIMIT,
    "ban": LIMIT,
    "closed list": CLOSED,
    "exclusion": LIMIT,
    "unconfirmed": UNCONFIRMED,
    "advice": ADVICE,
    "no limit": NO_LIMIT,
}


@dataclass(frozen=True)
class Rule:
    """A row of the law, one substance of a row that limits each by itself, or a market's gap."""

    row: LegalLimit | None
    market: str
    substances: tuple[str, ...]
    kind: int
    max_percent: float


@lru_cache(maxsize=8)
def rules(reference: TableArrays) -> tuple[Rule, ...]:
    """All rules that may touch a hair product, and a place for what a market has no rule for."""
    out: list[Rule] = []
    for row in reference.tables.legal_limits:
        figure_less = row.kind == "condition" and row.max_percent is None
        if row.hair == "no" or figure_less or row.scope in ELSEWHERE or not row.substances:
            continue
        # a condition with a figure asks for proof above it, as a panel's advice does
        kind = KINDS.get(row.kind, ADVICE)
        if row.scope in ("aerosol-spray", "inhalable-spray") and kind == LIMIT:
            kind = DOUBTFUL
        if kind in (LIMIT, CLOSED) and row.only_recalled:
            kind = RECALLED
        groups = [row.substances] if row.sum_of == "all" else [(s,) for s in row.substances]
        groups = [g for g in groups if any(s in reference.index for s in g)]
        limit = np.nan if row.max_percent is None or kind == UNCONFIRMED else row.max_percent
        limit = 0.0 if row.kind == "exclusion" else limit
        out += [Rule(row, row.market, group, kind, limit) for group in groups]
    markets = dict.fromkeys(
        (
            *(row.market for row in reference.tables.legal_limits),
            *(whole for whole, _ in reference.tables.places.values()),
        )
    )
    return (*out, *(Rule(None, market, (), NO_RULE, np.nan) for market in markets))


@lru_cache(maxsize=64)
def holding(reference: TableArrays, market: str) -> Bools:
    """Which rules a market has at all, on whatever product and day. (R,)"""
    whole, _ = reference.tables.places.get(market, (market, None))
    return np.array(
        [
            rule.market == whole
            if rule.row is None
            else reference.tables.holds_in(rule.row, market)
            for rule in rules(reference)
        ],
        dtype=bool,
    )


@lru_cache(maxsize=8)
def factors(reference: TableArrays) -> tuple[Floats, Bools]:
    """What a gram of each substance counts for in a rule, and where it is unknown. (K, R) each"""
    table = {(c.basis_name, c.substance): c.factor for c in reference.tables.conversions}
    every = rules(reference)
    out = np.zeros((len(reference.names), len(every)))
    gap = np.zeros(out.shape, dtype=bool)
    for r, rule in enumerate(every):
        for substance in rule.substances:
            k, basis = (
                reference.index.get(substance),
                rule.row.counted_as if rule.row else AS_WEIGHED,
            )
            if k is None:
                continue
            if basis in (AS_WEIGHED, substance):
                out[k, r] = 1.0
            elif (factor := table.get((basis, substance))) is not None:
                out[k, r] = factor
            else:
                gap[k, r] = True
    return out, gap


@lru_cache(maxsize=4096)
def fitting(profile: Profile) -> frozenset[str]:
    """Product scopes of the rules that a product falls under, on the stricter reading of what its
    file says."""
    return scopes_of(profile.strict)


@lru_cache(maxsize=4096)
def scopes_of(profile: Profile) -> frozenset[str]:
    """Product scopes of the rules that a product falls under, taken at its word."""
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


def applying(reference: TableArrays, profile: Profile) -> Bools:
    """Which rules count for a product: by market, day and scope, the narrowest of a set. (R,)"""
    scopes = fitting(profile)
    out = np.zeros(len(rules(reference)), dtype=bool)
    for market in profile.markets:
        out |= applying_in(reference, market, scopes, profile.on_market)
    return out


# products differ in more ways than the law tells apart: what a market asks hangs on the scopes and
# the day alone
@lru_cache(maxsize=4096)
def applying_in(reference: TableArrays, market: str, scopes: frozenset[str], day: dt.date) -> Bools:
    """Which rules of one market count for a product that falls under some scopes, on a day. (R,)"""
    every, here = rules(reference), holding(reference, market)
    out = np.zeros(len(every), dtype=bool)
    best: dict[tuple[object, ...], int] = {}
    keys: dict[int, tuple[object, ...]] = {}
    for r, rule in enumerate(every):
        row = rule.row
        if not here[r]:
            continue
        if row is None:
            out[r] = True
            continue
        if row.scope not in scopes or not in_force(row, day):
            continue
        if row.scope in SPRAY_SCOPES or row.kind == "advice":
            out[r] = True
            continue
        keys[r] = (
            row.market,
            row.region,
            row.group or rule.substances,
            rule.substances,
            row.purpose,
        )
        best[keys[r]] = max(best.get(keys[r], 0), RANKS[row.scope])
    for r, key in keys.items():
        row = every[r].row
        out[r] = row is not None and RANKS[row.scope] == best[key]
    return out


def hidden_rules(reference: TableArrays, profile: Profile) -> Bools:
    """Which rules count for a product on the stricter reading alone. (R,)"""
    out = np.zeros(len(rules(reference)), dtype=bool)
    if scopes_of(profile) == fitting(profile):
        return out
    for market in profile.markets:
        strict, plain = (
            applying_in(reference, market, scopes, profile.on_market)
            for scopes in (fitting(profile), scopes_of(profile))
        )
        out |= strict & ~plain
    return out


@lru_cache(maxsize=4096)
def elsewhere_ruled_in(
    reference: TableArrays, market: str, scopes: frozenset[str], day: dt.date
) -> Bools:
    """Substances whose use for another purpose one market rules by a row of its own. (K,)

    There the preservative rows count only what preserves; everywhere else they count all of a
    substance.
    """
    factor, gap = factors(reference)
    columns = [
        r
        for r in np.flatnonzero(applying_in(reference, market, scopes, day))
        if (row := rules(reference)[r].row) is not None and row.purpose == "other"
    ]
    out = np.asarray(((factor[:, columns] > 0) | gap[:, columns]).any(axis=1))
    for row in _in_words(reference, market, scopes, day):
        if row.purpose == "other":
            out[[reference.index[s] for s in row.substances if s in reference.index]] = True
    return out


@lru_cache(maxsize=4096)
def _in_words(
    reference: TableArrays, market: str, scopes: frozenset[str], day: dt.date
) -> tuple[LegalLimit, ...]:
    """Rules without a figure that fit a product in one market."""
    return tuple(
        row
        for row in reference.tables.legal_limits
        if reference.tables.holds_in(row, market)
        and row.kind == "condition"
        and row.hair == "yes"
        and row.scope in scopes
        and in_force(row, day)
    )


def covered(reference: TableArrays, profile: Profile, market: str) -> Bools:
    """Substances for which a market has a rule that fits, in figures or in words. (K,)"""
    if market not in profile.markets:
        return np.zeros(len(reference.names), dtype=bool)
    return covered_in(reference, market, fitting(profile), profile.on_market)


@lru_cache(maxsize=4096)
def covered_in(reference: TableArrays, market: str, scopes: frozenset[str], day: dt.date) -> Bools:
    """Substances for which one market has some rule that fits, in figures or in words. (K,)"""
    factor, gap = factors(reference)
    columns = applying_in(reference, market, scopes, day) & np.array(
        [r.kind != NO_RULE for r in rules(reference)]
    )
    out = np.asarray(((factor[:, columns] > 0) | gap[:, columns]).any(axis=1))
    for row in _in_words(reference, market, scopes, day):
        if row.purpose != "other":
            out[[reference.index[s] for s in row.substances if s in reference.index]] = True
    return out


def lawful_dose(
    start: Floats, slope: Floats, applies: Floats, kind: Floats, limit: Floats
) -> Floats:
    """Dose of a system at which the first limit of the law is met: the totals grow in proportion to
    it. [%] (...,)

    Parameters
    ----------
    start
        Totals without it, shape (..., R). [% of the product]
    slope
        What each per cent of it adds. [-]
    applies, kind, limit
        Which rules count, what they are and their limits, shape (..., R) each.
    """
    binds = (applies > 0) & np.isin(kind, (LIMIT, CLOSED, RECALLED)) & (slope > 0)
    room = np.maximum(limit - start, 0.0) / np.where(slope > 0, slope, 1.0)
    return np.asarray(np.where(binds, room, np.inf).min(axis=-1, initial=np.inf))
