"""Is it allowed, in this amount, in this product, in each market named?

What is judged: for each rule of a market that fits the product and the day it is placed on the
market, the total of the substances the rule names, whatever brought them in, on the basis the rule
prints (the acid, the base, silver, formaldehyde, or as weighed), against the limit.

    fault      over the limit, banned, or not allowed for this use (serious)
    warning    over a figure, or against a ban, that was only recalled and not read (the report says
               so); over a panel's advice that is not law; a spray rule that a pump spray may or
               may not meet
    unknown    no confirmed figure, a substance whose conversion is not known, or a preservative for
               which the tables
               hold no rule of that market

Of several rules for the same substances the narrowest that fits counts: an age group before a named
product type, before hair, before rinse-off and leave-on, before all products. Rules about sprays
are judged beside the others. Annex III rules (other purposes than preserving) count only what does
not preserve, preservative rules only what does.

This is a screen of a table with a date, no legal advice. The official journal decides, and a
qualified safety assessor.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.law import (
    ADVICE,
    AS_WEIGHED,
    CLOSED,
    DOUBTFUL,
    LIMIT,
    NO_LIMIT,
    NO_RULE,
    RECALLED,
    UNCONFIRMED,
    Rule,
    applying_in,
    covered,
    covered_in,
    elsewhere_ruled_in,
    factors,
    fitting,
    holding,
    rules,
)
from preservecheck.arrays.tables import TableArrays
from preservecheck.checks.base import Cause, Check, Explanation, Figures, KeyFigure, above
from preservecheck.chemistry.summation import weighed_sum
from preservecheck.reference.rows import LegalLimit, System
from preservecheck.text import join_and, number
from preservecheck.verdict import (
    ABSENT,
    PASS,
    SERIOUS,
    UNKNOWN,
    WARN,
    Bools,
    Codes,
    Evidence,
    Figure,
    Floats,
    Ints,
    code_where,
    figure,
)

# limits are printed with few digits; conversion factors carry their own rounding
ROUNDING = 1e-5
NO_ROW = Evidence(said="no row in legal_limits.csv")


def compute(case: FormulaArrays) -> Figures:
    """Totals on each rule's basis and the limits. (..., R)"""
    c, lead = case.reference, case.amount.shape[:-1]
    every, (factor, gap) = rules(c), factors(c)
    laws = _laws(case)
    totals, applies, unknown = (_columns(lead, len(every), kind) for kind in (float, bool, bool))
    for columns, amount, counts_for, sold in _counted(case, laws, factor):
        total = weighed_sum(amount, counts_for)
        totals[..., columns] = (
            total if sold is None else np.where(sold[..., None], total, totals[..., columns])
        )
    _without_rule(case, laws, totals)
    for law in laws:
        applies[..., law.rules] |= law.of(applying_in, law.rules)
    _gate(case, applies)
    _beside(case, totals)
    gaps = np.flatnonzero(gap.any(axis=0))
    unknown[..., gaps] = weighed_sum(case.amount, gap[:, gaps]) > 0
    for law in laws:
        if not _is_ruled(c, law.market):  # unknown, whatever is in the product
            unknown[..., law.rules] = True
    limit = np.array([r.max_percent for r in every])
    with np.errstate(divide="ignore"):
        inverse = np.nan_to_num(1 / limit, posinf=1e300)
    return {
        "percent_as_limited": totals,
        "criticality": totals * inverse,  # of several limits met, the tightest is shown
        "percent_max": np.broadcast_to(limit, totals.shape),
        "kind": np.broadcast_to(np.array([float(r.kind) for r in every]), totals.shape),
        "gap": unknown,
        "applies": applies,
    }


