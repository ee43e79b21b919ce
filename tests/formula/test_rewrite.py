"""A formula file is written anew with its changes, and what did not change stays as it was."""

from __future__ import annotations

import datetime as dt
import io
import tempfile
import tomllib
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from preservecheck.errors import FormulaError
from preservecheck.formula.edit import (
    Add,
    Remove,
    Replace,
    SetDose,
    SetPh,
    SetScale,
    SetTemperature,
    Share,
    apply,
    at_ph,
    lines_of,
    rescaled,
    with_line,
    with_temperature,
    without_empty_phases,
    without_lines,
    without_preservatives,
)
from preservecheck.formula.load import load_formula
from preservecheck.formula.model import Line
from preservecheck.formula.rewrite import rewritten
from preservecheck.formula.starter import csv_bytes, raw_to_sheets, starter_toml, workbook_bytes
from tests.helpers import compose

TODAY = dt.date(2026, 11, 25)
EXAMPLES = Path(__file__).parents[1] / "examples"
DEMOS = {f.stem: f.read_text(encoding="utf-8") for f in sorted(EXAMPLES.glob("*.toml"))} | {
    "starter": starter_toml()
}
FORMS = ("toml", "xlsx", "csv")

SMALL = """\
# curl gel, third try
format = 1
[product]
name = "Gel"
use = "leave-on"
type = "styling"
markets = ["EU"]
batch = "0.5 kg"   # one jar
[measured]
ph = 5.8 # meter
# not measured: water activity

# the pot
[[phase]]
name = "heated"
heated_to = "167 °F"
items = [
  { ingredient = "Water", rest = true },
  # for slip
  { ingredient = "Glycerin", percent = 3, note = "vegetable" },  # from the big can
  { ingredient = "Xanthan Gum", percent = 0.5 }  # sieve it
  # last in
]

# off the heat
[[phase]]
name = "cool-down"
added_at = "104 °F"
items = [{preservative = "phenoxyethanol", percent = 0.8}]

# what it is made of
[blend."unused"]
"Glycerin" = 100
"""


def written(folder, text, kind, name="cream"):
    """A formula file of any form, in a folder; its path."""
    if kind == "toml":
        path = folder / f"{name}.toml"
        path.write_text(text, encoding="utf-8", newline="")
        return path
    sheets = raw_to_sheets(tomllib.loads(text))
    if kind == "xlsx":
        path = folder / f"{name}.xlsx"
        path.write_bytes(workbook_bytes(sheets))
        return path
    for sheet, rows in sheets.items():
        (folder / f"{name}.{sheet}.csv").write_bytes(csv_bytes(rows))
    return folder / f"{name}.Formula.csv"


def load(path):
    return load_formula(path, None, TODAY)


def edited(path, edits, new="new"):
    """The bytes of each new file by its name, and the formula that they hold."""
    before = load(path)
    after = edits(before) if callable(edits) else apply(before, edits, compose)
    files = rewritten(path, path.with_name(new + path.suffix), before, after, TODAY)
    for file, data in files.items():
        file.write_bytes(data)
    return {f.name: d for f, d in files.items()}, load(next(iter(files)))


def new_text(folder, edits, text=SMALL):
    files, _ = edited(written(folder, text, "toml"), edits)
    return files["new.toml"].decode()


def csv_text(folder, edits, sheet, text=SMALL):
    files, _ = edited(written(folder, text, "csv"), edits)
    return files[f"new.{sheet}.csv"].decode("utf-8-sig").splitlines()


def without_head(text):
    """A new text without the list of changes on top."""
    return text.partition("\n\n")[2]


# ---- any edit, in any form ----


