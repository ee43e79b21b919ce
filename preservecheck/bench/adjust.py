"""How much acid or base brings the pH where it should be: read off a bench titration, else
estimated by the charge balance."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays, formula_arrays
from preservecheck.assess.findings import composer_for, findings_of, table_arrays_for
from preservecheck.bench.buffers import (
    Ionic,
    agent_needed,
    agent_of,
    agent_spread,
    buffers_of,
    ph_after,
)
from preservecheck.bench.ph_target import Aim, aim_of, plan_for
from preservecheck.bench.titration import EXTRA_PH, Titration, read_titration
from preservecheck.chemistry.titration import buffer_capacity
from preservecheck.errors import Hint, ReadingsError
from preservecheck.formula.edit import as_written, at_ph, with_line
from preservecheck.formula.model import Formula, Line
from preservecheck.provenance import Provenance, provenance_of
from preservecheck.reference.load import Tables, load_tables
from preservecheck.text import join_and, number
from preservecheck.units import mass_text
from preservecheck.verdict import PASS, Finding

# taken where nothing else is said: weak enough a solution to weigh and to stop in time (common
# practice, no source)
ACID, ACID_PERCENT = "Citric Acid", 20.0
BASE, BASE_PERCENT = "Sodium Hydroxide", 10.0
# shares of the whole that are in after each addition: half, then ever less
STEPS = (0.5, 0.75, 0.9, 1.0)
# an estimate begins below its low end
FIRST_OF_LOW = 0.8
# readings of sample and formula that differ by more are worth a word
_SAME_PH = 0.2
# an addition of fewer steps of the scale is weighed badly
_FEW_STEPS = 10
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
class Amount:
    """Solution per kg of batch, with its ends, and the pH on the way."""

    per_kg: float
    low: float
    high: float
    ph_after: Callable[[float], float]  # grams per kg -> pH
    first_share: float
    capacity: float | None  # of the batch against the agent [mmol/(kg pH)]


@dataclass(frozen=True)
class Step:
    """One addition: how much, how much is in by then, and the pH to expect."""

    grams: float | None
    total_grams: float | None
    grams_per_kg: float
    expected_ph: float
    then: str


@dataclass(frozen=True, kw_only=True)
class Adjustment:
    """What to add, in steps, and what comes with it."""

    head: Provenance
    aim: Aim
    start_ph: float | None
    agent: str | None
    agent_percent: float | None
    batch_g: float | None
    amount: Amount | None
    additions: tuple[Step, ...]
    because: str
    warnings: tuple[str, ...]
    effects: tuple[Effect, ...]
    titration: Titration | None

    @property
    def basis(self) -> str:
        """What the amount rests on: ``titration`` or ``estimate``."""
        return "titration" if self.titration else "estimate"

    @property
    def target_ph(self) -> float | None:
        """The pH to reach."""
        return self.aim.target

    @property
    def window(self) -> tuple[float, float] | None:
        """Lowest and highest pH that suit preservatives and product."""
        return self.aim.window

    @property
    def grams_per_kg(self) -> float | None:
        """Solution for a kilogram of batch. [g/kg]"""
        return self.amount.per_kg if self.amount else None

    @property
    def grams(self) -> float | None:
        """Solution for the batch. [g]"""
        return self._for_batch(self.amount.per_kg if self.amount else None)

    @property
    def grams_low(self) -> float | None:
        """The low end of it. [g]"""
        return self._for_batch(self.amount.low if self.amount else None)

    @property
    def grams_high(self) -> float | None:
        """The high end of it. [g]"""
        return self._for_batch(self.amount.high if self.amount else None)

    @property
    def buffer_capacity_mmol_kg_ph(self) -> float | None:
        """What it takes to move the pH by one. [mmol/(kg pH)]"""
        return self.amount.capacity if self.amount else None

    @property
    def complete(self) -> bool:
        """Whether an amount is told, and no check comes out worse by it."""
        return self.amount is not None and not any(e.worse for e in self.effects)

    @property
    def hints(self) -> tuple[Hint, ...]:
        """What helps further."""
        return (*self.aim.hints, *(() if self.batch_g is not None else (Hint.BATCH,)))

    def to_json(self) -> dict[str, Any]:
        """The keys that other programs read."""
        keys = (
            "basis",
            "start_ph",
            "target_ph",
            "agent",
            "agent_percent",
            "batch_g",
            "grams",
            "grams_low",
            "grams_high",
            "grams_per_kg",
            "buffer_capacity_mmol_kg_ph",
            "because",
        )
        return {
            **self.head.to_json(),
            **{k: getattr(self, k) for k in keys},
            "window": self.window and list(self.window),
            "additions": [asdict(a) for a in self.additions],
            "warnings": list(self.warnings),
            "effects": [asdict(e) for e in self.effects],
        }

    def _for_batch(self, per_kg: float | None) -> float | None:
        return None if per_kg is None or self.batch_g is None else per_kg * self.batch_g / 1000


def adjust(
    formula: Formula,
    tables: Tables | None = None,
    *,
    titration: str | Path | Titration | None = None,
    target_ph: float | None = None,
    agent: str | None = None,
    agent_percent: float | None = None,
    batch_g: float | None = None,
    today: dt.date | None = None,
) -> Adjustment:
    """How much acid or base a batch needs; a ``ReadingsError`` where the titration cannot be used,
    or the agent is not known.

    Read off a bench titration or its file; without one the amount is estimated. The target is by
    default that of the review's plan. [-] Agent and strength [%] may stand in the file of the
    titration. ``batch_g`` goes before the formula's own mass. [g]
    """
    tables = tables or load_tables()
    today = today or dt.date.today()
    composition = composer_for(tables).compose(formula)
    case = formula_arrays([composition], table_arrays_for(tables), today)
    bench = read_titration(titration) if isinstance(titration, (str, Path)) else titration
    tolerance = formula.measured.ph_tolerance
    start = float(bench.ph[0]) if bench else formula.measured.ph
    aim = aim_of(plan_for(formula, tables, today, start), start, tolerance, target_ph)
    name, percent, ionic = _agent(bench, agent, agent_percent, aim, start, tables)
    amount, why = _amount(bench, case, ionic, percent, aim, start, tolerance)
    batch = batch_g or composition.batch_g
    warnings = list(_notes(bench, formula, aim, batch))
    effects: tuple[Effect, ...] = ()
    steps: tuple[Step, ...] = ()
    if amount is not None and amount.per_kg > 0 and aim.target is not None:
        steps = tuple(_steps(amount, batch, aim.target))
        if ionic is not None:
            effects = effects_of(
                formula, tables, ionic, amount.per_kg / 10, percent, aim.target, today
            )
        warnings += warnings_of(case, ionic, name, percent, amount.per_kg, aim.target, bench)
        warnings += _scale(formula, steps)
    return Adjustment(
        head=provenance_of(tables, formula, today),
        aim=aim,
        start_ph=start,
        agent=name,
        agent_percent=percent,
        batch_g=batch,
        amount=amount,
        additions=steps,
        because=" ".join(t for t in (aim.because, why) if t),
        warnings=tuple(warnings),
        effects=effects,
        titration=bench,
    )


def _agent(
    bench: Titration | None,
    agent: str | None,
    percent: float | None,
    aim: Aim,
    start: float | None,
    tables: Tables,
) -> tuple[str | None, float | None, Ionic | None]:
    """Name, strength and constants of what is added."""
    if bench is not None:
        if agent and bench.agent and agent.casefold() != bench.agent.casefold():
            raise ReadingsError(
                f"the titration was made with {bench.agent}, not with {agent}",
                "an amount of one says nothing of the other",
                where=bench.where,
            )
        if percent and bench.agent_percent and percent != bench.agent_percent:
            made_at = f"the titration was made at {bench.agent_percent:g} %, not at {percent:g} %"
            raise ReadingsError(made_at, where=bench.where)
        agent, percent = agent or bench.agent, percent or bench.agent_percent
        if agent is None:
            return None, percent, None
    elif agent is None and aim.inside:
        return None, None, None
    elif agent is None:
        down = start is None or aim.target is None or aim.target < start
        agent, percent = (
            (ACID, percent or ACID_PERCENT) if down else (BASE, percent or BASE_PERCENT)
        )
    ionic, strength = agent_of(agent, tables)
    return ionic.inci, percent or strength or (None if bench else 100.0), ionic


# ---- how much ----


def _amount(
    bench: Titration | None,
    case: FormulaArrays,
    agent: Ionic | None,
    percent: float | None,
    aim: Aim,
    start: float | None,
    tolerance: float,
) -> tuple[Amount | None, str]:
    """How much per kg of batch, and how that is known, or why it cannot be told."""
    if aim.target is None or start is None:
        return None, ""
    if aim.inside:
        capacity = capacity_of(bench, agent, percent, start)
        return Amount(0.0, 0.0, 0.0, lambda _: start, 1.0, capacity), ""
    if bench is not None:
        return _titrated(bench, agent, percent, aim.target, tolerance)
    assert agent is not None
    assert percent is not None
    return _estimated(case, agent, percent, start, aim.target, tolerance)


def _titrated(
    bench: Titration, agent: Ionic | None, percent: float | None, target: float, tolerance: float
) -> tuple[Amount | None, str]:
    """An amount read off a titration."""
    if (target < float(bench.ph[0])) != bench.falling:
        way, other = ("lowers", "raises") if bench.falling else ("raises", "lowers")
        return None, (
            f"What was titrated {way} the pH, but the target {number(target)} asks for something "
            f"that {other} it."
        )
    best = bench.grams_for(target)
    if np.isnan(best):
        return None, (
            f"The titration ends at pH {number(float(bench.ph[-1]))}, and no amount is told more "
            f"than {EXTRA_PH:g} pH past its last reading: go on with the same sample until it is "
            f"past {number(target)}."
        )
    scale = 1000 / bench.sample_g
    toward = -tolerance if bench.falling else tolerance
    low, high = bench.grams_for(target - toward), bench.grams_for(target + toward)
    low = best if np.isnan(low) else low
    high = best + (best - low) if np.isnan(high) else high
    how = "straight on past the last reading" if best > bench.grams[-1] else "between its readings"
    said = (
        f"{number(best, 3)} g brought {number(bench.sample_g, 4)} g of sample to pH "
        f"{number(target)}, {how}; the batch takes {number(best * scale, 3)} g per kg."
    )
    if bench.smoothed:
        said += " Small steps against the trend were evened out."
    capacity = capacity_of(bench, agent, percent, target)

    def ph_at(grams_per_kg: float) -> float:
        return bench.ph_at(grams_per_kg / scale)

    return Amount(best * scale, low * scale, high * scale, ph_at, STEPS[0], capacity), said


def capacity_of(
    bench: Titration | None, agent: Ionic | None, percent: float | None, ph: float
) -> float | None:
    """Moles of agent per kg and pH, in thousandths; ``None`` without a titration or a molar mass.
    [mmol/(kg pH)]"""
    if bench is None or agent is None or percent is None:
        return None
    mol_kg = bench.grams * percent / 100 / agent.molar_mass_g_mol / bench.sample_g * 1000
    value = 1000 * buffer_capacity(
        mol_kg, bench.ph, min(max(ph, float(bench.ph.min())), float(bench.ph.max()))
    )
    return value if np.isfinite(value) else None


def _estimated(
    case: FormulaArrays, agent: Ionic, percent: float, start: float, target: float, tolerance: float
) -> tuple[Amount | None, str]:
    """An amount by the charge balance."""
    buffers = buffers_of(case)
    if buffers.water_phase_share <= 0:
        return None, "There is no water in it, so there is no pH to adjust."
    mol = agent_needed(buffers, agent, start, target)
    if np.isnan(mol):
        return None, (
            f"{agent.inci} cannot bring the pH from {number(start)} to {number(target)}; choose "
            f"{'an acid' if target < start else 'a base'}."
        )
    low, high = agent_spread(buffers, agent, start, target, tolerance, mol)
    # grams of solution per kg of batch, for each mol per kg of water phase
    per_kg = agent.molar_mass_g_mol / (percent / 100) * buffers.water_phase_share
    if buffers.names:
        what = f"what holds the pH is taken to be {join_and(buffers.names[:6])}"
    else:
        what = (
            "no weak acid or base is stated, so hardly anything holds the pH and the figure is a "
            "guess"
        )
    if buffers.unknown:
        what += f"; {join_and(buffers.unknown[:4])} hold it too, by an amount that is not known"
    said = (
        f"An estimate, not a measurement, by the charge balance: {what}. It may lie anywhere "
        f"between {number(low * per_kg, 2)} and {number(high * per_kg, 2)} g per kg. Titrate a "
        "weighed sample for a figure to rely on."
    )

    def ph_at(grams_per_kg: float) -> float:
        return ph_after(buffers, agent, start, grams_per_kg / per_kg)

    return Amount(
        per_kg=mol * per_kg,
        low=low * per_kg,
        high=high * per_kg,
        ph_after=ph_at,
        first_share=min(STEPS[0], FIRST_OF_LOW * low / mol),
        capacity=1000 * mol / abs(target - start) * buffers.water_phase_share,
    ), said


# ---- steps and remarks ----


def _steps(amount: Amount, batch: float | None, target: float) -> Iterator[Step]:
    """Half first, then ever less, each with a reading after it."""
    before = 0.0
    for share in sorted({amount.first_share, *STEPS[1:]}):
        step, total = (share - before) * amount.per_kg, share * amount.per_kg
        then = (
            "stir 3 to 5 min and read the pH at 20 to 25 °C; stop as soon as it is within 0.2 of "
            f"{number(target)}, wait and read again"
        )
        if share == STEPS[-1]:
            then = (
                f"only if the pH is still more than 0.1 away from {number(target)}; read again "
                "after 5 min"
            )
        yield Step(
            step * batch / 1000 if batch else None,
            total * batch / 1000 if batch else None,
            step,
            float(amount.ph_after(total)),
            then,
        )
        before = share


def _notes(bench: Titration | None, formula: Formula, aim: Aim, batch: float | None) -> list[str]:
    """What to bear in mind about the inputs."""
    out = list(aim.notes)
    ph = formula.measured.ph
    if bench and ph is not None and abs(float(bench.ph[0]) - ph) > _SAME_PH:
        out.append(
            f"The sample began at pH {number(float(bench.ph[0]))}, the formula says {number(ph)}: "
            "the titration is followed. Was it the same batch?"
        )
    if batch is None:
        out.append("The mass of the batch is not known, so amounts are told per kg.")
    return out


def _scale(formula: Formula, additions: tuple[Step, ...]) -> list[str]:
    """That the scale is too coarse for the smallest addition."""
    step = formula.product.scale_step_g
    least = min((a.grams for a in additions if a.grams is not None), default=None)
    if step is None or least is None or least >= _FEW_STEPS * step:
        return []
    return [
        f"The smallest addition, {mass_text(least)}, is less than {_FEW_STEPS} steps of your scale "
        f"({mass_text(step)}): dilute the solution tenfold with water and weigh ten times as "
        "much, or take a finer scale."
    ]


# ---- what the acid or base brings along ----


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
