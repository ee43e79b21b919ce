"""What a maker leaves out and what a maker prefers: substances, systems, and classes of them."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from preservecheck.errors import Fault, PreservecheckError
from preservecheck.formula.names import folded, names_of
from preservecheck.reference.load import Tables
from preservecheck.reference.rows import System
from preservecheck.text import join_and, join_or

# classes by the tags of what is in a system
CLASSES: Mapping[str, str] = {
    "parabens": "paraben",
    "releasers": "formaldehyde-releaser",
    "isothiazolinones": "isothiazolinone",
    "iodine": "iodine-preservative",
    "quats": "cationic-preservative",
    "hydroxamates": "hydroxamate",
    "silver": "silver",
    "ferments": "ferment",
    "allergens": "allergen",
    "acids": "weak-acid-preservative",
}
NATURAL, WITHOUT = "natural-standard", "without-"
FORMS = ("liquid", "powder")


@dataclass(frozen=True)
class Wishes:
    """Which systems are left, which come first, and the wishes in words."""

    left: frozenset[str]
    preferred: frozenset[str] | None  # None where nothing is preferred
    said: tuple[str, ...]


def wishes(
    tables: Tables, *, natural: bool, without: Sequence[str], prefer: Sequence[str]
) -> Wishes:
    """The wishes of a maker.

    Parameters
    ----------
    tables
        The tables.
    natural
        Only systems that a natural cosmetics standard accepts.
    without
        Substances, ids of systems and classes that are left out.
    prefer
        ``natural-standard``, ``liquid``, ``powder``, and ``without-`` with a class, a substance or
        a system.

    Raises
    ------
    PreservecheckError
        A name is known as none of these.
    """
    left, said = list(tables.systems), []
    if natural:
        left = [s for s in left if is_natural(s)]
        said.append("only what a natural cosmetics standard accepts")
    if without:
        out = [_holders(tables, name, "without") for name in without]
        left = [s for s in left if not any(s.id in ids for _, ids in out)]
        said.append(f"without {join_and(sorted({name for name, _ in out}))}")
    preferred = None
    if prefer:
        liked = [_liked(tables, wish) for wish in prefer]
        preferred = frozenset.intersection(*liked)
        said.append(f"{join_and(list(prefer))} first")
    return Wishes(frozenset(s.id for s in left), preferred, tuple(said))


def is_natural(system: System) -> bool:
    """Whether a natural cosmetics standard accepts a system, if need be on a condition."""
    return system.natural_standard in ("yes", "conditional")


def _liked(tables: Tables, wish: str) -> frozenset[str]:
    every = frozenset(s.id for s in tables.systems)
    if wish == NATURAL:
        return frozenset(s.id for s in tables.systems if is_natural(s))
    if wish in FORMS:
        return frozenset(s.id for s in tables.systems if s.form == wish)
    if wish.startswith(WITHOUT):
        return every - _holders(tables, wish.removeprefix(WITHOUT), "prefer")[1]
    known = (NATURAL, *FORMS, *(f"{WITHOUT}{name}" for name in CLASSES))
    raise PreservecheckError(
        Fault(
            f"{wish} is no preference", f"give {join_or(known)}", path=("prefer",), place="prefer"
        )
    )


def _holders(tables: Tables, written: str, option: str) -> tuple[str, frozenset[str]]:
    """What a name stands for, and the systems that hold it."""
    plain = folded(written.replace("-", " "))
    for name, tag in CLASSES.items():
        called = (name, name.removesuffix("s"), tag, f"{tag}s")
        if plain in {folded(word.replace("-", " ")) for word in called}:
            tagged = {i.inci for i in tables.ingredients if tag in i.tags}
            return name, _with(tables, tagged)
    names = names_of(tables)
    if (named := names.ingredient(written)) is not None:
        return named.inci, _with(tables, {named.inci})
    for system in tables.systems:
        if system.id == written.strip().casefold():
            return system.id, frozenset((system.id,))
    near = names.nearest(written)
    raise PreservecheckError(
        Fault(
            f"{written} is no name in the tables",
            f"did you mean {join_or(near)}? Classes are {join_and(list(CLASSES))}"
            if near
            else f"give a substance, the id of a system, or {join_or(list(CLASSES))}",
            path=(option,),
            place=option,
        )
    )


def _with(tables: Tables, inside: Collection[str]) -> frozenset[str]:
    return frozenset(
        s.id for s in tables.systems if any(inci in inside for inci, _ in s.composition)
    )
