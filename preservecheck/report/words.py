"""Words that several results share: verdicts, figures, chances, and the small print."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

from preservecheck.assess.uncertainty import INPUTS
from preservecheck.report.document import Verdict
from preservecheck.text import number

if TYPE_CHECKING:
    from preservecheck.bench.addition_window import PastAddition
    from preservecheck.bench.batch_sheet import BatchSheet
    from preservecheck.evidence.drift import Series
    from preservecheck.plan.review import Report
    from preservecheck.provenance import Provenance
    from preservecheck.verdict import Figure, Finding

    Judged = Report | Finding | BatchSheet | Series | PastAddition
    Made = BatchSheet | Provenance

Word = Literal["pass", "unknown", "warn", "serious"]
VERDICTS: dict[Word, tuple[str, str]] = {
    "serious": ("warn, serious", "do not fill this batch as it stands"),
    "warn": ("warn", "see to what follows before you fill this batch"),
    "unknown": ("unknown", "a figure is missing, and missing is not passed"),
    "pass": ("pass", "every check came out well"),
}
DIGITS = 12  # of a digest, where it is not given as a whole
SCREEN = (
    "This is a screen, not a proof: only a challenge test on the finished product in its pack "
    "shows that it is protected."
)
LABELS = {
    "ph": "pH",
    "ph_min": "pH at least",
    "ph_max": "pH at most",
    "ph_from": "from pH",
    "ph_to": "to pH",
    "percent": "amount",
    "percent_min": "at least",
    "percent_max": "at most",
    "percent_as_limited": "amount as the rule counts it",
    "temperature_c": "hottest",
    "limit_c": "limit",
    "added_at_c": "added at",
    "preferred_below_c": "best below",
    "preservative_meq_kg": "preservative",
    "cationic_meq_kg": "cationic",
    "anionic_meq_kg": "anionic",
    "grams": "to weigh",
    "error_percent": "error of the scale",
    "dissolved_g_l": "dissolved",
    "solubility_g_l": "solubility",
    "low_risk_below": "low risk below",
    "water_percent": "water",
    "nutrient_percent": "nutrients",
    "unpreserved_percent": "unpreserved plant material",
    "chelator_percent": "chelator",
    "hurdles": "further hurdles",
    "material_min": "raw materials want at least pH",
    "material_max": "raw materials want at most pH",
    "challenge_chance": "chance that a challenge test finds it controlled (0.8 is needed)",
    "sum_of_ratios": "free amount over what stops it",
    "chance_enough": "chance that the sum is 1 or more",
    "water_activity_share": "share of the water activity",
    "left_percent": "left at the end of the shelf life",
    "half_life_months": "half-life",
    "shelf_life_months": "shelf life",
    "held_months": "held for",
    "acidity_share": "share of the acid pH",
    "layers_to_water_volume": "layers of fatty alcohol to water, by volume",
    "ion_ratio": "ion, total over free",
    "first_percent": "first",
    "second_percent": "second",
    "heat_above_c": "harm above",
    "gram_positive": "gram-positive",
    "gram_negative": "gram-negative",
}


def word_of(judged: Judged) -> Word:
    """The verdict as one word."""
    return "serious" if judged.serious else judged.verdict  # type: ignore[return-value]


def verdict_of(judged: Judged, counts: Mapping[str, int]) -> Verdict:
    """The verdict of a whole formula, and how many findings it rests on."""
    word = word_of(judged)
    return Verdict(word, *VERDICTS[word], counted(counts))


def counted(counts: Mapping[str, int]) -> str:
    """``24 findings: 20 pass, 3 warn (1 serious), 1 unknown``."""
    total = counts["pass"] + counts["warn"] + counts["unknown"]
    serious = f" ({counts['serious']} serious)" if counts["serious"] else ""
    return (
        f"{total} findings: {counts['pass']} pass, {counts['warn']} warn{serious}, "
        f"{counts['unknown']} unknown"
    )


def footer(made: Made, *, whole: bool = False) -> list[str]:
    """Program, date and digests; whole, or as many digits as tell them apart."""
    digests = {"tables": made.tables_sha256, "formula": made.formula_sha256}
    shown = [f"{name} {d if whole else d[:DIGITS]}" for name, d in digests.items() if d]
    return [f"{made.program}, {made.date}", *(shown if whole else [", ".join(shown)])]


def label(name: str) -> str:
    """The name of a figure in words."""
    return LABELS.get(name) or name.replace("_", " ")


def figure_text(figure: Figure) -> str:
    """``4.4 ± 0.1``, ``38 ± 2 °C``: at most three digits, none beyond the tolerance."""
    if figure.value is None:
        text = "not known"
    elif figure.tolerance:
        tolerance = number(figure.tolerance, 2)
        digits = 2 - math.floor(math.log10(abs(figure.value))) if figure.value else 2
        places = min(len(tolerance.partition(".")[2]), max(0, digits))
        text = f"{figure.value:.{places}f} ± {tolerance}"
    else:
        text = number(figure.value)
    text = "0" if text == "-0" else text
    return f"{text} {figure.unit}".rstrip()


def figures_text(figures: Iterable[Figure]) -> str:
    """Figures with their names, those of one unit with the unit once: ``amount 0.1; at least 0.2
    (%)``."""
    groups: dict[str, list[str]] = {}
    for figure in figures:
        bare = replace(figure, unit="")
        groups.setdefault(figure.unit, []).append(f"{label(figure.name)} {figure_text(bare)}")
    return "; ".join(
        f"{'; '.join(said)} ({unit})"
        if unit and len(said) > 1
        else f"{'; '.join(said)} {unit}".rstrip()
        for unit, said in groups.items()
    )


def chance_text(chance: float | None) -> str:
    """Chance of passing, in per cent."""
    if chance is None:
        return ""
    percent = 100 * chance
    if 0 < percent < 1:
        return "below 1 %"
    return "above 99 %" if 99 < percent < 100 else f"{percent:.0f} %"  # noqa: PLR2004


def doubt_text(finding: Finding) -> str:
    """Where the doubt about a verdict comes from: ``the MIC values 80 %, the pH reading 20 %``."""
    ranked = sorted(finding.due_to.items(), key=lambda item: -item[1])
    return ", ".join(f"{INPUTS.get(n, n)} {chance_text(share)}" for n, share in ranked)
