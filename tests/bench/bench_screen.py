"""How fast ``screen`` is: per core, as piles grow, on all cores against all systems, and above one
pass of numpy.

Run it with ``python tests/bench/bench_screen.py [--most 1000000] [--pairs 100000]``. It prints and
judges nothing; the formulas are invented. CPU time where one process works, wall time where several
do.
"""

from __future__ import annotations

import argparse
import datetime as dt
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(Path(__file__).parent)]
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np  # noqa: E402
import pandas as pd  # noqa: E402

from preservecheck.arrays.recipes import Recipes  # noqa: E402
from preservecheck.reference.load import load_tables  # noqa: E402
from preservecheck.screen.frame import Screen, frame_of, systems_of  # noqa: E402
from preservecheck.screen.run import Job, Run  # noqa: E402
from preservecheck.screen.sources import sources_of  # noqa: E402
from tests.generated import pile  # noqa: E402

TODAY = dt.date(2026, 11, 26)
BASE = 2_000


class Shelf:
    """Invented formulas in any number: some thousands that differ in all ways, again and again with
    other amounts."""

    def __init__(self) -> None:
        self.lines, self.products = pile(load_tables(), BASE, seed=7)
        self.lines["number"] = pd.factorize(self.lines["formula"])[0]
        self.rest = (
            self.lines.groupby("number")["percent"]
            .transform(lambda c: (c == "rest").any())
            .to_numpy()
        )
        self.draw = np.random.default_rng(11)

    def tiles(self, count: int) -> Iterator[tuple[pd.DataFrame, pd.DataFrame]]:
        """Lines and products of so many formulas, a tile at a time."""
        for first in range(0, count, BASE):
            many = min(BASE, count - first)
            lines = self.lines[self.lines["number"] < many]
            factor = self.draw.uniform(0.9, 1.0, len(lines))
            amount = pd.to_numeric(lines["percent"], errors="coerce").to_numpy(dtype=float)
            percent = np.where(self.rest[: len(lines)], np.round(amount * factor, 4), amount)
            names = np.array([f"f{first + n:07d}" for n in range(many)], dtype=object)
            moved = lines.assign(
                formula=names[lines["number"].to_numpy()],
                rest=(lines["percent"] == "rest").to_numpy()
                | (lines["grams"] == "rest").to_numpy(),
                percent=percent,
                grams=pd.to_numeric(lines["grams"], errors="coerce"),
            ).drop(columns="number")
            ph = self.products["ph"][:many] + self.draw.uniform(-0.2, 0.2, many)
            yield moved, self.products[:many].assign(formula=names, ph=ph.round(2))

    def written(self, path: Path, count: int) -> Path:
        """A long table of so many formulas as Parquet, its products beside it."""
        import pyarrow as pa
        import pyarrow.parquet as pq

        writers: list[Any] = [None, None]
        schemas: list[Any] = [None, None]
        for tile in self.tiles(count):
            for at, (frame, place) in enumerate(
                zip(tile, (path, path.with_suffix(".products.parquet")), strict=True)
            ):
                if writers[at] is None:
                    schemas[at] = pa.Schema.from_pandas(frame, preserve_index=False)
                    writers[at] = pq.ParquetWriter(place, schemas[at])
                writers[at].write_table(
                    pa.Table.from_pandas(frame, schema=schemas[at], preserve_index=False)
                )
        for writer in writers:
            writer.close()
        return path


def line(text: str, value: str) -> None:
    """One line of the table."""
    print(f"{text:<58} {value:>20}", flush=True)


def arrays_of(found: Recipes) -> list[np.ndarray[Any, Any]]:
    """The arrays that a pile is made of."""
    return [v for v in vars(found).values() if isinstance(v, np.ndarray) and v.dtype != object]


def core(shelf: Shelf) -> None:
    """One core: reading, judging, and one pass of numpy over what goes in and comes out."""
    tables = load_tables()
    tiles = [next(iter(shelf.tiles(BASE))) for _ in range(4)]
    for against in ("own", "all"):
        screen = Screen(tables, systems_of(against, tables), TODAY)
        frame_of(screen.reader.read(*tiles[0]), screen)  # tables loaded, materials opened
        read = judge = frame = floor = 0.0
        rows = 0
        some = tiles[1:] if against == "own" else tiles[1:2]
        for tile in some:
            start = time.process_time()
            taken = screen.reader.read(*tile)
            read += time.process_time() - start
            start = time.process_time()
            found = screen.rows(taken.recipes)
            judge += time.process_time() - start
            start = time.process_time()
            rows += len(frame_of(taken, screen))
            frame += time.process_time() - start
            through = arrays_of(taken.recipes)
            through += [
                a
                for r in found
                for a in (r.verdicts.codes, r.verdicts.value, r.verdicts.tolerance, r.percent)
            ]
            start = time.process_time()
            for _ in range(20):
                for a in through:
                    a.sum()
            floor += (time.process_time() - start) / 20
        many = BASE * len(some)
        line(f"--against {against}: reading, one core", f"{read / many * 1e6:.0f} µs a formula")
        line(f"--against {against}: judging, one core", f"{judge / rows * 1e6:.1f} µs a verdict")
        line(
            f"--against {against}: and putting the rows together",
            f"{max(0.0, frame - judge) / rows * 1e6:.1f} µs",
        )
        line(
            f"--against {against}: one pass of numpy over the same arrays",
            f"{floor / rows * 1e6:.3f} µs a verdict",
        )
        line(f"--against {against}: judging above that floor", f"{judge / floor:.0f} x")


