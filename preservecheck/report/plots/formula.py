"""What the figures of a formula look like: plots from the very arrays that the checks judge."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from preservecheck.arrays.forms import ACID, BASE, MICROBES
from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.assess.uncertainty import drawn
from preservecheck.checks import BY_ID, with_key
from preservecheck.report.plots import chart as d
from preservecheck.report.plots.chart import Chart
from preservecheck.text import celsius, join_and, number
from preservecheck.verdict import Finding, Floats

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PH_POINTS = 141
# edges of the sums that are drawn; what lies beyond is drawn at the edge and said in figures
SUM_EDGES = (0.01, 100.0)
# shares of the draws between which 95 in 100 lie [%]
BAND = (2.5, 97.5)

# a batch begins and ends in the room [°C]
ROOM_C = 22.0
# limits that one plot holds
MOST_ROWS = 9


class Row(NamedTuple):
    """An amount between its limits. [% of the product]"""

    usage: bool  # a usage range, which has a lower limit; else the law, which has none
    subject: str
    low: float
    amount: float
    high: float


class _Range(NamedTuple):
    """A span of pH with its name, and as a sentence."""

    name: str
    low: float
    high: float
    said: str


def charts_of(case: FormulaArrays, findings: Sequence[Finding]) -> tuple[Chart, ...]:
    """The charts that a formula has something to show on.

    Parameters
    ----------
    case
        One formula.
    findings
        What the checks said of it.
    """
    found = (
        against_ph(case),
        microbes(case),
        temperatures(case, findings),
        doses(case, findings),
    )
    return tuple(p for p in found if p is not None)


# ---- active share and free active against pH -----------------------------------------------------


def against_ph(case: FormulaArrays) -> Chart | None:
    """Working share and free amount of each active over pH, the measured band and the effective
    ranges."""
    c = case.reference
    present = [f for f in range(len(c.forms)) if case.acting_pct[0, f] > 0]
    if not present:
        return None
    present = sorted(present, key=lambda f: -case.acting_pct[0, f])[: len(d.LINES)]
    ranges = [*_ranges(case), *_suitable(case)]
    ph, tolerance = float(case.ph[0]), float(case.ph_tolerance[0])
    ends = [e for r in ranges for e in (r.low, r.high)] + ([ph] if np.isfinite(ph) else [])
    grid = np.linspace(
        max(0.0, min([3.0, *ends]) - 0.5), min(14.0, max([7.0, *ends]) + 0.5), PH_POINTS
    )
    at = case.with_(ph=grid)
    share = {f: 100 * np.broadcast_to(at.working_fraction_of(f), grid.shape) for f in present}
    free = {f: np.broadcast_to(at.free_of(f), grid.shape) for f in present}

    def draw(figure: Figure) -> None:
        top, bottom = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": (1, 1)})
        for i, f in enumerate(present):
            style = {
                "color": d.LINES[i],
                "linestyle": d.DASHES[i],
                "marker": d.MARKERS[i],
                "markersize": 4.5,
                "markevery": (4 + 5 * i, 34),
                "label": c.forms[f],
            }
            top.plot(grid, share[f], **style)
            bottom.plot(grid, np.maximum(free[f], 1e-5), **style)
        top.set_ylim(-4, 104)
        top.set_ylabel("working share, %")
        bottom.set_yscale("log")
        known = np.concatenate([v[np.isfinite(v)] for v in free.values()] or [np.ones(1)])
        low = max(1e-4, 10 ** np.floor(np.log10(max(float(known.min(initial=0.1)), 1e-4))))
        bottom.set_ylim(
            low, 10 ** np.ceil(np.log10(max(float(known.max(initial=0.1)), low * 10)) + 0.05)
        )
        bottom.yaxis.set_major_formatter(lambda v, _: number(v))
        bottom.set_ylabel("free, % w/v")
        bottom.set_xlabel("pH")
        bottom.set_xlim(grid[0], grid[-1])
        for axes in (top, bottom):
            _measured_band(axes, ph, tolerance)
            d.quiet_frame(axes)
        _range_bars(top, ranges)
        figure.legend(
            *bottom.get_legend_handles_labels(),
            loc="outside lower center",
            ncols=2 if max(len(c.forms[f]) for f in present) < 22 and len(present) > 1 else 1,
        )  # noqa: PLR2004

    text = " ".join(_ph_words(case, present, grid, share, free, ranges))
    return Chart(
        "ph", "Working share and free amount against pH", text, draw, 4.1 + 0.2 * len(present)
    )


def _ranges(case: FormulaArrays) -> list[_Range]:
    """Effective pH range of each system."""
    c = case.reference
    found = (
        (c.systems[int(i)].id, c.systems[int(i)].ph_min, c.systems[int(i)].ph_max)
        for i in case.system[0]
        if i >= 0
    )
    return [
        _Range(name, low, high, f"{name} works from pH {low:g} to {high:g}.")
        for name, low, high in found
        if low is not None and high is not None
    ]


def _suitable(case: FormulaArrays) -> list[_Range]:
    """The pH that the product should have, as its check has it."""
    window = case.product_ph
    low, high = float(window.low[0]), float(window.high[0])
    if not np.isfinite([low, high]).all():
        return []
    profile = case.profiles[int(case.profile[0])]
    name = f"customary for a {profile.type}"
    if window.apart[0]:
        name = "what its raw materials bear"
    return [_Range(name, low, high, f"pH {low:g} to {high:g} is {name}.")]


def _measured_band(axes: Axes, ph: float, tolerance: float) -> None:
    if np.isfinite(ph):
        axes.axvspan(
            ph - tolerance,
            ph + tolerance,
            facecolor="none",
            edgecolor=d.BAND,
            hatch="////",
            linewidth=0.6,
            zorder=0.5,
        )
        axes.axvline(ph, color=d.BAND, linewidth=1.2)


def _range_bars(axes: Axes, ranges: Sequence[_Range]) -> None:
    """Bars with ends over the plot, from where to where each system works and the product should
    lie."""
    for i, (name, low, high, _) in enumerate(ranges):
        y = 1.07 + 0.17 * i
        axes.plot(
            [low, high],
            [y, y],
            color=d.INK,
            linewidth=1.4,
            marker="|",
            markersize=7,
            clip_on=False,
            transform=axes.get_xaxis_transform(),
        )
        axes.text(
            (low + high) / 2,
            y + 0.025,
            d.fitted(f"{name}: {low:g} to {high:g}", 52),
            ha="center",
            va="bottom",
            fontsize=8.0,
            transform=axes.get_xaxis_transform(),
        )


def _ph_words(
    case: FormulaArrays,
    present: Sequence[int],
    grid: Floats,
    share: dict[int, Floats],
    free: dict[int, Floats],
    ranges: Sequence[_Range],
) -> Iterable[str]:
    ph = float(case.ph[0])
    yield (
        f"The hatched band is the measured pH, {number(ph)} ± "
        f"{number(float(case.ph_tolerance[0]))}."
        if np.isfinite(ph)
        else "The pH was not measured, so no band is shown."
    )
    yield from (r.said for r in ranges)
    wanted = [p for p in (3, 4, 5, 6, 7, 8) if grid[0] <= p <= grid[-1]]
    for f in present:
        name = case.reference.forms[f]
        if case.reference.form_kind[f] not in (ACID, BASE):
            some = float(np.nanmean(free[f]))
            yield f"{name}: all of it in its working form at any pH; {number(some)} % w/v is free."
            continue
        at = [
            f"{np.interp(p, grid, share[f]):.0f} % at pH {p} "
            f"({number(float(np.interp(p, grid, free[f])), 2)} % w/v free)"
            for p in wanted
        ]
        yield f"{name}: working share {join_and(at)}."


# ---- sum of ratios -------------------------------------------------------------------------------


def microbes(case: FormulaArrays) -> Chart | None:
    """Sum of the ratios for each microbe with the band of 95 in 100 draws."""
    total = case.sums[0]
    if case.unpreserved.any() or np.isnan(total).all():
        return None
    enough, half = with_key("sum_of_ratios").lines or (1.0, 0.5)
    cloud = drawn(case).sums.reshape(-1, len(MICROBES))
    low, high = np.percentile(cloud, BAND, axis=0)

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        rows = np.arange(len(MICROBES))[::-1]
        inside = [
            np.clip(np.nan_to_num(v, nan=SUM_EDGES[0]), *SUM_EDGES) for v in (low, total, high)
        ]
        left = min(0.1, float(inside[0].min()) / 1.5)
        right = max(10.0, float(inside[2].max()) * 1.5)
        axes.axvspan(
            left,
            half,
            facecolor="none",
            edgecolor=d.WARN,
            hatch="\\\\\\\\",
            linewidth=0,
            zorder=0.5,
        )
        axes.axvline(enough, color=d.INK, linewidth=1.6)
        axes.axvline(half, color=d.WARN, linewidth=1.2, linestyle=d.DASHES[1])
        axes.plot(
            [inside[0], inside[2]],
            [rows, rows],
            color=d.LINES[0],
            linewidth=2.2,
            marker="|",
            markersize=9,
            linestyle="-",
        )
        axes.plot(inside[1], rows, color=d.LINES[0], marker="o", markersize=7, linestyle="none")
        for row, value in zip(rows, total, strict=True):
            axes.text(
                1.02,
                row,
                "unknown" if np.isnan(value) else number(float(value), 2),
                va="center",
                transform=axes.get_yaxis_transform(),
                fontweight="bold",
            )
        axes.set_xscale("log")
        axes.set_xlim(left, right)
        axes.set_ylim(-0.6, len(MICROBES) - 0.4)
        axes.set_yticks(rows, [m.replace(" ", "\n") for m in MICROBES])
        ticks = [t for t in (0.01, 0.1, 0.5, 1, 2, 5, 10, 100) if left <= t <= right]
        axes.set_xticks(ticks, [number(t) for t in ticks])
        axes.minorticks_off()
        axes.grid(visible=False, axis="y")
        axes.set_xlabel("free amount over what stops it")
        axes.text(
            enough,
            1.01,
            "1: enough",
            ha="left",
            va="bottom",
            fontsize=8.5,
            transform=axes.get_xaxis_transform(),
        )
        axes.text(
            half,
            1.01,
            "0.5: far too little ",
            ha="right",
            va="bottom",
            fontsize=8.5,
            transform=axes.get_xaxis_transform(),
        )
        d.quiet_frame(axes, left=False)

    each = [
        f"{m} {number(float(t), 2)} ({number(float(a), 2)} to {number(float(b), 2)})"
        for m, t, a, b in zip(MICROBES, total, low, high, strict=True)
    ]
    text = (
        "How many times the free amounts are what stops each microbe, with the span of 95 in 100 "
        "draws of readings and "
        f"table values: {'; '.join(each)}. Below 1 is a warning, below 0.5 a serious one."
    )
    return Chart("microbes", "How far each microbe is covered", text, draw, 3.1)


# ---- temperature course --------------------------------------------------------------------------


def temperatures(case: FormulaArrays, findings: Sequence[Finding]) -> Chart | None:
    """Temperature of the batch step by step, the heat limit of each preservative and the moment it
    goes in."""
    composition = case.compositions[0]
    phases = composition.formula.phases
    levels = [(p.heated_to_c, p.added_at_c) for p in phases]
    if not any(t is not None for pair in levels for t in pair):
        return None
    limits = _heat_limits(findings)
    course, where = _course(levels)
    added = [
        (composition.systems[a.system].id, where[a.phase], a.temperature_c)
        for a in composition.additions
    ]

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        axes.plot(*zip(*course, strict=True), color=d.INK, linewidth=2.0)
        right = course[-1][0]
        for i, (name, limit) in enumerate(limits):
            axes.plot(
                [0, right],
                [limit, limit],
                color=d.WARN,
                linewidth=1.4,
                linestyle=d.DASHES[1 + i % 4],
            )
            axes.text(
                right,
                limit + 1.6,
                d.fitted(f"limit {limit:g} °C: {name}", 46),
                ha="right",
                va="bottom",
                fontsize=8.0,
                bbox={"facecolor": d.PAPER, "edgecolor": "none", "pad": 0.6},
                zorder=4,
            )
        for i, (_, x, at) in enumerate(added):
            if at is not None:
                axes.errorbar(
                    [x],
                    [at],
                    yerr=[case.temperature_tolerance_c[0]],
                    color=d.LINES[0],
                    capsize=5,
                    elinewidth=1.6,
                    marker=d.MARKERS[i % len(d.MARKERS)],
                    markersize=8,
                    linestyle="none",
                    label=f"goes in: {d.fitted(added[i][0], 40)}",
                    zorder=5,
                )
        axes.set_xticks(
            [where[i] for i in range(len(phases))], [d.broken(p.name, 14) for p in phases]
        )
        axes.set_xlim(-0.1, right + 0.1)
        hottest = max([y for _, y in course] + [limit for _, limit in limits])
        axes.set_ylim(min(15.0, *(y for _, y in course)), hottest + 9)
        axes.set_ylabel("°C")
        axes.grid(visible=False, axis="x")
        other = axes.secondary_yaxis("right", functions=(_fahrenheit, _celsius))
        other.set_ylabel("°F")
        other.tick_params(length=3)
        axes.spines["right"].set_visible(False)
        d.quiet_frame(axes)
        if any(at is not None for _, _, at in added):
            figure.legend(loc="outside lower center", ncols=1)

    text = " ".join(_course_words(case, limits))
    return Chart(
        "heat", "Temperature of the batch, step by step", text, draw, 3.1 + 0.17 * len(added)
    )


def _fahrenheit(celsius_: Any) -> Any:
    return celsius_ * 1.8 + 32


def _celsius(fahrenheit: Any) -> Any:
    return (fahrenheit - 32) / 1.8


def _course(
    levels: Sequence[tuple[float | None, float | None]],
) -> tuple[list[tuple[float, float]], list[float]]:
    """Corners of the temperature course (step, °C), and where on it each phase is. Steps are not to
    scale."""
    corners, where = [(0.0, ROOM_C)], []
    for i, (heated, added) in enumerate(levels):
        x = i + 0.5
        at = added if added is not None else heated
        if at is not None:
            corners += [(x, at), (x + 0.25, at)]
            where.append(x + 0.125)
        else:
            where.append(x + 0.125)
    return [*corners, (len(levels) + 0.25, ROOM_C)], where


def _heat_limits(findings: Sequence[Finding]) -> list[tuple[str, float]]:
    """Heat limit of each preservative, part by part, by name."""
    limits: dict[str, float] = {}
    for f in findings:
        if (limit := f.value("limit_c")) is not None:
            limits[f.parts[0]] = limit
    return list(limits.items())


def _course_words(case: FormulaArrays, limits: Sequence[tuple[str, float]]) -> Iterable[str]:
    composition = case.compositions[0]
    for phase in composition.formula.phases:
        said = []
        if phase.heated_to_c is not None:
            held = f" and held for {phase.held_min:g} min" if phase.held_min else ""
            said.append(f"heated to {celsius(phase.heated_to_c)}{held}")
        if phase.added_at_c is not None:
            said.append(f"goes in at {celsius(phase.added_at_c)}")
        yield f"Phase {phase.name}: {join_and(said) if said else 'no temperature given'}."
    for name, limit in limits:
        yield f"Heat limit of {name}: {celsius(limit)}."
    for a in composition.additions:
        at = (
            "at an unknown temperature"
            if a.temperature_c is None
            else f"at {celsius(a.temperature_c)}"
        )
        yield (
            f"{composition.systems[a.system].id} goes in {at}, ± "
            f"{case.temperature_tolerance_c[0]:.0f} °C."
        )
    yield "The steps are not drawn to the clock."


# ---- dose ----------------------------------------------------------------------------------------


def doses(case: FormulaArrays, findings: Sequence[Finding]) -> Chart | None:
    """Amounts between their limits, each as per cent of its upper limit."""
    rows = [r for r in map(_dose_row, findings) if r is not None]
    rows = [r for r in rows if r.usage] + sorted(
        (r for r in rows if not r.usage), key=lambda r: -_filled(r)
    )
    left_out = len(rows) - MOST_ROWS
    rows = rows[:MOST_ROWS]
    if not rows:
        return None

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        edge = 150.0
        for i, (usage, _, low, _, high) in enumerate(rows):
            y, at, least = (
                len(rows) - 1 - i,
                100 * _filled(rows[i]),
                100 * low / high if high else 0.0,
            )
            axes.barh(
                [y],
                [100 - least if high else 0.0],
                left=least,
                height=0.5,
                facecolor="none",
                edgecolor=d.LINES[0] if usage else d.LINES[1],
                hatch="////" if usage else "----",
                linewidth=1.0,
            )
            bad = at > 100.0005 or at < least - 0.0005  # noqa: PLR2004
            marker = ">" if at > edge else "X" if bad else "o"
            axes.plot(
                [min(at, edge)],
                [y],
                marker=marker,
                markersize=9,
                color=d.WARN if bad else d.INK,
                markeredgecolor=d.PAPER,
                linestyle="none",
                clip_on=False,
                zorder=5,
            )
        axes.axvline(100, color=d.INK, linewidth=1.2)
        axes.set_xlim(0, edge)
        axes.set_ylim(-0.6, len(rows) - 0.4)
        axes.set_yticks(
            range(len(rows))[::-1], [d.broken(_row_name(r), 24) for r in rows], fontsize=8.0
        )
        axes.set_xlabel("% of the upper limit")
        axes.grid(visible=False, axis="y")
        d.quiet_frame(axes, left=False)

    words = [
        f"{_row_name(r)}: {number(r.amount)} %, "
        + (
            f"usage range {number(r.low)} to {number(r.high)} %"
            if r.usage
            else f"law allows up to {number(r.high)} %"
            if r.high
            else "where none may be"
        )
        for r in rows
    ]
    more = f" {left_out} more limits are met by more." if left_out > 0 else ""
    text = (
        "Amounts beside their limits, each drawn as per cent of its upper limit. "
        f"{'; '.join(words)}.{more}"
    )
    return Chart(
        "dose", "Dose between its lower and upper limits", text, draw, 0.9 + 0.42 * len(rows)
    )


def _dose_row(finding: Finding) -> Row | None:
    """Amount and limits of a finding that has them."""
    bar = BY_ID[finding.id].bar
    if bar is None:
        return None
    low, value, high = (0.0 if n is None else finding.value(n) for n in bar)
    if low is None or value is None or high is None or (high == 0 and value == 0):
        return None
    return Row(bar[0] is not None, finding.about, low, value, high)


def _filled(row: Row) -> float:
    """Share of the upper limit that is used; infinite where nothing is allowed."""
    return row.amount / row.high if row.high else float("inf")


def _row_name(row: Row) -> str:
    return row.subject if row.usage else f"law: {row.subject}{'' if row.high else ', not allowed'}"
