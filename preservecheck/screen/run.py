"""A screen from beginning to end: pieces judged side by side, parts kept on disk, put together at
the end.

Each piece of the pile becomes a part file beside the output, written under another name first and
then renamed. A run that is stopped leaves no half output; ``resume`` goes on with the parts that
are there, as long as nothing that they rest on has changed.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import multiprocessing
import os
import shutil
import signal
import threading
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import chain
from pathlib import Path
from typing import Any

from preservecheck.errors import Fault, Hint, PreservecheckError
from preservecheck.files import write_whole
from preservecheck.reference.load import Tables, load_tables
from preservecheck.screen import shards
from preservecheck.screen.frame import Screen, frame_of, systems_of
from preservecheck.screen.sources import Piece, Source
from preservecheck.screen.summary import Summary, summed
from preservecheck.screen.table_diff import TableDiff, counted, former_tables, table_changes


@dataclass(frozen=True)
class Job:
    """What to do with each piece; small enough to be sent to another process."""

    tables: str | None  # folder of the user's own rows
    against: tuple[str, ...]  # own, all or ids of systems
    today: dt.date  # whose law holds where a formula names no day
    form: str  # of the parts: csv, parquet, json or table
    since: str | None = None  # folder with an earlier state of the tables
    hints: Mapping[Hint, str] = field(default_factory=dict, hash=False, compare=False)

    def known(self) -> Tables:
        """The tables of today."""
        return load_tables(self.tables)


@lru_cache(maxsize=2)
def _screens(job: Job) -> tuple[Screen, TableDiff | None]:
    """What a process needs for its pieces, made once."""
    now = job.known()
    screen = Screen(now, systems_of(job.against, now), job.today, job.hints)
    if job.since is None:
        return screen, None
    before = former_tables(Path(job.since), now)
    still = systems_of(_still_there(job, before), before)
    former = Screen(before, still, job.today, job.hints)
    return screen, TableDiff(former, screen, table_changes(before, now))


def _still_there(job: Job, before: Tables) -> tuple[str, ...]:
    ids = {s.id for s in before.systems}
    return tuple(a for a in job.against if a in (*ids, "own", "all")) or ("own",)


def work(job: Job, piece: Piece, part: Path) -> Summary:
    """Judge the formulas of a piece and write its part, named without its ending."""
    screen, diff = _screens(job)
    read = piece.read(screen)
    if diff is None:
        frame = frame_of(read, screen)
        counts = summed(frame, tried=screen.systems is not None)
    else:
        frame = diff.changed(piece.read(diff.before), read)
        counts = counted(frame, read)
    shards.write_part(frame, job.form, part)
    write_whole(part.with_suffix(shards.COUNTS), json.dumps(counts.to_json()))
    return counts


@dataclass
class Run:
    """A screen over sources."""

    job: Job
    sources: Sequence[Source]
    folder: Path  # of the parts
    jobs: int = 1  # pieces judged at the same time

    def prepare(self, *, resume: bool) -> None:
        """Make the folder of the parts, or go on with the one that is there; a
        ``PreservecheckError`` where there is none, or it was made from other inputs, tables or
        options."""
        manifest = self.folder / "run.json"
        state = self._manifest()
        if resume:
            if not manifest.is_file():
                raise PreservecheckError(
                    f"there is no unfinished run in {self.folder}", hint=Hint.START_ANEW
                )
            old = json.loads(manifest.read_text(encoding="utf-8"))
            if other := [name for name in state if old.get(name) != state[name]]:
                raise PreservecheckError(
                    f"{', '.join(other)} {'is' if len(other) == 1 else 'are'} not what the "
                    "unfinished run began with",
                    hint=Hint.START_ANEW,
                )
            return
        shutil.rmtree(self.folder, ignore_errors=True)
        try:
            self.folder.mkdir(parents=True)
        except OSError as error:
            reason = error.strerror or str(error)
            fault = Fault(f"cannot be written: {reason}", where=str(self.folder))
            raise PreservecheckError(fault) from None
        write_whole(manifest, json.dumps(state))

    def _manifest(self) -> dict[str, Any]:
        known = self.job.known()
        state = []
        for source in self.sources:
            for path in (*(p for _, p in source.files), source.table, source.products):
                if path is not None:
                    file = path.stat()
                    state.append([str(path), file.st_size, file.st_mtime_ns])
        former = former_tables(Path(self.job.since), known).digest if self.job.since else None
        return {
            "the input": hashlib.sha256(json.dumps(state).encode()).hexdigest(),
            "the tables": known.digest,
            "the earlier tables": former,
            "the systems": list(self.job.against),
            "the form of the output": self.job.form,
            "the day": self.job.today.isoformat(),
        }

    def total(self) -> int:
        """How many formulas there are."""
        return sum(s.count() for s in self.sources)

    def done(self, progress: Callable[[int], None] = lambda _: None) -> Summary:
        """Judge every piece that has no part yet; tells how many formulas are through after each.

        A ``PreservecheckError`` where a formula table cannot be read, or a process that helped was
        ended by the system.
        """
        counts: dict[int, Summary] = {}
        running: dict[Future[Summary], tuple[int, int]] = {}
        pool = ProcessPoolExecutor(self.jobs, initializer=_helper) if self.jobs > 1 else None
        try:
            systems = len(systems_of(self.job.against, self.job.known()) or (1,))
            pieces = chain.from_iterable(source.pieces(systems) for source in self.sources)
            for number, piece in enumerate(pieces):
                part = self.part(number)
                earlier = part.with_suffix(shards.COUNTS)
                if pool is None or earlier.is_file():
                    counts[number] = (
                        Summary.from_json(json.loads(earlier.read_text(encoding="utf-8")))
                        if earlier.is_file()
                        else work(self.job, piece, part)
                    )
                    progress(piece.formulas)
                    continue
                running[pool.submit(work, self.job, piece, part)] = (number, piece.formulas)
                if len(running) > self.jobs:  # one more waits; never many in memory
                    _collect(running, counts, progress)
            while running:
                _collect(running, counts, progress)
        except BrokenProcessPool:
            raise PreservecheckError(
                "a process that helped was ended by the system, perhaps for want of memory",
                hint=Hint.FEWER_JOBS,
            ) from None
        finally:
            if pool is not None:
                pool.shutdown(wait=not running, cancel_futures=True)
        summary = Summary()
        for number in sorted(counts):
            summary.add(counts[number])
        return summary

    def part(self, number: int) -> Path:
        """Where a part goes, without its ending."""
        return self.folder / f"{number:06d}"


def _helper() -> None:
    """Make a process that helps end with the one that it helps, and on Ctrl-C without a word."""
    parent = multiprocessing.parent_process()
    if parent is not None:

        def leave_with_it() -> None:
            parent.join()
            os._exit(1)

        threading.Thread(target=leave_with_it, daemon=True).start()
    signal.signal(signal.SIGINT, lambda *_: os._exit(1))


def _collect(
    running: dict[Future[Summary], tuple[int, int]],
    counts: dict[int, Summary],
    progress: Callable[[int], None],
) -> None:
    """Take in what is through."""
    for future in wait(running, return_when=FIRST_COMPLETED).done:
        number, formulas = running.pop(future)
        counts[number] = future.result()
        progress(formulas)
