"""The batch sheet: right weights on the scale's steps, one page, nothing that runs."""

import datetime as dt
import io
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from preservecheck.bench.batch_sheet import batch_sheet, rounded
from preservecheck.cli.main import app
from preservecheck.errors import FormulaError, Hint
from preservecheck.formula.amounts import line_percents
from preservecheck.formula.edit import rescaled
from preservecheck.formula.starter import starter_toml
from preservecheck.reference.load import load_tables
from preservecheck.report import html
from preservecheck.report.batch_sheet import document, workbook
from tests.helpers import examples, formula_of, make_formula
from tests.report.pages import all_of, check_page, printed_pages, text_of

EXAMPLES = Path(__file__).parents[1] / "examples"
PASSING = EXAMPLES / "passing-leave-in.toml"
TODAY = dt.date(2026, 11, 25)
HOSTILE = "<script>alert('x')</script>\"><img src=x onerror=alert(1)>{{ 7 * 7 }}"
PAPER = {"a4": (595, 842), "letter": (612, 792)}
PHASES = [
    {"name": "heated", "heated_to": "75 °C", "held": "20 min", "items": [
        {"ingredient": "Water", "rest": True}, {"ingredient": "Glycerin", "percent": 3.333},
        {"ingredient": "Cetearyl Alcohol", "percent": 4}]},
    {"name": "cool-down", "added_at": "36 °C", "items": [
        {"ingredient": "glycerin", "percent": 1.111, "note": "from the new drum"},
        {"preservative": "benzyl-alcohol-dehydroacetic-acid", "percent": 0.8}]},
]  # fmt: skip
ORDINARY = {
    "water": ["Glycerin", "Hydroxyethylcellulose", "Panthenol", "Sodium Phytate"],
    "oil": [
        "Behentrimonium Chloride",
        "Cetearyl Alcohol",
        "Cetyl Alcohol",
        "Caprylic/Capric Triglyceride",
    ],
    "cool-down": [
        "Hydrolyzed Wheat Protein",
        "Tocopherol",
        "Aloe Barbadensis Leaf Juice",
        "Lactic Acid",
    ],
}


def to_html(sheet, paper="a4"):
    """The sheet as a page."""
    return html.render([document(sheet, paper)])


def sheet_of(**changes):
    """The sheet of a formula with the phases above."""
    raw = {"phases": PHASES, "ph": 4.5, "batch": "500 g", "scale_step": "0.1 g"} | changes
    return batch_sheet(make_formula(**raw), today=TODAY)


def lines_of(sheet):
    """All lines by name and phase."""
    return {(p.name, line.name): line for p in sheet.phases for line in p.lines}


# ---- weights ----


def test_weights_and_errors():
    """Grams on the scale's step with the error of rounding; the rest line takes what is left.

    500 g: glycerin 3.333 % = 16.665 g -> 16.7 g (+0.21 %), 1.111 % = 5.555 g -> 5.6 g (+0.81 %),
    alcohol 20 g, preservative 4 g; water 500 - 16.7 - 20 - 5.6 - 4 = 453.7 g for 453.78 g.
    """
    found = lines_of(sheet_of())
    assert {k: line.weigh_g for k, line in found.items()} == {
        ("heated", "Water"): 453.7,
        ("heated", "Glycerin"): 16.7,
        ("heated", "Cetearyl Alcohol"): 20.0,
        ("cool-down", "glycerin"): 5.6,
        ("cool-down", "benzyl-alcohol-dehydroacetic-acid"): 4.0,
    }
    assert found["heated", "Glycerin"].error_percent == pytest.approx(0.21, abs=0.001)
    assert found["cool-down", "glycerin"].error_percent == pytest.approx(0.81, abs=0.001)
    assert found["heated", "Water"].error_percent == pytest.approx(-0.0176, abs=0.0001)


