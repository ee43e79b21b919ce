"""Challenge tests read: reductions, verdicts, what is missing, and what is kept beside a
formula."""

from __future__ import annotations

import datetime as dt
import json

import pytest
from typer.testing import CliRunner

from preservecheck.cli.main import app
from preservecheck.errors import ReadingsError
from preservecheck.evidence.challenge import challenge, standard_id
from preservecheck.evidence.challenge_plan import plan
from preservecheck.evidence.counts import read_counts
from preservecheck.formula.load import load_formula
from preservecheck.formula.starter import starter_toml
from preservecheck.formula.stored_result import store, stored_for, stored_path, stored_sentence
from preservecheck.plan.review import review
from preservecheck.reference.load import load_tables
from tests.helpers import TODAY

TABLES = load_tables()
BACTERIA = ("Pseudomonas aeruginosa", "Staphylococcus aureus", "Escherichia coli")


def passing():
    """Counts that meet criterion A of ISO 11930 with room to spare."""
    counts = {name: {0: "500000", 7: "<10", 14: "<10", 28: "<10"} for name in BACTERIA}
    counts["Candida albicans"] = {0: "50000", 7: "500", 14: "<10", 28: "<10"}
    counts["Aspergillus brasiliensis"] = {0: "50000", 7: "40000", 14: "30000", 28: "1000"}
    return counts


@pytest.fixture
def write(tmp_path):
    """Counts as a file."""

    def written(counts, heading="organism,day,cfu_per_g", name="c.csv"):
        path = tmp_path / name
        rows = counts if isinstance(counts, str) else "\n".join(
            f"{o},{d},{c}" for o, days in counts.items() for d, c in days.items())  # fmt: skip
        path.write_text(f"{heading}\n{rows}\n", encoding="utf-8")
        return path

    return written


def one(found, name):
    """The result of one organism."""
    return next(o for o in found.organisms if o.name == name)


# ---- judging ----


def test_all_pass(write):
    """A clean set reaches A, says what it means and misses nothing."""
    found = challenge(write(passing()), "iso-11930", TABLES, today=TODAY)
    assert (found.verdict, found.missing) == ("A", ())
    assert all(o.verdict == "A" for o in found.organisms)
    assert one(found, "Candida albicans").log_reductions["7"] == 2.0
    assert "protects itself" in found.meaning[0]


def test_below_detection_is_at_least(write):
    """5e5 to <10 is at least 4.7 log, marked as such."""
    found = one(challenge(write(passing()), "iso-11930", TABLES), "Escherichia coli")
    assert found.log_reductions == {"7": 4.7, "14": 4.7, "28": 4.7}
    assert found.at_least == ("7", "14", "28")


def test_detection_limit_too_high_is_open(write):
    """2e5 to <1000 shows 2.3 log at most: neither met nor missed, so the set cannot be judged."""
    counts = passing() | {"Escherichia coli": {0: "200000", 7: "<1000", 14: "<1000", 28: "<1000"}}
    found = challenge(write(counts), "iso-11930", TABLES)
    assert one(found, "Escherichia coli").verdict == "incomplete"
    assert "neither met nor missed" in one(found, "Escherichia coli").because
    assert found.verdict == "incomplete"


@pytest.mark.parametrize(("count", "verdict"), [("31", "A"), ("36", "fails")])
def test_growth_after_below_detection_counts_from_the_limit(write, count, verdict):
    """After <10 a count of 31 is 0.5 log above the limit and no increase, 36 is 0.6 above and
    one."""
    counts = passing() | {"Escherichia coli": {0: "500000", 7: "<10", 14: "<10", 28: count}}
    found = one(challenge(write(counts), "iso-11930", TABLES), "Escherichia coli")
    assert found.verdict == verdict


