"""The report as JSON: the keys that other programs read."""

import json as standard

import pytest

from preservecheck.report import json
from preservecheck.verdict import Figure
from tests.report.made import made_finding, made_report

# the contract, in its order; remarks and own_rows are this program's additions
KEYS = [
    "format",
    "program",
    "tables_sha256",
    "formula_sha256",
    "date",
    "product",
    "verdict",
    "counts",
    "preservatives",
    "checks",
    "labels",
    "cautions",
    "challenge_test",
    "not_covered",
]


def test_keys_of_the_contract():
    """Every key that the contract names is there, in its order."""
    data = standard.loads(json.render(made_report(made_finding())))
    assert [k for k in data if k in KEYS] == KEYS
    assert set(data) - set(KEYS) == {"remarks", "own_rows"}
    assert data["format"] == 1
    assert data["counts"] == {"pass": 1, "warn": 0, "unknown": 0, "serious": 0}


def test_keys_of_a_finding():
    """A finding has the contract's keys, and each figure value, tolerance and unit."""
    (finding,) = standard.loads(json.render(made_report(made_finding())))["checks"]
    assert set(finding) == {
        "id",
        "about",
        "verdict",
        "serious",
        "chance",
        "due_to",
        "figures",
        "because",
        "do",
        "sources",
    }
    assert finding["figures"] == {"percent": {"value": 1.0, "tolerance": None, "unit": "%"}}
    assert finding["do"] is None


def test_active_says_where_it_comes_from():
    """The origin of an active stands under ``from``."""
    (system,) = standard.loads(json.render(made_report(made_finding())))["preservatives"]
    assert system["actives"] == [
        {"inci": "Phenoxyethanol", "percent": 1.0, "from": "phenoxyethanol"}
    ]


@pytest.mark.parametrize("value", [0.1 + 0.2, 1 / 3, 5e-324, None])
def test_figures_are_in_full(value):
    """A figure comes back as the very number that it was, and an unknown one as null."""
    finding = made_finding(figures=(Figure("percent", value),))
    data = standard.loads(json.render(made_report(finding)))
    assert data["checks"][0]["figures"]["percent"]["value"] == value


def test_signs_stand_as_themselves():
    """Letters beyond ASCII are not escaped."""
    assert "± 2 °C" in json.render(made_report(made_finding(because="40 ± 2 °C")))


def test_several_reports_are_a_list():
    """Several files give a list of what could be read, even if that is one."""
    data = standard.loads(json.render_many([made_report(made_finding())], ["unread.toml"]))
    assert [d["product"]["name"] for d in data] == ["Test lotion"]
