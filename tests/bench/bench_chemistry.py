"""Weak acids and water activity per value against general libraries; the values are compared in the
same run.

The first and third block ask the whole question of programs that solve an equilibrium. The second
and fourth are bare formulas with the constant handed in, where plain numpy sets a ceiling that is
printed.

Run it with ``python tests/bench/bench_chemistry.py`` (``pip install '.[test,benchmarks]'``). It ends
with status 1 if values differ by more than the tolerance printed with them; times it prints and
does not judge. CPU time of one process, median of interleaved runs; databases and input are made
before. phreeqpython gets all its solutions in one run, and also a database that holds nothing else;
that batch is what our single calls ("one case a call") are set against too.

Not compared, since they do not compute the same number: ``chemicals`` has neither; ``thermo`` has
no speciation and no salts; the Davies equation of ``pyEQL`` has the slope 0.2, ours and PHREEQC's
0.3; uncharged solutes are ideal in ``pyEQL`` and absent from PHREEQC's Pitzer database.
"""

from __future__ import annotations

import importlib
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(Path(__file__).parent)]

from phreeqc_input import acids_block, answer, run_text, small_davies, small_pitzer  # noqa: E402
from phreeqpython import PhreeqPython  # noqa: E402
from timing import seconds_per_value  # noqa: E402

from preservecheck.chemistry import speciation as sp  # noqa: E402
from preservecheck.chemistry import water_activity as wa  # noqa: E402
from preservecheck.reference.load import load_tables  # noqa: E402

WANTED = 300
MANY, SOME, THEIRS = 100_000, 1_000, 500
ACIDS = {
    "Bz": "Benzoic Acid", "So": "Sorbic Acid", "Dh": "Dehydroacetic Acid",
    "Sl": "Salicylic Acid", "Pp": "Propionic Acid", "An": "p-Anisic Acid",
}  # fmt: skip
SALTS = {
    "sodium-chloride": ("Na", "Cl"), "potassium-chloride": ("K", "Cl"),
    "calcium-chloride": ("Ca", "Cl"), "sodium-sulfate": ("Na", "Sf"),
}  # fmt: skip
CHARGES = {"Na": 1, "K": 1, "Ca": 2, "Cl": -1, "Sf": -2}
UNCHARGED = ("sucrose", "sorbitol", "propylene-glycol")  # Norrish rows without a cubic term
NO_SUGAR, NO_SALT = wa.Norrish([], [], []), wa.Pitzer(*([[]] * 11))

DAVIES_REASON = (
    "its Davies slope A comes from a model of water, ours from 3 points; 0.003 in A is 5e-04"
)
# as far as PHREEQC's own constants are held to ours in tests/outside
HIGHEST_MOL_KG = 2.5

Call = tuple[Callable[[], Any], int]


class Section:
    """One question put to all: calls to time, and values to compare."""

    def __init__(self, title: str) -> None:
        self.title, self.ours, self.theirs = title, dict[str, Call](), dict[str, Call]()
        self.floor: dict[str, Call] = {}
        self.compared: list[tuple[str, float, float, str]] = []

    def compare(self, name: str, ours: Any, theirs: Any, tolerance: float, reason: str) -> None:
        """Note the largest difference to another's values."""
        worst = np.max(np.abs(np.asarray(ours) - np.asarray(theirs)))
        self.compared.append((name, float(worst), tolerance, reason))

    def show(self) -> bool:
        """Time and print all; True if the values agree."""
        print(f"\n{self.title}")
        found = seconds_per_value(self.floor | self.ours | self.theirs)
        single, *_, base = (found[name] for name in self.ours)
        for name, taken in found.items():
            ratio = f"{taken / base:9.1f} x" if name in self.theirs else ""
            print(f"  {name:48}{taken * 1e6:12.4f} us{ratio:>12}")
        agree = True
        for name, worst, tolerance, reason in self.compared:
            right = worst <= tolerance  # nan is not
            agree &= right
            verdict = f"{worst:.1e} at most, {'within' if right else 'ABOVE'} {tolerance:.0e}"
            line = f"values against {name} differ by {verdict} ({reason})"
            print(textwrap.fill(line, 80, initial_indent="  ", subsequent_indent="    "))
        if self.theirs:
            fastest = min(self.theirs, key=lambda name: found[name])
            least = found[fastest]
            print(f"  fastest library: {fastest}")
            print(
                f"  ours faster per value: {least / base:.0f} x in arrays, {least / single:.2g} x "
                "one case a call"
            )
            for name in self.floor:
                print(f"  at most possible, by {name}: {least / found[name]:.0f} x")
            print(
                f"  at least {WANTED} times faster per value: "
                f"{'yes' if least >= WANTED * base else 'no'}"
            )
        return agree


def optional(name: str) -> Any:
    """Give a module of the ``bench`` extra, or None with a line that says so."""
    try:
        return importlib.import_module(name)
    except ImportError:
        print(f"{name}: not installed")
        return None


