"""How old the law is, and where a cell comes from."""

import datetime as dt

import pytest

from preservecheck.reference.load import load_tables
from preservecheck.reference.state import full_months, law_ages, read_shares, standing_of


@pytest.mark.parametrize(
    ("since", "day", "months"),
    [
        ("2026-06-01", "2026-12-01", 6),
        ("2026-06-02", "2026-12-01", 5),
        ("2025-12-31", "2026-12-31", 12),
        ("2026-12-02", "2026-12-01", 0),
    ],
)
def test_full_months(since, day, months):
    """Months are counted in full, by the day of the month."""
    assert full_months(dt.date.fromisoformat(since), dt.date.fromisoformat(day)) == months


def test_old_law():
    """Law read on 2026-10-07 is not old on 2026-12-01 and is on 2027-04-07."""
    tables = load_tables()
    for day, old in (("2026-12-01", False), ("2027-04-06", False), ("2027-04-07", True)):
        eu = next(a for a in law_ages(tables, dt.date.fromisoformat(day)) if a.market.id == "EU")
        assert eu.is_old is old


def test_standing_of_a_cell():
    """A recalled column of a read row is recalled; an empty cell is missing; a custom is neither."""
    tables = load_tables()
    row = next(s for s in tables.systems if s.id == "phenoxyethanol")
    assert row.basis == "published"
    assert "preferred_add_below_c" in row.recalled
    assert standing_of(row, "preferred_add_below_c") == "recalled"
    assert standing_of(row, "heat_limit_c") == "read"
    assert standing_of(row, "parts") == "missing"
    water = next(i for i in tables.ingredients if i.key_text == "Aqua")
    assert (water.basis, water.recalled) == ("published", "all but role")
    assert standing_of(water, "role") == "read"
    assert standing_of(water, "water_fraction") == "recalled"
    tap = next(i for i in tables.ingredients if i.key_text == "Aqua (tap)")
    assert standing_of(tap, "role") == "practice"


def test_what_was_read_only_grows():
    """Shares read in December 2026; a smaller one is a step back."""
    floors = {
        "inhibition figures": 63 / 224,
        "partition coefficients": 44 / 68,
        "roles of ingredients": 552 / 647,
        "rows of the law": 508 / 693,
    }
    for name, (read, total) in read_shares(load_tables()).items():
        assert read / total >= floors[name] - 1e-9, name
