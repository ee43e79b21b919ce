"""Sentences of a ranking: its order, what is mended first, what speaks for a system and against
it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from preservecheck.formula.edit import Edit, Replace, SetPh, SetTemperature
from preservecheck.text import join_and, number

if TYPE_CHECKING:
    from preservecheck.ranking.base import BaseFormula
    from preservecheck.ranking.candidate import Candidate
    from preservecheck.ranking.standing import Place
    from preservecheck.verdict import Finding

ORDER = (
    "What works as it stands or after one change, then what needs more, then what does not work; "
    "in each, what the law may bar last and what you prefer first; then how usual a system is in "
    "this kind of product (strong sensitisers, and what leaves two or more points open, stand "
    "lower; so does what is not for children), what formulators start with, fewest warnings and "
    "unknowns of its own, fewest changes, the chance of the weakest microbe in a challenge test, "
    "the chance of passing."
)
# of a dose or pH to be written into the formula: as many as it has, so that review finds what was
# promised
DIGITS = 9
CHOICE = {1: " and a first choice", 2: " and a second choice"}


def mended(base: BaseFormula) -> list[str]:
    """What is mended before systems are tried."""
    out = [_mend(base, edit) for edit in base.mends]
    if base.cooler and not any(isinstance(e, SetTemperature) for e in base.mends):
        out.append("Add the preservative in a phase of its own, once the batch is at 38 °C.")
    return out


def readings(base: BaseFormula) -> list[str]:
    """What is mended first that no recipe can hold: a reading."""
    return [_mend(base, edit) for edit in base.mends if isinstance(edit, SetPh)]


def _mend(base: BaseFormula, edit: Edit) -> str:
    match edit:
        case Replace(name, by):
            amount = "" if by.percent is None else f"{number(by.percent)} % "
            return (
                f"First replace {name} by {amount}{by.name}: it does not go with what else is in "
                "the formula, whatever preservative goes in."
            )
        case SetTemperature(phase, to):
            return f"First let the batch cool: phase {phase} goes in at {to:.0f} °C."
        case SetPh(to):
            kind = f", as is usual in {base.kind.name}" if base.kind else ""
            if base.measured_ph is not None:
                return (
                    f"First bring the pH to {number(to)}{kind}: at {number(base.measured_ph)} its "
                    "materials do not go together, whatever preservative goes in."
                )
            return f"Measure the pH: systems are compared at {number(to)}{kind}."
    raise AssertionError(edit)


def changes(base: BaseFormula, candidate: Candidate) -> list[tuple[str, bool]]:
    """What is to be changed for a candidate, in words, and whether a recipe can hold it."""
    out = []
    if candidate.displaces:
        out.append(
            (
                f"let it take the place of {number(candidate.percent, DIGITS)} % water, which "
                "makes another product: try the base anew",
                True,
            )
        )
    if candidate.cooler and (place := base.place):
        before = place.added_at_c if place.added_at_c is not None else place.heated_to_c
        instead = "" if before is None else f" instead of {before:.0f} °C"
        out.append((f"add it at {candidate.added_at_c:.0f} °C{instead}", True))
    if candidate.ph is not None and candidate.ph != base.ph:
        way = "lower" if candidate.ph < (base.ph or 0) else "raise"
        now, target = number(base.ph or 0, DIGITS), number(candidate.ph, DIGITS)
        out.append((f"{way} the pH from {now} to {target}", False))
    gums = {e.name: e.by.name for e in candidate.changes if isinstance(e, Replace)}
    for line in base.opened.lines:
        if line.inci in gums:
            out.append((f"replace {line.name} by {gums[line.inci]}", True))
    if candidate.scale_step_g is not None:
        out.append((f"weigh it on a scale that shows {number(candidate.scale_step_g)} g", False))
    if candidate.partner is not None:
        dose = number(candidate.partner_percent, DIGITS)
        out.append((f"pair it with {dose} % {candidate.partner.id}", True))
    return out


def why(
    base: BaseFormula,
    place: Place,
    open_: Sequence[str],
    changed: Sequence[str],
    fault: Finding | None,
) -> str:
    """One line: what moved a system up and down, or the fault that keeps it out."""
    if fault is not None:
        return f"{fault.id}: {fault.because}"
    kind = base.kind.name if base.kind else "this kind of product"
    said = [f"{place.standing} in {kind}{CHOICE.get(place.choice, '')}{_survey(place)}"]
    if place.sensitiser:
        said.append("lower as a strong sensitiser")
    if place.children:
        said.append("last where children use it")
    if open_:
        said.append(f"open: {join_and(open_)}")
    return "; ".join([*said, *changed])


def _survey(place: Place) -> str:
    row = place.row
    if row is None or row.survey_percent is None or row.survey_products is None:
        return ""
    of = f" ({row.survey_of})" if row.survey_of else ""
    return (
        f", its main substance in {number(row.survey_percent)} % of "
        f"{number(row.survey_products, 6)} products of a survey{of}"
    )


def pair_why(standing: str, open_: Sequence[str]) -> str:
    """One line on a pair."""
    return f"{standing} pair" + (f"; open: {join_and(open_)}" if open_ else "")
