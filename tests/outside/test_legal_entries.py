"""Limits of Regulation (EC) No 1223/2009, Annexes II, III and V, typed by hand from the entries, on
both sides.

Entry number, basis and figure come from the regulation's annexes as amended (the facts were read in
the Commission's data export of 2026-10-07; the arithmetic of the basis uses molar masses of the
molecular formulas). Each line gives an amount that is still allowed and one that is not. The
retained text of Great Britain keeps the figures tested here (from memory).
"""

import datetime as dt

import pytest

from tests.helpers import every_row, make_formula, outcome, run_check, value

RINSE, STAY = ("rinse-off", "shampoo"), ("leave-on", "leave-in")
CONDITIONER = ("rinse-off", "conditioner")

# entry, product, substance, allowed per cent, per cent over, limit on the printed basis, grams of
# basis per gram
LIMITS = [
    # V/1: benzoic acid and its sodium salt, 2.5 % rinse-off and 0.5 % leave-on as acid;
    # 122.12/144.10
    ("V/1", STAY, "Benzoic Acid", 0.50, 0.51, 0.5, 1.0),
    ("V/1", STAY, "Sodium Benzoate", 0.58, 0.60, 0.5, 122.12 / 144.10),
    ("V/1", RINSE, "Sodium Benzoate", 2.9, 3.0, 2.5, 122.12 / 144.10),
    ("V/1", RINSE, "Benzoic Acid", 2.5, 2.51, 2.5, 1.0),
    # V/1a: other salts and esters of benzoic acid, 0.5 % as acid; 122.12/160.21
    ("V/1a", RINSE, "Potassium Benzoate", 0.65, 0.66, 0.5, 122.12 / 160.21),
    ("V/1a", STAY, "Methyl Benzoate", 0.55, 0.56, 0.5, 122.12 / 136.15),
    # V/2: propionic acid and salts, 2 % as acid; 74.08/96.06
    ("V/2", STAY, "Propionic Acid", 2.0, 2.01, 2.0, 1.0),
    ("V/2", STAY, "Sodium Propionate", 2.59, 2.60, 2.0, 74.08 / 96.06),
    # V/3: salicylic acid and salts, 0.5 % as acid; 138.12/160.10
    ("V/3", RINSE, "Salicylic Acid", 0.50, 0.51, 0.5, 1.0),
    ("V/3", STAY, "Sodium Salicylate", 0.57, 0.58, 0.5, 138.12 / 160.10),
    # V/4: sorbic acid and salts, 0.6 % as acid; 112.13/150.22
    ("V/4", STAY, "Sorbic Acid", 0.60, 0.61, 0.6, 1.0),
    ("V/4", STAY, "Potassium Sorbate", 0.80, 0.81, 0.6, 112.13 / 150.22),
    # V/7: biphenyl-2-ol, 0.2 % rinse-off and 0.15 % leave-on as the phenol
    ("V/7", RINSE, "o-Phenylphenol", 0.20, 0.21, 0.2, 1.0),
    ("V/7", STAY, "o-Phenylphenol", 0.15, 0.16, 0.15, 1.0),
    # V/9: inorganic sulfites, 0.2 % as free SO2; two SO2 from one metabisulfite, 2 x 64.06/190.09
    ("V/9", RINSE, "Sodium Metabisulfite", 0.29, 0.30, 0.2, 2 * 64.06 / 190.09),
    ("V/11", RINSE, "Chlorobutanol", 0.50, 0.51, 0.5, 1.0),
    # V/12: each ester 0.4 % as 4-hydroxybenzoic acid, 138.12; V/12a: propyl and butyl together 0.14
    # %
    ("V/12", STAY, "Methylparaben", 0.44, 0.45, 0.4, 138.12 / 152.15),
    ("V/12", STAY, "Ethylparaben", 0.48, 0.49, 0.4, 138.12 / 166.18),
    ("V/12a", STAY, "Propylparaben", 0.18, 0.19, 0.14, 138.12 / 180.20),
    ("V/12a", STAY, "Butylparaben", 0.19, 0.20, 0.14, 138.12 / 194.23),
    # V/13: dehydroacetic acid and salts, 0.6 % as acid; 168.15/190.13
    ("V/13", STAY, "Dehydroacetic Acid", 0.60, 0.61, 0.6, 1.0),
    ("V/13", STAY, "Sodium Dehydroacetate", 0.67, 0.68, 0.6, 168.15 / 190.13),
    ("V/14", STAY, "Formic Acid", 0.50, 0.51, 0.5, 1.0),
    ("V/15", STAY, "Dibromohexamidine Isethionate", 0.10, 0.11, 0.1, 1.0),
    ("V/18", STAY, "Undecylenic Acid", 0.20, 0.21, 0.2, 1.0),
    ("V/19", STAY, "Hexetidine", 0.10, 0.11, 0.1, 1.0),
    ("V/20", RINSE, "5-Bromo-5-Nitro-1,3-Dioxane", 0.10, 0.11, 0.1, 1.0),
    ("V/21", STAY, "2-Bromo-2-Nitropropane-1,3-Diol", 0.10, 0.11, 0.1, 1.0),
    ("V/22", STAY, "Dichlorobenzyl Alcohol", 0.15, 0.16, 0.15, 1.0),
    ("V/24", STAY, "p-Chloro-m-Cresol", 0.20, 0.21, 0.2, 1.0),
    ("V/26", STAY, "Chloroxylenol", 0.50, 0.51, 0.5, 1.0),
    ("V/27", STAY, "Imidazolidinyl Urea", 0.60, 0.61, 0.6, 1.0),
    ("V/28", STAY, "Polyaminopropyl Biguanide", 0.10, 0.11, 0.1, 1.0),
    ("V/29", STAY, "Phenoxyethanol", 1.0, 1.01, 1.0, 1.0),
    ("V/30", STAY, "Methenamine", 0.15, 0.16, 0.15, 1.0),
    # V/32: climbazole, 0.5 % in rinse-off shampoo, 0.2 % in hair lotion
    ("V/32", RINSE, "Climbazole", 0.50, 0.51, 0.5, 1.0),
    ("V/33", STAY, "DMDM Hydantoin", 0.60, 0.61, 0.6, 1.0),
    ("V/34", STAY, "Benzyl Alcohol", 1.0, 1.01, 1.0, 1.0),
    ("V/35", RINSE, "Piroctone Olamine", 1.0, 1.01, 1.0, 1.0),
    ("V/35", STAY, "Piroctone Olamine", 0.50, 0.51, 0.5, 1.0),
    ("V/37", RINSE, "Bromochlorophene", 0.10, 0.11, 0.1, 1.0),
    ("V/38", STAY, "o-Cymen-5-ol", 0.10, 0.11, 0.1, 1.0),
    # V/42: chlorhexidine and its salts, 0.3 % as chlorhexidine; 505.45/897.76
    ("V/42", STAY, "Chlorhexidine Digluconate", 0.53, 0.54, 0.3, 505.45 / 897.76),
    ("V/43", RINSE, "Phenoxyisopropanol", 1.0, 1.01, 1.0, 1.0),
    ("V/46", STAY, "Diazolidinyl Urea", 0.50, 0.51, 0.5, 1.0),
    ("V/47", STAY, "Hexamidine Diisethionate", 0.10, 0.11, 0.1, 1.0),
    ("V/48", STAY, "Glutaral", 0.10, 0.11, 0.1, 1.0),
    ("V/49", STAY, "7-Ethylbicyclooxazolidine", 0.30, 0.31, 0.3, 1.0),
    ("V/50", STAY, "Chlorphenesin", 0.30, 0.31, 0.3, 1.0),
    ("V/52", RINSE, "Silver Chloride", 0.004, 0.005, 0.004, 1.0),
    ("V/53", STAY, "Benzethonium Chloride", 0.10, 0.11, 0.1, 1.0),
    ("V/54", STAY, "Benzalkonium Chloride", 0.10, 0.11, 0.1, 1.0),
    ("V/55", RINSE, "Benzylhemiformal", 0.15, 0.16, 0.15, 1.0),
    ("V/56", RINSE, "Iodopropynyl Butylcarbamate", 0.020, 0.021, 0.02, 1.0),
    ("V/56", STAY, "Iodopropynyl Butylcarbamate", 0.010, 0.011, 0.01, 1.0),
    ("V/57", RINSE, "Methylisothiazolinone", 0.0015, 0.0016, 0.0015, 1.0),
    ("V/58", STAY, "Ethyl Lauroyl Arginate HCl", 0.40, 0.41, 0.4, 1.0),
    ("V/60", STAY, "Hydroxyethoxyphenyl Butanone", 0.70, 0.71, 0.7, 1.0),
    # III/62: trialkanolamines, 2.5 % in leave-on
    ("III/62", STAY, "Triethanolamine", 2.5, 2.51, 2.5, 1.0),
    # III/286 and III/287: conditioning quats in hair products
    ("III/286", CONDITIONER, "Cetrimonium Chloride", 2.5, 2.51, 2.5, 1.0),
    ("III/286", STAY, "Steartrimonium Chloride", 1.0, 1.01, 1.0, 1.0),
    ("III/287", CONDITIONER, "Behentrimonium Chloride", 5.0, 5.01, 5.0, 1.0),
    ("III/287", STAY, "Behentrimonium Chloride", 3.0, 3.01, 3.0, 1.0),
]
# entry and product in which a substance must not be, in any amount
BANS = [
    ("II/1374", RINSE, "Isopropylparaben"),
    ("II/1375", RINSE, "Isobutylparaben"),
    ("II/1376", STAY, "Phenylparaben"),
    ("II/1377", STAY, "Benzylparaben"),
    ("II/1378", RINSE, "Pentylparaben"),
    ("II/1387", RINSE, "Chloroacetamide"),
    ("II/1577", RINSE, "Formaldehyde"),
    ("II/1670", RINSE, "Zinc Pyrithione"),
    ("II/371", RINSE, "Hexachlorophene"),
    ("II/411", RINSE, "Diethanolamine"),
    ("V/20", STAY, "5-Bromo-5-Nitro-1,3-Dioxane"),
    ("V/32", CONDITIONER, "Climbazole"),
    ("V/43", STAY, "Phenoxyisopropanol"),
    ("V/55", STAY, "Benzylhemiformal"),
    ("V/57", STAY, "Methylisothiazolinone"),
    ("V/25", RINSE, "Triclosan"),
]
SAME_IN_GREAT_BRITAIN = (
    "V/1",
    "V/4",
    "V/12",
    "V/12a",
    "V/13",
    "V/21",
    "V/29",
    "V/33",
    "V/34",
    "V/50",
    "V/54",
    "V/57",
)


