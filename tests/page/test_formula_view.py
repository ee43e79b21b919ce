"""The first view: the formula with its verdict."""

from __future__ import annotations

import html
import tomllib
from datetime import date
from pathlib import Path

import pytest

from preservecheck.formula.starter import (
    starter_sheets,
    starter_toml,
    workbook_bytes,
    write_starter,
)
from preservecheck.page.draft import draft_of, from_raw, pairs_of
from preservecheck.page.draft_outcome import formula_of
from preservecheck.page.files import tame
from preservecheck.page.what_if import sliders, tried
from preservecheck.plan.review import review
from preservecheck.reference.load import load_tables
from preservecheck.report import words as report_words

TODAY = date(2026, 11, 25)
PIECE = {"x-piece": "yes"}
EXAMPLES = sorted((Path(__file__).parents[1] / "examples").glob("*.toml"))


def fields(text=None):
    """The form that holds a formula, as a browser posts it."""
    raw = tomllib.loads(text or starter_toml())
    data = {}
    for name, value in pairs_of(from_raw(raw)):
        if name == "product-markets":
            data[name] = value.split(", ")
        else:
            data[name] = value
    return data


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_same_figures_as_the_command_line(path):
    """The JSON of the page's report is that of the file's, but for the digest of the file."""
    tables = load_tables()
    draft = draft_of(pairs_of(from_raw(tomllib.loads(path.read_text(encoding="utf-8")))))
    here, there = (
        review(formula_of(draft, tables, TODAY), tables, today=TODAY).to_json(),
        review(path, tables, today=TODAY).to_json(),
    )
    assert here.pop("formula_sha256") != there.pop("formula_sha256")
    assert here == there


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_verdict_says_what_the_report_says(client, path):
    """Verdict, reasons, remedies and sources stand there word by word."""
    report = review(path, load_tables(), today=TODAY)
    text = html.unescape(
        client.post("/verdict", data=fields(path.read_text(encoding="utf-8"))).text
    )
    assert report_words.verdict_of(report, report.counts).said in text
    assert report_words.counted(report.counts) in text
    plan = report.to_json()["plan"]
    mended = {tuple(finding) for step in plan["steps"] for finding in step["mends"]}
    assert all(step["do"] in text for step in plan["steps"])
    for finding in report.checks:
        assert finding.because in text
        # what a step of the plan mends has its remedy there
        told = finding.do is None or (finding.id, finding.about) in mended
        assert told or finding.do in text
        assert all(source in text for source in finding.sources)


def test_without_scripting_the_form_gets_its_report(client):
    """A plain post returns the whole page: the formula as typed, and its report."""
    answer = client.post("/", data={**fields(), "do": "review"})
    assert answer.status_code == 200
    assert "<!DOCTYPE html>" in answer.text
    assert 'value="Oat rinse conditioner for the market stall"' in answer.text
    assert "25 findings" in answer.text


def test_buttons_without_scripting(client):
    """A line is added, and what was typed is still there."""
    answer = client.post("/", data={**fields(), "do": "add phase-0"})
    assert 'id="phase-0-line-4-ingredient"' in answer.text
    assert 'value="conditioning wax"' in answer.text


def test_faults_take_the_place_of_the_verdict(client):
    """All at once, each leading to its field, in words of the page."""
    data = fields() | {
        "measured-ph": "15",
        "product-use": "",
        "phase-0-line-1-ingredient": "Glicerin",
    }
    text = html.unescape(client.post("/verdict", data=data).text)
    assert "stamp" not in text
    for field in ("measured-ph", "product-use", "phase-0-line-1-ingredient"):
        assert f'data-field="{field}"' in text
    assert "pH is 15; give a pH from 0 to 14" in text
    assert "Use is missing; give leave-on or rinse-off" in text
    assert "[[" not in text


def test_empty_page_complains_of_nothing(client):
    """A formula that nobody has begun has no faults yet."""
    assert 'role="alert" tabindex' not in client.get("/").text
    assert 'class="faults"' not in client.post("/verdict", data={}).text


