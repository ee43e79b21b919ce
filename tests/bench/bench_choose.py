"""How long the search over all systems, 40 doses and 40 pH values takes, and the whole command
against pandas.

Run it with ``python tests/bench/bench_choose.py [FORMULA]``. It prints and judges nothing.
"""

from __future__ import annotations

import datetime as dt
import statistics
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(Path(__file__).parent)]

from timing import medians, show  # noqa: E402

PANDAS = "import pandas"


def grid_seconds(path: str, runs: int = 9) -> tuple[float, float, tuple[int, ...]]:
    """Median time of the grid and of the whole search in this process, and the shape of the grid.
    [s]"""
    from preservecheck.formula.load import load_formula
    from preservecheck.ranking.base import BaseFormula
    from preservecheck.ranking.rank import ranked
    from preservecheck.ranking.window import Window
    from preservecheck.reference.load import load_tables

    tables, today = load_tables(), dt.date(2026, 11, 25)
    formula = load_formula(path, tables, today=today)
    systems = list(tables.systems)
    grid, whole = [], []
    shape: tuple[int, ...] = ()
    for _ in range(runs + 1):
        # new each time: nothing worked out before is used again
        window = Window(BaseFormula(formula, tables, today), systems)
        start = time.perf_counter()
        shape = window.grid(systems).shape
        grid.append(time.perf_counter() - start)
        start = time.perf_counter()
        ranked(BaseFormula(formula, tables, today), systems)
        whole.append(time.perf_counter() - start)
    return statistics.median(grid[1:]), statistics.median(whole[1:]), shape


if __name__ == "__main__":
    example = (
        str(Path(sys.argv[1]).resolve())
        if len(sys.argv) > 1
        else str(ROOT / "tests/examples/passing-leave-in.toml")
    )
    seconds, everything, size = grid_seconds(example)
    print(
        f"grid of {' x '.join(map(str, size))} (systems, doses, pH values): {seconds:.3f} s; all: "
        f"{everything:.3f} s"
    )
    show(
        medians(
            {PANDAS: ("-c", "import pandas"), "choose": ("-m", "preservecheck", "choose", example)}
        ),
        (PANDAS,),
    )