def findings(entry, product, items, market="EU", **changes):
    """What the check says about one entry."""
    use, type_ = product
    formula = make_formula(items, use=use, type=type_, markets=[market], **changes)
    return [
        f
        for f in every_row("legal-limit", formula)
        if f.because.startswith(f"{market}, Annex {entry}:")
    ]


def worst(found):
    """The worst outcome of several findings."""
    return max((outcome(f) for f in found), key=["pass", "unknown", "warn", "serious"].index)


@pytest.mark.parametrize("line", LIMITS, ids=lambda line: f"{line[0]} {line[1][0]} {line[2]}")
def test_both_sides(line):
    """The allowed amount passes with the printed figure on the printed basis, the next step is
    serious."""
    entry, product, substance, allowed, over, limit, factor = line
    assert allowed * factor <= limit * (1 + 1e-9) < over * factor
    below, above = (findings(entry, product, {substance: percent}) for percent in (allowed, over))
    assert (worst(below), worst(above)) == ("pass", "serious")
    matched = [f for f in below if f.value("percent_max") == limit]
    assert matched
    assert value(matched[0], "percent_as_limited") == pytest.approx(allowed * factor, rel=2e-4)


@pytest.mark.parametrize(("entry", "product", "substance"), BANS)
def test_bans(entry, product, substance):
    """A thousandth of a per cent is serious."""
    assert worst(findings(entry, product, {substance: 0.001})) == "serious"


