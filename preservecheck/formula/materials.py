"""What a gram of each raw material is made of, whatever amount of it a line asks for.

Blends are opened down to their substances, solutions get their water, and a preservative is
recognised where it is named as a system or bought as a plain substance. A line of a recipe then
only multiplies.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from preservecheck.formula.names import Named, folded, names_of
from preservecheck.reference.rows import Active, Ingredient, System

if TYPE_CHECKING:
    from preservecheck.formula.model import Formula, Line
    from preservecheck.reference.load import Tables

WATER, ALCOHOL = "Aqua", "Alcohol"
# alcohol is a preservative system only from here on (ISO 29621 low-risk criterion, 20 % of the
# product)
ALCOHOL_SYSTEM_PERCENT = 20.0


@dataclass(frozen=True)
class Part:
    """One substance in a raw material."""

    substance: str
    fraction: float  # g of it per g of the raw material
    origin: str  # the system's id, the blend's name, or the line as written
    carried_in: bool  # came inside a blend, not by the maker's choice
    preserving: bool  # counts as a preservative for the law


@dataclass(frozen=True)
class Role:
    """A preservative system that a line stands for."""

    system: str
    fraction: float  # g of the recognised substance per g of the raw material
    share: float  # g of that substance per g of the system as supplied
    declared: bool  # named as a system; otherwise recognised from a plain substance
    least_percent: float  # of that substance in the formula, from which it is the system

    def percent_of(self, line_percent: float) -> float | None:
        """Per cent of the system that a line brings; ``None`` where it is too little to be one."""
        amount = line_percent * self.fraction
        enough = self.declared or amount > 0 and amount >= self.least_percent
        return amount / self.share if enough else None


@dataclass(frozen=True)
class Material:
    """A raw material as written, opened."""

    name: str
    inci: str | None  # None for a blend or a system
    system: str | None  # the id, where a line names a system
    parts: tuple[Part, ...]
    roles: tuple[Role, ...]
    extra: tuple[System, ...]  # stand-ins for plain actives that no system row covers
    remarks: tuple[str, ...]  # what was taken for granted


class MaterialResolver:
    """Opens raw materials against one set of tables."""

    def __init__(self, tables: Tables) -> None:
        self.names = names_of(tables)
        self.ingredients: Mapping[str, Ingredient] = {i.inci: i for i in tables.ingredients}
        self.systems: Mapping[str, System] = {s.id: s for s in tables.systems}
        self._actives: Mapping[str, Active] = {a.inci: a for a in tables.actives}
        # preservatives that only the law's lists name
        self._listed = frozenset(
            s
            for rule in tables.legal_limits
            if rule.purpose == "preservative"
            for s in rule.substances
        )
        self._single: dict[str, tuple[str, float]] = {}
        for system in tables.systems:
            active = [
                (inci, f)
                for inci, f in system.composition
                if self.preserves(inci, {}) or inci == ALCOHOL
            ]
            if len(active) == 1 and all(
                self._inert(i) for i, _ in system.composition if i != active[0][0]
            ):
                inci, fraction = active[0]
                if inci not in self._single or fraction > self._single[inci][1]:
                    self._single[inci] = (system.id, fraction)
        self._resolved: dict[tuple[str, float | None, str], Material] = {}

    def row(self, inci: str, own: Mapping[str, Ingredient]) -> Ingredient | None:
        """The row of a substance, a formula's own one first."""
        return own.get(inci) or self.ingredients.get(inci)

    def preserves(self, inci: str, own: Mapping[str, Ingredient]) -> bool:
        """Whether a substance is a preservative by its row, else by the law's lists."""
        row = self.row(inci, own)
        if row is not None:
            return row.role == "preservative"
        active = self._actives.get(inci)
        return active.role == "preservative" if active is not None else inci in self._listed

    def _inert(self, inci: str) -> bool:
        return inci not in self._actives or self._actives[inci].role in ("solvent", "humectant")

    def system_of(self, inci: str) -> tuple[str, float, System | None]:
        """The system that a plain preservative is, its share of it, and the stand-in row where no
        row covers it."""
        if inci in self._single:
            return (*self._single[inci], None)
        system_id = "".join(ch if ch.isalnum() else "-" for ch in inci.casefold()).strip("-")
        return system_id, 1.0, stand_in(system_id, inci, self._actives.get(inci))

    def resolve(
        self, name: str, strength: float | None = None, kind: str = "ingredient"
    ) -> Material:
        """A raw material by a name of the tables, ``ingredient`` or ``preservative``, opened once;
        a ``KeyError`` where the tables do not know it.

        ``strength`` is the per cent of active substance, the rest being water.
        """
        key = (name, strength, kind)
        if key not in self._resolved:
            self._resolved[key] = FormulaMaterials(self).resolve(name, strength, kind)
        return self._resolved[key]