def shares() -> Section:
    """Undissociated shares of six acids at pH, temperature and ionic strength."""
    section = Section(
        f"Undissociated share of {len(ACIDS)} acids at pH, temperature, ionic strength"
    )
    rows = {a.inci: a for a in load_tables().actives}
    constants = {
        k: (rows[n].pka_25c or np.nan, rows[n].dh_ion_kj_mol or 0.0) for k, n in ACIDS.items()
    }
    pka, enthalpy = np.array(list(constants.values())).T
    draw = np.random.default_rng(6)

    def media(n: int) -> tuple[Any, Any, Any]:
        return (
            draw.uniform(3.0, 7.0, (n, 1)),
            draw.uniform(15.0, 45.0, (n, 1)),
            draw.uniform(0.01, 0.4, (n, 1)),
        )

    def ours(ph: Any, temp_c: Any, strength: Any) -> Any:
        return sp.undissociated_fraction(
            ph, sp.pka_mixed(sp.pka_at(pka, enthalpy, temp_c), 0, strength, temp_c)
        )

    for n in (1, SOME, MANY):
        one = media(n)
        section.ours[f"preservecheck, {n:,} at once"] = (lambda one=one: ours(*one), n * len(ACIDS))

    given = media(THEIRS)
    large, small = (PhreeqPython(database="phreeqc.dat").ip for _ in range(2))
    large.run_string(acids_block(constants))
    small.load_database_string(small_davies(constants))
    for program, database, names in ((large, "phreeqc.dat", ["Bz"]), (large, "phreeqc.dat", list(ACIDS)),
                                     (small, "small database", list(ACIDS))):  # fmt: skip
        solutions = [
            [f"temp {t}", f"pH {p}", f"Na {i}", f"Cl {i}", *(f"{n} 1e-6" for n in names)]
            for p, t, i in np.hstack(given).tolist()
        ]
        punched = [f'MOL("H{n}")/TOT("{n}")' for n in names]
        text = run_text(names, punched, solutions)
        title = f"phreeqpython, {database}, {len(names)} in a solution"
        section.theirs[title] = (
            lambda program=program, text=text: answer(program, text),
            THEIRS * len(names),
        )
        # the strength it found, with the ions of water and of the acids, belongs to its shares
        back = np.array(answer(program, run_text([*names, "mu"], [*punched, "MU"], solutions)))
        mine = ours(*given[:2], back[:, -1:])[:, [list(ACIDS).index(n) for n in names]]
        section.compare(title, mine, back[:, :-1], 5e-4, DAVIES_REASON)
    return section


def bare_shares() -> Section:
    """The law of mass action alone, its constant handed in."""
    section = Section("The same share, mixed constant handed in (one line of arithmetic)")
    draw = np.random.default_rng(7)
    for n in (1, SOME, MANY):
        ph, pka = draw.uniform(3.0, 7.0, n), draw.uniform(3.0, 5.5, n)
        section.ours[f"preservecheck, {n:,} at once"] = (
            lambda ph=ph, pka=pka: sp.undissociated_fraction(ph, pka),
            n,
        )
    library = optional("pyEQL.equilibrium")
    if library is not None:
        pairs = list(zip(ph[:THEIRS].tolist(), pka[:THEIRS].tolist(), strict=True))
        section.theirs["pyEQL alpha, numbers"] = (
            lambda: [library.alpha(0, p, [k]) for p, k in pairs],
            THEIRS,
        )
        section.theirs["pyEQL alpha, arrays (not documented)"] = (
            lambda: library.alpha(0, ph, [pka]),
            MANY,
        )
        for name, values in (
            ("numbers", [library.alpha(0, p, [k]) for p, k in pairs]),
            ("arrays", library.alpha(0, ph, [pka])),
        ):
            mine = sp.undissociated_fraction(ph, pka)[: len(values)]
            section.compare(
                f"pyEQL alpha, {name}", mine, values, 1e-12, "the same formula: rounding"
            )
    section.floor["numpy.power alone"] = (lambda: np.power(10.0, ph), MANY)
    return section