@settings(max_examples=examples(150), deadline=None)
@given(
    st.floats(20, 50_000), st.sampled_from([0.001, 0.01, 0.05, 0.1, 0.2, 0.5, 1.0, 5.0]), st.floats(0.001, 30),
    st.floats(0.001, 30),
)  # fmt: skip
def test_batch_comes_out_at_its_weight(batch, step, a, b):
    """Whatever the batch and the scale, each weight lies on a step and all come to the batch within
    half a step."""
    phases = [{"name": "all", "items": [{"ingredient": "Water", "rest": True}, {"ingredient": "Glycerin", "percent": a},
                                        {"ingredient": "Panthenol", "percent": b}]}]  # fmt: skip
    sheet = batch_sheet(
        make_formula(phases=phases, batch=f"{batch:.6f} g", scale_step=f"{step} g"), today=TODAY
    )
    assert abs(sheet.made_g - sheet.batch_g) <= step / 2 + 1e-6
    for phase in sheet.phases:
        for line in phase.lines:
            assert abs(line.weigh_g / step - round(line.weigh_g / step)) < 1e-6
            if not line.rest:
                assert abs(line.weigh_g - line.grams) <= step / 2 + 1e-6


@pytest.mark.parametrize(
    ("grams", "step", "wanted"),
    [(3.97, 0.1, 4.0), (0.25, 0.1, 0.3), (0.15, 0.1, 0.2), (12.4, 5, 10.0), (0.004, 0.01, 0.0), (1.005, None, 1.01),
     (0.1 + 0.2, 0.1, 0.3)],
)  # fmt: skip
def test_rounded(grams, step, wanted):
    """Halves go up, also those that a binary number misses by a hair."""
    assert rounded(grams, step) == wanted


def test_batch_rescales():
    """Another batch scales every weight; percent stay."""
    small, large = sheet_of(), batch_sheet(make_formula(phases=PHASES, ph=4.5, batch="500 g", scale_step="0.1 " "g"),
                                         batch_g=2000, today=TODAY)  # fmt: skip
    assert (small.batch_g, large.batch_g) == (500, 2000)
    for key, line in lines_of(small).items():
        other = lines_of(large)[key]
        assert other.grams == pytest.approx(4 * line.grams)
        assert other.percent == line.percent


@pytest.mark.parametrize("rest", [True, False])
def test_formula_in_grams_rescales(rest):
    """A formula in grams scales line by line."""
    items = [
        {"ingredient": "Water"} | ({"rest": True} if rest else {"grams": 95}),
        {"ingredient": "Glycerin", "grams": 5},
    ]
    formula = make_formula(
        phases=[{"name": "all", "items": items}], batch="100 g" if rest else None
    )
    sheet = batch_sheet(formula, batch_g=250, today=TODAY)
    assert {n: line.weigh_g for (_, n), line in lines_of(sheet).items()} == {
        "Water": 237.5,
        "Glycerin": 12.5,
    }
    assert line_percents(rescaled(formula, 250))[0] == pytest.approx([95, 5])


def test_batch_must_be_known():
    """A formula in percent without a batch asks for one."""
    with pytest.raises(FormulaError, match="size of the batch is not given") as caught:
        sheet_of(batch=None)
    assert [f.hint for f in caught.value.faults] == [Hint.BATCH]


def test_scale_too_coarse():
    """A preservative that the scale cannot weigh is marked: 0.1 g of 0.5 g is 20 %."""
    found = lines_of(sheet_of(batch="62.5 g"))
    assert "20 % of 0.5 g" in found["cool-down", "benzyl-alcohol-dehydroacetic-acid"].warning
    assert lines_of(sheet_of())["cool-down", "benzyl-alcohol-dehydroacetic-acid"].warning is None


# ---- the rest of the sheet ----


def test_fetch_list():
    """Every material stands once with its total, in the order of use: glycerin 16.7 + 5.6 g."""
    found = sheet_of().fetch
    assert [(f.name, f.grams) for f in found] == [
        ("Water", 453.7), ("Glycerin", 22.3), ("Cetearyl Alcohol", 20.0), ("benzyl-alcohol-dehydroacetic-acid", 4.0),
    ]  # fmt: skip
    assert found[1].phases == "heated, cool-down"


