"""Files of any kind are read or refused in words, quickly and within memory."""

import hashlib
import io
import os
import subprocess
import sys
import time
import zipfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from preservecheck.errors import FormulaError
from preservecheck.formula.load import load_formula
from preservecheck.formula.starter import starter_sheets, workbook_bytes

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


FORMS = "a formula is a .toml file, an .xlsx workbook, or CSV files NAME.Product.csv and NAME.Formula.csv"


@pytest.mark.parametrize(("name", "data", "message"), [
    ("a.toml", b"", "a.toml: is empty; 'preservecheck new' writes an example"),
    ("a.toml", b" \n\t\n", "a.toml: is empty; 'preservecheck new' writes an example"),
    ("a.toml", b"name = \"Cr\xe8me\"", "a.toml: not UTF-8: byte 10 on line 1 is 0xE8; save it as UTF-8 (in a "
                                       "spreadsheet: 'CSV UTF-8')"),
    ("a.toml", "x".encode("utf-16"), "a.toml: written as UTF-16; save it as UTF-8 (in a spreadsheet: 'CSV UTF-8')"),
    ("a.toml", b"[product\n", "a.toml: not readable as TOML: expected ']' at the end of a table declaration (at line 1, "
                              "column 9). Text stands in quotation marks, numbers with a decimal point and without unit; "
                              "'preservecheck new' writes an example"),
    ("a.toml", b"x = " + b"9" * 5000, "a.toml: not readable as TOML: it holds a number or date that is too large or "
                                      "impossible; 'preservecheck new' writes an example"),
    ("a.xls", b"x", "a.xls: save it as .xlsx"),
    ("a.ods", b"x", "a.ods: save it as .xlsx"),
    ("a.xlsm", b"x", "a.xlsm: save it as .xlsx, without macros"),
    ("a.yaml", b"x", f"a.yaml: {FORMS}"),
    ("a", b"x", f"a: {FORMS}"),
    ("a.xlsx", b"hello", "a.xlsx: not a workbook, although its name ends in .xlsx; open it in a spreadsheet program and "
                         "save it again as .xlsx"),
    ("a.xlsx", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "a.xlsx: protected by a password, or saved in the old .xls format; "
                                                  "open it in a spreadsheet program and save it again as .xlsx, without "
                                                  "password"),
])
def test_refused_files(tmp_path, refused, name, data, message):
    """A file that is no formula is answered with what to do."""
    path = tmp_path / name
    path.write_bytes(data)
    assert refused(path) == [message]


def test_no_file(tmp_path, refused):
    """A file that is not there, a folder, a pipe and a name that cannot be are told apart."""
    assert refused(tmp_path / "a.toml") == ["a.toml: there is no such file; check the name and the folder"]
    (tmp_path / "b.toml").mkdir()
    assert refused(tmp_path / "b.toml") == [f"b.toml: is a folder; give a file. A{FORMS[1:]}"]
    os.mkfifo(tmp_path / "c.toml")
    assert refused(tmp_path / "c.toml") == [f"c.toml: is no plain file; {FORMS}"]
    assert refused(tmp_path / "d\0.toml")[0].endswith("cannot be read: embedded null byte")


@pytest.mark.parametrize(("name", "size", "limit"), [
    ("a.toml", 50_000_000, 5), ("a.Formula.csv", 50_000_000, 5), ("a.xlsx", 50_000_000, 10), ("a.toml", 5_000_001, 5)])
def test_large_files_are_not_read(tmp_path, refused, monkeypatch, name, size, limit):
    """A file above the limit is refused by its size, without being opened."""
    path = tmp_path / name
    with path.open("wb") as file:
        file.truncate(size)
    monkeypatch.setattr(Path, "open", lambda *_, **__: pytest.fail("opened"))
    assert refused(path) == [f"{name}: {size / 1e6:.1f} MB; a formula of this form has at most {limit} MB"]


