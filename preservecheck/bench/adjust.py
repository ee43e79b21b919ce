"""How much acid or base brings the pH where it should be: from a bench titration, else by the
charge balance."""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from preservecheck.arrays.formulas import formula_arrays
from preservecheck.assess.review import composer_for, table_arrays_for
from preservecheck.bench.adjustment_effects import Effect, effects_of, warnings_of
from preservecheck.bench.amounts import STEPS, Amount, amount_of
from preservecheck.bench.buffers import Ionic, agent_of
from preservecheck.bench.ph_window import Aim, aim_of
from preservecheck.bench.titration import Titration, read_titration
from preservecheck.errors import ReadingsError
from preservecheck.formula.composition import Composition
from preservecheck.formula.model import Formula
from preservecheck.provenance import Provenance, provenance_of
from preservecheck.reference.load import Tables, load_tables
from preservecheck.text import number
from preservecheck.units import mass_text

# taken where nothing else is said: weak enough a solution to weigh and to stop in time (common
# practice, no source)
ACID, ACID_PERCENT = "Citric Acid", 20.0
BASE, BASE_PERCENT = "Sodium Hydroxide", 10.0
# readings of sample and formula that differ by more are worth a word
_SAME_PH = 0.2
# an addition of fewer steps of the scale is weighed badly
_FEW_STEPS = 10


@dataclass(frozen=True)
class Addition:
    """One step: how much, how much is in by then, and the pH to expect."""

    grams: float | None
    total_grams: float | None
    grams_per_kg: float
    expected_ph: float
    then: str


@dataclass(frozen=True)
class Adjustment:
    """What to add, in steps, and what comes with it."""

    head: Provenance
    basis: str  # titration or estimate
    start_ph: float | None
    target_ph: float | None
    window: tuple[float, float] | None
    agent: str | None
    agent_percent: float | None
    batch_g: float | None
    grams: float | None
    grams_low: float | None
    grams_high: float | None
    grams_per_kg: float | None
    additions: tuple[Addition, ...]
    buffer_capacity_mmol_kg_ph: float | None
    because: str
    warnings: tuple[str, ...]
    effects: tuple[Effect, ...]
    titration: Titration | None = None

    @property
    def settled(self) -> bool:
        """Whether an amount is told, and no check comes out worse by it."""
        return self.grams_per_kg is not None and not any(e.worse for e in self.effects)

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
    """How much acid or base a batch needs.

    Parameters
    ----------
    formula
        The formula with its measured pH.
    tables
        The tables; default the shipped ones.
    titration
        A bench titration, or its file; without one the amount is estimated.
    target_ph
        pH to reach; default the nearest edge of the window, moved in by the tolerance of the
        reading. [-]
    agent, agent_percent
        Acid or base and its strength; the file of a titration may say them itself. [-], [%]
    batch_g
        Mass of the batch instead of the formula's own. [g]
    today
        Date of the result, and of the law.

    Raises
    ------
    ReadingsError
        The titration cannot be used, or the agent is not known.
    """
    tables = tables or load_tables()
    today = today or dt.date.today()
    composition = composer_for(tables).compose(formula)
    case = formula_arrays([composition], table_arrays_for(tables), today)
    bench = read_titration(titration) if isinstance(titration, (str, Path)) else titration
    start = float(bench.ph[0]) if bench else formula.measured.ph
    aim = aim_of(case, start, formula.measured.ph_tolerance, target_ph)
    name, percent, ionic = _agent(bench, agent, agent_percent, aim, start, tables)
    amount, why = amount_of(bench, case, ionic, percent, aim, start, formula.measured.ph_tolerance)
    batch = batch_g or _batch_g(composition)
    notes = list(_notes(bench, formula, aim, batch))
    effects: tuple[Effect, ...] = ()
    additions: tuple[Addition, ...] = ()
    if amount is not None and amount.per_kg > 0 and aim.target is not None:
        additions = tuple(_additions(amount, batch, aim.target))
        if ionic is not None:
            effects = effects_of(
                formula, tables, ionic, amount.per_kg / 10, percent, aim.target, today
            )
        notes += warnings_of(case, tables, ionic, name, percent, amount.per_kg, aim.target, bench)
        notes += _scale(formula, additions)
    return Adjustment(
        head=provenance_of(tables, formula, today),
        basis="titration" if bench else "estimate",
        start_ph=start,
        target_ph=aim.target,
        window=aim.window,
        agent=name,
        agent_percent=percent,
        batch_g=batch,
        grams=_scaled(amount.per_kg if amount else None, batch),
        grams_low=_scaled(amount.low if amount else None, batch),
        grams_high=_scaled(amount.high if amount else None, batch),
        grams_per_kg=amount.per_kg if amount else None,
        additions=additions,
        buffer_capacity_mmol_kg_ph=amount.capacity if amount else None,
        because=" ".join(t for t in (aim.because, why) if t),
        warnings=tuple(notes),
        effects=effects,
        titration=bench,
    )


