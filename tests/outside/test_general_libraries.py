"""The arithmetic of shares and water activity against general libraries that are given our
constants.

PHREEQC (phreeqpython) gets the pKa, enthalpies and Pitzer constants of our tables, thermo the
Norrish constants; so only the equations can differ. PHREEQC with constants of its own is in
``test_water_activity.py``.
"""

from __future__ import annotations

import numpy as np
import pytest
from phreeqpython import PhreeqPython
from thermo.nrtl import NRTL_gammas_binaries

from preservecheck.chemistry import speciation as sp
from preservecheck.chemistry import water_activity as wa
from preservecheck.reference.load import load_tables
from tests.bench.phreeqc_input import acids_block, answer, run_text, small_pitzer

TABLES = load_tables()
ACIDS = {
    "Bz": "Benzoic Acid", "So": "Sorbic Acid", "Dh": "Dehydroacetic Acid",
    "Sl": "Salicylic Acid", "Pp": "Propionic Acid", "An": "p-Anisic Acid",
}  # fmt: skip
CHARGES = {"Na": 1, "K": 1, "Ca": 2, "Cl": -1, "Sf": -2}
SOLUTES = {s.id: s for s in TABLES.solutes}


@pytest.mark.parametrize("salt", [0.01, 0.1, 0.4])
@pytest.mark.parametrize("temp_c", [15.0, 25.0, 45.0])
def test_shares_of_acids_at_imposed_ph(temp_c, salt):
    """Undissociated shares of six acids, pH 3 to 7, are those of PHREEQC within 0.0005."""
    # PHREEQC has the slope A of Davies from a model of water; dA = 0.003 at 0.4 mol/kg is
    # 0.003 x (0.387 - 0.12) = 0.0008 in pKa', at most 0.25 x ln 10 x 0.0008 = 0.00046 in the share
    rows = {a.inci: a for a in TABLES.actives}
    constants = {k: (rows[n].pka_25c, rows[n].dh_ion_kj_mol or 0.0) for k, n in ACIDS.items()}
    program = PhreeqPython(database="phreeqc.dat").ip
    program.run_string(acids_block(constants))
    phs = [3.0, 4.0, 4.5, 5.0, 5.5, 6.0, 7.0]
    solutions = [
        [f"temp {temp_c}", f"pH {p}", f"Na {salt}", f"Cl {salt}", *(f"{n} 1e-6" for n in ACIDS)]
        for p in phs
    ]
    punched = [*(f'MOL("H{n}")/TOT("{n}")' for n in ACIDS), "MU"]
    found = np.array(answer(program, run_text([*ACIDS, "mu"], punched, solutions)))
    theirs, strength = found[:, :-1], found[:, -1:]
    # the acid that sets pH 3 is in the strength as well
    assert strength[:, 0] == pytest.approx(salt, abs=0.0015)
    pka, enthalpy = np.array(list(constants.values())).T
    mixed = sp.pka_mixed(sp.pka_at(pka, enthalpy, temp_c), 0, strength, temp_c)
    assert sp.undissociated_fraction(np.array(phs)[:, None], mixed) == pytest.approx(
        theirs, abs=5e-4
    )


@pytest.mark.parametrize(
    ("salt", "cation", "anion"),
    [
        ("sodium-chloride", "Na", "Cl"),
        ("potassium-chloride", "K", "Cl"),
        ("calcium-chloride", "Ca", "Cl"),
        ("sodium-sulfate", "Na", "Sf"),
    ],
)
def test_salts_with_our_constants(salt, cation, anion):
    """Single salts up to 2.5 mol/kg are those of PHREEQC within 0.00005 if it has our Pitzer
    constants."""
    # its Debye-Hückel slope is from a model of water; 0.0002 of it is, for calcium chloride at 2.5
    # mol/kg, 0.018 x 3 x 2.5 x 2 x 0.0002 x 2.74 / (1 + 1.2 x 2.74) = 0.000035 in ln aw
    row = SOLUTES[salt]
    program = PhreeqPython(database="pitzer.dat").ip
    program.load_database_string(small_pitzer(CHARGES, [(cation, anion, row)]))
    molalities = [0.1, 0.5, 1.0, 2.0, 2.5]
    solutions = [
        ["temp 25", "pH 7", f"{cation} {row.nu_plus * m}", f"{anion} {row.nu_minus * m}"]
        for m in molalities
    ]
    theirs = np.array(answer(program, run_text(["aw"], ['ACT("H2O")'], solutions)))[:, 0]
    fields = [getattr(row, f) for f in wa.Pitzer._fields]
    ln_aw, outside = wa.salt_ln_aw(
        np.array(molalities) * 0.5 * (row.nu_plus * row.z_plus**2 + row.nu_minus * row.z_minus**2),
        wa.Pitzer(*(np.nan if f is None else f for f in fields)),
    )
    assert not outside.any()
    assert np.exp(ln_aw) == pytest.approx(theirs, abs=5e-5)


@pytest.mark.parametrize("solute", ["sucrose", "sorbitol", "propylene-glycol"])
def test_uncharged_solutes(solute):
    """Norrish's equation is thermo's two-liquid model (NRTL) without its nonrandomness, within
    1e-9."""
    # ln gamma(water) = (tau12 + tau21) X^2 when both alphas are 0; thermo puts a tiny least value
    # in place of 0
    k = SOLUTES[solute].k_norrish
    molalities = np.array([0.1, 0.5, 1.0, 3.0, 5.0])
    # 0.0180153 kg/mol: molar mass of water, IUPAC 2021
    water = 1.0 / (1.0 + 0.0180153 * molalities)
    pairs = np.column_stack([water, 1.0 - water]).ravel().tolist()
    gammas = NRTL_gammas_binaries(pairs, k / 3.0, 2.0 * k / 3.0, 0.0, 0.0)[::2]
    ours = np.exp(wa.norrish_ln_aw(molalities[:, None], [k], [0.0]))
    assert ours == pytest.approx(water * gammas, abs=1e-9)
