"""Formulas made up by a seeded generator, many at a time: invented data, for tests and benchmarks
alone.

They are meant to meet every check: water-rich and oily ones, grams and per cent, with and without a
rest line, a pH and temperatures or none, own preservatives, blends that carry one in, all markets
and product types.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from hypothesis import strategies as st

from preservecheck.formula.model import PACKAGES, PRODUCT_TYPES, USERS, USES
from preservecheck.reference.load import Tables
from tests.helpers import make_formula

# roles that are drawn from, with the largest per cent that makes sense
OILY = {"oil": 12, "ester": 6, "silicone": 4, "wax": 2, "fatty alcohol": 6}
WATERY = {
    "humectant": 20,
    "botanical": 15,
    "protein": 2,
    "anionic surfactant": 12,
    "amphoteric surfactant": 8,
    "cationic surfactant": 4,
    "nonionic emulsifier": 4,
    "nonionic surfactant": 8,
    "cationic polymer": 0.5,
    "anionic polymer": 1,
    "nonionic polymer": 1,
    "electrolyte": 2,
    "chelator": 0.2,
    "acid": 0.5,
    "vitamin": 1,
    "fragrance": 1,
    "booster": 2,
    "solubiliser": 3,
    "powder": 2,
    "solvent": 25,
}


def pile(tables: Tables, count: int, seed: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Lines and products of invented formulas, in the layout that ``screen`` reads."""
    draw = np.random.default_rng(seed)
    by_role = {
        role: [i.inci for i in tables.ingredients if i.role == role and "," not in i.inci]
        for role in (*OILY, *WATERY, "preservative")
    }
    systems = [s for s in tables.systems if s.usage_max_percent < 10]
    lines: list[dict[str, object]] = []
    products: list[dict[str, object]] = []
    for n in range(count):
        name = f"invented {seed}-{n:06d}"
        markets = list(
            draw.choice([m.id for m in tables.markets], size=draw.integers(1, 4), replace=False)
        )
        measured = draw.random() < 0.9
        grams = draw.random() < 0.2
        batch = float(draw.choice([100, 250, 500, 1000]))
        scale = batch / 100 if grams else 1.0
        products.append(
            {
                "formula": name,
                "name": f"made up {n}",
                "use": draw.choice(USES),
                "type": draw.choice(PRODUCT_TYPES),
                "markets": " ".join(markets),
                "users": draw.choice(USERS, p=[0.9, 0.05, 0.05]),
                "package": draw.choice(PACKAGES),
                "batch": f"{batch:g} g" if grams or draw.random() < 0.8 else None,
                "scale_step": draw.choice(["0.1 g", "0.01 g", "1 g"])
                if draw.random() < 0.8
                else None,
                "on_market": "2026-12-01",
                "ph": round(float(draw.uniform(3.5, 8)), 2) if measured else None,
                "ph_tolerance": 0.5 if draw.random() < 0.1 else None,
                "temperature": f"{draw.integers(18, 30)} °C" if measured else None,
                "water_activity": 0.9 if draw.random() < 0.02 else None,
            }
        )

        def line(phase: str, ingredient: str, percent: float | None, **more: object) -> None:
            kind = "grams" if grams else "percent"  # noqa: B023
            amount = "rest" if percent is None else round(percent * scale, 3)  # noqa: B023
            lines.append(
                {
                    "formula": name,  # noqa: B023
                    "phase": phase,
                    "ingredient": ingredient,
                    kind: amount,
                    **more,
                }
            )

        hot = {"heated_to": f"{draw.integers(65, 80)} °C"} if draw.random() < 0.9 else {}
        cool = {"added_at": f"{draw.integers(25, 60)} °C"} if draw.random() < 0.9 else {}
        line("heated", "Water", None, **hot)
        for roles, most in ((WATERY, 6), (OILY, 4)):
            for role in draw.choice(list(roles), size=draw.integers(1, most)):
                line(
                    "heated",
                    draw.choice(by_role[role]),
                    float(draw.uniform(0.05, 1) * roles[role]),
                    **hot,
                )
        for role in draw.choice(list(WATERY), size=draw.integers(0, 3)):
            line(
                "cool-down",
                draw.choice(by_role[role]),
                float(draw.uniform(0.05, 0.3) * WATERY[role]),
                **cool,
            )
        if draw.random() < 0.2:
            line(
                "cool-down", draw.choice(by_role["preservative"]), 0.02, inside="an extract", **cool
            )
        for system in draw.choice(len(systems), size=draw.integers(0, 3), replace=False):
            s = systems[system]
            low, high = s.usage_min_percent, s.usage_max_percent
            line("cool-down", s.id, float(draw.uniform(0.8 * low, 1.1 * high)), **cool)
        if draw.random() < 0.1:
            line(
                "cool-down",
                draw.choice(by_role["preservative"]),
                float(draw.uniform(0.05, 0.5)),
                **cool,
            )
    return pd.DataFrame(lines), pd.DataFrame(products)


_INGREDIENTS = ("Glycerin", "Xanthan Gum", "Citric Acid", "Panthenol", "Cetearyl Alcohol")
_SYSTEMS = ("phenoxyethanol", "benzyl-alcohol-dehydroacetic-acid", "sodium-benzoate")
# tenths of a per cent, or grams of a batch of 200 g: numbers that a maker writes
AMOUNTS = st.integers(0, 30).map(lambda n: n / 10)


@st.composite
def formulas(draw):
    """Invented formulas: percent or grams, with a rest line or without, systems or none."""
    kind = draw(st.sampled_from(("percent", "grams")))
    rest = draw(st.booleans())
    named = draw(st.lists(st.sampled_from(_INGREDIENTS), unique=True, max_size=4))
    systems = draw(st.lists(st.sampled_from(_SYSTEMS), unique=True, max_size=2))
    first = [{"ingredient": n, kind: draw(AMOUNTS)} for n in named]
    last = [{"preservative": s, kind: draw(AMOUNTS)} for s in systems]
    given_ = sum(line[kind] for line in (*first, *last))
    whole = 100 if kind == "percent" else 200
    water = {"ingredient": "Water"} | ({"rest": True} if rest else {kind: whole - given_})
    phases = [{"name": "heated", "heated_to": "75 °C", "items": [water, *first]}]
    if last:
        phases.append({"name": "cool-down", "added_at": "40 °C", "items": last})
    return make_formula(phases=phases, batch="200 g", ph=5.0, scale_step="0.1 g")