@pytest.mark.parametrize(
    "line",
    [line for line in LIMITS if line[0] in SAME_IN_GREAT_BRITAIN],
    ids=lambda line: f"{line[0]} {line[1][0]} {line[2]}",
)
def test_great_britain(line):
    """The retained regulation keeps these figures (from memory)."""
    entry, product, substance, allowed, over, *_ = line
    assert worst(findings(entry, product, {substance: allowed}, "GB")) == "pass"
    assert worst(findings(entry, product, {substance: over}, "GB")) == "serious"


def test_enough_entries():
    """At least thirty different entries are held against the table."""
    assert len({line[0] for line in LIMITS} | {line[0] for line in BANS}) >= 30


class TestSums:
    """Sums that the entries print."""

    def test_benzoates(self):
        """V/1: acid and sodium salt together, 0.30 + 0.23 x 0.8475 = 0.495 and 0.30 + 0.24 x 0.8475
        = 0.503."""
        assert (
            worst(findings("V/1", STAY, {"Benzoic Acid": 0.30, "Sodium Benzoate": 0.23})) == "pass"
        )
        assert (
            worst(findings("V/1", STAY, {"Benzoic Acid": 0.30, "Sodium Benzoate": 0.24}))
            == "serious"
        )

    def test_propyl_and_butyl(self):
        """V/12a: together 0.14 as acid, 0.09 x 0.7665 + 0.09 x 0.7111 = 0.133 and with 0.10 of each
        0.148."""
        assert (
            worst(findings("V/12a", STAY, {"Propylparaben": 0.09, "Butylparaben": 0.09})) == "pass"
        )
        assert (
            worst(findings("V/12a", STAY, {"Propylparaben": 0.10, "Butylparaben": 0.10}))
            == "serious"
        )

    def test_all_parabens(self):
        """V/12: the mixture 0.8 as acid; 0.44 x 0.9078 + 0.48 x 0.8312 = 0.798, with 0.01
        propylparaben 0.806."""
        both = {"Methylparaben": 0.44, "Ethylparaben": 0.48}
        assert worst(findings("V/12", STAY, both)) == "pass"
        assert worst(findings("V/12", STAY, both | {"Propylparaben": 0.01})) == "serious"

    def test_isothiazolinone_mixture(self):
        """V/39: the 3:1 mixture 0.0015 % in rinse-off only."""
        ok = {"Methylchloroisothiazolinone": 0.001125, "Methylisothiazolinone": 0.000375}
        more = {"Methylchloroisothiazolinone": 0.0012, "Methylisothiazolinone": 0.0004}
        assert worst(findings("V/39", RINSE, ok)) == "pass"
        assert worst(findings("V/39", RINSE, more)) == "serious"
        assert worst(findings("V/39", STAY, ok)) == "serious"

    def test_hydroxymethylglycinate_gate(self):
        """V/51: theoretical formaldehyde below 0.1 % from all sources: 30.03/127.08 = 0.2363, so
        0.42, not 0.43 %."""
        assert worst(findings("V/51", STAY, {"Sodium Hydroxymethylglycinate": 0.42})) == "pass"
        assert worst(findings("V/51", STAY, {"Sodium Hydroxymethylglycinate": 0.43})) == "serious"
        # 0.40 x 0.2363 = 0.0945 leaves room for 0.0055 / 0.3191 = 0.017 % of DMDM hydantoin
        pair = {"Sodium Hydroxymethylglycinate": 0.40, "DMDM Hydantoin": 0.016}
        assert worst(findings("V/51", STAY, pair)) == "pass"
        assert worst(findings("V/51", STAY, pair | {"DMDM Hydantoin": 0.020})) == "serious"

    def test_phenylphenol_and_its_salt(self):
        """V/7 since 2026-05-01: together 0.2 as phenol; 0.1 + 0.11 x 170.21/192.19 = 0.197, with
        0.12 it is 0.206."""
        assert (
            worst(findings("V/7", RINSE, {"o-Phenylphenol": 0.1, "Sodium o-Phenylphenate": 0.11}))
            == "pass"
        )
        assert (
            worst(findings("V/7", RINSE, {"o-Phenylphenol": 0.1, "Sodium o-Phenylphenate": 0.12}))
            == "serious"
        )


