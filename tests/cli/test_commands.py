"""The commands: what they print, what they write, and their exit status."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from preservecheck.checks import BY_ID
from preservecheck.cli.main import app

EXAMPLES = Path(__file__).parents[1] / "examples"
PASSING, FAILING, UNMEASURED = (
    str(EXAMPLES / f"{n}.toml") for n in ("passing-leave-in", "failing-gel", "unmeasured-shampoo")
)


def run(*arguments, env=None):
    """Run the program in this process."""
    return CliRunner().invoke(app, [str(a) for a in arguments], env={"COLUMNS": "80"} | (env or {}))


def run_apart(*arguments, stdin=None, **env):
    """Run the program as a process of its own, from the checkout."""
    return subprocess.run(
        [sys.executable, "-m", "preservecheck", *map(str, arguments)],
        capture_output=True,
        check=False,
        input=stdin,
        cwd=Path(__file__).parents[2],
        env=os.environ | {"COLUMNS": "80"} | env,
    )


# ---- review ----


@pytest.mark.parametrize(
    ("formula", "status", "verdict"),
    [
        (PASSING, 0, "VERDICT  pass"),
        (FAILING, 1, "VERDICT  warn, serious"),
        (UNMEASURED, 1, "VERDICT  "),
    ],
)
def test_review_status(formula, status, verdict):
    """The exit status is 0 where all pass and 1 where something warns or is unknown."""
    result = run("review", formula)
    assert result.exit_code == status
    assert verdict in result.stdout
    assert result.stderr == ""


def test_review_unreadable_file():
    """A file that cannot be read gives a message on the error stream, no report, and exit status
    2."""
    result = run("review", "nowhere.toml")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("nowhere.toml: there is no such file")


def test_review_tells_all_faults(tmp_path):
    """All faults of a file are told at once, a line each."""
    bad = tmp_path / "bad.toml"
    bad.write_text(
        Path(PASSING)
        .read_text(encoding="utf-8")
        .replace("ph = 4.5", "ph = 45")
        .replace("Glycerin", "Glyzerinn"),
        encoding="utf-8",
    )
    result = run("review", bad)
    assert (result.exit_code, result.stdout) == (2, "")
    assert any("45" in line and "0 to 14" in line for line in result.stderr.splitlines())
    assert any("Glyzerinn" in line and "Glycerin" in line for line in result.stderr.splitlines())


def test_review_several_files():
    """Several files: each report, a line between them, and a closing summary."""
    result = run("review", PASSING, FAILING)
    assert result.exit_code == 1
    assert result.stdout.count("VERDICT") == 2
    assert result.stdout.count("=" * 80) == 2
    summary = result.stdout.partition("\nSummary\n")[2]
    assert "passing-leave-in.toml" in summary
    assert "failing-gel.toml" in summary


def test_review_several_files_one_unreadable():
    """The files that can be read are reported although another cannot; the exit status tells of the
    latter."""
    result = run("review", PASSING, "nowhere.toml", "--format", "json")
    assert result.exit_code == 2
    (report,) = json.loads(result.stdout)
    assert report["product"]["name"] == "Barley silk leave-in"
    assert "nowhere.toml: there is no such file" in result.stderr


def test_review_several_files_is_a_list():
    """JSON of several files is a list in the order given; of one file it is an object."""
    names = [
        r["product"]["name"]
        for r in json.loads(run("review", FAILING, PASSING, "--format", "json").stdout)
    ]
    assert names == ["Flax & aloe | curl gel", "Barley silk leave-in"]
    assert json.loads(run("review", FAILING, "--format", "json").stdout)["verdict"] == "warn"


def test_review_markdown():
    """Markdown begins with the product as its heading."""
    assert run("review", PASSING, "--format", "markdown").stdout.startswith(
        "# Barley silk leave-in\n"
    )


def test_review_output_is_the_same_as_on_the_screen(tmp_path):
    """A report written to a file is the one that would have been printed, and nothing is
    printed."""
    file = tmp_path / "report.json"
    result = run("review", FAILING, "--format", "json", "--output", file)
    assert (result.exit_code, result.stdout) == (1, "")
    assert file.read_text(encoding="utf-8") == run("review", FAILING, "--format", "json").stdout
    assert [p.name for p in tmp_path.iterdir()] == ["report.json"]


def test_review_output_keeps_the_old_file_when_nothing_can_be_read(tmp_path):
    """A report from yesterday is not lost to a formula that cannot be read today."""
    file = tmp_path / "report.txt"
    file.write_text("yesterday", encoding="utf-8")
    assert run("review", "nowhere.toml", "--output", file).exit_code == 2
    assert file.read_text(encoding="utf-8") == "yesterday"


@pytest.mark.parametrize(
    ("target", "said"),
    [("", "is a folder; give a file"), ("missing/report.txt", "cannot be written")],
)
def test_review_output_that_cannot_be_written(tmp_path, target, said):
    """A place that cannot be written to is a message and exit status 2."""
    result = run("review", PASSING, "--output", tmp_path / target)
    assert result.exit_code == 2
    assert said in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_review_output_through_a_link(tmp_path):
    """A link stays a link; what it points to gets the report."""
    (tmp_path / "real.txt").write_text("old", encoding="utf-8")
    (tmp_path / "link.txt").symlink_to(tmp_path / "real.txt")
    assert run("review", PASSING, "--output", tmp_path / "link.txt").exit_code == 0
    assert (tmp_path / "link.txt").is_symlink()
    assert "VERDICT  pass" in (tmp_path / "real.txt").read_text(encoding="utf-8")


@pytest.mark.skipif(os.name != "posix", reason="devices are files on POSIX systems only")
def test_review_output_to_a_device():
    """A device is written to and never replaced by a file."""
    assert run("review", PASSING, "--output", "/dev/null").exit_code == 0
    assert Path("/dev/null").is_char_device()


def test_review_output_dash_is_the_screen():
    """``-`` as output stands for the screen."""
    assert run("review", PASSING, "--output", "-").stdout.startswith("Barley silk leave-in\n")


@pytest.mark.parametrize("several", [False, True])
def test_review_html(several):
    """HTML is one whole page, also for several files."""
    result = run("review", PASSING, *([FAILING] if several else []), "--format", "html")
    assert result.exit_code == int(several)
    assert result.stdout.startswith("<!DOCTYPE html>")
    assert result.stdout.count("</html>") == 1


def test_form_that_is_not_built():
    """A form that is not built is refused with the ones that are."""
    result = run("review", PASSING, "--format", "pdf")
    assert result.exit_code == 2
    assert all(form in result.stderr for form in ("text", "markdown", "html", "json"))


@pytest.mark.parametrize(
    "arguments",
    [
        ("review",),
        ("review", PASSING, "--tabels", "x"),
        ("nonsense",),
        ("tables", "show", "systems"),
    ],
)
def test_wrong_use(arguments):
    """A command that is written wrongly is exit status 2 with a word on the error stream."""
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stderr


def own_tables(folder, text):
    """A folder with a systems.csv of one row."""
    folder.mkdir()
    (folder / "systems.csv").write_text(text, encoding="utf-8")
    return folder


def own_row():
    """The shipped row of a system with a stricter highest dose, as a maker would copy it."""
    import csv
    import io

    from preservecheck.reference.load import tables_root

    shipped = csv.DictReader(
        io.StringIO((tables_root() / "systems.csv").read_text(encoding="utf-8"))
    )
    row = next(r for r in shipped if r["id"] == "benzyl-alcohol-dehydroacetic-acid") | {
        "usage_max_percent": "0.4"
    }
    row = {k: v for k, v in row.items() if k not in ("source", "basis", "locator", "recalled")}
    out = io.StringIO()
    writer = csv.DictWriter(out, row)
    writer.writeheader()
    writer.writerow(row)
    return out.getvalue()


@pytest.mark.parametrize("way", ["option", "environment"])
def test_own_tables(tmp_path, way):
    """A row of one's own replaces ours, however its folder is named, and the report marks it."""
    folder = own_tables(tmp_path / "mine", own_row())
    result = (
        run("review", PASSING, "--tables", folder)
        if way == "option"
        else run("review", PASSING, env={"PRESERVECHECK_TABLES": str(folder)})
    )
    assert result.exit_code == 1  # 0.5 % is now above the 0.4 % of the own row
    page = " ".join(result.stdout.split())
    assert "0.5 % is above 0.2 to 0.4 %" in page
    assert "Rests on a row of your own." in page
    assert "systems: benzyl-alcohol-dehydroacetic-acid" in page


