"""Check free-active: is enough of the preservative free, in its working form, in the water?

Every expected number is worked out here from the table's constants by the formulas of the manual
page, step by step.
"""

import math

import numpy as np
import pytest

from preservecheck.checks.free_active import compute
from preservecheck.reference.load import load_tables
from tests.helpers import (
    about,
    case_of,
    four_sigma,
    make_formula,
    outcome,
    run_check,
    same_alone_and_together,
    value,
)

ID = "free-active"
ASPERGILLUS, PSEUDOMONAS, STAPHYLOCOCCUS = (
    "Aspergillus brasiliensis",
    "Pseudomonas aeruginosa",
    "Staphylococcus aureus",
)
MICROBES = {ASPERGILLUS, PSEUDOMONAS, STAPHYLOCOCCUS, "Escherichia coli", "Candida albicans"}
TABLES = load_tables()
NAN = math.nan


def active(inci):
    """Row of an active."""
    return next(a for a in TABLES.actives if a.inci == inci)


def mic(inci, microbe):
    """Preferred MIC. [% w/v]"""
    row = next(
        m for m in TABLES.mic if (m.active, m.organism, m.preferred) == (inci, microbe, "yes")
    )
    return row.mic_mg_l / 10_000


def k_oil(inci, oil_class):
    """Preferred oil-water partition coefficient."""
    return next(
        p.k_oil_water
        for p in TABLES.partition
        if (p.active, p.oil_class, p.preferred) == (inci, oil_class, "yes")
    )


def k_bind(inci, binder_class):
    """Preferred uptake per per cent of binder."""
    return next(
        b.k_per_percent
        for b in TABLES.binding
        if (b.active, b.binder_class, b.preferred) == (inci, binder_class, "yes")
    )


def davies(strength):
    """log10 of the activity coefficient of a single charge at 25 °C."""
    return -0.509 * (math.sqrt(strength) / (1 + math.sqrt(strength)) - 0.3 * strength)


def fraction(ph, pka):
    """Undissociated share of an acid."""
    return 1 / (1 + 10 ** (ph - pka))


def test_plain_water_by_hand():
    """Sodium benzoate 0.5 % at pH 4.8 in water: C, I, pKa', f, free and free over MIC, each as
    worked out here."""
    found = about(run_check(ID, {"items": {"Sodium Benzoate": 0.5}}, ph=4.8), ASPERGILLUS)
    acid, salt = active("Benzoic Acid"), active("Sodium Benzoate")
    total = (
        0.5 * acid.molar_mass_g_mol / salt.molar_mass_g_mol
    )  # 0.4237 %, the water phase is the whole formula
    strength = (
        1000 * 0.5 / salt.molar_mass_g_mol / 99.5
    )  # mol per kg of water: Na+ and benzoate, 1/2 (1 + 1)
    pka = acid.pka_25c + davies(strength)
    f = fraction(4.8, pka)
    free = total * f
    assert total == pytest.approx(0.42373, abs=5e-5)
    assert strength == pytest.approx(0.03487, abs=5e-5)
    assert value(found, "total_percent", "Benzoic Acid") == pytest.approx(total, rel=1e-6)
    assert value(found, "ionic_strength") == pytest.approx(strength, rel=1e-3)
    assert value(found, "pka", "Benzoic Acid") == pytest.approx(pka, abs=1e-3)
    assert value(found, "undissociated_fraction", "Benzoic Acid") == pytest.approx(f, rel=2e-3)
    assert value(found, "free_percent", "Benzoic Acid") == pytest.approx(free, rel=2e-3)
    assert value(found, "mic_percent", "Benzoic Acid") == pytest.approx(
        mic("Benzoic Acid", ASPERGILLUS)
    )
    assert value(found, "sum_of_ratios") == pytest.approx(
        free / mic("Benzoic Acid", ASPERGILLUS), rel=2e-3
    )


