"""Afterwards: challenge results and pH over time, pasted, judged, and saved as the commands write
them."""

from __future__ import annotations

import datetime as dt
import html
import io
import json
import re
import tomllib
from html import unescape

import openpyxl
import pytest

from preservecheck.evidence.challenge import challenge
from preservecheck.evidence.drift import drift
from preservecheck.formula.load import load_formula
from preservecheck.formula.readings import readings_text
from preservecheck.page.draft import from_raw, pairs_of
from preservecheck.page.guard import MAX_BODY
from preservecheck.page.results import (
    COUNTS_COLUMNS,
    EXAMPLES,
    PARTS,
    PH_COLUMNS,
    acted,
    after_of,
)
from preservecheck.reference.load import load_tables
from preservecheck.report import challenge as challenge_report
from preservecheck.report import drift as drift_report
from preservecheck.report import markdown
from preservecheck.report.document import Paragraph, Plots, Table, Verdict
from preservecheck.report.formats import json_text
from preservecheck.report.plots.readings import courses, drifting

TODAY = dt.date(2026, 11, 25)
TABLES = load_tables()
# the window of this product: the system works from pH 2 to 6, a conditioner suits 3.8 to 4.8
FORMULA = """
format = 1
[product]
name = "Plain rinse for tests"
use = "rinse-off"
type = "conditioner"
markets = ["EU"]
[measured]
ph = 4.4
[[phase]]
name = "one"
items = [{ ingredient = "Aqua", rest = true }, { ingredient = "Cetearyl Alcohol", percent = 6.0 },
         { preservative = "benzyl-alcohol-dehydroacetic-acid", percent = 0.8 }]
"""
PIECE = {"x-piece": "yes"}
# ISO 11930 A: bacteria 3 log on day 7, yeast 1 log, mould no increase on day 14 and 1 log on day 28
COURSES = {
    "Pseudomonas aeruginosa": ("500000", "<10", "<10", "<10"),
    "Staphylococcus aureus": ("500000", "<10", "<10", "<10"),
    "Escherichia coli": ("500000", "<10", "<10", "<10"),
    "Candida albicans": ("50000", "500", "<10", "<10"),
    "Aspergillus brasiliensis": ("50000", "40000", "30000", "1000"),
}
PH = "date;ph;storage_c\n2026-09-01;4,42;22\n2026-09-08;4,41;22\n2026-09-15;4,43;22\n2026-09-29;4,42;22\n"


def counts(separator=",", changed=None, heading=("organism", "day", "cfu_per_g")):
    """A whole set of counts as text."""
    rows = [heading] + [
        (name, str(day), count)
        for name, row in {**COURSES, **(changed or {})}.items()
        for day, count in zip((0, 7, 14, 28), row, strict=True)
    ]
    return "\n".join(separator.join(row) for row in rows) + "\n"


def draft_fields(text=FORMULA):
    """The fields of a formula, as a browser posts them."""
    data = {}
    for name, value in pairs_of(from_raw(tomllib.loads(text))):
        data[name] = value.split(", ") if name == "product-markets" else value
    return data


def pasted(**texts):
    """The fields of this view."""
    return {f"after-{part}": text for part, text in texts.items()}


def answer(client, *parts):
    """The middle of the page for some fields, as text."""
    data = {k: v for part in parts for k, v in part.items()}
    return html.unescape(client.post("/after", data=data, headers=PIECE).text)


def faults(text):
    """The messages about what was pasted, and the fields that they lead to."""
    return re.findall(
        r'<li class="message"><a href="#[\w-]+" data-field="([\w-]+)"(?: data-line="\d+")?>(.*?)</a>',
        text,
    )


def file_named(tmp_path, text, name="c.csv"):
    """A text as the file of a command."""
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def saved_formula(client, tmp_path):
    """The formula as the page saves it."""
    path = tmp_path / "plain.toml"
    path.write_bytes(client.post("/save.toml", data=draft_fields()).content)
    return load_formula(path, TABLES, TODAY)


# ---- challenge test ----


