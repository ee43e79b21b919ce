"""Runs that are stopped from outside: nothing half-written, and the same command with --resume goes
on."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest

from preservecheck.screen.sources import FILES_AT_ONCE

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "tests" / "examples" / "passing-leave-in.toml"
PIECES = 5


@pytest.fixture(scope="module")
def shelf(tmp_path_factory):
    """A folder of so many formula files that there are five pieces."""
    folder = tmp_path_factory.mktemp("shelf")
    for n in range(FILES_AT_ONCE * PIECES):
        shutil.copyfile(EXAMPLE, folder / f"{n:05d}.toml")
    return folder


def heeds_interrupts():
    """Make a new process end at Ctrl-C as one at a terminal does."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def command(shelf, out, *more):
    return subprocess.Popen(
        [
            sys.executable,
            "-m",
            "preservecheck",
            "screen",
            str(shelf),
            "--format",
            "csv",
            "--output",
            str(out),
        ]
        + ["--jobs", "2", *more],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        # a shell that started the tests in the background had them ignore Ctrl-C
        preexec_fn=heeds_interrupts,  # noqa: PLW1509
    )


def stopped_at_work(shelf, out, how):
    """A run that was stopped as soon as one piece was through; its helpers, and what it said."""
    run = command(shelf, out)
    parts = Path(f"{out}.parts")
    while not list(parts.glob("*.counts")):
        assert run.poll() is None, run.stderr.read()
        time.sleep(0.01)
    helpers = psutil.Process(run.pid).children(recursive=True)
    assert helpers
    how(run.pid)
    _, said = run.communicate(timeout=60)
    return run.returncode, helpers, said


@pytest.fixture(scope="module")
def whole(shelf, tmp_path_factory):
    """What a run gives that nobody stops."""
    out = tmp_path_factory.mktemp("whole") / "out.csv"
    run = command(shelf, out)
    run.communicate()
    assert run.returncode == 0
    return out.read_bytes()


@pytest.mark.parametrize(
    ("how", "status"),
    [
        (lambda pid: os.kill(pid, signal.SIGKILL), -signal.SIGKILL),
        (lambda pid: os.killpg(pid, signal.SIGINT), 130),
    ],
    ids=["killed", "Ctrl-C"],
)
def test_stopped_and_gone_on_with(shelf, whole, tmp_path, how, status):
    out = tmp_path / "out.csv"
    ended, helpers, said = stopped_at_work(shelf, out, how)
    assert ended == status
    assert not out.exists()
    assert "Traceback" not in said
    _, alive = psutil.wait_procs(helpers, timeout=20)
    assert alive == []  # none goes on by itself
    assert 0 < len(list(Path(f"{out}.parts").glob("*.rows"))) < PIECES
    run = command(shelf, out, "--resume")
    run.communicate()
    assert run.returncode == 0
    assert out.read_bytes() == whole
    assert not Path(f"{out}.parts").exists()
