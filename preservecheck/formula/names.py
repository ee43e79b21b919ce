"""Finds a raw material or a preservative system by the name that somebody wrote."""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from preservecheck.reference.load import Tables

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


@dataclass(frozen=True)
class Named:
    """What a written name stands for."""

    inci: str
    strength: float | None = None  # per cent, where the name itself means a solution


class Names:
    """All names that the tables know, folded.

    Parameters
    ----------
    tables
        The tables.
    """

    def __init__(self, tables: Tables) -> None:
        self._tables = tables
        self._near: dict[
            tuple[str, tuple[str, ...]], list[str]
        ] = {}  # a pile repeats its unknown names

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
    """The names of the tables with those that one formula adds.

    A blend of the formula wins over an ingredient of its own, and that over the tables.

    Parameters
    ----------
    names
        The names of the tables.
    blends
        Blends of the formula, as written.
    own
        Names of the formula's own ingredients: as written, to their INCI name.
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
