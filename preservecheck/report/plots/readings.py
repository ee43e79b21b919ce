"""Charts of the bench and of what comes afterwards: cooling, titration, challenge courses, pH over
time."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from preservecheck.chemistry.cooling import temperature_band
from preservecheck.chemistry.titration import interpolated
from preservecheck.chemistry.trend import predicted
from preservecheck.report.plots import chart as d
from preservecheck.report.plots.chart import Chart
from preservecheck.verdict import Floats

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from preservecheck.bench.adjust import Adjustment
    from preservecheck.bench.cooling import Cooldown
    from preservecheck.evidence.challenge import Challenge
    from preservecheck.evidence.drift import Drift

# behind a name, so that it can be read where a line passes
_BACKED: dict[str, Any] = {"facecolor": d.PAPER, "edgecolor": "none", "alpha": 0.85, "pad": 0.8}
# names of temperatures this close would lie on each other [°C]
_CLOSE_C = 4.0


def cooling(found: Cooldown) -> Chart:
    """Readings, fitted curve with its band, and the temperatures to wait for."""
    reach = (*found.reach, *(g.reach for g in found.gates if g.reach))
    course, fit = found.course, found.forecast.fit

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        latest = max([course.time_min[-1], *(r.minutes_high or r.minutes or 0.0 for r in reach)])
        if fit is not None:
            times = np.linspace(fit.time_min[0], latest * 1.05, 120)
            curve, half = temperature_band(fit, times)
            _band(axes, times, curve, half, d.BAND, 0.18)
            axes.plot(times, curve, color=d.LINES[0], label="fitted")
        axes.plot(course.time_min, course.temp_c, d.MARKERS[0], color=d.INK, label="read")
        levels = sorted({r.limit_c for r in reach if r.limit_c <= max(course.temp_c) + 2})
        for i, level in enumerate(levels):
            axes.axhline(level, color=d.MUTED, linewidth=1, linestyle=d.DASHES[1 + i % 5])
            # of two that lie close together the lower one has its name below
            drop = any(0 < other - level < _CLOSE_C for other in levels)
            _named(axes, f"{level:g} °C", (course.time_min[0], level), (2, -10 if drop else 3))
        after = "" if course.start_clock_min is None else f" after {course.clock(0)}"
        axes.set(xlabel=f"minutes{after}", ylabel="temperature, °C")
        axes.legend()
        d.quiet_frame(axes)

    return Chart("cooling", "Cooling of the batch", found.because, draw)


def titration(found: Adjustment) -> Chart | None:
    """The readings of a titration and the curve through them; ``None`` without a titration."""
    bench = found.titration
    if bench is None:
        return None

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        grams = np.linspace(0, bench.grams[-1], 120)
        curve = interpolated(bench.grams, bench.ph, grams)
        axes.plot(grams, curve, color=d.LINES[0], label="monotone curve")
        axes.plot(bench.grams, bench.ph, d.MARKERS[0], color=d.INK, label="read")
        if found.target_ph is not None:
            axes.axhline(found.target_ph, color=d.MUTED, linestyle=d.DASHES[1], linewidth=1)
            _named(axes, f"target {found.target_ph:.1f}", (0, found.target_ph), (2, 4))
        axes.set(xlabel=f"grams added to {bench.sample_g:g} g of sample", ylabel="pH")
        axes.legend()
        d.quiet_frame(axes)

    return Chart("titration", "Titration of the sample", found.because, draw)


def courses(found: Challenge) -> Chart:
    """Log reductions of each organism over time, and the least that each criterion asks for."""
    asked: dict[tuple[int, float], list[str]] = {}
    for criterion, days in found.reach.items():
        for day, value in days.items():
            asked.setdefault((int(day), value), []).append(criterion)

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        for i, o in enumerate(found.organisms):
            days = [0, *(int(x) for x in o.log_reductions)]
            axes.plot(days, [0.0, *o.log_reductions.values()], label=o.name, **d.line(i))
        for at, ((day, value), names) in enumerate(sorted(asked.items())):
            label = "least asked for" if at == 0 else None
            ends = [day - 0.8, day + 0.8]
            axes.plot(ends, [value, value], color=d.WARN, linewidth=2, label=label)
            # beside its mark: below and above it the courses pass
            _named(axes, "\n".join(names), (ends[1], value), (2, 0), va="center", fontsize=7)
        axes.set(xlabel="days", ylabel="log10 reduction")
        axes.set_xticks(sorted({0, *(int(x) for o in found.organisms for x in o.log_reductions)}))
        # room for the names at the last day
        left, right = axes.get_xlim()
        axes.set_xlim(left, right + 0.12 * (right - left))
        figure.legend(loc="outside lower center", ncols=2, fontsize=7.5)
        d.quiet_frame(axes)

    return Chart("courses", "Courses of the challenge test", found.because, draw)


def drifting(found: Drift) -> Chart:
    """The pH over time by storage, with line, band and window."""
    first = min(s.dates[0] for s in found.series)

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        for i, s in enumerate(found.series):
            style = d.line(i)
            days = np.array([(x - first).days for x in s.dates], dtype=float)
            axes.plot(days, s.ph, label=s.storage, **style | {"linestyle": "none"})
            if s.line is not None:
                ahead = np.linspace(days[0], days[-1] * 1.5 + 7, 80)
                value, half = predicted(s.line, ahead - (s.dates[0] - first).days)
                axes.plot(ahead, value, **style | {"marker": ""})
                _band(axes, ahead, value, half, style["color"], 0.12)
        for edge in found.window or ():
            axes.axhline(edge, color=d.WARN, linestyle=d.DASHES[1], linewidth=1)
        axes.set(xlabel=f"days after {first}", ylabel="pH")
        figure.legend(loc="outside lower center", ncols=2)
        d.quiet_frame(axes)

    words = " ".join(f"{s.storage}: {s.because}" for s in found.series)
    return Chart("drifting", "pH over time", words, draw)


def _band(axes: Axes, x: Floats, middle: Floats, half: Floats, colour: str, alpha: float) -> None:
    """A band around a line."""
    axes.fill_between(x, middle - half, middle + half, color=colour, alpha=alpha, linewidth=0)


def _named(
    axes: Axes, text: str, at: tuple[float, float], away: tuple[float, float], **style: Any
) -> None:
    """A name beside a place, readable where a line passes."""
    axes.annotate(text, at, away, textcoords="offset points", bbox=_BACKED, **style)