def test_passing_set(client):
    """Each organism goes down by more than criterion A asks: log10(500000 / 10) = 4.7, log10(50000
    / 1000) = 1.7."""
    text = answer(client, pasted(counts=counts(), standard="iso-11930"))
    assert '<span class="word pass">A: every organism meets the target criterion</span>' in text
    assert "≥4.7" in text
    assert ">1.7<" in text
    assert '<svg stroke-linejoin="round"' in text


@pytest.mark.parametrize(
    ("changed", "sign", "words"),
    [
        # log10(500000 / 50000) = 1 of 3 log that bacteria have to lose, whatever the criterion
        (
            {"Escherichia coli": ("500000", "50000", "50000", "50000")},
            "serious",
            "fails: the product is not protected",
        ),
        # bacteria are at 3 log on day 14 only, which is criterion B
        (
            {"Escherichia coli": ("500000", "50000", "<10", "<10")},
            "warn",
            "B: accepted only with further reasons",
        ),
    ],
)
def test_other_verdicts(client, changed, sign, words):
    """The sign follows the verdict, which is always a word too."""
    text = answer(client, pasted(counts=counts(changed=changed), standard="iso-11930"))
    assert f'<span class="word {sign}">{words}</span>' in text


def test_what_is_missing_is_said(client):
    """A set without the mould cannot be judged, and is not passed."""
    text = "\n".join(line for line in counts().splitlines() if not line.startswith("Asp"))
    page = answer(client, pasted(counts=text, standard="iso-11930"))
    assert '<span class="word unknown">incomplete' in page
    assert "Aspergillus brasiliensis: no counts" in page


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_separators_and_line_ends(client, separator):
    """As a spreadsheet or a file has it, also with the line ends that a form sends: the same
    result."""
    whole = [
        re.sub(
            r"<textarea.*?</textarea>",
            "",
            answer(client, pasted(counts=text, standard="iso-11930")),
            flags=re.DOTALL,
        )
        for text in (counts(), counts(separator).replace("\n", "\r\n"))
    ]
    assert whole[0] == whole[1]


def test_decimal_commas(client):
    """5,70 in a German sheet is 5.7 log, so that 1,00 makes 4.7."""
    logs = {"0": "5,70", "7": "1,00", "14": "1,00", "28": "1,00"}
    text = "organism\tday\tlog10_cfu\n" + "".join(f"E. coli\t{d}\t{v}\n" for d, v in logs.items())
    page = answer(client, pasted(counts=text, standard="usp-51"))
    assert ">5.7<" in page
    assert ">4.7<" in page


def test_standard_of_the_text(client):
    """Named above the heading, nothing has to be chosen; another one that is chosen is a fault of
    the choice."""
    text = "standard,ISO 11930\n" + counts()
    assert "A: every organism meets" in answer(client, pasted(counts=text))
    found = faults(answer(client, pasted(counts=text, standard="usp-51")))
    assert [field for field, _ in found] == ["after-standard"]
    assert found[0][1].startswith(
        "What you pasted says it was done by ISO 11930; judging it by USP <51>"
    )


def test_standard_is_asked_for(client):
    """In words of the page: no option of a command."""
    found = faults(answer(client, pasted(counts=counts())))
    assert [field for field, _ in found] == ["after-standard"]
    assert "Judge it by" in found[0][1]
    assert "--" not in found[0][1]


def test_faults_come_at_once_with_their_lines(client):
    """Lines as the field shows them, an empty one counted; no verdict is shown."""
    text = "organism,day,cfu_per_g\nE. coli,zero,5\nE. coli,7,nd\n\n,14,10\n"
    page = answer(client, pasted(counts=text, standard="iso-11930"))
    found = faults(page)
    assert [re.match(r"Line (\d)", said).group(1) for _, said in found] == ["2", "3", "5"]
    assert {field for field, _ in found} == {"after-counts"}
    assert "leave the reading out" in found[2][1]
    assert "stamp" not in page


