"""Free preservative against printed tables and two further derivations."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from preservecheck.chemistry import free_active as fa
from preservecheck.chemistry import partition, speciation
from preservecheck.reference.load import load_tables


class TestPrintedTable:
    """Bean, Heman-Ackah & Thomas 1965, J. Soc. Cosmet. Chem. 16, page 18, Table II (read)."""

    @pytest.mark.parametrize(
        ("percent", "k", "phi", "printed"),
        [
            pytest.param(0.4, 0.067, 1.0, 0.750, id="phenol in mineral oil"),
            pytest.param(4.0, 116.7, 1.0, 0.068, id="chlorocresol in peanut oil"),
        ],
    )
    def test_water_concentration(self, percent, k, phi, printed):
        """The concentration in the water is the printed one, to its last digit."""
        # per volume of water the emulsion holds 1 + phi times as much
        (uptake,) = fa.taken_up([phi], [[k]])
        found = fa.free_undissociated(percent * (1 + phi), uptake, 1.0, 1.0)
        assert found == pytest.approx(printed, abs=0.0005)


class TestTextbook:
    """Textbook values, from memory."""

    def test_benzoic_acid_between_oil_and_water(self):
        """Martin's Physical Pharmacy (memory): 1.74 mg/mL for 0.25 mg/mL free at pH 4."""
        # 0.005 in 1.74 is 0.0007 in 0.25
        f = speciation.undissociated_fraction(4.0, -np.log10(6.3e-5))
        assert 10 * fa.free_undissociated(0.174, 5.33, 1.0, f) == pytest.approx(0.25, abs=0.0007)

    @pytest.mark.parametrize(("log_p", "share"), [(1.96, 0.22), (1.96, 0.43)])
    def test_methylparaben_in_five_per_cent_polysorbate(self, log_p, share):
        """The estimate lies within a factor 2 of both published free shares (22 % and 43 %)."""
        (bound,) = 1 + fa.taken_up([5.0], [[partition.binding_from_log_p(log_p)]])
        assert 0.5 < bound * share < 2.0


class TestOtherDerivation:
    """The closed formula against a balance of every compartment, solved numerically."""

    @staticmethod
    def by_balance(  # noqa: PLR0913, PLR0917
        total, phi, k, binders, ph, pka, r_ion
    ):
        """Free acid that makes water, ion, oil, binders and paired ion add up to the total."""

        def surplus(free):
            ion = free * 10 ** (ph - pka)
            bound = sum(free * constant * amount for amount, constant in binders)
            paired = (r_ion - 1.0) * ion
            return free + ion + bound + paired + k * free * phi - total

        return brentq(surplus, 0.0, total, xtol=1e-14)

    @pytest.mark.parametrize("ph", [3.0, 4.2, 5.5, 7.0])
    @pytest.mark.parametrize("r_ion", [1.0, 6.0])
    @pytest.mark.parametrize("phi", [0.0, 0.1, 1.0])
    def test_weak_acid_in_an_emulsion(self, ph, r_ion, phi):
        """Acid, ion, oil, two binders and ion pairs add up."""
        binders = [(0.5, 0.37), (2.0, 0.1)]
        theirs = self.by_balance(0.47, phi, 5.33, binders, ph, 4.117, r_ion)
        (bound,) = 1 + fa.taken_up([a for a, _ in binders], [[k for _, k in binders]])
        f = speciation.undissociated_fraction(ph, 4.117)
        ours = fa.free_undissociated(0.47, 5.33 * phi, bound, f, r_ion)
        assert ours == pytest.approx(theirs, rel=1e-9)

    def test_weak_base_is_the_mirror(self):
        """A base of pKa 6.5 at pH 5.5 is 1 part free base to 10 parts ion."""
        f = speciation.free_base_fraction(5.5, 6.5)
        ours = fa.free_undissociated(0.5, 3.0, 1.5, f)
        assert ours == pytest.approx(0.5 / (3.0 + 1.5 + 10.0))


class TestRelations:
    """The stated scatter of the relations holds on the measurements in the shipped tables."""

    @staticmethod
    def deviations(oil_class, relation):
        """log10 of estimate over measurement, for each measured row with a known log P."""
        tables = load_tables()
        log_p = {a.inci: a.log_p for a in tables.actives}
        return np.array(
            [
                np.log10(relation(log_p[row.active]) / row.k_oil_water)
                for row in tables.partition
                if row.oil_class == oil_class
                and row.kind == "measured"
                and log_p.get(row.active) is not None
            ]
        )

    def test_vegetable_oil(self):
        """All but one in ten measurements in vegetable oils lie within the stated factor 2.5."""
        off = self.deviations("vegetable", partition.vegetable_oil_partition)
        assert len(off) >= 12
        assert np.mean(np.abs(off) < np.log10(partition.VEGETABLE_OIL_FACTOR)) >= 0.9
