"""The program as a maker has it: started as a command, and looked at in a real browser."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

ROOT = Path(__file__).parents[2]
# the answers come in a fraction of a second; a machine that is busy gets this long [ms]
PATIENCE_MS = 20_000
WIDTHS = {"phone": {"width": 360, "height": 780}, "desk": {"width": 1600, "height": 1000}}
SCHEMES = ("light", "dark")
# what stands in the list that has the focus, if it is one
CHOSEN = "document.activeElement.selectedOptions?.[0].label"
# no answer is awaited, and nothing fades
SETTLED = """() => !document.querySelector("[aria-busy=true]")
  && document.getAnimations().every((a) => a.playState !== "running")"""


def free_port():
    """A port that nobody has."""
    with socket.socket() as place:
        place.bind(("127.0.0.1", 0))
        return place.getsockname()[1]


class Program:
    """The command ``page``, with its link."""

    def __init__(self, port=None):
        self.port = port or free_port()
        self.origin = f"http://127.0.0.1:{self.port}"
        self.process = None
        self.link = ""

    def start(self):
        """Run it until its link stands in its window."""
        self.process = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "preservecheck",
                "page",
                "--no-browser",
                "--port",
                str(self.port),
            ],
            cwd=ROOT,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        said = ""
        while (found := re.search(r"http://\S+", said)) is None:
            line = self.process.stdout.readline()
            assert line, said
            said += line
        self.link = found.group()
        return self

    def kill(self):
        """Take it away without a word."""
        if self.process is not None:
            self.process.kill()
            self._gone()

    def interrupt(self):
        """Ctrl-C: the exit status, and what it said."""
        self.process.send_signal(signal.SIGINT)
        process = self.process
        return process.wait(timeout=20), self._gone()

    def _gone(self):
        process, self.process = self.process, None
        with process.stdout:
            said = process.stdout.read()
        process.wait(timeout=20)
        return said


def violations(page):
    """What axe-core calls serious or critical on a page, with the elements, once it is settled: an
    old verdict is shown pale while the next one is on its way."""
    page.wait_for_function(SETTLED)
    page.evaluate((files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8"))
    found = page.evaluate("() => axe.run(document, {resultTypes: ['violations']})")["violations"]
    return [
        f"{v['id']}: {node['html'][:200]} {node['any'] and node['any'][0]['message']}"
        for v in found
        if v["impact"] in ("serious", "critical")
        for node in v["nodes"]
    ]


def check_looks(page, sizes=tuple(WIDTHS)):
    """Fail where axe-core finds something serious, or where the page scrolls sideways: on a phone
    and on a desk, light and dark; the page is left as it was."""
    before = page.viewport_size
    for size in sizes:
        page.set_viewport_size(WIDTHS[size])
        for scheme in SCHEMES:
            page.emulate_media(color_scheme=scheme)
            assert violations(page) == [], (size, scheme)
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= WIDTHS[size]["width"], size
    page.set_viewport_size(before)
    page.emulate_media(color_scheme=SCHEMES[0])


def tab_to(page, wanted, most=150):
    """Press the tab key until a field has the focus."""
    for _ in range(most):
        if page.evaluate("document.activeElement.id") == wanted:
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"{wanted} cannot be reached by keyboard")


def write(page, text):
    """Type into what has the focus; in a list, what its entry begins with.

    A browser takes letters as one word of a list only while less than a second lies between them:
    on a busy machine a word falls in two, and the entry is then looked for with the arrow key.
    """
    page.keyboard.type(text)
    if page.evaluate(CHOSEN) is None or page.evaluate(CHOSEN).startswith(text):
        return
    page.keyboard.press("Home")
    for _ in range(page.evaluate("document.activeElement.options.length")):
        if page.evaluate(CHOSEN).startswith(text):
            return
        page.keyboard.press("ArrowDown")
    raise AssertionError(f"{text} cannot be chosen by keyboard")