@dataclass(frozen=True)
class _Law:
    """The law of one market; products of the same scopes on the same day share it."""

    reference: TableArrays
    market: str
    rules: Ints  # on axis R
    asked: tuple[tuple[frozenset[str], dt.date], ...]
    each: Ints  # which of them each case meets (...,)
    sold: Bools  # whether a case is sold there at all (...,)

    @property
    def whole(self) -> str:
        """The market whose rules these are; a state shares them."""
        return self.reference.tables.places.get(self.market, (self.market, None))[0]

    def of(
        self, question: Callable[[TableArrays, str, frozenset[str], dt.date], Bools], columns: Ints
    ) -> Bools:
        """What the law answers for each case that is sold there, by column in memory. (..., n)"""
        answers = [question(self.reference, self.market, *asked)[columns] for asked in self.asked]
        return np.moveaxis(np.stack(answers, axis=-1)[:, self.each] & self.sold, 0, -1)


def _laws(case: FormulaArrays) -> list[_Law]:
    """The law of each market that one of the cases is sold in."""
    asked: dict[tuple[frozenset[str], dt.date], int] = {}
    each = np.array(
        [asked.setdefault((fitting(p), p.on_market), len(asked)) for p in case.profiles]
    )[case.profile]
    return [
        _Law(
            case.reference,
            name,
            np.flatnonzero(holding(case.reference, name)),
            tuple(asked),
            each,
            np.array([name in p.markets for p in case.profiles])[case.profile],
        )
        for name in dict.fromkeys(name for p in case.profiles for name in p.markets)
    ]


def _columns(lead: tuple[int, ...], count: int, kind: type) -> NDArray[Any]:
    """Zeros of shape (..., count), column by column in memory."""
    return np.moveaxis(np.zeros((count, *lead), dtype=kind), 0, -1)


def _counted(
    case: FormulaArrays, laws: list[_Law], factor: Floats
) -> Iterator[tuple[Ints, Floats, Floats, Bools | None]]:
    """Rules, the amounts that count in them, what a gram counts for, and the cases that they are
    for, ``None`` for all: (R'), (..., K'), (K', R') and (...,).

    For another purpose what does not preserve counts, else what does. Where a market has no rule
    for another use of a substance, its preservative rules count all of it.
    """
    purpose = np.array([r.row.purpose if r.row else "no rule" for r in rules(case.reference)])
    formula_arrays = tuple(range(case.amount.ndim - 1))
    present = case.amount.any(axis=formula_arrays)

    def substances_in(columns: Ints) -> Ints:
        return np.flatnonzero(factor[:, columns].any(axis=1) & present)

    columns = np.flatnonzero(purpose == "any")
    substances = substances_in(columns)
    yield columns, _by_column(case.amount, substances), factor[np.ix_(substances, columns)], None
    columns = np.flatnonzero(purpose == "other")
    substances = substances_in(columns)
    yield (
        columns,
        _by_column(case.amount, substances) - _by_column(case.preserving, substances),
        factor[np.ix_(substances, columns)],
        None,
    )
    # a state has rules of the whole
    shared = len({law.whole for law in laws}) < len(laws)
    partly = (case.amount != case.preserving).any(axis=formula_arrays)
    for law in laws:
        columns = law.rules[purpose[law.rules] == "preservative"]
        substances = substances_in(columns)
        counts = _by_column(case.preserving, substances)
        for_other = np.flatnonzero(partly[substances])
        uncovered = substances[for_other]
        other = _by_column(case.amount, uncovered) - _by_column(case.preserving, uncovered)
        counts[..., for_other] += np.where(law.of(elsewhere_ruled_in, uncovered), 0.0, other)
        sold = law.sold if shared else None
        yield columns, counts, factor[np.ix_(substances, columns)], sold


def _by_column(array: NDArray[Any], columns: Ints) -> NDArray[Any]:
    """Some columns, each by itself in memory. (..., n)"""
    return np.moveaxis(np.moveaxis(array, -1, 0)[columns], 0, -1)


