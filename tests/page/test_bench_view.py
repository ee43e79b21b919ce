"""At the bench: cooling readings, the pH from a titration, and the papers."""

from __future__ import annotations

import hashlib
import html
import json
import math
import re
import tomllib
from datetime import date

import html5lib
import pytest
from typer.testing import CliRunner

from preservecheck.bench.batch_sheet import batch_sheet
from preservecheck.cli.main import app as program
from preservecheck.evidence.record import DIGEST, content_digest
from preservecheck.page.bench import acted, bench_of, in_order
from preservecheck.page.draft import from_raw, pairs_of
from preservecheck.page.results import EXAMPLES
from preservecheck.reference.load import load_tables
from preservecheck.report.batch_sheet import document as sheet_document
from preservecheck.report.html import render
from tests.page.test_results_view import counts

TODAY = date(2026, 11, 25)
SYSTEM = "benzyl-alcohol-dehydroacetic-acid"  # heat limit 40 °C
FORMULA = f"""
format = 1
[product]
name = "Plain rinse for tests"
use = "rinse-off"
type = "conditioner"
markets = ["EU"]
batch = "1 kg"
scale_step = "0.01 g"
[measured]
ph = 6.4
[[phase]]
name = "heated"
heated_to = "75 °C"
held = "20 min"
items = [{{ ingredient = "Aqua", rest = true }}, {{ ingredient = "Cetearyl Alcohol", percent = 6.0 }}]
[[phase]]
name = "cool-down"
items = [{{ preservative = "{SYSTEM}", percent = 0.8 }}]
"""
PIECE = {"x-piece": "yes"}


def draft_fields(text=FORMULA):
    """The fields of a formula, as a browser posts them."""
    data = {}
    for name, value in pairs_of(from_raw(tomllib.loads(text))):
        data[name] = value.split(", ") if name == "product-markets" else value
    return data


def readings(*pairs, **fields):
    """The fields of some readings."""
    data = {f"cool-{k.replace('_', '-')}": v for k, v in fields.items()}
    for i, (time, temp) in enumerate(pairs):
        data |= {f"cool-{i}-time": time, f"cool-{i}-temp": temp}
    return data


def drops(*pairs, **fields):
    """The fields of a titration."""
    data = {f"drop-{k}": v for k, v in fields.items()}
    for i, (grams, ph) in enumerate(pairs):
        data |= {f"drop-{i}-grams": grams, f"drop-{i}-ph": ph}
    return data


def on_the_law(count=4, start=14 * 60 + 5):
    """Readings every ten minutes on Newton's law: 21 °C room, 74 °C at first, 0.02 per minute."""
    times = [10 * i for i in range(count)]
    return [
        (
            f"{(start + t) // 60 % 24:02d}:{(start + t) % 60:02d}",
            f"{21 + 53 * math.exp(-0.02 * t):.2f}",
        )
        for t in times
    ]


def answer(client, *parts, path="/bench"):
    """The middle of the page for some fields, as text."""
    data = {k: v for part in parts for k, v in part.items()}
    return html.unescape(client.post(path, data=data, headers=PIECE).text)


# ---- cooling ----


def test_time_by_hand(client):
    """40 °C less 2 °C for the thermometer is 38 °C; ln(53 / 17) / 0.02 = 56.85 min after 14:05, so
    15:02."""
    text = answer(client, draft_fields(), readings(*on_the_law(), room="21"))
    assert "not yet" in text
    found = re.search(
        r"About (\d\d:\d\d) \(between (\d\d:\d\d) and (\d\d:\d\d)\), once the thermometer shows (.*?) or",
        text,
    )
    assert found.group(1) == "15:02"
    assert found.group(2) <= "15:02" <= found.group(3)
    assert found.group(4) == "38 °C (100.4 °F)"


def test_countdown_runs_from_the_last_reading(client):
    """26.85 min after the last reading, at 14:35, whatever the clock of this program says."""
    text = answer(client, draft_fields(), readings(*on_the_law(), room="21"))
    best, low, high = (
        float(re.search(rf'data-{k}="([0-9.]+)"', text).group(1)) for k in ("best", "low", "high")
    )
    assert best == pytest.approx(56.85 - 30, abs=0.1)
    assert low < best < high


