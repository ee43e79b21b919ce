"""Turns a formula into amounts: blends opened, the rest line solved, preservatives recognised wherever they are."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from preservecheck.formula.composition import Addition, Composition, Portion, SystemUse, Weighed
from preservecheck.formula.model import Formula, Line, Phase
from preservecheck.formula.names import Named, folded, names_of
from preservecheck.reference.rows import Active, Ingredient, System
from preservecheck.units import temperature_text

if TYPE_CHECKING:
    from preservecheck.reference.load import Tables

__all__ = [
    "ALCOHOL",
    "ALCOHOL_SYSTEM_PERCENT",
    "BATCH_SLACK",
    "WATER",
    "Addition",
    "Composer",
    "Composition",
    "Portion",
    "SystemUse",
    "Weighed",
    "solved",
    "stand_in",
    "temperatures",
]

WATER, ALCOHOL = "Aqua", "Alcohol"
# alcohol is a preservative system only from here on (ISO 29621 low-risk criterion, 20 % of the product)
ALCOHOL_SYSTEM_PERCENT = 20.0
# grams of the lines and the stated batch may differ by this share before it is worth a word
BATCH_SLACK = 0.005


class Composer:
    """Opens formulas against one set of tables.

    Parameters
    ----------
    tables
        The tables.
    """

    def __init__(self, tables: Tables) -> None:
        self._names = names_of(tables)
        self.ingredients: Mapping[str, Ingredient] = {i.inci: i for i in tables.ingredients}
        self._actives: Mapping[str, Active] = {a.inci: a for a in tables.actives}
        self._systems: Mapping[str, System] = {s.id: s for s in tables.systems}
        # preservatives that only the law's lists name
        self._listed = frozenset(
            s for rule in tables.legal_limits if rule.purpose == "preservative" for s in rule.substances
        )
        self._single: dict[str, tuple[str, float]] = {}
        for system in tables.systems:
            active = [(inci, f) for inci, f in system.composition if self._preserves(inci, {}) or inci == ALCOHOL]
            if len(active) == 1 and all(self._inert(i) for i, _ in system.composition if i != active[0][0]):
                inci, fraction = active[0]
                if inci not in self._single or fraction > self._single[inci][1]:
                    self._single[inci] = (system.id, fraction)

    def _row(self, inci: str, own: Mapping[str, Ingredient]) -> Ingredient | None:
        return own.get(inci) or self.ingredients.get(inci)

    def _preserves(self, inci: str, own: Mapping[str, Ingredient]) -> bool:
        row = self._row(inci, own)
        if row is not None:
            return row.role == "preservative"
        active = self._actives.get(inci)
        return active.role == "preservative" if active is not None else inci in self._listed

    def _inert(self, inci: str) -> bool:
        return inci not in self._actives or self._actives[inci].role in ("solvent", "humectant")

    def compose(self, formula: Formula) -> Composition:
        """The amounts of a formula whose names and sums were checked by the reader."""
        return _Opening(self, formula).done()


class _Opening:
    """One formula being opened."""

    def __init__(self, composer: Composer, formula: Formula) -> None:
        self.c = composer
        self.formula = formula
        self.blends = {folded(k): (k, v) for k, v in formula.blends.items()}
        self.own = {i.inci: i for i in formula.own_ingredients}
        self.own_names = {folded(n): i.inci for i in formula.own_ingredients for n in (i.inci, *i.aliases)}
        self.remarks: list[str] = []
        self.portions: list[Portion] = []
        self.lines: list[Weighed] = []
        self.uses: dict[str, tuple[float, bool]] = {}
        self.extra: dict[str, System] = {}
        self.additions: list[tuple[str, int, int]] = []

    def done(self) -> Composition:
        percents, total_g = solved(self.formula)
        batch = self.formula.product.batch_g
        if total_g is not None and batch is not None and abs(total_g - batch) > BATCH_SLACK * batch:
            self.remarks.append(
                f"The lines add up to {total_g:.4g} g, the batch is given as {batch:.4g} g: the lines count"
            )
        self.remarks += [
            f"Phase {p.name} went in at {temperature_text(p.added_at_c)}, taken from {p.added_at_from}"
            for p in self.formula.phases
            if p.added_at_from and p.added_at_c is not None
        ]
        at = 0
        for phase_at, phase in enumerate(self.formula.phases):
            for line in phase.lines:
                self._open(line, phase_at, percents[at], None if total_g is None else percents[at] / 100 * total_g)
                at += 1
        order = list(self.uses)
        systems = tuple(
            SystemUse(i, p, None if total_g is None else p / 100 * total_g, d) for i, (p, d) in self.uses.items()
        )
        additions = []
        for system, line_at, phase_at in self.additions:
            temperature, peak = temperatures(self.formula.phases, phase_at)
            additions.append(Addition(order.index(system), line_at, phase_at, temperature, peak))
        return Composition(
            self.formula,
            tuple(self.lines),
            tuple(self.portions),
            systems,
            tuple(additions),
            tuple(self.extra.values()),
            tuple(dict.fromkeys(self.remarks)),
        )

    def _open(self, line: Line, phase_at: int, percent: float, grams: float | None) -> None:
        line_at = len(self.lines)
        if line.kind == "preservative":
            system_id = self.c._names.system(line.name) or line.name
            for inci, fraction in self.c._systems[system_id].composition:
                row = self.c._row(inci, self.own)
                preserving = self.c._preserves(inci, self.own) or (
                    row is not None and row.role == "cationic surfactant"
                )
                self.portions.append(Portion(inci, percent * fraction, line_at, system_id, False, preserving))
            self._use(system_id, percent, True, line_at, phase_at)
            self.lines.append(Weighed(line.name, None, system_id, phase_at, percent, grams, line.rest))
            return
        named = self._named(line.name)
        self.lines.append(Weighed(line.name, named.inci if named else None, None, phase_at, percent, grams, line.rest))
        for part in self._parts(line.name, percent, line.strength, line.name, False):
            inci, amount, origin, carried = part
            self.portions.append(Portion(inci, amount, line_at, origin, carried, self.c._preserves(inci, self.own)))
            if (
                not carried
                and self.c._preserves(inci, self.own)
                and amount > 0
                or not carried
                and inci == ALCOHOL
                and amount >= ALCOHOL_SYSTEM_PERCENT
            ):
                self._recognise(inci, amount, line_at, phase_at)

    def _named(self, written: str) -> Named | None:
        if folded(written) in self.blends:
            return None
        if (own := self.own_names.get(folded(written))) is not None:
            return Named(own)
        return self.c._names.ingredient(written)

    def _parts(
        self, written: str, percent: float, strength: float | None, origin: str, carried: bool
    ) -> Iterator[tuple[str, float, str, bool]]:
        """Substance, percent, origin and whether it came inside a blend."""
        if (blend := self.blends.get(folded(written))) is not None:
            name, parts = blend
            for part, share in parts.items():
                yield from self._parts(part, percent * share / 100, None, name, True)
            return
        named = self._named(written)
        if named is None:  # the reader refuses unknown names before we come here
            raise KeyError(written)
        row = self.c._row(named.inci, self.own)
        if row is not None and row.composition:
            split = ", ".join(f"{f * 100:g} % {i}" for i, f in row.composition)
            self.remarks.append(
                f'{written}: taken as {split}, the usual split; write your supplier\'s split as [blend."{written}"]'
            )
            for inci, fraction in row.composition:
                yield inci, percent * fraction, origin, carried
            return
        strength = strength if strength is not None else named.strength
        if strength is not None and strength < 100:  # noqa: PLR2004
            yield named.inci, percent * strength / 100, origin, carried
            yield WATER, percent * (1 - strength / 100), origin, carried
            return
        if strength is None and row is not None and row.sold_as_percent is not None and not carried:
            self.remarks.append(
                f"{written}: taken as pure; it is usually sold at {row.sold_as_percent:g} %. If yours "
                f"is a solution, write strength = {row.sold_as_percent:g} on its line"
            )
        yield named.inci, percent, origin, carried

    def _recognise(self, inci: str, percent: float, line_at: int, phase_at: int) -> None:
        if inci in self.c._single:
            system_id, fraction = self.c._single[inci]
            self._use(system_id, percent / fraction, False, line_at, phase_at)
            return
        system_id = "".join(ch if ch.isalnum() else "-" for ch in inci.casefold()).strip("-")
        self.extra.setdefault(system_id, stand_in(system_id, inci, self.c._actives.get(inci)))
        self._use(system_id, percent, False, line_at, phase_at)

    def _use(self, system_id: str, percent: float, declared: bool, line_at: int, phase_at: int) -> None:
        before, was = self.uses.get(system_id, (0.0, False))
        self.uses[system_id] = (before + percent, was or declared)
        self.additions.append((system_id, line_at, phase_at))


def stand_in(system_id: str, inci: str, active: Active | None) -> System:
    """A system row for a plain active that no row of the table covers: what is not known stays unknown."""
    known = active.as_dict() if active is not None else {}
    return System(
        id=system_id,
        composition=((inci, 1.0),),
        ph_min=known.get("stability_ph_min"),
        ph_max=known.get("stability_ph_max"),
        heat_limit_c=known.get("heat_limit_c"),
        form="liquid",
        solubility="dispersible",
        add_phase="cool-down",
        charge=known.get("charge") or "nonionic",
        natural_standard="disputed",
        source=known.get("source") or "",
        basis=known.get("basis") or "memory",
    )


def solved(formula: Formula) -> tuple[list[float], float | None]:
    """Percent of every line in order, and the grams of the batch where they are known.

    Grams without a rest line are taken as the whole: their sum is 100 %.
    """
    lines = [line for phase in formula.phases for line in phase.lines]
    batch = formula.product.batch_g
    given = sum(line.amount for line in lines if line.amount is not None)
    rest = any(line.rest for line in lines)
    if formula.amounts == "percent":
        return [100 - given if line.rest else line.amount or 0.0 for line in lines], batch
    total = batch if rest and batch is not None else given
    return [(total - given if line.rest else line.amount or 0.0) / total * 100 for line in lines], total


def temperatures(phases: tuple[Phase, ...], at: int) -> tuple[float | None, float | None]:
    """Batch temperature when phase ``at`` goes in, and the highest temperature its lines meet from then on. [°C]

    A phase without ``added_at`` that is heated meets its own ``heated_to``. A later phase brings the batch to its
    ``added_at``, or, where none is given, to at most its ``heated_to``.
    """
    phase = phases[at]
    temperature = phase.added_at_c if phase.added_at_c is not None else phase.heated_to_c
    met = [phase.added_at_c, phase.heated_to_c]
    met += [p.added_at_c if p.added_at_c is not None else p.heated_to_c for p in phases[at + 1 :]]
    known = [t for t in met if t is not None]
    return temperature, max(known) if known else None