def test_own_tables_with_a_fault(tmp_path):
    """A bad row is told with file, line, column, value and what is allowed; nothing is judged."""
    folder = own_tables(tmp_path / "mine", own_row().replace(",2,", ",x,", 1))
    result = run("review", PASSING, "--tables", folder)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "systems.csv: row 2: column" in result.stderr
    assert "'x'" in result.stderr


def test_own_tables_folder_missing(tmp_path):
    """A folder that is not there is told by its name."""
    result = run("review", PASSING, "--tables", tmp_path / "none")
    assert result.exit_code == 2
    assert "none: no such folder" in result.stderr


# ---- tables ----


@pytest.mark.parametrize("arguments", [("tables",), ("tables", "list")])
def test_tables_overview(arguments):
    """Without a table's name, all tables are listed."""
    result = run(*arguments)
    assert result.exit_code == 0
    assert result.stdout.startswith("Tables\n")
    assert "legal_limits" in result.stdout


def test_tables_list():
    """A table is listed with its keys."""
    result = run("tables", "list", "systems")
    assert result.exit_code == 0
    assert "benzyl-alcohol-dehydroacetic-acid" in result.stdout


@pytest.mark.parametrize(
    "key", [("benzyl-alcohol-dehydroacetic-acid",), ("Benzyl", "Alcohol", "Dehydroacetic", "Acid")]
)
def test_tables_show(key):
    """A row is shown in full; its key may be written with blanks."""
    result = run("tables", "show", "systems", *key)
    assert result.exit_code == 0
    assert result.stdout.startswith("systems: benzyl-alcohol-dehydroacetic-acid\n")
    assert "\nsource " in result.stdout


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("show", "systems", "phenoxyethnol"), "did you mean phenoxyethanol"),
        (("list", "sistems"), "did you mean systems"),
        (("show", "sistems", "x"), "did you mean systems"),
        (("search", "-"), "one word or more"),
    ],
)
def test_tables_that_are_not_there(arguments, said):
    """What is not there is answered with the nearest names and exit status 2."""
    result = run("tables", *arguments)
    assert (result.exit_code, result.stdout) == (2, "")
    assert said in result.stderr


