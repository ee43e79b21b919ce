"""One formula through all checks: what the findings of a report carry as data."""

from __future__ import annotations

import pytest

from preservecheck import review
from preservecheck.checks import BY_ID
from preservecheck.errors import Hint
from preservecheck.reference.rows import TABLES, table_of
from tests.helpers import TODAY, make_formula, run_check

MILK = {"items": {"Glycerin": 3, "Xanthan Gum": 0.3, "Isopropyl Myristate": 4}, "ph": 4.8}


def report_on(systems, **changes):
    """The review of a plain hair milk."""
    return review(make_formula(**(MILK | {"systems": systems} | changes)), today=TODAY)


@pytest.mark.parametrize("check", ["water-activity", "free-active", "spectrum"])
def test_without_a_preservative_systems_are_to_be_ranked(check):
    """What is missing is named as data: each front end says in its own words how it is found."""
    without = run_check(check, make_formula(**MILK))
    assert {f.hint for f in without} == {Hint.RANK_SYSTEMS}
    held = run_check(check, make_formula(**(MILK | {"systems": {"phenoxyethanol": 0.9}})))
    assert {f.hint for f in held} == {None}


def test_no_remedy_names_a_command_or_a_view():
    """A remedy is told to users of the command line, of the page and of the library alike."""
    remedies = [
        f.do for systems in ({}, {"potassium-sorbate": 0.3}) for f in report_on(systems).checks
    ]
    assert any(remedies)
    assert not [do for do in remedies if do and ("preservecheck" in do or "--" in do or "“" in do)]


def test_rows_stand_in_tables_that_the_check_reads():
    """A finding rests on rows of the tables alone whose change can change it."""
    for finding in report_on({"sodium-benzoate-potassium-sorbate": 1.0}).checks:
        tables = {table_of(e.row) for e in finding.evidence if e.row is not None}
        assert tables <= set(BY_ID[finding.id].tables), finding.id


def test_rows_behind_a_report():
    """Every row that a finding or a statement rests on stands once, table by table."""
    report = report_on({"sodium-benzoate-potassium-sorbate": 1.0})
    keys = [(table_of(row), row.key_text) for row in report.rows]
    order = list(TABLES)
    assert keys == sorted(set(keys), key=lambda k: (order.index(k[0]), k[1]))
    named = {e.row.key_text for f in report.checks for e in f.evidence if e.row is not None}
    assert named <= {key for _, key in keys}
    assert ("systems", "sodium-benzoate-potassium-sorbate") in keys
    assert ("ingredients", "Xanthan Gum") in keys
    # the acids that the two salts act as
    assert {("actives", "Benzoic Acid"), ("actives", "Sorbic Acid")} <= set(keys)
    assert {"mic", "legal_limits", "product_kinds", "growth_limits"} <= {table for table, _ in keys}
    assert all(s.evidence.row in report.rows for s in report.labels)


def test_parts_of_a_subject():
    """What a subject is put together from stands beside it: substances, then the market; what goes
    in, then the phase."""
    parts = {(f.id, f.about): f.parts for f in report_on({"phenoxyethanol": 0.9}).checks}
    assert parts["legal-limit", "Phenoxyethanol × EU"] == ("Phenoxyethanol", "EU")
    assert parts["heat-limit", "phenoxyethanol"] == ("phenoxyethanol",)
    assert parts["nutrient-load", "formula"] == ("formula",)
