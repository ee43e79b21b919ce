"""Finds a raw material or a preservative system by the name that somebody wrote, and answers names
that nothing knows with the nearest known ones."""

from __future__ import annotations

import difflib
import json
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Literal

from preservecheck.errors import Hint, RawPath
from preservecheck.formula.faults import Faults, shown
from preservecheck.reference.rows import Ingredient
from preservecheck.text import join_or

if TYPE_CHECKING:
    from preservecheck.reference.load import Tables

# what a formula is written in: TOML, sheets, or a long table of many formulas
Form = Literal["toml", "sheet", "table"]
# how many neighbours an unknown name is answered with
NEAREST = 3
# American and British spellings, tried in both directions
SPELLINGS = (
    ("hydrolys", "hydrolyz"),
    ("sulph", "sulf"),
    ("quaternis", "quaterniz"),
    ("fibre", "fiber"),
    ("odour", "odor"),
    ("colour", "color"),
    ("glycerine", "glycerin"),
)

# signs of a trade mark are no part of a name
_MARKS = str.maketrans("", "", "®™©℠")
# names and answers that are remembered
MOST_KEPT = 16384


@lru_cache(maxsize=MOST_KEPT)
def folded(name: str) -> str:
    """A name without regard to case, accents, dashes and spacing, in one spelling.

    Letters of any script stay, so that two names outside the Latin alphabet do not fall together.
    """
    plain = unicodedata.normalize("NFKD", name.translate(_MARKS)).casefold()
    for variant, standard in SPELLINGS:
        plain = plain.replace(variant, standard)
    return "".join(ch for ch in plain if ch.isalnum() or ch in "+%,/")


def phase_key(name: str) -> str:
    """The name of a phase without regard to case and spacing."""
    return " ".join(name.casefold().split())


@dataclass(frozen=True)
class Named:
    """What a written name stands for."""

    inci: str
    strength: float | None = None  # per cent, where the name itself means a solution


class Names:
    """All names that the tables know, folded."""

    def __init__(self, tables: Tables) -> None:
        self._tables = tables
        # many formulas repeat their unknown names
        self._near: dict[tuple[str, tuple[str, ...]], list[str]] = {}

    @cached_property
    def ingredients(self) -> Mapping[str, Named]:
        """Folded name to INCI name and strength; INCI names win over aliases."""
        known: dict[str, Named] = {}
        for row in self._tables.ingredients:
            for alias in row.aliases:
                name, at, strength = alias.rpartition("@")
                known[folded(name if at else alias)] = Named(
                    row.inci, float(strength) if at else None
                )
        listed = [inci for rule in self._tables.legal_limits for inci in rule.substances]
        listed += [row.substance for row in self._tables.conversions]
        for inci in (
            *listed,
            *(a.inci for a in self._tables.actives),
            *(i.inci for i in self._tables.ingredients),
        ):
            known[folded(inci)] = Named(inci)
        return known

    @cached_property
    def systems(self) -> Mapping[str, str]:
        """Folded id to id."""
        return {folded(s.id): s.id for s in self._tables.systems}

    def ingredient(self, written: str) -> Named | None:
        """What a written ingredient name stands for, or ``None``."""
        return self.ingredients.get(folded(written))

    def system(self, written: str) -> str | None:
        """The id of a preservative system, or ``None``."""
        return self.systems.get(folded(written))

    def system_in_sheet(self, written: str) -> str | None:
        """The id of a preservative system where a sheet names it in the ingredient column, or
        ``None``.

        A sheet has one column for both, and some ids are INCI names as well. An id of several words
        counts with its hyphens, in any case; an id of one word counts only as the tables print it,
        in small letters.
        """
        written = written.strip()
        system = self.systems.get(folded(written))
        if system is None:
            return None
        same = written.casefold() == system if "-" in system else written == system
        return system if same else None

    def nearest(self, written: str, extra: tuple[str, ...] = ()) -> list[str]:
        """Known names that look most like a written one, best first, at most three."""
        key = (folded(written), extra)
        if key not in self._near:
            shown = self._shown | {folded(e): e for e in extra}
            keys = difflib.get_close_matches(key[0], shown, n=NEAREST, cutoff=0.6)
            if len(self._near) >= MOST_KEPT:
                self._near.clear()
            self._near[key] = list(dict.fromkeys(shown[k] for k in keys))
        return list(self._near[key])

    def nearest_system(self, written: str) -> list[str]:
        """Ids of systems that look most like a written one, best first, at most three."""
        keys = difflib.get_close_matches(folded(written), self.systems, n=NEAREST, cutoff=0.4)
        return [self.systems[k] for k in keys]

    @cached_property
    def _shown(self) -> dict[str, str]:
        shown = {}
        for row in self._tables.ingredients:
            for alias in row.aliases:
                name = alias.rpartition("@")[0] or alias
                shown[folded(name)] = name
            shown[folded(row.inci)] = row.inci
        return shown