def test_tables_search():
    """All tables are searched for all words."""
    result = run("tables", "search", "sorbic", "acid")
    assert result.exit_code == 0
    assert {"ACTIVES (", "MIC ("} <= {
        line.split("(")[0] + "(" for line in result.stdout.splitlines()
    }


def test_tables_validate():
    """The shipped tables have no fault."""
    result = run("tables", "validate")
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.startswith("No fault in ")


def test_tables_validate_tells_every_fault(tmp_path):
    """All faults of one's own rows are told, also those of references between tables."""
    (tmp_path / "product_ph.csv").write_text(
        "type,use,ph_min,ph_max\nscalp,any,4,99\nlotion,any,4,5\n", encoding="utf-8"
    )
    result = run("tables", "validate", "--tables", tmp_path)
    assert result.exit_code == 2
    assert "product_ph.csv: row 2: column ph_max is '99'" in result.stderr
    assert "product_ph.csv: row 3: column type is 'lotion'" in result.stderr


def test_tables_validate_puts_faults_into_json(tmp_path):
    """Who asks for JSON gets the faults in it, on standard output; the exit status is the same."""
    (tmp_path / "product_ph.csv").write_text(
        "type,use,ph_min,ph_max\nscalp,any,4,99\nlotion,any,4,5\n", encoding="utf-8"
    )
    result = run("tables", "validate", "--tables", tmp_path, "--format", "json")
    assert (result.exit_code, result.stderr) == (2, "")
    first, second = json.loads(result.stdout)["faults"]
    assert first["where"].endswith("product_ph.csv")
    assert (first["place"], first["name"], first["value"]) == ("row 2", "column ph_max", "'99'")
    assert (second["place"], second["name"]) == ("row 3", "column type")
    assert second["text"].endswith(second["allowed"])


@pytest.mark.parametrize(
    "arguments",
    [
        ("tables", "--tables", "DIR", "list", "product_ph"),
        ("tables", "list", "product_ph", "--tables", "DIR"),
    ],
)
def test_tables_option_in_both_places(tmp_path, arguments):
    """The folder of one's own rows may be named before or after the command."""
    (tmp_path / "product_ph.csv").write_text(
        "type,use,ph_min,ph_max\nscalp,any,4.4,5.6\n", encoding="utf-8"
    )
    result = run(*(tmp_path if a == "DIR" else a for a in arguments))
    assert "scalp / any *" in result.stdout


# ---- explain, new, version ----


def test_explain_lists_the_checks():
    """Without a name all checks are listed."""
    result = run("explain")
    assert result.exit_code == 0
    assert all(f"\n{check} " in result.stdout for check in BY_ID)


