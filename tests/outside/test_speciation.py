"""Speciation against printed tables, an equilibrium program, a pKa database, another solver."""

from __future__ import annotations

import numpy as np
import pytest
from electrolytes import database
from phreeqpython import PhreeqPython
from scipy.optimize import brentq

from preservecheck.chemistry import speciation as sp
from preservecheck.reference.load import load_tables

NAN = float("nan")
CITRIC = [3.128, 4.761, 6.396]


class TestPrintedShares:
    """Shares of the undissociated acid, in per cent."""

    @pytest.mark.parametrize(
        ("pka", "printed"),
        [
            pytest.param(5.27, {3: 100, 4: 95, 5: 65, 6: 16, 7: 2}, id="dehydroacetic"),
            pytest.param(4.19, {3: 94, 4: 61, 5: 13, 6: 1.5, 7: 0}, id="benzoic"),
            pytest.param(4.76, {3: 98, 4: 85, 5: 37, 6: 5.5, 7: 0}, id="sorbic"),
            pytest.param(2.97, {3: 48, 4: 9, 5: 1, 6: 0, 7: 0}, id="salicylic"),
            pytest.param(3.75, {3: 85, 4: 36, 5: 5, 6: 1, 7: 0}, id="formic"),
            pytest.param(4.87, {3: 99, 4: 88, 5: 43, 6: 7, 7: 1}, id="propionic"),
        ],
    )
    def test_cosmetic_seminar_table(self, pka, printed):
        """Meets the table in J. Cosmet. Sci. 56 (2005) 361 (read) within 1 %, its rounding."""
        ph = np.array(list(printed), dtype=float)
        got = 100 * sp.undissociated_fraction(ph, pka)
        assert got == pytest.approx(list(printed.values()), abs=1.0)

    @pytest.mark.parametrize(
        ("pka", "printed"),
        [
            pytest.param(4.20, {3: 93.5, 4: 59.3, 5: 12.8, 6: 1.44, 7: 0.144}, id="benzoic"),
            pytest.param(4.87, {3: 98.5, 4: 87.6, 5: 41.7, 6: 6.67, 7: 0.71}, id="propionic"),
            pytest.param(4.76, {3: 98.5, 4: 84.5, 5: 34.9, 6: 5.1, 7: 0.54}, id="acetic"),
        ],
    )
    def test_food_microbiology_table(self, pka, printed):
        """Meets a food microbiology table of 1980 (from memory) within 12 % of each figure."""
        # that table was printed with constants up to 0.05 lower, which is 12 %
        ph = np.array(list(printed), dtype=float)
        got = 100 * sp.undissociated_fraction(ph, pka)
        assert got == pytest.approx(list(printed.values()), rel=0.12)

    @pytest.mark.parametrize(("ph", "percent"), [(3.0, 94.0), (6.0, 1.55)])
    def test_shop_page_on_benzoate(self, ph, percent):
        """A raw-material page prints 94 % at pH 3 and 1.55 % at pH 6 for benzoic acid (read)."""
        got = 100 * sp.undissociated_fraction(ph, 4.20)
        assert got == pytest.approx(percent, rel=0.01)


class TestConstants:
    """Our table of pKa against another collection."""

    @pytest.mark.parametrize(
        ("inci", "name", "tolerance"),
        [
            ("Benzoic Acid", "BENZOIC_ACID", 0.02),
            ("Sorbic Acid", "SORBIC_ACID", 0.02),
            ("Propionic Acid", "PROPIONIC_ACID", 0.02),
            ("p-Anisic Acid", "P-METHOXYBENZOIC_ACID", 0.05),
            ("Levulinic Acid", "LEVULINIC_ACID", 0.05),
            # the collection's 3.107 stands against 2.97 and 3.00 read elsewhere
            ("Salicylic Acid", "SALICYLIC_ACID", 0.15),
        ],
    )
    def test_acids(self, inci, name, tolerance):
        """PKa of the preservative acids agree with the electrophoresis database."""
        row = next(a for a in load_tables().actives if a.inci == inci)
        assert row.pka_25c == pytest.approx(database[name].pkas()[3], abs=tolerance)

    @pytest.mark.parametrize(
        ("name", "pkas"),
        [
            # CRC Handbook values, from memory
            ("ACETIC_ACID", [4.756]),
            ("LACTIC_ACID", [3.86]),
            ("CITRIC_ACID", CITRIC),
        ],
    )
    def test_adjusters_used_in_these_tests(self, name, pkas):
        """PKa of the acids used to set the pH agree with the database."""
        assert database[name].pkas()[3 : 3 + len(pkas)] == pytest.approx(pkas, abs=0.01)


