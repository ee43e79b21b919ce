"""Checks the tables as a whole: every cell, and every reference from one table to another."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import get_args

from preservecheck.errors import Fault, TableError
from preservecheck.reference import rows as r
from preservecheck.reference.load import OWN_SOURCE, Tables

# what the columns of product_kinds.csv that hold several words may name
WORDS_OF_KINDS: dict[str, tuple[str, ...]] = {
    "types": get_args(r.ProductType),
    "uses": get_args(r.Use),
    "users": get_args(r.Users),
    "packages": get_args(r.Package),
}


def validate_tables(tables: Tables) -> list[Fault]:
    """Every fault of every table, and of the references between them; empty if there is none."""
    faults: list[Fault] = []
    for name in r.TABLES:
        try:
            tables.rows(name)
        except TableError as error:
            faults += error.faults
    if faults:
        return faults
    questions = (_sources, _markets, _systems, _substances, _aliases, _custom)
    return [fault for question in questions for fault in question(tables)]


def _sources(tables: Tables) -> Iterator[Fault]:
    used: set[str] = set()
    for name in r.TABLES:
        if name == "sources":
            continue
        for row in tables.rows(name):
            used.add(row.source)
            if row.source not in tables.sources and row.source != OWN_SOURCE:
                yield _fault(name, row.key_text, f"source {row.source!r} is not in sources.csv")
    for survey in tables.practice:
        if survey.survey_source is not None:
            used.add(survey.survey_source)
            if survey.survey_source not in tables.sources:
                found = f"survey {survey.survey_source!r} is not in sources.csv"
                yield _fault("practice", survey.key_text, found)
    for source in sorted(set(tables.sources) - used):
        yield _fault("sources", source, "no row refers to it")


def _fault(table: str, key: str, found: str) -> Fault:
    return Fault(found, where=f"tables/{table}.csv", path=(key,), place=key)


def _markets(tables: Tables) -> Iterator[Fault]:
    known = {market.id for market in tables.markets}
    for name in ("legal_limits", "label_rules"):
        for row in tables.rows(name):
            if row.market not in known:
                yield _fault(name, row.key_text, f"market {row.market!r} is not in markets.csv")


def _systems(tables: Tables) -> Iterator[Fault]:
    names = _names(tables)
    ids = {s.id for s in tables.systems}
    for s in tables.systems:
        inside = {inci for inci, _ in s.composition}
        for inci in sorted(inside - names):
            found = f"{inci!r} is neither in ingredients.csv nor in actives.csv"
            yield _fault("systems", s.id, found)
        for partner in sorted(set(s.partners) - ids - names):
            yield _fault("systems", s.id, f"partner {partner!r} is no system and no ingredient")
        for inci in sorted({inci for part in s.parts for inci in part.substances} - inside):
            yield _fault("systems", s.id, f"part {inci!r} is not in its composition")


def _substances(tables: Tables) -> Iterator[Fault]:
    names, actives = _names(tables), {a.inci for a in tables.actives}
    for m in tables.mic:
        if m.active not in actives:
            yield _fault("mic", m.id, f"{m.active!r} is not in actives.csv")
    for name in ("descriptors", "degradation"):
        for row in tables.rows(name):
            if row.inci not in actives:
                yield _fault(name, row.inci, f"{row.inci!r} is not in actives.csv")
    for a in tables.actives:
        if a.acid_form is not None and a.acid_form not in actives:
            yield _fault("actives", a.inci, f"acid form {a.acid_form!r} is not in actives.csv")
    for row in tables.replacements:
        if row.by not in names:
            yield _fault("replacements", row.id, f"{row.by!r} is not in ingredients.csv")
    for i in tables.ingredients:
        for inci, _ in i.composition:
            if inci not in names:
                yield _fault("ingredients", i.inci, f"{inci!r} is not in ingredients.csv")


def _custom(tables: Tables) -> Iterator[Fault]:
    """Whether kinds of product, what is usual in them and pairs name what there is."""
    systems, kinds = {s.id for s in tables.systems}, {k.id for k in tables.product_kinds}
    known = {f"system:{s}" for s in systems} | {f"inci:{n}" for n in _names(tables)}
    known |= {k for i in tables.ingredients for k in (f"role:{i.role}", *_tags(i))}
    for kind in tables.product_kinds:
        for name in sorted(set(kind.finer_than) - kinds):
            yield _fault("product_kinds", kind.id, f"{name!r} is not in product_kinds.csv")
        for name, allowed in WORDS_OF_KINDS.items():
            for word in sorted(set(getattr(kind, name)) - set(allowed)):
                found = f"{name}: {word!r} is none of {', '.join(allowed)}"
                yield _fault("product_kinds", kind.id, found)
        for key in sorted({*kind.has, *kind.also, *kind.without} - known):
            yield _fault("product_kinds", kind.id, f"{key!r} names nothing in the tables")
    for row in tables.practice:
        if row.system not in systems:
            yield _fault("practice", row.key_text, f"{row.system!r} is not in systems.csv")
        if row.kind not in kinds | {"any"}:
            yield _fault("practice", row.key_text, f"{row.kind!r} is not in product_kinds.csv")
    for pair in tables.pairs:
        for key in sorted({*pair.first, *pair.second} - known):
            yield _fault("pairs", pair.id, f"{key!r} names nothing in the tables")
        for name in sorted(set(pair.kinds) - kinds):
            yield _fault("pairs", pair.id, f"{name!r} is not in product_kinds.csv")
        if pair.same_as is not None and pair.same_as not in systems:
            yield _fault("pairs", pair.id, f"{pair.same_as!r} is not in systems.csv")


def _tags(row: r.Ingredient) -> Iterable[str]:
    return (f"tag:{tag}" for tag in row.tags)


def _aliases(tables: Tables) -> Iterator[Fault]:
    seen: dict[str, str] = {}
    for i in tables.ingredients:
        for alias in _written(i):
            plain = " ".join(alias.casefold().split())
            if seen.setdefault(plain, i.inci) != i.inci:
                found = f"the name {alias!r} belongs to {seen[plain]} already"
                yield _fault("ingredients", i.inci, found)


def _written(row: r.Ingredient) -> Iterable[str]:
    return (row.inci, *(alias.rpartition("@")[0] or alias for alias in row.aliases))


def _names(tables: Tables) -> set[str]:
    return {i.inci for i in tables.ingredients} | {a.inci for a in tables.actives}