def growth(shelf: Shelf, folder: Path, most: int) -> None:
    """CPU time of the whole run in one process, from a thousand formulas on."""
    sizes = [n for n in (1_000, 10_000, 100_000, 1_000_000) if n <= most]
    taken = []
    for size in sizes:
        path = shelf.written(folder / f"shelf{size}.parquet", size)
        start = time.process_time()
        run = Run(
            Job(None, ("own",), TODAY, "parquet"), sources_of([path]), folder / "parts", jobs=1
        )
        run.prepare(resume=False)
        summary = run.done()
        taken.append(time.process_time() - start)
        line(f"{size:,} formulas as they stand, one core", f"{taken[-1]:.1f} s CPU")
        if summary.formulas != size or summary.unread:
            raise RuntimeError(f"{summary.unread} of {summary.formulas} could not be read")
    slope = np.polyfit(np.log(sizes), np.log(taken), 1)[0]
    large = [i for i, n in enumerate(sizes) if n > sizes[0]]
    above = np.polyfit(np.log([sizes[i] for i in large]), np.log([taken[i] for i in large]), 1)[0]
    last = np.log(taken[-1] / taken[-2]) / np.log(sizes[-1] / sizes[-2])
    line("slope of log time over log formulas, all sizes", f"{slope:.3f}")
    line(f"slope from {sizes[large[0]]:,} formulas on, past the start", f"{above:.3f}")
    line("slope between the last two sizes", f"{last:.3f}")


def watched(arguments: list[str]) -> tuple[float, float]:
    """Wall time of a command, and the largest memory of it and its helpers together. [s, GB]"""
    import psutil

    most = 0
    start = time.perf_counter()
    done = subprocess.Popen(
        [sys.executable, "-m", "preservecheck", *arguments],
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stdout=subprocess.DEVNULL,
    )
    ended = threading.Event()

    def look() -> None:
        nonlocal most
        own = psutil.Process(done.pid)
        while not ended.wait(0.2):
            try:
                # proportional: what processes share counts once
                memory = sum(p.memory_full_info().pss for p in [own, *own.children(recursive=True)])
            except psutil.Error:
                continue
            most = max(most, memory)

    eye = threading.Thread(target=look)
    eye.start()
    status = done.wait()
    taken = time.perf_counter() - start
    ended.set()
    eye.join()
    if status not in (0, 1):
        raise RuntimeError(f"preservecheck {' '.join(arguments)}: exit status {status}")
    return taken, most / 1e9


def whole(shelf: Shelf, folder: Path, pairs: int, most: int) -> None:
    """The command on all cores: all systems, and the largest pile."""
    systems = len(load_tables().systems)
    output = str(folder / "out.parquet")
    path = shelf.written(folder / "all.parquet", pairs)
    options = ["--format", "parquet", "--output", output]
    taken, memory = watched(["screen", str(path), "--against", "all", *options])
    line(f"{pairs:,} formulas x {systems} systems, {os.cpu_count()} cores", f"{taken:.0f} s")
    line(
        "verdicts a minute (formula and system; 13 checks each)",
        f"{pairs * systems / taken * 60:,.0f}",
    )
    line("largest memory", f"{memory:.2f} GB")
    path = folder / f"shelf{most}.parquet"
    taken, memory = watched(["screen", str(path), *options])
    line(f"{most:,} formulas as they stand, {os.cpu_count()} cores", f"{taken:.0f} s")
    line("largest memory", f"{memory:.2f} GB")


def engine(shelf: Shelf, formulas: int, against: list[str]) -> None:
    """The pure function mapped over partitions by dask, with one worker process and with two."""
    import dask
    import dask.dataframe as dd

    from preservecheck.screen.frame import screen_frame

    frame = pd.concat(
        [a.merge(b, on="formula") for a, b in shelf.tiles(formulas)], ignore_index=True
    )
    frame = frame.set_index(pd.factorize(frame["formula"])[0])
    many = dd.from_pandas(frame, npartitions=8, sort=True)
    rows = many.map_partitions(
        screen_frame, against=against, today=TODAY, meta=screen_frame(frame.iloc[:0])
    )
    counts = rows["verdict"].value_counts()
    taken = {}
    for workers in (1, 2):
        with (
            ProcessPoolExecutor(workers) as pool,
            dask.config.set(scheduler="processes", pool=pool),
        ):
            # the processes start, and read the tables, apart from what is measured here
            counts.compute()
            start = time.perf_counter()
            found = counts.compute()
            taken[workers] = time.perf_counter() - start
        if int(found.sum()) != formulas * len(against):
            raise RuntimeError("dask lost rows")
        line(
            f"dask, {formulas:,} formulas x {len(against)} systems, {workers} worker(s)",
            f"{taken[workers]:.1f} s",
        )
    line("two workers against one", f"{taken[1] / taken[2]:.2f} x as fast")


if __name__ == "__main__":
    asked = argparse.ArgumentParser()
    asked.add_argument("--most", type=int, default=1_000_000)
    asked.add_argument("--pairs", type=int, default=100_000)
    given = asked.parse_args()
    made = Shelf()
    core(made)
    engine(made, 10_000, [s.id for s in load_tables().systems[:10]])
    with tempfile.TemporaryDirectory() as place:
        growth(made, Path(place), given.most)
        whole(made, Path(place), given.pairs, given.most)
