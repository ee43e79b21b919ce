"""Titrations against PHREEQC, an independent equilibrium program, and the curve against its written
rule."""

import numpy as np
import pytest
from phreeqpython import PhreeqPython
from scipy.optimize import brentq

from preservecheck.bench.adjust import adjust
from preservecheck.bench.buffers import Buffers, agent_needed, agent_of, ph_after
from preservecheck.chemistry.titration import amount_for, interpolated
from preservecheck.reference.load import load_tables
from tests.helpers import TODAY, make_formula

TABLES = load_tables()
CITRIC, LACTIC = [3.13, 4.76, 6.40], [3.86]
NAN = float("nan")


@pytest.fixture(scope="module")
def phreeqc():
    """The pH of acids declared in the input, by the program's own Davies activities."""
    program = PhreeqPython(database="phreeqc.dat").ip

    def ph(acids, totals):
        species, masters = [], []
        for name, pkas in acids.items():
            charge = -len(pkas)
            masters.append(f"{name} {name}{charge} 0 {name} 100")
            species += [f"{name}{charge} = {name}{charge}", " log_k 0"]
            for protons in range(1, len(pkas) + 1):
                left = charge + protons
                formula = f"{'H' if protons == 1 else f'H{protons}'}{name}{left if left else ''}"
                species += [
                    f"{name}{charge} + {protons} H+ = {formula}",
                    f" log_k {sum(pkas[-protons:])}",
                ]
                species += [" -gamma 0 0"] if left == 0 else []
        lines = ["SOLUTION_MASTER_SPECIES", *masters, "SOLUTION_SPECIES", *species, "SOLUTION 1", "units " "mol/kgw",
                 "temp 25", "pH 5 charge", *(f"{e} {a}" for e, a in totals.items()), "SELECTED_OUTPUT", "-reset " "false",
                 "USER_PUNCH", "-headings pH", '10 PUNCH -LA("H+")', "END"]  # fmt: skip
        program.run_string("\n".join(lines))
        return program.get_selected_output_array()[-1][0]

    return ph


@pytest.mark.parametrize("target", [5.5, 5.0, 4.5])
def test_citric_acid_into_citrate(phreeqc, target):
    """Citric acid that takes 0.02 mol/kg of sodium citrate buffer (0.05 mol/kg Na) down: PHREEQC's
    pH within 0.05."""
    start = phreeqc({"Ci": CITRIC}, {"Ci": 0.02, "Na": 0.05})
    strength = 0.5 * (0.05 + 0.02 * 2.5**2)
    buffers = Buffers(
        ("Citric Acid",), np.array([0.02]), np.array([CITRIC]), np.array([0.0]), strength, 1.0, ()
    )
    agent, _ = agent_of("Citric Acid", TABLES)
    mol = agent_needed(buffers, agent, start, target)
    assert phreeqc({"Ci": CITRIC}, {"Ci": 0.02 + mol, "Na": 0.05}) == pytest.approx(
        target, abs=0.05
    )


@pytest.mark.parametrize("target", [5.5, 4.5, 4.0])
def test_lactic_acid_into_citrate(phreeqc, target):
    """Lactic acid into the same citrate buffer: PHREEQC's pH within 0.05."""
    start = phreeqc({"Ci": CITRIC}, {"Ci": 0.02, "Na": 0.05})
    buffers = Buffers(
        ("Citric Acid",), np.array([0.02]), np.array([CITRIC]), np.array([0.0]), 0.0875, 1.0, ()
    )
    agent, _ = agent_of("Lactic Acid", TABLES)
    mol = agent_needed(buffers, agent, start, target)
    found = phreeqc({"Ci": CITRIC, "La": LACTIC}, {"Ci": 0.02, "La": mol, "Na": 0.05})
    assert found == pytest.approx(target, abs=0.05)


def test_lye_into_lactic_acid(phreeqc):
    """Sodium hydroxide that takes 0.05 mol/kg lactic acid, a fifth neutralised, to pH 4.5:
    PHREEQC's pH within 0.05."""
    start = phreeqc({"La": LACTIC}, {"La": 0.05, "Na": 0.01})
    buffers = Buffers(
        ("Lactic Acid",), np.array([0.05]), np.array([LACTIC]), np.array([0.0]), 0.03, 1.0, ()
    )
    agent, _ = agent_of("Sodium Hydroxide", TABLES)
    mol = agent_needed(buffers, agent, start, 4.5)
    assert phreeqc({"La": LACTIC}, {"La": 0.05, "Na": 0.01 + mol}) == pytest.approx(4.5, abs=0.05)