class TestPurposes:
    """Substances in two annexes."""

    def test_cetrimonium(self):
        """V/44: 0.1 % as a preservative; III/286: 2.5 % as a conditioner that is rinsed off."""
        formula = make_formula(
            {}, {"cetrimonium-chloride": 0.34}, type="conditioner"
        )  # 0.34 x 0.29 = 0.0986 %
        assert "serious" not in {outcome(f) for f in run_check("legal-limit", formula)}
        formula = make_formula({}, {"cetrimonium-chloride": 0.35}, type="conditioner")  # 0.1015 %
        assert "serious" in {outcome(f) for f in run_check("legal-limit", formula)}
        assert {
            outcome(f)
            for f in run_check("legal-limit", make_formula({"Cetrimonium Chloride": 2.0}))
        } == {"pass"}


class TestAgesAndPacks:
    """Who uses it, and out of what."""

    @pytest.mark.parametrize(
        ("substance", "product", "expected"),
        [
            ("Salicylic Acid", RINSE, "serious"),
            ("Salicylic Acid", STAY, "serious"),
            ("Sodium Salicylate", RINSE, "pass"),
            ("Sodium Salicylate", STAY, "serious"),
            ("Iodopropynyl Butylcarbamate", RINSE, "pass"),
            ("Iodopropynyl Butylcarbamate", CONDITIONER, "serious"),
            ("Phenoxyethanol", STAY, "pass"),
        ],
    )
    def test_under_three(self, substance, product, expected):
        """V/3 and V/56: salicylic acid never, its salts in shampoo, the carbamate in bath, shower
        and shampoo only."""
        use, type_ = product
        formula = make_formula({substance: 0.01}, use=use, type=type_, users="under-3")
        assert worst(run_check("legal-limit", formula)) == expected
        # older users may have it
        assert (
            worst(run_check("legal-limit", make_formula({substance: 0.01}, use=use, type=type_)))
            == "pass"
        )

    def test_spray(self):
        """V/58: ethyl lauroyl arginate in no spray."""
        formula = make_formula({"Ethyl Lauroyl Arginate HCl": 0.3}, package="spray")
        assert worst(run_check("legal-limit", formula)) == "serious"


class TestDays:
    """The law of the day."""

    @pytest.mark.parametrize(
        ("day", "expected"), [(dt.date(2022, 2, 28), "none"), (dt.date(2022, 3, 1), "serious")]
    )
    def test_zinc_pyrithione(self, day, expected):
        """II/1670 by Reg. (EU) 2021/1902, from 2022-03-01."""
        found = findings("II/1670", RINSE, {"Zinc Pyrithione": 0.1}, on_market=day)
        assert (worst(found) if found else "none") == expected