def test_no_time_zone_is_mixed_in(client, monkeypatch):
    """The same answer wherever the program believes it is."""
    import time

    data = (draft_fields(), readings(*on_the_law(), room="21"))
    answers = set()
    for zone in ("UTC", "Pacific/Auckland", "America/New_York"):
        monkeypatch.setenv("TZ", zone)
        time.tzset()
        answers.add(answer(client, *data))
    monkeypatch.delenv("TZ")
    time.tzset()
    assert len(answers) == 1


def test_fahrenheit(client):
    """The same course read in °F, to a tenth: the same minute, the reading told in both units."""
    rows = [(time, f"{float(temp) * 9 / 5 + 32:.1f}") for time, temp in on_the_law()]
    text = answer(client, draft_fields(), readings(*rows, room="69.8", unit="°F"))
    assert re.search(r"About 15:0[123] ", text)


def test_past_midnight(client):
    """From 23:50 on; 56.85 min later it is 00:47 of the next day."""
    text = answer(client, draft_fields(), readings(*on_the_law(start=23 * 60 + 50), room="21"))
    assert "About 00:47 (+1 d)" in text


def test_cool_enough_is_said_in_words(client):
    """The thermometer has shown 37.9 °C: it may go in, and nothing counts down. At 38.1 °C it may
    not."""
    rows = [("14:05", "74"), ("14:35", "50"), ("14:55", "37.9")]
    text = answer(client, draft_fields(), readings(*rows, room="21"))
    assert "may go in" in text
    assert "showed 37.9 °C (100.2 °F) at 14:55, so it may go in" in text
    assert 'class="count"' not in text
    above = answer(client, draft_fields(), readings(*rows[:2], ("14:55", "38.1"), room="21"))
    assert "so it may go in" not in above
    assert 'class="count"' in above


def test_each_preservative_has_a_limit_of_its_own(client):
    """Two lines, two gates: one bears 85 °C, the other 40 °C; 38 °C suits both (common practice),
    and is 40 °C less the thermometer's 2 °C."""
    row = next(s for s in load_tables().systems if s.id == "phenoxyethanol")
    assert (row.heat_limit_c, row.preferred_add_below_c) == (85, 45)
    second = 'percent = 0.8 }, { preservative = "phenoxyethanol", percent = 0.5 }]'
    text = answer(client, draft_fields(FORMULA.replace("percent = 0.8 }]", second)))
    gates = re.findall(r"<h3>(\S+) <span.*?shows (\d+) °C", text, re.DOTALL)
    assert sorted(gates) == [(SYSTEM, "38"), ("phenoxyethanol", "38")]


def test_marks_without_readings(client):
    """What to wait for stands there before anything is read."""
    text = answer(client, draft_fields())
    assert "May go in when the thermometer shows 38 °C (100.4 °F) or less." in text
    assert "customary mark" not in text


def test_without_a_formula(client):
    """Only the customary mark is told, and that no formula is there."""
    text = answer(client, readings(*on_the_law(), room="21"))
    assert "No formula yet" in text
    # ln(53 / 19) / 0.02 = 51.3 min after 14:05
    assert "About 14:56" in text


def test_faults_lead_to_their_fields(client):
    """All at once, each with its field, in words of the page; nothing is foretold from them."""
    text = answer(
        client,
        draft_fields(),
        readings(("14:05", "74"), ("", "66"), ("14:25", "sixty"), room="warm"),
    )
    for field in ("cool-1-time", "cool-2-temp", "cool-room"):
        assert f'data-field="{field}"' in text
    assert "--" not in re.sub(r"<[^>]*>|var\(--", "", text)
    assert "About " not in text


def test_went_in_too_hot(client):
    """In at 14:25, at 74 - 53 + ... = 56.5 °C by the law, above 40 °C: serious, and no time is
    counted down."""
    text = answer(client, draft_fields(), readings(*on_the_law(), room="21", added="14:25"))
    assert f"{SYSTEM}: serious. It met 56.5" in text
    assert 'class="count"' not in text


def test_went_in_after_the_last_reading(client):
    """Nothing is extrapolated: another reading is asked for, and the rest still stands."""
    text = answer(client, draft_fields(), readings(*on_the_law(), room="21", added="14:40"))
    assert 'data-field="cool-added"' in text
    assert "Take a reading now" in text
    assert "About 15:02" in text


def test_plan_of_the_formula_is_no_addition(client):
    """What nobody put in is not told to be in, though the batch is below the planned
    temperature."""
    text = FORMULA.replace('name = "cool-down"\n', 'name = "cool-down"\nadded_at = "38 °C"\n')
    page = answer(
        client,
        draft_fields(text),
        readings(("14:05", "74"), ("14:35", "50"), ("14:55", "37"), room="21"),
    )
    assert "Already in" not in page
    assert "so it may go in" in page


