"""Checks the tables as a whole: every cell, and every reference from one table to another."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from preservecheck.errors import TableError
from preservecheck.reference import rows as r
from preservecheck.reference.load import OWN_SOURCE, Tables


def validate_tables(tables: Tables) -> list[str]:
    """Every fault of every table, and of the references between them; empty if there is none."""
    faults: list[str] = []
    for name in r.TABLES:
        try:
            tables.rows(name)
        except TableError as error:
            faults += error.messages
    if faults:
        return faults
    return [*_sources(tables), *_systems(tables), *_substances(tables), *_aliases(tables)]


def _sources(tables: Tables) -> Iterator[str]:
    used: set[str] = set()
    for name in r.TABLES:
        if name == "sources":
            continue
        for row in tables.rows(name):
            used.add(row.source)
            if row.source not in tables.sources and row.source != OWN_SOURCE:
                yield (
                    f"tables/{name}.csv: {row.key_text}: source {row.source!r} is not in "
                    "sources.csv"
                )
    for source in sorted(set(tables.sources) - used):
        yield f"tables/sources.csv: {source}: no row refers to it"


def _systems(tables: Tables) -> Iterator[str]:
    names = _names(tables)
    ids = {s.id for s in tables.systems}
    for s in tables.systems:
        inside = {inci for inci, _ in s.composition}
        for inci in sorted(inside - names):
            yield (
                f"tables/systems.csv: {s.id}: {inci!r} is neither in ingredients.csv nor in "
                "actives.csv"
            )
        for partner in sorted(set(s.partners) - ids - names):
            yield f"tables/systems.csv: {s.id}: partner {partner!r} is no system and no ingredient"
        for inci in sorted({inci for part in s.parts for inci in part.substances} - inside):
            yield f"tables/systems.csv: {s.id}: part {inci!r} is not in its composition"


def _substances(tables: Tables) -> Iterator[str]:
    names, actives = _names(tables), {a.inci for a in tables.actives}
    for m in tables.mic:
        if m.active not in actives:
            yield f"tables/mic.csv: {m.id}: {m.active!r} is not in actives.csv"
    for a in tables.actives:
        if a.acid_form is not None and a.acid_form not in actives:
            yield f"tables/actives.csv: {a.inci}: acid form {a.acid_form!r} is not in actives.csv"
    for i in tables.ingredients:
        for inci, _ in i.composition:
            if inci not in names:
                yield f"tables/ingredients.csv: {i.inci}: {inci!r} is not in ingredients.csv"


def _aliases(tables: Tables) -> Iterator[str]:
    seen: dict[str, str] = {}
    for i in tables.ingredients:
        for alias in _written(i):
            plain = " ".join(alias.casefold().split())
            if seen.setdefault(plain, i.inci) != i.inci:
                yield (
                    f"tables/ingredients.csv: {i.inci}: the name {alias!r} belongs to "
                    f"{seen[plain]} already"
                )


def _written(row: r.Ingredient) -> Iterable[str]:
    return (row.inci, *(alias.rpartition("@")[0] or alias for alias in row.aliases))


def _names(tables: Tables) -> set[str]:
    return {i.inci for i in tables.ingredients} | {a.inci for a in tables.actives}