@pytest.mark.parametrize("check", BY_ID)
def test_explain(check):
    """The manual page of a check begins with its name."""
    result = run("explain", check)
    assert result.exit_code == 0
    assert result.stdout.startswith(f"{check}\n\n")


def test_explain_unknown():
    """A name that is no check is answered with the nearest ones and exit status 2."""
    result = run("explain", "heatlimit")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "did you mean heat-limit" in result.stderr


@pytest.mark.parametrize("name", ["formula.toml", "my formula.xlsx", "my.csv"])
def test_new_can_be_reviewed_at_once(tmp_path, monkeypatch, name):
    """What ``new`` writes is accepted by ``review``, in the very words that it prints."""
    monkeypatch.chdir(tmp_path)
    made = run("new", name)
    assert (made.exit_code, made.stderr) == (0, "")
    command = made.stdout.strip().rpartition("preservecheck review ")[2].strip('"')
    assert run("review", command).exit_code in (0, 1)


def test_new_default_name(tmp_path, monkeypatch):
    """Without a name the starter is formula.toml."""
    monkeypatch.chdir(tmp_path)
    assert run("new").exit_code == 0
    assert [p.name for p in tmp_path.iterdir()] == ["formula.toml"]


def test_new_does_not_overwrite(tmp_path):
    """A file that is there is left alone, unless forced."""
    file = tmp_path / "mine.toml"
    file.write_text("mine", encoding="utf-8")
    result = run("new", file)
    assert (result.exit_code, file.read_text(encoding="utf-8")) == (2, "mine")
    assert "--force" in result.stderr
    assert run("new", file, "--force").exit_code == 0
    assert file.read_text(encoding="utf-8") != "mine"


def test_new_unknown_suffix(tmp_path):
    """A name that ends in something else is refused."""
    result = run("new", tmp_path / "x.docx")
    assert result.exit_code == 2
    assert ".toml, .xlsx or .csv" in result.stderr


def test_version():
    """The version is the one that the project states."""
    stated = Path(__file__).parents[2].joinpath("pyproject.toml").read_text(encoding="utf-8")
    version = stated.partition('\nversion = "')[2].partition('"')[0]
    assert run("--version").stdout == f"preservecheck {version}\n"


def test_without_arguments_help_is_shown():
    """The bare command shows what there is, with exit status 0."""
    result = run()
    assert result.exit_code == 0
    assert all(command in result.stdout for command in ("review", "tables", "explain", "new"))


@pytest.mark.parametrize(
    "command",
    [
        (),
        ("review",),
        ("explain",),
        ("new",),
        ("tables",),
        ("tables", "list"),
        ("tables", "show"),
        ("tables", "search"),
        ("tables", "validate"),
    ],
)
def test_every_command_has_help(command):
    """Every command and every option says what it is for, uncut."""
    result = run(*command, "--help")
    assert result.exit_code == 0
    cut = [
        line
        for line in result.stdout.splitlines()
        if line.endswith("...") and not line.startswith("Usage: ")
    ]
    assert cut == []
    assert max(map(len, result.stdout.splitlines())) <= 80


# ---- as a process of its own ----


def test_module_runs():
    """``python -m preservecheck`` is the program, with its exit status."""
    result = run_apart("review", FAILING)
    assert result.returncode == 1
    assert result.stderr == b""


def test_no_colour_in_a_pipe():
    """What goes into a pipe has no colour."""
    assert b"\033" not in run_apart("review", FAILING).stdout


@pytest.mark.parametrize("encoding", ["utf-8", "ascii", "cp1252", "latin-1"])
def test_any_terminal(encoding):
    """On a terminal that cannot show a sign the report comes with question marks instead of a
    traceback."""
    result = run_apart("review", FAILING, PYTHONIOENCODING=encoding, PYTHONUTF8="0")
    assert result.returncode == 1
    assert result.stderr == b""
    assert "VERDICT" in result.stdout.decode(encoding)


def test_pipes_get_utf8_in_any_locale():
    """A pipe gets UTF-8, also where the locale knows ASCII only."""
    result = run_apart("review", FAILING, LC_ALL="C", PYTHONUTF8="0", PYTHONCOERCECLOCALE="0")
    assert "85 °C" in result.stdout.decode("utf-8")


