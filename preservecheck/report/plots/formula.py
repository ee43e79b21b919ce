"""Charts of a formula, from the very arrays that the checks judge and from their findings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from preservecheck.arrays.forms import ACID, BASE, MICROBES
from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.checks import BY_ID, with_key
from preservecheck.report.plots import chart as d
from preservecheck.report.plots.chart import Chart
from preservecheck.text import celsius, join_and, number
from preservecheck.verdict import Finding, Floats

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PH_POINTS = 141
# the chance of each microbe, and what is left over the months
HELD, LASTING = with_key("challenge_chance"), with_key("left_percent")
# where more is left of everything, there is nothing to show [%]
LASTS, MONTH_POINTS = 99.0, 61
# a batch begins and ends in the room [°C]
ROOM_C = 22.0
# limits that one chart holds
MOST_ROWS = 9
# of names that still stand side by side in a legend [characters]
SHORT_NAME = 22
# amounts are drawn up to this share of their limit, and rounding noise beyond a limit is none [%]
MOST_PERCENT, NOISE_PERCENT = 150.0, 0.0005


def charts_of(case: FormulaArrays, findings: Sequence[Finding]) -> tuple[Chart, ...]:
    """The charts that one formula has something to show on."""
    made = (
        against_ph(case),
        microbes(case),
        over_months(case),
        temperatures(case, findings),
        doses(case, findings),
    )
    return tuple(chart for chart in made if chart is not None)


# ---- active share and free active against pH -----------------------------------------------------


class _Range(NamedTuple):
    """A span of pH with its name, and as a sentence."""

    name: str
    low: float
    high: float
    said: str


def against_ph(case: FormulaArrays) -> Chart | None:
    """Working share and free amount of each active over pH, and the measured pH between the ranges
    that suit."""
    c = case.reference
    present = [f for f in range(len(c.forms.names)) if case.acting_pct[0, f] > 0]
    if not present:
        return None
    present = sorted(present, key=lambda f: -case.acting_pct[0, f])[: len(d.LINES)]
    ranges = [*_ranges(case), *_suitable(case)]
    ph, tolerance = float(case.ph[0]), float(case.ph_tolerance[0])
    ends = [e for r in ranges for e in (r.low, r.high)] + ([ph] if np.isfinite(ph) else [])
    first, last = max(0.0, min([3.0, *ends]) - 0.5), min(14.0, max([7.0, *ends]) + 0.5)
    grid = np.linspace(first, last, PH_POINTS)
    at = case.with_(ph=grid)
    share = {f: 100 * np.broadcast_to(at.working_fraction_of(f), grid.shape) for f in present}
    free = {f: np.broadcast_to(at.free_of(f), grid.shape) for f in present}

    def draw(figure: Figure) -> None:
        top, bottom = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": (1, 1)})
        for i, f in enumerate(present):
            style = d.line(i) | {"markevery": (4 + 5 * i, 34), "label": c.forms.names[f]}
            top.plot(grid, share[f], **style)
            bottom.plot(grid, np.maximum(free[f], 1e-5), **style)
        top.set(ylim=(-4, 104), ylabel="working share, %")
        known = np.concatenate([v[np.isfinite(v)] for v in free.values()] or [np.ones(1)])
        low = max(1e-4, 10 ** np.floor(np.log10(max(float(known.min(initial=0.1)), 1e-4))))
        high = np.ceil(np.log10(max(float(known.max(initial=0.1)), low * 10)) + 0.05)
        bottom.set(yscale="log", ylim=(low, 10**high), ylabel="free, % w/v")
        bottom.set(xlabel="pH", xlim=(first, last))
        bottom.yaxis.set_major_formatter(lambda v, _: number(v))
        for axes in (top, bottom):
            if np.isfinite(ph):
                d.hatched(axes, ph - tolerance, ph + tolerance, d.BAND, "////")
                axes.axvline(ph, color=d.BAND, linewidth=1.2)
            d.quiet_frame(axes)
        _range_bars(top, ranges)
        beside = len(present) > 1 and max(len(c.forms.names[f]) for f in present) < SHORT_NAME
        named = bottom.get_legend_handles_labels()
        figure.legend(*named, loc="outside lower center", ncols=2 if beside else 1)

    text = " ".join(_ph_words(case, grid, share, free, ranges))
    height = 4.1 + 0.2 * len(present)
    return Chart("ph", "Working share and free amount against pH", text, draw, height)


def _ranges(case: FormulaArrays) -> Iterable[_Range]:
    """Effective pH range of each system."""
    for system in (case.reference.systems.rows[int(i)] for i in case.system[0] if i >= 0):
        low, high = system.ph_min, system.ph_max
        if low is not None and high is not None:
            said = f"{system.id} works from pH {low:g} to {high:g}."
            yield _Range(system.id, low, high, said)


def _suitable(case: FormulaArrays) -> Iterable[_Range]:
    """The pH that the product should have, as its check has it."""
    window = case.product_ph
    low, high = float(window.low[0]), float(window.high[0])
    if np.isfinite([low, high]).all():
        customary = f"customary for a {case.profiles[int(case.profile[0])].type}"
        name = "what its raw materials bear" if window.apart[0] else customary
        yield _Range(name, low, high, f"pH {low:g} to {high:g} is {name}.")


def _range_bars(axes: Axes, ranges: Sequence[_Range]) -> None:
    """Bars with ends over the plot: where each system works, where the product should lie."""
    across = axes.get_xaxis_transform()
    for i, (name, low, high, _) in enumerate(ranges):
        y = 1.07 + 0.17 * i
        axes.plot([low, high], [y, y], color=d.INK, clip_on=False, transform=across, **d.SPAN)
        label = d.fitted(f"{name}: {low:g} to {high:g}", 52)
        d.over(axes, (low + high) / 2, label, y + 0.025, "center")


def _ph_words(
    case: FormulaArrays,
    grid: Floats,
    share: dict[int, Floats],
    free: dict[int, Floats],
    ranges: Sequence[_Range],
) -> Iterable[str]:
    ph, tolerance = float(case.ph[0]), float(case.ph_tolerance[0])
    if np.isfinite(ph):
        yield f"The hatched band is the measured pH, {number(ph)} ± {number(tolerance)}."
    else:
        yield "The pH was not measured, so no band is shown."
    yield from (r.said for r in ranges)
    wanted = [p for p in (3, 4, 5, 6, 7, 8) if grid[0] <= p <= grid[-1]]
    for f, shares in share.items():
        name = case.reference.forms.names[f]
        if case.reference.forms.kind[f] not in (ACID, BASE):
            mean = float(np.nanmean(free[f]))
            yield f"{name}: all of it in its working form at any pH; {number(mean)} % w/v is free."
            continue
        at = [
            f"{np.interp(p, grid, shares):.0f} % at pH {p} "
            f"({number(float(np.interp(p, grid, free[f])), 2)} % w/v free)"
            for p in wanted
        ]
        yield f"{name}: working share {join_and(at)}."


# ---- chance by microbe ---------------------------------------------------------------------------


def microbes(case: FormulaArrays) -> Chart | None:
    """Chance of each microbe in a challenge test with its band of 90 %."""
    figures = HELD.compute(case)
    chance = np.broadcast_to(figures[HELD.key.name], case.sums.shape)[0]
    if case.unpreserved.any() or np.isnan(chance).all() or HELD.key.tolerance is None:
        return None
    likely, unlikely = HELD.lines or (1.0, 0.0)
    half = np.broadcast_to(HELD.key.tolerance(figures), case.sums.shape)[0]
    low, high = np.clip(chance - half, 0.0, 1.0), np.clip(chance + half, 0.0, 1.0)

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        rows = d.named_rows(axes, [m.replace(" ", "\n") for m in MICROBES])
        first, middle, last = (100 * np.nan_to_num(v) for v in (low, chance, high))
        d.hatched(axes, 0, 100 * unlikely, d.WARN, "\\\\\\\\", linewidth=0)
        axes.axvline(100 * likely, color=d.INK, linewidth=1.6)
        axes.axvline(100 * unlikely, color=d.WARN, linewidth=1.2, linestyle=d.DASHES[1])
        span = d.SPAN | {"linewidth": 2.2, "markersize": 9}
        axes.plot([first, last], [rows, rows], color=d.LINES[0], **span)
        axes.plot(middle, rows, color=d.LINES[0], marker="o", markersize=7, linestyle="none")
        beside: d.Style = {"va": "center", "fontweight": "bold"}
        for row, value in zip(rows, chance, strict=True):
            figure_ = "unknown" if np.isnan(value) else f"{100 * value:.0f} %"
            axes.text(1.02, row, figure_, transform=axes.get_yaxis_transform(), **beside)
        axes.set(xlim=(0, 100), xlabel="chance that a challenge test finds it controlled, %")
        d.over(axes, 100 * likely, f"{100 * likely:.0f}: enough", 1.01, "left", fontsize=8.5)
        far = f"{100 * unlikely:.0f}: far too little "
        d.over(axes, 100 * unlikely, far, 1.01, "right", fontsize=8.5)

    each = [
        f"{m} unknown" if np.isnan(p) else f"{m} {100 * p:.0f} % ({100 * a:.0f} to {100 * b:.0f})"
        for m, p, a, b in zip(MICROBES, chance, low, high, strict=True)
    ]
    text = (
        "The chance that a challenge test finds each microbe controlled, by published tests, with "
        f"its band of 90 %: {'; '.join(each)}. Below {100 * likely:.0f} % is a warning, below "
        f"{100 * unlikely:.0f} % a serious one."
    )
    return Chart("microbes", "How likely each microbe is held", text, draw, 3.1)


# ---- what is left over the months ----------------------------------------------------------------


def over_months(case: FormulaArrays) -> Chart | None:
    """Chance of the microbe that the loss over the shelf life leaves least held, with the band of
    the rates, and the level at which it is held."""
    figures = LASTING.compute(case)
    left = np.where(figures["present"], figures["left_percent"], np.nan)[0]
    if np.isnan(left).all() or np.nanmin(left) > LASTS or LASTING.course is None:
        return None
    life = float(figures["shelf_life_months"].reshape(-1)[0])
    months = np.linspace(0.0, life, MONTH_POINTS)
    middle, least, most = (LASTING.course(case, months, off) for off in (0.0, 1.0, -1.0))
    m = int(np.nanargmin(middle[-1]))
    likely = (HELD.lines or (1.0, 0.0))[0]

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        axes.fill_between(months, 100 * least[:, m], 100 * most[:, m], color=d.BAND, alpha=0.25)
        axes.plot(months, 100 * middle[:, m], color=d.LINES[0], linewidth=2.0)
        axes.axhline(100 * likely, color=d.INK, linewidth=1.6)
        axes.set(xlim=(0, life), ylim=(0, 100), xlabel="months at 25 °C")
        axes.set(ylabel=f"chance for {MICROBES[m]}, %")
        d.quiet_frame(axes)

    names = case.reference.forms.names
    each = [
        f"{names[f]} {left[f]:.0f} % ({figures['left_low'][0, f]:.0f} to "
        f"{figures['left_high'][0, f]:.0f})"
        for f in np.flatnonzero(~np.isnan(left))
    ]
    text = (
        f"What is left after {number(life)} months at 25 °C: {join_and(each)}. The chance that a "
        f"challenge test finds {MICROBES[m]} controlled goes from {100 * middle[0, m]:.0f} % to "
        f"{100 * middle[-1, m]:.0f} % ({100 * least[-1, m]:.0f} to {100 * most[-1, m]:.0f}); "
        f"{100 * likely:.0f} % is needed."
    )
    return Chart("months", "How the preservative lasts", text, draw, 2.8)


# ---- temperature course --------------------------------------------------------------------------


def temperatures(case: FormulaArrays, findings: Sequence[Finding]) -> Chart | None:
    """Temperature of the batch step by step, the heat limit of each preservative and the moment it
    goes in."""
    composition = case.compositions[0]
    phases = composition.formula.phases
    levels = [(p.heated_to_c, p.added_at_c) for p in phases]
    if not any(t is not None for pair in levels for t in pair):
        return None
    # of each preservative, part by part
    limits = {f.parts[0]: limit for f in findings if (limit := f.value("limit_c")) is not None}
    course, where = _course(levels)
    tolerance = case.temperature_tolerance_c[0]
    added = [
        (i, composition.systems[a.system].id, where[a.phase], a.temperature_c)
        for i, a in enumerate(composition.additions)
        if a.temperature_c is not None
    ]

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        axes.plot(*zip(*course, strict=True), color=d.INK, linewidth=2.0)
        right = course[-1][0]
        backed = {"facecolor": d.PAPER, "edgecolor": "none", "pad": 0.6}
        small: d.Style = {"ha": "right", "va": "bottom", "fontsize": 8.0, "zorder": 4}
        for i, (name, limit) in enumerate(limits.items()):
            dashes = d.DASHES[1 + i % 4]
            axes.plot([0, right], [limit] * 2, color=d.WARN, linewidth=1.4, linestyle=dashes)
            label = d.fitted(f"limit {limit:g} °C: {name}", 46)
            axes.text(right, limit + 1.6, label, bbox=backed, **small)
        whiskers: d.Style = {"capsize": 5, "elinewidth": 1.6, "linestyle": "none"}
        for i, name, x, at in added:
            point: d.Style = {"marker": d.MARKERS[i % len(d.MARKERS)], "markersize": 8, "zorder": 5}
            label = f"goes in: {d.fitted(name, 40)}"
            axes.errorbar(
                [x], [at], yerr=[tolerance], color=d.LINES[0], label=label, **point, **whiskers
            )
        axes.set_xticks(where, [d.broken(p.name, 14) for p in phases])
        temps = [y for _, y in course]
        top = max([*temps, *limits.values()]) + 9
        axes.set(xlim=(-0.1, right + 0.1), ylim=(min(15.0, *temps), top), ylabel="°C")
        axes.grid(visible=False, axis="x")
        other = axes.secondary_yaxis("right", functions=(_fahrenheit, _celsius))
        other.set_ylabel("°F")
        other.tick_params(length=3)
        d.quiet_frame(axes)
        if added:
            figure.legend(loc="outside lower center", ncols=1)

    text = " ".join(_course_words(case, limits))
    height = 3.1 + 0.17 * len(composition.additions)
    return Chart("heat", "Temperature of the batch, step by step", text, draw, height)


def _fahrenheit(celsius_: Any) -> Any:
    return celsius_ * 1.8 + 32


def _celsius(fahrenheit: Any) -> Any:
    return (fahrenheit - 32) / 1.8


def _course(
    levels: Sequence[tuple[float | None, float | None]],
) -> tuple[list[tuple[float, float]], list[float]]:
    """Corners of the temperature course (step, °C), and where on it each phase is. Steps are not to
    scale."""
    corners = [(0.0, ROOM_C)]
    for i, (heated, added) in enumerate(levels):
        at = added if added is not None else heated
        corners += [] if at is None else [(i + 0.5, at), (i + 0.75, at)]
    return [*corners, (len(levels) + 0.25, ROOM_C)], [i + 0.625 for i in range(len(levels))]


def _course_words(case: FormulaArrays, limits: dict[str, float]) -> Iterable[str]:
    composition = case.compositions[0]
    for phase in composition.formula.phases:
        steps = []
        if phase.heated_to_c is not None:
            hold = f" and held for {phase.held_min:g} min" if phase.held_min else ""
            steps.append(f"heated to {celsius(phase.heated_to_c)}{hold}")
        if phase.added_at_c is not None:
            steps.append(f"goes in at {celsius(phase.added_at_c)}")
        yield f"Phase {phase.name}: {join_and(steps) if steps else 'no temperature given'}."
    for name, limit in limits.items():
        yield f"Heat limit of {name}: {celsius(limit)}."
    for a in composition.additions:
        at = "at an unknown temperature"
        if a.temperature_c is not None:
            at = f"at {celsius(a.temperature_c)}"
        tolerance = f"{case.temperature_tolerance_c[0]:.0f} °C"
        yield f"{composition.systems[a.system].id} goes in {at}, ± {tolerance}."
    yield "The steps are not drawn to the clock."


# ---- dose ----------------------------------------------------------------------------------------


class _Amount(NamedTuple):
    """An amount between its limits. [% of the product]"""

    usage: bool  # a usage range, which has a lower limit; else the law, which has none
    subject: str
    low: float
    percent: float
    high: float

    @property
    def used(self) -> float:
        """Of the upper limit; infinite where nothing is allowed. [%]"""
        return 100 * self.percent / self.high if self.high else float("inf")

    @property
    def name(self) -> str:
        """What is limited, and by what."""
        if self.usage:
            return self.subject
        return f"law: {self.subject}{'' if self.high else ', not allowed'}"

    @property
    def words(self) -> str:
        """The amount beside its limits."""
        limit = f"law allows up to {number(self.high)} %" if self.high else "where none may be"
        if self.usage:
            limit = f"usage range {number(self.low)} to {number(self.high)} %"
        return f"{self.name}: {number(self.percent)} %, {limit}"


def doses(case: FormulaArrays, findings: Sequence[Finding]) -> Chart | None:
    """Amounts between their limits, each as per cent of its upper limit."""
    amounts = [a for a in map(_amount, findings) if a is not None]
    amounts.sort(key=lambda a: (not a.usage, 0.0 if a.usage else -a.used))
    more = len(amounts) - MOST_ROWS
    amounts = amounts[:MOST_ROWS]
    if not amounts:
        return None

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        rows = d.named_rows(axes, [d.broken(a.name, 24) for a in amounts], fontsize=8.0)
        for y, a in zip(rows, amounts, strict=True):
            least = 100 * a.low / a.high if a.high else 0.0
            colour, hatch = (d.LINES[0], "////") if a.usage else (d.LINES[1], "----")
            bar: d.Style = {"height": 0.5, "facecolor": "none", "edgecolor": colour, "hatch": hatch}
            axes.barh([y], [100 - least if a.high else 0.0], left=least, linewidth=1.0, **bar)
            bad = a.used > 100 + NOISE_PERCENT or a.used < least - NOISE_PERCENT
            marker = ">" if a.used > MOST_PERCENT else "X" if bad else "o"
            point: d.Style = {
                "marker": marker,
                "markersize": 9,
                "markeredgecolor": d.PAPER,
                "zorder": 5,
            }
            colour = d.WARN if bad else d.INK
            x = min(a.used, MOST_PERCENT)
            axes.plot([x], [y], color=colour, linestyle="none", clip_on=False, **point)
        axes.axvline(100, color=d.INK, linewidth=1.2)
        axes.set(xlim=(0, MOST_PERCENT), xlabel="% of the upper limit")

    left_out = f" {more} more limits are met by more." if more > 0 else ""
    text = (
        "Amounts beside their limits, each drawn as per cent of its upper limit. "
        f"{'; '.join(a.words for a in amounts)}.{left_out}"
    )
    height = 0.9 + 0.42 * len(amounts)
    return Chart("dose", "Dose between its lower and upper limits", text, draw, height)


def _amount(finding: Finding) -> _Amount | None:
    """Amount and limits of a finding that has them."""
    bar = BY_ID[finding.id].bar
    if bar is None:
        return None
    low, percent, high = (0.0 if name is None else finding.value(name) for name in bar)
    if low is None or percent is None or high is None or (high == 0 and percent == 0):
        return None
    return _Amount(bar[0] is not None, finding.about, low, percent, high)
