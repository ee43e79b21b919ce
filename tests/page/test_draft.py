"""From a file to the form and back: nothing is lost on the way."""

from __future__ import annotations

import io
import tomllib
from pathlib import Path

import openpyxl
import pytest

from preservecheck.errors import FormulaError
from preservecheck.formula.build import build
from preservecheck.formula.load import load_formula
from preservecheck.formula.starter import starter_toml
from preservecheck.page.draft import draft_of, from_raw, pairs_of, to_raw
from preservecheck.page.draft_outcome import field_fault, formula_of
from preservecheck.page.editor import convert_amounts, edited, whole
from preservecheck.page.files import toml_text, workbook_of
from preservecheck.reference.load import load_tables
from tests.helpers import make_raw

EXAMPLES = sorted((Path(__file__).parents[1] / "examples").glob("*.toml"))
LOOSE = {"path", "sha256"}
ODD = """
format = 1
[product]
name = "A \\"quoted\\" name \\\\ with ä and °"
use = "leave-on"
type = "scalp"
markets = ["EU", "US", "JP"]
users = "under-10"
batch = "1.5 lb"
scale_step = "500 mg"
on_market = 2026-12-01
[measured]
ph = 5.05
temperature = "73.4 °F"
water_activity = 0.985
[[phase]]
name = "first: of two"
heated_to = "167 °F"
held = "0.5 h"
items = [
  { ingredient = "Aqua", grams = 600.1234567, note = "two\\nlines" },
  { ingredient = "=SUM(A1)", grams = 20 },
  { ingredient = "Cocamidopropyl Betaine", grams = 50.5, strength = 30 },
  { ingredient = "my powder", grams = 0.00005, purpose = "tint" },
]
[[phase]]
name = "second"
added_at = "38 °C"
items = [ { preservative = "benzyl-alcohol-dehydroacetic-acid", grams = 6 } ]
[blend."=SUM(A1)"]
"Glycerin" = 70
"Aqua" = 30
[ingredient."my powder"]
role = "powder"
water_fraction = 0.05
aliases = ["powder of mine", "dust"]
ph_min = 3
[[settled]]
check = "ionic"
about = "benzyl-alcohol-dehydroacetic-acid"
on = 2026-11-20
by = "M. R."
saw = "clear; no change after 28 d"
rests_on = { "benzyl-alcohol-dehydroacetic-acid" = 0.8862, cationic_meq_kg = 0 }
"""


def same(one, other):
    """Two formulas that differ in nothing but the file that they came from."""
    a, b = one.model_dump(exclude=LOOSE), other.model_dump(exclude=LOOSE)
    assert a == b


def raws():
    yield from (pytest.param(p.read_text(encoding="utf-8"), id=p.stem) for p in EXAMPLES)
    yield pytest.param(starter_toml(), id="starter")
    yield pytest.param(ODD, id="odd")


@pytest.mark.parametrize("text", list(raws()))
def test_file_to_form_to_file(text, tmp_path):
    """File, form fields, and both forms of saved file give the same formula, to the last digit."""
    tables, raw = load_tables(), tomllib.loads(text)
    first = build(raw, "first", tables)
    draft = draft_of(pairs_of(from_raw(raw)))
    same(formula_of(draft, tables), first)
    toml, xlsx = tmp_path / "saved.toml", tmp_path / "saved.xlsx"
    toml.write_text(toml_text(to_raw(draft)), encoding="utf-8")
    xlsx.write_bytes(workbook_of(to_raw(draft), tables))
    saved = load_formula(toml, tables)
    same(saved, first)
    same(load_formula(xlsx, tables), first)
    assert formula_of(draft, tables).sha256 == saved.sha256


def test_unit_that_is_typed_wins():
    """104 °F typed in a field that says °C is 104 °F, which is (104 - 32) / 1.8 = 40 °C."""
    draft = from_raw(tomllib.loads(starter_toml()))
    draft.phases[1].fields |= {"added_at": "104 °F", "added_at_unit": "°C"}
    assert formula_of(draft, load_tables()).phases[1].added_at_c == pytest.approx(40.0, abs=1e-9)
    draft.phases[1].fields |= {"added_at": "104", "added_at_unit": "°F"}
    assert formula_of(draft, load_tables()).phases[1].added_at_c == pytest.approx(40.0, abs=1e-9)


def test_blank_lines_and_phases_are_left_out():
    """A line or phase that is not filled in yet is no fault."""
    draft = from_raw(tomllib.loads(starter_toml()))
    before = formula_of(draft, load_tables())
    edited(draft, "add phase-0")
    edited(draft, "add-phase")
    same(formula_of(draft, load_tables()), before)