def test_oil_and_polysorbate_by_hand():
    """With 10 % sunflower oil and 0.5 % polysorbate 80: C / (K phi + R + (1 - f)/f) over a 90 %
    water phase."""
    found = about(
        run_check(
            ID,
            {"items": {"Sodium Benzoate": 0.5, "Sunflower oil": 10, "Polysorbate 80": 0.5}},
            ph=4.8,
        ),
        ASPERGILLUS,
    )
    acid, salt = active("Benzoic Acid"), active("Sodium Benzoate")
    total = 100 / 90 * 0.5 * acid.molar_mass_g_mol / salt.molar_mass_g_mol
    strength = 1000 * 0.5 / salt.molar_mass_g_mol / 89.0  # water: 100 - 0.5 - 10 - 0.5
    f = fraction(4.8, acid.pka_25c + davies(strength))
    oil = k_oil("Benzoic Acid", "vegetable") * (10 / 0.92) / 90
    bound = 1 + k_bind("Benzoic Acid", "nonionic ethoxylate") * 100 * 0.5 / 90
    free = total / (oil + bound + (1 - f) / f)
    assert value(found, "total_in_water_percent", "Benzoic Acid") == pytest.approx(total, rel=1e-6)
    assert value(found, "oil_to_water_volume") == pytest.approx(10 / 0.92 / 90, rel=1e-6)
    assert value(found, "oil_term", "Benzoic Acid") == pytest.approx(oil, rel=1e-6)
    assert value(found, "bound_ratio", "Benzoic Acid") == pytest.approx(bound, rel=1e-6)
    assert value(found, "free_percent", "Benzoic Acid") == pytest.approx(free, rel=2e-3)
    assert value(found, "sum_of_ratios") == pytest.approx(
        free / mic("Benzoic Acid", ASPERGILLUS), rel=2e-3
    )


class TestExampleF:
    """Example F of the activity model: leave-in, 0.50 % sodium benzoate, phi = 0.10, pH 4.80, 25
    °C, I = 0.05.

    phi = 0.10 wants m/density/(100 - m) = 0.10: 8.425 % of vegetable oil (0.92 g/mL), 7.834 % of
    mineral oil (0.85). I: 0.0381 mol per kg of water from the benzoate; 0.0119 more are 0.063 %
    sodium chloride.
    """

    SALTS = {"Sodium Benzoate": 0.5, "Sodium Chloride": 0.063}

    def figures(self, items, ph):
        return about(
            run_check(ID, {"items": self.SALTS | items}, ph=ph, temperature="25 °C"), ASPERGILLUS
        )

    @pytest.mark.parametrize(
        ("items", "free"),
        [
            ({"Paraffinum Liquidum": 7.834}, 0.0798),
            ({"Sunflower oil": 8.425}, 0.0733),
            ({"Sunflower oil": 8.425, "Polysorbate 80": 0.458}, 0.0712),
        ],
    )  # 0.5 % of a 91.6 % water phase
    def test_free(self, items, free):
        """Free undissociated acid within 2 % of the printed figure."""
        found = self.figures(items, 4.8)
        assert value(found, "ionic_strength") == pytest.approx(0.05, abs=0.001)
        assert value(found, "oil_to_water_volume") == pytest.approx(0.10, rel=2e-3)
        assert value(found, "pka", "Benzoic Acid") == pytest.approx(4.117, abs=0.002)
        assert value(found, "undissociated_fraction", "Benzoic Acid") == pytest.approx(
            0.1717, rel=0.01
        )
        assert value(found, "free_percent", "Benzoic Acid") == pytest.approx(free, rel=0.02)

    def test_sum(self):
        """The printed free 0.0733 % against 0.0325 % for the mould is 2.26 at pH 4.8; at pH 5.5,
        where f = 0.0397, the printed 0.7 against 0.027 % is 0.58."""
        sum_of_ratios = value(self.figures({"Sunflower oil": 8.425}, 4.8), "sum_of_ratios")
        assert sum_of_ratios == pytest.approx(2.26, rel=0.02)
        weak = self.figures({"Sunflower oil": 8.425}, 5.5)
        assert value(weak, "undissociated_fraction", "Benzoic Acid") == pytest.approx(
            0.0397, rel=0.02
        )
        assert value(weak, "sum_of_ratios") == pytest.approx(0.7 * 0.027 / 0.0325, abs=0.04)
        assert outcome(weak) == "warn"


# the fit on published tests: intercept, slope, their variances and their covariance
A, B, VAR_A, VAR_B, COV = 1.2913, 1.7223, 0.3804**2, 0.1234**2, 0.0113


def chance(ratio_sum, log_sd=0.0, lift=0.0):
    """The chance of a sum by the manual page: z over the root of 1 + pi/8 of its variance."""
    x = math.log(max(ratio_sum, 0.1))
    variance = VAR_A + 2 * COV * x + VAR_B * x**2 + (B * log_sd) ** 2
    z = (A + B * x + lift) / math.sqrt(1 + math.pi / 8 * variance)
    return 1 / (1 + math.exp(-z))


