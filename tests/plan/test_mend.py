"""A formula file with the changes of its plan: written, read again, reviewed."""

from __future__ import annotations

import json

import openpyxl
import pytest
from typer.testing import CliRunner

from preservecheck import PreservecheckError, load_formula, load_tables, review
from preservecheck.checks import BY_ID
from preservecheck.cli.main import app
from preservecheck.formula.model import Settled
from preservecheck.formula.starter import write_starter
from preservecheck.plan.mend import mend
from tests.helpers import TODAY

# invented: a quat cream with xanthan, a preservative added too hot
CREAM = """
format = 1
[product]
name = "Curl cream"
use = "leave-on"
type = "leave-in"
markets = ["EU"]
batch = "500 g"
scale_step = "0.1 g"
[measured]
ph = 4.7
[[phase]]
name = "heated"
heated_to = "75 °C"
items = [
  { ingredient = "Water", rest = true },   # from the filter
  { ingredient = "Glycerin", percent = 3 },
]
[[phase]]
name = "cool-down"
added_at = "60 °C"
items = [{ preservative = "benzyl-alcohol-dehydroacetic-acid", percent = 0.8 }]
"""


@pytest.fixture
def cream(tmp_path):
    """The cream as a file."""
    path = tmp_path / "cream.toml"
    path.write_text(CREAM, encoding="utf-8")
    return path


def test_written_file_gives_the_review_that_the_plan_promised(cream, tmp_path):
    """60 °C is above the limit of 40 °C: the batch is to cool to 38 °C, with the thermometer's
    2 °C to spare."""
    found = mend(cream, tmp_path / "new.toml", load_tables(), today=TODAY)
    (content,) = found.files.values()
    (tmp_path / "new.toml").write_bytes(content)
    again = review(tmp_path / "new.toml", today=TODAY)
    assert {"set": "phase.cool-down.added_at_c", "to": 38.0} in [
        change for step in found.to_json()["steps"] for change in step["changes"]
    ]
    assert load_formula(tmp_path / "new.toml", load_tables()).phases[1].added_at_c == 38
    promised = found.before.plan.after
    assert (again.verdict, again.counts) == (promised.verdict, promised.counts)
    assert [(f.id, f.about) for f in again.checks if f.verdict != "pass"] == list(promised.left)
    assert b"# from the filter" in content


def test_workbook(tmp_path):
    """The starter, made too hot in its workbook, is mended there."""
    (path,) = write_starter(tmp_path / "starter.xlsx")
    book = openpyxl.load_workbook(path)
    heads = [cell.value for cell in book["Phases"][1]]
    rows = {row[0].value: row for row in book["Phases"].iter_rows(min_row=2)}
    rows["cool-down"][heads.index("added at")].value = "70 °C"
    book.save(path)
    new = tmp_path / "new.xlsx"
    result = CliRunner().invoke(app, ["mend", str(path), "--output", str(new), "--format=json"])
    data = json.loads(result.stdout)
    cooled = {"set": "phase.cool-down.added_at_c", "to": 38.0}
    assert cooled in [change for step in data["steps"] for change in step["changes"]]
    again = review(new)
    assert again.formula.phases[-1].added_at_c == 38
    assert data["after"] == {"verdict": again.verdict, "counts": again.counts}


def test_only_some_steps(cream, tmp_path):
    """A step that the plan does not have is refused with those that it has."""
    with pytest.raises(PreservecheckError, match="there is no step 9"):
        mend(cream, tmp_path / "new.toml", load_tables(), steps=(9,), today=TODAY)


def test_what_a_trial_settled_needs_no_step():
    """A caution that a trial answered is no reason for a change, and counts as settled."""
    formula = load_formula("tests/examples/demo.toml", load_tables(), today=TODAY)
    open_ = review(formula, today=TODAY)
    answers = [
        Settled(check=f.id, about=f.about, on=TODAY, by="M. R.", saw="clear after 28 d")
        for f in open_.checks
        if f.verdict == "warn" and not f.serious and BY_ID[f.id].by_trial
    ]
    assert answers
    found = review(formula.model_copy(update={"settled": tuple(answers)}), today=TODAY)
    keys = {(a.check, a.about) for a in answers}
    assert found.counts["settled"] == len(answers)
    assert keys.isdisjoint(found.plan.after.left)
    assert keys.isdisjoint(key for step in found.plan.steps for key in step.mends)