def test_within_tolerance_is_said(write):
    """2.6 log where 3 are asked is within the standard's half log: A, but not a plain pass."""
    counts = passing() | {"Escherichia coli": {0: "400000", 7: "1000", 14: "<10", 28: "<10"}}
    found = challenge(write(counts), "iso-11930", TABLES)
    assert one(found, "Escherichia coli").log_reductions["7"] == 2.6
    assert one(found, "Escherichia coli").verdict == "A"
    assert "only within the standard's tolerance" in one(found, "Escherichia coli").because
    assert "Escherichia coli only by tolerance" in found.because


def test_one_b_makes_the_set_b(write):
    """A slow day 7 is B; the weakest organism decides."""
    counts = passing() | {"Escherichia coli": {0: "500000", 7: "100000", 14: "<10", 28: "<10"}}
    found = challenge(write(counts), "iso-11930", TABLES)
    assert (found.verdict, one(found, "Escherichia coli").verdict) == ("B", "B")
    assert "only with reasons" in found.meaning[0]


def test_one_fail_fails_the_set(write):
    """One organism under B fails the set, also where another is missing."""
    counts = passing() | {
        "Escherichia coli": {0: "500000", 7: "500000", 14: "400000", 28: "400000"}
    }
    del counts["Candida albicans"]
    found = challenge(write(counts), "iso-11930", TABLES)
    assert found.verdict == "fails"
    assert "Candida albicans: no counts" in found.because


@pytest.mark.parametrize("organism", [*BACTERIA, "Candida albicans", "Aspergillus brasiliensis"])
def test_missing_organism_is_named(write, organism):
    """A set without one of the five is not judged, names it, and shows the rest."""
    counts = passing()
    del counts[organism]
    found = challenge(write(counts), "iso-11930", TABLES)
    assert found.verdict == "incomplete"
    assert found.missing == (f"{organism}: no counts",)
    assert len(found.organisms) == 4


@pytest.mark.parametrize(
    ("day", "said"), [(0, "the inoculum (day 0)"), (7, "day 7"), (14, "day 14"), (28, "day 28")]
)
def test_missing_day_is_named(write, day, said):
    """A set without a day that the standard needs is not judged, and names it."""
    counts = passing()
    del counts["Escherichia coli"][day]
    found = challenge(write(counts), "iso-11930", TABLES)
    assert found.verdict == "incomplete"
    assert found.missing == (f"Escherichia coli: {said}",)


def test_day_that_is_not_needed_may_be_missing(write):
    """ISO 11930 asks nothing of mould on day 7."""
    counts = passing()
    del counts["Aspergillus brasiliensis"][7]
    assert challenge(write(counts), "iso-11930", TABLES).verdict == "A"


def test_mould_that_grows_late_warns(write):
    """Mould under A may not grow from day 14 to 28: one page of three prints it, so a miss warns
    and does not fail."""
    counts = passing() | {"Aspergillus brasiliensis": {0: "50000", 14: "100", 28: "1000"}}
    found = one(challenge(write(counts), "iso-11930", TABLES), "Aspergillus brasiliensis")
    assert found.verdict == "A"
    assert "but for a warning" in found.because


def test_own_isolates_are_shown_not_judged(write):
    """A microbe that the standard does not name is shown and changes nothing."""
    counts = passing() | {"Burkholderia cepacia": {0: "500000", 7: "500000"}}
    found = challenge(write(counts), "iso-11930", TABLES)
    assert (found.verdict, one(found, "Burkholderia cepacia").verdict) == ("A", "not judged")


def test_coli_is_no_part_of_ph_eur(write):
    """Ph. Eur. topical needs no E. coli; ISO and USP do."""
    counts = passing()
    del counts["Escherichia coli"]
    assert "Escherichia coli" not in " ".join(
        challenge(write(counts), "ph-eur-5.1.3", TABLES).missing
    )
    assert "Escherichia coli" in " ".join(challenge(write(counts), "usp-51", TABLES).missing)