@st.composite
def edits(draw, formula):
    """Edits of any kind that a formula can take, one after the other."""
    tenths = st.integers(1, 30).map(lambda n: n / 10)
    names = [x.name for x in lines_of(formula) if x.kind == "ingredient" and not x.rest]
    systems = [x.name for x in lines_of(formula) if x.kind == "preservative"]
    phases = st.sampled_from([p.name for p in formula.phases] + ["after all"])
    share = st.builds(
        Share, st.just("ingredient"), st.sampled_from(("Inulin", "Panthenol")), tenths
    )
    system = st.builds(
        Share,
        st.just("preservative"),
        st.sampled_from(("sodium-benzoate", "phenoxyethanol")),
        tenths,
    )
    kinds = [
        st.builds(SetPh, st.integers(30, 80).map(lambda n: n / 10)),
        st.builds(
            SetTemperature,
            st.sampled_from([p.name for p in formula.phases]),
            st.integers(20, 80).map(float),
        ),
        st.builds(SetScale, st.sampled_from((0.001, 0.01, 1.0))),
        st.builds(Add, share | system, phases),
        st.builds(Replace, st.sampled_from(names), share),
        *(st.builds(SetDose, st.just(s), tenths) for s in systems),
        *(st.builds(Remove, st.just(s)) for s in systems),
    ]
    return draw(st.lists(st.one_of(kinds), min_size=1, max_size=4))


def facts(formula):
    """All that counts of a formula, rounded as a file writes it."""
    lines = [
        (
            p.name,
            x.kind,
            x.name,
            x.rest,
            x.strength,
            None if x.amount is None else round(x.amount, 5),
        )
        for p in formula.phases
        for x in p.lines
    ]
    heat = [
        tuple(None if v is None else round(v, 6) for v in (p.heated_to_c, p.held_min, p.added_at_c))
        for p in formula.phases
    ]
    product = formula.product.model_dump(exclude={"batch_g"})
    return lines, heat, product, formula.measured, formula.blends, formula.own_ingredients