def test_unknown_name_is_proposed(client):
    """The editor offers the nearest names, a blend, and a description of one's own."""
    text = client.post("/editor", data=fields() | {"phase-0-line-1-ingredient": "Glicerin"}).text
    assert 'value="name phase-0-line-1 Glycerin"' in text
    assert 'value="add-blend Glicerin"' in text
    assert 'value="add-own Glicerin"' in text


def test_what_is_typed_is_escaped(client):
    """A name is a name, never a part of the page."""
    data = fields() | {"product-name": "<script>x</script>", "phase-0-line-1-ingredient": '"><b>'}
    text = client.post("/", data=data).text
    assert "<script>x" not in text
    assert '"><b>' not in text


# ---- opened checks ----


def test_check_opens_to_its_plot_and_rule(client):
    """Plot, formula and constants, without a style written inside."""
    text = client.post("/check/ph-range", data=fields(), headers=PIECE).text
    assert "<!DOCTYPE" not in text
    assert "<svg" in text
    assert "Its sources" in text
    assert " style=" not in text
    assert 'stroke-dasharray="' in text
    assert "lies outside the range" in text


def test_check_without_scripting_opens_on_the_whole_page(client):
    """The formula stands beside it."""
    text = client.post("/check/ph-range", data=fields()).text
    assert 'data-check="ph-range" open' in text
    assert text.count("<svg") == 1
    assert 'value="conditioning wax"' in text


def test_check_of_a_faulty_formula_still_shows_its_rule(client):
    """The rule needs no formula."""
    answer = client.post("/check/use-level", data={}, headers=PIECE)
    assert "usage" in answer.text
    assert answer.status_code == 200
    assert "<svg" not in answer.text
    assert client.post("/check/nonsense", data={}).status_code == 404


# ---- what if ----


def test_sliders_change_nothing_of_the_formula():
    """A tried pH gives what a review with that pH gives, and the formula stays as it is."""
    tables = load_tables()
    report = review(EXAMPLES[0], tables, today=TODAY)
    formula = report.formula
    before = formula.model_dump()
    found = tried(report, {"try-ph": 7.5}, tables)
    other = review(
        formula.model_copy(update={"measured": formula.measured.model_copy(update={"ph": 7.5})}),
        tables,
        today=TODAY,
    )
    assert found.verdict == report_words.verdict_of(other, other.counts)
    assert any(
        c.check == "ph-range" and (c.now, c.then) == ("pass", "serious") for c in found.changes
    )
    assert formula.model_dump() == before


def test_tried_dose_is_that_of_a_formula_with_that_dose():
    """Twice the largest usage of a system is over it; the rest line takes up the difference."""
    tables = load_tables()
    report = review(EXAMPLES[0], tables, today=TODAY)
    dose = next(s for s in sliders(report.formula, tables) if s.name.startswith("try-dose"))
    found = tried(report, {dose.name: dose.high}, tables)
    assert any(c.check == "use-level" and c.then == "serious" for c in found.changes)


def test_slider_at_what_is_tries_nothing(client):
    """Nothing moved, nothing said; what makes no number is not read."""
    tables = load_tables()
    report = review(EXAMPLES[0], tables, today=TODAY)
    now = {s.name: s.now for s in sliders(report.formula, tables)}
    assert tried(report, now, tables) is None
    assert client.post("/what-if", data=fields() | {"try-ph": "nan"}).text.strip() == ""
    assert "With pH 7.5" in client.post("/what-if", data=fields() | {"try-ph": "7.5"}).text


# ---- open and save ----


def opened(client, *files, piece=True):
    headers = {"x-piece": "yes"} if piece else {}
    return client.post("/open", files=[("files", f) for f in files], headers=headers)


