"""The decision record: complete, recomputable by an outsider, and every change of it is found."""

import datetime as dt
import json
import math
import re
import shutil
from contextlib import suppress
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from preservecheck.checks import CHECKS, OLD_IDS
from preservecheck.cli.main import app
from preservecheck.errors import PreservecheckError, ReadingsError
from preservecheck.evidence import record as r
from preservecheck.evidence import verify as v
from preservecheck.files import write_all
from preservecheck.reference.load import Tables, load_tables, tables_root
from preservecheck.report import html, markdown, verification
from preservecheck.report import text as plain
from preservecheck.report.record import document
from preservecheck.version import program
from tests.helpers import examples, make_formula
from tests.report.pages import all_of, check_page, printed_pages, text_of

EXAMPLES = Path(__file__).parents[1] / "examples"
TODAY = dt.date(2026, 11, 25)
HOSTILE = "<script>alert('x')</script>\"><img src=x onerror=alert(1)>{{ 7 * 7 }}"
CHALLENGE = {
    "standard": "ISO 11930",
    "verdict": "B",
    "because": "the yeast falls short of A",
    "missing": ["mould, day 28"],
    "organisms": [
        {
            "name": "Candida albicans",
            "group": "yeast",
            "verdict": "B",
            "log_reductions": {"7": 1.2, "14": None},
            "because": "1.2 by day 7",
        }
    ],
}


def to_html(built):
    """The record as a page."""
    return html.render([document(built)])


def told(found):
    """What a verification says, as text."""
    return plain.render([verification.document(found)], width=200)


def to_markdown(built):
    """The record as Markdown."""
    return markdown.render([document(built)])


def rich_formula(**changes):
    """An emulsion with oil, a binder, a salt, a blend that carries a preservative, and an own
    powder."""
    phases = [
        {"name": "heated", "heated_to": "75 °C", "held": "20 min", "items": [
            {"ingredient": "Water", "rest": True}, {"ingredient": "Glycerin", "percent": 3},
            {"ingredient": "Helianthus Annuus Seed Oil", "percent": 5}, {"ingredient": "Polysorbate " "80", "percent": 1},
            {"ingredient": "Sodium Chloride", "percent": 0.5}, {"ingredient": "my powder", "percent": 0.5}]},
        {"name": "cool-down", "added_at": "35 °C", "items": [
            {"ingredient": "oat glycerite", "percent": 2, "note": "stir"},
            {"preservative": "sodium-benzoate-potassium-sorbate", "percent": 1.0}]},
    ]  # fmt: skip
    raw = {
        "phases": phases, "blends": {"oat glycerite": {"Glycerin": 70, "Aqua": 29.4, "Phenoxyethanol": 0.6}},
        "own": {"my powder": {"role": "powder", "water_fraction": 0, "aliases": ["house powder"]}}, "ph": 4.5,
        "temperature": "23 °C", "batch": "500 g", "scale_step": "0.1 g", "markets": ["EU", "US"],
    }  # fmt: skip
    return make_formula(**(raw | changes))


@cache
def rich_record():
    """The record of a formula with something of everything."""
    return r.build(rich_formula(), today=TODAY)


@cache
def rich_text():
    """Its JSON file, and the places of all digits in it."""
    text = r.to_json(rich_record().record)
    return text, [i for i, c in enumerate(text) if c in "0123456789"]


@pytest.fixture(scope="module")
def built():
    """The record of a formula with something of everything."""
    return rich_record()


@pytest.fixture(scope="module")
def text():
    """Its JSON file."""
    return rich_text()[0]


@pytest.fixture(scope="module")
def data(text):
    """What the JSON file holds."""
    return json.loads(text)


def on_disk(tmp_path, text):
    """A record in a file."""
    path = tmp_path / "some.record.json"
    path.write_text(text, encoding="utf-8")
    return path


def sealed(data):
    """The file of a record that was edited by someone who also made its digest fit."""
    data = dict(data)
    data[r.DIGEST] = r.content_digest(json.dumps(data))
    return json.dumps(data)


# ---- what it holds ----