# ---- typing ----


def test_reading_is_taken_in_without_scripting(client):
    """A post adds the reading, keeps the others and the formula, and answers with the whole
    page."""
    data = (
        draft_fields()
        | readings(("14:05", "74"), room="21")
        | {"cool-new-time": "14:15", "cool-new-temp": "66", "do": "add"}
    )
    text = client.post("/bench", data=data).text
    assert "<!DOCTYPE html>" in text
    for field, value in (
        ("cool-0-temp", "74"),
        ("cool-1-temp", "66"),
        ("cool-1-time", "14:15"),
        ("cool-new-temp", ""),
    ):
        assert re.search(rf'<input id="{field}"[^>]* value="{value}"', text), field
    assert '<input type="hidden" name="product-name" value="Plain rinse for tests">' in text


def test_formula_survives_the_view(client):
    """Back on the first view the formula is there, though the fields of the bench came along."""
    data = draft_fields() | readings(*on_the_law()) | drops(("0", "6.4"))
    assert 'value="Plain rinse for tests"' in client.post("/", data=data).text


def test_fields_of_the_bench():
    """Each value under the key of its field, readings in their order, what is being typed apart."""
    data = readings(("14:05", "74"), ("14:15", "66"), unit="°F", room="70") | drops(
        ("0", "6"), sample="50"
    )
    data |= {
        "sheet-number": "B 7",
        "cool-new-temp": "6",
        "drop-new-grams": "0.1",
        "cool-0-day": "2026-11-25",
    }
    bench = bench_of(data.items())
    assert bench.cool == {"unit": "°F", "room": "70"}
    assert (bench.drop["sample"], bench.sheet) == ("50", {"number": "B 7"})
    assert bench.rows["cool"] == [
        {"time": "14:05", "temp": "74", "day": "2026-11-25"},
        {"time": "14:15", "temp": "66"},
    ]
    assert bench.rows["drop"] == [{"grams": "0", "ph": "6"}]
    assert bench.fresh == {"cool": {"temp": "6"}, "drop": {"grams": "0.1"}}


def test_order_of_days():
    """A reading with its day goes to its place; without days the order of typing stays."""
    data = readings(("00:10", "50"), ("23:50", "70"))
    bench = bench_of(data.items())
    in_order(bench)
    assert [r["temp"] for r in bench.rows["cool"]] == ["50", "70"]
    bench = bench_of((data | {"cool-0-day": "2026-11-26", "cool-1-day": "2026-11-25"}).items())
    in_order(bench)
    assert [r["temp"] for r in bench.rows["cool"]] == ["70", "50"]
    assert bench.moments == ["2026-11-25 23:50", "2026-11-26 00:10"]


@pytest.mark.parametrize(
    ("do", "left"),
    [
        ("remove cool-0", (1, 1)),
        ("remove cool-9", (2, 1)),
        ("clear cool", (0, 1)),
        ("clear drop", (2, 0)),
        ("x", (2, 1)),
    ],
)
def test_buttons(do, left):
    """One reading goes, or all of a kind; what is not there changes nothing."""
    bench = bench_of((readings(("14:05", "74"), ("14:15", "66")) | drops(("0", "6"))).items())
    acted(bench, do)
    assert (len(bench.rows["cool"]), len(bench.rows["drop"])) == left


def test_what_is_typed_is_escaped(client):
    """A reading is a text, never a part of the page."""
    data = (
        readings(('"><script>x', "<b>"), added='"><i>')
        | drops(('"><u>', "1"))
        | {"sheet-reason": "</textarea><s>"}
    )
    text = client.post("/bench", data=draft_fields() | data).text
    for bad in ("<script>x", "<b>", "<i>", "<u>", "<s>"):
        assert bad not in text


def test_no_style_inside(client):
    """The rules for content allow none."""
    text = client.post("/bench", data=draft_fields() | readings(*on_the_law(), room="21")).text
    assert "<svg" in text
    assert " style=" not in text
    assert "<style" not in text


# ---- pH ----


STRAIGHT = (("0", "6.2"), ("0.1", "5.8"), ("0.2", "5.4"), ("0.3", "5.0"), ("0.4", "4.6"))