def test_temperatures_and_window():
    """Heat and hold, and the window of the preservative: its limit of 40 °C less 2 °C for the
    thermometer."""
    heated, cool = sheet_of().phases
    assert heated.steps == ("Heat to 75 °C (167 °F), hold 20 min",)
    assert "hottest °C" in heated.reads
    system = next(s for s in load_tables().systems if s.id == "benzyl-alcohol-dehydroacetic-acid")
    assert system.heat_limit_c == 40
    assert cool.steps == (
        "benzyl-alcohol-dehydroacetic-acid: in only when the thermometer shows 38 °C (100.4 °F) "
        "or less (its limit is "
        "40 °C (104 °F)); planned 36 °C (96.8 °F)",
    )
    assert cool.warning is None
    assert "batch at °C" in cool.reads


def test_too_hot_is_said():
    """A plan that puts the preservative in too hot is marked on the sheet."""
    phases = [PHASES[0], PHASES[1] | {"added_at": "60 °C"}]
    assert "above the limit" in sheet_of(phases=phases).phases[1].warning


def test_ph_steps():
    """The window is where preservative, product and raw materials agree; without any, the sheet
    says so."""
    first = sheet_of().ph_steps[0]
    row = next(
        x for x in load_tables().product_ph if (x.type, x.use) == ("conditioner", "rinse-off")
    )
    assert (row.ph_min, row.ph_max) == (3.8, 4.8)
    # it has a pH of 4.5, which may stay
    assert first == "Wanted: pH 3.8 to 4.8 (aim for 4.5: the meter is good to ± 0.1)."


def test_handling_of_what_is_there():
    """Handling cautions are those of the materials on the sheet, not of others; the general ones
    come last."""
    sour = [
        {"ingredient": "Lactic Acid", "percent": 0.5},
        {"preservative": "sodium-benzoate", "percent": 0.5},
    ]
    plain, acid = sheet_of(), sheet_of(phases=[PHASES[0], {"name": "acid", "items": sour}])
    rows = {row.id: row for row in load_tables().cautions}
    assert rows["strong-acids"].text in acid.handling
    assert rows["strong-acids"].text not in plain.handling
    assert rows["weighing-drops"].text in plain.handling
    general = [t in {x.text for x in rows.values() if "always" in x.when} for t in acid.handling]
    assert general == sorted(general)


def test_serious_formula_is_said_on_top():
    """A sheet of a formula that must not be filled says so first."""
    sheet = batch_sheet(EXAMPLES / "failing-gel.toml", today=TODAY)
    assert sheet.serious
    page = text_of(check_page(to_html(sheet)))
    assert "do not fill this batch as it stands" in page
    assert all(" ".join(w.split()) in page for w in sheet.warnings)


# ---- pages and workbooks ----


@pytest.mark.parametrize("paper", PAPER)
def test_page_is_sound(paper):
    """The page is valid and holds each material, blank and tick."""
    sheet = sheet_of()
    words = text_of(check_page(to_html(sheet, paper)))
    for text in ("lot number", "weighed, g", "hottest °C", "final pH", "Batch number", *sheet.before, *sheet.after,
                 *sheet.handling, "from the new drum", "16.7", "453.7"):  # fmt: skip
        assert text in words


def ordinary():
    """A conditioner with fifteen lines in three phases."""
    phases = []
    for name, items in ORDINARY.items():
        lines = [{"ingredient": i, "percent": 1.0} for i in items]
        phases.append(
            {"name": name, "items": lines}
            | ({"added_at": "38 °C"} if name == "cool-down" else {"heated_to": "75 °C"})
        )
    phases[0]["items"].insert(0, {"ingredient": "Aqua", "rest": True})
    phases[2]["items"].append({"preservative": "benzyl-alcohol-dehydroacetic-acid", "percent": 0.8})
    return make_formula(
        phases=phases,
        ph=4.5,
        batch="1 kg",
        scale_step="0.1 g",
        markets=["EU", "GB"],
        package="bottle",
    )


@pytest.mark.browser
@pytest.mark.parametrize("paper", PAPER)
@pytest.mark.parametrize("which", ["starter", "ordinary"])
def test_one_page(which, paper, tmp_path):
    """The starter formula and one of fifteen lines take one page of either paper."""
    formula = formula_of(starter_toml()) if which == "starter" else ordinary()
    sheet = batch_sheet(formula, today=TODAY)
    assert printed_pages(to_html(sheet, paper), tmp_path) == (1, PAPER[paper])


