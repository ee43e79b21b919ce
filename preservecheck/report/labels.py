"""Names of the figures in findings, in words."""

from __future__ import annotations

LABELS = {
    "ph": "pH",
    "ph_min": "pH at least",
    "ph_max": "pH at most",
    "ph_from": "from pH",
    "ph_to": "to pH",
    "percent": "amount",
    "percent_min": "at least",
    "percent_max": "at most",
    "percent_as_limited": "amount as the rule counts it",
    "temperature_c": "hottest",
    "limit_c": "limit",
    "added_at_c": "added at",
    "preferred_below_c": "best below",
    "preservative_meq_kg": "preservative",
    "cationic_meq_kg": "cationic",
    "anionic_meq_kg": "anionic",
    "grams": "to weigh",
    "error_percent": "error of the scale",
    "dissolved_g_l": "dissolved",
    "solubility_g_l": "solubility",
    "low_risk_below": "low risk below",
    "water_percent": "water",
    "nutrient_percent": "nutrients",
    "unpreserved_percent": "unpreserved plant material",
    "chelator_percent": "chelator",
    "hurdles": "further hurdles",
    "material_min": "raw materials want at least pH",
    "material_max": "raw materials want at most pH",
    "sum_of_ratios": "free amount over what stops it (1 is needed)",
    "first_percent": "first",
    "second_percent": "second",
    "heat_above_c": "harm above",
    "gram_positive": "gram-positive",
    "gram_negative": "gram-negative",
}


def label(name: str) -> str:
    """The name of a figure in words."""
    return LABELS.get(name) or name.replace("_", " ")
