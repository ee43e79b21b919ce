"""Phases and what is dissolved in them, by hand from what a maker weighs."""

from __future__ import annotations

import math

import numpy as np
import pytest

from preservecheck.arrays.substances import BINDER_CLASSES
from tests.helpers import case_of, make_formula

MINERAL_OIL_G_ML = 0.85


def test_volume_ratio():
    """8.5 % mineral oil (0.85 g/mL) beside 91.5 % water: 10 mL / 91.5 mL."""
    case = case_of(make_formula({"Paraffinum Liquidum": 8.5}))
    assert case.oil_ratio[0].sum() == pytest.approx(8.5 / MINERAL_OIL_G_ML / 91.5)


def test_uptake_adds_over_binders():
    """Polysorbate 80 at 2 % and decyl glucoside at 1 % of a water phase that is the whole: 1 + 2 k +
    1 k', the constants being those of their classes."""
    items = {"Polysorbate 80": 2.0, "Decyl Glucoside": 1.0, "Methylparaben": 0.2}
    case = case_of(make_formula(items))
    f = case.reference.forms.names.index("Methylparaben")
    k = dict(zip(BINDER_CLASSES, case.k_bind[f], strict=True))
    by_hand = 1 + 2.0 * k["nonionic ethoxylate"] + 1.0 * k["nonionic glucoside"]
    assert case.bound_ratio[0, f] == pytest.approx(by_hand)


@pytest.mark.parametrize(
    ("salt", "mass", "strength"),
    [
        ("Magnesium Sulfate", 120.366, 0.4),  # (0.1 x 4 + 0.1 x 4) / 2
        ("Calcium Chloride", 110.984, 0.3),  # (0.1 x 4 + 0.2 x 1) / 2
        ("Sodium Chloride", 58.443, 0.1),
    ],
)
def test_ionic_strength(salt, mass, strength):
    """0.1 mol of a salt in a kilogram of water: half the sum of amount times squared charge."""
    percent = 100 * 0.1 * mass / (1000 + 0.1 * mass)
    assert case_of(make_formula({salt: percent})).ionic_strength[0] == pytest.approx(
        strength, rel=1e-4
    )


def test_ionic_strength_keeps_leading_axes():
    """Cases in front, substances last."""
    case = case_of(make_formula({"Sodium Chloride": 1.0}))
    many = case.with_(amount=np.broadcast_to(case.amount, (5, 4, case.amount.shape[-1])))
    assert many.ionic_strength.shape == (5, 4)


def test_glycerin_by_hand():
    """10 g glycerin in 90 g water: 10000 / (92.094 x 90) = 1.2065 mol/kg, x = 0.021274; Norrish with
    the table's K = -1.348 and K3 = 1.352."""
    x = 0.0180153 * 1.2065 / (1 + 0.0180153 * 1.2065)
    assert x == pytest.approx(0.021274, abs=1e-6)
    aw, _ = case_of(make_formula({"Glycerin": 10.0})).aw_estimate
    assert aw[0] == pytest.approx((1 - x) * math.exp(-1.348 * x**2 + 1.352 * x**3), abs=1e-6)


@pytest.mark.parametrize(
    ("percent", "target"), [(4.8, 0.99), (9.2, 0.98), (20.2, 0.95), (33.8, 0.90), (40.1, 0.87)]
)
def test_glycerin_shares(percent, target):
    """Glycerin at a share computed independently with two constants gives that aw: 0.001."""
    aw, _ = case_of(make_formula({"Glycerin": percent})).aw_estimate
    assert aw[0] == pytest.approx(target, abs=0.001)