def _scaled(per_kg: float | None, batch_g: float | None) -> float | None:
    """Grams for the batch from grams per kg. [g]"""
    return None if per_kg is None or batch_g is None else per_kg * batch_g / 1000


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
                f"{bench.where}: the titration was made with {bench.agent}, not with {agent}; an "
                "amount of "
                "one says nothing of the other"
            )
        if percent and bench.agent_percent and percent != bench.agent_percent:
            raise ReadingsError(
                f"{bench.where}: the titration was made at {bench.agent_percent:g} %, not at "
                f"{percent:g} %"
            )
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


def _additions(amount: Amount, batch: float | None, target: float) -> list[Addition]:
    """Half first, then ever less, each with a reading after it."""
    shares = sorted({amount.first_share, *STEPS[1:]})
    before = 0.0
    out = []
    for share in shares:
        step, total = (share - before) * amount.per_kg, share * amount.per_kg
        last = share == shares[-1]
        then = (
            f"only if the pH is still more than 0.1 away from {number(target)}; read again after "
            "5 min"
            if last
            else "stir 3 to 5 min and read the pH at 20 to 25 °C; stop as soon as it is within "
            "0.2 of "
            f"{number(target)}, wait and read again"
        )
        out.append(
            Addition(
                step * batch / 1000 if batch else None,
                total * batch / 1000 if batch else None,
                step,
                float(amount.ph_after(total)),
                then,
            )
        )
        before = share
    return out


def _batch_g(composition: Composition) -> float | None:
    grams = [line.grams for line in composition.lines]
    return (
        sum(g for g in grams if g is not None)
        if grams and all(g is not None for g in grams)
        else None
    )


def _notes(bench: Titration | None, formula: Formula, aim: Aim, batch: float | None) -> list[str]:
    out = list(aim.notes)
    ph = formula.measured.ph
    if bench and ph is not None and abs(float(bench.ph[0]) - ph) > _SAME_PH:
        out.append(
            f"The sample began at pH {number(float(bench.ph[0]))}, the formula says {number(ph)}: "
            "the titration is "
            "followed. Was it the same batch?"
        )
    if batch is None:
        out.append(
            "The mass of the batch is not known, so amounts are told per kg; give it with --batch "
            '"500 g".'
        )
    return out


def _scale(formula: Formula, additions: tuple[Addition, ...]) -> list[str]:
    step = formula.product.scale_step_g
    least = min((a.grams for a in additions if a.grams is not None), default=None)
    if step is None or least is None or least >= _FEW_STEPS * step:
        return []
    return [
        f"The smallest addition, {mass_text(least)}, is less than {_FEW_STEPS} steps of your scale "
        f"({mass_text(step)}): "
        "dilute the solution tenfold with water and weigh ten times as much, or take a finer scale."
    ]
