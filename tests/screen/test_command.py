"""The command on folders and long tables: rows, faults, forms, stopping and going on, two states of
the tables."""

from __future__ import annotations

import csv
import datetime as dt
import json
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from preservecheck import load_tables
from preservecheck.checks import CHECKS
from preservecheck.cli.main import app
from preservecheck.reference.load import tables_root
from preservecheck.reference.rows import TABLES
from preservecheck.screen import run as screen_run
from preservecheck.screen import sources
from preservecheck.screen.frame import screen_frame
from preservecheck.screen.run import Job, Run
from tests.generated import pile

EXAMPLES = Path(__file__).parents[1] / "examples"
CREAM = """formula,phase,ingredient,percent,strength,inside,heated_to,added_at
hair milk,heated,Water,rest,,,75 °C,
hair milk,heated,Glycerin,3,,,75 °C,
hair milk,cool-down,phenoxyethanol,0.9,,,,40 °C
tonic,all,Water,98.5,,,,30 °C
tonic,all,phenoxyethanol,1.5,,,,30 °C
"""
PRODUCTS = """formula,use,type,markets,batch,scale_step,on_market,ph
hair milk,leave-on,leave-in,EU,500 g,0.1 g,2026-12-01,5.0
tonic,leave-on,scalp,EU GB,1 kg,0.1 g,2026-12-01,5.5
"""


def screen(*arguments):
    return CliRunner().invoke(app, ["screen", *map(str, arguments)], env={"COLUMNS": "80"})


@pytest.fixture
def shelf(tmp_path):
    """Two formulas as a long table with its products beside it."""
    (tmp_path / "shelf.csv").write_text(CREAM, encoding="utf-8")
    (tmp_path / "shelf.products.csv").write_text(PRODUCTS, encoding="utf-8")
    return tmp_path / "shelf.csv"


def read_json(path):
    return json.loads(path.read_text(encoding="utf-8"))


def test_a_folder_of_formula_files(tmp_path):
    """Four example files, one of which passes everything; the bad one has a fault."""
    for path in EXAMPLES.glob("*.toml"):
        shutil.copy(path, tmp_path)
    done = screen(tmp_path)
    assert done.exit_code == 1
    assert "4 formulas screened" in done.stdout
    assert "passing-leave-in.toml" in done.stdout
    assert "1 passes everything" in " ".join(done.stdout.split())


def test_a_long_table(shelf, tmp_path):
    """1.5 % phenoxyethanol is over the EU and GB limit of 1.0 % (Annex V, entry 29); 0.9 % is
    not."""
    out = tmp_path / "out.json"
    done = screen(shelf, "--format", "json", "--output", out)
    assert done.exit_code == 1, done.output
    found = {r["formula"]: r for r in read_json(out)["rows"]}
    assert found["hair milk"]["system"] == found["tonic"]["system"] == "phenoxyethanol"
    assert found["hair milk"]["percent"] == 0.9
    law = {n: r["checks"]["legal-limit"] for n, r in found.items()}
    assert (law["hair milk"]["verdict"], law["hair milk"]["serious"]) == ("pass", False)
    assert (law["tonic"]["verdict"], law["tonic"]["serious"]) == ("warn", True)
    assert law["tonic"]["percent_as_limited"] == {
        "value": 1.5,
        "tolerance": None,
        "unit": "% of the product",
    }
    # 0.9 % of 500 g and 1.5 % of 1000 g
    assert found["hair milk"]["checks"]["weighing"]["grams"]["value"] == pytest.approx(4.5)
    assert found["tonic"]["checks"]["weighing"]["grams"]["value"] == pytest.approx(15.0)
    assert found["hair milk"]["checks"]["heat-limit"]["temperature_c"]["value"] == 40.0