def _without_rule(case: FormulaArrays, laws: list[_Law], totals: Floats) -> None:
    """Put the largest preservative without any rule at each market's place."""
    every = rules(case.reference)
    substances = np.flatnonzero(case.preserving.any(axis=tuple(range(case.preserving.ndim - 1))))
    preserving = _by_column(case.preserving, substances)
    for law in laws:
        known = np.stack(
            [covered_in(case.reference, law.market, *asked)[substances] for asked in law.asked],
            axis=-1,
        )  # (n, A)
        uncovered = np.flatnonzero(~known.all(axis=-1))
        free = np.moveaxis(~known[uncovered][:, law.each] & law.sold, 0, -1)
        largest = np.where(free, preserving[..., uncovered], 0.0).max(axis=-1, initial=0.0)
        for r in law.rules:
            if every[r].kind == NO_RULE:
                totals[..., r] = np.maximum(totals[..., r], largest)


def _gate(case: FormulaArrays, applies: Bools) -> None:
    """Take out rules that count only together with a substance that is not there."""
    index = case.reference.index
    for r, rule in enumerate(rules(case.reference)):
        if rule.row is not None and rule.row.only_with:
            keys = [index[s] for s in rule.row.only_with if s in index]
            applies[..., r] &= (case.amount[..., keys] > 0).any(axis=-1)


def _beside(case: FormulaArrays, totals: Floats) -> None:
    """What stands beside a mixture that excludes it, beyond what the mixture itself brings."""
    index = case.reference.index
    for r, rule in enumerate(rules(case.reference)):
        if rule.row is not None and rule.row.kind == "exclusion":
            alone = [index[s] for s in rule.substances if s in index]
            mixture = [index[s] for s in rule.row.only_with if s in index]
            brought = (rule.row.max_percent or 0.0) / 100 * case.amount[..., mixture].sum(axis=-1)
            totals[..., r] = np.maximum(case.amount[..., alone].sum(axis=-1) - brought, 0.0)


def judge(figures: Figures) -> Codes:
    """Codes per rule. (..., R)"""
    total, kind, limit = figures["percent_as_limited"], figures["kind"], figures["percent_max"]
    present = figures["applies"].astype(bool) & ((total > 0) | figures["gap"].astype(bool))
    over = above(total, limit * (1 + ROUNDING))
    return code_where(
        (~present, ABSENT),
        ((kind == NO_RULE) | (kind == UNCONFIRMED), UNKNOWN),
        (over & ((kind == LIMIT) | (kind == CLOSED)), SERIOUS),
        (over | (kind == CLOSED), WARN),
        (figures["gap"].astype(bool), UNKNOWN),
        otherwise=PASS,
    )