def salts() -> Section:
    """Water activity over single salts."""
    section = Section(f"Water activity over {len(SALTS)} salts, 25 °C")
    rows = {s.id: s for s in load_tables().solutes}
    draw = np.random.default_rng(8)
    fields = [
        wa.Pitzer(
            *([np.nan if (v := getattr(rows[s], f)) is None else v] for f in wa.Pitzer._fields)
        )
        for s in SALTS
    ]

    def molalities(n: int) -> list[Any]:
        return [
            draw.uniform(0.05, min(HIGHEST_MOL_KG, c.valid_max_molality[0]), (n, 1)) for c in fields
        ]

    def ours(amounts: list[Any]) -> list[Any]:
        return [
            wa.water_activity(np.empty((len(m), 0)), NO_SUGAR, m, c).aw
            for m, c in zip(amounts, fields, strict=True)
        ]

    for n in (1, SOME, MANY):
        one = molalities(n)
        section.ours[f"preservecheck, {n:,} at once"] = (lambda one=one: ours(one), n * len(SALTS))

    given = molalities(THEIRS)
    mine = np.concatenate(ours(given))
    large, small = (PhreeqPython(database="pitzer.dat").ip for _ in range(2))
    small.load_database_string(small_pitzer(CHARGES, [(*SALTS[s], rows[s]) for s in SALTS]))
    for program, title, sulfate, tolerance, reason in (
        (large, "phreeqpython, pitzer.dat", "S(6)", 1e-3, "its own constants of the salts"),
        (
            small,
            "phreeqpython, small database, our constants",
            "Sf",
            5e-5,
            "its Debye-Hückel slope is from a model of water; 0.0002 in it is 4e-05",
        ),
    ):
        solutions = [
            [
                "temp 25",
                "pH 7",
                f"{c} {row.nu_plus * m}",
                f"{sulfate if a == 'Sf' else a} {row.nu_minus * m}",
            ]
            for (c, a), row, amounts in zip(
                SALTS.values(), (rows[s] for s in SALTS), given, strict=True
            )
            for m in amounts[:, 0].tolist()
        ]
        text = run_text(["aw"], ['ACT("H2O")'], solutions)
        section.theirs[title] = (
            lambda program=program, text=text: answer(program, text),
            len(solutions),
        )
        section.compare(title, mine, np.array(answer(program, text))[:, 0], tolerance, reason)

    library = optional("pyEQL")
    if library is not None:
        title, few = "pyEQL, Solution.get_water_activity", given[0][:10, 0].tolist()
        made = [
            library.Solution({"Na+": f"{m} mol/kg", "Cl-": f"{m} mol/kg"}, temperature="25 degC")
            for m in few
        ]
        section.theirs[title] = (lambda: [s.get_water_activity() for s in made], len(made))
        theirs = [float(s.get_water_activity().magnitude) for s in made]
        section.compare(
            title, mine[: len(few)], theirs, 1e-3, "its own constants; sodium chloride alone"
        )
    return section


def uncharged() -> Section:
    """Water activity over one uncharged solute."""
    section = Section("Water activity over an uncharged solute, constants handed in, 25 °C")
    rows = {s.id: s for s in load_tables().solutes}
    draw = np.random.default_rng(9)

    def ours(amounts: list[Any]) -> list[Any]:
        return [
            wa.water_activity(
                m, wa.Norrish([rows[s].k_norrish], [0.0], [1.0]), np.empty((len(m), 0)), NO_SALT
            ).aw
            for m, s in zip(amounts, UNCHARGED, strict=True)
        ]

    for n in (1, SOME, MANY):
        one = [draw.uniform(0.05, 5.0, (n, 1)) for _ in UNCHARGED]
        section.ours[f"preservecheck, {n:,} at once"] = (
            lambda one=one: ours(one),
            n * len(UNCHARGED),
        )
    last, k_last = one[-1], rows[UNCHARGED[-1]].k_norrish

    def written_out() -> Any:
        water = 1.0 / (1.0 + wa.MOLAR_MASS_WATER_KG_MOL * last)
        return water * np.exp(k_last * (1.0 - water) ** 2)

    section.floor["the formula in plain numpy"] = (written_out, MANY)
    section.compare(
        "plain numpy", ours(one)[-1], written_out()[:, 0], 1e-12, "the same formula: rounding"
    )
    library = optional("thermo.nrtl")
    if library is not None:
        # with both alphas 0 this model is ln gamma = (tau12 + tau21) X^2, which is Norrish's
        # equation
        some = [m[:SOME, 0] for m in one]
        water = [1.0 / (1.0 + wa.MOLAR_MASS_WATER_KG_MOL * m) for m in some]
        pairs = [np.column_stack([w, 1.0 - w]).ravel().tolist() for w in water]

        def theirs() -> list[list[float]]:
            return [
                [
                    x * g
                    for x, g in zip(
                        p[::2], library.NRTL_gammas_binaries(p, k, 0.0, 0.0, 0.0)[::2], strict=True
                    )
                ]
                for p, k in zip(pairs, (rows[s].k_norrish for s in UNCHARGED), strict=True)
            ]

        section.theirs["thermo, NRTL_gammas_binaries"] = (theirs, SOME * len(UNCHARGED))
        mine = ours([m[:, None] for m in some])
        section.compare(
            "thermo",
            mine,
            theirs(),
            1e-9,
            "the same formula, but thermo holds alpha at its least value, not 0",
        )
    return section


if __name__ == "__main__":
    print("CPU time per value; ratios are to the last line of preservecheck in each block")
    sys.exit(
        0 if all([section().show() for section in (shares, bare_shares, salts, uncharged)]) else 1
    )
