"""Water activity against measurements and against an equilibrium program, with the shipped table.

``data/water_activity_points.csv``: isopiestic, vapour-pressure and freezing-point values, one row
for each solution, with its source and DOI. "seen = page" means that the primary figure was read;
the water activity is derived from it as the row says.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from phreeqpython import PhreeqPython

from preservecheck.chemistry import water_activity as wa
from preservecheck.reference.load import load_tables

DATA = Path(__file__).parent / "data" / "water_activity_points.csv"
SALT_COLUMNS = wa.Pitzer._fields


def composition(text):
    """Names and molalities of a row such as ``Glycerin=1.0; Sodium Chloride=0.5``."""
    return {n: float(m) for n, _, m in (part.strip().partition("=") for part in text.split(";"))}


def points():
    """All rows of the data file."""
    with DATA.open(encoding="utf-8", newline="") as file:
        return [
            {**row, "composition": composition(row["composition_mol_kg"])}
            for row in csv.DictReader(file)
        ]


POINTS = points()


def estimate(molalities):
    """Estimate with the preferred rows of the shipped table."""
    rows = {s.inci: s for s in load_tables().solutes if s.preferred == "yes"}
    plain = {n: m for n, m in molalities.items() if rows[n].kind == "nonelectrolyte"}
    salts = {n: m for n, m in molalities.items() if rows[n].kind == "electrolyte"}

    def column(names, field, missing):
        values = [getattr(rows[n], field) for n in names]
        return np.array([missing if v is None else v for v in values], dtype=float)

    return wa.water_activity(
        list(plain.values()),
        wa.Norrish(
            column(plain, "k_norrish", 0.0),
            column(plain, "k3_norrish", 0.0),
            column(plain, "valid_max_mole_fraction", np.nan),
        ),
        list(salts.values()),
        wa.Pitzer(*(column(salts, field, np.nan) for field in SALT_COLUMNS)),
    )


def select(names, temperature):
    """Rows with exactly these solutes, at 25 °C or below 0 °C."""
    chosen = [
        pytest.param(p, id=f"{p['id']} {p['composition_mol_kg']}")
        for p in POINTS
        if set(p["composition"]) == set(names)
        and (float(p["temperature_c"]) == 25.0) == (temperature == 25.0)
    ]
    assert chosen, names
    return chosen


SINGLE = [
    *select(["Glycerin"], 25.0),
    *select(["Sucrose"], 25.0),
    *select(["Urea"], 25.0),
    *select(["Sodium Chloride"], 25.0),
    *select(["Potassium Chloride"], 25.0),
    *select(["Calcium Chloride"], 25.0),
    *select(["Magnesium Sulfate"], 25.0),
    *select(["Sodium Sulfate"], 25.0),
]
SALT_MIXTURES = [
    *select(["Sodium Chloride", "Potassium Chloride"], 25.0),
    *select(["Sodium Chloride", "Calcium Chloride"], 25.0),
    *select(["Potassium Chloride", "Calcium Chloride"], 25.0),
    *select(["Sodium Chloride", "Sodium Sulfate"], 25.0),
]
COLD = [
    *select(["Glycerin"], 0.0),
    *select(["Sucrose"], 0.0),
    *select(["Sodium Chloride"], 0.0),
    *select(["Propylene Glycol"], 0.0),
    *select(["Propylene Glycol", "Sodium Chloride"], 0.0),
]


def test_every_point_is_used_once():
    """Each row of the data file is in one of the groups below and has a source."""
    used = [p.values[0]["id"] for p in (*SINGLE, *SALT_MIXTURES, *COLD)]
    assert sorted(used) == [p["id"] for p in POINTS]
    assert all(p["source"] for p in POINTS)


@pytest.mark.parametrize("point", SINGLE)
def test_single_solutes_at_25(point):
    """One solute at 25 °C within its validity: within 0.002 of the measurement."""
    got = estimate(point["composition"])
    if got.outside:
        # beyond the checked range only the doubled half-width is promised
        assert abs(got.aw - float(point["aw"])) < wa.estimate_error(got.aw, got.outside)
    else:
        assert got.aw == pytest.approx(float(point["aw"]), abs=0.002)


@pytest.mark.parametrize("point", SALT_MIXTURES)
def test_salt_mixtures_at_25(point):
    """Two salts at 25 °C (isopiestic): within the stated half-width, and 0.007 inside validity."""
    got = estimate(point["composition"])
    error = abs(got.aw - float(point["aw"]))
    assert error < wa.estimate_error(got.aw, got.outside)
    if not got.outside:
        assert error < 0.007


@pytest.mark.parametrize("point", COLD)
def test_cold_solutions(point):
    """Freezing points judged with constants for 25 °C: 0.002 and 0.0013 for each degree below 0."""
    # the shift with temperature is small but not nil; the slope is the largest seen, that of
    # propylene glycol with salt (0.022 at -17.5 °C)
    got = estimate(point["composition"])
    allowed = 0.002 + 0.0013 * (0.0 - float(point["temperature_c"]))
    assert got.aw == pytest.approx(float(point["aw"]), abs=allowed)


def test_half_width_covers_19_of_20():
    """At 25 °C at least 95 of 100 measured solutions lie within the stated half-width."""
    warm = [p for p in POINTS if float(p["temperature_c"]) == 25.0]
    got = [estimate(p["composition"]) for p in warm]
    aw, outside = np.array([g.aw for g in got]), np.array([g.outside for g in got])
    measured = np.array([float(p["aw"]) for p in warm])
    covered = np.abs(aw - measured) <= wa.estimate_error(aw, outside)
    assert covered.mean() >= 0.95


def test_plain_product_reads_too_high():
    """The pooled rule beats the product over single salts on every isopiestic mixture class."""
    for other in ("Potassium Chloride", "Calcium Chloride"):
        pooled, product = [], []
        for parameter in select(["Sodium Chloride", other], 25.0):
            point = parameter.values[0]
            measured = float(point["aw"])
            pooled.append(abs(estimate(point["composition"]).aw - measured))
            single = [estimate({n: m}).aw for n, m in point["composition"].items()]
            product.append(np.prod(single) - measured)
        assert np.mean(product) > 0.0
        assert np.mean(pooled) < np.mean(np.abs(product))


@pytest.fixture(scope="module")
def phreeqc():
    """Water activity by an equilibrium program with its own Pitzer constants."""
    program = PhreeqPython(database="pitzer.dat").ip

    def activity(totals):
        lines = [
            "SOLUTION 1", "units mol/kgw", "temp 25", "pH 7",
            *(f"{element} {amount}" for element, amount in totals.items()),
            "SELECTED_OUTPUT", "-reset false",
            "USER_PUNCH", "-headings aw", '10 PUNCH ACT("H2O")', "END",
        ]  # fmt: skip
        program.run_string("\n".join(lines))
        return program.get_selected_output_array()[-1][0]

    return activity


@pytest.mark.parametrize("m", [0.1, 0.5, 1.0, 2.0, 2.5])
@pytest.mark.parametrize(
    ("salt", "ions"),
    [
        ("Sodium Chloride", {"Na": 1, "Cl": 1}),
        ("Potassium Chloride", {"K": 1, "Cl": 1}),
        ("Calcium Chloride", {"Ca": 1, "Cl": 2}),
        ("Magnesium Sulfate", {"Mg": 1, "S(6)": 1}),
        ("Magnesium Chloride", {"Mg": 1, "Cl": 2}),
        ("Sodium Sulfate", {"Na": 2, "S(6)": 1}),
    ],
)
def test_salts_against_equilibrium_program(phreeqc, salt, ions, m):
    """Single salts agree with PHREEQC's Pitzer database within 0.001."""
    theirs = phreeqc({element: nu * m for element, nu in ions.items()})
    assert estimate({salt: m}).aw == pytest.approx(theirs, abs=0.001)