@pytest.mark.parametrize(
    ("do", "names"),
    [
        ("up phase-0-line-1", ["Glycerin", "Aqua", "Wax", "Oat"]),
        ("down phase-0-line-2", ["Aqua", "Glycerin", "Wax", "Oat"]),
        ("up phase-1-line-0", ["Aqua", "Glycerin", "Wax", "Oat"]),
        ("up phase-0-line-0", ["Aqua", "Glycerin", "Wax", "Oat"]),
        ("down phase-1-line-0", ["Aqua", "Glycerin", "Wax", "Oat"]),
        ("remove phase-0-line-1", ["Aqua", "Wax", "Oat"]),
        ("remove phase-0", ["Oat"]),
        ("down phase-0", ["Oat", "Aqua", "Glycerin", "Wax"]),
        ("name phase-0-line-2 Cetyl Alcohol", ["Aqua", "Glycerin", "Cetyl Alcohol", "Oat"]),
        ("remove phase-9-line-9", ["Aqua", "Glycerin", "Wax", "Oat"]),
        ("nonsense", ["Aqua", "Glycerin", "Wax", "Oat"]),
    ],
)
def test_buttons_of_the_editor(do, names):
    """Lines move, go and take a proposed name; what makes no sense does nothing."""
    items = [{"ingredient": n, "percent": 1} for n in ("Aqua", "Glycerin", "Wax")]
    draft = from_raw(
        {"phase": [{"name": "a", "items": items}, {"name": "b", "items": [{"ingredient": "Oat"}]}]}
    )
    edited(draft, do)
    assert [line["ingredient"] for p in draft.phases for line in p.lines] == names


def test_line_moves_over_the_edge_of_its_phase():
    """Down from the last place of a phase is the first of the next one, and up again is back."""
    draft = from_raw(
        {
            "phase": [
                {"items": [{"ingredient": "A"}, {"ingredient": "B"}]},
                {"items": [{"ingredient": "C"}]},
            ]
        }
    )
    assert edited(draft, "down phase-0-line-1") == "do:down phase-1-line-0"
    assert [[x["ingredient"] for x in p.lines] for p in draft.phases] == [["A"], ["B", "C"]]
    assert edited(draft, "up phase-1-line-0") == "do:up phase-0-line-1"
    assert [[x["ingredient"] for x in p.lines] for p in draft.phases] == [["A", "B"], ["C"]]


def test_percent_and_grams():
    """3 % of 500 g is 15 g, and back; the line that fills up shows what is left: 100 - 3 = 97 %,
    500 - 15 = 485 g."""
    items = [{"ingredient": "Aqua", "rest": True}, {"ingredient": "Glycerin", "percent": 3}]
    draft = from_raw({"product": {"batch": "500 g"}, "phase": [{"name": "a", "items": items}]})
    assert whole(draft) == {"said": "Aqua: 97 %", "rest": "97"}
    convert_amounts(draft, "grams")
    assert draft.phases[0].lines[1]["amount"] == "15"
    assert whole(draft) == {"said": "Aqua: 485 g", "rest": "485"}
    convert_amounts(draft, "percent")
    assert draft.phases[0].lines[1]["amount"] == "3"


def test_every_fault_has_its_field():
    """Each message leads to the field that it speaks of; Glicerin stands on the third line, after
    the rest line."""
    raw = make_raw({"Aqua": 90.0, "Glicerin": 200.0, "my mix": 5.0}, ph=15.0)
    raw["product"] |= {"use": "sometimes", "batch": "heavy"}
    raw["phase"][0]["heated_to"] = "hot"
    raw["blend"] = {"my mix": {"Glycerin": 50, "Nonsense": 20}, "other": {"Aqua": 120}}
    draft = from_raw(raw)
    with pytest.raises(FormulaError) as error:
        formula_of(draft, load_tables())
    found = [(f.field, f.text) for f in (field_fault(f, draft) for f in error.value.faults)]
    expected = [
        ("product-use", 'Use is "sometimes"'),
        ("product-batch", 'Size of the batch: "heavy"'),
        ("measured-ph", "pH is 15"),
        ("phase-0-heated_to", 'Phase "main": heated to: "hot"'),
        ("phase-0-line-2-amount", 'Phase "main", line 3 (Glicerin): percent is 200'),
        ("blend-0-name", 'Blend "my mix" adds up to 70 %'),
        ("blend-1-part-0-percent", 'Blend "other": Aqua is 120'),
        ("phase-0-line-2-ingredient", 'Phase "main", line 3 (Glicerin): "Glicerin" is not a known'),
        ("blend-0-part-1-name", 'Blend "my mix": "Nonsense" is not a known'),
    ]
    assert [field for field, _ in found] == [field for field, _ in expected]
    for (_, text), (_, start) in zip(found, expected, strict=True):
        assert text.startswith(start)


def test_name_that_stands_twice_is_a_fault():
    """What a file could not hold twice is not dropped in silence."""
    draft = from_raw(tomllib.loads(starter_toml()))
    draft.blends[0].parts.append({"name": "Cetearyl Alcohol", "percent": "1"})
    draft.blends.append(draft.blends[1])
    with pytest.raises(FormulaError) as error:
        formula_of(draft, load_tables())
    assert sum("appears twice; keep one" in m for m in error.value.messages) == 2