def test_odd_inoculum_is_remarked(write):
    """A start far from the customary one is said."""
    counts = passing() | {"Escherichia coli": {0: "20000000", 7: "<10", 14: "<10", 28: "<10"}}
    assert (
        "inoculum"
        in one(challenge(write(counts), "iso-11930", TABLES), "Escherichia coli").notes[0]
    )


# ---- reading ----


@pytest.mark.parametrize(
    "name",
    [
        "E. coli",
        "e.coli",
        "Escherichia coli ATCC 8739",
        "ESCHERICHIA COLI (NBRC 3972)",
        "ATCC 8739",
        "E coli",
    ],
)
def test_names_of_organisms(write, name):
    """Short names, strain numbers and spellings mean the same microbe."""
    assert list(read_counts(write({name: {0: 100}}), TABLES).by_organism) == ["Escherichia coli"]


def test_former_name_of_the_mould(write):
    """Aspergillus niger is the former name of the test mould."""
    assert list(read_counts(write({"A. niger": {0: 100}}), TABLES).by_organism) == [
        "Aspergillus brasiliensis"
    ]


@pytest.mark.parametrize(
    ("day", "number"), [("day 7", 7), ("D7", 7), ("7 d", 7), ("inoculum", 0), ("T0", 0), ("7.0", 7)]
)
def test_days_as_written(write, day, number):
    """Days in words or numbers; the inoculum is day 0."""
    assert list(
        read_counts(write({"E. coli": {day: 100}}), TABLES).by_organism["Escherichia coli"]
    ) == [number]


def test_replicates_are_averaged(write):
    """Counts of one day are averaged as counts: 100 and 300 are 200."""
    found = read_counts(write("E. coli,7,100\nE. coli,7,300"), TABLES).by_organism[
        "Escherichia coli"
    ][7]
    assert (10**found.log10, found.replicates) == (pytest.approx(200), 2)


def test_replicates_below_detection(write):
    """All below: below at the highest limit; some below: those count at their limit and it is
    noted."""
    below = read_counts(write("E. coli,7,<10\nE. coli,7,<100"), TABLES).by_organism[
        "Escherichia coli"
    ][7]
    assert (below.below, below.log10) == (True, 2)
    some = read_counts(write("E. coli,7,<10\nE. coli,7,30"), TABLES).by_organism[
        "Escherichia coli"
    ][7]
    assert (some.below, some.some_below, 10**some.log10) == (False, True, pytest.approx(20))


def test_logarithms_and_counts_agree(write):
    """The same set as logarithms gives the same result."""
    logs = "E. coli,0,5.7\nE. coli,7,2.3\nE. coli,14,<1"
    found = read_counts(write(logs, "organism,day,log10_cfu"), TABLES).by_organism[
        "Escherichia coli"
    ]
    assert (found[0].log10, found[7].log10, found[14].below) == (5.7, 2.3, True)


@pytest.mark.parametrize(
    ("rows", "heading", "said"),
    [
        ("E. coli,7,", "organism,day,cfu_per_g", "cfu is missing"),
        ("E. coli,7,0", "organism,day,cfu_per_g", "write the laboratory's detection limit"),
        ("E. coli,7,many", "organism,day,cfu_per_g", "not a number"),
        ("E. coli,soon,10", "organism,day,cfu_per_g", 'day is "soon"'),
        (",7,10", "organism,day,cfu_per_g", "organism is missing"),
        ("E. coli,7,15", "organism,day,log10_cfu", "a logarithm from 0 to 12"),
        ("E. coli,7,1,1", "organism,day,cfu_per_g,log10_cfu", "keep one"),
        ("E. coli,7,1", "organism,day,cfu_per_kg", "no column cfu or log10_cfu"),
        (
            "E. coli,7,1,10\nE. coli,7,1,20",
            "organism,day,replicate,cfu_per_g",
            "is already on row 2",
        ),
    ],
)
def test_faults_of_the_file(write, rows, heading, said):
    """Each fault has one message."""
    with pytest.raises(ReadingsError) as caught:
        read_counts(write(rows, heading), TABLES)
    assert sum(said in m for m in caught.value.messages) == 1