def test_amount_by_hand(client):
    """0.4 pH every 0.1 g in 50 g: 0.35 g brings it to 4.8, so 1 kg takes 7 g; half a kilogram 3.5
    g."""
    data = drops(*STRAIGHT, sample="50", agent="Lactic Acid", strength="20", target="4.8")
    assert "add 7 g" in answer(client, draft_fields(), data)
    assert "add 3.5 g" in answer(
        client, draft_fields(), data, {"sheet-batch": "0,5", "sheet-batch_unit": "kg"}
    )


def test_cautions_stand_before_anything_is_added(client):
    """Lye: into cold water, never the other way round; also while no amount can be told."""
    text = answer(client, drops(agent="Sodium Hydroxide"))
    assert "Add lye to cold water, never water to lye" in text
    text = answer(
        client,
        draft_fields(),
        drops(*STRAIGHT, sample="50", agent="Lactic Acid", strength="80", target="4.8"),
    )
    assert text.count("never water to acid") == 1
    assert "dilute it to 10 to 20 %" in text


def test_too_few_readings_are_counted(client):
    """Two of three: no titration yet, and the estimate is called one."""
    text = answer(
        client,
        draft_fields(),
        drops(*STRAIGHT[:2], sample="50", agent="Lactic Acid", strength="20"),
    )
    assert "2 of at least 3 readings" in text
    assert "ESTIMATE" in text


def test_faults_of_a_titration(client):
    """Each leads to its field."""
    rows = (("0", "6.2"), ("0.1", "x"), ("0.05", "5.4"), ("0.3", "5"))
    text = answer(
        client, draft_fields(), drops(*rows, agent="Lactic Acid", strength="200", target="15")
    )
    for field in ("drop-1-ph", "drop-sample", "drop-strength", "drop-target"):
        assert f'data-field="{field}"' in text
    assert "[measured]" not in text


# ---- papers ----


def saved(client, tmp_path):
    """The formula as the page saves it."""
    path = tmp_path / "plain-rinse-for-tests.toml"
    path.write_bytes(client.post("/save.toml", data=draft_fields()).content)
    return path


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_batch_sheet_is_that_of_the_command(client, tmp_path, paper):
    """Letter by letter, for the same formula and size."""
    path = saved(client, tmp_path)
    sheet = batch_sheet(path, load_tables(), batch_g=2000, batch_number="B 7", today=TODAY)
    there = render([sheet_document(sheet, paper)])
    assert "B 7" in there
    data = draft_fields() | {
        "sheet-batch": "2",
        "sheet-batch_unit": "kg",
        "sheet-number": "B 7",
        "sheet-paper": paper,
    }
    answer = client.post("/bench/sheet.html", data=data)
    assert answer.text == there
    assert (
        'filename="plain-rinse-for-tests.batch-sheet.html"' in answer.headers["content-disposition"]
    )


def test_paper_on_the_screen_says_the_same(client, undrawn):
    """Without its styles the page that is shown is the file, but for what links them."""
    data = draft_fields() | {"sheet-number": "B 7", "sheet-reason": "Mild\nand known"}
    for what in ("sheet", "record"):
        file, page = (
            client.post(f"/bench/{what}.html", data=data).text,
            client.post(f"/bench/{what}", data=data).text,
        )
        assert "<style" not in page
        assert " style=" not in page
        words = [
            re.sub(r"\s+", " ", re.sub(r"(?s)<style.*?</style>|<[^>]*>", " ", t)).strip()
            for t in (file, page)
        ]
        assert words[0] == words[1]
    assert "B 7" in page
    assert "Mild" in page


@pytest.mark.parametrize("name", ["sheet-a4.css", "sheet-letter.css", "record.css"])
def test_styles_of_the_papers(client, name, undrawn):
    """The style sheet that is linked is what stands in the file."""
    what, paper = ("record", "a4") if name == "record.css" else ("sheet", name[6:-4])
    file = client.post(f"/bench/{what}.html", data=draft_fields() | {"sheet-paper": paper}).text
    inside = re.search(r"(?s)<style>(.*?)</style>", file).group(1)
    answer = client.get(f"/bench/{name}")
    assert answer.headers["content-type"].startswith("text/css")
    assert "".join(answer.text.split()) == "".join(html.unescape(inside).split())
    assert (
        f"/bench/{name}"
        in client.post(f"/bench/{what}", data=draft_fields() | {"sheet-paper": paper}).text
    )
    assert client.get("/bench/other.css").status_code == 404