@pytest.mark.parametrize(
    ("percent", "expected"),
    [(0.118, "serious"), (0.119, "warn"), (0.345, "warn"), (0.347, "pass"), (0.8, "pass")],
)
def test_lines(percent, expected):
    """Phenoxyethanol against Pseudomonas, MIC 0.32 %: a chance below 0.4 is serious, below 0.8
    warns.

    0.8 is a sum of 1.0811: z = 1.2913 + 1.7223 ln 1.0811 = 1.4256, v = 0.1466, 1.4256 / 1.0284 =
    1.3863 = ln 4, at 0.34596 %. 0.4 is a sum of 0.3710: z = -0.4162, v = 0.1373, -0.4162 / 1.0266 =
    -0.4055 = ln 2/3, at 0.11873 %. At pH 7 acidity is no hurdle.
    """
    assert mic("Phenoxyethanol", PSEUDOMONAS) == pytest.approx(0.32)
    found = about(run_check(ID, {"items": {"Phenoxyethanol": percent}}, ph=7), PSEUDOMONAS)
    assert value(found, "sum_of_ratios") == pytest.approx(percent / 0.32, rel=1e-6)
    assert value(found, "challenge_chance") == pytest.approx(chance(percent / 0.32), abs=1e-4)
    assert value(found, "undissociated_fraction", "Phenoxyethanol") == 1
    assert outcome(found) == expected


def test_sums_over_actives():
    """Six tenths of what stops it from each of two actives are enough together; benzyl alcohol has
    no published case, but brings no more than half."""
    parts = {
        "Phenoxyethanol": 0.61 * mic("Phenoxyethanol", PSEUDOMONAS),
        "Benzyl Alcohol": 0.6 * mic("Benzyl Alcohol", PSEUDOMONAS),
    }
    found = about(run_check(ID, {"items": parts}, ph=7), PSEUDOMONAS)
    assert value(found, "sum_of_ratios") == pytest.approx(1.21, rel=1e-6)
    assert value(found, "challenge_chance") == pytest.approx(chance(1.21), abs=1e-4)
    assert outcome(found) == "pass"


