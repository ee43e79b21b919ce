"""The starter formula is accepted at once, in every form, and nothing is overwritten by
accident."""

import re

import openpyxl
import pytest

from preservecheck.errors import FormulaError, Hint
from preservecheck.formula.load import load_formula
from preservecheck.formula.starter import starter_toml, write_starter
from preservecheck.reference.load import load_tables


@pytest.mark.parametrize("name", ["a.toml", "a.xlsx", "a.csv", "a.Formula.csv"])
def test_starter_is_accepted(tmp_path, name):
    """The shipped tables know every name in it; all forms are the same formula."""
    tables = load_tables()
    (toml,) = write_starter(tmp_path / "base.toml")
    first = write_starter(tmp_path / name)[0]
    blank = {"sha256": "", "path": None}
    assert load_formula(first, tables).model_copy(update=blank) == load_formula(
        toml, tables
    ).model_copy(update=blank)


def test_starter_is_sensible(tmp_path):
    """The preservative goes in below its heat limit, inside its dose and its pH range."""
    tables = load_tables()
    formula = load_formula(write_starter(tmp_path / "a.toml")[0], tables)
    (line,) = (x for p in formula.phases for x in p.lines if x.kind == "preservative")
    (system,) = (s for s in tables.systems if s.id == line.name)
    assert system.usage_min_percent <= line.amount <= system.usage_max_percent
    assert formula.phases[-1].added_at_c + 2 <= system.heat_limit_c
    assert system.ph_min < formula.measured.ph - 0.1
    assert formula.measured.ph + 0.1 < system.ph_max


def test_every_key_is_shown():
    """The TOML starter shows every field of a product and of the readings, at least as a remark."""
    from preservecheck.formula.model import MEASURED, PRODUCT

    for key in (*PRODUCT, *MEASURED):
        assert re.search(rf"^(# )?{key} = ", starter_toml(), re.MULTILINE), key


def test_workbook_look(tmp_path):
    """The workbook opens on the product, keeps headings in sight and explains itself."""
    (path,) = write_starter(tmp_path / "a.xlsx")
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == ["Read me", "Product", "Formula", "Phases", "Blends"]
    assert book.active.title == "Product"
    assert book["Formula"].freeze_panes == "A2"
    assert book["Formula"]["A1"].font.bold
    assert "never guess" in book["Read me"]["A2"].value


@pytest.mark.parametrize("name", ["a.toml", "a.xlsx", "a.csv"])
def test_nothing_is_overwritten(tmp_path, name):
    """An existing file stays, unless overwriting is asked for; nothing half-written is left
    behind."""
    files = write_starter(tmp_path / name)
    files[-1].write_text("mine")
    with pytest.raises(FormulaError, match="exists already") as caught:
        write_starter(tmp_path / name)
    assert caught.value.faults[0].hint is Hint.OVERWRITE
    assert files[-1].read_text() == "mine"
    write_starter(tmp_path / name, force=True)
    assert files[-1].read_bytes() != b"mine"
    assert sorted(tmp_path.iterdir()) == sorted(files)


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("a.txt", "a.txt: give a name that ends in .toml, .xlsx or .csv"),
        ("no/a.toml", "no/a.toml: there is no folder {0}/no; make it first"),
        ("folder.toml", "folder.toml: is a folder; choose another name"),
    ],
)
def test_places_that_cannot_be_written(tmp_path, name, message):
    """A wrong ending, a missing folder and a folder in the way are said in words."""
    (tmp_path / "folder.toml").mkdir()
    with pytest.raises(FormulaError) as caught:
        write_starter(tmp_path / name)
    assert caught.value.messages == (f"{tmp_path}/" + message.format(tmp_path),)


def test_a_failed_write_leaves_nothing(tmp_path, monkeypatch):
    """Where the disk refuses, the old file stays and no part file remains."""
    path = tmp_path / "a.toml"
    path.write_text("mine")

    def full(part, target):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("preservecheck.files.os.replace", full)
    with pytest.raises(FormulaError, match="cannot be written: No space left on device"):
        write_starter(path, force=True)
    assert path.read_text() == "mine"
    assert list(tmp_path.iterdir()) == [path]