def test_says_what_it_is_not(data, built):
    """All three forms say that it is a screening record and no safety assessment."""
    for form in (data["statement"], to_html(built), to_markdown(built)):
        assert "screening record" in form
        assert "not a safety assessment" in form


def test_holds_everything(data):
    """Formula, amounts, checks, alternatives, rows, digests and advice are all in the file."""
    assert data["formula"]["measured"]["ph"] == 4.5
    assert data["formula"]["measured"]["ph_tolerance"] == 0.1
    carried = next(s for s in data["composition"]["substances"] if s["inci"] == "Phenoxyethanol")
    assert carried["from"] == [
        {
            "line": "oat glycerite",
            "origin": "oat glycerite",
            "percent": pytest.approx(0.012),
            "carried_in": True,
        }
    ]
    assert {"figures", "verdict", "chance", "sources", "because"} <= set(
        data["report"]["checks"][0]
    )
    assert {len(data[k]) for k in ("tables_sha256", "formula_sha256", "content_sha256")} <= {0, 64}
    assert data["program"].startswith("preservecheck ")
    assert data["report"]["labels"]
    assert data["report"]["cautions"]
    assert data["report"]["challenge_test"]["organisms"]


def test_each_alternative_has_its_reason(data):
    """Every system of the tables was looked at; each but the chosen one says why it lost."""
    found = data["alternatives"]
    assert [a["rank"] for a in found] == list(range(1, len(load_tables().systems) + 1))
    assert (
        [a["id"] for a in found if a["chosen"]]
        == ["sodium-benzoate-potassium-sorbate"]
        == data["chosen"]
    )
    for a in found:
        assert a["reason"]
        assert (a["reason"] == "chosen") == a["chosen"]


def test_rows_have_source_basis_and_state(data):
    """Each row used has its source and basis; recalled cells are named, rows of law carry the date
    of their state."""
    rows = data["rows"]
    always = {
        "systems",
        "actives",
        "ingredients",
        "mic",
        "solutes",
        "growth_limits",
        "product_kinds",
        "test_organisms",
    }
    here = {"partition", "binding", "legal_limits", "label_rules", "cautions"}
    assert always | here <= {x["table"] for x in rows}
    assert all(x["source"] and x["basis"] in ("published", "memory", "practice") for x in rows)
    assert any(x["recalled"] for x in rows)
    tables = load_tables()
    for x in rows:
        if x["table"] == "legal_limits":
            row = next(w for w in tables.legal_limits if w.id == x["key"])
            assert x["state"] == (row.state.isoformat() if row.state else None)


def test_only_rows_of_what_is_in_it(data):
    """Rows of other substances are left out."""
    held = {s["inci"] for s in data["composition"]["substances"]}
    assert {x["key"] for x in data["rows"] if x["table"] == "ingredients"} <= held
    assert {x["key"] for x in data["rows"] if x["table"] == "systems"} == set(data["chosen"])


def test_challenge_results_are_printed():
    """Where results are there, their outcome stands in all forms."""
    built = r.build(rich_formula(), today=TODAY, challenge=CHALLENGE)
    assert json.loads(r.to_json(built.record))["challenge"] == CHALLENGE
    for page in (to_html(built), to_markdown(built)):
        assert "Results by ISO 11930: B." in page
        assert "the yeast falls short of A" in page
        assert "mould, day 28" in page


def test_no_results_yet(built):
    """Without results the plan stands, and that there are none."""
    assert "Results: none yet" in to_html(built)


# ---- pages ----


def test_page_is_sound(built):
    """The page is valid, fetches nothing, and holds plots, blanks, rules and sources."""
    tree = check_page(to_html(built))
    titles = [text_of(h) for h in all_of(tree, "h2")]
    assert titles[0] == "Decision"
    assert titles[-3:] == [
        "Appendix A: table rows used",
        "Appendix B: rules",
        "Appendix C: sources",
    ]
    assert len(all_of(tree, "figure")) == 4
    words = text_of(tree)
    for blank in ("Batch number", "Signature", "Date", "Made by (name)"):
        assert blank in words
    # the verdicts of each check, the formula of free-active, and one block beside the rules
    assert len(all_of(tree, "pre")) == len(CHECKS) + 2


