"""What the counts of a challenge test say, organism by organism and for the product, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from preservecheck.evidence.counts import Count
from preservecheck.evidence.criteria import LineResult
from preservecheck.formula.model import Formula
from preservecheck.text import join_and

STANDARDS = {"iso-11930": "ISO 11930", "usp-51": "USP <51>", "ph-eur-5.1.3": "Ph. Eur. 5.1.3"}
_CLOSED_PACKS = ("pump", "tube")


@dataclass(frozen=True)
class OrganismResult:
    """What the counts of one organism show."""

    name: str
    group: str | None
    verdict: str  # A, B, passes, fails, incomplete, not judged
    log_reductions: dict[str, float]
    at_least: tuple[str, ...]  # days whose count is below detection
    because: str
    lines: tuple[LineResult, ...]
    counts: dict[int, Count]
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """The keys that other programs read."""
        return {
            "name": self.name,
            "group": self.group,
            "verdict": self.verdict,
            "log_reductions": self.log_reductions,
            "at_least": list(self.at_least),
            "because": self.because,
            "notes": list(self.notes),
            "lines": [asdict(line) for line in self.lines],
            "log10_cfu": {str(d): round(c.log10, 3) for d, c in self.counts.items()},
        }


def organism_verdict(
    states: Mapping[str, str], lines: Mapping[str, list[LineResult]], criteria: Sequence[str]
) -> tuple[str, str]:
    """Verdict of one organism, and why."""
    first, last = criteria[0], criteria[-1]
    if "missing" in {line.state for c in criteria for line in lines[c]}:
        if states[last] == "missed":
            return "fails", _missed(lines[last])
        gone = list(
            dict.fromkeys(
                line.found for c in criteria for line in lines[c] if line.state == "missing"
            )
        )
        rest = (
            f" Criterion {last} is reached all the same."
            if len(criteria) > 1 and states[last] == "met"
            else ""
        )
        said = f"{'; '.join(gone)}.{rest}"
        return "incomplete", said[0].upper() + said[1:]
    for c in criteria:
        if states[c] == "met":
            above = [a for a in criteria[: criteria.index(c)]]
            why = " ".join(
                f"Criterion {a} is {'left open' if states[a] == 'open' else 'missed'}: "
                f"{_short(lines[a])}."
                for a in above
            )
            said = f"Every line of {_name(c)} is met{_leaning(lines[c])}."
            return ("passes" if len(criteria) == 1 else c), f"{said} {why}".strip()
    if states[last] == "open":
        return "incomplete", f"Not to be decided: {_short(lines[last])}."
    return "fails", _missed(lines[last if len(criteria) > 1 else first])


def _name(criterion: str) -> str:
    return criterion if " " in criterion else f"criterion {criterion}"


def _missed(lines: Sequence[LineResult]) -> str:
    return f"It misses {_name(lines[0].criterion)}: {_short(lines)}."


def _short(lines: Sequence[LineResult]) -> str:
    """What stands in the way, in words."""
    bad = [line for line in lines if line.state in ("missed", "open")]
    return "; ".join(f"{line.wants}: {line.found}" for line in bad)


def _leaning(lines: Sequence[LineResult]) -> str:
    """What a pass leans on."""
    said = []
    for word, text in (
        ("tolerance", "within the standard's tolerance"),
        ("working value", "by a working value of ours"),
        ("rounding", "by rounding to one decimal"),
    ):
        days = sorted({line.day for line in lines if line.decided_by == word})
        if days:
            said.append(f"on day {join_and([str(d) for d in days])} only {text}")
    warned = [line for line in lines if line.state == "warning"]
    said += [f"but for a warning: {line.wants}, {line.found}" for line in warned]
    return f", {'; '.join(said)}" if said else ""


def overall_because(
    verdict: str, organisms: Sequence[OrganismResult], missing: Sequence[str], standard: str
) -> str:
    """Why the whole test came out so, in a sentence."""
    name = STANDARDS[standard]
    if verdict == "fails":
        failed = [o.name for o in organisms if o.verdict == "fails"]
        more = f" Also missing: {'; '.join(missing)}." if missing else ""
        return (
            f"{join_and(failed)} {'misses' if len(failed) == 1 else 'miss'} what {name} asks at "
            f"the least.{more}"
        )
    if verdict == "incomplete":
        opened = [o.name for o in organisms if o.verdict == "incomplete"]
        return (
            f"{name} cannot be judged: missing are {'; '.join(missing)}."
            if missing
            else f"{name} cannot be judged: the counts of {join_and(opened)} leave a line open."
        )
    leans = [
        o.name
        for o in organisms
        if o.verdict == verdict
        and any(line.decided_by for line in o.lines if verdict in ("passes", line.criterion))
    ]
    lean = f" {join_and(leans)} only by tolerance or rounding, as told below." if leans else ""
    if verdict == "passes":
        return f"Every organism meets every line of {name}, category 2.{lean}"
    weak = [o.name for o in organisms if o.verdict == verdict]
    if verdict == "A":
        return f"Every organism meets every line of criterion A of {name}.{lean}"
    return (
        f"{join_and(weak)} {'reaches' if len(weak) == 1 else 'reach'} criterion B only of "
        f"{name}; the others reach A."
    )


def meaning(
    verdict: str, standard: str, formula: Formula | None, organisms: Sequence[OrganismResult]
) -> tuple[str, ...]:
    """What follows for the product."""
    package = formula.product.package if formula else None
    out = []
    if verdict == "A":
        out.append(
            "The formula protects itself, in the pack, batch and pH that were tested."
            if standard == "iso-11930"
            else "The formula reaches the target criterion, in the pack, batch and pH that were "
            "tested."
        )
    elif verdict == "B":
        closed = package in _CLOSED_PACKS
        said = (
            f"; your {package} is such a pack"
            if closed
            else f"; a {package} does not give it"
            if package
            else ""
        )
        out.append(
            "Acceptable only with reasons beside the formula, which your safety assessor has to "
            "accept: a pack that "
            f"lets nothing in (pump, airless, tube), single use, or a rinse-off product{said}."
        )
        out.append(
            "To reach A: raise the dose inside its range, lower the pH for an acid, add a "
            "chelator or a second system, "
            "and test again."
        )
    elif verdict == "passes":
        out.append(
            "It meets USP category 2, the mildest of the three: it asks no kill of yeast and "
            "mould, and is no proof of "
            "ISO 11930 or Ph. Eur."
        )
    elif verdict == "fails":
        groups = join_and(sorted({o.group or o.name for o in organisms if o.verdict == "fails"}))
        out.append(
            f"The product is not protected against {groups}: do not sell it. Change the formula "
            "('preservecheck "
            "choose' ranks systems for it) and test again."
        )
    else:
        out.append(
            "Nothing can be claimed yet. Ask the laboratory for what is missing, or repeat the "
            "organisms concerned."
        )
    if standard == "iso-11930" and verdict == "A":
        out.append("It is no proof of Ph. Eur. A, which asks for 2 log of bacteria on day 2.")
    if verdict in ("A", "B", "passes"):
        out.append(
            "It holds for the formula that was tested. Test again after a change of preservative, "
            "supplier, pH, plant "
            "material, surfactant, pack or site, and at the end of stability."
        )
    return tuple(out)
