"""Small tables that stay as they are when the shipped ones change, and helpers to write and read
formulas."""

import copy
import datetime as dt
from pathlib import Path

import pytest

from preservecheck.cli.hints import HINTS
from preservecheck.errors import FormulaError
from preservecheck.formula.build import build
from preservecheck.formula.load import load_formula
from preservecheck.formula.starter import csv_bytes, raw_to_sheets, workbook_bytes
from preservecheck.reference.load import Tables

TODAY = dt.date(2026, 3, 1)
INGREDIENTS = """\
source,basis,inci,aliases,role,charge,water_fraction,nutrient_load,usual_phase
s,practice,Aqua,water|eau,water,none,1,none,heated water
s,practice,Glycerin,glycerol|vegetable glycerin,humectant,none,0,low,heated water
s,practice,Cetearyl Alcohol,,fatty alcohol,none,0,low,heated oil
s,practice,Behentrimonium Methosulfate,,cationic surfactant,cationic,0,low,heated oil
s,practice,Cocamidopropyl Betaine,CAPB|coco betaine@30,amphoteric surfactant,zwitterionic,0,low,heated water
s,practice,Avena Sativa Kernel Extract,oat extract,botanical,none,0,high,cool-down
s,practice,Phenoxyethanol,,preservative,none,0,none,cool-down
s,practice,Sodium Benzoate,,preservative,salt,0,none,cool-down
s,practice,Benzyl Alcohol,,preservative,none,0,none,cool-down
s,practice,Dehydroacetic Acid,,preservative,none,0,none,cool-down
"""
_SYSTEM_COLUMNS = (
    "source,basis,id,composition,ph_min,ph_max,usage_min_percent,usage_max_percent,heat_limit_c,form,"
    "solubility,add_phase,charge,with_cationic_surfactant,with_anionic_surfactant,"
    "with_nonionic_ethoxylates,with_proteins,with_electrolytes,gram_positive,gram_negative,yeast,mould,"
    "natural_standard"
)
_REST = "liquid,water,cool-down,nonionic,ok,ok,ok,ok,ok,strong,strong,strong,strong,no"
SYSTEMS = "\n".join(
    (
        _SYSTEM_COLUMNS,
        f"s,practice,phenoxyethanol,Phenoxyethanol:1,3,10,0.5,1,85,{_REST}",
        f"s,practice,sodium-benzoate,Sodium Benzoate:1,2,5,0.2,0.6,80,{_REST}",
        (
            "s,practice,benzyl-alcohol-dehydroacetic-acid,Benzyl Alcohol:0.87|Dehydroacetic"
            f" Acid:0.08|Aqua:0.05,2,6,0.2,1.1,40,{_REST}"
        ),
    )
)
# the names of these tables are looked up as well; no row is needed here
EMPTY = {
    "actives": "source,basis,inci",
    "legal_limits": "source,basis,id",
    "markets": "\n".join(
        (
            "source,basis,id,name",
            *(f"s,practice,{m},x" for m in ["EU", "GB", "US", "CA", "JP", "ASEAN"]),
        )
    ),
    "conversions": "source,basis,substance",
}
BASE = {
    "format": 1,
    "product": {"name": "Oat cream", "use": "leave-on", "type": "leave-in", "markets": ["EU"]},
    "measured": {"ph": 5.1},
    "phase": [
        {
            "name": "heated",
            "heated_to": "75 °C",
            "items": [
                {"ingredient": "Water", "rest": True},
                {"ingredient": "Glycerin", "percent": 3.0},
            ],
        },
        {
            "name": "cool-down",
            "added_at": "40 °C",
            "items": [
                {"ingredient": "Avena sativa kernel extract", "percent": 1},
                {"preservative": "phenoxyethanol", "percent": 0.8},
            ],
        },
    ],
}


@pytest.fixture(scope="session")
def tables(tmp_path_factory):
    """Ten ingredients and three preservative systems."""
    root = tmp_path_factory.mktemp("tables")
    for name, text in {"ingredients": INGREDIENTS, "systems": SYSTEMS, **EMPTY}.items():
        (root / f"{name}.csv").write_text(text, encoding="utf-8")
    return Tables(root, None)


@pytest.fixture
def raw():
    """A formula without fault, to be changed."""
    return copy.deepcopy(BASE)


@pytest.fixture
def faults(tables):
    """What the command line prints where a formula is refused."""

    def run(raw, form="toml"):
        with pytest.raises(FormulaError) as caught:
            build(raw, "cream.toml", tables, TODAY, form)
        return [fault.text(HINTS) for fault in caught.value.faults]

    return run


@pytest.fixture
def load(tables):
    """Load a formula file with the small tables."""
    return lambda path: load_formula(path, tables, TODAY)


@pytest.fixture
def refused(tables):
    """What the command line prints where a file is refused, its folder left out."""

    def run(path):
        with pytest.raises(FormulaError) as caught:
            load_formula(path, tables, TODAY)
        printed = [fault.text(HINTS) for fault in caught.value.faults]
        return [m.replace(f"{Path(path).parent}/", "") for m in printed]

    return run


@pytest.fixture
def sheets(raw):
    """The sheets of a formula without fault."""
    return raw_to_sheets(raw)


@pytest.fixture
def write_workbook(tmp_path):
    """Write sheets as a workbook; gives its path."""

    def write(sheets):
        path = tmp_path / "cream.xlsx"
        path.write_bytes(workbook_bytes(sheets))
        return path

    return write


@pytest.fixture
def write_csv(tmp_path):
    """Write sheets as CSV files; gives the path of the one with the lines."""

    def cell(value, decimal):
        return (
            ""
            if value is None
            else str(value).replace(".", decimal)
            if isinstance(value, float)
            else str(value)
        )

    def write(sheets, separator=",", decimal="."):
        for name, rows in sheets.items():
            text = "\n".join(separator.join(cell(c, decimal) for c in row) for row in rows)
            data = csv_bytes(rows) if separator == "," else text.encode()
            (tmp_path / f"cream.{name}.csv").write_bytes(data)
        return tmp_path / "cream.Formula.csv"

    return write