class TestChance:
    """What moves the chance beside the sum."""

    def test_active_without_a_case(self):
        """Benzyl alcohol alone at a sum of 2 counts with a spread of 0.35."""
        items = {"Benzyl Alcohol": 2 * mic("Benzyl Alcohol", PSEUDOMONAS)}
        found = about(run_check(ID, {"items": items}, ph=7), PSEUDOMONAS)
        total = value(found, "sum_of_ratios") + value(found, "water_activity_share")
        assert value(found, "challenge_chance") == pytest.approx(chance(total, 0.35), abs=1e-4)
        assert value(found, "challenge_chance") < chance(total)

    def test_water_activity(self):
        """A measured 0.98 is half way to the limit of Pseudomonas, 0.96: 0.5 cubed, 0.125, counts
        beside the sum of 0.5."""
        found = about(
            run_check(ID, {"items": {"Phenoxyethanol": 0.16}}, ph=7, water_activity=0.98),
            PSEUDOMONAS,
        )
        assert value(found, "water_activity_share") == pytest.approx(0.125)
        assert value(found, "challenge_chance") == pytest.approx(chance(0.625), abs=1e-4)

    def test_acid_ph(self):
        """At pH 6 Pseudomonas is half way from 7 to its limit of 5: a quarter of 0.5 cubed."""
        found = about(run_check(ID, {"items": {"Phenoxyethanol": 0.16}}, ph=6), PSEUDOMONAS)
        assert value(found, "acidity_share") == pytest.approx(0.03125)
        assert value(found, "challenge_chance") == pytest.approx(chance(0.53125), abs=1e-4)

    @pytest.mark.parametrize(("percent", "lift"), [(0.009, 0), (0.01, 1)])
    def test_edta(self, percent, lift):
        """EDTA adds 1 to the log odds of Pseudomonas, and nothing to those of the others."""
        items = {"Phenoxyethanol": 0.32, "Disodium EDTA": percent}
        found = run_check(ID, {"items": items}, ph=7)
        one = about(found, PSEUDOMONAS)
        assert value(one, "challenge_chance") == pytest.approx(chance(1, lift=lift), abs=1e-3)
        coli = about(found, "Escherichia coli")
        total = value(coli, "sum_of_ratios")
        assert value(coli, "challenge_chance") == pytest.approx(chance(total), abs=1e-3)

    def test_surfactant_holds_gram_positive_bacteria(self):
        """In 10 % of laureth sulfate Staphylococcus counts one more active of unknown MIC, and is
        likelier held than by the sum alone; Pseudomonas is not."""
        items = {"Phenoxyethanol": 0.9, "Sodium Laureth Sulfate": 10}
        found = run_check(ID, {"items": items, "type": "shampoo"}, ph=5)
        held = {f.about: value(f, "challenge_chance") for f in found}
        total = {f.about: value(f, "sum_of_ratios") for f in found}
        assert total[STAPHYLOCOCCUS] < total[PSEUDOMONAS]
        assert held[STAPHYLOCOCCUS] > held[PSEUDOMONAS]

    def test_layers_of_a_conditioner_decide(self):
        """Propylparaben 0.15 % beside 8 % fatty alcohol and 3 % long-chain quat: nothing to all of
        it may be in the layers, so a test has to say.

        log K = 0.69 log P - 0.046 in layers of (8 + 3) / 0.9 / 100 of 100 % water phase less 11.
        """
        items = {"Propylparaben": 0.15, "Cetearyl Alcohol": 8, "Behentrimonium Chloride": 3}
        found = about(
            run_check(ID, {"items": items, "type": "conditioner"}, ph=4.5), "Candida albicans"
        )
        phi = value(found, "layers_to_water_volume")
        assert phi == pytest.approx(11 / 0.90 / 89, rel=1e-6)
        k = 0.90 * 10 ** (0.69 * active("Propylparaben").log_p)
        assert value(found, "oil_term", "Propylparaben") == pytest.approx(k * phi, rel=1e-6)
        assert outcome(found) == "unknown"
        assert "layers of fatty alcohol" in found.because

    def test_ions_at_a_quat(self):
        """Benzoate beside 3 % behentrimonium chloride (404.17 g/mol, 7.42 mmol in 100 g): up to 5.57
        mmol are held, more than the 1.6 mmol of ions there, so R_A is 5."""
        items = {"Sodium Benzoate": 0.3, "Behentrimonium Chloride": 3}
        found = about(run_check(ID, {"items": items, "type": "conditioner"}, ph=4.5), ASPERGILLUS)
        assert value(found, "ion_ratio", "Benzoic Acid") == 5


class TestSums:
    """The sum of free over MIC, with MICs that are made up for the purpose."""

    @staticmethod
    def case(mic):
        """Two neutral actives, 0.1 and 0.2 % free in water, against made-up MICs, shape (2,
        microbes)."""
        case = case_of(make_formula({"Phenoxyethanol": 0.1, "Benzyl Alcohol": 0.2}, ph=5))
        whole = np.full((len(case.reference.forms.names), 5), np.nan)
        for name, row in zip(("Phenoxyethanol", "Benzyl Alcohol"), mic, strict=True):
            whole[case.reference.forms.names.index(name)] = row
        return case.with_(mic_percent=whole)

    def test_adds(self):
        """Two actives at half of what stops a microbe add up to one."""
        assert self.case([[0.2] * 5, [0.4] * 5]).sums[0] == pytest.approx([1.0] * 5)

    def test_unknown_adds_nothing(self):
        """An unknown MIC adds 0 and is said to be missing."""
        case = self.case([[0.2, NAN, 0.2, NAN, 0.2], [0.4, 0.4, NAN, NAN, NAN]])
        assert case.sums[0] == pytest.approx([1.0, 0.5, 0.5, 0.0, 0.5])
        assert compute(case)["missing"][0].tolist() == [False, True, True, True, True]

    def test_no_active(self):
        """Without any active every sum is 0."""
        assert case_of(make_formula({"Glycerin": 3}, ph=5)).sums.tolist() == [[0.0] * 5]

    def test_one_table_or_one_per_case(self):
        """MICs drawn anew for each case give the same as a shared table, to the last digit."""
        case = self.case([[0.2, 0.3, 0.7, 0.6, 0.5], [0.4, 0.1, 0.9, 0.8, 0.3]])
        own = case.with_(
            mic_percent=np.broadcast_to(case.mic_percent, (6, 5, *case.mic_percent.shape))
        )
        assert own.sums.shape == (6, 5, 5)
        assert np.array_equal(own.sums[4, 2], case.sums[0])
        # 0.1 / 0.7 + 0.2 / 0.9
        assert case.sums[0, 2] == pytest.approx(0.1 / 0.7 + 0.2 / 0.9)


