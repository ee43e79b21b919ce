"""Challenge-test criteria and strains against the standards, from memory and from laboratory pages
read for the facts.

ISO 11930 (criteria A and B), USP <51> (category 2, topical products in water) and Ph. Eur. 5.1.3
(topical). The standards themselves were not opened; the figures below are those that the
laboratories' pages agree on.
"""

import pytest

from preservecheck.reference.load import load_tables

TABLES = load_tables()

# standard, criterion, group -> least log reduction by day
REDUCTIONS = {
    ("iso-11930", "A", "bacteria"): {7: 3, 14: 3, 28: 3},
    ("iso-11930", "A", "yeast"): {7: 1, 14: 1, 28: 1},
    ("iso-11930", "A", "mould"): {28: 1},
    ("iso-11930", "B", "bacteria"): {14: 3, 28: 3},
    ("iso-11930", "B", "yeast"): {14: 1, 28: 1},
    ("iso-11930", "B", "mould"): {},
    ("usp-51", "category 2", "bacteria"): {14: 2},
    ("usp-51", "category 2", "yeast"): {},
    ("usp-51", "category 2", "mould"): {},
    ("ph-eur-5.1.3", "A", "bacteria"): {2: 2, 7: 3},
    ("ph-eur-5.1.3", "A", "yeast"): {14: 2},
    ("ph-eur-5.1.3", "A", "mould"): {14: 2},
    ("ph-eur-5.1.3", "B", "bacteria"): {14: 3},
    ("ph-eur-5.1.3", "B", "yeast"): {14: 1},
    ("ph-eur-5.1.3", "B", "mould"): {14: 1},
}
# the same -> days at which the count may not have grown, and since when
NO_INCREASE = {
    ("iso-11930", "A", "bacteria"): {(14, "day_7"), (28, "day_14")},
    ("iso-11930", "A", "yeast"): {(14, "day_7"), (28, "day_14")},
    ("iso-11930", "A", "mould"): {(14, "initial"), (28, "day_14")},
    ("iso-11930", "B", "bacteria"): {(28, "day_14")},
    ("iso-11930", "B", "yeast"): {(28, "day_14")},
    ("iso-11930", "B", "mould"): {(14, "initial"), (28, "initial"), (28, "day_14")},
    ("usp-51", "category 2", "bacteria"): {(28, "day_14")},
    ("usp-51", "category 2", "yeast"): {(14, "initial"), (28, "initial")},
    ("usp-51", "category 2", "mould"): {(14, "initial"), (28, "initial")},
    ("ph-eur-5.1.3", "A", "bacteria"): {(28, "day_7")},
    ("ph-eur-5.1.3", "A", "yeast"): {(28, "day_14")},
    ("ph-eur-5.1.3", "A", "mould"): {(28, "day_14")},
    ("ph-eur-5.1.3", "B", "bacteria"): {(28, "day_14")},
    ("ph-eur-5.1.3", "B", "yeast"): {(28, "day_14")},
    ("ph-eur-5.1.3", "B", "mould"): {(28, "day_14")},
}
# strain numbers of the culture collection that all three standards name
STRAINS = {
    "Pseudomonas aeruginosa": ("gram-negative", "ATCC 9027"),
    "Staphylococcus aureus": ("gram-positive", "ATCC 6538"),
    "Escherichia coli": ("gram-negative", "ATCC 8739"),
    "Candida albicans": ("yeast", "ATCC 10231"),
    "Aspergillus brasiliensis": ("mould", "ATCC 16404"),
}


def rows(standard, criterion, group):
    """Lines of one criterion for one kind of microbe."""
    return [
        r
        for r in TABLES.challenge_criteria
        if (r.standard, r.criterion, r.organism_group) == (standard, criterion, group)
    ]


@pytest.mark.parametrize("key", list(REDUCTIONS), ids=" ".join)
def test_reductions(key):
    """Days and log reductions are those of the standard, no more and no fewer."""
    found = {r.day: r.value for r in rows(*key) if r.requirement == "min_log_reduction"}
    assert found == REDUCTIONS[key]


@pytest.mark.parametrize("key", list(NO_INCREASE), ids=" ".join)
def test_no_increase(key):
    """Where the count may not grow, the day and what it is held against."""
    found = {
        (r.day, r.requirement.removeprefix("no_increase_from_"))
        for r in rows(*key)
        if r.requirement != "min_log_reduction"
    }
    assert found == NO_INCREASE[key]


def test_nothing_else_in_the_table():
    """Every line of the table belongs to one of these criteria."""
    assert {(r.standard, r.criterion, r.organism_group) for r in TABLES.challenge_criteria} == set(
        REDUCTIONS
    )


def test_half_a_log_counts_as_no_increase():
    """ISO and USP take up to 0.5 log as no increase."""
    found = {
        r.tolerance_log
        for r in TABLES.challenge_criteria
        if r.standard in ("iso-11930", "usp-51") and r.requirement.startswith("no_increase")
    }
    assert found == {0.5}


def test_strains():
    """The five organisms with their kind and strain."""
    assert {o.organism: (o.group, o.strain) for o in TABLES.test_organisms} == STRAINS


@pytest.mark.parametrize(
    ("standard", "without"),
    [("iso_11930", set()), ("usp_51", set()), ("ph_eur_5_1_3", {"Escherichia coli"})],
)
def test_panel(standard, without):
    """All five for ISO 11930 and USP <51>; Ph. Eur. asks E. coli only of oral products."""
    used = {o.organism for o in TABLES.test_organisms if getattr(o, standard) == "yes"}
    assert used == set(STRAINS) - without