@pytest.mark.skipif(os.name != "posix", reason="needs a shell with head")
def test_reader_that_stops_early():
    """A reader that closes the pipe gets what it wanted; no traceback, and the exit status is still
    the verdict's."""
    done = subprocess.run(
        f"'{sys.executable}' -m preservecheck tables search acid > /dev/full 2>/dev/null; "
        f"('{sys.executable}' -m preservecheck review '{FAILING}'; echo status $? >&2) | head -1",
        shell=True,
        capture_output=True,
        text=True,
        check=False,
        cwd=Path(__file__).parents[2],
    )
    assert done.stdout == "Flax & aloe | curl gel\n"
    assert done.stderr == "status 1\n"


@pytest.mark.skipif(sys.platform != "linux", reason="needs a pseudo-terminal")
@pytest.mark.parametrize(
    ("env", "coloured"), [({}, True), ({"NO_COLOR": "1"}, False), ({"TERM": "dumb"}, False)]
)
def test_colour_on_a_terminal(env, coloured):
    """On a terminal the verdict word is coloured, unless NO_COLOR is set or the terminal is a dumb
    one."""
    code = (
        "import os, pty, sys; os.environ.update(%r); "
        "sys.exit(os.waitstatus_to_exitcode(pty.spawn([sys.executable, '-m', 'preservecheck', "
        "'review', %r])))"
    )
    result = subprocess.run(
        [sys.executable, "-c", code % ({"TERM": "xterm"} | env, PASSING)],
        capture_output=True,
        check=False,
        cwd=Path(__file__).parents[2],
        stdin=subprocess.DEVNULL,
        env={k: v for k, v in os.environ.items() if k != "NO_COLOR"},
    )
    assert result.returncode == 0
    assert (b"\033[1;32mpass\033[0m" in result.stdout) is coloured


def test_a_block_to_paste_keeps_its_lines(tmp_path):
    """A name that is not known is answered with a block that can be pasted as it stands on the
    screen."""
    path = tmp_path / "f.toml"
    path.write_text(
        Path(PASSING)
        .read_text(encoding="utf-8")
        .replace("items = [", 'items = [\n{ ingredient = "Frobnol", percent = 0 },', 1),
        encoding="utf-8",
    )
    result = run("review", path)
    assert result.exit_code == 2
    lines = result.stderr.splitlines()
    assert '[ingredient."Frobnol"]' in lines
    assert any(line.startswith("water_fraction = 0") for line in lines)


# ---- every result in every format ----

READINGS = ("cooldown", "0=74C", "10=66C", "20=59.3C", "--room", "21C")
RESULTS = (
    ("review", PASSING),
    ("choose", PASSING, "--limit", "2"),
    ("record", PASSING),
    ("batch-sheet", PASSING),
    READINGS,
    ("adjust", PASSING, "--target", "4.8"),
    ("challenge", "--plan", "--start", "2026-12-01"),
    ("screen", PASSING),
    ("tables", "list"),
    ("tables", "list", "product_ph"),
    ("tables", "show", "systems", "phenoxyethanol"),
    ("tables", "search", "silver"),
    ("tables", "validate"),
    ("explain",),
    ("explain", "heat-limit"),
)


@pytest.mark.parametrize("command", RESULTS, ids=" ".join)
def test_every_result_in_every_format(command):
    """Text without marks, Markdown with a heading, one HTML page, and JSON that can be read."""
    pages = {}
    for form in ("text", "markdown", "html", "json"):
        result = run(*command, "--format", form)
        assert result.exit_code in (0, 1), form
        assert result.stderr == ""
        pages[form] = result.stdout
    assert max(map(len, pages["text"].splitlines())) <= 80
    assert pages["markdown"].startswith("# ")
    assert pages["html"].startswith("<!DOCTYPE html>")
    assert json.loads(pages["json"])


@pytest.mark.parametrize("command", RESULTS, ids=" ".join)
def test_unknown_format(command):
    """A format that is not there is refused with those that are, whatever the command."""
    result = run(*command, "--format", "pdf")
    assert (result.exit_code, result.stdout) == (2, "")
    assert all(form in result.stderr for form in ("text", "markdown", "html", "json"))


def test_words_of_earlier_versions():
    """The earlier name of a command and of a format still work; the command says the new one."""
    earlier, now = run("worksheet", PASSING), run("batch-sheet", PASSING)
    assert earlier.stdout == now.stdout
    assert earlier.stderr == "'worksheet' is now called 'batch-sheet'.\n"
    assert "worksheet" not in run("--help").stdout
    assert run("screen", PASSING, "--format", "table").stdout == run("screen", PASSING).stdout
