"""What every report says and in which order; the formats only lay it out.

Nothing here judges. Findings with the same remedy become one entry, sources get numbers, figures
get names and units.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from preservecheck.assess.uncertainty import INPUTS
from preservecheck.report.labels import label
from preservecheck.text import join_and, number
from preservecheck.verdict import Figure, Finding, sources_of

if TYPE_CHECKING:
    from preservecheck.assess.review import Report

Kind = Literal["serious", "warn", "unknown", "note"]
KINDS: tuple[Kind, ...] = ("serious", "warn", "unknown", "note")
VERDICTS = {
    "serious": "warn, serious: do not fill this batch as it stands",
    "warn": "warn: see to what follows before you fill this batch",
    "unknown": "unknown: a figure is missing, and missing is not passed",
    "pass": "pass: every check came out well",
}
SCREEN = (
    "This is a screen, not a proof: only a challenge test on the finished product in its pack "
    "shows that it is "
    "protected."
)
# the sentence that a list of remedies shows; the whole of it stands in the evidence
SHORT = 170
MICROBE_CHECK = "free-active"


@dataclass(frozen=True)
class Action:
    """Something to do, and all the findings that ask for it."""

    kind: Kind
    do: str
    findings: tuple[Finding, ...]

    @property
    def title(self) -> str:
        """Check and subjects: ``dose: phenoxyethanol``; several checks stand side by side."""
        subjects: dict[str, list[str]] = {}
        for f in self.findings:
            subjects.setdefault(f.id, []).append(f.about)
        alone = len(subjects) == 1
        return ", ".join(
            f"{check}: {', '.join(about)}" if alone and about != ["formula"] else check
            for check, about in subjects.items()
        )

    @property
    def because(self) -> str:
        """The reason in one short sentence."""
        sums = [
            f
            for f in self.findings
            if f.id == MICROBE_CHECK and f.value("sum_of_ratios") is not None
        ]
        if len(sums) == len(self.findings) > 1:
            values = [f.value("sum_of_ratios") or 0.0 for f in sums]
            low, high = number(min(values), 2), number(max(values), 2)
            span = low if low == high else f"{low} to {high}"
            return f"The free amounts add up to {span} times what stops them" + (
                "; some figures are not known." if self.kind == "unknown" else "; 1 is needed."
            )
        return shortened(self.findings[0].because)


def kind_of(finding: Finding) -> Kind:
    """Rank of a finding in the list of things to do."""
    if finding.serious:
        return "serious"
    return "note" if finding.verdict == "pass" else finding.verdict


def word_of(finding: Finding) -> str:
    """The verdict as one word."""
    return "serious" if finding.serious else finding.verdict


def verdict_of(report: Report) -> str:
    """The verdict of the whole report in words."""
    return VERDICTS["serious" if report.serious else report.verdict]


def counted(counts: Mapping[str, int]) -> str:
    """``24 findings: 20 pass, 3 warn (1 serious), 1 unknown``."""
    total = counts["pass"] + counts["warn"] + counts["unknown"]
    serious = f" ({counts['serious']} serious)" if counts["serious"] else ""
    return (
        f"{total} findings: {counts['pass']} pass, {counts['warn']} warn{serious}, "
        f"{counts['unknown']} unknown"
    )


def actions(report: Report) -> list[Action]:
    """Things to do, the most serious first; findings with the same remedy are one entry."""
    groups: dict[tuple[Kind, str], list[Finding]] = {}
    for finding in report.checks:
        if finding.do or finding.verdict != "pass":
            groups.setdefault(
                (kind_of(finding), finding.do or "See the evidence below."), []
            ).append(finding)
    entries = [Action(kind, do, tuple(findings)) for (kind, do), findings in groups.items()]
    return sorted(entries, key=lambda a: KINDS.index(a.kind))


def by_check(report: Report) -> Iterator[tuple[str, list[Finding]]]:
    """Findings under their check, in the order of the report."""
    groups: dict[str, list[Finding]] = {}
    for finding in report.checks:
        groups.setdefault(finding.id, []).append(finding)
    yield from groups.items()


def shortened(text: str, longest: int = SHORT) -> str:
    """The first sentence; where it is long, cut after the last of its parts that fits, else at a
    word."""
    first = re.split(r"(?<=[.!?]) (?=[A-Z])", text, maxsplit=1)[0]
    if len(first) <= longest:
        return first
    kept = first[:longest]
    part = kept.rfind(";")
    return (kept[:part] if part > longest / 2 else kept.rsplit(" ", 1)[0].rstrip(",;:(")) + " …"


def product_line(report: Report) -> str:
    """What is made, for whom and where it is sold."""
    p = report.product
    parts = [
        f"{p.use} {p.type}",
        f"for {p.users}",
        *([p.package] if p.package else []),
        f"sold in {', '.join(p.markets)}" + (f" from {p.on_market}" if p.on_market else ""),
    ]
    if p.batch_g is not None:
        parts.append(f"batch {number(p.batch_g)} g")
    return ", ".join(parts)


def preservative_line(report: Report) -> str:
    """The preservatives in it, with the percentage of each."""
    parts = []
    for p in report.preservatives:
        inside = ", ".join(f"{a.inci} {number(a.percent)} %" for a in p.actives)
        carried = p.id.startswith("carried in by ")
        parts.append(f"{p.id}: {inside}" if carried else f"{p.id} {number(p.percent)} %")
    return "; ".join(parts) if parts else "none"


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


class Sources:
    """Numbers for sources, in the order in which a report refers to them."""

    def __init__(self) -> None:
        self._numbers: dict[str, int] = {}

    def refer(self, sources: Iterable[str]) -> str:
        """``[1, 3-5]``; empty where there is no source."""
        numbers = sorted({self._numbers.setdefault(s, len(self._numbers) + 1) for s in sources})
        runs: list[list[int]] = []
        for n in numbers:
            if runs and n == runs[-1][-1] + 1:
                runs[-1].append(n)
            else:
                runs.append([n])
        spans = [
            str(r[0]) if len(r) == 1 else f"{r[0]}, {r[1]}" if len(r) == 2 else f"{r[0]}-{r[-1]}"  # noqa: PLR2004
            for r in runs
        ]
        return f"[{', '.join(spans)}]" if spans else ""

    def numbered(self) -> Iterator[tuple[int, str]]:
        """All sources with their numbers."""
        for source, at in self._numbers.items():
            yield at, source


def statements(report: Report, sources: Sources) -> list[str]:
    """Statements for the pack: those that several markets ask for in the same words are one."""
    markets: dict[str, list[str]] = {}
    cited: dict[str, list[str]] = {}
    for statement in report.labels:
        markets.setdefault(statement.text, []).append(statement.market)
        cited.setdefault(statement.text, []).extend(sources_of([statement.evidence]))
    return [
        f"{', '.join(dict.fromkeys(places))}: {said} {sources.refer(cited[said])}".rstrip()
        for said, places in markets.items()
    ]


def challenge_lines(report: Report) -> list[str]:
    """The challenge-test reminder, sentence by sentence."""
    test = report.challenge_test
    kept = [test.result] if test.result else []
    if not test.needed:
        return [
            *kept,
            "Not asked for: the product is too dry for growth. Keep water out of the pack.",
        ]
    return [
        *kept,
        f"Needed, because {'; '.join(test.why)}.",
        f"Any one of these standards will do: {', '.join(test.standards)}. Ask which one your "
        "market takes.",
        f"Organisms: {', '.join(test.organisms)}.",
        f"Counts after {join_and([str(d) for d in test.days])} days, on the final formula, in its "
        "pack, at its final pH.",
    ]


@dataclass(frozen=True)
class ActiveRow:
    """How much of one active is at work."""

    name: str
    total: str
    in_water: str
    working: str
    oil: str
    bound: str
    free: str
    limits: tuple[str, ...]


def active_rows(findings: Iterable[Finding]) -> tuple[list[str], list[ActiveRow]]:
    """Microbes, and the free-active figures of each active with its MIC for each of them."""
    found = [f for f in findings if f.id == MICROBE_CHECK]
    if not found:
        return [], []
    first = found[0]
    names = [f.of for f in first.figures if f.name == "free_percent" and f.of is not None]

    def cell(finding: Finding, name: str, of: str, scale: float = 1.0) -> str:
        value = finding.value(name, of)
        return "not known" if value is None else number(value * scale)

    return [f.about for f in found], [
        ActiveRow(
            n,
            cell(first, "total_percent", n),
            cell(first, "total_in_water_percent", n),
            cell(first, "undissociated_fraction", n, 100),
            cell(first, "oil_term", n),
            cell(first, "bound_ratio", n),
            cell(first, "free_percent", n),
            tuple(cell(f, "mic_percent", n) for f in found),
        )
        for n in names
    ]


def common_figures(finding: Finding) -> tuple[Figure, ...]:
    """Figures of a finding that belong to the formula or the subject, not to one active.

    An unknown one is shown only where the verdict is unknown; elsewhere it is a limit that does not
    exist.
    """
    shown = finding.verdict == "unknown"
    return tuple(f for f in finding.figures if f.of is None and (shown or f.value is not None))


def footer_lines(report: Report, digits: int = 64) -> list[str]:
    """Program, date and digests."""
    return [
        f"{report.program}, {report.date}",
        f"tables {report.tables_sha256[:digits]}, formula {report.formula_sha256[:digits]}",
    ]
