"""Reads a bench titration: grams of a solution added to a weighed sample, and the pH after each
addition."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from preservecheck.chemistry.titration import amount_for, interpolated, monotone
from preservecheck.errors import ReadingsError, UnitError
from preservecheck.formula.faults import Faults, shown
from preservecheck.formula.grid import Cell, text
from preservecheck.formula.readings import Columns, Row, Table, as_number, is_missing, read_readings
from preservecheck.verdict import Floats

# a reading that runs against the trend by more than this is no scatter of a meter
MOST_SCATTER_PH = 0.1
# past the last reading the curve is followed this far, straight on, and no further
EXTRA_PH = 0.1
# less change than this tells nothing
_LEAST_CHANGE_PH = 0.05
COLUMNS = Columns(
    names={
        **{
            n: ("grams_added", "g")
            for n in ("grams added", "g added", "added g", "added grams", "grams", "added")
        },
        "ph": ("ph", None),
        **{
            n: ("sample_grams", "g") for n in ("sample grams", "sample g", "grams sample", "sample")
        },
        "agent": ("agent", None),
        **{n: ("agent_percent", "%") for n in ("agent percent", "agent %", "agent strength")},
    },
    needed=(("grams_added",), ("ph",), ("sample_grams",)),
    header=("sample grams", "agent", "agent percent"),
    example="grams_added,ph below the lines sample_grams,50 and agent,Citric Acid and "
    "agent_percent,20",
)


@dataclass(frozen=True)
class Titration:
    """A titration whose pH runs one way."""

    where: str
    sample_g: float
    agent: str | None
    agent_percent: float | None
    grams: Floats
    ph: Floats
    smoothed: bool

    @property
    def falling(self) -> bool:
        """Whether the agent lowers the pH."""
        return bool(self.ph[-1] < self.ph[0])

    def grams_for(self, ph: float) -> float:
        """Grams for the sample that give a pH, at most a little past the last reading; not-a-number
        beyond. [g]"""
        inside = amount_for(self.grams, self.ph, ph)
        if not np.isnan(inside):
            return inside
        past = (self.ph[-1] - ph) if self.falling else (ph - self.ph[-1])
        slope = abs(self.ph[-1] - self.ph[-2]) / (self.grams[-1] - self.grams[-2])
        if 0 < past <= EXTRA_PH + 1e-9 and slope > 0:
            return float(self.grams[-1] + past / slope)
        return float("nan")

    def ph_at(self, grams: float) -> float:
        """The pH of the sample after some grams; straight on past the last reading. [-]"""
        if grams <= self.grams[-1]:
            return float(interpolated(self.grams, self.ph, grams))
        slope = (self.ph[-1] - self.ph[-2]) / (self.grams[-1] - self.grams[-2])
        return float(self.ph[-1] + slope * (grams - self.grams[-1]))


def read_titration(path: str | Path) -> Titration:
    """The titration in a file; a ``ReadingsError`` with all faults."""
    return _titration(read_readings(path, COLUMNS))


def typed_titration(
    readings: Sequence[tuple[str, str]],
    *,
    sample: str,
    agent: str = "",
    percent: str = "",
    where: str = "titration",
) -> Titration:
    """A titration from what is typed: grams added so far and the pH after it, each, and the grams
    of product that were titrated; ``where`` begins the messages. A ``ReadingsError`` with all
    faults."""
    rows = [
        Row(at, {name: cell for name, cell in (("grams_added", grams), ("ph", ph)) if text(cell)})
        for at, (grams, ph) in enumerate(readings, 1)
    ]
    said = {"sample_grams": sample, "agent": agent, "agent_percent": percent}
    header: dict[str, Cell] = {name: cell for name, cell in said.items() if text(cell)}
    return _titration(
        Table(where, {"grams_added": "g", "ph": None}, rows, header, Faults(where, ReadingsError))
    )


def _titration(table: Table) -> Titration:
    """The titration in a table of readings."""
    grams: list[float] = []
    ph: list[float] = []
    for row in table.rows:
        g = table.number(
            row, "grams_added", 0, 1e5, "give the grams of solution added so far, such as 0.25"
        )
        p = table.number(row, "ph", 0, 14, "give the pH after that addition, from 0 to 14")
        if g is None or p is None:
            continue
        if grams and g <= grams[-1]:
            found = (
                "is there already" if g == grams[-1] else f"is less than the {grams[-1]:g} before"
            )
            allowed = "it is the running total, so it rises from reading to reading"
            table.fault(row, "grams_added", found, allowed, value=f"{g:g}")
            continue
        grams.append(g)
        ph.append(p)
    sample = _constant_number(
        table, "sample_grams", 0.1, 1e5, "give the grams of product that were titrated"
    )
    percent = _constant_number(
        table, "agent_percent", 0.01, 100, "give the strength of the solution in per cent"
    )
    agent = _constant(table, "agent")
    if grams and grams[0] != 0:
        table.faults.add(
            "the first reading is not the pH before anything was added",
            "begin with the reading at 0 g",
            path=(table.rows[0].number, "grams_added"),
        )
    if len(grams) < 3 and not table.faults:  # noqa: PLR2004
        table.faults.add(
            f"{len(grams)} readings are too few",
            "give the pH before and after at least two additions",
            path=("grams_added",),
        )
    if not table.faults:
        _check_trend(table, ph)
    table.faults.raise_if_any()
    values = np.array(ph)
    smooth = monotone(values, rising=bool(values[-1] > values[0]))
    assert sample is not None
    return Titration(
        table.where, sample, agent, percent, np.array(grams), smooth, bool(np.any(smooth != values))
    )


def _check_trend(table: Table, ph: list[float]) -> None:
    if abs(ph[-1] - ph[0]) < _LEAST_CHANGE_PH:
        table.faults.add(
            f"the pH went from {ph[0]:g} to {ph[-1]:g} only",
            "add more of the solution and go on",
            path=("grams_added",),
        )
        return
    sign = 1 if ph[-1] > ph[0] else -1
    for row, before, after in zip(table.rows[1:], ph, ph[1:], strict=False):
        if sign * (after - before) < -MOST_SCATTER_PH - 1e-9:
            table.fault(
                row,
                "ph",
                f"goes from {before:g} to {after:g}, against the trend",
                "stir, wait, read again, and correct the reading or leave it out",
            )


def _constant(table: Table, name: str) -> str | None:
    """A text that stands above the heading, or the same in every row of a column."""
    if name in table.header:
        return text(table.header[name]) or None
    found = {
        text(row.cells.get(name)): row for row in table.rows if not is_missing(row.cells.get(name))
    }
    if len(found) > 1:
        first, second = list(found)[:2]
        table.faults.add(
            f"is {shown(first)} in one row and {shown(second)} in another",
            "a titration has one",
            path=(name,),
            name=name,
        )
    return next(iter(found), None)


def _constant_number(
    table: Table, name: str, low: float, high: float, allowed: str
) -> float | None:
    written = _constant(table, name)
    if written is None:
        if name == "sample_grams":
            table.faults.add("is missing", allowed, path=(name,), name=name)
        return None
    try:
        value = as_number(
            written.removesuffix("%").removesuffix("g").strip(), table.comma_is_decimal
        )
    except UnitError as error:
        fault = error.faults[0]
        table.faults.add(fault.found, allowed, path=(name,), name=name, value=fault.value)
        return None
    if not low <= value <= high:
        table.faults.add("", allowed, path=(name,), name=name, value=f"{value:g}")
        return None
    return value