@lru_cache(maxsize=4)
def names_of(tables: Tables) -> Names:
    """The names of a set of tables, built once."""
    return Names(tables)


class FormulaNames:
    """The names of the tables with those that one formula adds: its blends, and its own ingredients
    as written, to their INCI name.

    A blend of the formula wins over an ingredient of its own, and that over the tables.
    """

    def __init__(self, names: Names, blends: Iterable[str], own: Mapping[str, str]) -> None:
        self.tables = names
        self._blends = {folded(b): b for b in blends}
        self._own = {folded(n): Named(inci) for n, inci in own.items()}
        self._written = (*self._blends.values(), *own)

    def blend(self, written: str) -> str | None:
        """The blend that a name stands for, as its heading is written, or ``None``."""
        return self._blends.get(folded(written))

    def ingredient(self, written: str) -> Named | None:
        """The ingredient that a name stands for, or ``None``; blends are not looked at."""
        return self._own.get(folded(written)) or self.tables.ingredient(written)

    def knows(self, written: str) -> bool:
        """Whether a name is a blend or an ingredient."""
        return self.blend(written) is not None or self.ingredient(written) is not None

    def nearest(self, written: str) -> list[str]:
        """Known names that look most like a written one, best first, at most three."""
        return self.tables.nearest(written, self._written)


def allowed_words(field: str) -> tuple[str, ...]:
    """The words that a column of ``tables/ingredients.csv`` may hold."""
    return Ingredient.columns[field].choices


class UnknownNames:
    """Collects names that nothing knows, each with the places where it stands."""

    def __init__(self, names: FormulaNames, faults: Faults, form: Form) -> None:
        self._names = names
        self._faults = faults
        self._form = form
        self._met: dict[str, tuple[str, RawPath, list[str]]] = {}

    def add(self, written: str, place: str, path: RawPath) -> None:
        """Note an unknown ingredient name."""
        self._met.setdefault(folded(written), (written, path, []))[2].append(place)

    def system(self, written: str, place: str, path: RawPath) -> None:
        """Report an unknown preservative system."""
        near = [] if self._faults.full else self._names.tables.nearest_system(written)
        self._faults.add(
            "is not the id of a preservative system",
            f"the nearest are {join_or(near)}" if near else "",
            path=path,
            place=place,
            value=shown(written),
            hint=Hint.LIST_SYSTEMS,
        )

    def report(self) -> None:
        """Turn what was collected into one fault a name."""
        for written, path, places in self._met.values():
            found, allowed, hint = "is not a known ingredient", "", _DESCRIBE.get(self._form)
            if not self._faults.full:  # else the faults are only counted
                if (system := self._names.tables.system(written)) is not None:
                    found = "is a preservative system"
                    allowed, hint = f"its id is {system}", _USE_SYSTEM[self._form]
                else:
                    near = self._names.nearest(written)
                    allowed = (
                        f"the nearest names are {join_or(near)}"
                        if near
                        else "no known name is near"
                    )
                    allowed += f"; {_IN_TABLE}" if self._form == "table" else ""
            others = f"{'; '.join(places[1:4])}{'; …' if len(places) > 4 else ''}"
            self._faults.add(
                found,
                allowed,
                path=path,
                place=places[0] + (f" (also {others})" if others else ""),
                value=shown(written),
                hint=hint,
                paste=_block(written) if hint is Hint.NEW_INGREDIENT else "",
            )


_DESCRIBE: Mapping[Form, Hint] = {
    "toml": Hint.NEW_INGREDIENT,
    "sheet": Hint.NEW_INGREDIENT_IN_SHEET,
}
_IN_TABLE = (
    "write a known name, or what it is made of: one line for each substance, with the material's "
    "name in the column inside. A formula file can describe a new material"
)
_USE_SYSTEM: Mapping[Form, Hint] = {
    "toml": Hint.SYSTEM_LINE,
    "sheet": Hint.SYSTEM_IN_SHEET,
    "table": Hint.SYSTEM_IN_SHEET,
}


def _block(written: str) -> str:
    """What describes a new ingredient in a TOML file, but for its role."""
    words = {
        f: ", ".join(allowed_words(f)) for f in ("role", "charge", "nutrient_load", "usual_phase")
    }
    return (
        f"[ingredient.{json.dumps(written, ensure_ascii=False)}]\n"
        f'role = ""              # one of: {words["role"]}\n'
        "water_fraction = 0     # share of water in it, 0 to 1\n"
        f'charge = "none"        # one of: {words["charge"]}\n'
        f'nutrient_load = "low"  # food for microbes, one of: {words["nutrient_load"]}\n'
        f'usual_phase = "cool-down"  # one of: {words["usual_phase"]}\n'
    )