def test_carried_in_counts():
    """What a raw material carries in acts like what was put in."""
    blends = {"extract": {"Glycerin": 96, "Phenoxyethanol": 4}}
    found = about(run_check(ID, {"items": {"extract": 5}, "blends": blends}, ph=5), PSEUDOMONAS)
    assert value(found, "total_percent", "Phenoxyethanol") == pytest.approx(0.2)
    assert value(found, "sum_of_ratios") == pytest.approx(0.2 / 0.32, rel=1e-6)


def test_every_microbe():
    """One finding for each of the five microbes of the challenge tests."""
    assert {f.about for f in run_check(ID, {"items": {"Phenoxyethanol": 0.8}}, ph=5)} == MICROBES


class TestUnknown:
    """What is missing is said, and never passed."""

    def test_ph(self):
        """Without a pH nothing is decided, and the undissociated share is not known."""
        found = about(run_check(ID, {"items": {"Sodium Benzoate": 0.5}}), ASPERGILLUS)
        assert (outcome(found), found.chance) == ("unknown", None)
        assert found.value("undissociated_fraction", "Benzoic Acid") is None

    @pytest.mark.parametrize(("phenoxyethanol", "expected"), [(0.34, "unknown"), (0.352, "pass")])
    def test_mic(self, phenoxyethanol, expected):
        """An active without an MIC leaves it unknown only while the known part does not suffice."""
        assert not [m for m in TABLES.mic if m.active == "o-Cymen-5-ol" and m.preferred == "yes"]
        items = {"Phenoxyethanol": phenoxyethanol, "o-Cymen-5-ol": 0.1}
        found = about(run_check(ID, {"items": items}, ph=7), PSEUDOMONAS)
        assert outcome(found) == expected
        assert found.value("mic_percent", "o-Cymen-5-ol") is None


def test_mic_that_only_says_more_than():
    """An MIC of 'more than 1000 mg/L' counts as twice that: 0.2 %, of which 0.5 % of climbazole
    is free as far as 0.058 g/L dissolve: 0.0058 / 0.2."""
    row = next(m for m in TABLES.mic if (m.active, m.organism) == ("Climbazole", PSEUDOMONAS))
    assert row.comparator == ">"
    found = about(
        run_check(ID, {"items": {"Climbazole": 0.5}, "type": "shampoo"}, ph=6), PSEUDOMONAS
    )
    assert value(found, "sum_of_ratios") == pytest.approx(0.029)
    assert outcome(found) == "serious"
    assert "Climbazole did not stop it" in found.because


def test_nothing_at_all_is_serious():
    """Without any active the sum is 0."""
    found = about(run_check(ID, {"items": {"Glycerin": 3}}, ph=5), PSEUDOMONAS)
    assert (outcome(found), value(found, "sum_of_ratios")) == ("serious", 0)


@pytest.mark.parametrize(
    ("binder", "ratio_sum", "expected"),
    [("Polysorbate 80", 0.298, "serious"), ("Sodium Laureth Sulfate", 0.129, "warn")],
)
def test_uptake_that_nobody_measured(binder, ratio_sum, expected):
    """A small chance is serious where the uptake was measured, and a warning where it was lent from
    ethoxylates and may be a fifth of that.

    Phenoxyethanol 0.25 % with 15 %: R = 1 + 0.108 x 15 = 2.62, 0.25 / 2.62 / 0.32 = 0.298; mole for
    mole k = 0.108 x 1310 / 420 = 0.337, R = 6.05 and the sum is 0.129; with k / 4.9 R = 2.03 and the
    sum is 0.385, a chance of 0.4 and more.
    """
    assert k_bind("Phenoxyethanol", "nonionic ethoxylate") == 0.108
    found = about(run_check(ID, {"items": {"Phenoxyethanol": 0.25, binder: 15}}, ph=7), PSEUDOMONAS)
    assert value(found, "sum_of_ratios") == pytest.approx(ratio_sum, abs=0.001)
    assert outcome(found) == expected