@pytest.mark.parametrize("piece", [True, False])
def test_open_toml_and_workbook(client, piece):
    """Both forms fill the editor."""
    for name, data in (
        ("a.toml", starter_toml().encode()),
        ("b.xlsx", workbook_bytes(starter_sheets())),
    ):
        answer = opened(client, (name, data), piece=piece)
        assert answer.status_code == 200
        assert 'value="Oat rinse conditioner for the market stall"' in answer.text
        assert ("<!DOCTYPE" in answer.text) is not piece


def test_open_sheets(client, tmp_path):
    """The CSV sheets of one formula are dropped together."""
    paths = write_starter(tmp_path / "mine.csv")
    answer = opened(client, *((p.name, p.read_bytes()) for p in paths))
    assert answer.status_code == 200
    assert 'value="oat glycerite"' in answer.text


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("a.toml", b"format = ", "a.toml: not readable as TOML"),
        ("a.toml", b"", "a.toml: is empty"),
        ("a.docx", b"x", "a formula is a .toml file"),
        ("a.xlsx", b"PK", "a.xlsx: not a workbook"),
        ("a.Product.csv", b"field,value\n", "no sheet Formula"),
    ],
)
def test_file_that_cannot_be_read(client, name, data, said):
    """The reason is told without our folder, and the editor is left alone."""
    answer = opened(client, (name, data))
    assert answer.status_code == 422
    assert said in html.unescape(answer.text)
    assert "preservecheck-" not in answer.text
    assert "phase-0" not in answer.text


def test_faulty_file_is_opened_with_its_faults(client):
    """What can be shown is shown, and what is wrong is said."""
    answer = opened(
        client, ("a.toml", starter_toml().replace('use = "rinse-off"', 'usage = "often"').encode())
    )
    assert answer.status_code == 200
    assert "product.usage is not known here" in html.unescape(answer.text)
    assert 'value="conditioning wax"' in answer.text


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("../../etc/x.toml", "x.toml"),
        ("C:\\Users\\me\\x.toml", "x.toml"),
        ("..", "formula"),
        ("a/..\\.hidden.toml", "hidden.toml"),
        ("a\x00b.toml", "a_b.toml"),
        ("größe 1.toml", "größe 1.toml"),
    ],
)
def test_name_of_an_upload_leads_nowhere(name, kept):
    """Only the last part of a name is kept, and only tame signs of it."""
    assert tame(name) == kept


def test_save(client):
    """Both forms come as a file named after the product, and open as the same formula."""
    for ending in ("toml", "xlsx"):
        answer = client.post(f"/save.{ending}", data=fields())
        name = f"oat-rinse-conditioner-for-the-market-stall.{ending}"
        assert answer.headers["content-disposition"] == f'attachment; filename="{name}"'
        again = opened(client, (name, answer.content))
        assert again.text == client.post("/editor", data=fields()).text


def test_half_finished_formula_can_be_saved(client):
    """Nothing typed is lost for want of the rest."""
    for ending in ("toml", "xlsx"):
        data = {"phase-0-line-0-kind": "ingredient", "phase-0-line-0-ingredient": "Aqua"}
        assert client.post(f"/save.{ending}", data=data).status_code == 200


# ---- the other views ----


@pytest.mark.parametrize("path", ["/which", "/bench", "/after"])
def test_other_views_have_their_place(client, path):
    """Opened by address, and by posting the formula."""
    for answer in (client.get(path), client.post(path, data=fields())):
        assert answer.status_code == 200
        assert f'data-go="{path}" aria-current="page"' in answer.text


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/verdict",
        "/what-if",
        "/check/use-level",
        "/save.toml",
        "/save.xlsx",
        "/which",
        "/bench",
        "/bench/sheet",
        "/after",
    ],
)
def test_lines_before_the_product(client, path):
    """Who types what goes in before saying what it is: the page says what is missing,
    everywhere."""
    data = {k: v for k, v in fields().items() if not k.startswith("product-")}
    answer = client.post(path, data=data)
    assert answer.status_code in (200, 422)
    if path in ("/", "/verdict", "/bench/sheet"):
        for words in (
            "Name of the product is missing",
            "Kind of product is missing",
            "Where it is sold is missing",
        ):
            assert words in answer.text
