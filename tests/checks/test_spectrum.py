"""Check spectrum: is there something against each kind of microbe?"""

import pytest

from preservecheck.assess.findings import findings_of
from preservecheck.reference.load import load_tables
from tests.helpers import case_of, make_formula, outcome, same_alone_and_together, the, value

ID = "spectrum"
GROUPS = ("gram_positive", "gram_negative", "yeast", "mould")


def test_rows_behind_the_verdicts_below():
    """The ratings that the tests below rest on."""
    rows = {s.id: tuple(getattr(s, g) for g in GROUPS) for s in load_tables().systems}
    assert rows["phenoxyethanol-benzoic-dehydroacetic"] == (
        "strong",
        "moderate",
        "strong",
        "strong",
    )
    assert rows["phenoxyethanol-ethylhexylglycerin-90-10"] == (
        "strong",
        "strong",
        "moderate",
        "weak",
    )
    assert rows["leuconostoc-radish-root-ferment-filtrate"] == ("weak", "weak", "weak", "none")
    assert rows["potassium-sorbate"] == ("weak", "weak", "strong", "strong")


@pytest.mark.parametrize(
    ("systems", "expected"),
    [
        ({"phenoxyethanol-benzoic-dehydroacetic": 1}, "pass"),  # moderate is enough
        ({"phenoxyethanol-ethylhexylglycerin-90-10": 1}, "warn"),  # mould weak
        ({"leuconostoc-radish-root-ferment-filtrate": 4}, "serious"),  # mould none
        (
            {"phenoxyethanol-ethylhexylglycerin-90-10": 1, "potassium-sorbate": 0.3},
            "pass",
        ),  # the pair closes the gap
        (
            {"leuconostoc-radish-root-ferment-filtrate": 4, "potassium-sorbate": 0.3},
            "warn",
        ),  # bacteria still weak
    ],
)
def test_best_rating_counts(systems, expected):
    """Strong or moderate passes, weak warns, none is serious; of several systems the best
    counts."""
    assert outcome(the(ID, {"systems": systems})) == expected


def test_what_is_no_preservative():
    """An essential oil and an antioxidant are named as none."""
    items = {"Melaleuca Alternifolia Leaf Oil": 0.5, "Tocopherol": 0.2}
    found = the(ID, {"items": items})
    assert outcome(found) == "serious"
    for name in items:
        assert name in found.because


class TestFreeActiveDecides:
    """Where free-active has a sum for every microbe of a group, a rating says nothing."""

    @pytest.mark.parametrize(("ph", "expected"), [(4.5, "pass"), (6.5, "serious")])
    def test_by_the_free_amount(self, ph, expected):
        """Benzoate is rated weak on bacteria. Free benzoic acid of 0.5 % (0.424 % as acid): at pH
        4.5 f = 0.335, 0.142 %; at pH 6.5 f = 0.005, 0.002 %, far below every MIC in the tables."""
        formula = make_formula({}, {"sodium-benzoate": 0.5}, ph=ph)
        found = {f.finding.id: f.finding for f in findings_of(case_of(formula))}
        assert outcome(found[ID]) == expected

    def test_root(self):
        """It comes down to the pH, by way of the free amount."""
        formula = make_formula({}, {"sodium-benzoate": 0.5}, ph=6.5)
        found = {f.finding.id: f.finding for f in findings_of(case_of(formula))}
        assert found[ID].root is not None

    def test_weak_rating_with_a_sum(self):
        """Phenoxyethanol + ethylhexylglycerin is rated weak on moulds; the figure passes."""
        assert (
            outcome(the(ID, {"systems": {"phenoxyethanol-ethylhexylglycerin-90-10": 1}}, ph=5))
            == "pass"
        )


def test_no_system():
    """Without a system all four are open."""
    found = the(ID, {"items": {"Glycerin": 3}})
    assert outcome(found) == "serious"
    assert [value(found, g) for g in GROUPS] == [0, 0, 0, 0]
    assert value(found, "weakest") == 0


@pytest.mark.parametrize(
    ("items", "systems", "weakest"),
    [
        ({}, {"phenoxyethanol-benzoic-dehydroacetic": 1}, 2),  # strong, moderate, strong, strong
        ({}, {"phenoxyethanol-ethylhexylglycerin-90-10": 1}, 1),  # mould weak
        ({"o-Cymen-5-ol": 0.1}, {}, None),  # nothing is rated
        (
            {"o-Cymen-5-ol": 0.1},
            {"phenoxyethanol-ethylhexylglycerin-90-10": 1},
            None,
        ),  # may close the gap, or not
        (
            {"o-Cymen-5-ol": 0.1},
            {"phenoxyethanol-benzoic-dehydroacetic": 1},
            2,
        ),  # takes nothing away
    ],
)
def test_weakest_of_the_four(items, systems, weakest):
    """The lowest of the four ratings in the tables; unknown where an unrated active may raise
    it."""
    assert the(ID, {"items": items, "systems": systems}).value("weakest") == weakest


def test_unrated_active_alone():
    """A recognised active without ratings is the only thing that might act: unknown."""
    assert outcome(the(ID, {"items": {"o-Cymen-5-ol": 0.1}})) == "unknown"


def test_unrated_active_beside_a_gap():
    """Where the one that might close the gap has no ratings, it is unknown whether it does."""
    items, systems = {"o-Cymen-5-ol": 0.1}, {"phenoxyethanol-ethylhexylglycerin-90-10": 1}
    assert outcome(the(ID, {"items": items, "systems": systems})) == "unknown"


def test_unrated_active_beside_full_cover():
    """An unrated active takes nothing away from a system that covers all four."""
    items, systems = {"o-Cymen-5-ol": 0.1}, {"phenoxyethanol-benzoic-dehydroacetic": 1}
    assert outcome(the(ID, {"items": items, "systems": systems})) == "pass"


def test_figures_and_remedy():
    """The ratings are figures from 0 to 3, and the remedy names the open group."""
    found = the(ID, {"systems": {"phenoxyethanol-ethylhexylglycerin-90-10": 1}})
    assert [value(found, g) for g in GROUPS] == [3, 3, 2, 1]
    assert "moulds" in (found.do or "")


@pytest.mark.parametrize(
    ("activity", "expected"), [(0.70, "pass"), (0.75, "warn"), (0.80, "serious")]
)
def test_dry_product(activity, expected):
    """Surely below a water activity of 0.75 no spectrum is asked for; where it may be, a gap only
    warns."""
    found = the(
        ID, {"items": {"Glycerin": 60}}, water_activity=activity, water_activity_tolerance=0.01
    )
    assert outcome(found) == expected


def test_batch():
    """A batch reads like its formulas one by one."""
    same_alone_and_together(
        ID,
        make_formula({}, {"potassium-sorbate": 0.3, "phenoxyethanol": 0.8}),
        make_formula({"o-Cymen-5-ol": 0.1}),
        make_formula({"Glycerin": 3}),
    )
