"""Counts over the verdicts of a screen, added up part by part."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Self

import numpy as np

from preservecheck.checks import CHECKS
from preservecheck.ranking.candidate import fits
from preservecheck.screen.frame import UNREAD
from preservecheck.verdict import Codes

if TYPE_CHECKING:
    import pandas as pd

# words of a count, in the order of the codes
COUNTED = ("no subject", "pass", "unknown", "warn", "serious")
# faults that are kept in words
FAULTS_SHOWN = 20


@dataclass
class Summary:
    """How a pile came off."""

    formulas: int = 0
    rows: int = 0
    unread: int = 0
    faults: list[str] = field(default_factory=list)  # the first few, formula and fault
    verdicts: Counter[str] = field(default_factory=Counter)  # over the rows
    checks: dict[str, Counter[str]] = field(default_factory=dict)  # rows by check and verdict
    # by system: tried, fits, and the verdicts
    systems: dict[str, Counter[str]] = field(default_factory=dict)
    without_any: int = 0  # formulas in which no system that was tried fits
    changed: int = 0  # formulas whose verdict changed, between two states of the tables
    reasons: Counter[str] = field(default_factory=Counter)  # formulas by changed check and row

    def add(self, other: Self) -> None:
        """Take in the counts of another part."""
        for name in ("formulas", "rows", "unread", "without_any", "changed"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.faults = (self.faults + other.faults)[:FAULTS_SHOWN]
        self.verdicts.update(other.verdicts)
        self.reasons.update(other.reasons)
        for counts, more in ((self.checks, other.checks), (self.systems, other.systems)):
            for name, count in more.items():
                counts.setdefault(name, Counter()).update(count)

    def to_json(self) -> dict[str, Any]:
        """The counts with the keys that other programs read."""
        return dict(vars(self))

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Self:
        """What ``to_json`` wrote."""
        counts = {name: Counter(data[name]) for name in ("verdicts", "reasons")}
        nested = {
            name: {key: Counter(n) for key, n in data[name].items()}
            for name in ("checks", "systems")
        }
        return cls(**{**data, **counts, **nested})


def codes_of(frame: pd.DataFrame) -> dict[str, Codes]:
    """The worst code of each check in the rows of a frame of verdicts."""
    return {
        c.id: frame[c.id].cat.codes.to_numpy(dtype=np.int8)
        + frame[f"{c.id}.serious"].to_numpy(dtype=np.int8)
        for c in CHECKS
    }


def summed(frame: pd.DataFrame, *, tried: bool) -> Summary:
    """Counts over a frame of verdicts; whether its rows are of systems that were tried in place of
    the formulas' own."""
    import pandas as pd

    out = Summary(rows=len(frame))
    unread = frame["verdict"].cat.codes.to_numpy() == UNREAD
    codes = codes_of(frame)
    worst = np.maximum.reduce(list(codes.values())) if len(frame) else np.zeros(0, dtype=np.int8)
    number, names = pd.factorize(frame["formula"])
    out.formulas, out.unread = len(names), int(unread.sum())
    bad = frame.loc[unread, ["formula", "note"]]
    out.faults = [f"{f}: {n}" for f, n in bad.head(FAULTS_SHOWN).itertuples(index=False)]
    out.verdicts = Counter(
        {w: int((worst[~unread] == i).sum()) for i, w in enumerate(COUNTED) if (worst == i).any()}
    )
    for check, code in codes.items():
        counts = np.bincount(code[~unread], minlength=len(COUNTED))
        out.checks[check] = Counter({w: int(n) for w, n in zip(COUNTED, counts, strict=True) if n})
    if tried:
        good = fits(codes) & ~unread & (frame["note"] == "").to_numpy()
        served = np.bincount(number[good], minlength=len(names)) > 0
        out.without_any = int((~served).sum()) - int(pd.Series(number[unread]).nunique())
        system, ids = pd.factorize(frame["system"][~unread])
        code, good = worst[~unread], good[~unread]
        for i, name in enumerate(ids):
            mine = system == i
            counts = np.bincount(code[mine], minlength=len(COUNTED))
            out.systems[str(name)] = Counter(
                {"tried": int(mine.sum()), "fits": int(good[mine].sum())}
                | {w: int(n) for w, n in zip(COUNTED, counts, strict=True) if n}
            )
    return out