def test_forms_hold_the_same_rows(shelf, tmp_path):
    outputs = {form: tmp_path / f"out.{form}" for form in ("csv", "parquet", "json")}
    for form, out in outputs.items():
        assert screen(shelf, "--against", "all", "--format", form, "--output", out).exit_code == 1
        assert not Path(f"{out}.parts").exists()
    table = pd.read_parquet(outputs["parquet"])
    text = pd.read_csv(outputs["csv"], keep_default_na=False, na_values=[""], dtype={"note": str})
    rows = read_json(outputs["json"])["rows"]
    assert list(text.columns) == list(table.columns)
    assert len(table) == len(text) == len(rows) == 2 * len(load_tables().systems)
    assert list(table["system"]) == list(text["system"]) == [r["system"] for r in rows]
    assert (
        list(table["verdict"].astype(str)) == list(text["verdict"]) == [r["verdict"] for r in rows]
    )
    sums = table["free-active.challenge_chance"].to_numpy()
    assert np.array_equal(
        sums, text["free-active.challenge_chance"].to_numpy(dtype=float), equal_nan=True
    )


def test_an_unknown_name_in_a_long_table_is_answered_for_a_long_table(shelf, tmp_path):
    """A long table has no sheets: what helps is a known name, or the substances with the material's
    name inside."""
    shelf.write_text(CREAM.replace("Glycerin", "Moonbeam extract"), encoding="utf-8")
    out = tmp_path / "out.json"
    screen(shelf, "--format", "json", "--output", out)
    note = read_json(out)["rows"][0]["note"]
    assert "Moonbeam extract" in note
    assert "column inside" in note
    assert "sheet" not in note
    helped = (
        "hair milk,heated,Glycerin,2,,Moonbeam extract,75 °C,\nhair "
        "milk,heated,Aqua,1,,Moonbeam extract,75 °C,"
    )
    shelf.write_text(
        CREAM.replace("hair milk,heated,Glycerin,3,,,75 °C,", helped), encoding="utf-8"
    )
    screen(shelf, "--format", "json", "--output", out)
    assert read_json(out)["rows"][0]["verdict"] != "unread"


def test_a_bad_formula_is_told_and_the_rest_goes_on(shelf, tmp_path):
    """0.9 % of phenoxyethanol is above every inhibition figure (0.64 % for S. aureus); 1.5 % is over
    the law; the formula that cannot be read is named."""
    shelf.write_text(
        CREAM + "odd one,all,Water,rest,,,,\nodd one,all,Moonbeam,2,,,,\n", encoding="utf-8"
    )
    with (tmp_path / "shelf.products.csv").open("a", encoding="utf-8") as file:
        file.write("odd one,leave-on,scalp,EU,,,,\n")
    out = tmp_path / "out.csv"
    done = screen(shelf, "--format", "csv", "--output", out)
    assert done.exit_code == 2
    assert "Moonbeam" in done.stdout
    assert "1 could not be read" in " ".join(done.stdout.split())
    with out.open(encoding="utf-8", newline="") as file:
        rows = {r["formula"]: r for r in csv.DictReader(file)}
    assert {n: r["verdict"] for n, r in rows.items()} == {
        "hair milk": "pass",
        "tonic": "warn",
        "odd one": "unread",
    }
    assert "Moonbeam" in rows["odd one"]["note"]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("bad,all,Water,rest,,,,\nbad,all,Glycerin,120,,,,\n", "from 0 to 100"),
        ("bad,all,Water,50,,,,\n", "add up to 50 %"),
        ("bad,all,Water,rest,,,,\nbad,all,Glycerin,3,,,,40\n", "added_at"),
        ("bad,all,Water,rest,,,,\nbad,all,Glycerin,,,,,\n", "no amount"),
        ("bad,all,Water,rest,,,,\nbad,all,Glycerin,3,0,,,\n", "strength"),
        ("bad,all,Water,rest,,,20 °C,\nbad,all,Glycerin,3,,,30 °C,\n", "heated_to"),
    ],
)
def test_faults_in_the_words_of_the_reader(shelf, tmp_path, line, said):
    shelf.write_text(CREAM + line, encoding="utf-8")
    with (tmp_path / "shelf.products.csv").open("a", encoding="utf-8") as file:
        file.write("bad,leave-on,scalp,EU,,,,\n")
    done = screen(shelf)
    assert done.exit_code == 2
    assert said in " ".join(done.stdout.split())


