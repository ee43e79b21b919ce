"""Workbooks built to exhaust the reader are refused, quickly and within memory; those of
spreadsheets are read."""

import io
import os
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from preservecheck.formula.load import load_formula
from preservecheck.formula.starter import starter_sheets, workbook_bytes


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
    return zipped(
        members | {k.replace("__", "/").replace("_xml", ".xml"): v for k, v in changes.items()}
    )


def with_shared_strings(extra=b""):
    """The starter workbook with its texts in a part of their own, as spreadsheet programs write
    it."""
    strings = []

    def shared(match):
        strings.append(match[1])
        return b't="s"><v>%d</v>' % (len(strings) - 1)

    with zipfile.ZipFile(io.BytesIO(workbook_bytes(starter_sheets()))) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    for name, data in members.items():
        if "worksheets" in name:
            members[name] = re.sub(rb't="inlineStr"><is>(<t[^>]*>[^<]*</t>)</is>', shared, data)
    kind = b"application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
    members["[Content_Types].xml"] = members["[Content_Types].xml"].replace(
        b"</Types>",
        b'<Override PartName="/xl/sharedStrings.xml" ContentType="' + kind + b'"/></Types>',
    )
    members["xl/sharedStrings.xml"] = (
        b'<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
        + b"".join(b"<si>" + t + b"</si>" for t in strings)
        + extra
        + b"</sst>"
    )
    assert len(strings) > 20
    return zipped(members | ({"xl/media/a": os.urandom(1_000_000)} if extra else {}))


def test_shared_strings(tmp_path):
    """A workbook as spreadsheet programs write it, texts kept apart, reads the same."""
    plain, shared = tmp_path / "a.xlsx", tmp_path / "b.xlsx"
    plain.write_bytes(workbook_bytes(starter_sheets()))
    shared.write_bytes(with_shared_strings())
    blank = {"sha256": "", "path": None}
    assert load_formula(shared).model_copy(update=blank) == load_formula(plain).model_copy(
        update=blank
    )


@pytest.mark.parametrize(
    ("data", "size"),
    [
        (workbook_with(xl__extra_xml=bytes(101_000_000)), "101.0 MB"),
        (workbook_with(xl__worksheets__sheet3_xml=bytes(13_000_000)), "13.0 MB"),
        (workbook_with(xl__styles_xml=bytes(1_100_000)), "1.1 MB"),
        (zipped({"xl/media/a.png": bytes(3_000_000)}), "3.0 MB"),  # packed more than 200 to 1
        (zipped({f"{n}": b"" for n in range(1001)}), "0.0 MB"),
    ],
)
def test_archives_that_unpack_to_too_much(tmp_path, refused, data, size):
    """An archive is judged by what it says of itself, before anything is unpacked."""
    path = tmp_path / "a.xlsx"
    path.write_bytes(data)
    (message,) = refused(path)
    assert message.startswith(f"a.xlsx: unpacks to {size} in ")
    assert message.endswith(
        "which is too much; copy the sheets that are needed into a new workbook"
    )


def test_damaged_workbooks(tmp_path, refused):
    """An archive that is no workbook, and one whose XML is cut off, are refused."""
    path = tmp_path / "a.xlsx"
    for data, error in (
        (zipped({"hello.txt": b"hello"}), "KeyError"),
        (workbook_with(xl__worksheets__sheet3_xml=b"<worksheet><sheetData>"), "ParseError"),
    ):
        path.write_bytes(data)
        assert refused(path) == [
            f"a.xlsx: not readable as a workbook ({error}); open it in a spreadsheet program and "
            "save it again as .xlsx"
        ]


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


@pytest.mark.parametrize(
    "sheet",
    [
        HEAD
        + b"".join(b'<row r="%d"><c r="A%d"/></row>' % (n, n) for n in range(1, 300_000))
        + TAIL,
        HEAD
        + b'<row r="1">'
        + b"".join(b'<c r="A1" s="%d"/>' % (n % 9) for n in range(600_000))
        + b"</row>"
        + TAIL,
        HEAD + b'<row r="99999999999"><c r="A99999999999"><v>1</v></c></row>' + TAIL,
        HEAD + b'<row r="99999999999"><c r="A99999999999"/></row>' + TAIL,
        HEAD + TAIL[:12] + b'<mergeCells><mergeCell ref="A1:XFD1048576"/></mergeCells></worksheet>',
    ],
    ids=["many empty rows", "a wide row", "a far cell", "a far empty cell", "a huge merge"],
)
def test_memory(tmp_path, sheet):
    """Sheets below the limits that are built to fill the memory are refused within 300 MB and 20
    s."""
    path = tmp_path / "a.xlsx"
    filler = os.urandom(1_000_000)  # keeps the ratio of packing below its limit
    path.write_bytes(workbook_with(xl__worksheets__sheet3_xml=sheet, xl__media__a=filler))
    code = (
        "import sys\n"
        "from preservecheck.formula.load import load_formula\n"
        "from preservecheck.errors import FormulaError\n"
        "try: load_formula(sys.argv[1])\n"
        "except FormulaError as error: print(str(error)[:200])\n"
        # not getrusage: its peak is that of the process that started this one, where that was
        # larger
        "hwm = next(line for line in open('/proc/self/status') if line.startswith('VmHWM'))\n"
        "print(int(hwm.split()[1]) // 1024)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)],
        capture_output=True,
        text=True,
        timeout=20,
        check=True,
        cwd=Path(__file__).parents[2],
    )
    message, megabytes = done.stdout.strip().splitlines()
    assert "sheet Formula" in message
    assert int(megabytes) < 300
