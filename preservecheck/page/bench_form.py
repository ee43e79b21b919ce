"""What is typed at the bench: readings of the cooling batch, a titration, and what goes on the
papers.

``cool-KEY``, ``cool-I-KEY``, ``drop-KEY``, ``drop-I-KEY`` and ``sheet-KEY``; ``new`` in the place
of a number is the reading that is being typed. Times are those of the maker's own clock: nothing
here knows what time it is.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from preservecheck.page.draft import Fields

if TYPE_CHECKING:
    from preservecheck.page.form import Pairs

# nobody reads a thermometer more often in one batch
MAX_READINGS = 500
UNITS = {"°C": "c", "°F": "f"}
_NAME = re.compile(r"(cool|drop|sheet)-(?:(new|[0-9]{1,4})-)?([a-z_]+)")
_PLACE = re.compile(r"remove (cool|drop)-([0-9]{1,4})")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
# what makes a row of each kind, without the day that a script notes beside the time
_KEYS = {"cool": ("time", "temp"), "drop": ("grams", "ph")}


@dataclass
class Bench:
    """The texts of the fields."""

    cool: Fields = field(default_factory=dict)
    drop: Fields = field(default_factory=dict)
    sheet: Fields = field(default_factory=dict)
    readings: list[Fields] = field(default_factory=list)
    drops: list[Fields] = field(default_factory=list)
    new_reading: Fields = field(default_factory=dict)
    new_drop: Fields = field(default_factory=dict)

    @property
    def unit(self) -> str:
        """``°C`` or ``°F``."""
        return self.cool["unit"] if self.cool.get("unit") in UNITS else "°C"

    @property
    def moments(self) -> list[str]:
        """When each reading was taken: with its day where every one has one."""
        dated = all(
            _DAY.fullmatch(r.get("day", "")) and r.get("time", "").strip() for r in self.readings
        )
        return [
            f"{r['day']} {r['time'].strip()}" if dated else r.get("time", "") for r in self.readings
        ]


def bench_of(pairs: Iterable[tuple[str, str]]) -> Bench:
    """What the fields of a form hold of the bench; of a name that stands several times the last one
    counts."""
    bench = Bench()
    flat = {"cool": bench.cool, "drop": bench.drop, "sheet": bench.sheet}
    fresh = {"cool": bench.new_reading, "drop": bench.new_drop}
    rows: dict[str, dict[int, Fields]] = {"cool": {}, "drop": {}}
    for name, value in pairs:
        found = _NAME.fullmatch(name)
        if found is None:
            continue
        part, at, key = found.groups()
        if at is None:
            flat[part][key] = value
        elif part in rows:
            (fresh[part] if at == "new" else rows[part].setdefault(int(at), {}))[key] = value
    bench.readings = [rows["cool"][i] for i in sorted(rows["cool"])][:MAX_READINGS]
    bench.drops = [rows["drop"][i] for i in sorted(rows["drop"])][:MAX_READINGS]
    return bench


def acted(bench: Bench, do: str) -> str:
    """Do what a button says, and take in what stands in the fields for a new reading; says where to
    go on typing.

    Parameters
    ----------
    bench
        Is changed in place.
    do
        ``add``, ``remove cool-2``, ``clear cool`` or ``clear drop``; anything else changes nothing.
    """
    if found := _PLACE.fullmatch(do):
        rows = bench.readings if found.group(1) == "cool" else bench.drops
        if int(found.group(2)) < len(rows):
            del rows[int(found.group(2))]
        return _field(found.group(1))
    if do == "clear cool":
        bench.readings, bench.new_reading = [], {}
        bench.cool.pop("added", None)
        return _field("cool")
    if do == "clear drop":
        bench.drops, bench.new_drop = [], {}
        return _field("drop")
    return _added(bench) if do == "add" else ""


def _added(bench: Bench) -> str:
    """Move what is typed for a new reading into its list."""
    went = ""
    for part, fresh, rows in (
        ("cool", bench.new_reading, bench.readings),
        ("drop", bench.new_drop, bench.drops),
    ):
        # a time that stands there by itself is no reading, nor are the grams that are proposed
        if not fresh.get(_KEYS[part][1], "").strip() or len(rows) >= MAX_READINGS:
            continue
        rows.append({k: v for k in (*_KEYS[part], "day") if (v := fresh.get(k, "").strip())})
        fresh.clear()
        went = went or _field(part)
    return went


def in_order(bench: Bench) -> None:
    """Put readings with a day into the order of time; the draft of the bench is changed in
    place."""
    if all(_DAY.fullmatch(r.get("day", "")) and r.get("time") for r in bench.readings):
        bench.readings.sort(key=lambda r: (r["day"], r["time"]))


def _field(part: str) -> str:
    return f"{part}-new-{'temp' if part == 'cool' else 'grams'}"


def pairs_beside(bench: Bench) -> Pairs:
    """The fields again; the reverse of ``bench_of``."""
    pairs = [(f"{p}-{k}", v) for p, flat in _flat(bench).items() for k, v in flat.items()]
    pairs += [(f"cool-{i}-{k}", v) for i, row in enumerate(bench.readings) for k, v in row.items()]
    pairs += [(f"drop-{i}-{k}", v) for i, row in enumerate(bench.drops) for k, v in row.items()]
    pairs += [(f"cool-new-{k}", v) for k, v in bench.new_reading.items()]
    return pairs + [(f"drop-new-{k}", v) for k, v in bench.new_drop.items()]


def _flat(bench: Bench) -> Mapping[str, Fields]:
    return {"cool": bench.cool, "drop": bench.drop, "sheet": bench.sheet}