def test_lines_that_do_not_stand_together(shelf):
    shelf.write_text(CREAM + "hair milk,cool-down,Glycerin,1,,,,\n", encoding="utf-8")
    done = screen(shelf)
    assert done.exit_code == 2
    assert "do not stand together" in " ".join(done.stdout.split())


def test_a_formula_without_a_product(shelf, tmp_path):
    (tmp_path / "shelf.products.csv").write_text(
        "".join(PRODUCTS.splitlines(keepends=True)[:2]), encoding="utf-8"
    )
    done = screen(shelf)
    assert done.exit_code == 2
    assert "no row of its own among the products" in " ".join(done.stdout.split())


def test_several_faults_of_the_call_at_once(tmp_path):
    (tmp_path / "empty").mkdir()
    done = screen(tmp_path / "nowhere.csv", tmp_path / "empty")
    assert done.exit_code == 2
    assert "nowhere.csv" in done.output
    assert "holds no formula file" in done.output


def test_columns_that_are_not_known(shelf):
    shelf.write_text(CREAM.replace("strength,inside", "power,inside"), encoding="utf-8")
    done = screen(shelf)
    assert done.exit_code == 2
    assert "power" in done.output


def test_an_unknown_system(shelf):
    done = screen(shelf, "--against", "phenoxyetanol")
    assert done.exit_code == 2
    assert "phenoxyethanol" in done.output


# ---- stopping and going on ----


def files(folder, count):
    folder.mkdir()
    for n in range(count):
        shutil.copy(EXAMPLES / "passing-leave-in.toml", folder / f"{n:03d}.toml")
    return folder


def test_a_stopped_run_goes_on(tmp_path, monkeypatch):
    """Two of three pieces are done when the run is stopped; going on judges the third alone."""
    monkeypatch.setattr(sources, "FILES_AT_ONCE", 2)
    folder, out = files(tmp_path / "shelf", 6), tmp_path / "out.csv"
    judged = []
    work = screen_run.work

    def counted(job, piece, part):
        if len(judged) == 2:
            raise KeyboardInterrupt
        judged.append(part.name)
        return work(job, piece, part)

    monkeypatch.setattr(screen_run, "work", counted)
    arguments = (folder, "--format", "csv", "--output", out, "--jobs", 1)
    done = screen(*arguments)
    assert done.exit_code == 130
    assert "--resume" in done.output
    assert not out.exists()
    assert sorted(p.name for p in Path(f"{out}.parts").glob("*.rows")) == [
        "000000.rows",
        "000001.rows",
    ]
    judged.clear()
    done = screen(*arguments, "--resume")
    assert (done.exit_code, judged) == (0, ["000002"]), done.output
    with out.open(encoding="utf-8", newline="") as file:
        assert [r["formula"] for r in csv.DictReader(file)] == [f"{n:03d}.toml" for n in range(6)]
    assert not Path(f"{out}.parts").exists()