@pytest.mark.parametrize(
    ("activity", "microbe", "expected"),
    [
        (0.73, PSEUDOMONAS, "pass"),  # dry
        (0.949, PSEUDOMONAS, "pass"),  # below its limit of 0.96 by more than the tolerance
        (0.965, PSEUDOMONAS, "warn"),  # (0.035 / 0.04) cubed is 0.67
        (0.98, PSEUDOMONAS, "serious"),
        (0.755, ASPERGILLUS, "pass"),  # below 0.77
        (0.765, ASPERGILLUS, "warn"),
    ],
)
def test_where_the_water_activity_may_be_enough(activity, microbe, expected):
    """A sum of 0 is no fault for a microbe that cannot grow (± 0.01), and only warns near the
    growth limit."""
    found = about(
        run_check(
            ID,
            {"items": {"Glycerin": 55}},
            ph=7,
            water_activity=activity,
            water_activity_tolerance=0.01,
        ),
        microbe,
    )
    assert outcome(found) == expected


def test_ferment_is_unknown():
    """A system that holds nothing whose amount could be compared with an MIC is unknown, neither
    failed nor passed."""
    found = about(
        run_check(ID, {"systems": {"leuconostoc-radish-root-ferment-filtrate": 4}}, ph=4.5),
        PSEUDOMONAS,
    )
    assert outcome(found) == "unknown"


def test_dry_product_needs_none():
    """Below a measured water activity of 0.75 no free preservative is asked for."""
    found = run_check(ID, {"items": {"Glycerin": 60}}, ph=5, water_activity=0.70)
    assert {outcome(f) for f in found} == {"pass"}


def test_tolerance_of_the_ph():
    """The chance that the sum is 1 or more is near one half when it is 1 itself; a chance of 0.8
    that falls below within ± 0.1 warns.

    At pH 4.8 the mould's 0.0325 % wants about 0.18 % of acid, 0.21 % of the salt, which has I =
    0.0146 and pKa' = 4.149: f = 0.1827, and 0.0325 / 0.1827 / 0.8475 = 0.2099 %.
    """
    found = about(
        run_check(ID, {"items": {"Sodium Benzoate": 0.2099}}, ph=4.8, ph_tolerance=0.1), ASPERGILLUS
    )
    assert value(found, "sum_of_ratios") == pytest.approx(1.0, abs=0.005)
    assert outcome(found) == "warn"
    # 0.005 in the sum are 0.0027 in pH, 0.05 standard deviations, 2 % of chance
    assert value(found, "chance_enough") == pytest.approx(0.5, abs=four_sigma(0.5) + 0.02)
    assert found.chance == pytest.approx(value(found, "challenge_chance"), abs=5e-4)
    tolerance = found.figure("sum_of_ratios").tolerance
    # f changes by ln(10) (1 - f) = 188 % per unit of pH: 18.8 % for 0.1
    assert tolerance == pytest.approx(0.188, abs=0.005)
    surely = about(
        run_check(ID, {"items": {"Sodium Benzoate": 0.36}}, ph=4.8, ph_tolerance=0.1), ASPERGILLUS
    )
    assert outcome(surely) == "pass"
    # benzoic acid has no published case
    assert chance(1.182, 0.35) > 0.8 > chance(1.182 * (1 - 0.188), 0.35)
    close = about(
        run_check(ID, {"items": {"Sodium Benzoate": 0.25}}, ph=4.8, ph_tolerance=0.1), ASPERGILLUS
    )
    assert value(close, "sum_of_ratios") == pytest.approx(1.182, abs=0.001)
    assert outcome(close) == "warn"
    assert "at the edge of the pH tolerance" in close.because


def test_temperature_of_the_sample():
    """The pKa moves with the temperature of the sample: 0.7 kJ/mol x 52.23 x (1/313.15 - 1/298.15)
    = -0.0059 at 40 °C.

    1000/(8.314 x 2.3026) = 52.23. The salt's coefficient at 40 °C is 0.524 against 0.509: another
    -0.002 or so.
    """
    assert active("Benzoic Acid").dh_ion_kj_mol == 0.7
    cold, warm = (
        about(run_check(ID, {"items": {"Benzoic Acid": 0.1}}, ph=4, temperature=t), ASPERGILLUS)
        for t in ("25 °C", "40 °C")
    )
    # benzoic acid alone adds no ions, so only van 't Hoff's term is left
    assert value(warm, "pka", "Benzoic Acid") - value(cold, "pka", "Benzoic Acid") == pytest.approx(
        -0.00587, abs=2e-4
    )