@pytest.mark.parametrize(
    ("amounts", "typed", "meant"),
    [
        ("grams", "20 g", 20),
        ("grams", "2,5g", 2.5),
        ("percent", "4%", 4),
        ("percent", "4,5 %", 4.5),
        ("percent", "20 g", "20 g"),
        ("grams", "5 %", "5 %"),
        ("grams", "g", "g"),
        ("percent", "%", "%"),
    ],
)
def test_unit_of_the_field_may_stand_behind_the_number(amounts, typed, meant):
    """As on a printed recipe; another unit is left for the check of the formula to refuse."""
    fields = {
        "amounts": amounts,
        "phase-0-line-0-ingredient": "Glycerin",
        "phase-0-line-0-amount": typed,
    }
    assert to_raw(draft_of(fields.items()))["phase"][0]["items"] == [
        {"ingredient": "Glycerin", amounts: meant}
    ]


def test_unit_behind_the_number_counts_for_the_rest():
    """500 - 20 - 2.5 = 477.5 g; in percent 4 and 0.5."""
    fields = {
        "amounts": "grams",
        "product-batch": "500",
        "phase-0-line-0-ingredient": "Aqua",
        "phase-0-line-0-rest": "yes",
        "phase-0-line-1-ingredient": "Glycerin",
        "phase-0-line-1-amount": "20 g",
        "phase-0-line-2-ingredient": "Parfum",
        "phase-0-line-2-amount": "2,5 g",
    }
    draft = draft_of(fields.items())
    assert whole(draft)["rest"] == "477.5"
    convert_amounts(draft, "percent")
    assert [line.get("amount") for line in draft.phases[0].lines[1:]] == ["4", "0.5"]


def test_workbook_leaves_out_what_a_cell_cannot_hold():
    """Signs that XML 1.0 does not allow (production 2) are pasted with a name now and then; the
    rest of it is kept."""
    raw = make_raw({"my mix": 5})
    raw["product"]["name"] = "Oat\x1b rinse\ufffe"
    raw["blend"] = {"my mix": {"Glycerin\x00": 60, "Aqua": 40}}
    sheets = openpyxl.load_workbook(io.BytesIO(workbook_of(raw, load_tables())))
    cells = {
        str(cell) for sheet in sheets for row in sheet.iter_rows(values_only=True) for cell in row
    }
    assert {"Oat rinse", "Glycerin"} <= cells


def test_negative_amount_fills_nothing_up():
    """-5 % is a slip, and the rest line does not grow by it."""
    fields = {
        "phase-0-line-0-ingredient": "Aqua",
        "phase-0-line-0-rest": "yes",
        "phase-0-line-1-ingredient": "Glycerin",
        "phase-0-line-1-amount": "-5",
    }
    assert whole(draft_of(fields.items())) == {"said": "", "rest": ""}


@pytest.mark.parametrize(
    ("fields", "field", "words"),
    [
        (
            {"own-0-name": "my gel"},
            "own-0-role",
            'Ingredient "my gel": what it does is missing; give',
        ),
        (
            {"blend-0-name": "my mix"},
            "blend-0-name",
            'Blend "my mix" is empty; give what it is made of, with percents that come to 100',
        ),
    ],
)
def test_materials_are_told_in_the_words_of_the_page(fields, field, words):
    """No brackets or keys of a file."""
    draft = draft_of([*pairs_of(from_raw(tomllib.loads(starter_toml()))), *fields.items()])
    if "blend-0-name" in fields:
        draft.blends[0].parts.clear()
    with pytest.raises(FormulaError) as error:
        formula_of(draft, load_tables())
    found = [field_fault(f, draft) for f in error.value.faults]
    assert [f.text for f in found if f.field == field and f.text.startswith(words)]


def test_long_number_is_read_in_one_go():
    """A megabyte of digits in a file would take hours if each were tried as the end of the
    number."""
    raw = make_raw({"Glycerin": 5})
    raw["phase"][0]["heated_to"] = "1" * 1_000_000 + " a b"
    assert from_raw(raw).phases[0].fields["heated_to"].endswith(" a b")


@pytest.mark.parametrize(("amounts", "other"), [("grams", "percent"), ("percent", "grams")])
def test_amounts_are_not_turned_without_a_batch(amounts, other):
    """7 g of an unknown whole are not 7 %, nor the other way round."""
    fields = {
        "amounts": amounts,
        "phase-0-line-0-ingredient": "Aqua",
        "phase-0-line-0-rest": "yes",
        "phase-0-line-1-ingredient": "Glycerin",
        "phase-0-line-1-amount": "7",
    }
    draft = draft_of(fields.items())
    convert_amounts(draft, other)
    assert (draft.amounts, draft.phases[0].lines[1]["amount"]) == (amounts, "7")


def test_amounts_that_are_not_typed_yet_may_be_grams_from_the_start():
    """Nothing is turned, so no batch is needed."""
    draft = draft_of({"amounts": "percent", "phase-0-line-0-ingredient": "Aqua"}.items())
    convert_amounts(draft, "grams")
    assert draft.amounts == "grams"