@pytest.fixture(scope="module")
def phreeqc():
    """Run an equilibrium program, its own Davies activities, on acids declared in the input."""
    program = PhreeqPython(database="phreeqc.dat").ip

    def ph(acids, totals):
        species = []
        for name, pkas in acids.items():
            charge = -len(pkas)
            species += [f"{name}{charge} = {name}{charge}", " log_k 0"]
            for protons in range(1, len(pkas) + 1):
                left = charge + protons
                formula = f"{'H' if protons == 1 else f'H{protons}'}{name}{left if left else ''}"
                species += [
                    f"{name}{charge} + {protons} H+ = {formula}",
                    f" log_k {sum(pkas[-protons:])}",
                    # uncharged forms are ideal here as in our model; ions by Davies
                    *([" -gamma 0 0"] if left == 0 else []),
                ]
        masters = [f"{n} {n}-{len(p)} 0 {n} 100" for n, p in acids.items()]
        lines = [
            "SOLUTION_MASTER_SPECIES", *masters, "SOLUTION_SPECIES", *species,
            "SOLUTION 1", "units mol/kgw", "temp 25", "pH 5 charge",
            *(f"{element} {amount}" for element, amount in totals.items()),
            "SELECTED_OUTPUT", "-reset false",
            "USER_PUNCH", "-headings pH", '10 PUNCH -LA("H+")', "END",
        ]  # fmt: skip
        program.run_string("\n".join(lines))
        return program.get_selected_output_array()[-1][0]

    return ph


class TestEquilibriumProgram:
    """pH of mixtures against PHREEQC."""

    def test_half_neutralised_benzoic_acid(self, phreeqc):
        """0.01 mol/kg benzoic acid, half neutralised: 4.1806 within 0.001, ours within 0.002."""
        theirs = phreeqc({"Bz": [4.202]}, {"Bz": 0.01, "Na": 0.005})
        assert theirs == pytest.approx(4.1806, abs=0.001)
        ours = sp.charge_balance_ph([0.01], [[4.202]], [0], 0.005)
        assert ours == pytest.approx(theirs, abs=0.002)

    @pytest.mark.parametrize("sodium", [0.0, 0.01, 0.02, 0.03, 0.045, 0.055])
    def test_citric_acid_titrated(self, phreeqc, sodium):
        """0.02 mol/kg citric acid with sodium hydroxide up to pH 7: within 0.02."""
        theirs = phreeqc({"Ci": CITRIC}, {"Ci": 0.02, "Na": sodium} if sodium else {"Ci": 0.02})
        ours = sp.charge_balance_ph([0.02], [CITRIC], [0], sodium)
        assert ours == pytest.approx(theirs, abs=0.02)

    def test_benzoic_and_citric_acid_in_salt(self, phreeqc):
        """Two acids, base and 0.05 mol/kg of salt: within 0.01."""
        theirs = phreeqc(
            {"Bz": [4.202], "Ci": CITRIC}, {"Bz": 0.02, "Ci": 0.01, "Na": 0.08, "Cl": 0.05}
        )
        ours = sp.charge_balance_ph(
            [0.02, 0.01], [[4.202, NAN, NAN], CITRIC], [0, 0], 0.03, background_mol_l=0.05
        )
        assert ours == pytest.approx(theirs, abs=0.01)


class TestOtherSolver:
    """The vectorised solver against a scalar root finder on a formula written out by hand."""

    @staticmethod
    def by_brentq(acid, citric, amine, strong):
        """Ideal charge balance with all forms written out."""
        k1, k2, k3 = (10**-k for k in CITRIC)

        def charge(ph):
            h = 10**-ph
            benzoate = acid / (1 + h / 10**-4.2)
            d = h**3 + k1 * h**2 + k1 * k2 * h + k1 * k2 * k3
            citrate = citric * (k1 * h**2 + 2 * k1 * k2 * h + 3 * k1 * k2 * k3) / d
            ammonium = amine / (1 + 10**-9.0 / h)
            return strong + h - 1e-14 / h - benzoate - citrate + ammonium

        return brentq(charge, -1.0, 15.0, xtol=1e-12)

    def test_random_mixtures(self):
        """200 random mixtures of benzoic acid, citric acid, an amine and strong ions agree."""
        rng = np.random.default_rng(20)
        totals = rng.uniform(0.0, 0.05, (200, 3))
        strong = rng.uniform(-0.05, 0.15, 200)
        pkas = [[4.2, NAN, NAN], CITRIC, [9.0, NAN, NAN]]
        ours = sp.charge_balance_ph(totals, pkas, [0, 0, 1], strong, davies=False)
        theirs = [self.by_brentq(*t, s) for t, s in zip(totals, strong, strict=True)]
        assert ours == pytest.approx(theirs, abs=1e-6)

    def test_with_activities_against_fixed_point(self):
        """With activities: a scalar fixed point of root finding and ionic strength agrees."""
        acid, sodium, strength = 0.05, 0.03, 0.03
        for _ in range(60):
            root = strength**0.5
            log_gamma = -0.509 * (root / (1 + root) - 0.3 * strength)
            gamma, ka = 10**log_gamma, 10 ** -(4.2 + log_gamma)

            def charge(ph, gamma=gamma, ka=ka):
                h = 10**-ph
                return sodium + h / gamma - 1e-14 / (h * gamma) - acid * ka / (ka + h)

            ph = brentq(charge, 0.0, 14.0, xtol=1e-13)
            # one-to-one ions: the strength is the sum of all cations
            strength = sodium + 10**-ph / gamma
        ours = sp.charge_balance_ph([acid], [[4.2]], [0], sodium)
        assert ours == pytest.approx(ph, abs=1e-6)