def test_both_pages_say_the_same(built, data):
    """Each reason, remedy, caution and row key stands in the page and in its Markdown twin."""
    page, twin = text_of(check_page(to_html(built))), to_markdown(built).replace("\\", "")
    wanted = [f["because"] for f in data["report"]["checks"]] + data["report"]["cautions"]
    wanted += [a["reason"] for a in data["alternatives"]] + [x["key"] for x in data["rows"]]
    for sentence in wanted:
        assert " ".join(sentence.split()) in page
        assert " ".join(sentence.split()) in twin


def test_batch_number_and_reason():
    """A batch number and a reason that are known are printed in their places."""
    built = r.build(rich_formula(), today=TODAY, batch_number="B-17/A", reason="mild smell")
    for page in (to_html(built), to_markdown(built)):
        assert "B-17/A" in page
        assert "mild smell" in page


def test_hostile_texts_are_harmless():
    """A script in any name or text of the maker is shown, not run."""
    formula = rich_formula(
        name=HOSTILE,
        own={"my powder": {"role": "powder", "water_fraction": 0, "aliases": [HOSTILE]}},
    )
    built = r.build(formula, today=TODAY, batch_number=HOSTILE, reason=HOSTILE)
    tree = check_page(to_html(built))
    assert not all_of(tree, "img")
    assert text_of(all_of(tree, "h1")[0]) == f"Decision record: {HOSTILE}"


@pytest.mark.browser
def test_prints(built, tmp_path):
    """The record prints."""
    assert 10 <= printed_pages(to_html(built), tmp_path)[0] <= 40


# ---- an outsider who has only the record ----


def test_outsider_water_phase_and_ionic_strength(data):
    """Water phase and ionic strength follow from the printed table of substances by two sums."""
    w, substances = data["working"], data["composition"]["substances"]
    phase = sum(s["percent"] * s["water_phase_fraction"] for s in substances)
    water = sum(s["percent"] * s["water_fraction"] for s in substances)
    ions = sum(s["percent"] * (s["ionic_mol_g"] or 0) for s in substances)
    assert phase == pytest.approx(w["water_phase_percent"])
    assert water == pytest.approx(w["water_percent"])
    assert 1000 * ions / water == pytest.approx(w["ionic_strength_mol_kg"])


def test_outsider_free_active(data):
    """From amounts, pKa, K, k, pH and I to the sum of ratios, by the printed formulas and nothing
    else."""
    w = data["working"]
    strength, t = w["ionic_strength_mol_kg"], w["temperature_c"]
    a = 0.505 + 0.0008 * (t - 20) + 0.00001 * (t - 20) * (t - 25)
    davies = a * (math.sqrt(strength) / (1 + math.sqrt(strength)) - 0.3 * strength)
    sums = {}
    for active in w["actives"]:
        total = sum(p["percent"] * p["factor"] for p in active["parts"])
        c = 100 * total / w["water_phase_percent"]
        f = 1.0
        if active["kind"] == "acid":
            heat = (
                1000
                * (active["dh_ion_kj_mol"] or 0)
                / (w["constants"]["gas_constant_j_mol_k"] * math.log(10))
            )
            pka = active["pka_25c"] + heat * (1 / (t + 273.15) - 1 / 298.15) - davies
            assert pka == pytest.approx(active["pka_used"])
            f = 1 / (1 + 10 ** (w["ph"] - pka))
        oil = sum(k * w["oil_to_water_volume"][o] for o, k in active["k_oil"].items())
        bound = 1 + sum(
            k * w["binder_percent_w_v"][b] for b, k in active["k_bind"].items() if k is not None
        )
        free = min(c / (oil + bound + (1 - f) / f), active["solubility_g_l"] / 10)
        assert free == pytest.approx(active["free_percent"])
        for m in active["microbes"]:
            sums[m["name"]] = sums.get(m["name"], 0) + (
                free / m["mic_percent"] if m["mic_percent"] else 0
            )
    checks = [c for c in data["report"]["checks"] if c["id"] == "free-active"]
    assert len(checks) == 5
    for check in checks:
        assert sums[check["about"]] == pytest.approx(check["figures"]["sum_of_ratios"]["value"])


