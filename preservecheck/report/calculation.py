"""The way to each figure, with the numbers put in, so that a reader with nothing but the page can
work it out again."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from preservecheck.text import number

DIGITS = 5
Working = Mapping[str, Any]


def shared_lines(w: Working) -> list[str]:
    """Figures that several checks use."""
    lines = [
        f"water = sum of % x water share = {_n(w['water_percent'])} % of the formula",
        f"water phase = sum of % x share in the water phase = {_n(w['water_phase_percent'])} % of "
        "the formula; "
        f"its density is taken as {_n(w['constants']['water_density_g_ml'])} g/mL",
        f"ionic strength I = 1000 x sum of (% x mol of charge strength per g) / water % = "
        f"{_n(w['ionic_strength_mol_kg'])} mol/kg",
        f"charges = 10 x sum of (% x meq/g) = +{_n(w['cationic_meq_kg'])} and "
        f"-{_n(w['anionic_meq_kg'])} meq/kg "
        "(surfactants, polymers and cationic preservatives); unpaired share of the cations "
        f"{_n(w['unpaired_share'])}",
    ]
    lines += [
        f"phi, volume of {name} oil over volume of water phase = {_n(phi)}"
        for name, phi in w["oil_to_water_volume"].items()
    ]
    lines += [
        f"S, {name} in the water phase = 100 x sum of dry % / water phase % = {_n(s)} % w/v"
        for name, s in w["binder_percent_w_v"].items()
    ]
    said = "as written down" if w["temperature_given"] else "not written down, 25 °C taken"
    ph = "not measured" if w["ph"] is None else _n(w["ph"])
    return [*lines, f"pH of the sample {ph}, temperature {_n(w['temperature_c'])} °C ({said})"]


def active_lines(active: Working, w: Working) -> Iterator[str]:
    """From the weighed amount of one active to its ratios."""
    parts = " + ".join(
        f"{_n(p['percent'])} x {_n(p['factor'])} ({p['substance']})" for p in active["parts"]
    )
    yield f"total = {parts} = {_n(active['total_percent'])} % of the formula"
    yield (
        f"C = 100 x {_n(active['total_percent'])} / {_n(w['water_phase_percent'])} = "
        f"{_n(active['total_in_water_percent'])} % w/v of the water phase"
    )
    yield from _share_lines(active, w)
    oils = " + ".join(
        f"{_n(k)} x {_n(w['oil_to_water_volume'][o])} ({o})" for o, k in active["k_oil"].items()
    )
    yield f"K phi = {oils or 'no liquid oil'} = {_n(active['oil_term'])}"
    held = [(b, k) for b, k in active["k_bind"].items() if k is not None]
    binders = " + ".join(f"{_n(k)} x {_n(w['binder_percent_w_v'][b])} ({b})" for b, k in held)
    yield f"R = 1 + {binders or 'nothing whose uptake is known'} = {_n(active['bound_ratio'])}"
    if skipped := [b for b, k in active["k_bind"].items() if k is None]:
        yield f"not counted, because no figure is known: uptake by {', '.join(skipped)}"
    yield from _free_lines(active, w)
    if active["charge_meq_g"]:
        share = "(1 - f)" if active["kind"] == "acid" else "1"
        yield f"charge = 10 x total x {_n(active['charge_meq_g'])} meq/g x {share}, in meq/kg"
    for m in active["microbes"]:
        limit = "no figure known" if m["mic_percent"] is None else f"{_n(m['mic_percent'])} % w/v"
        yield (
            f"ratio for {m['name']} = free / MIC = {_n(active['free_percent'])} / {limit} = "
            f"{_n(m['ratio'])}"
            + (
                f"; the MIC is good to a factor {_n(m['factor'])}"
                if m["mic_percent"] is not None
                else ""
            )
        )


def _share_lines(active: Working, w: Working) -> Iterator[str]:
    sign = {"acid": ("-", "pH - pKa'"), "base": ("+", "pKa' - pH")}.get(active["kind"])
    if sign is None:
        yield "f = 1: the pH does not change it"
        return
    warmth = (
        ""
        if not active["dh_ion_kj_mol"]
        else (
            f" + 1000 x {_n(active['dh_ion_kj_mol'])} / (R ln 10) x (1/T - 1/298.15), R = "
            f"{w['constants']['gas_constant_j_mol_k']:g} J/(mol K), T = {_n(w['temperature_c'])} "
            "+ 273.15"
        )
    )
    t = w["temperature_c"]
    yield f"A = 0.505 + 0.0008 (t - 20) + 0.00001 (t - 20)(t - 25), t = {_n(t)} °C (Davies)"
    yield (
        f"pKa' = {_n(active['pka_25c'])}{warmth} {sign[0]} A (sqrt(I)/(1 + sqrt(I)) - 0.3 I), I "
        "at most 0.5, = "
        f"{_n(active['pka_used'])}"
    )
    yield f"f = 1 / (1 + 10^({sign[1]})) = {_n(active['working_fraction'])}"


def _free_lines(active: Working, w: Working) -> Iterator[str]:
    if active["kind"] == "cation":
        rule = f"C / (K phi + R) x unpaired share {_n(w['unpaired_share'])}"
    else:
        rule = "C / (K phi + R + (1 - f)/f)"
    yield f"free = {rule} = {_n(active['free_uncapped_percent'])} % w/v"
    if active["solubility_g_l"] is not None:
        yield (
            f"never above its solubility, {_n(active['solubility_g_l'])} g/L = "
            f"{_n(active['solubility_g_l'] / 10)} % "
            f"w/v: {_n(active['free_percent'])} % w/v"
        )


def water_activity_lines(w: Working) -> list[str]:
    """How the water activity was estimated, where it was not measured."""
    aw, mass = w["water_activity"], w["constants"]["molar_mass_of_water_kg_mol"]
    if aw["measured"]:
        return [f"measured: {_n(aw['value'])} ± {_n(aw['tolerance'])}"]
    return [
        "aw = aw(uncharged solutes) x aw(salts) x aw(ideal particles); m in mol per kg of water",
        f"uncharged: X = {mass:g} x sum m / (1 + {mass:g} x sum m), ln aw = ln(1 - X) + K X^2 + "
        "K3 X^3, K and K3 the "
        "means by mole share; K = K3 = 0 where none is given",
        f"salts: ln aw = sum of (I_i / I) x ln aw of salt i alone at I, Pitzer with A = "
        f"{w['constants']['a_phi_25c']:g}: phi = 1 - |z+ z-| A sqrt(I)/(1 + 1.2 sqrt(I)) + m (2 "
        "nu+ nu-/nu) B + "
        "m^2 (2 (nu+ nu-)^1.5/nu) Cphi, B = beta0 + beta1 exp(-alpha1 sqrt(I)) + beta2 "
        "exp(-alpha2 sqrt(I)), "
        f"ln aw = -{mass:g} nu m phi; constants in the rows of solutes",
        f"ideal particles: ln aw = -{mass:g} x osmol per kg",
        f"result: {_n(aw['value'])} ± {_n(aw['tolerance'])}",
    ]


def solute_rows(w: Working) -> list[list[str]]:
    """Solute, model, mol per kg of water, constants."""
    return [
        [
            s["inci"],
            s["model"],
            _n(s["mol_kg"]),
            *("" if s[k] is None else _n(s[k]) for k in ("k", "k3")),
        ]
        for s in w["water_activity"]["solutes"]
    ]


def substance_rows(composition: Working) -> list[list[str]]:
    """Substance with its amount, where it came from, and the factors that the sums above take."""
    return [
        [
            s["inci"],
            _n(s["percent"]),
            "; ".join(
                f"{p['origin']} {_n(p['percent'])} %{' (carried in)' if p['carried_in'] else ''}"
                for p in s["from"]
            ),
            _n(s["water_fraction"]),
            _n(s["water_phase_fraction"]),
            _blank(s["ionic_mol_g"]),
            _blank(s["charge_meq_g"]),
            _blank(s["nutrient_fraction"]),
        ]
        for s in composition["substances"]
    ]


SUBSTANCE_HEADS = (
    "substance",
    "%",
    "from",
    "water share",
    "share in the water phase",
    "ionic, mol/g",
    "charge, meq/g",
    "nutrient share",
)


def _blank(value: float | None) -> str:
    return _n(value) if value else ""


def _n(value: float | None) -> str:
    return "unknown" if value is None else number(value, DIGITS)
