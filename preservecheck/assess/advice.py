"""What goes beside the verdicts: label statements, cautions, the challenge-test reminder, and what
is not covered."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from preservecheck.arrays.formulas import LOW_RISK_ALCOHOL_PERCENT, LOW_RISK_AW, FormulaArrays
from preservecheck.arrays.law import fitting, in_force
from preservecheck.reference.rows import STANDARDS, TABLES, Caution, LabelRule, Row, table_of
from preservecheck.reference.state import law_ages
from preservecheck.text import join_and, number, sentence
from preservecheck.verdict import Evidence, Finding, LabelStatement

TEST_DAYS = (7, 14, 28)
NO_LABEL_RULE = Evidence(said="no row in label_rules.csv")


@dataclass(frozen=True)
class ChallengeTest:
    """The reminder: which test, on what, when, and why this formula needs it."""

    needed: bool
    why: tuple[str, ...] = ()
    standards: tuple[str, ...] = ()
    organisms: tuple[str, ...] = ()
    days: tuple[int, ...] = ()
    sources: tuple[str, ...] = ()
    result: str | None = None  # of a test kept beside the formula


def keys_of(case: FormulaArrays) -> frozenset[str]:
    """All that a caution may hang on, as keys: ``inci:``, ``tag:``, ``system:`` and so on."""
    c, profile = case.reference, case.profiles[int(case.profile[0])]
    keys = {"always", f"users:{profile.users}", f"use:{profile.use}", f"type:{profile.type}"}
    if profile.package:
        keys.add(f"package:{profile.package}")
    for i in np.flatnonzero(case.amount[0] > 0):
        name = c.names[i]
        keys.add(f"inci:{name}")
        if (row := c.rows.get(name)) is not None:
            keys.add(f"role:{row.role}")
            keys |= {f"tag:{t}" for t in row.tags}
        if (active := c.actives.get(name)) is not None:
            if active.active_form == "cation":
                keys.add("tag:cationic-preservative")
            if active.formaldehyde_fraction:
                keys.add("tag:formaldehyde-releaser")
    for i in case.system[0]:
        if i >= 0:
            keys |= {f"system:{c.systems.rows[i].id}", f"form:{c.systems.rows[i].form}"}
    return frozenset(keys)


def cautions(case: FormulaArrays) -> tuple[str, ...]:
    """Sentences that protect the maker and the user, those about this formula first."""
    rows = _caution_rows(case)
    texts = [r.text for r in rows if "always" not in r.when] + list(_seen_only_by_people(case))
    return tuple(dict.fromkeys(texts + [r.text for r in rows if "always" in r.when]))


def _caution_rows(case: FormulaArrays) -> list[Caution]:
    """The rows of the cautions that fit, those about this formula first."""
    keys = keys_of(case)
    rows: list[Caution] = [row for row in case.reference.tables.cautions if _fits(row, keys)]
    order = {"handling": 0, "user": 1, "product": 2, "hygiene": 3, "legal": 4}
    return sorted(rows, key=lambda r: ("always" in r.when, order[r.about]))


def _fits(row: Caution, keys: frozenset[str]) -> bool:
    return not keys.isdisjoint(row.when) and (not row.and_when or not keys.isdisjoint(row.and_when))


def _seen_only_by_people(case: FormulaArrays) -> Iterable[str]:
    """Rows of the pair table that no reading shows."""
    c = case.reference
    for row in c.tables.incompatibilities:
        if row.severity != "advice":
            continue
        first = case.amount[0] * c.matching(row.first)
        second = case.amount[0] * c.matching(row.second)
        enough = first.sum() >= max(row.first_min_percent or 0, 0.01) and (
            not row.second or second.sum() > 0
        )
        if enough:
            names = [c.names[i] for i in np.argsort(-first)[:2] if first[i] > 0]
            where = f" ({row.threshold_note})" if row.threshold_note else ""
            yield f"{join_and(names)}: {row.effect}{where}." + (
                f" {sentence(row.remedy)}" if row.remedy else ""
            )


def labels(case: FormulaArrays) -> tuple[LabelStatement, ...]:
    """Statements that a market wants on the pack, with the market and the source."""
    c, profile = case.reference, case.profiles[int(case.profile[0])].strict
    table = {(row.basis_name, row.substance): row.factor for row in c.tables.conversions}
    out = []
    for row in c.tables.label_rules:
        if (
            not any(c.tables.holds_in(row, market) for market in profile.markets)
            or not _in_scope(row, profile)
            or (row.in_force_from and row.in_force_from > profile.on_market)
            or (row.in_force_to and row.in_force_to < profile.on_market)
        ):
            continue
        present = [s for s in row.substances if s in c.index and case.amount[0, c.index[s]] > 0]
        total = sum(
            float(case.amount[0, c.index[s]]) * table.get((row.counted_as, s), 1.0) for s in present
        )
        if row.substances and (not present or total <= (row.threshold_percent or 0.0)):
            continue
        market = row.market if row.region is None else f"{row.market} ({row.region})"
        why = f"{join_and(present)}, {number(total)} %" if present else None
        quote = f"“{row.statement}”" if row.statutory_wording == "yes" else row.statement
        out.append(LabelStatement(market, quote, why, c.tables.evidence(row)))
    ruled = {row.market for row in c.tables.label_rules}
    nothing = "The tables hold no rules on labels for this market; look them up."
    out += [
        LabelStatement(market, nothing, None, NO_LABEL_RULE)
        for market in profile.markets
        if c.tables.places.get(market, (market, None))[0] not in ruled
    ]
    return tuple({statement.line: statement for statement in out}.values())


def _in_scope(row: LabelRule, profile: Any) -> bool:
    young = profile.users in ("under-3", "under-10")
    return {
        "all": True,
        "leave-on": profile.use == "leave-on",
        "rinse-off": profile.use == "rinse-off",
        "hair-rinse-off": profile.use == "rinse-off",
        "spray": profile.package == "spray",
        "users under 3 possible": True,
        "leave-on, users under 3 possible": profile.use == "leave-on",
        "rinse-off not shampoo, users under 3 possible": profile.use == "rinse-off"
        and profile.type != "shampoo",
        "not hair": False,
    }[row.scope] and (
        not row.scope.endswith("users under 3 possible") or young or profile.users == "adults"
    )


def _needs_no_test(case: FormulaArrays) -> str | None:
    """Which criterion of low risk a formula meets (ISO 29621): no water, or a measured water
    activity too low for growth; alcohol; a pH at which nothing grows."""
    aw, tolerance, measured = case.aw
    if case.water_pct[0] <= 0 or (measured[0] and aw[0] + tolerance[0] < LOW_RISK_AW):
        return "the product is too dry for growth. Keep water out of the pack"
    if not case.low_risk[0]:
        return None
    if case.alcohol_pct[0] >= LOW_RISK_ALCOHOL_PERCENT:
        return (
            f"{number(case.alcohol_pct[0])} % of alcohol keeps microbes from growing (ISO 29621). "
            "Write that reason into the file, and look whether aged packs lose weight"
        )
    return (
        "at this pH microbes do not grow (ISO 29621). Write that reason into the file, and watch "
        "the pH over the product's life"
    )


def challenge_test(
    case: FormulaArrays, findings: tuple[Finding, ...], result: str | None = None
) -> ChallengeTest:
    """Whether a challenge test is needed, which one, on what, when and why.

    Parameters
    ----------
    case
        A single formula.
    findings
        What the checks said of it.
    result
        Of a test kept beside the formula, in one sentence.
    """
    if (reason := _needs_no_test(case)) is not None:
        return ChallengeTest(needed=False, why=(reason,), result=result)
    c, aw = case.reference, case.aw[0]
    why = [f"it is water-based (water activity {aw[0]:.2f}), so microbes can grow in it"]
    present = (c.names[i] for i in np.flatnonzero(case.amount[0] > 0))
    rows = [row for name in present if (row := c.rows.get(name)) is not None]
    if food := [r.inci for r in rows if r.nutrient_load == "high" and r.oil_class is None]:
        why.append(f"it holds food for microbes ({join_and(food[:3])})")
    if doubtful := [f.about for f in findings if f.figure("sum_of_ratios") and f.verdict != "pass"]:
        why.append(f"the figures leave {join_and(doubtful[:3])} open")
    why.append(
        "every figure here is a screen; only a test on the finished product in its pack shows "
        "protection"
    )
    organisms = c.tables.test_organisms
    return ChallengeTest(
        needed=True,
        why=tuple(why),
        standards=tuple(s.name for s in STANDARDS.values()),
        organisms=tuple(f"{o.organism} ({o.strain})" for o in organisms if o.iso_11930 == "yes"),
        days=TEST_DAYS,
        sources=tuple(dict.fromkeys(c.tables.cite(o) for o in organisms)),
        result=result,
    )


def not_covered(case: FormulaArrays) -> tuple[str, ...]:
    """What this screen does not look at, for this formula."""
    c, profile = case.reference, case.profiles[int(case.profile[0])]
    out = [
        "The microbes in your own workshop, and what grows in the drain; they can be tougher than "
        "the test strains.",
        "What the pack's plastic, light and air take of the preservative over months.",
        "Whether the product is safe for its users: that is a qualified safety assessor's work.",
    ]
    quats = case.amount[0] @ c.role("cationic surfactant").astype(float)
    if quats > 0:
        out.append(
            "How much preservative the cationic surfactant takes up: no measured figure is known, "
            "so none is counted."
        )
    polymers = case.amount[0] @ c.role(
        "cationic polymer", "anionic polymer", "nonionic polymer", "protein"
    ).astype(float)
    if polymers > 0:
        out.append("Uptake by gums, polymers and proteins other than the few that were measured.")
    solids = case.amount[0] @ (c.oil_phase * (c.liquid_oil.sum(axis=1) == 0))
    if solids > 0:
        out.append(
            "Solid waxes and fatty alcohols are counted as taking up no preservative; while hot "
            "they do."
        )
    if np.isnan(case.sample_c[0]) and not np.isnan(case.ph[0]):
        out.append("The temperature of the pH sample is not given; 25 °C is taken.")
    conditions = _conditions(case)
    out += [f"A rule in words that you must check yourself: {text}" for text in conditions]
    if any(c.tables.places.get(m, (m, None))[0] == "US" for m in profile.markets):
        out.append(
            "The United States have no list of allowed preservatives; panel conclusions are "
            "advice, states add rules."
        )
    return tuple(out)


def _conditions(case: FormulaArrays) -> tuple[str, ...]:
    c, profile = case.reference, case.profiles[int(case.profile[0])]
    scopes = fitting(profile)
    out = []
    for row in c.tables.legal_limits:
        if (
            row.kind != "condition"
            or not any(c.tables.holds_in(row, market) for market in profile.markets)
            or row.scope not in scopes
            or (row.hair == "no")
            or not row.conditions
            or not in_force(row, profile.on_market)
        ):
            continue
        amount = case.amount[0] - case.preserving[0] if row.purpose == "other" else case.amount[0]
        present = [s for s in row.substances if s in c.index and amount[c.index[s]] > 0]
        if present or (not row.substances and row.market != "US"):
            named = f", {join_and(present)}" if present else ""
            where = row.market if row.region is None else f"{row.market} ({row.region})"
            out.append(f"{where} {row.entry}{named}: {row.conditions}")
    return tuple(dict.fromkeys(out))


def law_remarks(case: FormulaArrays, day: dt.date) -> tuple[str, ...]:
    """Markets of the product whose law in the tables is old on a day, or carries no date."""
    ages = law_ages(case.reference.tables, day, case.profiles[0].markets)
    return tuple(
        f"{age.market.name}: no date is known for the law in the tables; look it up before you sell"
        if age.newest is None
        else f"{age.market.name}: the law in the tables is of {age.newest.isoformat()}, "
        f"{age.months} months before this report; look up what has changed since"
        for age in ages
        if age.is_old
    )


def rows_behind(
    case: FormulaArrays, findings: Iterable[Finding], statements: Iterable[LabelStatement]
) -> tuple[Row, ...]:
    """The rows that a report rests on: of materials, findings, statements and cautions."""
    c = case.reference
    stand_ins = {id(row) for row in (*c.own, *c.extra)}
    evidence = [*(e for f in findings for e in f.evidence), *(s.evidence for s in statements)]
    rows = {
        (table_of(row), row.key_text): row
        for row in (
            *_material_rows(case),
            *(e.row for e in evidence if e.row is not None and id(e.row) not in stand_ins),
            *_caution_rows(case),
            *(() if _needs_no_test(case) else c.tables.test_organisms),
        )
    }
    order = {table: at for at, table in enumerate(TABLES)}
    return tuple(rows[key] for key in sorted(rows, key=lambda key: (order[key[0]], key[1])))


def _material_rows(case: FormulaArrays) -> Iterable[Row]:
    """Rows of the systems, actives and ingredients in the formula, the acids of salts included."""
    c = case.reference
    present = {c.names[i] for i in np.flatnonzero(case.amount[0] > 0)}
    systems = {c.systems.rows[i].id for i in case.system[0] if i >= 0}
    acids = {c.actives[n].acid_form for n in present if n in c.actives}
    yield from (row for row in c.tables.systems if row.id in systems)
    yield from (row for row in c.tables.actives if row.inci in present | acids)
    yield from (row for row in c.tables.ingredients if row.inci in present)


def own_rows(case: FormulaArrays, rows: Iterable[Row]) -> tuple[str, ...]:
    """Rows behind a report that are the user's own, and the formula's own materials."""
    c = case.reference
    own = [f"{table_of(row)}: {row.key_text}" for row in rows if c.tables.is_own(row)]
    return (*own, *(f"this formula: {i.inci}" for i in c.own))
