"""Molar masses, log P and registry numbers against the ``chemicals`` library (1.5), a compilation
of public data sets.

Molar mass within 0.1 %, log P within 0.35 (the scatter between two compilations); every exception
has its reason here.
"""

import pytest
from chemicals import logP, search_chemical
from chemicals.elements import molecular_weight, nested_formula_parser

from preservecheck.reference.load import load_tables

TABLES = load_tables()
# the library knows the free acid under the number of its disodium salt
NOT_THE_SAME_SUBSTANCE = {"Disodium EDTA": "found as the free acid"}
# mixtures and polymers: a mean or a repeat unit stands for them
NO_SINGLE_FORMULA = {
    "Benzalkonium Chloride": "chains of different length",
    "Polyaminopropyl Biguanide": "polymer",
}
# names under which the library finds something else
OTHER_NAMES = {
    "Dichlorobenzyl Alcohol": "the cosmetic one is the 2,4 isomer",
    "Disodium EDTA": "found as the free acid",
    "Pentylene Glycol": "the cosmetic one is 1,2-pentanediol",
    "Alanine": "racemate or the D form is found",
    "Arginine": "the D form is found",
    "Maltose": "the alpha form is found",
    "Panthenol": "the racemate is found",
    "PEG-4": "the table has the number of the polymer",
    "Sodium Phosphate": "the table means the dihydrogen salt",
    "Xanthan Gum": "xanthene is found",
}
# trade materials that are homologue mixtures or ethoxylates: the library answers with one member
MIXTURES = {
    "C12-15 Alkyl Benzoate",
    "Cocamidopropyl Betaine",
    "Coco-Betaine",
    "Lauryl Glucoside",
    "PEG-150 Distearate",
    "Polyglyceryl-3 Stearate",
    "Sodium Coco-Sulfate",
    "Sodium Cocoyl Glutamate",
    "Steareth-2",
    "Steareth-20",
    "Sodium Phosphate",
    "Disodium EDTA",
}


def known(query):
    """What the library knows under a name or number, if anything."""
    try:
        return search_chemical(query)
    except ValueError:
        return None


def with_number(name):
    """Rows of a table whose registry number the library knows."""
    return [
        (r, found)
        for r in TABLES.rows(name)
        if r.cas and r.molar_mass_g_mol and (found := known(r.cas)) is not None
    ]


@pytest.mark.parametrize(("name", "least"), [("actives", 50), ("solutes", 60)])
def test_molar_mass_by_number(name, least):
    """The molar mass is that of the registry number, within 0.1 %."""
    rows = with_number(name)
    assert len(rows) >= least
    wrong = {
        r.inci: (r.molar_mass_g_mol, f.MW)
        for r, f in rows
        if r.molar_mass_g_mol != pytest.approx(f.MW, rel=1e-3)
    }
    assert set(wrong) == {i for i in NOT_THE_SAME_SUBSTANCE if i in {r.inci for r, _ in rows}}


def test_molar_mass_by_formula():
    """The molar mass is the sum of the atoms of the formula that the row gives, within 0.1 %."""
    rows = [a for a in TABLES.actives if a.formula and a.inci not in NO_SINGLE_FORMULA]
    assert len(rows) >= 65
    wrong = {
        a.inci: (a.molar_mass_g_mol, a.formula)
        for a in rows
        if a.molar_mass_g_mol
        != pytest.approx(molecular_weight(nested_formula_parser(a.formula)), rel=1e-3)
    }
    assert wrong == {}


def test_molar_mass_of_ingredients_by_name():
    """Ingredients that the library knows by their INCI name have its molar mass, mixtures apart."""
    rows = [
        (i, f)
        for i in TABLES.ingredients
        if i.molar_mass_g_mol
        and i.inci not in MIXTURES
        and (f := known(i.inci.lower())) is not None
    ]
    assert len(rows) >= 100
    wrong = {
        i.inci: (i.molar_mass_g_mol, f.MW)
        for i, f in rows
        if i.molar_mass_g_mol != pytest.approx(f.MW, rel=1e-3)
    }
    assert wrong == {}


@pytest.mark.parametrize(("name", "least"), [("actives", 35), ("solutes", 40)])
def test_registry_numbers(name, least):
    """The registry number is that of the name, where the library knows the INCI name."""
    rows = [(r, f) for r in TABLES.rows(name) if r.cas and (f := known(r.inci.lower())) is not None]
    assert len(rows) >= least
    wrong = {r.inci for r, f in rows if r.cas != f.CASs}
    assert wrong == {n for n in OTHER_NAMES if n in {r.inci for r, _ in rows}}


def test_log_p():
    """Of uncharged actives the log P is the library's, within 0.35.

    A salt's row holds the log P of its acid, the library's that of the ion; salts are left out.
    """
    rows = [
        (a, found)
        for a in TABLES.actives
        if a.cas
        and a.log_p is not None
        and a.acid_form is None
        and (found := logP(a.cas)) is not None
    ]
    assert len(rows) >= 20
    wrong = {
        a.inci: (a.log_p, found) for a, found in rows if a.log_p != pytest.approx(found, abs=0.35)
    }
    assert wrong == {}


def test_salts_carry_the_log_p_of_their_acid():
    """A salt and its acid have one log P and one pKa."""
    acids = {a.inci: a for a in TABLES.actives}
    salts = [a for a in TABLES.actives if a.acid_form]
    assert len(salts) >= 8
    for salt in salts:
        acid = acids[salt.acid_form]
        assert (salt.log_p, salt.pka_25c) == (acid.log_p, acid.pka_25c), salt.inci


def test_octanol_rows_are_log_p():
    """A partition row for octanol is ten to the log P of its active, within the rounding of three
    digits."""
    log_p = {a.inci: a.log_p for a in TABLES.actives}
    rows = [
        p
        for p in TABLES.partition
        if p.oil_class == "octanol" and p.preferred == "yes" and log_p.get(p.active) is not None
    ]
    assert rows
    for row in rows:
        assert row.k_oil_water == pytest.approx(10 ** log_p[row.active], rel=0.05), row.id


def test_legal_conversions():
    """Factors of the law are n x M(basis) / M(substance) with the library's molar masses, within
    0.1 %."""
    seen = 0
    for row in TABLES.conversions:
        basis, substance = known(row.basis_name.lower()), known(row.substance.lower())
        if basis is None or substance is None or row.basis == "practice":
            continue
        if row.basis_name in ("Silver", "Formaldehyde"):
            continue  # the elements and releasers are counted by rules of their own
        if abs(substance.MW / row.molar_mass_g_mol - 1) > 0.02:
            continue  # the library found another hydrate or member of a mixture
        seen += 1
        assert row.factor == pytest.approx(row.units * basis.MW / substance.MW, rel=1e-3), (
            row.key_text
        )
    assert seen >= 25
