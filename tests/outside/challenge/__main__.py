"""Scores the program on published challenge tests: ``python -m tests.outside.challenge``."""

from __future__ import annotations

import argparse
import csv
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from .score import area_under_curve, bootstrap_interval, brier, calibration, logistic

HERE = Path(__file__).parent
# below this a smaller sum tells nothing more (as in the program's own fit)
LEAST = 0.1


@dataclass(frozen=True)
class Case:
    """One published result."""

    formula: str
    publication: str
    microbe: str
    passed: bool
    tier: str


@dataclass(frozen=True)
class Answer:
    """What the program says on one formula and microbe.

    nan where it gives no figure, or where a sum of 0 only means that no MIC is known.
    """

    chance: float
    ratio_sum: float
    over_mic: float
    no_uptake: float
    verdict: str


def cases(path: Path = HERE / "cases.csv") -> list[Case]:
    """All published results."""
    with path.open(encoding="utf-8", newline="") as lines:
        return [
            Case(r["case"], r["publication"], r["microbe"], r["result"] == "pass", r["tier"])
            for r in csv.DictReader(lines)
        ]


def answers(formula: str) -> dict[str, Answer]:
    """What the program in the path says on one formula, per microbe."""
    from preservecheck import review

    report: Mapping[str, Any] = review(str(HERE / "formulas" / f"{formula}.toml")).to_json()
    return {
        check["about"]: _answer(check) for check in report["checks"] if check["id"] == "free-active"
    }


def stored(path: Path = HERE / "state_2026_11.csv") -> dict[tuple[str, str], Answer]:
    """What the program said in November 2026."""
    with path.open(encoding="utf-8", newline="") as lines:
        return {
            (r["formula"], r["microbe"]): Answer(
                _number(r["chance"]), _number(r["sum"]), math.nan, math.nan, r["verdict"]
            )
            for r in csv.DictReader(lines)
        }


def _answer(check: Mapping[str, Any]) -> Answer:
    figures = {k: v["value"] for k, v in check["figures"].items()}
    chance = figures.get("challenge_chance", check.get("chance"))

    def of(name: str) -> dict[str, float]:
        head = f"{name}."
        return {k[len(head) :]: v for k, v in figures.items() if k.startswith(head)}

    mic, total, working = (
        of("mic_percent"),
        of("total_in_water_percent"),
        of("undissociated_fraction"),
    )
    known = [a for a in mic if mic[a]]
    blind = not known and (bool(total) or check["verdict"] == "unknown")
    over = sum((total[a] or 0.0) / mic[a] for a in known)
    free = sum((total[a] or 0.0) * _one(working.get(a)) / mic[a] for a in known)
    verdict = "serious" if check["serious"] else check["verdict"]
    ratio_sum = sum(
        _number(figures.get(name, 0.0))
        for name in ("sum_of_ratios", "water_activity_share", "acidity_share")
    )
    if blind:
        ratio_sum = over = free = math.nan
    return Answer(_number(chance), ratio_sum, over, free, verdict)


def _one(value: float | None) -> float:
    return 1.0 if value is None else value


def _number(value: float | str | None) -> float:
    return math.nan if value in (None, "") else float(value)


def panel(of: Mapping[str, Answer]) -> Answer:
    """The microbe that does worst: what a result for a whole panel is held against."""
    return min(of.values(), key=lambda a: (math.isnan(a.chance), a.chance))


@lru_cache(maxsize=1)
def scored() -> tuple[list[Case], list[Answer]]:
    """Every case with the answer of the program in the path."""
    by_formula: dict[str, dict[str, Answer]] = {}
    kept, out = [], []
    for case in cases():
        if case.formula not in by_formula:
            by_formula[case.formula] = answers(case.formula)
        of = by_formula[case.formula]
        if of:
            kept.append(case)
            out.append(panel(of) if case.microbe == "panel" else of[case.microbe])
    return kept, out


def _line(name: str, score: np.ndarray, cases_: Sequence[Case], *, chance: bool) -> str:
    seen = ~np.isnan(score)
    y = np.array([c.passed for c in cases_])
    names = [c.formula for c, s in zip(cases_, seen, strict=True) if s]
    area = area_under_curve(score[seen], y[seen])
    low, high = bootstrap_interval(score[seen], y[seen], names)
    said = f"{brier(score[seen], y[seen]):.3f}" if chance else "-"
    return f"| {name} | {seen.sum()} | {area:.3f} ({low:.2f} to {high:.2f}) | {said} |"