def test_outsider_oil_and_surfactant_are_there(data):
    """The formula of these tests has oil and a surfactant that take up preservative."""
    assert data["working"]["oil_to_water_volume"]["vegetable"] > 0
    assert any(a["bound_ratio"] > 1.01 for a in data["working"]["actives"])


def test_outsider_water_activity(data):
    """The estimate follows from the printed molalities and constants of salt and glycerin (Norrish,
    Pitzer, Raoult)."""
    w, mass = data["working"]["water_activity"], 0.0180153
    neutral = [s for s in w["solutes"] if s["model"] in ("norrish", "ideal")]
    m = sum(s["mol_kg"] for s in neutral)
    k, k3 = (sum(s["mol_kg"] * (s[n] or 0) for s in neutral) / m for n in ("k", "k3"))
    x = mass * m / (1 + mass * m)
    ln = (
        math.log(1 - x)
        + k * x**2
        + k3 * x**3
        - mass * sum(s["mol_kg"] for s in w["solutes"] if s["model"] == "ideal particles")
    )
    salts = [s for s in w["solutes"] if s["model"] == "pitzer"]
    rows = {x["values"]["inci"]: x["values"] for x in data["rows"] if x["table"] == "solutes"}
    strength = sum(s["mol_kg"] for s in salts)  # all of them 1:1 here
    root = math.sqrt(strength)
    for s in salts:
        row = rows[s["inci"]]
        assert (row["nu_plus"], row["nu_minus"]) == (1, 1)
        b = row["beta0"] + row["beta1"] * math.exp(-row.get("alpha1", 2) * root)
        phi = 1 - 0.3915 * root / (1 + 1.2 * root) + strength * b + strength**2 * row["c_phi"]
        ln -= s["mol_kg"] / strength * mass * 2 * strength * phi
    assert math.exp(ln) == pytest.approx(w["value"], abs=1e-6)


def test_what_an_outsider_needs_is_printed(built, data):
    """Each number and formula of that chain stands on the paper, to four digits and more."""
    for page in (text_of(check_page(to_html(built))), to_markdown(built).replace("\\", "")):
        for rule in (
            "f = 1 / (1 + 10^(pH - pKa'))",
            "free = C / (K phi + R + (1 - f)/f)",
            "ionic strength I = 1000 x",
        ):
            assert rule in page
        printed = {float(n) for n in re.findall(r"-?[0-9]+(?:\.[0-9]+)?", page)}
        wanted = [
            data["working"][k]
            for k in ("water_phase_percent", "ionic_strength_mol_kg", "temperature_c")
        ]
        for active in data["working"]["actives"]:
            wanted += [
                active[k]
                for k in ("pka_25c", "pka_used", "working_fraction", "oil_term", "bound_ratio")
            ]
            wanted += [
                active["free_percent"],
                *active["k_oil"].values(),
                *active["k_bind"].values(),
            ]
            wanted += [m["mic_percent"] for m in active["microbes"]]
        for number in (n for n in wanted if n is not None):
            assert any(math.isclose(number, p, rel_tol=1e-4) for p in printed), number


# ---- reading it back ----


@pytest.mark.parametrize("name", ["passing-leave-in", "failing-gel", "unmeasured-shampoo"])
def test_untouched_record_agrees(name, tmp_path):
    """A record that nobody touched agrees, also of formulas with unknown figures, at another
    day."""
    built = r.build(EXAMPLES / f"{name}.toml", today=TODAY)
    found = v.verify(on_disk(tmp_path, r.to_json(built.record)))
    assert found.agrees, told(found)
    assert "agrees" in told(found)


def test_rich_record_agrees(text, tmp_path):
    """So does one with blends, own ingredients, oil and binders."""
    found = v.verify(on_disk(tmp_path, text))
    assert found.agrees, told(found)