def explain(case: FormulaArrays, values: Mapping[str, float], j: int, code: int) -> Explanation:
    """Words for one rule."""
    c = case.reference
    rule = rules(c)[j]
    total, limit = values["percent_as_limited"], values["percent_max"]
    unit = "% of the product"
    figures = (
        figure("percent_as_limited", total, unit),
        figure("percent_max", limit, unit),
    )
    row = rule.row
    if row is None:
        return _no_rule(case, rule, figures)
    substances, where = _named(case, rule), _where(row)
    basis = "" if row.counted_as == AS_WEIGHED else f", counted as {row.counted_as}"
    about = subject(case, j)
    entry = row.entry
    since = f"; in force from {row.in_force_from}" if row.in_force_from else ""
    evidence = (
        c.tables.evidence(row, note=(f"; state of {row.state}" if row.state else "") + since),
        *(
            c.tables.used(conversion)
            for conversion in c.tables.conversions
            if conversion.basis_name == row.counted_as and conversion.substance in substances
        ),
    )
    amount = f"{number(total)} %{basis}"
    do = None
    if rule.kind == UNCONFIRMED:
        because = f"{where}, {entry}: no figure could be confirmed. {row.conditions or ''}".rstrip()
        do = f"Look {join_and(substances)} up in the law of {where} before you sell there."
    elif code == UNKNOWN:
        because = (
            f"{where}, {entry}: how {join_and(substances)} is converted to {row.counted_as} is not "
            "in the tables."
        )
        do = "Work the sum out by hand from the molar masses, or ask your safety assessor."
    elif code == PASS and rule.kind == NO_LIMIT:
        because = f"{where}, {entry}: {amount}; no figure is set. {row.conditions or ''}".rstrip()
    elif code == PASS:
        word = (
            "the advice, which is not law, is at most"
            if rule.kind == ADVICE
            else "allowed is at most"
        )
        because = f"{where}, {entry}: {amount}; {word} {number(limit)} %."
    elif rule.kind == CLOSED and code == WARN:
        because = (
            f"{where}, {entry}: {amount}, allowed only in the product types on a closed "
            f"list. {row.conditions or ''}"
        )
        do = "Make sure that your product is one of them, or take another preservative."
    elif rule.kind == RECALLED:
        allowed = f"at most {number(limit)} % is allowed" if limit else "it is not allowed here"
        because = (
            f"{where}, {entry}: {amount}; as far as recalled, {allowed}. Nobody read this row for "
            "these tables, so it bans nothing."
        )
        do = f"Look up {entry} in the law of {where}, then decide."
    elif rule.kind == ADVICE:
        asked = (
            "proof is asked for"
            if row.kind == "condition"
            else "a panel, whose advice is not law, stops"
        )
        because = (
            f"{where}, {entry}: {amount}; {asked} above {number(limit)} %. "
            f"{row.conditions or ''}".rstrip()
        )
        do = f"Stay at {number(limit)} % or have your safety assessor say why more is safe."
    elif rule.kind == DOUBTFUL:
        because = (
            f"{where}, {entry}: not allowed in {row.scope.replace('-', ' ')}s; whether a pump "
            "spray falls under it "
            "hangs on the size of its drops."
        )
        do = "Use another pack, or let your safety assessor judge the droplet size."
    elif limit == 0:
        because, do = _not_allowed(case, rule, total)
    else:
        because = f"{where}, {entry}: {amount}; at most {number(limit)} % is allowed."
        do = _less(case, substances, limit / total)
    return Explanation(about, figures, because, do, evidence, (*substances, where))


def _not_allowed(case: FormulaArrays, rule: Rule, total: float) -> tuple[str, str]:
    """Why none of it may be in this product, and what to do."""
    row, substances = rule.row, join_and(_named(case, rule))
    assert row is not None
    said, amount = f"{_where(row)}, {row.entry}", f"{number(total)} %"
    if row.kind == "exclusion":
        return (
            f"{said}: {substances} and a mixture with {join_and(row.only_with)} exclude each "
            f"other in one product; {amount} stands beside the mixture.",
            "Take one of the two out.",
        )
    basis = "" if row.counted_as == AS_WEIGHED else f", counted as {row.counted_as}"
    profile = case.profiles[int(case.profile[0])].strict
    users = f", users {profile.users}" if profile.users != "adults" else ""
    origins = _origins(case, _named(case, rule))
    return (
        f"{said}: {substances} is not allowed in this product ({profile.use} {profile.type}"
        f"{users}); there is {amount}{basis}.",
        f"Take {substances} out" + (f": {origins}." if origins else "."),
    )


def subject(case: FormulaArrays, j: int, i: int = 0) -> str:
    """What rule ``j`` is about in case ``i``; several rules about the same are shown as one."""
    rule = rules(case.reference)[j]
    if rule.row is None and not _is_ruled(case.reference, rule.market):
        return rule.market
    if rule.row is None:
        return f"{join_and(_unruled(case, rule, i))} × {rule.market}"
    return f"{join_and(_named(case, rule, i))} × {_where(rule.row)}"


def _named(case: FormulaArrays, rule: Rule, i: int = 0) -> list[str]:
    index = case.reference.index
    return [s for s in rule.substances if s in index and case.amount[i, index[s]] > 0]


def _unruled(case: FormulaArrays, rule: Rule, i: int = 0) -> list[str]:
    """Preservatives of a case that no rule of a market names."""
    known = covered(case.reference, case.profiles[int(case.profile[i])], rule.market)
    return [
        n for k, n in enumerate(case.reference.names) if case.preserving[i, k] > 0 and not known[k]
    ]