def test_record_can_be_worked_out_again(client, tmp_path):
    """The JSON carries its own digest and stands up to the command that verifies it."""
    data = draft_fields() | {"sheet-number": "B 7", "sheet-reason": "Mild"}
    text = client.post("/bench/record.json", data=data).text
    record = json.loads(text)
    assert (record["batch_number"], record["reason"]) == ("B 7", "Mild")
    assert record[DIGEST] == content_digest(text)
    saved_sha = hashlib.sha256(client.post("/save.toml", data=draft_fields()).content).hexdigest()
    assert record["formula_sha256"] == saved_sha
    path = tmp_path / "r.json"
    path.write_text(text, encoding="utf-8")
    assert CliRunner().invoke(program, ["record", "--verify", str(path)]).exit_code == 0


def test_record_takes_the_counts_along(client, tmp_path, undrawn):
    """A challenge test that was pasted afterwards stands in the record; an example is none; faults
    are told.

    Escherichia coli goes down by log10(500000 / 50000) = 1 where ISO 11930 asks for 3 log, so that
    it fails.
    """
    pasted = counts(changed={"Escherichia coli": ("500000", "50000", "50000", "50000")})
    data = draft_fields() | {"after-standard": "iso-11930", "after-counts": pasted}
    text = client.post("/bench/record.json", data=data).text
    record = json.loads(text)
    assert record["challenge"]["verdict"] == "fails"
    assert "Escherichia coli" in client.post("/bench/record.md", data=data).text
    path = tmp_path / "r.json"
    path.write_text(text, encoding="utf-8")
    assert CliRunner().invoke(program, ["record", "--verify", str(path)]).exit_code == 0
    for none in (EXAMPLES["counts"], EXAMPLES["counts"].replace("\n", "\r\n"), "  "):
        answer = client.post("/bench/record.json", data=data | {"after-counts": none})
        assert json.loads(answer.text)["challenge"] is None
    answer = client.post(
        "/bench/record", data=data | {"after-counts": pasted.replace(",500000", ",x", 1)}
    )
    assert answer.status_code == 422
    assert "The counts under Afterwards cannot be used: " in html.unescape(answer.text)


def test_plain_forms_carry_what_other_views_hold(client):
    """Once around all views by their buttons: readings, wishes and counts are still there."""
    fields = draft_fields()
    beside = {
        "cool-0-time": "14:05",
        "cool-0-temp": "74",
        "drop-strength": "10",
        "sheet-number": "B 7",
        "which-text": "sorbate",
        "after-counts": "organism,day\r\nmine,0",
    }
    for path in ("/", "/which", "/bench", "/after", "/"):
        page = html5lib.parse(
            client.post(path, data=fields | beside).text, namespaceHTMLElements=False
        )
        held = {e.get("name"): e.get("value") for e in page.iter("input")}
        held |= {e.get("name"): "".join(e.itertext()) for e in page.iter("textarea")}
        for name, value in beside.items():
            assert held[name].strip() == value.replace("\r\n", "\n"), (path, name)


@pytest.mark.parametrize(
    "path", ["/bench/sheet", "/bench/sheet.xlsx", "/bench/record", "/bench/record.md"]
)
def test_no_paper_of_a_faulty_formula(client, path):
    """The page says why, and keeps what was typed."""
    data = draft_fields() | {"measured-ph": "15", "sheet-reason": "Mild"}
    answer = client.post(path, data=data)
    assert answer.status_code == 422
    assert "pH is 15; give a pH from 0 to 14" in answer.text
    assert ">Mild</textarea>" in answer.text


def test_sheet_asks_for_the_size(client):
    """Nobody says how large the batch is: the page asks."""
    data = draft_fields(FORMULA.replace('batch = "1 kg"\n', ""))
    assert "How large is the batch?" in client.post("/bench/sheet", data=data).text
    assert client.post("/bench/sheet", data=data | {"sheet-batch": "500"}).status_code == 200


@pytest.mark.parametrize("size", ["0", "-0", "1000000000"])
def test_sheet_of_no_batch_is_refused(client, size):
    """Nothing can be weighed into nothing, nor into more than any vessel holds: the rule of the
    formula file."""
    answer = client.post("/bench/sheet", data=draft_fields() | {"sheet-batch": size})
    assert answer.status_code == 422
    assert "give a mass above zero and at most 100,000 kg" in answer.text
