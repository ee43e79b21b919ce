"""Files: one dialect of CSV wherever it is read, and writing that is whole or not at all."""

from __future__ import annotations

import os

import pytest

from preservecheck.errors import PreservecheckError
from preservecheck.files import csv_dialect, csv_rows, replaced, write_all, write_whole
from preservecheck.formula.grid import csv_grid
from preservecheck.reference.load import read_rows
from preservecheck.reference.rows import ProductPh
from preservecheck.screen.sources import _chunks


@pytest.mark.parametrize(
    ("text", "separator"),
    [
        ("a,b\n1,2\n", ","),
        ("a;b\n1;2\n", ";"),
        ("a\tb\n1\t2\n", "\t"),
        # every row of numbers holds a decimal comma, the heading none
        ("time;ph\n1,5;4,5\n2,5;4,4\n", ";"),
        # semicolons in the text of every row, in quotation marks or not
        ('a,b\n1,"x; y"\n2,"x; y"\n', ","),
        ("a,b\n1,x; y\n2,x; y\n", ","),
        # INCI names hold commas
        ("a\tb\n1\t1,2-Hexanediol\n", "\t"),
        # lines of their own above the heading hold no separator
        ("sample_grams: 50,5\n\na;b\n1;2,5\n2;3,5\n", ";"),
        ("sep=;\na,b;c\n", ";"),
        ("sep=\t\na\tb\n", "\t"),
        # nothing to go by
        ("alone\n15\n", ","),
    ],
)
def test_separator(text, separator):
    """The separator is what most lines hold, or what the first line says."""
    assert csv_dialect(text).separator == separator


@pytest.mark.parametrize(("separator", "decimal"), [(",", "."), (";", ","), ("\t", ".")])
def test_one_dialect_everywhere(tmp_path, separator, decimal):
    """Sheets, readings, own tables and long tables read a file alike: a semicolon leaves the comma
    to the numbers, a tab and a comma do not."""
    heading = separator.join(("type", "use", "ph_min", "ph_max"))
    row = separator.join(("shampoo", "any", f"4{decimal}5", f"5{decimal}25"))
    data = f"{heading}\n{row}\n".encode()
    grid = csv_grid(data, "a.csv", "", PreservecheckError)
    assert (len(grid.rows[1][1]), grid.comma_is_decimal) == (4, separator == ";")
    (own,) = read_rows(data, ProductPh, "a.csv", own=True)
    assert (own.ph_min, own.ph_max) == (4.5, 5.25)
    path = tmp_path / "a.csv"
    path.write_bytes(data)
    (chunk,) = _chunks(path)
    assert chunk[["ph_min", "ph_max"]].to_numpy().tolist() == [[4.5, 5.25]]


def test_rows_keep_their_numbers():
    """Rows are counted as a spreadsheet counts them: a cell with a line break is one row, and a
    line that names the separator is the first."""
    rows = csv_rows('sep=,\na,b\n"two\nlines",1\nx,2\n', "a.csv", PreservecheckError)
    assert [(number, cells[1]) for number, cells in rows] == [(2, "b"), (3, "1"), (4, "2")]


@pytest.mark.parametrize(("content", "data"), [("5 °C\n", b"5 \xc2\xb0C\n"), (b"\xff", b"\xff")])
def test_written_whole(tmp_path, content, data):
    """Text and bytes come as they are, rights and links stay, nothing is left beside it."""
    target, link = tmp_path / "target", tmp_path / "link"
    target.write_text("before")
    target.chmod(0o640)
    link.symlink_to(target)
    write_whole(link, content)
    assert target.read_bytes() == data
    assert link.is_symlink()
    assert target.stat().st_mode & 0o777 == 0o640
    assert sorted(os.listdir(tmp_path)) == ["link", "target"]


def test_fault_while_writing(tmp_path):
    """Whatever goes wrong before the end, the file is as it was."""
    target = tmp_path / "target"
    target.write_text("before")

    def broken_off():
        with replaced(target) as part:
            part.write_text("half")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        broken_off()
    assert target.read_text() == "before"
    assert os.listdir(tmp_path) == ["target"]


def test_folder_is_refused(tmp_path):
    """A folder is no file; of several files none is written then."""
    with pytest.raises(PreservecheckError, match="is a folder"):
        write_all({tmp_path / "a": "text", tmp_path: "text"})
    assert os.listdir(tmp_path) == []