@pytest.mark.parametrize(
    "text",
    [
        "x",
        '"',
        "\x00",
        "a\tb\tc",
        "sep=|\na|b",
        "=1+1",
        "organism,day,cfu_per_g",
        "," * 60,
        "\ufeff",
        "1\n" * 5001,
    ],
)
@pytest.mark.parametrize("part", PARTS)
def test_rubbish_is_a_fault(client, part, text):
    """Never a traceback, and never the name of a file that nobody has."""
    page = answer(client, draft_fields(), {f"after-{part}": text, "after-standard": "iso-11930"})
    assert "Traceback" not in page
    assert "pasted.csv" not in page
    assert "/tmp" not in page
    assert "stamp" not in page
    if text.strip("\ufeff"):
        assert faults(page)


def test_without_a_formula_a_test_is_judged(client):
    """And with a faulty one, which is said."""
    assert "A: every" in answer(client, pasted(counts=counts(), standard="iso-11930"))
    page = answer(
        client,
        draft_fields() | {"measured-ph": "15"},
        pasted(counts=counts(), standard="iso-11930"),
    )
    assert "A: every" in page
    assert "The formula has 1 to see to" in page


# ---- pH ----


def test_ph_stays(client):
    """Ten months within 0.01 of 4.42: another year moves it by about as little, far from 3.8 and
    4.8."""
    months = "".join(f"2026-{m:02d}-01;4,4{2 + m % 2};22\n" for m in range(1, 11))
    text = answer(client, draft_fields(), pasted(ph=f"date;ph;storage_c\n{months}"))
    assert '<span class="word pass">pass</span>' in text
    assert "Window: pH 3.8 to 4.8." in text
    assert '<svg stroke-linejoin="round"' in text


def test_ph_outside_is_serious(client):
    """4.9 is above 4.8: the sign is that of a batch not to be sold, and the words are of the
    page."""
    text = answer(client, draft_fields(), pasted(ph=PH.replace("4,4", "4,9")))
    assert '<span class="word serious">serious</span>' in text
    assert "adjust the pH, find what moves it" in text
    assert "preservecheck adjust" not in text


def test_formula_is_asked_for(client):
    """The readings can be read, but nothing sets a window; faults are told all the same."""
    text = answer(client, pasted(ph=PH))
    assert "What is missing is the formula" in text
    assert "stamp" not in text
    found = faults(answer(client, pasted(ph=PH.replace("4,41", "41"))))
    assert found == [("after-ph", "Line 3: pH is 41; give a pH from 0 to 14")]


# ---- the same as the commands ----


@pytest.mark.parametrize("with_formula", [True, False])
def test_challenge_files_are_those_of_the_command(client, tmp_path, with_formula):
    """Letter by letter, for the same counts and formula."""
    formula = saved_formula(client, tmp_path) if with_formula else None
    found = challenge(
        file_named(tmp_path, counts()), "iso-11930", TABLES, formula=formula, today=TODAY
    )
    data = (draft_fields() if with_formula else {}) | pasted(counts=counts(), standard="iso-11930")
    expected = {
        "json": json_text(found.to_json()),
        "md": markdown.render([challenge_report.document(found)]),
        "svg": courses(found).file(".svg").decode(),
    }
    for ending, text in expected.items():
        answer = client.post(f"/after/counts.{ending}", data=data)
        assert answer.text == text
        name = "plain-rinse-for-tests" if with_formula else "formula"
        assert f'filename="{name}.challenge.{ending}"' in answer.headers["content-disposition"]


def test_drift_files_are_those_of_the_command(client, tmp_path):
    """Letter by letter."""
    found = drift(file_named(tmp_path, PH), saved_formula(client, tmp_path), TABLES, today=TODAY)
    data = draft_fields() | pasted(ph=PH)
    assert client.post("/after/ph.json", data=data).json() == json.loads(json_text(found.to_json()))
    assert client.post("/after/ph.md", data=data).text == markdown.render(
        [drift_report.document(found)]
    )
    assert client.post("/after/ph.svg", data=data).text == drifting(found).file(".svg").decode()