def over_the_law(case: FormulaArrays, system: System) -> Iterator[Cause]:
    """Findings that the first case holds too much of something in a system."""
    inside = {inci for inci, _ in system.composition}
    codes = np.atleast_2d(judge(compute(case)))[0]
    for r in np.flatnonzero(codes >= WARN):
        if not inside.isdisjoint(rules(case.reference)[r].substances):
            yield Cause(CHECK.id, subject(case, int(r)))


def banned(case: FormulaArrays, system: System) -> tuple[Cause, ...]:
    """Findings that something in a system is not allowed in the first case at all."""
    every = rules(case.reference)
    bans = {subject(case, r) for r, rule in enumerate(every) if rule.max_percent == 0}
    return tuple(cause for cause in over_the_law(case, system) if cause.about in bans)


def _where(row: LegalLimit) -> str:
    return row.market if row.region is None else f"{row.market} ({row.region})"


def _less(case: FormulaArrays, substances: list[str], share: float) -> str:
    """What to weigh instead, where all of it comes from one place; else where it comes from."""
    composition = case.compositions[0] if case.compositions else None
    lines = (
        {p.line for p in composition.portions if p.substance in substances and p.percent > 0}
        if composition
        else set()
    )
    if composition is not None and len(lines) == 1:
        line = composition.lines[lines.pop()]
        most = np.floor(line.percent * share * 1000) / 1000
        grams = (
            f" ({number(most / 100 * case.batch_g[0])} g in this batch)"
            if np.isfinite(case.batch_g[0])
            else ""
        )
        return f"Use at most {number(most)} % of {line.name}{grams}."
    return f"Keep {share * 100:.0f} % of it or less; it comes from {_origins(case, substances)}."


def _origins(case: FormulaArrays, substances: list[str]) -> str:
    portions = case.compositions[0].portions if case.compositions else ()
    found: dict[str, float] = {}
    for p in portions:
        if p.substance in substances and p.percent > 0:
            found[p.origin] = found.get(p.origin, 0.0) + p.percent
    return join_and([f"{o} ({number(v)} %)" for o, v in found.items()]) if found else ""


def _no_rule(case: FormulaArrays, rule: Rule, figures: tuple[Figure, ...]) -> Explanation:
    tables = case.reference.tables
    without_rule = _unruled(case, rule)
    ruled = _is_ruled(case.reference, rule.market)
    what = f"no rule for {join_and(without_rule)}" if ruled else "nothing of its law"
    because = f"{rule.market}: the tables hold {what}."
    do = "Ask a safety assessor who knows that market; a missing rule is not a permission."
    if any(market.positive_list == "yes" for market in tables.markets if market.id == rule.market):
        do = (
            "It is on no list of allowed preservatives held here. It may be in the product for "
            "another purpose; your safety assessor sets the level, and a challenge test has to "
            "show what it does."
        )
    about = subject(case, rules(case.reference).index(rule))
    return Explanation(about, figures, because, do, (NO_ROW,), (*without_rule, rule.market))


@lru_cache(maxsize=64)
def _is_ruled(reference: TableArrays, market: str) -> bool:
    """Whether the tables hold anything of the law of a market."""
    return any(reference.tables.holds_in(row, market) for row in reference.tables.legal_limits)


CHECK = Check(
    id="legal-limit",
    key=KeyFigure("percent_as_limited", "% of the product"),
    compute=compute,
    judge=judge,
    explain=explain,
    tables=dict.fromkeys(
        ("systems", "actives", "ingredients", "markets", "legal_limits", "conversions"), ()
    ),
    must_pass=True,
    unknown_will_do=True,
    levers={"law": SERIOUS},
    bar=(None, "percent_as_limited", "percent_max"),
    plots=("dose",),
    subject=subject,
    folds=True,
    by_dose=True,
)