def test_formula_survives():
    """The formula inside is the formula, own ingredients and blends included."""
    formula = rich_formula()
    back = r.formula_from(json.loads(json.dumps(r.formula_data(formula))))
    assert back.model_copy(update={"path": formula.path}) == formula


@settings(max_examples=examples(250), deadline=None)
@given(place=st.integers(0, 10**7), shift=st.integers(1, 9))
def test_any_digit_edited_is_found(place, shift):
    """Any digit of the file, changed to any other, no longer fits the digest."""
    text, places = rich_text()
    at = places[place % len(places)]
    edited = text[:at] + str((int(text[at]) + shift) % 10) + text[at + 1 :]
    with suppress(
        ValueError
    ):  # a number may not begin with 0: it is no JSON any more, which is found as well
        assert json.loads(edited).get(r.DIGEST) != r.content_digest(edited)


def test_digit_that_changes_no_number():
    """A digit beyond what a computer holds of a number is found as well."""
    one, other = '{"a": 0.30000000000000004}', '{"a": 0.30000000000000003}'
    assert json.loads(one) == json.loads(other)
    assert r.content_digest(one) != r.content_digest(other)


def test_blanks_between_values_do_not_matter(text):
    """Another layout of the same content has the same digest."""
    assert r.content_digest(json.dumps(json.loads(text))) == json.loads(text)[r.DIGEST]


def test_edited_file_is_said(text, tmp_path):
    """An edited file is said to be edited."""
    found = v.verify(on_disk(tmp_path, text.replace('"ph": 4.5', '"ph": 4.6', 1)))
    assert found.edited
    assert "edited after it was written" in told(found)


def test_edited_figure_is_named(data, tmp_path):
    """A figure that was changed, and the digest with it, is named with both values."""
    other = json.loads(json.dumps(data))
    check = next(c for c in other["report"]["checks"] if c["id"] == "use-level")
    check["figures"]["percent"]["value"] = 0.9
    found = v.verify(on_disk(tmp_path, sealed(other)))
    assert not found.edited
    assert [(d.path, d.recorded, d.now) for d in found.figures] == [
        (
            "report.checks[use-level: sodium-benzoate-potassium-sorbate].figures.percent.value",
            0.9,
            1.0,
        )
    ]
    assert "recorded 0.9, now 1.0" in told(found)


def test_old_names_of_checks_are_read(data, tmp_path):
    """A record that calls checks by their old names agrees in all their figures."""
    old = {new: name for name, new in OLD_IDS.items()}
    other = json.loads(json.dumps(data))
    for check in other["report"]["checks"]:
        check["id"] = old.get(check["id"], check["id"])
    assert {"dose", "burden", "coverage"} <= {c["id"] for c in other["report"]["checks"]}
    found = v.verify(on_disk(tmp_path, sealed(other)))
    assert not found.edited
    assert (found.figures, found.words) == ((), ())


def test_edited_ph_changes_many_figures(data, tmp_path):
    """Another pH in the formula inside: every figure that hangs on it is named."""
    other = json.loads(json.dumps(data))
    other["formula"]["measured"]["ph"] = 5.5
    paths = {d.path for d in v.verify(on_disk(tmp_path, sealed(other))).figures}
    assert "working.ph" in paths
    assert any("free-active: Pseudomonas aeruginosa].figures.sum_of_ratios" in p for p in paths)
    assert any(p.startswith("report.checks[ph-range") for p in paths)


def changed_tables(tmp_path, table, before, after):
    """A copy of the tables with one text replaced, in one row."""
    root = tmp_path / "tables"
    shutil.copytree(Path(str(tables_root())), root)
    file = root / f"{table}.csv"
    text = file.read_text(encoding="utf-8")
    assert before in text
    file.write_text(text.replace(before, after, 1), encoding="utf-8")
    return Tables(root)