def test_expected_ph_of_the_steps(phreeqc):
    """Half of the acid: the pH that the step names is PHREEQC's within 0.05."""
    start = phreeqc({"Ci": CITRIC}, {"Ci": 0.02, "Na": 0.05})
    buffers = Buffers(
        ("Citric Acid",), np.array([0.02]), np.array([CITRIC]), np.array([0.0]), 0.0875, 1.0, ()
    )
    agent, _ = agent_of("Lactic Acid", TABLES)
    mol = agent_needed(buffers, agent, start, 4.5) / 2
    theirs = phreeqc({"Ci": CITRIC, "La": LACTIC}, {"Ci": 0.02, "La": mol, "Na": 0.05})
    assert ph_after(buffers, agent, start, mol) == pytest.approx(theirs, abs=0.05)


@pytest.mark.parametrize(("acid", "pkas"), [("Ci", CITRIC), ("La", LACTIC)])
def test_titration_file_against_phreeqc(phreeqc, tmp_path, acid, pkas):
    """A titration that PHREEQC makes up, read at seven points: the amount for pH 4.5 is PHREEQC's
    within 2 %."""
    name, mass = {"Ci": ("Citric Acid", 192.123), "La": ("Lactic Acid", 90.078)}[acid]

    def ph(grams):  # of 20 % solution in 50 g of water with 0.02 mol/kg of citrate
        mol = grams * 0.2 / mass / 0.05
        totals = {"Ci": 0.02 + (mol if acid == "Ci" else 0.0), "Na": 0.055} | (
            {"La": mol} if acid == "La" and mol else {}
        )
        return phreeqc({"Ci": CITRIC} | ({"La": pkas} if "La" in totals else {}), totals)

    steps = np.linspace(0, 1.6 if acid == "Ci" else 1.0, 7)
    rows = [f"{g:.3f},{ph(g):.3f}" for g in steps]
    file = tmp_path / "t.csv"
    file.write_text(
        f"sample_grams,50\nagent,{name}\nagent_percent,20\ngrams_added,ph\n" + "\n".join(rows),
        "utf-8",
    )
    found = adjust(
        make_formula({"Citric Acid": 0.4}, ph=6.0, batch="1 kg"),
        titration=file,
        target_ph=4.5,
        today=TODAY,
    )
    assert found.grams == pytest.approx(
        20 * brentq(lambda g: ph(g) - 4.5, 1e-6, steps[-1]), rel=0.02
    )


def hermite(x, y, slopes, place):
    """Cubic pieces with given slopes at the readings, written out."""
    i = min(int(np.searchsorted(x, place, side="right")) - 1, len(x) - 2)
    h = x[i + 1] - x[i]
    t = (place - x[i]) / h
    return (
        y[i] * (1 + 2 * t) * (1 - t) ** 2
        + y[i + 1] * t**2 * (3 - 2 * t)
        + h * (slopes[i] * t * (1 - t) ** 2 - slopes[i + 1] * t**2 * (1 - t))
    )


@pytest.mark.parametrize("seed", range(5))
def test_interpolation_against_the_written_rule(seed):
    """The curve has the slopes of Fritsch and Butland: inside the weighted harmonic mean of the two
    secants, at the ends three points; the amount read off it is a root of it."""
    rng = np.random.default_rng(seed)
    grams = np.cumsum(rng.uniform(0.05, 0.3, 8))
    ph = 7 - np.cumsum(rng.uniform(0.05, 0.5, 8))
    h, d = np.diff(grams), np.diff(ph) / np.diff(grams)
    a, b = 2 * h[1:] + h[:-1], h[1:] + 2 * h[:-1]
    inner = (a + b) / (a / d[:-1] + b / d[1:])

    def end(near, far, first, second):
        """Slope at an end of a curve that falls; never rising."""
        return min(((2 * near + far) * first - near * second) / (near + far), 0.0)

    slopes = [end(h[0], h[1], d[0], d[1]), *inner, end(h[-1], h[-2], d[-1], d[-2])]
    places = np.linspace(grams[0], grams[-1], 50)
    theirs = [hermite(grams, ph, slopes, p) for p in places]
    assert interpolated(grams, ph, places) == pytest.approx(theirs, abs=1e-12)
    target = float(ph.mean())
    assert amount_for(grams, ph, target) == pytest.approx(
        brentq(lambda g: hermite(grams, ph, slopes, g) - target, grams[0], grams[-1])
    )