@pytest.mark.parametrize(
    ("m", "archer", "robinson_stokes"),
    [(1.0, 0.96680, 0.96686), (3.0, 0.89283, 0.89318), (6.0, 0.76000, 0.75983)],
)
def test_sodium_chloride_three_points(phreeqc, m, archer, robinson_stokes):
    """Sodium chloride: Archer 1992 (pytzer 0.6.0), Robinson & Stokes (memory), PHREEQC."""
    ours = estimate({"Sodium Chloride": m}).aw
    assert ours == pytest.approx(archer, abs=0.0002)
    assert ours == pytest.approx(robinson_stokes, abs=0.0003)
    assert ours == pytest.approx(phreeqc({"Na": m, "Cl": m}), abs=0.001)


@pytest.mark.parametrize(
    ("salts", "ions"),
    [
        ({"Sodium Chloride": 0.5, "Potassium Chloride": 0.5}, {"Na": 0.5, "K": 0.5, "Cl": 1.0}),
        (
            {"Sodium Chloride": 1.0, "Potassium Chloride": 1.0, "Calcium Chloride": 0.3},
            {"Na": 1.0, "K": 1.0, "Ca": 0.3, "Cl": 2.6},
        ),
        (
            {"Sodium Chloride": 1.0, "Magnesium Sulfate": 0.5},
            {"Na": 1.0, "Mg": 0.5, "S(6)": 0.5, "Cl": 1.0},
        ),
    ],
)
def test_salt_mixtures_against_equilibrium_program(phreeqc, salts, ions):
    """Mixed salts agree with PHREEQC, which has mixing terms that the pooled rule lacks: 0.001."""
    assert estimate(salts).aw == pytest.approx(phreeqc(ions), abs=0.001)