def test_going_on_with_other_inputs_is_refused(tmp_path, monkeypatch):
    folder, out = files(tmp_path / "shelf", 2), tmp_path / "out.csv"
    monkeypatch.setattr(screen_run, "work", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
    screen(folder, "--format", "csv", "--output", out)
    (folder / "000.toml").write_text(
        (folder / "000.toml").read_text() + "# later\n", encoding="utf-8"
    )
    done = screen(folder, "--format", "csv", "--output", out, "--resume")
    assert done.exit_code == 2
    assert "the input" in done.output


def test_resume_without_anything_to_go_on_with(shelf, tmp_path):
    done = screen(shelf, "--format", "csv", "--output", tmp_path / "out.csv", "--resume")
    assert done.exit_code == 2
    assert "no unfinished run" in done.output


def test_two_processes_give_the_same_as_one(tmp_path, monkeypatch):
    """A thousand invented formulas in pieces, judged one after the other and side by side."""
    lines, products = pile(load_tables(), 1000, seed=3)
    table = tmp_path / "shelf.csv"
    lines.to_csv(table, index=False)
    products.to_csv(tmp_path / "shelf.products.csv", index=False)
    monkeypatch.setattr(sources, "LINES_AT_ONCE", 2_500)
    outputs = []
    for jobs in (1, 2):
        out = tmp_path / f"{jobs}.csv"
        done = screen(table, "--format", "csv", "--output", out, "--jobs", jobs)
        assert done.exit_code == 1, done.output
        outputs.append(out.read_bytes())
    assert outputs[0] == outputs[1]
    assert outputs[0].count(b"\n") == 1001
    whole = screen_frame(lines.merge(products, on="formula"), today=dt.date.today())
    with (tmp_path / "1.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [r["verdict"] for r in rows] == list(whole["verdict"].astype(str))


def test_memory_does_not_grow_with_the_pile(tmp_path, monkeypatch):
    """A run never holds more than a piece a process and one that waits."""
    lines, products = pile(load_tables(), 60, seed=4)
    table = tmp_path / "shelf.csv"
    lines.to_csv(table, index=False)
    products.to_csv(tmp_path / "shelf.products.csv", index=False)
    monkeypatch.setattr(sources, "LINES_AT_ONCE", 50)
    held = []
    work = screen_run.work
    monkeypatch.setattr(
        screen_run,
        "work",
        lambda job, piece, part: held.append(len(piece.lines)) or work(job, piece, part),
    )
    job = Job(None, ("own",), dt.date(2026, 11, 26), "csv")
    run = Run(job, sources.sources_of([table]), tmp_path / "parts")
    run.prepare(resume=False)
    assert run.done().formulas == 60
    longest = int(lines.groupby("formula").size().max())
    assert max(held) <= 50 + longest
    assert sum(held) == len(lines)


# ---- two states of the tables ----


def changed_tables(folder, table, key, column, value):
    """A folder with an earlier state of one table: a single cell was another."""
    folder.mkdir()
    text = (tables_root() / f"{table}.csv").read_text(encoding="utf-8")
    rows = list(csv.reader(text.splitlines()))
    at = rows[0].index(column)
    hits = [r for r in rows[1:] if key(dict(zip(rows[0], r, strict=True)))]
    assert hits
    for row in hits:
        row[at] = value
    with (folder / f"{table}.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(rows)
    return folder


def test_a_limit_that_was_tightened(shelf, tmp_path):
    """With an earlier EU limit of 2 % the tonic's 1.5 % passed; now it does not, and the row says
    so."""
    former = changed_tables(
        tmp_path / "former",
        "legal_limits",
        lambda r: (
            r["market"] == "EU" and r["substances"] == "Phenoxyethanol" and r["max_percent"] == "1"
        ),
        "max_percent",
        "2",
    )
    shelf.write_text(CREAM, encoding="utf-8")
    (tmp_path / "shelf.products.csv").write_text(PRODUCTS.replace("EU GB", "EU"), encoding="utf-8")
    out = tmp_path / "out.json"
    done = screen(shelf, "--since", former, "--format", "json", "--output", out)
    assert done.exit_code == 1, done.output
    rows = read_json(out)["rows"]
    assert [(r["formula"], r["check"], r["before"], r["after"]) for r in rows] == [
        ("tonic", "legal-limit", "pass", "serious")
    ]
    assert "max_percent 2 -> 1" in rows[0]["why"]
    done = screen(shelf, "--since", former)
    assert "1 of 2 come off differently" in " ".join(done.stdout.split())


def test_an_interval_that_was_narrowed(shelf, tmp_path):
    """An earlier heat limit of 46 °C: 50 °C was over it, and is now only over the preferred 45 °C;
    30 °C was never."""
    former = changed_tables(
        tmp_path / "former", "systems", lambda r: r["id"] == "phenoxyethanol", "heat_limit_c", "46"
    )
    shelf.write_text(CREAM.replace("40 °C", "50 °C"), encoding="utf-8")
    out = tmp_path / "out.json"
    done = screen(shelf, "--since", former, "--format", "json", "--output", out)
    assert done.exit_code == 1, done.output
    rows = read_json(out)["rows"]
    assert [(r["formula"], r["check"], r["before"], r["after"]) for r in rows] == [
        ("hair milk", "heat-limit", "serious", "warn")
    ]
    assert "heat_limit_c 46 -> 85" in rows[0]["why"]


def test_only_the_rows_that_can_be_the_reason_are_named(shelf, tmp_path):
    """Two systems had another pH limit: each is named for itself, and not for what a pH limit
    cannot change."""
    ids = ("potassium-sorbate", "sodium-benzoate")
    former = changed_tables(
        tmp_path / "former", "systems", lambda r: r["id"] in ids, "ph_max", "4.5"
    )
    out = tmp_path / "out.json"
    against = [a for i in ids for a in ("--against", i)]
    screen(shelf, *against, "--since", former, "--format", "json", "--output", out)
    rows = read_json(out)["rows"]
    # pH 5.0 ± 0.1 lay above 4.5; now it lies below 6 and touches 5, the limits of sorbate and
    # benzoate
    assert {(r["formula"], r["system"]) for r in rows} >= {("hair milk", i) for i in ids}
    for row in rows:
        assert row["check"] == "ph-range"
        other = next(i for i in ids if i != row["system"])
        assert f"systems {row['system']}: ph_max" in row["why"]
        assert other not in row["why"]


def test_a_limit_moves_the_dose_that_a_system_is_tried_at(shelf, tmp_path):
    """Phenoxyethanol at 0.01 % in the EU before: the blend was tried at the least of its range, now
    at the middle.

    0.75 % of the blend, nine tenths phenoxyethanol, are 0.675 %: less than 1 % / 1.1.
    """
    blend = next(
        s for s in load_tables().systems if s.id == "phenoxyethanol-ethylhexylglycerin-90-10"
    )
    assert (blend.usage_min_percent, blend.usage_max_percent) == (0.5, 1.0)
    former = changed_tables(
        tmp_path / "former",
        "legal_limits",
        lambda r: (
            r["market"] == "EU" and r["substances"] == "Phenoxyethanol" and r["max_percent"] == "1"
        ),
        "max_percent",
        "0.01",
    )
    out = tmp_path / "out.json"
    # 0.5 % of 19 g are 0.095 g and 0.75 % are 0.1425 g: 0.01 g is 10.5 % of the one and 7.0 % of
    # the other
    (tmp_path / "shelf.products.csv").write_text(
        PRODUCTS.replace("500 g,0.1 g", "19 g,0.01 g"), encoding="utf-8"
    )
    screen(shelf, "--against", blend.id, "--since", former, "--format", "json", "--output", out)
    rows = [
        r
        for r in read_json(out)["rows"]
        if r["formula"] == "hair milk" and r["check"] == "weighing"
    ]
    assert [(r["before"], r["after"]) for r in rows] == [("serious", "pass")]
    assert rows[0]["why"].startswith("tried at 0.5 % before and 0.75 % now; legal_limits ")
    assert rows[0]["figure_before"] == pytest.approx(0.095)
    assert rows[0]["figure_after"] == pytest.approx(0.1425)


def test_a_remark_is_no_change(shelf, tmp_path):
    former = changed_tables(
        tmp_path / "former", "systems", lambda r: r["id"] == "phenoxyethanol", "ph_note", "any"
    )
    done = screen(shelf, "--since", former)
    assert done.exit_code == 0, done.output


def test_nothing_changed(shelf, tmp_path):
    former = tmp_path / "former"
    former.mkdir()
    shutil.copy(str(tables_root() / "systems.csv"), former / "systems.csv")
    done = screen(shelf, "--since", former)
    assert done.exit_code == 0, done.output
    assert "0 of 2 come off differently" in " ".join(done.stdout.split())


def test_since_a_folder_without_tables(shelf, tmp_path):
    (tmp_path / "former").mkdir()
    done = screen(shelf, "--since", tmp_path / "former")
    assert done.exit_code == 2
    assert "none of the tables" in done.output


def test_every_table_is_known_to_touch_checks_or_none():
    """Tables that no verdict rests on are named here, so that a new table is not forgotten."""
    assert set(TABLES) - {table for check in CHECKS for table in check.tables} == {
        "label_rules",
        "cautions",
        "challenge_criteria",
        "test_organisms",
        "sources",
        "pairs",
        "replacements",
    }
