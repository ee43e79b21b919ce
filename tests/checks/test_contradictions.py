"""Check contradictions: does the file say of the product what its name and its type say?"""

import pytest

from preservecheck.arrays.recipes import Profile, said_by
from tests.helpers import (
    TODAY,
    about,
    make_formula,
    outcome,
    run_check,
    same_alone_and_together,
    the,
    value,
)

ID = "contradictions"
# EU Annex V/1: benzoic acid 2.5 % in what is rinsed off, 0.5 % in what stays on
BENZOATE = {"systems": {"sodium-benzoate": 0.5}}


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("Leave-in aloe curl jelly", {"leave-on"}),
        ("LEAVE IN milk", {"leave-on"}),
        ("Baby shampoo, unscented", {"under-3"}),
        ("Kid's detangling spray", {"under-10", "spray"}),
        ("Children's conditioner", {"under-10"}),
        ("Rosemary mist", {"spray"}),
        ("Dry shampoo foam", {"dry"}),
        ("Sleek baby hair edge gel", set()),
        ("Rosemary vinegar rinse", set()),
        ("Misty morning kidney bean mask", set()),
        ("Leave it", set()),
    ],
)
def test_what_a_name_says(name, said):
    """Whole words only."""
    assert said_by(name) == said


@pytest.mark.parametrize(
    ("product", "expected"),
    [
        ({"use": "rinse-off", "type": "conditioner"}, "pass"),
        ({"use": "leave-on", "type": "conditioner"}, "pass"),
        ({"use": "rinse-off", "type": "scalp"}, "pass"),
        ({"use": "leave-on", "type": "leave-in"}, "pass"),
        ({"use": "rinse-off", "type": "leave-in"}, "serious"),
        ({"use": "rinse-off", "type": "styling"}, "serious"),
        ({"use": "rinse-off", "type": "mask", "name": "Leave-in mask"}, "serious"),
        ({"use": "leave-on", "type": "mask", "name": "Rinse-off mask"}, "warn"),
        ({"use": "leave-on", "type": "shampoo"}, "warn"),
        ({"use": "leave-on", "type": "shampoo", "name": "Dry shampoo"}, "pass"),
    ],
)
def test_use(product, expected):
    """Hidden law is serious: benzoic acid may be 2.5 % in what is rinsed off and 0.5 % in what
    stays on. Where the file has the stricter reading already, nothing is hidden."""
    assert outcome(the(ID, BENZOATE | product)) == expected


def test_law_that_is_the_same():
    """Phenoxyethanol may be 1 % in either: a question, no fault."""
    formula = {"systems": {"phenoxyethanol": 0.8}, "use": "rinse-off", "type": "styling"}
    assert outcome(the(ID, formula)) == "warn"


@pytest.mark.parametrize(
    ("name", "users", "system", "expected"),
    [
        ("Kids shampoo", "adults", "phenoxyethanol", "warn"),
        ("Kids shampoo", "under-10", "phenoxyethanol", "pass"),
        ("Baby shampoo", "under-10", "phenoxyethanol", "warn"),
        ("Baby shampoo", "under-3", "phenoxyethanol", "pass"),
        # salicylic acid is barred under 3 years (EU Annex V/3)
        ("Baby shampoo", "adults", "benzyl-alcohol-salicylic-glycerin-sorbic", "serious"),
    ],
)
def test_users(name, users, system, expected):
    """A name that speaks to children against the users of the file."""
    formula = {"systems": {system: 0.8}, "type": "shampoo", "name": name, "users": users}
    assert outcome(the(ID, formula)) == expected


@pytest.mark.parametrize(
    ("package", "expected"), [("jar", "warn"), ("pump", "warn"), ("spray", "pass"), (None, "pass")]
)
def test_pack(package, expected):
    """A mist that is not sprayed; where no pack is named nothing contradicts the name."""
    formula = {"name": "Rose mist", "systems": {"phenoxyethanol": 0.8}, "package": package}
    assert outcome(the(ID, formula | {"use": "leave-on", "type": "leave-in"})) == expected


@pytest.mark.parametrize(("ph", "expected"), [(5, "warn"), (6.95, "pass"), (9.5, "pass")])
def test_acid_soap(ph, expected):
    """True soap surely below pH 7 is none: the reading or the soap is wrong. 6.95 ± 0.1 is not
    surely below."""
    soap = {"items": {"Potassium Cocoate": 15}, "type": "shampoo"}
    assert outcome(the(ID, soap, ph=ph)) == expected


class TestStricterReading:
    """Until it is answered the law is judged on the stricter reading."""

    def test_leave_on_limit(self):
        """0.6 % sodium benzoate is 0.6 x 0.84747 = 0.5085 % benzoic acid: under 2.5 %, over 0.5 %."""
        jelly = {"systems": {"sodium-benzoate": 0.6}, "use": "rinse-off", "type": "styling"}
        found = about(run_check("legal-limit", jelly), "Sodium Benzoate × EU")
        assert outcome(found) == "serious"
        assert value(found, "percent_max") == 0.5

    def test_profile(self):
        """Use, users and pack together."""
        formula = make_formula(
            name="Baby leave-in spray", use="rinse-off", type="conditioner", package="jar"
        )
        strict = Profile.of(formula.product, TODAY).strict
        assert (strict.use, strict.users, strict.package) == ("leave-on", "under-3", "spray")

    def test_nothing_to_be_strict_about(self):
        """A file without a contradiction is taken at its word."""
        profile = Profile.of(make_formula().product, TODAY)
        assert profile.strict == profile


def test_words():
    """What differs, the reading taken, and the question."""
    found = the(ID, BENZOATE | {"use": "rinse-off", "type": "styling"})
    assert "rinse-off" in found.because
    assert "leave-on" in found.because
    assert "Set the use" in (found.do or "")


def test_batch():
    """A batch reads like its formulas one by one."""
    same_alone_and_together(
        ID,
        make_formula({}, {"sodium-benzoate": 0.5}, use="rinse-off", type="styling"),
        make_formula({"Glycerin": 3}, name="Kids shampoo", type="shampoo"),
        make_formula({"Potassium Cocoate": 15}, type="shampoo", ph=5),
        make_formula({"Glycerin": 3}),
    )