def test_hostile_names_are_harmless():
    """Names that are scripts are shown on the page, not run."""
    phases = [PHASES[0] | {"name": HOSTILE}, PHASES[1]]
    tree = check_page(to_html(sheet_of(phases=phases, name=HOSTILE)))
    assert not all_of(tree, "img")
    assert text_of(all_of(tree, "h1")[0]) == f"Batch sheet: {HOSTILE}"


def cells_of(data):
    """All filled cells of a workbook, read without working anything out."""
    tab = openpyxl.load_workbook(io.BytesIO(data)).active
    return tab, [c for row in tab.iter_rows() for c in row if c.value is not None]


def test_workbook():
    """The workbook holds the same weights as numbers and prints on one page."""
    sheet = sheet_of()
    tab, cells = cells_of(workbook(sheet, "letter"))
    values = [c.value for c in cells]
    for line in lines_of(sheet).values():
        assert line.name in values
        assert line.weigh_g in values
    assert (
        tab.page_setup.fitToWidth,
        tab.page_setup.fitToHeight,
        int(tab.page_setup.paperSize),
    ) == (1, 1, 1)
    assert tab.sheet_properties.pageSetUpPr.fitToPage
    for text in (*sheet.before, *sheet.after, *sheet.handling, *sheet.ph_steps):
        assert text in values


def test_workbook_runs_nothing():
    """A name that begins like a calculation stays a text in the workbook."""
    bad = '=HYPERLINK("http://example.org","x")'
    _, cells = cells_of(
        workbook(sheet_of(name=bad, phases=[PHASES[0] | {"name": "=1+1"}, PHASES[1]]))
    )
    assert {c.data_type for c in cells} == {"s", "n"}
    assert any("=1+1" in str(c.value) for c in cells)


# ---- the command ----


def run(*arguments):
    """Run the program in this process."""
    return CliRunner().invoke(app, [str(a) for a in arguments], env={"COLUMNS": "80"})


def test_command_on_the_screen():
    """Without a file the page goes to the screen; the status tells the verdict of the formula."""
    done = run("batch-sheet", PASSING, "--batch", "2 kg")
    assert done.exit_code == 0
    assert "Batch 2 kg; scale step" in done.stdout
    assert run("batch-sheet", EXAMPLES / "failing-gel.toml").exit_code == 1


@pytest.mark.parametrize("name", ["s.html", "s.xlsx"])
def test_command_writes(name, tmp_path):
    """The name's ending decides the form."""
    done = run("batch-sheet", PASSING, "--output", tmp_path / name, "--paper", "letter")
    assert done.exit_code == 0
    data = (tmp_path / name).read_bytes()
    assert data.startswith(b"PK" if name.endswith("xlsx") else b"<!DOCTYPE html>")
    assert [f.name for f in tmp_path.iterdir()] == [name]


def test_batch_number(tmp_path):
    """Printed in the place of its blank, as a text and escaped; one blank less than without it."""
    said = run("batch-sheet", PASSING, "--batch-number", "=7<b>").stdout
    assert "Batch number <strong>=7&lt;b&gt;</strong>" in said
    assert (
        said.count('class="blank"') == run("batch-sheet", PASSING).stdout.count('class="blank"') - 1
    )
    run("batch-sheet", PASSING, "--batch-number", "=7", "--output", tmp_path / "s.xlsx")
    _, cells = cells_of((tmp_path / "s.xlsx").read_bytes())
    assert ("=7", "s") in [(c.value, c.data_type) for c in cells]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [((PASSING, "--batch", "2 parsec"), "--batch"), ((PASSING, "--batch", "0 g"), "above zero"),
     ((PASSING, "--output", "x.docx"), ".xlsx"), ((EXAMPLES / "unmeasured-shampoo.toml",), "--batch"),
     (("nowhere.toml",), "no such file")],
)  # fmt: skip
def test_command_faults(arguments, said):
    """What cannot be used is said with what to do, status 2, and nothing is written."""
    done = run("batch-sheet", *arguments)
    assert (done.exit_code, done.stdout) == (2, "")
    assert said in done.stderr
