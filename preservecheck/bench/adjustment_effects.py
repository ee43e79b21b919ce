"""What an acid or base brings along: what the checks say of the formula with it, and what to beware
of."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays, formula_arrays
from preservecheck.assess.findings import composer_for, findings_of, table_arrays_for
from preservecheck.bench.buffers import Ionic
from preservecheck.bench.titration import Titration
from preservecheck.formula.edit import as_written, at_ph, with_line
from preservecheck.formula.model import Formula, Line
from preservecheck.reference.load import Tables
from preservecheck.text import number
from preservecheck.verdict import PASS, Finding

# a step of a tenth of the amount that moves the pH by more than this overshoots easily
_STEEP_PH = 0.2
# charges that thin a cationic cream, an acid gel or a shampoo; common practice, no source
_MUCH_MEQ_KG = 10.0
# a stronger solution is hard to stop in time; common practice, no source
_STRONG_PERCENT = 50.0
# salts whose free acid leaves with steam or falls out in strong acid
_ACID_SALTS = (
    "Sodium Benzoate",
    "Potassium Benzoate",
    "Potassium Sorbate",
    "Sodium Dehydroacetate",
    "Sodium Anisate",
)


@dataclass(frozen=True)
class Effect:
    """A check that comes out differently once the agent is in and the pH is at the target."""

    check: str
    about: str
    before: str
    after: str
    worse: bool
    because: str


def with_agent(
    formula: Formula, agent: Ionic, percent_of_batch: float, strength: float | None, target: float
) -> Formula:
    """The formula with the agent in its last phase, at the target pH."""
    amount = as_written(formula, percent_of_batch)
    line = Line(name=agent.inci, kind="ingredient", amount=amount, strength=strength)
    return with_line(at_ph(formula, target), line, formula.phases[-1].name)


def effects_of(
    formula: Formula,
    tables: Tables,
    agent: Ionic,
    percent_of_batch: float,
    strength: float | None,
    target: float,
    today: dt.date,
) -> tuple[Effect, ...]:
    """Checks whose verdict changes, those that get worse first."""

    def judged(version: Formula) -> dict[tuple[str, str], tuple[int, Finding]]:
        composition = composer_for(tables).compose(version)
        case = formula_arrays([composition], table_arrays_for(tables), today)
        return {(j.finding.id, j.finding.about): (j.code, j.finding) for j in findings_of(case)}

    before = judged(formula)
    after = judged(with_agent(formula, agent, percent_of_batch, strength, target))
    out = []
    for key, (code, finding) in after.items():
        old_code, old = before.get(key, (PASS, None))
        if code != old_code:
            was = _word(old) if old else "not there"
            worse = code > old_code
            out.append(Effect(*key, was, _word(finding), worse, finding.because))
    return tuple(sorted(out, key=lambda e: not e.worse))


def _word(finding: Finding) -> str:
    return "serious" if finding.serious else finding.verdict


def warnings_of(
    case: FormulaArrays,
    agent: Ionic | None,
    name: str | None,
    percent: float | None,
    per_kg: float,
    target: float,
    bench: Titration | None,
) -> list[str]:
    """Sentences about over-shoot, ions and handling."""
    out = [_overshoot(per_kg, target, bench)]
    if agent is None:
        return out
    c = case.reference
    acidifies = agent.charge(target) < 0
    cautions = [row for row in c.tables.cautions if f"inci:{agent.inci}" in row.when]
    out += _ions(case, agent, percent, per_kg, target)
    out += [row.text for row in cautions]
    if agent.corrosive and (acidifies or not cautions):
        out.append(
            f"{agent.inci} is corrosive: goggles and gloves; add the strong solution to water, "
            "never water to it, and have running water at hand."
        )
    if agent.inci == "Sodium Bicarbonate":
        out.append(
            "Bicarbonate foams over and lifts the pH for hours while gas leaves; read again the "
            "next day."
        )
    salts = [n for n in _ACID_SALTS if n in c.index and case.amount[0, c.index[n]] > 0]
    if salts and acidifies:
        out.append(
            f"Acidify cool: from {salts[0]} the free acid forms, which leaves with steam and may "
            "crystallise where a drop of strong acid falls in. Dilute, and stir while it runs in."
        )
    if name and percent and percent > _STRONG_PERCENT:
        out.append(
            f"{name} at {number(percent)} % is strong for adjusting; dilute it to 10 to 20 % so "
            "that the last drop does not overshoot."
        )
    return out


def _overshoot(per_kg: float, target: float, bench: Titration | None) -> str:
    if bench is None:
        return (
            "Over-shoot: going back with the opposite leaves salt behind, which thins creams and "
            "gels; add in steps and stop early."
        )
    steep = abs(bench.ph_at(per_kg * bench.sample_g / 1000 * 1.1) - target)
    much = "the curve is steep there: " if steep > _STEEP_PH else ""
    return (
        f"Over-shoot: {much}a tenth more than told moves the pH by {number(steep, 2)}. Going back "
        "with the opposite leaves salt behind, which thins creams and gels; stop early instead."
    )


def _ions(
    case: FormulaArrays, agent: Ionic, percent: float | None, per_kg: float, target: float
) -> list[str]:
    """What the ions of the agent do to charge and thickness."""
    if percent is None:
        return []
    mmol = per_kg * percent / 100 / agent.molar_mass_g_mol * 1000
    charge = abs(agent.charge(target))
    meq = mmol * max(charge, abs(agent.counter_charge))
    said = f"It adds {number(meq, 2)} meq of ions per kg"
    cationic, anionic = (float(np.atleast_1d(v)[0]) for v in case.charge)
    if charge > 1 and cationic > 0:
        said += (
            f"; its ion carries {number(charge, 2)} charges at pH {number(target)} and ties "
            f"cationic conditioners together ({number(cationic, 2)} meq/kg here): watch for "
            "thinning or grains"
        )
    elif meq >= _MUCH_MEQ_KG:
        said += (
            ", enough to thin an anionic gel or shift the thickness of a shampoo"
            if anionic > 0
            else ", enough to thin a cream or gel that does not bear salt"
        )
    return [said + "."]
