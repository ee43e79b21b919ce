"""A formula screened among many gives exactly what a review of it alone says: every check, every
system."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest

from preservecheck import load_tables, review
from preservecheck.assess.findings import composer_for
from preservecheck.checks import CHECKS
from preservecheck.formula.build import build
from preservecheck.ranking.base import BaseFormula
from preservecheck.ranking.candidate import Candidate
from preservecheck.screen.frame import screen_frame
from preservecheck.screen.long_table import raw_formula
from preservecheck.verdict import Finding
from tests.generated import pile
from tests.helpers import examples

TODAY = dt.date(2026, 11, 26)
COUNT, WITH_CHANCES = examples(1000), 50
ORDER = {"pass": 1, "unknown": 2, "warn": 3}
# of several findings alike the one that decides: the figure and whether the higher or the lower one
# presses harder
PRESSES = {
    "free-active": lambda f: -f.value("challenge_chance"),
    "lasting": lambda f: -f.figures[0].value,
    "heat-limit": lambda f: _less(f.value("temperature_c"), f.value("limit_c")),
    "weighing": lambda f: f.value("error_percent"),
    "legal-limit": lambda f: _over(f.value("percent_as_limited"), f.value("percent_max")),
    "solubility": lambda f: _over(f.value("dissolved_g_l"), f.value("solubility_g_l")),
    "use-level": lambda f: max(
        f.value("percent_min") - f.value("percent"),
        f.value("percent") - f.value("percent_max"),
    ),
    "ph-range": lambda f: max(
        f.value("ph_min") - f.value("ph"),
        f.value("ph") - f.value("ph_max"),
    ),
    "ionic": lambda f: -f.value("unpaired_share"),
}


def _less(a, b):
    return a - b


def _over(a, b):
    return 0.0 if b is None or a is None else np.inf if b == 0 else a / b


def joined(tables, count, seed):
    lines, products = pile(tables, count, seed)
    return lines.merge(products, on="formula"), lines, products


def code(finding: Finding) -> int:
    return 4 if finding.serious else ORDER[finding.verdict]


def candidates(check, findings):
    """Key figures that a screen may show for a check: of the findings with the worst code those
    that press hardest."""
    worst = max(code(f) for f in findings)
    mine = [f for f in findings if code(f) == worst]
    if check.id in PRESSES:
        try:
            criticality = [PRESSES[check.id](f) for f in mine]
            hardest = max(criticality)
            return [
                f
                for f, p in zip(mine, criticality, strict=True)
                if math.isclose(p, hardest, rel_tol=1e-9)
            ]
        except TypeError:  # a figure is not known: any of them may stand
            return mine
    return mine


def compare(row, report):
    for check in CHECKS:
        mine = [f for f in report.checks if f.id == check.id]
        name = f"{check.id}.{check.key.name}"
        if not mine:
            assert row[check.id] == "", (row["formula"], check.id)
            continue
        worst = max(mine, key=code)
        assert (row[check.id], bool(row[f"{check.id}.serious"])) == (
            worst.verdict,
            worst.serious,
        ), (row["formula"], row["system"], check.id)
        figures = [f.figures[0] for f in candidates(check, mine)]
        assert {f.name for f in figures} == {check.key.name}
        assert {f.unit for f in figures} == {check.key.unit}
        shown = None if pd.isna(row[name]) else row[name]
        assert shown in [f.value for f in figures], (
            row["formula"],
            row["system"],
            check.id,
            shown,
            figures,
        )
        if check.key.tolerance is not None:
            half = None if pd.isna(row[f"{name}.tolerance"]) else row[f"{name}.tolerance"]
            assert half in [f.tolerance for f in figures if f.value == shown], (
                row["formula"],
                check.id,
            )
    assert row["verdict"] == report.verdict
    assert bool(row["serious"]) == report.serious


@pytest.fixture(scope="module")
def tables():
    return load_tables()


@pytest.fixture
def without_chances(monkeypatch):
    """From the call on, reviews draw no chances: no verdict rests on them, and a screen has none."""
    return lambda: monkeypatch.setattr("preservecheck.assess.findings.chances", lambda *_: None)


def formulas_of(tables, lines, products):
    named = products.set_index("formula", drop=False)
    for name, mine in lines.groupby("formula", sort=False):
        raw = raw_formula(
            mine.to_dict("records"), named.loc[name].to_dict(), composer_for(tables).resolver
        )
        yield name, build(raw, "", tables, TODAY, "sheet")


def test_many_formulas_as_they_stand(tables, without_chances):
    """The first fifty as a maker has them reviewed, with chances."""
    frame, lines, products = joined(tables, COUNT, seed=7)
    found = screen_frame(frame, tables=tables, today=TODAY).set_index("formula", drop=False)
    assert len(found) == COUNT
    assert (found["verdict"] != "unread").all()
    for n, (name, formula) in enumerate(formulas_of(tables, lines, products)):
        if n == WITH_CHANCES:
            without_chances()
        compare(found.loc[name], review(formula, tables, today=TODAY))


def test_every_system_in_many_formulas(tables, without_chances):
    """Each formula with one system in place of its own, as ``choose`` builds it, the systems taken
    in turn."""
    frame, lines, products = joined(tables, COUNT, seed=11)
    systems = [s.id for s in tables.systems]
    found = screen_frame(frame, against="all", tables=tables, today=TODAY)
    assert len(found) == COUNT * len(systems)
    assert list(found["system"][: len(systems)]) == systems
    by_id = {s.id: s for s in tables.systems}
    compared = dict.fromkeys(systems, 0)
    without_chances()
    for n, (name, formula) in enumerate(formulas_of(tables, lines, products)):
        row = found.iloc[n * len(systems) + n % len(systems)]
        assert row["formula"] == name
        if row["note"]:
            assert (row["verdict"], row["limiting_check"]) == ("warn", "use-level")
            continue
        candidate = Candidate(by_id[row["system"]], row["percent"])
        base = BaseFormula(formula, tables, TODAY, mend=False)
        compare(row, review(base.formula_with(candidate), tables, today=TODAY))
        compared[row["system"]] += 1
    assert [s for s, n in compared.items() if n < COUNT // 100] == [
        "low-water-activity-high-glycol"
    ]