class FormulaMaterials:
    """The raw materials of one formula: its own blends and ingredients before the tables'."""

    def __init__(self, resolver: MaterialResolver, formula: Formula | None = None) -> None:
        self._resolver = resolver
        own = formula.own_ingredients if formula is not None else ()
        self._blends = {
            folded(k): (k, v) for k, v in (formula.blends if formula is not None else {}).items()
        }
        self._own = {i.inci: i for i in own}
        self._own_names = {folded(n): i.inci for i in own for n in (i.inci, *i.aliases)}

    def material(self, line: Line) -> Material:
        """What the raw material of a line is made of; with a purpose of its own it preserves
        nothing for the law, and stands for no system."""
        material = self._material(line)
        if line.purpose is None:
            return material
        parts = tuple(replace(part, preserving=False) for part in material.parts)
        return replace(material, parts=parts, roles=(), extra=())

    def _material(self, line: Line) -> Material:
        if self._own or (line.kind == "ingredient" and folded(line.name) in self._blends):
            return self.resolve(line.name, line.strength, line.kind)
        return self._resolver.resolve(line.name, line.strength, line.kind)

    def resolve(self, name: str, strength: float | None, kind: str) -> Material:
        """A raw material, opened; see ``MaterialResolver.resolve``."""
        if kind == "preservative":
            return self._system(name)
        named = self._named(name)
        remarks: list[str] = []
        parts = tuple(
            Part(inci, fraction, origin, carried, self._resolver.preserves(inci, self._own))
            for inci, fraction, origin, carried in self._parts(
                name, 1.0, strength, name, False, remarks
            )
        )
        roles, extra = [], {}
        for part in parts:
            if part.carried_in or not (part.preserving or part.substance == ALCOHOL):
                continue
            system, share, made = self._resolver.system_of(part.substance)
            if made is not None:
                extra[system] = made
            least = 0.0 if part.preserving else ALCOHOL_SYSTEM_PERCENT
            roles.append(Role(system, part.fraction, share, False, least))
        return Material(
            name,
            named.inci if named else None,
            None,
            parts,
            tuple(roles),
            tuple(extra.values()),
            tuple(remarks),
        )

    def _system(self, name: str) -> Material:
        system = self._resolver.names.system(name) or name
        parts = []
        for inci, fraction in self._resolver.systems[system].composition:
            row = self._resolver.row(inci, self._own)
            preserving = self._resolver.preserves(inci, self._own) or (
                row is not None and row.role == "cationic surfactant"
            )
            parts.append(Part(inci, fraction, system, False, preserving))
        role = Role(system, 1.0, 1.0, declared=True, least_percent=0.0)
        return Material(name, None, system, tuple(parts), (role,), (), ())

    def _named(self, written: str) -> Named | None:
        if folded(written) in self._blends:
            return None
        if (own := self._own_names.get(folded(written))) is not None:
            return Named(own)
        return self._resolver.names.ingredient(written)

    def _parts(
        self,
        written: str,
        share: float,
        strength: float | None,
        origin: str,
        carried: bool,
        remarks: list[str],
    ) -> Iterator[tuple[str, float, str, bool]]:
        """Substance, its fraction, its origin and whether it came inside a blend."""
        if (blend := self._blends.get(folded(written))) is not None:
            name, parts = blend
            for part, percent in parts.items():
                yield from self._parts(part, share * percent / 100, None, name, True, remarks)
            return
        named = self._named(written)
        if named is None:  # the reader refuses unknown names before we come here
            raise KeyError(written)
        row = self._resolver.row(named.inci, self._own)
        if row is not None and row.composition:
            split = ", ".join(f"{f * 100:g} % {i}" for i, f in row.composition)
            remarks.append(
                f"{written}: taken as {split}, the usual split; write your supplier's split as a "
                "blend of that name"
            )
            for inci, fraction in row.composition:
                yield inci, share * fraction, origin, carried
            return
        strength = strength if strength is not None else named.strength
        if strength is not None and strength < 100:  # noqa: PLR2004
            yield named.inci, share * strength / 100, origin, carried
            yield WATER, share * (1 - strength / 100), origin, carried
            return
        if strength is None and row is not None and row.sold_as_percent is not None and not carried:
            remarks.append(
                f"{written}: taken as pure; it is usually sold at {row.sold_as_percent:g} %. If "
                "yours "
                "is a solution, write its strength on its line, as its papers give it"
            )
        yield named.inci, share, origin, carried


def stand_in(system_id: str, inci: str, active: Active | None) -> System:
    """A system row for a plain active that no row of the table covers: what is not known stays
    unknown."""
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