@pytest.mark.parametrize("kind", FORMS)
@pytest.mark.parametrize("demo", DEMOS)
@settings(
    max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_any_edit(demo, kind, data):
    """The new file holds the edited formula, every comment of the old one, and its notes."""
    with tempfile.TemporaryDirectory() as name:
        path = written(Path(name), DEMOS[demo], kind)
        before = load(path)
        try:
            after = apply(before, data.draw(edits(before)), compose)
        except FormulaError:
            assume(False)
        assume(all(x.amount is None or x.amount >= 1e-5 or x.amount == 0 for x in lines_of(after)))
        files = rewritten(path, path.with_name(f"new.{kind}"), before, after, TODAY)
        for file, content in files.items():
            file.write_bytes(content)
        assert facts(load(next(iter(files)))) == facts(after)
        if kind == "toml":
            text = files[path.with_name("new.toml")].decode()
            shed = [x.name for x in lines_of(before) if x not in lines_of(after)]
            fewer = len(after.phases) < len(before.phases)
            for line in DEMOS[demo].splitlines():
                code, mark, comment = line.partition("#")
                # a remark goes with the line or the phase that it stands in
                if not any(n in code for n in shed) and not (fewer and line[:1] != "#"):
                    assert not mark or comment.strip() in text, line


EDITS = {
    "pH": lambda f: at_ph(f, 4.25),
    "batch": lambda f: rescaled(f, 1234.5),
    "no preservative": lambda f: without_preservatives(compose(f)),
    "no first phase": lambda f: with_line(
        f.model_copy(update={"phases": f.phases[1:]}),
        Line(name="Aqua", kind="ingredient", rest=True),
        f.phases[1].name,
    ),
    "last line first": lambda f: without_lines(
        f.model_copy(
            update={
                "phases": (
                    f.phases[0].model_copy(
                        update={"lines": (Line(name="Inulin", kind="ingredient", amount=1), *f.phases[0].lines)}
                    ),
                    *f.phases[1:],
                )
            }
        ),
        [2],
    ),
    "phase in between": lambda f: f.model_copy(
        update={
            "phases": (
                f.phases[0],
                f.phases[0].model_copy(
                    update={
                        "name": "aside",
                        "added_at_c": 60.0,
                        "lines": (Line(name="Inulin", kind="ingredient", amount=0.25),),
                    }
                ),
                *f.phases[1:],
            )
        }
    ),
    "nothing measured": lambda f: f.model_copy(update={"measured": type(f.measured)()}),
    "strength": lambda f: with_line(
        f, Line(name="Cocamidopropyl Betaine", kind="ingredient", amount=0.5, strength=30), "a new one"
    ),
    "for children": lambda f: f.model_copy(
        update={"product": f.product.model_copy(update={"users": "under-3", "markets": ("EU",)})}
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", FORMS)
@pytest.mark.parametrize("edit", EDITS)
@pytest.mark.parametrize("demo", ["demo", "failing-gel", "starter"])
def test_edits_of_the_model(tmp_path, demo, edit, kind):
    path = written(tmp_path, DEMOS[demo], kind)
    expected = without_empty_phases(EDITS[edit](load(path)))
    _, found = edited(path, EDITS[edit])
    assert facts(found) == facts(expected)
    assert found.product.batch_g == pytest.approx(expected.product.batch_g)


@pytest.mark.parametrize("kind", FORMS)
def test_without_a_change(tmp_path, kind):
    """Nothing to change: TOML and CSV stay byte for byte, a workbook cell for cell."""
    path = written(tmp_path, SMALL, kind)
    files, _ = edited(path, [])
    if kind == "xlsx":
        books = [
            openpyxl.load_workbook(io.BytesIO(d)) for d in (path.read_bytes(), files["new.xlsx"])
        ]
        cells = [[[c.value for r in s for c in r] for s in b] for b in books]
        assert cells[0] == cells[1]
    else:
        for name, data in files.items():
            assert data == (tmp_path / name.replace("new", "cream")).read_bytes()


# ---- TOML ----


def test_ph(tmp_path):
    """One line changes; the remark that stood there comes first."""
    text = new_text(tmp_path, [SetPh(4.9)])
    assert text.startswith(
        "# Changed on 2026-11-25 with preservecheck:\n# - pH 4.9, was 5.8\n\n# curl gel, third try\n"
    )
    assert without_head(text) == SMALL.replace("ph = 5.8 # meter", "ph = 4.9 # meter; was 5.8")


def test_units_stay(tmp_path):
    """38 °C are 38 x 9 / 5 + 32 = 100.4 °F, and 750 g are 0.75 kg."""
    text = new_text(tmp_path, lambda f: rescaled(with_temperature(f, "cool-down", 38.0), 750.0))
    assert 'added_at = "100.4 °F"  # was 104 °F\n' in text
    assert 'batch = "0.75 kg"   # one jar; was 0.5 kg\n' in text


def test_lines(tmp_path):
    """Changed, added, exchanged; a missing comma is added, and comments keep their places."""
    text = new_text(
        tmp_path,
        [
            Replace("Glycerin", Share("ingredient", "Propanediol", 2.5)),
            Add(Share("ingredient", "Panthenol", 1), "heated"),
            SetDose("phenoxyethanol", 0.9),
        ],
    )
    assert without_head(text) == SMALL.replace(
        '{ ingredient = "Glycerin", percent = 3, note = "vegetable" }',
        '{ ingredient = "Propanediol", percent = 2.5, note = "vegetable; was Glycerin, 3 %" }',
    ).replace(
        "percent = 0.5 }  # sieve it",
        'percent = 0.5 },  # sieve it\n  { ingredient = "Panthenol", percent = 1.0, note = "new" }',
    ).replace(
        '{preservative = "phenoxyethanol", percent = 0.8}',
        '{ preservative = "phenoxyethanol", percent = 0.9, note = "was 0.8 %" }',
    )
    assert text.startswith(
        "# Changed on 2026-11-25 with preservecheck:\n"
        "# - heated: Propanediol 2.5 %, was Glycerin, 3 %\n"
        "# - heated: Panthenol 1 %, new\n"
        "# - cool-down: phenoxyethanol 0.9 %, was 0.8 %\n\n"
    )


def test_a_phase_goes(tmp_path):
    """With its last line; the comment over what follows stays, and the list says what is gone."""
    text = new_text(tmp_path, [Remove("phenoxyethanol")])
    assert "# - removed phase cool-down\n# - cool-down: removed phenoxyethanol, 0.8 %\n" in text
    head, _, tail = without_head(text).partition("# off the heat\n")
    assert head == SMALL.partition("# off the heat\n")[0]
    assert tail == '\n# what it is made of\n[blend."unused"]\n"Glycerin" = 100\n'


def test_a_new_phase(tmp_path):
    """In front of the comment over what follows, with a temperature in the unit of the file."""
    text = new_text(
        tmp_path,
        [Add(Share("preservative", "sodium-benzoate", 0.5), "last"), SetTemperature("last", 35)],
    )
    assert without_head(text) == SMALL.replace(
        "\n# what it is made of",
        '\n[[phase]]\nname = "last"\nadded_at = "95 °F"\nitems = [\n'
        '  { preservative = "sodium-benzoate", percent = 0.5, note = "new" },\n]\n'
        "\n# what it is made of",
    )


def test_new_keys(tmp_path):
    """A key that was not there comes behind the last one, above the comments; a table at the end."""
    text = new_text(tmp_path, [SetScale(0.1)])
    assert 'batch = "0.5 kg"   # one jar\nscale_step = "0.1 g"  # new\n[measured]' in text
    bare = SMALL.replace("[measured]\nph = 5.8 # meter\n", "")
    assert new_text(tmp_path, [SetPh(5)], bare).endswith("\n[measured]\nph = 5.0  # new\n")


def test_no_rest_line(tmp_path):
    """96 + 3 + 1 % without a rest line: the water takes the difference and becomes it."""
    text = SMALL.replace("rest = true", "percent = 96").replace("percent = 0.5", "percent = 0.2")
    out = new_text(tmp_path, [SetDose("phenoxyethanol", 0.5)], text)
    assert '{ ingredient = "Water", rest = true, note = "was 96 %" },' in out
    assert '{ preservative = "phenoxyethanol", percent = 0.5, note = "was 0.8 %" }' in out


def test_grams(tmp_path):
    """0.5 % of 500 g are 2.5 g; in a batch of 250 g, 15 g glycerin are 7.5 g."""
    text = SMALL.replace("percent", "grams").replace("grams = 3,", "grams = 15,")
    assert 'grams = 2.5, note = "was 0.8 g"' in new_text(
        tmp_path, [SetDose("phenoxyethanol", 0.5)], text
    )
    assert 'grams = 7.5, note = "vegetable; was 15 g"' in new_text(
        tmp_path, lambda f: rescaled(f, 250.0), text
    )


def test_six_decimals(tmp_path):
    """A third of a per cent is written with six decimals."""
    text = new_text(tmp_path, [SetDose("phenoxyethanol", 1 / 3)])
    assert "percent = 0.333333, " in text


def test_other_layouts(tmp_path):
    """Lines as tables, phases in brackets, dotted keys, Windows line ends with a mark of UTF-8."""
    tables = SMALL[: SMALL.index("[[phase]]")] + (
        '[[phase]]\nname = "a"\n[[phase.items]]\ningredient = "Water" # tap\nrest = true\n\n# oil\n'
        '[[phase.items]]\ningredient = "Glycerin"\npercent = 2 # weigh\n\n# end\n[blend."b"]\n"Glycerin" = 100\n'
    )
    out = new_text(
        tmp_path,
        [
            Replace("Glycerin", Share("ingredient", "Inulin", 1.5)),
            Add(Share("ingredient", "Panthenol", 1), "a"),
        ],
        tables,
    )
    assert (
        '[[phase.items]]\ningredient = "Inulin"\npercent = 1.5 # weigh\nnote = "was Glycerin, 2 %"\n'
    ) in out
    assert (
        '[[phase.items]]\ningredient = "Panthenol"\npercent = 1.0\nnote = "new"\n\n# end\n[blend'
        in out
    )
    short = (
        'product = { name = "x", use = "leave-on", type = "leave-in", markets = ["EU"] }\n'
        "measured.ph = 5.5 # strip\n"
        'phase = [ { name = "a", items = [ { ingredient = "Water", rest = true } ] } ]\n'
    )
    out = new_text(
        tmp_path, [SetPh(5), SetScale(0.1), Add(Share("ingredient", "Glycerin", 1), "a"),
                   Add(Share("ingredient", "Inulin", 1), "b")], short
    )  # fmt: skip
    assert "measured.ph = 5.0 # strip; was 5.5\n" in out
    assert '"a", items = [{ ingredient = "Water", rest = true }, { ingredient = "Glycerin"' in out
    windows = "\ufeff" + SMALL.replace("\n", "\r\n")
    out = new_text(tmp_path, [SetPh(4.9)], windows)
    assert out.startswith("\ufeff# Changed")
    assert out.count("\n") == out.count("\r\n") == SMALL.count("\n") + 3


@pytest.mark.parametrize("kind", FORMS)
@pytest.mark.parametrize(
    "name", ['5" pot', "Öl.phase", "it's; a, \\ # phase", "=1+1", "混ぜる", "a\x7fb"]
)
def test_hostile_names(tmp_path, kind, name):
    """Quotes, umlauts, dots and formulas in the name of a phase are a name."""
    path = written(tmp_path, SMALL, kind)
    add = [Add(Share("ingredient", "Panthenol", 1), name), SetTemperature(name, 35)]
    _, found = edited(path, add)
    assert (found.phases[-1].name, found.phases[-1].added_at_c) == (name, 35)
    again, found = edited(
        path.with_name(path.name.replace("cream", "new")),
        [SetPh(5), SetTemperature(name, 30)],
        "newer",
    )
    assert (found.phases[-1].name, found.phases[-1].added_at_c, found.measured.ph) == (name, 30, 5)
    assert len(again) == (4 if kind == "csv" else 1)


# ---- sheets ----


def test_csv(tmp_path):
    """The rows that change, by hand; all others byte for byte."""
    edits = [SetPh(4.9), SetTemperature("cool-down", 38), SetDose("phenoxyethanol", 0.9)]
    edits += [Replace("Xanthan Gum", Share("ingredient", "Inulin", 1))]
    assert csv_text(tmp_path, edits, "Formula")[2:] == [
        "heated,Glycerin,3,,vegetable",
        'heated,Inulin,1,,"was Xanthan Gum, 0.5 %"',
        "cool-down,phenoxyethanol,0.9,,was 0.8 %",
    ]
    assert csv_text(tmp_path, edits, "Phases") == [
        "phase,heated to,added at,held,note",
        "heated,167 °F,,",
        "cool-down,,100.4 °F,,added at was 104 °F",
    ]
    product = csv_text(tmp_path, edits, "Product")
    assert product[:2] == ["field,value,note", "name,Gel,changed on 2026-11-25"]
    assert "ph,4.9,was 5.8" in product
    removed = csv_text(tmp_path, [Remove("phenoxyethanol")], "Product")[1]
    assert removed == (
        'name,Gel,"changed on 2026-11-25; removed phase cool-down; '
        'cool-down: removed phenoxyethanol, 0.8 %"'
    )


def test_csv_of_another_country(tmp_path):
    """Semicolons, decimal commas and Windows line ends stay; a blank phase is that of the row above."""
    sheets = {
        "Product": "field;value\r\nname;Gel\r\nuse;leave-on\r\ntype;styling\r\nmarkets;EU\r\nph;5,8\r\n",
        "Formula": "sep=;\r\nphase;ingredient;percent\r\nall;Water;q.s.\r\n;Glycerin;3,5\r\n"
        ";phenoxyethanol;0,8 %\r\n\r\nlast;Panthenol;1",
        "Phases": "phase;added at (°C)\r\nlast;40\r\n",
    }
    for name, text in sheets.items():
        (tmp_path / f"cream.{name}.csv").write_bytes(text.encode())
    files, _ = edited(
        tmp_path / "cream.Product.csv",
        [SetPh(4.9), SetDose("phenoxyethanol", 0.75), SetTemperature("last", 37.5), Add(Share("ingredient", "Inulin", 0.5), "last")],
    )  # fmt: skip
    assert files["new.Formula.csv"].decode() == (
        "sep=;\r\nphase;ingredient;percent;note\r\nall;Water;q.s.\r\n;Glycerin;3,5\r\n"
        ";phenoxyethanol;0,75%;was 0.8 %\r\n\r\nlast;Panthenol;1\r\nlast;Inulin;0,5;new\r\n"
    )
    assert files["new.Phases.csv"].decode() == (
        "phase;added at (°C);note\r\nlast;37,5;added at was 40 °C\r\n"
    )
    assert "ph;4,9;was 5.8\r\n" in files["new.Product.csv"].decode()


def workbook(tmp_path):
    """A maker's own workbook: merged phases, shown percents, styles, formulas, a sheet not read."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Formula"
    rows = [
        ("Phase", "Ingredient", "%"),
        ("heated", "Water", "q.s."),
        (None, "Glycerin", 0.03),
        (None, "Xanthan Gum", 0.005),
        ("cool-down", "phenoxyethanol", 0.008),
        (None, "Panthenol", 0.01),
    ]
    for row in rows:
        sheet.append(row)
    for n in range(2, 7):
        sheet.cell(n, 3).number_format = "0.0%"
    sheet.merge_cells("A2:A4")
    sheet.merge_cells("A5:A6")
    sheet["B5"].font = openpyxl.styles.Font(italic=True)
    sheet.row_dimensions[6].height = 33
    product = book.create_sheet("Product")
    for row in [
        ("field", "value"),
        ("name", "Gel"),
        ("use", "leave-on"),
        ("type", "styling"),
        ("markets", "EU"),
        ("ph", 5.8),
    ]:
        product.append(row)
    product["B6"].comment = openpyxl.comments.Comment("the new meter", "M")
    book.create_sheet("Read me").append(["=1+1"])
    path = tmp_path / "cream.xlsx"
    book.save(path)
    return path


def test_workbook(tmp_path):
    """Rows go in and out, merged cells, heights and styles go along; 0.9 % is stored as 0.009."""
    edits = [
        SetPh(4.9),
        Replace("Glycerin", Share("ingredient", "Propanediol", 2)),
        Add(Share("ingredient", "Inulin", 1), "heated"),
        Remove("phenoxyethanol"),
    ]
    files, found = edited(workbook(tmp_path), edits)
    book = openpyxl.load_workbook(io.BytesIO(files["new.xlsx"]))
    assert [tuple(c.value for c in row) for row in book["Formula"]] == [
        ("Phase", "Ingredient", "%", "note"),
        ("heated", "Water", "q.s.", None),
        (None, "Propanediol", 0.02, "was Glycerin, 3 %"),
        (None, "Xanthan Gum", 0.005, None),
        ("heated", "Inulin", 0.01, "new"),
        ("cool-down", "Panthenol", 0.01, None),
    ]
    assert [r.coord for r in book["Formula"].merged_cells.ranges] == ["A2:A4"]
    assert book["Formula"]["C5"].number_format == "0.0%"
    assert book["Formula"].row_dimensions[6].height == 33
    assert book["Product"]["B6"].value == 4.9
    assert book["Product"]["C6"].value == "was 5.8"
    assert book["Product"]["B6"].comment.text == "the new meter"
    assert book["Read me"]["A1"].value == "=1+1"
    assert [r[0].value for r in book["Read me (changes)"]] == [
        "Changed on 2026-11-25 with preservecheck:",
        "pH 4.9, was 5.8",
        "heated: Propanediol 2 %, was Glycerin, 3 %",
        "heated: Inulin 1 %, new",
        "cool-down: removed phenoxyethanol, 0.8 %",
    ]
    assert found.phases[0].lines[1].amount == 2


def test_workbook_twice(tmp_path):
    """The second list of changes comes above the first, and a phase without a sheet gets one."""
    edited(workbook(tmp_path), [SetPh(4.9)])
    files, _ = edited(tmp_path / "new.xlsx", [SetPh(5), SetTemperature("cool-down", 40)], "newer")
    book = openpyxl.load_workbook(io.BytesIO(files["newer.xlsx"]))
    assert [r[0].value for r in book["Read me (changes)"]] == [
        "Changed on 2026-11-25 with preservecheck:",
        "pH 5, was 4.9",
        "cool-down: added at 40 °C, new",
        None,
        "Changed on 2026-11-25 with preservecheck:",
        "pH 4.9, was 5.8",
    ]
    assert book["Product"]["C6"].value == "was 5.8; was 4.9"
    assert [tuple(c.value for c in r) for r in book["Phases"]] == [
        ("phase", "heated to", "added at", "held", "note"),
        ("cool-down", None, "40 °C", None, "new"),
    ]


# ---- what is refused, and files beside the formula ----


def test_not_over_itself(tmp_path):
    path = written(tmp_path, SMALL, "toml")
    before = load(path)
    (tmp_path / "link.toml").symlink_to(path)
    for output in (path, tmp_path / "sub" / ".." / "cream.toml", tmp_path / "link.toml"):
        (tmp_path / "sub").mkdir(exist_ok=True)
        with pytest.raises(FormulaError, match="is the formula itself"):
            rewritten(path, output, before, at_ph(before, 5), TODAY)
    with pytest.raises(FormulaError, match="ends in .toml"):
        rewritten(path, tmp_path / "new.xlsx", before, at_ph(before, 5), TODAY)
    path.write_text(SMALL.replace("5.8", "5.9"), encoding="utf-8")
    with pytest.raises(FormulaError, match="has changed since it was read"):
        rewritten(path, tmp_path / "new.toml", before, at_ph(before, 5), TODAY)


def test_csv_not_over_itself_nor_with_strangers(tmp_path):
    path = written(tmp_path, SMALL.partition("# what it is")[0], "csv")
    before = load(path)
    with pytest.raises(FormulaError, match="is the formula itself"):
        rewritten(path, tmp_path / "cream.csv", before, at_ph(before, 5), TODAY)
    (tmp_path / "new.Blends.csv").write_text("blend,ingredient,percent\n", encoding="utf-8")
    with pytest.raises(FormulaError, match="would be read as a part"):
        rewritten(path, tmp_path / "new.csv", before, at_ph(before, 5), TODAY)


def test_pictures_are_not_lost(tmp_path):
    path = workbook(tmp_path)
    book = openpyxl.load_workbook(path)
    book["Product"].add_chart(openpyxl.chart.BarChart(), "E2")
    book.save(path)
    before = load(path)
    with pytest.raises(FormulaError, match="would be lost"):
        rewritten(path, tmp_path / "new.xlsx", before, at_ph(before, 5), TODAY)


def test_readings_beside_the_formula(tmp_path):
    """41 °C at 37 min and 44 °C later: what was read stays until the temperature is set."""
    (tmp_path / "cooling.csv").write_text("minutes,temperature_c\n0,70\n37,41\n40,44\n")
    text = SMALL.replace('"104 °F"', '"cooling.csv@37"')
    path = written(tmp_path, text, "toml")
    assert 'added_at = "cooling.csv@37"\n' in new_text(tmp_path, [SetPh(5)], text)
    out = new_text(tmp_path, [SetTemperature("cool-down", 38)], text)
    assert 'added_at = "100.4 °F"  # was cooling.csv@37\n' in out
    assert load(tmp_path / "new.toml").phases[1].heated_to_c == 44
    before, other = load(path), tmp_path / "other"
    other.mkdir()
    with pytest.raises(FormulaError, match=r"reads cooling.csv, which is not in the folder"):
        rewritten(path, other / "new.toml", before, at_ph(before, 5), TODAY)
    (other / "cooling.csv").write_bytes((tmp_path / "cooling.csv").read_bytes())
    assert rewritten(path, other / "new.toml", before, at_ph(before, 5), TODAY)


def test_a_name_that_a_sheet_reads_otherwise(tmp_path):
    """In a sheet, phenoxyethanol in small letters is the system."""
    path = written(tmp_path, SMALL, "csv")
    with pytest.raises(FormulaError, match="cannot hold phenoxyethanol as ingredient"):
        edited(path, [Add(Share("ingredient", "phenoxyethanol", 0.1), "heated")])


def test_a_long_note_stays(tmp_path):
    """2,000 characters are all that a note may have: the list on top alone tells the change."""
    text = SMALL.replace('"vegetable"', '"' + "x" * 1995 + '"')
    out = new_text(tmp_path, [Replace("Glycerin", Share("ingredient", "Glycerin", 2))], text)
    assert f'percent = 2, note = "{"x" * 1995}" }}' in out
    assert "# - heated: Glycerin 2 %, was 3 %\n" in out


@pytest.mark.parametrize(
    "items",
    [
        "[\n    {W}\n  , {G}\n  , {P}\n]",
        "[{W},{G},{P},]",
        "[ # c1\n {W} # c2\n # c3\n , {G} # c4\n,{P}\n# c5\n]",
        "[\n\n\t{W},\n\n\t{G},\n# c\n\t{P}\n\n    ]",
    ],
)
def test_odd_commas(tmp_path, items):
    """However the list is set, lines go in at the end, are exchanged, and go out."""
    text = SMALL[: SMALL.index("items")] + "items = " + items
    for name, line in (
        ("W", '{ingredient = "Water", rest = true}'),
        ("G", '{ingredient = "Glycerin", percent = 3}'),
        ("P", '{preservative = "phenoxyethanol", percent = 0.8}'),
    ):
        text = text.replace("{" + name + "}", line)
    edits = [
        Add(Share("ingredient", "Panthenol", 1), "heated"),
        Remove("phenoxyethanol"),
        Replace("Glycerin", Share("ingredient", "Inulin", 2)),
    ]
    for some in (edits[:1], edits[1:2], edits[2:], edits):
        path = written(tmp_path, text, "toml")
        expected = apply(load(path), some, compose)
        assert facts(edited(path, some)[1]) == facts(expected)
