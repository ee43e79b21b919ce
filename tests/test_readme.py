"""The README shows what the program prints, and its commands and its Python lines work."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from typer.testing import CliRunner

from preservecheck.cli.main import app

ROOT = Path(__file__).parents[1]


def blocks(language):
    """The README's fenced blocks of one language, in order."""
    return re.findall(
        rf"```{language}\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.DOTALL
    )


@pytest.fixture(autouse=True)
def in_the_checkout(monkeypatch):
    monkeypatch.chdir(ROOT)


def test_the_report_is_the_head_of_the_programs_own():
    command = next(b for b in blocks("sh") if "preservecheck review" in b)
    words = shlex.split(command.rsplit("&&", 1)[1])
    result = CliRunner().invoke(app, words[1:], env={"COLUMNS": "80"})
    head, *rest = result.stdout.split("\nEVIDENCE")
    assert rest
    assert blocks("text")[0].strip() == head.strip()


def test_the_python_lines_run(capsys):
    exec(compile(blocks("python")[0], "README.md", "exec"), {})  # noqa: S102 - the README is our own
    verdict, counts = capsys.readouterr().out.split(maxsplit=1)
    assert verdict in {"pass", "warn", "unknown"}
    assert "pass" in counts
