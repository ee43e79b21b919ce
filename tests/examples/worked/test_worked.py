"""Worked formulas, and what an experienced formulator says of each.

``NN.toml`` is an invented formula, ``NN.json`` what was written down about it beforehand: whether it
may go to the challenge test as it stands (``sound``), what must not be filled (``serious``), what
else is worth a warning (``says``), the checks that keep silent (``silent``); then the plan, the pH to
aim at and the systems to start with. Where the program says less than the expert on purpose, the
entry has ``here`` and the reason.
"""

import datetime as dt
import json
from functools import cache
from pathlib import Path

import pytest

from preservecheck.plan.review import review
from tests.helpers import outcome

HERE = Path(__file__).parent
NUMBERS = sorted(p.stem for p in HERE.glob("[0-9][0-9].toml"))
EXPECTED = {n: json.loads((HERE / f"{n}.json").read_text(encoding="utf-8")) for n in NUMBERS}
SOUND = [n for n in NUMBERS if EXPECTED[n]["sound"]]
FAULTY = [n for n in NUMBERS if not EXPECTED[n]["sound"]]
# checks that see one cause from several sides: the expert names one of them
MICROBES = {"free-active", "spectrum", "lasting"}


@cache
def reviewed(number):
    """The report on one of them."""
    return review(HERE / f"{number}.toml", today=dt.date(2026, 12, 1))


def warned(number):
    """Findings that warn, serious ones too."""
    return [f for f in reviewed(number).checks if f.verdict == "warn"]


def about(entry, finding):
    """Whether a finding is what the expert speaks of: the check, and all that is named."""
    return finding.id == entry["check"] and set(entry["parts"]) <= {*finding.parts, finding.about}


def test_all_are_there():
    """Nine sound ones and fifteen with faults."""
    assert (len(SOUND), len(FAULTY)) == (9, 15)


@pytest.mark.parametrize("number", SOUND)
def test_sound(number):
    """A sound formula has no serious finding and at most one warning."""
    found = warned(number)
    assert [f.id for f in found if f.serious] == []
    assert len(found) <= 1, [(f.id, f.about) for f in found]


def test_few_warnings_on_sound_ones():
    """At most half a warning each, on average."""
    found = [(n, f.id, f.about) for n in SOUND for f in warned(n)]
    assert len(found) <= len(SOUND) / 2, found


@pytest.mark.parametrize(
    ("number", "entry"),
    [
        pytest.param(n, e, id=f"{n} {e['check']} {' x '.join(e['parts'])}")
        for n in FAULTY
        for e in EXPECTED[n]["serious"]
    ],
)
def test_fault_is_found(number, entry):
    """What an expert would not fill is serious; where it is not, the file says what it is here."""
    found = [outcome(f) for f in reviewed(number).checks if about(entry, f)]
    if "here" not in entry:
        assert "serious" in found
    elif entry["here"] is not None:
        assert entry["here"] in found


@pytest.mark.parametrize("number", FAULTY)
def test_verdict(number):
    """A formula with a fault is not passed."""
    assert reviewed(number).verdict == "warn"


@pytest.mark.parametrize("number", FAULTY)
def test_no_false_fault(number):
    """What is serious is what the expert names, the same thing's other partner, or has its root in
    a finding that is there."""
    entries = EXPECTED[number]["serious"]
    named = {e["check"] for e in entries}
    subjects = {(f.id, f.about) for f in warned(number)}
    for f in warned(number):
        if not f.serious or any(
            e["check"] == f.id and {*e["parts"]} & {*f.parts, f.about} for e in entries
        ):
            continue
        if f.id in MICROBES and named & {*MICROBES, "ph-range", "incompatibilities"}:
            continue
        assert f.root in subjects, (f.id, f.about, f.because)


@pytest.mark.parametrize(
    ("number", "entry"),
    [pytest.param(n, e, id=f"{n} {e['check']}") for n in NUMBERS for e in EXPECTED[n]["says"]],
)
def test_says(number, entry):
    """What is worth a warning gets one."""
    assert any(about(entry, f) for f in warned(number))


@pytest.mark.parametrize(
    ("number", "check"),
    [pytest.param(n, c, id=f"{n} {c}") for n in NUMBERS for c in EXPECTED[n]["silent"]],
)
def test_keeps_silent(number, check):
    """A check that an expert would not speak of neither warns nor is unknown, unless it is serious
    about what the expert names."""
    entries = [e for e in EXPECTED[number]["serious"] if e["check"] == check]
    said = [
        (f.about, f.because)
        for f in reviewed(number).checks
        if f.id == check
        and f.verdict != "pass"
        and f.root is None
        and not any(about(e, f) for e in entries)
    ]
    assert said == []
