"""Where a condition turns or a function is zero, many intervals at once."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from preservecheck.verdict import Bools, Floats

# rounds of narrowing an interval to one of so many pieces: a grid step of a pH range comes down to
# about 1e-8
ROUNDS, PIECES = 6, 16
# steps of false position at most; it converges in about eight
STEPS = 40
# a sum of ratios this close to 1 is 1
SMALL = 1e-12


def narrowed(beyond: Callable[[Floats], Bools], low: Floats, high: Floats) -> Floats:
    """Where a condition that is false at ``low`` becomes true on the way to ``high``, row by row.

    Each round looks at many points of every interval at once and keeps the first piece in which the
    condition turns.

    Parameters
    ----------
    beyond
        Takes points, shape (S, n).
    low, high
        Ends, shape (S,).
    """
    low, high = np.array(low, dtype=float), np.array(high, dtype=float)
    share = np.arange(1, PIECES + 1) / PIECES
    for _ in range(ROUNDS):
        points = low[:, None] + (high - low)[:, None] * share
        points[:, -1] = high
        turns = beyond(points)
        first = np.where(turns.any(axis=1), turns.argmax(axis=1), PIECES - 1)[:, None]
        before = np.where(
            first[:, 0] > 0, np.take_along_axis(points, np.maximum(first - 1, 0), axis=1)[:, 0], low
        )
        low, high = before, np.take_along_axis(points, first, axis=1)[:, 0]
    return high


def root(value: Callable[[Floats], Floats], low: Floats, high: Floats) -> Floats:
    """Where a rising function is zero between ``low`` and ``high``, element by element (Illinois
    false position)."""
    a, b = np.array(low, dtype=float), np.array(high, dtype=float)
    at_a, at_b = value(a), value(b)
    there = (at_a < 0) & (at_b >= 0)  # false also where a value is unknown
    found = np.where(at_a >= 0, a, b)
    was_above = at_b < at_a  # neither end has stayed yet
    for _ in range(STEPS):
        spread = np.where(at_b > at_a, at_b - at_a, 1.0)
        found = np.where(there, np.clip(b - at_b * (b - a) / spread, a, b), found)
        at = value(found)
        if (~there | (np.abs(at) < SMALL) | (b - a < SMALL)).all():
            break
        above = at >= 0
        # an end that stays twice is weighed half, or it would never move
        again = above == was_above
        at_a = np.where(above, np.where(again, at_a / 2, at_a), at)
        at_b = np.where(above, at, np.where(again, at_b / 2, at_b))
        a, b, was_above = np.where(above, a, found), np.where(above, found, b), above
    return found


def run(grid: Floats, good: Bools, near: Floats | float) -> tuple[Floats, Floats]:
    """Ends of the run of good points nearest to a value (one, or one a row); not-a-number where
    none is good."""
    left, right = np.full(len(grid), np.nan), np.full(len(grid), np.nan)
    near = np.broadcast_to(near, len(grid))
    for i, (points, row) in enumerate(zip(grid, good, strict=True)):
        if not row.any():
            continue
        start = int(np.abs(np.where(row, points, np.inf) - near[i]).argmin())
        a = b = start
        while a > 0 and row[a - 1]:
            a -= 1
        while b < len(row) - 1 and row[b + 1]:
            b += 1
        left[i], right[i] = points[a], points[b]
    return left, right
