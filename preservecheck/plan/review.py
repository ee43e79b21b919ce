"""The main job: one formula through all checks, as a report with a plan."""

from __future__ import annotations

import datetime as dt
import os
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from preservecheck.arrays.formulas import formula_arrays
from preservecheck.assess import advice
from preservecheck.assess.findings import (
    Preservative,
    composer_for,
    counts_of,
    findings_of,
    preservatives,
    table_arrays_for,
)
from preservecheck.assess.purpose import purpose_questions
from preservecheck.assess.settled import settle
from preservecheck.formula.load import load_formula
from preservecheck.formula.model import Formula, Product
from preservecheck.formula.stored_result import stored_sentence
from preservecheck.plan.report import PlanReport, planned
from preservecheck.plan.trials import Trials
from preservecheck.provenance import Provenance, provenance_of
from preservecheck.reference.load import Tables, load_tables
from preservecheck.reference.rows import ProductKind, Row
from preservecheck.verdict import SERIOUS, WORDS, Finding, LabelStatement, Word, fold


@dataclass(frozen=True, kw_only=True)
class Report(Provenance):
    """What ``review`` says about one formula."""

    product: Product
    kind: ProductKind | None  # of product, as named or as the recipe looks
    path: str | None
    verdict: Word
    serious: bool
    counts: dict[str, int]
    preservatives: tuple[Preservative, ...]
    checks: tuple[Finding, ...]
    remarks: tuple[str, ...]
    own_rows: tuple[str, ...]
    labels: tuple[LabelStatement, ...]
    cautions: tuple[str, ...]
    challenge_test: advice.ChallengeTest
    not_covered: tuple[str, ...]
    plan: PlanReport | None = None
    # for plots and records; not part of the JSON
    formula: Formula | None = None
    rows: tuple[Row, ...] = ()  # of the tables, that it rests on

    def to_json(self) -> dict[str, Any]:
        """The report with the keys that other programs read, in a fixed order."""
        return {
            **super().to_json(),
            "product": {
                **self.product.model_dump(mode="json"),
                "kind": None if self.kind is None else self.kind.id,
                "kind_given": self.product.kind is not None,
            },
            "verdict": self.verdict,
            "counts": self.counts,
            "plan": None if self.plan is None else self.plan.to_json(),
            "preservatives": [p.to_json() for p in self.preservatives],
            "checks": [finding.to_json() for finding in self.checks],
            "remarks": list(self.remarks),
            "own_rows": list(self.own_rows),
            "labels": [label.line for label in self.labels],
            "cautions": list(self.cautions),
            "challenge_test": asdict(self.challenge_test),
            "not_covered": list(self.not_covered),
        }


def review(
    formula: Formula | str | os.PathLike[str],
    tables: Tables | None = None,
    *,
    today: dt.date | None = None,
    plan: bool = True,
) -> Report:
    """Judge one formula by all checks, and plan what mends it.

    Parameters
    ----------
    formula
        A formula, or the path of its file.
    tables
        The tables; default the shipped ones, with the user's own rows named in
        ``PRESERVECHECK_TABLES``.
    today
        Date of the report, and of the law where the formula names no day.
    plan
        Whether to plan; the verdict does not hang on it.

    Raises
    ------
    FormulaError
        The file cannot be used; all faults at once.
    TableError
        A table has a fault.
    """
    tables = tables or load_tables()
    today = today or dt.date.today()
    if not isinstance(formula, Formula):
        formula = load_formula(formula, tables, today=today)
    composition = composer_for(tables).compose(formula)
    case = formula_arrays([composition], table_arrays_for(tables), today)
    findings, unmet = settle(findings_of(case), case, formula.settled)
    codes = [f.code for f in findings]
    worst = int(fold(np.array(codes, dtype=np.int8)))
    settled = sum(f.finding.settled is not None and f.finding.settled.holds for f in findings)
    known = {(f.finding.id, f.finding.about): f.code for f in findings}, settled
    made = planned(Trials(tables, today), formula, case, known) if plan else None
    shown = tuple(made.told(f.finding) if made else f.finding for f in findings)
    labels = advice.labels(case)
    rows = advice.rows_behind(case, shown, labels)
    return Report(
        **vars(provenance_of(tables, formula, today)),
        product=formula.product,
        kind=case.kind_of(),
        path=formula.path,
        verdict=WORDS[worst] or "unknown",
        serious=worst == SERIOUS,
        counts=counts_of(codes, settled),
        preservatives=preservatives(composition, case),
        checks=shown,
        remarks=(
            *composition.remarks,
            *purpose_questions(case),
            *unmet,
            *advice.law_remarks(case, today),
        ),
        own_rows=advice.own_rows(case, rows),
        labels=labels,
        cautions=advice.cautions(case),
        challenge_test=advice.challenge_test(case, shown, stored_sentence(formula)),
        not_covered=advice.not_covered(case),
        plan=made,
        formula=formula,
        rows=rows,
    )
