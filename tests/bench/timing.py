"""Commands and calls timed side by side: interleaved runs, so that a busy minute slows all, and the
median of each."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
RUNS = 9
# a timing lasts at least this long
SHORTEST_S = 0.05


def medians(commands: Mapping[str, Sequence[str]], runs: int = RUNS) -> dict[str, float]:
    """Median wall time of each command of this Python. [s]

    Parameters
    ----------
    commands
        Arguments after ``python`` by a name to print; exit statuses 0 and 1 are both answers.
    runs
        How often each runs; one more run before warms the disk and is not counted.
    """
    times: dict[str, list[float]] = {name: [] for name in commands}
    for run in range(runs + 1):
        for name, arguments in commands.items():
            start = time.perf_counter()
            done = subprocess.run(
                [sys.executable, *arguments],
                cwd=ROOT,
                env=os.environ | {"PYTHONPATH": str(ROOT)},
                capture_output=True,
                check=False,
            )
            taken = time.perf_counter() - start
            if done.returncode not in (0, 1):
                raise RuntimeError(f"{name}: {done.stderr.decode()}")
            if run:
                times[name].append(taken)
    return {name: statistics.median(taken) for name, taken in times.items()}


def seconds_per_value(
    calls: Mapping[str, tuple[Callable[[], object], int]], runs: int = RUNS
) -> dict[str, float]:
    """Median CPU time that one value costs in each call. [s]

    Parameters
    ----------
    calls
        A call that computes values, and how many, by a name.
    runs
        How often each is timed; one more run before is not counted. Calls too short for the clock
        are repeated in one timing.
    """
    times: dict[str, list[float]] = {name: [] for name in calls}
    repeats: dict[str, int] = {}
    for name, (call, _) in calls.items():
        call()
        start = time.perf_counter()
        call()
        repeats[name] = max(1, round(SHORTEST_S / (time.perf_counter() - start)))
    for _ in range(runs):
        for name, (call, values) in calls.items():
            start = time.process_time()
            for _ in range(repeats[name]):
                call()
            times[name].append((time.process_time() - start) / repeats[name] / values)
    return {name: statistics.median(taken) for name, taken in times.items()}


def show(found: Mapping[str, float], against: Sequence[str]) -> None:
    """Print each time, and its ratio to some of the others."""
    width = max(map(len, found))
    for name, taken in found.items():
        ratios = "   ".join(f"{taken / found[base]:5.2f} x {base}" for base in against)
        print(f"{name:{width}}  {taken * 1000:7.0f} ms   {ratios}")
