"""Without the extras: every command works as far as it can, and says what to type where it cannot."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import NamedTuple

import pytest
import typer

from preservecheck.cli.common import EXTRAS, line_to_type, user_errors
from preservecheck.cli.main import app

ROOT = Path(__file__).parents[2]
DEMO = "demo.toml"
LIBRARIES = {library for libraries in EXTRAS.values() for library in libraries}
FILES = {
    DEMO: (ROOT / "tests" / "examples" / DEMO).read_text(encoding="utf-8"),
    "titration.csv": "sample_grams,50\nagent,Lactic Acid\nagent_percent,20\n"
    "grams_added,ph\n0,5.2\n0.1,5.0\n0.2,4.7\n0.3,4.5\n",
    "counts.csv": "organism,day,cfu_per_g\nCandida albicans,0,50000\nCandida albicans,7,500\n",
    "ph.csv": "date,ph,storage_c\n2026-01-01,5.01,22\n2026-01-15,4.99,22\n2026-02-01,5.02,22\n"
    "2026-02-15,4.97,22\n2026-03-01,5.0,22\n",
    # as a maker would name it; it is not read, since the library that reads it is missing
    "shelf.parquet": "PAR1",
}
TITRATION = ("adjust", DEMO, "--titration", "titration.csv", "--target", "4.8")
COUNTS = ("challenge", "counts.csv", "--standard", "iso-11930")
PH = ("drift", "ph.csv", "--formula", DEMO)
READINGS = ("cooldown", "0=74C", "10=66C", "20=59.3C", "--room", "21C")
# what works without any extra: each command, and each of its forms
WORKS = (
    ("review", DEMO),
    ("review", DEMO, "--format", "markdown"),
    ("review", DEMO, "--format", "json"),
    ("review", DEMO, "--format", "html"),
    ("choose", DEMO, "--limit", "1"),
    ("mend", DEMO, "--output", "mended.toml"),
    ("screen", DEMO),
    ("screen", DEMO, "--format", "csv"),
    ("record", DEMO, "--output", "kept"),
    ("batch-sheet", DEMO),
    ("batch-sheet", DEMO, "--output", "sheet.xlsx"),
    ("adjust", DEMO, "--target", "4.8"),
    COUNTS,
    ("challenge", "--plan", "--start", "2026-12-01"),
    ("tables", "list", "systems"),
    ("explain", "heat-limit"),
    ("new", "mine.xlsx"),
)
# what needs an extra, and which
NEEDS = (
    (READINGS, "bench"),
    (TITRATION, "bench"),
    (PH, "bench"),
    (("page", "--no-browser"), "page"),
    ((*READINGS, "--plot", "c.svg"), "plots"),
    ((*READINGS, "--plot", "c.png"), "plots"),
    ((*TITRATION, "--plot", "c.svg"), "plots"),
    ((*COUNTS, "--plot", "c.svg"), "plots"),
    ((*PH, "--plot", "c.png"), "plots"),
    (("screen", DEMO, "--format", "parquet", "--output", "s.parquet"), "parquet"),
    (("screen", "shelf.parquet"), "parquet"),
)


# in an interpreter of its own, since a library that is loaded cannot be taken away
CHILD = """
import json, os, sys
libraries, calls = json.load(sys.stdin)
sys.modules.update(dict.fromkeys(libraries))
from typer.testing import CliRunner
from preservecheck.cli.main import app
answers = []
for words in calls:
    before = set(os.listdir())
    done = CliRunner().invoke(app, words, env={"COLUMNS": "80"})
    bug = None if isinstance(done.exception, SystemExit | None) else repr(done.exception)
    new = sorted(set(os.listdir()) - before)
    answers.append([done.exit_code, done.stdout, done.stderr, new, bug])
json.dump(answers, sys.stdout)
"""


class Answer(NamedTuple):
    """What a command said, and the files that it wrote."""

    status: int
    stdout: str
    stderr: str
    files: list[str]
    bug: str | None


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Where the commands are run."""
    place = tmp_path_factory.mktemp("bare")
    for name, text in FILES.items():
        (place / name).write_text(text, encoding="utf-8")
    return place


def answers(folder, libraries, calls):
    """What commands say where some libraries are not installed."""
    done = subprocess.run(
        [sys.executable, "-c", CHILD],
        input=json.dumps([sorted(libraries), calls]),
        capture_output=True,
        text=True,
        check=True,
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )
    return {w: Answer(*a) for w, a in zip(calls, json.loads(done.stdout), strict=True)}


@pytest.fixture(scope="module")
def bare(folder):
    """The answers where no extra is installed."""
    return answers(folder, LIBRARIES, WORKS)


@pytest.fixture(scope="module")
def without(folder):
    """The answers where one extra is not installed."""
    return {
        extra: answers(folder, libraries, [words for words, e in NEEDS if e == extra])
        for extra, libraries in EXTRAS.items()
    }


def test_every_command_is_tried():
    """A command that comes later has to be tried here too."""
    commands = {n for n, c in typer.main.get_command(app).commands.items() if not c.hidden}
    assert {words[0] for words in WORKS} | {words[0] for words, _ in NEEDS} == commands


@pytest.mark.parametrize("words", WORKS, ids=" ".join)
def test_works_without_extras(bare, words):
    """The answer comes, on the screen or in a file, with the exit status of a verdict."""
    answer = bare[words]
    assert answer.bug is None
    assert answer.status in (0, 1)
    assert answer.stderr == ""
    assert answer.stdout or answer.files


@pytest.mark.parametrize(
    ("words", "extra"), NEEDS, ids=lambda w: w if isinstance(w, str) else " ".join(w)
)
def test_says_which_line_to_type(without, words, extra):
    """One line, exit status 2, and nothing is written."""
    answer = without[extra][words]
    assert answer.bug is None
    assert (answer.status, answer.stdout, answer.files) == (2, "", [])
    assert answer.stderr.count("\n") == 1
    assert answer.stderr.rstrip().endswith(f"Type: pip install 'preservecheck[{extra}]'")


def test_html_says_where_plots_are_missing(bare, folder):
    """In the place of each drawing stands that it was not drawn, and what it would show in words."""
    review = bare["review", DEMO, "--format", "html"].stdout
    record = (folder / "kept" / "demo.record.html").read_text(encoding="utf-8")
    for page in (review, record):
        figures = page.count("<figure>")
        assert figures >= 3
        assert "<svg" not in page
        assert page.count("Not drawn: matplotlib is not installed.") == figures
        assert page.count("<summary>In words</summary>") == figures


def test_a_missing_library_of_no_extra_is_a_bug():
    """What the core needs is installed with it; that it is missing is not worded away."""
    assert line_to_type("tabulate") is None
    with pytest.raises(ModuleNotFoundError, match="no tabulate"), user_errors():
        raise ModuleNotFoundError("no tabulate", name="tabulate")


def test_extras_are_those_of_the_project_file():
    """The extras bring the libraries that the command line looks for, ``all`` brings them all, and
    the core brings none."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]

    def libraries(requirements):
        return {r.partition(">=")[0].replace("-", "_") for r in requirements}

    extras = project["optional-dependencies"]
    for extra, wanted in EXTRAS.items():
        # starlette comes with fastapi
        own = {r for r in extras[extra] if not r.startswith("preservecheck")}
        assert libraries(own) == set(wanted) - {"starlette"}
    # the page shows what the commands at the bench compute
    assert "preservecheck[bench]" in extras["page"]
    assert extras["all"] == [f"preservecheck[{','.join(sorted(EXTRAS))}]"]
    assert libraries(project["dependencies"]).isdisjoint(LIBRARIES)