@pytest.mark.parametrize(
    ("written", "id_"),
    [("ISO 11930:2019", "iso-11930"), ("USP <51>", "usp-51"), ("Ph. Eur. 5.1.3", "ph-eur-5.1.3")],
)
def test_names_of_standards(written, id_):
    """Standards as laboratories write them."""
    assert standard_id(written) == id_


def test_standard_must_be_known(write):
    """Without a standard nothing is judged; the file may name it; two that differ are refused."""
    path = write(passing())
    with pytest.raises(ReadingsError, match="by which standard"):
        challenge(path, None, TABLES)
    named = write(passing(), "standard,USP <51>\norganism,day,cfu_per_g", "n.csv")
    assert challenge(named, None, TABLES).standard == "usp-51"
    with pytest.raises(ReadingsError, match="needs counts of that test"):
        challenge(named, "iso-11930", TABLES)


def test_json_for_a_record(write):
    """A record gets the same as the command."""
    data = challenge(write(passing()), "iso-11930", TABLES).to_json()
    assert data["verdict"] == "A"
    assert json.dumps(data)


# ---- kept beside a formula ----


@pytest.fixture
def product(tmp_path):
    """A formula as a file."""
    path = tmp_path / "cream.toml"
    path.write_text(starter_toml(), encoding="utf-8")
    return path


def test_kept_result_is_shown(write, product):
    """A kept result stands in the report of its formula."""
    formula = load_formula(product, TABLES)
    store(
        challenge(write(passing()), "iso-11930", TABLES, formula=formula, today=TODAY).to_json(),
        formula,
        TODAY,
    )
    assert stored_for(formula).covers
    shown = review(product, TABLES, today=TODAY).challenge_test.result
    assert shown.startswith("Test of 2026-11-25 by ISO 11930: criterion A reached.")
    assert "no longer covers" not in shown


def test_changed_formula_is_not_covered(write, product):
    """A formula changed since says that the test no longer covers it."""
    formula = load_formula(product, TABLES)
    store(challenge(write(passing()), "iso-11930", TABLES).to_json(), formula, TODAY)
    product.write_text(starter_toml().replace("percent = 2.5", "percent = 2.6"), encoding="utf-8")
    changed = load_formula(product, TABLES)
    assert not stored_for(changed).covers
    assert "no longer covers it" in review(product, TABLES, today=TODAY).challenge_test.result


def test_record_shows_a_kept_result_and_still_agrees(write, product, tmp_path):
    """The record prints a kept result; worked out again elsewhere, without it, the record still
    agrees."""
    formula = load_formula(product, TABLES)
    store(challenge(write(passing()), "iso-11930", TABLES).to_json(), formula, TODAY)
    folder = tmp_path / "record"
    CliRunner().invoke(app, ["record", str(product), "--output", str(folder)])
    assert "criterion A reached" in (folder / "cream.record.md").read_text("utf-8")
    stored_path(product).unlink()
    again = CliRunner().invoke(app, ["record", "--verify", str(folder / "cream.record.json")])
    assert again.exit_code == 0


def test_nothing_kept(product):
    """Without a kept result the report has none."""
    assert stored_for(load_formula(product, TABLES)) is None
    assert review(product, TABLES, today=TODAY).challenge_test.result is None


@pytest.mark.parametrize(
    "text",
    ["{", "[]", '{"verdict": "A"}', '{"verdict":"superb","standard":"x","formula_sha256":"y"}'],
)
def test_damaged_result_is_told(product, text):
    """A file that cannot be read is told, never hidden and never a crash."""
    stored_path(product).write_text(text, encoding="utf-8")
    assert "cannot be read" in stored_sentence(load_formula(product, TABLES))
    with pytest.raises(ReadingsError):
        stored_for(load_formula(product, TABLES))


def test_place_of_a_set_of_sheets(tmp_path):
    """CSV sheets of one formula share one result."""
    assert stored_path(tmp_path / "cream.Product.csv") == stored_path(
        tmp_path / "cream.Formula.csv"
    )


