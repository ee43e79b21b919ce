"""Answers unknown names: the nearest known ones, and what to write so that the name becomes
known."""

from __future__ import annotations

import json
from typing import Literal

from preservecheck.formula.faults import Faults, shown
from preservecheck.formula.names import FormulaNames, folded
from preservecheck.reference.rows_materials import Ingredient
from preservecheck.text import join_or

Form = Literal[
    "toml", "sheet", "page", "table"
]  # a file, a workbook, the page, or a long table of many formulas


def allowed_words(field: str) -> tuple[str, ...]:
    """The words that a column of ``tables/ingredients.csv`` may hold."""
    return Ingredient.columns[field].choices


class UnknownNames:
    """Collects names that nothing knows, each with the places where it stands.

    Parameters
    ----------
    names
        What is known.
    faults
        Takes the faults.
    form
        What the formula was written in: whether the user can paste a TOML block, or add a sheet.
    """

    def __init__(self, names: FormulaNames, faults: Faults, form: Form) -> None:
        self._names = names
        self._faults = faults
        self._form = form
        self._found: dict[str, tuple[str, list[str]]] = {}

    def add(self, written: str, place: str) -> None:
        """Note an unknown ingredient name."""
        self._found.setdefault(folded(written), (written, []))[1].append(place)

    def system(self, written: str, place: str) -> None:
        """Report an unknown preservative system."""
        near = [] if self._faults.full else self._names.tables.nearest_system(written)
        propose = f"the nearest are {join_or(near)}; " if near else ""
        self._faults.add(
            f"{place}: {shown(written)} is not the id of a preservative system; {propose}"
            "'preservecheck tables list systems' shows them all"
        )

    def report(self) -> None:
        """Turn what was collected into one fault a name."""
        for written, places in self._found.values():
            if self._faults.full:
                self._faults.add(written)
                continue
            also = (
                f" (also {'; '.join(places[1:4])}{'; …' if len(places) > 4 else ''})"
                if places[1:]
                else ""
            )  # noqa: PLR2004
            self._faults.add(f"{places[0]}{also}: {shown(written)} {self._answer(written)}")

    def _answer(self, written: str) -> str:
        system = self._names.tables.system(written)
        if system is not None and self._form == "toml":
            return (
                "is the id of a preservative system; on a line of a phase write preservative = "
                f"{shown(system)} "
                "instead of ingredient. A blend takes the substances in it, each with its percent"
            )
        if system is not None and self._form == "page":
            return "is a preservative; take this line away and add it as a preservative"
        if system is not None:
            return f"is a preservative system; write its id as {system}" + (
                " in the sheet Formula" if self._form == "sheet" else ""
            )
        near = self._names.nearest(written)
        propose = f"the nearest names are {join_or(near)}. " if near else "no known name is near. "
        return "is not a known ingredient; " + propose + self._block(written)

    def _block(self, written: str) -> str:
        if self._form == "page":
            return (
                "Write a known name, open it as a blend if it is made of several things, or "
                "describe it as an "
                "ingredient of your own"
            )
        if self._form == "table":
            return (
                "Write one of the known names, or what it is made of: one line for each "
                "substance, with the material's "
                "name in the column inside. A formula file can describe a new material"
            )
        roles = ", ".join(allowed_words("role"))
        if self._form == "sheet":
            return (
                "Write one of the known names, or its composition in the sheet Blends, or add it "
                "for this formula "
                "alone: a sheet Ingredients with the columns ingredient, role, water fraction, "
                "charge, nutrient "
                f"load, usual phase and a row for it. The roles are: {roles}"
            )
        name = json.dumps(written, ensure_ascii=False)
        return (
            "Write a known name, or its composition as a [blend], or add it for this formula "
            "alone: paste this "
            "block at the end of the file and fill in the role\n\n"
            f"[ingredient.{name}]\n"
            f'role = ""              # one of: {roles}\n'
            "water_fraction = 0     # share of water in it, 0 to 1\n"
            f'charge = "none"        # one of: {", ".join(allowed_words("charge"))}\n'
            'nutrient_load = "low"  # food for microbes, one of: '
            f"{', '.join(allowed_words('nutrient_load'))}\n"
            f'usual_phase = "cool-down"  # one of: {", ".join(allowed_words("usual_phase"))}\n'
        )
