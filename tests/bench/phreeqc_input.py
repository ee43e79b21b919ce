"""Input for PHREEQC: many solutions in one run, and databases that hold no more than a run needs.

A small database is the fairest use of an equilibrium program: what is not in it costs it nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

WATER = """SOLUTION_MASTER_SPECIES
H H+ -1 H 1.008
H(0) H2 0 H
H(1) H+ -1 0
E e- 0 0 0
O H2O 0 O 16
O(0) O2 0 O
O(-2) H2O 0 0
{masters}
SOLUTION_SPECIES
H+ = H+
e- = e-
H2O = H2O
H2O = OH- + H+
 log_k -14
 -delta_h 55.8 kJ
2 H2O = O2 + 4 H+ + 4 e-
 log_k -86.08
2 H+ + 2 e- = H2
 log_k -3.15
{species}
"""


def _charged(element: str, charge: int) -> str:
    """Formula of an ion of one atom, such as ``Ca+2``."""
    size = "" if abs(charge) == 1 else str(abs(charge))
    return f"{element}{'+' if charge > 0 else '-'}{size}"


def _water(ions: Mapping[str, int]) -> str:
    """Water and these ions without any pairs, as a database."""
    masters = [f"{e} {_charged(e, z)} 0 {e} 30" for e, z in ions.items()]
    species = [f"{_charged(e, z)} = {_charged(e, z)}" for e, z in ions.items()]
    return WATER.format(masters="\n".join(masters), species="\n".join(species))


def acids_block(acids: Mapping[str, tuple[float, float]]) -> str:
    """Monoprotic acids by an element name of their own, each with its pKa and enthalpy of
    dissociation [kJ/mol]."""
    masters = [f"{n} {n}- 0 {n} 100" for n in acids]
    species = [
        # reactions are written towards the acid, so the enthalpy turns its sign; the uncharged form
        # is ideal
        f"{n}- = {n}-\n log_k 0\n{n}- + H+ = H{n}\n log_k {pka}\n -delta_h {-enthalpy} kJ\n "
        "-gamma 0 0"
        for n, (pka, enthalpy) in acids.items()
    ]
    return "\n".join(["SOLUTION_MASTER_SPECIES", *masters, "SOLUTION_SPECIES", *species, "END"])


def small_davies(acids: Mapping[str, tuple[float, float]]) -> str:
    """Water, one salt and these acids with Davies activities, as a database."""
    return _water({"Na": 1, "Cl": -1}) + acids_block(acids)


def small_pitzer(ions: Mapping[str, int], salts: Sequence[tuple[str, str, Any]]) -> str:
    """Water and these ions as a database, with Pitzer constants of each pair (cation, anion, row of
    our table)."""
    lines = [_water(ions), "PITZER"]
    for keyword, field in (("-B0", "beta0"), ("-B1", "beta1"), ("-C0", "c_phi")):
        lines.append(keyword)
        lines += [
            f" {_charged(c, ions[c])} {_charged(a, ions[a])} {getattr(row, field)}"
            for c, a, row in salts
        ]
    return "\n".join([*lines, "END"])


def run_text(
    headings: Sequence[str], punched: Sequence[str], solutions: Sequence[Sequence[str]]
) -> str:
    """Text of one run over all solutions that gives back one row of the expressions in ``punched``
    for each."""
    lines = [
        "SELECTED_OUTPUT 1", "-reset false",
        "USER_PUNCH 1", f"-headings {' '.join(headings)}", "-start", "10 PUNCH " f"{', '.join(punched)}", "-end",
    ]  # fmt: skip
    for number, parts in enumerate(solutions, 1):
        lines += [f"SOLUTION {number}", "units mol/kgw", *parts]
    return "\n".join([*lines, "END"])


def answer(program: Any, text: str) -> list[list[float]]:
    """Rows that a run gives back, without the headings."""
    program.run_string(text)
    rows: list[list[float]] = program.get_selected_output_array()[1:]
    return rows
