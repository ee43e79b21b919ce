"""How the figures come about: every number that goes into them, so that another person can work
them out again.

Read off the arrays that the checks themselves use; nothing is computed a second time by another
formula.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from preservecheck.arrays.forms import ACID, BASE, CATION, MICROBES
from preservecheck.arrays.formulas import WATER_DENSITY, FormulaArrays
from preservecheck.arrays.substances import BINDER_CLASSES, OIL_CLASSES
from preservecheck.assess.uncertainty import DRAWS, SEED
from preservecheck.chemistry.speciation import GAS_CONSTANT_J_MOL_K
from preservecheck.chemistry.water_activity import A_PHI_25C, MOLAR_MASS_WATER_KG_MOL
from preservecheck.verdict import Floats

KINDS = {ACID: "acid", BASE: "base", CATION: "cation"}


def composition_of(case: FormulaArrays) -> dict[str, Any]:
    """Lines with their solved amounts, and what they are made of once blends are opened."""
    c, composition = case.reference, case.compositions[0]
    lines = [
        {
            "phase": composition.formula.phases[w.phase].name,
            "name": w.name,
            "is": w.inci or w.system or "blend",
            "percent": w.percent,
            "grams": w.grams,
            "rest": w.rest,
        }
        for w in composition.lines
    ]
    substances = [
        {
            "inci": c.names[k],
            "role": row.role if (row := c.rows.get(c.names[k])) else None,
            "percent": _plain(case.amount[0, k]),
            "preserving_percent": _plain(case.preserving[0, k]),
            "from": [
                {
                    "line": composition.lines[p.line].name,
                    "origin": p.origin,
                    "percent": p.percent,
                    "carried_in": p.carried_in,
                }
                for p in composition.portions
                if p.substance == c.names[k] and p.percent > 0
            ],
            "molar_mass_g_mol": _plain(c.molar_mass[k]),
            "water_fraction": _plain(c.water_fraction[k]),
            "water_phase_fraction": _plain(1 - c.oil_phase[k] - c.powder[k]),
            "ionic_mol_g": _plain(c.solutes.ion_strength[k]),
            "charge_meq_g": _plain(c.meq_g[k]) if case.paired_kinds[k] else None,
            "nutrient_fraction": _plain(c.nutrient[k]),
        }
        for k in np.argsort(-case.amount[0], kind="stable")
        if case.amount[0, k] > 0
    ]
    return {
        "lines": lines,
        "substances": substances,
        "systems": [
            {"id": s.id, "percent": s.percent, "grams": s.grams, "named": s.declared}
            for s in composition.systems
        ],
    }


def working_of(case: FormulaArrays) -> dict[str, Any]:
    """Shared figures, one entry for each active, the parts of the water activity, and the
    constants."""
    aw, tolerance, measured = case.aw
    cationic, anionic = case.charge
    return {
        "ph": _plain(case.ph[0]),
        "temperature_c": _plain(case.temp_c[0]),
        "temperature_given": bool(~np.isnan(case.sample_c[0])),
        "water_percent": _plain(case.water_pct[0]),
        "water_phase_percent": _plain(case.water_phase_pct[0]),
        "ionic_strength_mol_kg": _plain(case.ionic_strength[0]),
        "oil_to_water_volume": _of_classes(case.oil_ratio[0], OIL_CLASSES, case.oil_ratio[0]),
        "binder_percent_w_v": _of_classes(case.binder_pct[0], BINDER_CLASSES, case.binder_pct[0]),
        "cationic_meq_kg": _plain(cationic[0]),
        "anionic_meq_kg": _plain(anionic[0]),
        "unpaired_share": _plain(case.unpaired[0]),
        "water_activity": {
            "value": _plain(aw[0]),
            "tolerance": _plain(tolerance[0]),
            "measured": bool(measured[0]),
            "estimate": _plain(case.aw_estimate[0][0]),
            "solutes": _solutes(case),
        },
        "actives": [
            _active(case, f)
            for f in range(len(case.reference.forms.names))
            if case.acting_pct[0, f] > 0
        ],
        "draws": DRAWS,
        "seed": SEED,
        "constants": {
            "water_density_g_ml": WATER_DENSITY,
            "gas_constant_j_mol_k": GAS_CONSTANT_J_MOL_K,
            "molar_mass_of_water_kg_mol": MOLAR_MASS_WATER_KG_MOL,
            "a_phi_25c": A_PHI_25C,
        },
    }


def _active(case: FormulaArrays, f: int) -> dict[str, Any]:
    c, name = case.reference, case.reference.forms.names[f]
    row = c.actives[name]
    acting = c.forms.acting[:, f]
    parts = [
        {
            "substance": c.names[k],
            "percent": _plain(case.amount[0, k]),
            "factor": _plain(acting[k]),
        }
        for k in np.flatnonzero((acting > 0) & (case.amount[0] > 0))
    ]
    mic = case.mic_percent.reshape(-1, *c.forms.mic_percent.shape)[0, f]
    ratios = case.ratio_of(f)[0]
    protonates = c.forms.kind[f] in (ACID, BASE)
    return {
        "inci": name,
        "kind": KINDS.get(int(c.forms.kind[f]), "neutral"),
        "parts": parts,
        "total_percent": _plain(case.acting_pct[0, f]),
        "total_in_water_percent": _plain(case.total_in_water[0, f]),
        "pka_25c": row.pka_25c if protonates else None,
        "dh_ion_kj_mol": row.dh_ion_kj_mol if protonates else None,
        "pka_used": _plain(case.pka[0, f]) if protonates else None,
        "working_fraction": _plain(case.working_fraction.reshape(-1, len(c.forms.names))[0, f]),
        "charge_meq_g": _plain(c.forms.meq_g[f]),
        "k_oil": _of_classes(c.forms.k_oil[f], OIL_CLASSES, case.oil_ratio[0]),
        "oil_term": _plain(case.oil_term[0, f]),
        "k_bind": _of_classes(c.forms.k_bind[f], BINDER_CLASSES, case.binder_pct[0]),
        "bound_ratio": _plain(case.bound_ratio[0, f]),
        "ion_ratio": _plain(np.broadcast_to(case.ion_ratio_of(f), (1,))[0]),
        "solubility_g_l": _plain(c.forms.solubility_g_l[f]),
        "loss_rate_per_month": _plain(case.loss_rate[0, f]),
        "free_uncapped_percent": _plain(case.free_uncapped[0, f]),
        "free_percent": _plain(case.free_pct[0, f]),
        "microbes": [
            {
                "name": m,
                "mic_percent": _plain(mic[i]),
                "factor": _plain(c.forms.mic_factor[f, i]),
                "ratio": _plain(ratios[i]),
            }
            for i, m in enumerate(MICROBES)
        ],
    }


def _of_classes(values: Floats, classes: Sequence[str], present: Floats) -> dict[str, float | None]:
    """Values of the classes of oil or binder that are present."""
    return {n: _plain(v) for n, v, there in zip(classes, values, present, strict=True) if there > 0}


def _solutes(case: FormulaArrays) -> list[dict[str, Any]]:
    """Mol per kg of water of everything that lowers the water activity, with its model."""
    c = case.reference
    if not case.water_pct[0] > 0:
        return []
    per_kg = 1000 / case.water_pct[0]
    rows = (*c.solutes.norrish_rows, *c.solutes.salt_rows)
    dissolved, solid = case.solution.dissolved[0], case.solution.solid[0]
    found: list[tuple[Any, ...]] = [
        (row.inci, row.model, float(m), float(s), row.k_norrish, row.k3_norrish)
        for row, m, s in zip(rows, dissolved, solid, strict=True)
        if m > 0
    ]
    most = np.minimum(case.amount[0], c.solutes.osmol_solubility * case.water_pct[0] / 100)
    for k in np.flatnonzero((c.solutes.osmol > 0) & (case.amount[0] > 0)):
        particles = float(most[k] * c.solutes.osmol[k] * per_kg)
        found.append((c.names[k], "ideal particles", particles, 0.0, None, None))
    keys = ("inci", "model", "mol_kg", "solid_mol_kg", "k", "k3")
    return [dict(zip(keys, s, strict=True)) for s in found]


def _plain(value: Any) -> float | None:
    """A number for JSON; not-a-number is unknown, and infinite stands for ``no amount is
    enough``."""
    number = float(value)
    return number if np.isfinite(number) else None
