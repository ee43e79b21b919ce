"""Findings that a trial answered: they pass as long as what they rest on has not changed."""

import datetime as dt

import pytest

from preservecheck.errors import FormulaError
from preservecheck.plan.review import review
from tests.helpers import TODAY, formula_of, make_raw, outcome, toml_text

SYSTEM = "benzyl-alcohol-dehydroacetic-acid"
# 0.87 x 0.8 % benzyl alcohol and a protein: ionic says that it needs care
ITEMS = {"Hydrolyzed Oat Protein": 1.0, "Disodium EDTA": 0.1}
ANSWER = {
    "check": "ionic",
    "about": SYSTEM,
    "on": "2026-11-20",
    "by": "M. R.",
    "saw": "clear, no change after 24 h, 7 d and 28 d at 40 °C",
}


def text(answers, dose=0.8, **changes):
    """A formula with answers, as its maker writes them."""
    head = toml_text(make_raw(ITEMS, {SYSTEM: dose}, ph=4.4, **changes))
    lines = []
    for answer in answers:
        lines.append("[[settled]]")
        for key, value in answer.items():
            shown = (
                "{ " + ", ".join(f'"{k}" = {v}' for k, v in value.items()) + " }"
                if isinstance(value, dict)
                else value
                if key == "on"
                else f'"{value}"'
            )
            lines.append(f"{key} = {shown}")
    return head + "\n".join(lines) + "\n"


def reviewed(*answers, **changes):
    """The report on that formula."""
    return review(formula_of(text(answers, **changes)), today=TODAY)


def finding(report, check="ionic"):
    """The only finding of a check."""
    return next(f for f in report.checks if f.id == check)


def test_warns_without_an_answer():
    """The warning, and what it rests on, for the maker to write down."""
    report = reviewed()
    found = finding(report)
    assert (outcome(found), report.counts["settled"]) == ("warn", 0)
    assert found.settled is None
    assert found.rests_on[SYSTEM] == 0.8


def test_passes_with_the_note():
    """It passes with note, day and initials, and is counted as settled."""
    before, report = reviewed(), reviewed(ANSWER)
    found = finding(report)
    assert outcome(found) == "pass"
    assert report.counts["settled"] == 1
    assert report.counts["warn"] == before.counts["warn"] - 1
    assert report.counts["pass"] == before.counts["pass"] + 1
    for words in ("2026-11-20", "M. R.", "28 d at 40 °C"):
        assert words in found.because
    assert found.do is None
    assert found.settled.on == dt.date(2026, 11, 20)


def test_holds_while_nothing_changes():
    """With what it rests on written down, the same formula is still settled, and says no more."""
    basis = finding(reviewed()).rests_on
    found = finding(reviewed(ANSWER | {"rests_on": basis}))
    assert outcome(found) == "pass"
    assert found.settled.holds
    assert "not noticed" not in found.because
    assert "not noticed" in finding(reviewed(ANSWER)).because


@pytest.mark.parametrize("change", [{"dose": 0.9}, {"ph": 4.9}])
def test_lapses(change):
    """Another dose, or another pH: the warning stands again, and says what has changed."""
    basis = finding(reviewed()).rests_on
    report = review(
        formula_of(
            text([ANSWER | {"rests_on": basis}], dose=change.get("dose", 0.8)).replace(
                "ph = 4.4", f"ph = {change.get('ph', 4.4)}"
            )
        ),
        today=TODAY,
    )
    found = finding(report)
    assert (outcome(found), report.counts["settled"]) == ("warn", 0)
    assert not found.settled.holds
    assert "no longer holds" in found.because


def test_asks_for_the_trial_again():
    """At another dose the remedy is the trial."""
    basis = finding(reviewed()).rests_on
    found = finding(reviewed(ANSWER | {"rests_on": basis}, dose=0.9))
    assert "trial again" in (found.do or "")


def test_old_name_of_a_check():
    """An answer that names a check by its old id still counts."""
    items = {"Hydrolyzed Oat Protein": 2.0}
    raw = toml_text(make_raw(items, {SYSTEM: 0.8}, ph=5.5))
    answer = ANSWER | {"check": "burden", "about": "formula"}
    lines = "".join(f"{k} = {v if k == 'on' else repr(v)}\n" for k, v in answer.items())
    report = review(formula_of(f"{raw}[[settled]]\n{lines}"), today=TODAY)
    found = finding(report, "nutrient-load")
    assert (outcome(found), found.settled is not None) == ("pass", True)


@pytest.mark.parametrize(
    ("check", "about", "changes"),
    [
        ("legal-limit", "Benzyl Alcohol × EU", {"dose": 1.5}),
        ("heat-limit", SYSTEM, {"added_at": "60 °C"}),
        ("use-level", SYSTEM, {"dose": 1.5}),
    ],
)
def test_never_settled(check, about, changes):
    """The law, the heat and the use level are no matter of a trial."""
    answer = ANSWER | {"check": check, "about": about}
    found = next(f for f in reviewed(answer, **changes).checks if (f.id, f.about) == (check, about))
    assert outcome(found) == "serious"
    assert found.settled is None


def test_serious_is_never_settled():
    """High load in a jar with no hurdle stays a fault, whatever was seen."""
    items = {"Hydrolyzed Oat Protein": 2.0}
    raw = toml_text(make_raw(items, {SYSTEM: 0.8}, ph=5.5, package="jar"))
    answer = ANSWER | {"check": "nutrient-load", "about": "formula"}
    lines = "".join(f"{k} = {v if k == 'on' else repr(v)}\n" for k, v in answer.items())
    report = review(formula_of(f"{raw}[[settled]]\n{lines}"), today=TODAY)
    assert outcome(finding(report, "nutrient-load")) == "serious"


def test_answer_without_a_finding():
    """An answer that meets no finding is pointed out."""
    report = reviewed(ANSWER | {"about": "bronopol"})
    assert [r for r in report.remarks if "bronopol" in r]


@pytest.mark.parametrize(
    ("change", "at"),
    [
        ({"on": '"yesterday"'}, "on"),
        ({"by": None}, "by"),
        ({"saw": None}, "saw"),
        ({"check": None}, "check"),
        ({"rests_on": "3"}, "rests_on"),
    ],
)
def test_faults(change, at):
    """Day, initials, what was seen and the check are needed; figures are numbers by name."""
    answer = {k: v for k, v in (ANSWER | change).items() if v is not None}
    with pytest.raises(FormulaError) as caught:
        formula_of(text([answer]))
    assert [f.path[-1] for f in caught.value.faults] == [at]


def test_json():
    """The finding carries the answer as data, and what it rests on."""
    data = next(c for c in reviewed(ANSWER).to_json()["checks"] if c["id"] == "ionic")
    assert data["settled"] == {
        "on": "2026-11-20",
        "by": "M. R.",
        "saw": ANSWER["saw"],
        "holds": True,
    }
    assert data["rests_on"][SYSTEM] == 0.8