@pytest.mark.parametrize("text", [
    "x = " + "[" * 100_000, "x = " + "{a=" * 60, "[" + "a." * 1_000_000 + "a]", "a." * 500_000 + "a = 1",
    '"a" . ' * 100_000 + "a = 1", "x = " + "[" * 100_000 + "]" * 100_000])
def test_deep_nesting(tmp_path, refused, text):
    """Nesting that would exhaust the reader is seen before reading, in no time."""
    path = tmp_path / "a.toml"
    path.write_text(text)
    start = time.perf_counter()
    assert refused(path) == ["a.toml: brackets or dotted names are nested deeper than 50 levels; a formula needs three. "
                             "'preservecheck new' writes an example"]
    assert time.perf_counter() - start < 2


def zipped(members, compression=zipfile.ZIP_DEFLATED):
    """An archive of these members."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", compression) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return buffer.getvalue()


def workbook_with(**changes):
    """The starter workbook with some members replaced or added."""
    with zipfile.ZipFile(io.BytesIO(workbook_bytes(starter_sheets()))) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    return zipped(members | {k.replace("__", "/").replace("_xml", ".xml"): v for k, v in changes.items()})


@pytest.mark.parametrize(("data", "size"), [
    (workbook_with(xl__extra_xml=bytes(101_000_000)), "101.0 MB"),
    (workbook_with(xl__worksheets__sheet3_xml=bytes(13_000_000)), "13.0 MB"),
    (workbook_with(xl__styles_xml=bytes(2_100_000)), "2.1 MB"),
    (zipped({"xl/media/a.png": bytes(3_000_000)}), "3.0 MB"),  # packed more than 200 to 1
    (zipped({f"{n}": b"" for n in range(1001)}), "0.0 MB"),
])
def test_archives_that_unpack_to_too_much(tmp_path, refused, data, size):
    """An archive is judged by what it says of itself, before anything is unpacked."""
    path = tmp_path / "a.xlsx"
    path.write_bytes(data)
    message, = refused(path)
    assert message.startswith(f"a.xlsx: unpacks to {size} in ")
    assert message.endswith("more than a formula needs; copy the formula's sheets into a new workbook")


def test_damaged_workbooks(tmp_path, refused):
    """An archive that is no workbook, and one whose XML is cut off, are refused."""
    path = tmp_path / "a.xlsx"
    for data, error in ((zipped({"hello.txt": b"hello"}), "KeyError"),
                        (workbook_with(xl__worksheets__sheet3_xml=b"<worksheet><sheetData>"), "ParseError")):
        path.write_bytes(data)
        assert refused(path) == [f"a.xlsx: not readable as a workbook ({error}); open it in a spreadsheet program and "
                                 "save it again as .xlsx"]


def test_encrypted_member(tmp_path, refused):
    """A workbook with a password on its members is refused."""
    data = bytearray(workbook_bytes(starter_sheets()))
    at = data.rindex(b"PK\x01\x02")
    data[at + 8] |= 1  # bit 0 of the flags in the central directory: encrypted
    path = tmp_path / "a.xlsx"
    path.write_bytes(data)
    assert refused(path) == ["a.xlsx: protected by a password; save it without"]


HEAD = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
TAIL = b"</sheetData></worksheet>"


@pytest.mark.parametrize("sheet", [
    HEAD + b"".join(b'<row r="%d"><c r="A%d"/></row>' % (n, n) for n in range(1, 300_000)) + TAIL,
    HEAD + b'<row r="1">' + b"".join(b'<c r="A1" s="%d"/>' % (n % 9) for n in range(600_000)) + b"</row>" + TAIL,
    HEAD + b'<row r="99999999999"><c r="A99999999999"><v>1</v></c></row>' + TAIL,
    HEAD + b'<row r="99999999999"><c r="A99999999999"/></row>' + TAIL,
    HEAD + TAIL[:12] + b'<mergeCells><mergeCell ref="A1:XFD1048576"/></mergeCells></worksheet>',
], ids=["many empty rows", "a wide row", "a far cell", "a far empty cell", "a huge merge"])
def test_memory(tmp_path, sheet):
    """Sheets below the limits that are built to fill the memory are refused within 300 MB and 20 s."""
    path = tmp_path / "a.xlsx"
    filler = os.urandom(1_000_000)  # keeps the ratio of packing below its limit
    path.write_bytes(workbook_with(xl__worksheets__sheet3_xml=sheet, xl__media__a=filler))
    code = ("import resource, sys\n"
            "from preservecheck.formula.load import load_formula\n"
            "from preservecheck.errors import FormulaError\n"
            "try: load_formula(sys.argv[1])\n"
            "except FormulaError as error: print(str(error)[:200])\n"
            "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)")
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, timeout=20,
                          check=True, cwd=Path(__file__).parents[2])
    message, megabytes = done.stdout.strip().splitlines()
    assert "sheet Formula" in message
    assert int(megabytes) < 300


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12) | st.dates() | st.times()
    | st.sampled_from(["Water", "Glycerin", "phenoxyethanol", "40 °C", "500 g", "rest", "EU", "leave-on", "x" * 500]),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(
        st.sampled_from(["name", "items", "ingredient", "percent", "grams", "rest", "ph", "Water", "blend", "role"])
        | st.text(max_size=6), inner, max_size=5), max_leaves=25)


@given(st.dictionaries(st.sampled_from(["format", "product", "measured", "phase", "blend", "ingredient", "odd"]), VALUES))
@settings(max_examples=300)
def test_any_values(tables, raw):
    """Whatever a file holds, it is a formula or a fault in words."""
    from preservecheck.formula.build import build  # noqa: PLC0415

    try:
        build(raw, "a.toml", tables)
    except FormulaError as error:
        assert all(m.startswith("a.toml: ") for m in error.messages)  # noqa: PT017


@st.composite
def mangled(draw, source):
    """A sound file with a stretch of its bytes replaced."""
    start = draw(st.integers(0, len(source)))
    stop = draw(st.integers(start, min(len(source), start + 40)))
    return source[:start] + draw(st.binary(max_size=30) | st.text(max_size=20).map(str.encode)) + source[stop:]


def outcome(tables, path, data):
    """Read a file, with nothing but a fault in words allowed."""
    path.write_bytes(data)
    try:
        load_formula(path, tables)
    except FormulaError as error:
        assert all(m.startswith(str(path.parent)) and len(m) < 3000 for m in error.messages)  # noqa: PT017


FUZZ = settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@given(data=st.binary(max_size=200) | mangled(SOUND.encode()))
@FUZZ
def test_any_toml(tables, tmp_path, data):
    """Random and damaged TOML is read or refused, never more."""
    outcome(tables, tmp_path / "a.toml", data)


@given(data=st.binary(max_size=200) | mangled(workbook_bytes(starter_sheets())))
@FUZZ
def test_any_workbook(tables, tmp_path, data):
    """Random and damaged workbooks are read or refused, never more."""
    outcome(tables, tmp_path / "a.xlsx", data)


@given(data=st.binary(max_size=200) | st.text(alphabet="phase,ingredient;percent\t\n\"'09.%rest", max_size=200)
       .map(str.encode))
@FUZZ
def test_any_csv(tables, tmp_path, data):
    """Random CSV is read or refused, never more."""
    (tmp_path / "a.Product.csv").write_text("field,value\nname,x\nuse,leave-on\ntype,leave-in\nmarkets,EU\n")
    outcome(tables, tmp_path / "a.Formula.csv", data)


def test_heavy_libraries_stay_away(tmp_path):
    """Reading TOML does not import the library for workbooks."""
    path = tmp_path / "a.toml"
    path.write_text(SOUND)
    code = ("import sys\nfrom preservecheck.formula.load import load_formula\nload_formula(sys.argv[1])\n"
            "print([m for m in ('openpyxl', 'pandas', 'numpy', 'zipfile') if m in sys.modules])")
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True,
                          cwd=Path(__file__).parents[2])
    assert "openpyxl" not in done.stdout
    assert "pandas" not in done.stdout