def left_out(cases_: Sequence[Case], log_sum: np.ndarray) -> np.ndarray:
    """Chance of each result by the logistic fit on the other publications alone."""
    y = np.array([c.passed for c in cases_], dtype=float)
    source = np.array([c.publication for c in cases_])
    out = np.full(len(y), np.nan)
    for name in sorted(set(source)):
        rest = source != name
        (a, b), _ = logistic(log_sum[rest], y[rest])
        out[~rest] = 1 / (1 + np.exp(-(a + b * log_sum[~rest])))
    return out


def report() -> str:
    """The score of the program in the path, as Markdown."""
    kept, said = scored()
    y = np.array([c.passed for c in kept])
    chance = np.array([a.chance for a in said])
    sums = np.array([a.ratio_sum for a in said])
    before = stored()
    old = [
        panel({m: a for (f, m), a in before.items() if f == c.formula})
        if c.microbe == "panel"
        else before[c.formula, c.microbe]
        for c in kept
    ]
    lines = [
        f"{len(kept)} results, {len({c.formula for c in kept})} formulas, "
        f"{len({c.publication for c in kept})} publications; {y.mean():.0%} passed.",
        "",
        "| forecast | results | area under the curve (95 %) | Brier |",
        "|---|---|---|---|",
        _line("chance of this program", chance, kept, chance=True),
        _line("sum of free amount over MIC", sums, kept, chance=False),
        _line("total over MIC", np.array([a.over_mic for a in said]), kept, chance=False),
        _line("no uptake", np.array([a.no_uptake for a in said]), kept, chance=False),
        _line("constant rate", np.full(len(kept), y.mean()), kept, chance=True),
        _line("state of 2026-11", np.array([a.chance for a in old]), kept, chance=True),
        "",
        "| verdict | passed | failed |",
        "|---|---|---|",
    ]
    table = Counter((a.verdict, c.passed) for a, c in zip(said, kept, strict=True))
    lines += [
        f"| {v} | {table[v, True]} | {table[v, False]} |"
        for v in ("pass", "warn", "serious", "unknown")
    ]
    lines += ["", "| chance | results | mean chance | passed |", "|---|---|---|---|"]
    seen = ~np.isnan(chance)
    lines += [
        f"| {low:g} to {high:g} | {n} | {mean:.2f} | {share:.2f} |"
        for low, high, n, mean, share in calibration(chance[seen], y[seen])
    ]
    for title, key in (("microbe", "microbe"), ("publication", "publication"), ("tier", "tier")):
        lines += ["", f"| {title} | results | passed | area | Brier |", "|---|---|---|---|---|"]
        for name in sorted({getattr(c, key) for c in kept}):
            at = np.array([getattr(c, key) == name for c in kept]) & seen
            if at.any():
                lines.append(
                    f"| {name} | {at.sum()} | {y[at].mean():.2f} | "
                    f"{area_under_curve(chance[at], y[at]):.2f} | {brier(chance[at], y[at]):.3f} |"
                )
    known = ~np.isnan(sums) & np.array([c.microbe != "panel" for c in kept])
    x = np.log(np.maximum(sums[known], LEAST))
    sub = [c for c, k in zip(kept, known, strict=True) if k]
    lines += [
        "",
        "Single microbes with a known sum, the fit made anew without the publication at hand:",
        "",
        "| fit | results | area under the curve (95 %) | Brier |",
        "|---|---|---|---|",
        _line("each publication left out in turn", left_out(sub, x), sub, chance=True),
    ]
    return "\n".join(lines)


def state() -> list[dict[str, object]]:
    """Figures of the program in the path, for storing."""
    rows: list[dict[str, object]] = []
    for formula in sorted({c.formula for c in cases()}):
        rows += [
            {
                "formula": formula,
                "microbe": m,
                "sum": f"{a.ratio_sum:.6g}" if not math.isnan(a.ratio_sum) else "",
                "chance": f"{a.chance:.4g}" if not math.isnan(a.chance) else "",
                "verdict": a.verdict,
            }
            for m, a in answers(formula).items()
        ]
    return rows


def main() -> None:
    """Print the score, or store the figures of this state."""
    parser = argparse.ArgumentParser(prog="python -m tests.outside.challenge", description=__doc__)
    parser.add_argument("--store", type=Path, help="write this state's figures to a CSV file")
    chosen = parser.parse_args()
    if chosen.store is None:
        print(report())
        return
    rows = state()
    with chosen.store.open("w", encoding="utf-8", newline="") as lines:
        writer = csv.DictWriter(lines, rows[0], lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


if __name__ == "__main__":
    main()