def test_base_works_uncharged():
    """Climbazole is a base: its free share is 1/(1 + 10^(pKa' - pH)) and rises with the pH."""
    row = active("Climbazole")
    found = about(
        run_check(ID, {"items": {"Climbazole": 0.5}, "type": "shampoo"}, ph=7.0), "Candida albicans"
    )
    # no ions in it, so pKa' is pKa
    free_base = 1 / (1 + 10 ** (row.pka_25c - 7))
    assert value(found, "undissociated_fraction", "Climbazole") == pytest.approx(
        free_base, rel=1e-3
    )


def test_never_above_solubility():
    """Benzoic acid 0.5 % at pH 3: 0.47 % would be free, but water holds 2.9 g/L = 0.29 %."""
    found = about(run_check(ID, {"items": {"Benzoic Acid": 0.5}}, ph=3.0), ASPERGILLUS)
    assert active("Benzoic Acid").water_solubility_g_l == 2.9
    assert value(found, "free_percent", "Benzoic Acid") == pytest.approx(0.29)


class TestCation:
    """Benzalkonium, 0.2 % of a 50 % solution: 0.1 % active, 1000 x 0.1 x 10 / 360 = 2.778
    meq/kg."""

    SYSTEM = {"benzalkonium-chloride": 0.2}

    def free(self, items):
        found = about(run_check(ID, {"items": items, "systems": self.SYSTEM}, ph=6), STAPHYLOCOCCUS)
        return value(found, "free_percent", "Benzalkonium Chloride")

    def test_alone(self):
        """All of it is free."""
        assert self.free({"Glycerin": 3}) == pytest.approx(0.1, rel=1e-6)

    def test_half_paired_off(self):
        """Laureth sulfate of 420 g/mol with half its charge, 1.389 meq/kg = 0.05833 %, leaves half
        of it."""
        assert self.free({"Sodium Laureth Sulfate": 0.05833}) == pytest.approx(0.05, rel=1e-3)

    def test_all_paired_off(self):
        """With more anionic than cationic charge none is left, and the formula fails."""
        found = about(
            run_check(ID, {"items": {"Sodium Laureth Sulfate": 8}, "systems": self.SYSTEM}, ph=6),
            PSEUDOMONAS,
        )
        assert (value(found, "free_percent", "Benzalkonium Chloride"), outcome(found)) == (
            0,
            "serious",
        )

    def test_polysorbate(self):
        """1 % polysorbate takes R = 1 + k of it; its water phase is the whole formula."""
        k = k_bind("Benzalkonium Chloride", "nonionic ethoxylate")
        assert self.free({"Polysorbate 80": 1}) == pytest.approx(0.1 / (1 + k), rel=1e-6)

    def test_oil_and_ph_do_not_matter(self):
        """No oil term and no share by pH: 0.1 % over a 90 % water phase is 0.1111 %."""
        assert self.free({"Sunflower oil": 10}) == pytest.approx(100 * 0.1 / 90, rel=1e-6)


def test_sources():
    """The finding names the source of the MIC, of pKa, of K and of the uptake."""
    items = {"Sodium Benzoate": 0.5, "Sunflower oil": 10, "Polysorbate 80": 0.5}
    text = " | ".join(about(run_check(ID, {"items": items}, ph=4.8), ASPERGILLUS).sources)
    for words in (
        "MIC of Benzoic Acid: ",
        "pKa of Benzoic Acid: ",
        "K of Benzoic Acid in vegetable oils: ",
        "uptake of Benzoic Acid by nonionic ethoxylate: ",
    ):
        assert words in text


def test_batch():
    """A batch reads like its formulas one by one."""
    same_alone_and_together(
        ID,
        make_formula(
            {"Sunflower oil": 5, "Polysorbate 80": 0.5},
            {"sodium-benzoate": 0.4, "phenoxyethanol": 0.8},
            ph=4.6,
        ),
        make_formula({"Sodium Laureth Sulfate": 0.1}, {"benzalkonium-chloride": 0.2}, ph=6.2),
        make_formula({"Glycerin": 3, "Undecylenic Acid": 0.1}),
        make_formula({"Glycerin": 3}, ph=5),
    )