def test_changed_row_is_named(data, text, tmp_path):
    """A cell of a row that the record rests on: table, row, column, both values and what follows
    are named."""
    row = next(x for x in load_tables().mic if x.active == "Benzoic Acid" and x.organism == "Candida " "albicans"
               and x.preferred == "yes")  # fmt: skip
    file = Path(str(tables_root())) / "mic.csv"
    line = next(
        x for x in file.read_text(encoding="utf-8").splitlines() if x.startswith(f"{row.id},")
    )
    # its upper end stands there twice; the geometric mean of both ends is what counts
    new = line.replace(f",{row.mic_mg_l:g},", f",{row.mic_mg_l + 1:g},")
    found = v.verify(on_disk(tmp_path, text), changed_tables(tmp_path, "mic", line, new))
    assert not found.edited
    assert found.tables
    assert found.changed["mic"][0] == [row.id]
    assert (f"rows[mic: {row.id}].values.mic_mg_l", row.mic_mg_l, row.mic_mg_l + 1) in [
        (d.path, d.recorded, d.now) for d in found.rows
    ]
    assert any("Candida albicans" in d.path for d in found.figures)


def test_changed_row_of_something_else_is_named(data, text, tmp_path):
    """A row that this record does not rest on is named too, and that every figure comes out as
    recorded."""
    line = next(x for x in (Path(str(tables_root())) / "growth_limits.csv").read_text(encoding="utf-8").splitlines()
                if x.startswith("acinetobacter,"))  # fmt: skip
    found = v.verify(
        on_disk(tmp_path, text),
        changed_tables(tmp_path, "growth_limits", line, line.replace("0.95", "0.94")),
    )
    assert found.changed == {"growth_limits": (["acinetobacter"], 1)}
    assert not found.agrees
    assert "Every figure comes out as recorded" in told(found)


def test_changed_program_is_named(text, tmp_path, monkeypatch):
    """Another version of the program is named."""
    monkeypatch.setattr(v, "program", lambda: "preservecheck 9.9.9")
    found = v.verify(on_disk(tmp_path, text))
    assert found.program == (program(), "preservecheck 9.9.9")
    assert not found.agrees


@pytest.mark.parametrize(
    "content",
    [
        "",
        "no json",
        "[]",
        "{}",
        '{"a": 1, "a": 2}',
        "[" * 100_000,
        '{"content_sha256": NaN}',
        "\ufeff\x00",
    ],
)
def test_files_that_are_no_record(content, tmp_path):
    """A file that is no record is refused with a message, not a traceback."""
    with pytest.raises(PreservecheckError):
        v.verify(on_disk(tmp_path, content))


def test_a_key_that_stands_twice(text, tmp_path):
    """A file in which a key stands twice could show one thing and hold another: it is refused."""
    with pytest.raises(ReadingsError, match="twice"):
        v.verify(on_disk(tmp_path, text.replace('"kind"', '"program": "another", "kind"', 1)))


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("formula", "measured", "ph"), 45),
        (("formula", "phases"), []),
        (("formula", "product", "use"), "eat"),
        (("date",), "x"),
        (("formula",), None),
        (("formula", "phases", 0, "lines", 1, "name"), "Glycerin 7"),
        (("formula", "own_ingredients"), 3),
    ],
)
def test_formula_that_cannot_be_used(data, path, value, tmp_path):
    """A record whose formula was edited into nonsense says what is wrong with it."""
    other = json.loads(json.dumps(data))
    at = other
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = value
    found = v.verify(on_disk(tmp_path, sealed(other)))
    assert found.obstacle
    assert "cannot be worked out again" in told(found)


# ---- the command ----


def run(*arguments):
    """Run the program in this process."""
    return CliRunner().invoke(app, [str(a) for a in arguments], env={"COLUMNS": "80"})


def test_command_writes_three_files(tmp_path, undrawn):
    """Three files in a new folder; the status tells the verdict; the record agrees."""
    folder = tmp_path / "new" / "records"
    done = run(
        "record", EXAMPLES / "passing-leave-in.toml", "--output", folder, "--batch-number", "7"
    )
    assert done.exit_code == 0, done.output
    names = [f"passing-leave-in.record.{end}" for end in ("html", "json", "md")]
    assert sorted(f.name for f in folder.iterdir()) == names
    checked = run("record", "--verify", folder / "passing-leave-in.record.json")
    assert (checked.exit_code, checked.stderr) == (0, "")


