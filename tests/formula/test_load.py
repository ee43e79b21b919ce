"""Files of any kind are read or refused in words, quickly and within memory."""

import hashlib
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

SOUND = """\
format = 1
product = { name = "x", use = "leave-on", type = "leave-in", markets = ["EU"] }
[[phase]]
name = "all"
items = [ { ingredient = "Water", rest = true } ]
"""


def test_digest_and_path(tmp_path, load):
    """The formula carries the digest of the file's bytes and its path."""
    path = tmp_path / "cream.toml"
    path.write_text(SOUND)
    formula = load(path)
    assert formula.sha256 == hashlib.sha256(SOUND.encode()).hexdigest()
    assert formula.path == str(path)


def test_byte_order_mark(tmp_path, load):
    """A byte-order mark, which some editors write, does no harm."""
    path = tmp_path / "cream.TOML"
    path.write_bytes(b"\xef\xbb\xbf" + SOUND.encode())
    assert load(path).product.name == "x"


FORMS = (
    "a formula is a .toml file, an .xlsx workbook, or CSV files NAME.Product.csv and "
    "NAME.Formula.csv"
)


@pytest.mark.parametrize(
    ("name", "data", "message"),
    [
        ("a.toml", b"", "a.toml: is empty; 'preservecheck new' writes an example"),
        ("a.toml", b" \n\t\n", "a.toml: is empty; 'preservecheck new' writes an example"),
        (
            "a.toml",
            b'name = "Cr\xe8me"',
            (
                "a.toml: not UTF-8: byte 10 on line 1 is 0xE8; save it as UTF-8 (in a "
                "spreadsheet: 'CSV UTF-8')"
            ),
        ),
        (
            "a.toml",
            "x".encode("utf-16"),
            "a.toml: written as UTF-16; save it as UTF-8 (in a spreadsheet: 'CSV UTF-8')",
        ),
        (
            "a.toml",
            b"[product\n",
            (
                "a.toml: not readable as TOML: expected ']' at the end of a table declaration (at"
                " line 1, column 9); text goes in quotation marks, numbers have a decimal point"
                " and no unit. 'preservecheck new' writes an example"
            ),
        ),
        (
            "a.toml",
            b"x = " + b"9" * 5000,
            (
                "a.toml: not readable as TOML: it holds a number or date that is too large or "
                "impossible; 'preservecheck new' writes an example"
            ),
        ),
        ("a.xls", b"x", "a.xls: is not read in this form; save it as .xlsx"),
        ("a.ods", b"x", "a.ods: is not read in this form; save it as .xlsx"),
        ("a.xlsm", b"x", "a.xlsm: is not read in this form; save it as .xlsx, without macros"),
        ("a.yaml", b"x", f"a.yaml: is not read in this form; {FORMS}"),
        ("a", b"x", f"a: is not read in this form; {FORMS}"),
        (
            "a.xlsx",
            b"hello",
            (
                "a.xlsx: not a workbook, although its name ends in .xlsx; open it in a spreadsheet"
                " program and save it again as .xlsx"
            ),
        ),
        (
            "a.xlsx",
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1",
            (
                "a.xlsx: protected by a password, or saved in the old .xls format; "
                "open it in a spreadsheet program and save it again as .xlsx, without "
                "password"
            ),
        ),
    ],
)
def test_refused_files(tmp_path, refused, name, data, message):
    """A file that is no formula is answered with what to do."""
    path = tmp_path / name
    path.write_bytes(data)
    assert refused(path) == [message]


def test_no_file(tmp_path, refused):
    """A file that is not there, a folder, a pipe and a name that cannot be are told apart."""
    assert refused(tmp_path / "a.toml") == [
        "a.toml: there is no such file; check the name and the folder"
    ]
    (tmp_path / "b.toml").mkdir()
    assert refused(tmp_path / "b.toml") == [f"b.toml: is a folder; give a file. A{FORMS[1:]}"]
    os.mkfifo(tmp_path / "c.toml")
    assert refused(tmp_path / "c.toml") == [f"c.toml: is not a regular file; {FORMS}"]
    assert refused(tmp_path / "d\0.toml")[0].endswith("cannot be read: embedded null byte")


@pytest.mark.parametrize(
    ("name", "size", "limit"),
    [
        ("a.toml", 50_000_000, 2),
        ("a.Formula.csv", 50_000_000, 2),
        ("a.xlsx", 50_000_000, 10),
        ("a.toml", 2_000_001, 2),
    ],
)
def test_large_files_are_not_read(tmp_path, refused, monkeypatch, name, size, limit):  # noqa: PLR0917
    """A file above the limit is refused by its size, without being opened."""
    path = tmp_path / name
    with path.open("wb") as file:
        file.truncate(size)
    monkeypatch.setattr(Path, "open", lambda *_, **__: pytest.fail("opened"))
    assert refused(path) == [
        f"{name}: is too large: {size / 1e6:.1f} MB; a formula of this form has at most {limit} MB"
    ]


@pytest.mark.parametrize(
    "text",
    [
        "x = " + "[" * 100_000,
        "x = " + "{a=" * 60,
        "[" + "a." * 900_000 + "a]",
        "a." * 500_000 + "a = 1",
        '"a" . ' * 100_000 + "a = 1",
        "x = " + "[" * 100_000 + "]" * 100_000,
    ],
)
def test_deep_nesting(tmp_path, refused, text):
    """Nesting that would exhaust the reader is seen before reading, in no time."""
    path = tmp_path / "a.toml"
    path.write_text(text)
    start = time.perf_counter()
    assert refused(path) == [
        "a.toml: brackets or dotted names are nested deeper than 50 levels; a formula needs three. "
        "'preservecheck new' writes an example"
    ]
    assert time.perf_counter() - start < 2


def test_heavy_libraries_stay_away(tmp_path):
    """Reading TOML does not import the library for workbooks."""
    path = tmp_path / "a.toml"
    path.write_text(SOUND)
    code = (
        "import sys\nfrom preservecheck.formula.load import"
        " load_formula\nload_formula(sys.argv[1])\nprint([m for m in ('openpyxl', 'pandas',"
        " 'numpy', 'zipfile') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parents[2],
    )
    assert "openpyxl" not in done.stdout
    assert "pandas" not in done.stdout