def test_page_says_what_the_command_says(client, tmp_path):
    """Every sentence and figure of the command's page, in its order."""
    formula = saved_formula(client, tmp_path)
    data = (draft_fields(), pasted(counts=counts(), ph=PH, standard="iso-11930"))
    text = unescape(re.sub(r"<[^>]*>", "", answer(client, *data)))
    tested = challenge(
        file_named(tmp_path, counts()), "iso-11930", TABLES, formula=formula, today=TODAY
    )
    read = drift(file_named(tmp_path, PH), formula, TABLES, today=TODAY)
    for document in (challenge_report.document(tested), drift_report.document(read)):
        blocks = [*document.lead, *(b for section in document.filled for b in section.blocks)]
        at = text.index(document.lead[0].said)
        for sentence in [*(t for block in blocks for t in texts_of(block)), *document.foot]:
            at = text.index(sentence, at)


def texts_of(block):
    """The texts of a block of a result, in their order on the page."""
    match block:
        case Verdict():
            return [block.said]
        case Paragraph(text):
            return [text] if text else []
        case Plots():
            return []
        case Table():
            below = block.below or [()] * len(block.rows)
            return [t for row, notes in zip(block.rows, below, strict=True) for t in (*row, *notes)]
    return block.texts


@pytest.mark.parametrize("path", ["/after/counts.md", "/after/ph.json", "/after/counts.exe"])
def test_nothing_is_saved_of_faults(client, path):
    """The page says why, and keeps what was pasted."""
    answer = client.post(path, data=pasted(counts="organism,day\nx,1", ph="date,ph\n1,2"))
    assert answer.status_code == 422
    assert "content-disposition" not in answer.headers
    assert "organism,day\nx,1</textarea>" in answer.text
    assert client.post("/after/other.md", data={}).status_code == 404


# ---- example, files, fields ----


def test_example_fills_in_by_one_click(client):
    """It calls itself invented, is judged at once, and never takes the place of what is pasted."""
    for part in PARTS:
        text = client.post("/after", data=draft_fields() | {"do": f"example {part}"}).text
        assert f"{EXAMPLES[part]}</textarea>" in html.unescape(text)
        assert "invented" in EXAMPLES[part]
        assert 'class="stamp' in text
        after = after_of(pasted(**{part: "mine"}).items())
        acted(after, f"example {part}")
        assert after.texts[part] == "mine"
        acted(after, f"clear {part}")
        assert after.texts[part] == ""


def test_columns_of_the_tables_are_read(client):
    """Headings and samples as the tables above the fields tell them are a text that can be used."""
    for part, columns, samples in (
        ("counts", COUNTS_COLUMNS, ["E. coli", "7", "<10", "2"]),
        ("ph", PH_COLUMNS, ["1.9.2026", "5.02", "40"]),
    ):
        for name, sample in zip([c[0] for c in columns], samples, strict=True):
            assert sample in next(c[2] for c in columns if c[0] == name)
        text = ";".join(c[0] for c in columns) + "\n" + ";".join(samples) + "\n"
        page = answer(
            client, draft_fields(), {f"after-{part}": text, "after-standard": "iso-11930"}
        )
        assert not faults(page)
        assert "stamp" in page


def workbook(rows):
    """A workbook as bytes."""
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_workbook_is_opened(client, tmp_path):
    """Its cells stand in the field, an empty row with its line, and it reads as the workbook itself
    does."""
    rows = [
        ["date", "ph", "storage_c", "note"],
        [dt.datetime(2026, 9, 1, 8, 30), 4.425, 22, "a, b\nc"],
        [],
        [dt.date(2026, 9, 8), 4.4, 22.5, None],
        ["15.9.2026", "4,4", "room", "x;y"],
    ]
    data = workbook(rows)
    text = client.post(
        "/after/open",
        data=draft_fields() | {"do": "open ph"},
        files={"file-ph": ("week 1.xlsx", data)},
    ).text
    shown = html.unescape(
        re.search(r'<textarea id="after-ph".*?>(.*?)</textarea>', text, re.DOTALL).group(1)
    )
    assert shown.splitlines() == [
        "date,ph,storage_c,note",
        '2026-09-01,4.425,22,"a, b c"',
        "",
        "2026-09-08,4.4,22.5",
        '15.9.2026,"4,4",room,x;y',
    ]
    assert 'value="Plain rinse for tests"' in text
    book, sheet = tmp_path / "w.xlsx", file_named(tmp_path, shown, "w.csv")
    book.write_bytes(data)
    formula = saved_formula(client, tmp_path)
    assert drift(book, formula, TABLES, today=TODAY) == drift(sheet, formula, TABLES, today=TODAY)
    assert readings_text(sheet) == shown