# ---- the plan ----


def test_plan_dates(product):
    """Counts on days 7, 14 and 28 after the start; a weekend is said."""
    found = plan(
        "iso-11930",
        dt.date(2026, 12, 1),
        TABLES,
        formula=load_formula(product, TABLES),
        today=TODAY,
    )
    assert [(s.day, s.date.isoformat()) for s in found.samplings] == [
        (0, "2026-12-01"), (7, "2026-12-08"), (14, "2026-12-15"), (28, "2026-12-29")]  # fmt: skip
    assert not any("weekend" in b for b in found.before)
    assert any("weekend" in b for b in plan("iso-11930", dt.date(2026, 12, 5), TABLES).before)


def test_plan_of_ph_eur_has_day_two_and_no_coli():
    """Ph. Eur. counts on day 2 too, and needs no E. coli."""
    found = plan("ph-eur-5.1.3", dt.date(2026, 12, 1), TABLES)
    assert [s.day for s in found.samplings] == [0, 2, 7, 14, 28]
    assert "Escherichia coli" not in {o.name for o in found.organisms}


def test_plan_holds_what_a_laboratory_needs():
    """Strains, inoculum, neutraliser, amounts and papers."""
    found = plan("iso-11930", dt.date(2026, 12, 1), TABLES)
    assert {o.strain for o in found.organisms} >= {"ATCC 9027", "ATCC 10231", "ATCC 16404"}
    assert {(o.name, o.inoculum_low) for o in found.organisms} >= {
        ("Candida albicans", 1e4),
        ("Escherichia coli", 1e5),
    }
    assert found.sample_g >= 5 * 20
    assert any("half of the control" in n for n in found.neutraliser)
    assert any("final pack" in s for s in found.send)


# ---- the command ----


def run(*arguments):
    """The command in this process."""
    return CliRunner().invoke(app, ["challenge", *map(str, arguments)], env={"COLUMNS": "100"})


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({}, 0),
        ({"Escherichia coli": {0: "500000", 7: "100000", 14: "<10", 28: "<10"}}, 1),
        ({"Escherichia coli": {}}, 1),
    ],
    ids=["A", "B", "incomplete"],
)
def test_command_status(write, change, status):
    """0 for A, 1 for anything less or incomplete, 2 unreadable."""
    assert run(write(passing() | change), "--standard", "iso-11930").exit_code == status
    assert run("nowhere.csv", "--standard", "iso-11930").exit_code == 2


def test_command_json(write):
    """The JSON holds the keys of the contract."""
    data = json.loads(run(write(passing()), "--standard", "iso-11930", "--format", "json").stdout)
    assert data.keys() >= {
        "format",
        "program",
        "tables_sha256",
        "formula_sha256",
        "standard",
        "verdict",
        "organisms",
        "missing",
    }
    assert data["organisms"][0].keys() >= {"name", "group", "verdict", "log_reductions", "because"}


@pytest.mark.parametrize("form", ["text", "markdown", "json"])
def test_command_plan(form):
    """Without results the plan is printed, in every form."""
    result = run("--start", "2026-12-01", "--format", form)
    assert result.exit_code == 0
    assert "2026-12-29" in result.stdout


def test_command_keep(write, product):
    """--keep writes the result beside the formula, and wants one."""
    assert (
        run(write(passing()), "--standard", "iso-11930", "--keep", "--formula", product).exit_code
        == 0
    )
    assert stored_path(product).is_file()
    assert run(write(passing()), "--standard", "iso-11930", "--keep").exit_code == 2


def test_command_plot(write, tmp_path):
    """The courses are drawn against the criteria."""
    run(write(passing()), "--standard", "iso-11930", "--plot", tmp_path / "c.svg")
    svg = (tmp_path / "c.svg").read_text("utf-8")
    assert "Candida albicans" in svg
    assert "least asked for" in svg