def test_command_status_of_a_failing_formula(tmp_path, undrawn):
    """A formula that warns gives status 1, and the record all the same."""
    assert run("record", EXAMPLES / "failing-gel.toml", "--output", tmp_path).exit_code == 1
    assert len(list(tmp_path.iterdir())) == 3


def test_command_does_not_overwrite(tmp_path, undrawn):
    """A record that is there is kept unless it is asked to be overwritten."""
    assert run("record", EXAMPLES / "passing-leave-in.toml", "--output", tmp_path).exit_code == 0
    before = {f: f.read_bytes() for f in tmp_path.iterdir()}
    again = run(
        "record", EXAMPLES / "passing-leave-in.toml", "--output", tmp_path, "--reason", "other"
    )
    assert again.exit_code == 2
    assert "exists already" in again.stderr
    assert {f: f.read_bytes() for f in tmp_path.iterdir()} == before
    assert (
        run("record", EXAMPLES / "passing-leave-in.toml", "--output", tmp_path, "--force").exit_code
        == 0
    )


def test_command_verify_statuses(tmp_path, undrawn):
    """Status 1 for a record that was edited, 2 for a file that is none."""
    run("record", EXAMPLES / "passing-leave-in.toml", "--output", tmp_path)
    path = tmp_path / "passing-leave-in.record.json"
    path.write_text(path.read_text(encoding="utf-8").replace("4.5", "4.4", 1), encoding="utf-8")
    assert run("record", "--verify", path).exit_code == 1
    assert run("record", "--verify", tmp_path / "passing-leave-in.record.md").exit_code == 2
    assert run("record", "--verify", tmp_path / "nowhere.json").exit_code == 2


@pytest.mark.parametrize("arguments", [(), ("f.toml",), ("--output", "x")])
def test_command_says_what_it_needs(arguments):
    """Without a formula or a folder it says what to give."""
    done = run("record", *arguments)
    assert done.exit_code == 2
    assert "--output DIR" in done.stderr


def test_command_takes_results(tmp_path, undrawn):
    """The outcome of a challenge test goes into the record; a file that is none is refused."""
    results = tmp_path / "challenge.json"
    results.write_text(json.dumps(CHALLENGE | {"format": 1}), encoding="utf-8")
    folder = tmp_path / "records"
    done = run(
        "record", EXAMPLES / "passing-leave-in.toml", "--output", folder, "--results", results
    )
    assert done.exit_code == 0, done.output
    path = folder / "passing-leave-in.record.json"
    assert json.loads(path.read_text(encoding="utf-8"))["challenge"] == CHALLENGE
    assert run("record", "--verify", path).exit_code == 0
    wrong = run(
        "record",
        EXAMPLES / "passing-leave-in.toml",
        "--output",
        folder,
        "--force",
        "--results",
        path,
    )
    assert wrong.exit_code == 2
    assert "challenge RESULTS --format json" in wrong.stderr


def test_all_or_none(tmp_path):
    """Where one file cannot be put in its place, the others are as they were."""
    first, blocked = tmp_path / "a", tmp_path / "b"
    first.write_text("before", encoding="utf-8")
    blocked.mkdir()
    with pytest.raises(PreservecheckError):
        write_all({first: b"new", blocked: b"new"})
    assert first.read_text(encoding="utf-8") == "before"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a", "b"]


def test_all_or_none_when_the_last_step_fails(tmp_path, monkeypatch):
    """Where the second of two moves fails, the first is undone, whether a file was there before or
    not."""
    old, new, last = tmp_path / "old", tmp_path / "new", tmp_path / "last"
    old.write_text("before", encoding="utf-8")
    real = __import__("os").replace

    def move(a, b):
        if Path(b) == last:
            raise PermissionError(13, "no")
        real(a, b)

    monkeypatch.setattr("preservecheck.files.os.replace", move)
    with pytest.raises(PreservecheckError, match="last"):
        write_all({old: b"1", new: b"2", last: b"3"})
    assert old.read_text(encoding="utf-8") == "before"
    assert [p.name for p in tmp_path.iterdir()] == ["old"]
