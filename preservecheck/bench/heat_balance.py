"""Heat capacities from composition, and the temperature after the cold phases went in."""

from __future__ import annotations

from dataclasses import dataclass

from preservecheck.chemistry.cooling import mixed_temperature_c
from preservecheck.formula.compose import Composition
from preservecheck.reference.load import Tables
from preservecheck.reference.rows import Ingredient

# specific heats [kJ/(kg K)]; water, glycerin, ethanol and vegetable oils (1.7 to 2.2) from tables
# of liquids that were read, the others recalled
WATER = 4.18
BY_INCI = {
    "Glycerin": 2.42,
    "Alcohol": 2.46,
    "Propylene Glycol": 2.5,
    "Propanediol": 2.5,
    "Butylene Glycol": 2.4,
    "Pentylene Glycol": 2.4,
}
BY_OIL = {
    "vegetable": 2.0,
    "ester": 2.0,
    "hydrocarbon": 2.0,
    "silicone": 1.5,
    "fatty-alcohol": 2.3,
    "wax-solid": 2.3,
}
# salts, sugars, gums, surfactants, powders: between 0.9 and 2.2; recalled
OTHER = 1.6
# more of the batch than this in a cold portion shocks the gel (common practice, no source)
MUCH_COLD = 0.3


@dataclass(frozen=True)
class Mixing:
    """What a cold portion does to a hot batch."""

    hot_g: float  # grams, or per cent where the batch is not known
    cold_g: float
    hot_kj_kg_k: float
    cold_kj_kg_k: float
    hot_c: float
    cold_c: float
    after_c: float
    cold_names: tuple[str, ...]

    @property
    def cold_share(self) -> float:
        """Cold portion over the whole. [-]"""
        return self.cold_g / (self.hot_g + self.cold_g)


def specific_heat(row: Ingredient | None, inci: str) -> float:
    """Specific heat of one substance. [kJ/(kg K)]"""
    if row is None:
        return BY_INCI.get(inci, OTHER)
    dry = BY_INCI.get(inci) or BY_OIL.get(row.oil_class or "", OTHER)
    return row.water_fraction * WATER + (1 - row.water_fraction) * dry


def phase_heat(composition: Composition, tables: Tables) -> list[tuple[float, float]]:
    """Per cent of the batch and specific heat of each phase. [%], [kJ/(kg K)]"""
    rows = {i.inci: i for i in (*tables.ingredients, *composition.formula.own_ingredients)}
    mass = [0.0] * len(composition.formula.phases)
    heat = list(mass)
    for portion in composition.portions:
        at = composition.lines[portion.line].phase
        mass[at] += portion.percent
        heat[at] += portion.percent * specific_heat(rows.get(portion.substance), portion.substance)
    return [(m, h / m if m > 0 else OTHER) for m, h in zip(mass, heat, strict=True)]


def mixing_of(
    composition: Composition, tables: Tables, hot_c: float, cold_c: float
) -> Mixing | None:
    """Temperature after all phases that are not heated went into those that are; ``None`` where one
    kind is absent.

    Parameters
    ----------
    composition
        The formula.
    tables
        The tables.
    hot_c
        Temperature of the batch when they go in. [°C]
    cold_c
        Temperature of what goes in. [°C]
    """
    phases = composition.formula.phases
    heats = phase_heat(composition, tables)
    hot = [
        (m, c)
        for (m, c), p in zip(heats, phases, strict=True)
        if p.heated_to_c is not None and m > 0
    ]
    cold = [
        (m, c) for (m, c), p in zip(heats, phases, strict=True) if p.heated_to_c is None and m > 0
    ]
    if not hot or not cold:
        return None
    grams = [line.grams for line in composition.lines]
    scale = (
        sum(g for g in grams if g is not None) / 100
        if grams and all(g is not None for g in grams)
        else 1.0
    )
    (hot_m, hot_k), (cold_m, cold_k) = (
        (sum(m for m, _ in side), sum(m * c for m, c in side) / sum(m for m, _ in side))
        for side in (hot, cold)
    )
    after = float(mixed_temperature_c([hot_m, cold_m], [hot_k, cold_k], [hot_c, cold_c]))
    names = tuple(p.name for p in phases if p.heated_to_c is None)
    return Mixing(hot_m * scale, cold_m * scale, hot_k, cold_k, hot_c, cold_c, after, names)