def test_text_file_is_opened_as_it_is(client):
    """With the mark that a spreadsheet program writes first."""
    files = {"file-counts": ("c.csv", b"\xef\xbb\xbf" + counts(";").replace("\n", "\r\n").encode())}
    data = {"do": "open counts", "after-standard": "iso-11930", "after-ph": PH}
    text = html.unescape(client.post("/after/open", data=data, files=files).text)
    assert f"{counts(';')}</textarea>" in text
    assert f"{PH}</textarea>" in text
    assert "A: every organism meets" in text


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("c.pdf", b"%PDF"),
        ("../../etc/c.xlsx", b"no workbook"),
        ("c.csv", b""),
        ("c.csv", b"\xff\xfe\x00"),
        ("", b""),
        ("c.csv", b"a" * 2_100_000),
    ],
)
def test_files_that_cannot_be_read(client, name, data):
    """A message without a folder, and what was pasted stays."""
    answer = client.post(
        "/after/open",
        data={"do": "open counts", "after-counts": "mine"},
        files={"file-counts": (name, data)},
    )
    text = answer.text
    assert answer.status_code in (200, 422)
    assert 'class="message"' in text
    assert "preservecheck-" not in text
    assert "Traceback" not in text
    assert "mine</textarea>" in text


def test_uploads_are_limited_in_size(client):
    """The guard lets a workbook through to this address, and nothing larger; elsewhere less."""
    files = {"file-counts": ("c.xlsx", b"a" * (MAX_BODY + 1000))}
    assert client.post("/after/open", data={"do": "open counts"}, files=files).status_code == 422
    assert client.post("/after", data={"do": "open counts"}, files=files).status_code == 413
    files = {"file-counts": ("c.xlsx", b"a" * 25_000_000)}
    assert client.post("/after/open", data={"do": "open counts"}, files=files).status_code == 413


def test_formula_and_texts_come_back(client):
    """Without scripting: both stand in the answer, and the formula goes on to the first view."""
    data = draft_fields() | pasted(counts="\n" + counts(), ph=PH, standard="usp-51")
    text = html.unescape(client.post("/after", data=data).text)
    assert "<!DOCTYPE html>" in text
    assert '<input type="hidden" name="product-name" value="Plain rinse for tests">' in text
    # a browser leaves out the first line end of such a field
    assert f">\n\n{counts()}</textarea>" in text
    assert '<option value="usp-51" selected>' in text
    assert 'value="Plain rinse for tests"' in client.post("/", data=data).text
    after = after_of(data.items())
    assert after.texts == {"counts": "\n" + counts(), "ph": PH}
    assert after.standard == "usp-51"


def test_what_is_pasted_is_escaped(client):
    """A text, never a part of the page, and no style in it."""
    bad = "organism,day,cfu_per_g\n</textarea><script>x,0,5\n<b>,7,zz\n"
    text = client.post("/after", data=pasted(counts=bad, ph="<i>", standard="<u>")).text
    for tag in ("</textarea><script>", "<b>", "<i>", "<u>"):
        assert tag not in text
    text = client.post(
        "/after", data=draft_fields() | pasted(counts=counts(), ph=PH, standard="iso-11930")
    ).text
    assert " style=" not in text
    assert "<style" not in text


def test_only_one_part_is_worked_out(client):
    """Where a script asks for one."""
    data = draft_fields() | pasted(counts=counts(), ph=PH, standard="iso-11930")
    assert answer(client, data, {"only": "ph"}).count("<svg") == 1
    assert answer(client, data).count("<svg") == 2
