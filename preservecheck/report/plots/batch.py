"""Plots of the batch: its temperature step by step, and its amounts between their limits."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.checks import heat_limit
from preservecheck.report.plots import style as d
from preservecheck.report.plots.style import Plot, drawn_plot
from preservecheck.text import celsius, join_and, number
from preservecheck.verdict import Finding

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# a batch begins and ends in the room [°C]
ROOM_C = 22.0
# limits that one plot holds
MOST_ROWS = 9
Row = tuple[str, str, float, float, float]  # kind, subject, lower limit, amount, upper limit


# ---- temperature course --------------------------------------------------------------------------


def temperatures(case: FormulaArrays, prefix: str = "") -> Plot | None:
    """Temperature of the batch step by step, the heat limit of each preservative and the moment it
    goes in."""
    composition = case.compositions[0]
    phases = composition.formula.phases
    levels = [(p.heated_to_c, p.added_at_c) for p in phases]
    if not any(t is not None for pair in levels for t in pair):
        return None
    limits = _heat_limits(case)
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
    return drawn_plot(
        f"{prefix}heat",
        "Temperature of the batch, step by step",
        text,
        3.1 + 0.17 * len(added),
        draw,
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


def _heat_limits(case: FormulaArrays) -> list[tuple[str, float]]:
    """Heat limit of each preservative, part by part, by name."""
    figures = heat_limit.compute(case)
    codes = np.atleast_2d(heat_limit.judge(figures))[0]
    found: dict[str, float] = {}
    for j in np.flatnonzero(codes):
        one = {n: float(a.reshape(-1)[j]) for n, a in figures.items()}
        if np.isfinite(one["limit_c"]):
            about = heat_limit.explain(case, one, int(j), int(codes[j])).about
            found[about.partition(", phase ")[0]] = one["limit_c"]
    return list(found.items())


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


def doses(case: FormulaArrays, findings: Sequence[Finding], prefix: str = "") -> Plot | None:
    """Amounts between their limits, each as per cent of its upper limit."""
    rows = [r for r in map(_dose_row, findings) if r is not None]
    rows = [r for r in rows if r[0] == "dose"] + sorted(
        (r for r in rows if r[0] != "dose"), key=lambda r: -_filled(r)
    )
    left_out = len(rows) - MOST_ROWS
    rows = rows[:MOST_ROWS]
    if not rows:
        return None

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        edge = 150.0
        for i, (kind, _, low, _, high) in enumerate(rows):
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
                edgecolor=d.LINES[0] if kind == "dose" else d.LINES[1],
                hatch="////" if kind == "dose" else "----",
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
        f"{_row_name(r)}: {number(r[3])} %, "
        + (
            f"usage range {number(r[2])} to {number(r[4])} %"
            if r[0] == "dose"
            else f"law allows up to {number(r[4])} %"
            if r[4]
            else "where none may be"
        )
        for r in rows
    ]
    more = f" {left_out} more limits are met by more." if left_out > 0 else ""
    text = (
        "Amounts beside their limits, each drawn as per cent of its upper limit. "
        f"{'; '.join(words)}.{more}"
    )
    return drawn_plot(
        f"{prefix}dose",
        "Dose between its lower and upper limits",
        text,
        0.9 + 0.42 * len(rows),
        draw,
    )


def _dose_row(finding: Finding) -> Row | None:
    """Kind, subject, lower limit, amount and upper limit of a finding that has them."""
    names = {
        "dose": ("percent_min", "percent", "percent_max"),
        "legal-limit": (None, "percent_as_limited", "percent_max"),
    }.get(finding.id)
    if names is None:
        return None
    low, value, high = (0.0 if n is None else finding.value(n) for n in names)
    if low is None or value is None or high is None or (high == 0 and value == 0):
        return None
    return finding.id, finding.about, low, value, high


def _filled(row: Row) -> float:
    """Share of the upper limit that is used; infinite where nothing is allowed."""
    return row[3] / row[4] if row[4] else float("inf")


def _row_name(row: Row) -> str:
    return row[1] if row[0] == "dose" else f"law: {row[1]}{'' if row[4] else ', not allowed'}"
