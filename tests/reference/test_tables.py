"""The shipped tables: every row is read, nothing contradicts itself, no figure changes unseen; the
user's overlay."""

import csv
import math
import re
from collections import Counter
from pathlib import Path

import pytest

from preservecheck.arrays.forms import MICROBES
from preservecheck.errors import TableError
from preservecheck.plan.review import review
from preservecheck.reference.load import ENV, load_tables
from preservecheck.reference.rows import TABLES
from preservecheck.reference.validate import validate_tables
from tests.helpers import TODAY, make_formula, outcome, run_check, the, value

ROOT = Path(__file__).resolve().parents[2] / "tables"
SHIPPED = load_tables()
# minima that the issue asks for
MINIMA = {"systems": 45, "actives": 45, "ingredients": 170}
# rows by how they were obtained; a change here is a decision, not an accident
BASIS = {
    "actives": {"published": 70, "memory": 3},
    "binding": {"published": 49, "memory": 36},
    "cautions": {"published": 21, "memory": 9, "practice": 17},
    "challenge_criteria": {"published": 41},
    "conversions": {"published": 66, "practice": 14},
    "degradation": {"published": 12, "memory": 1},
    "descriptors": {"published": 20, "practice": 19},
    "growth_limits": {"published": 27, "memory": 1, "practice": 1},
    "incompatibilities": {"published": 81, "memory": 7, "practice": 32},
    "ingredients": {"published": 552, "memory": 2, "practice": 93},
    "label_rules": {"published": 35, "memory": 28},
    "legal_limits": {"published": 510, "memory": 179, "practice": 4},
    "markets": {"published": 1, "memory": 16},
    "mic": {"published": 150, "memory": 236, "practice": 3},
    "pairs": {"published": 28, "practice": 26},
    "partition": {"published": 56, "memory": 51},
    "practice": {"published": 120, "memory": 3, "practice": 1040},
    "product_kinds": {"published": 3, "memory": 1, "practice": 18},
    "product_ph": {"practice": 15},
    "replacements": {"published": 1, "practice": 1},
    "solutes": {"published": 34, "memory": 99},
    "stability_windows": {"published": 8, "memory": 4, "practice": 29},
    "systems": {"published": 48, "practice": 4},
    "test_organisms": {"published": 5},
}
# number and sum of the figures in each numeric column: tripwires against a slip of the hand
SUMS = {
    "actives.molar_mass_g_mol": (73, 16548.403),
    "actives.pka_25c": (31, 197.144),
    "actives.pka_uncertainty": (31, 4.29),
    "actives.dh_ion_kj_mol": (12, 112.5),
    "actives.log_p": (47, 63.06),
    "actives.water_solubility_g_l": (62, 27424.158),
    "actives.charge_number": (37, -11.0),
    "actives.heat_limit_c": (58, 4246.0),
    "actives.stability_ph_min": (57, 169.0),
    "actives.stability_ph_max": (57, 486.0),
    "actives.formaldehyde_fraction": (5, 1.3692),
    "binding.k_per_percent": (36, 42.8361),
    "challenge_criteria.edition": (22, 44418.0),
    "challenge_criteria.day": (41, 835.0),
    "challenge_criteria.value": (41, 37.0),
    "challenge_criteria.tolerance_log": (35, 13.5),
    "conversions.molar_mass_g_mol": (80, 18184.16),
    "conversions.units": (80, 105.0),
    "conversions.factor": (80, 55.093782),
    "degradation.rate_per_month": (9, 0.72093),
    "degradation.ph_reference": (9, 63.32),
    "degradation.ph_slope": (9, 5.211),
    "degradation.pka": (4, 33.4),
    "degradation.activation_kj_mol": (8, 808.5),
    "degradation.ph_low": (9, 43.0),
    "degradation.ph_high": (9, 80.0),
    "degradation.factor_error": (9, 30.5),
    "descriptors.e": (39, 26.943),
    "descriptors.s": (39, 42.251),
    "descriptors.a": (39, 18.586),
    "descriptors.b": (39, 28.118),
    "descriptors.v": (39, 47.1092),
    "growth_limits.aw_min": (28, 22.855),
    "growth_limits.ph_min": (15, 52.7),
    "growth_limits.ph_max": (13, 118.6),
    "incompatibilities.first_min_percent": (47, 70.85006),
    "incompatibilities.second_min_percent": (66, 141.25),
    "incompatibilities.second_max_percent": (2, 8.99),
    "incompatibilities.ph_from": (20, 125.21),
    "incompatibilities.ph_to": (6, 35.9),
    "incompatibilities.heat_above_c": (4, 200.0),
    "ingredients.molar_mass_g_mol": (390, 187672.619),
    "ingredients.charge_number": (384, -85.0),
    "ingredients.charge_meq_g": (57, -45.66),
    "ingredients.ions_per_molecule": (372, 558.0),
    "ingredients.water_fraction": (647, 61.976),
    "ingredients.sold_as_percent": (96, 3631.23),
    "ingredients.max_temp_c": (487, 34535.0),
    "ingredients.ph_min": (317, 1283.0),
    "ingredients.ph_max": (322, 2716.6),
    "label_rules.threshold_percent": (19, 6.285),
    "legal_limits.max_percent": (594, 297.69845),
    "mic.mic_mg_l": (389, 3455902.765),
    "mic.mic_low_mg_l": (389, 2672806.593),
    "mic.mic_high_mg_l": (389, 3455922.765),
    "mic.uncertainty_factor": (389, 908.3),
    "pairs.first_min_percent": (53, 36.923),
    "pairs.first_max_percent": (53, 64.8545),
    "pairs.second_min_percent": (54, 18.076),
    "pairs.second_max_percent": (54, 34.972),
    "pairs.ph_min": (54, 204.5),
    "pairs.ph_max": (54, 370.1),
    "partition.k_oil_water": (107, 16775.981818),
    "practice.start_rank": (68, 104.0),
    "practice.survey_percent": (43, 2000.4),
    "practice.survey_products": (36, 7486.0),
    "product_kinds.match_order": (22, 2530.0),
    "product_kinds.has_min_percent": (13, 102.0),
    "product_kinds.also_min_percent": (3, 3.1),
    "product_kinds.without_from_percent": (5, 1.1),
    "product_kinds.water_below_percent": (1, 3.0),
    "product_kinds.ph_min": (20, 95.5),
    "product_kinds.ph_max": (20, 122.4),
    "product_kinds.aim_low": (18, 85.8),
    "product_kinds.aim_ph": (17, 83.3),
    "product_kinds.aim_high": (18, 96.5),
    "product_kinds.aim_ph_flat": (2, 10.6),
    "product_ph.ph_min": (15, 63.5),
    "product_ph.ph_max": (15, 82.6),
    "replacements.percent": (2, 0.8),
    "solutes.molar_mass_g_mol": (68, 10202.647),
    "solutes.k_norrish": (21, -130.571),
    "solutes.k3_norrish": (21, -1.815),
    "solutes.z_plus": (22, 25.0),
    "solutes.z_minus": (22, -28.0),
    "solutes.nu_plus": (22, 27.0),
    "solutes.nu_minus": (22, 24.0),
    "solutes.beta0": (22, 2.77132),
    "solutes.beta1": (22, 17.93256),
    "solutes.beta2": (1, -40.15),
    "solutes.c_phi": (22, -0.024222),
    "solutes.alpha1": (22, 43.4),
    "solutes.alpha2": (1, 12.0),
    "solutes.nu_effective": (25, 27.15),
    "solutes.osmol_per_kg": (64, 62.62),
    "solutes.valid_max_molality": (68, 287.586),
    "solutes.valid_max_mole_fraction": (68, 4.4513),
    "solutes.solubility_g_100g_water": (45, 3767.07),
    "solutes.water_activity_saturated": (14, 9.23),
    "solutes.temperature_c": (133, 3325.0),
    "stability_windows.min_percent": (41, 41.78),
    "stability_windows.beside_min_percent": (1, 0.1),
    "stability_windows.without_from_percent": (1, 0.1),
    "stability_windows.ph_min": (39, 181.5),
    "stability_windows.ph_max": (41, 339.1),
    "systems.ph_min": (52, 169.0),
    "systems.ph_max": (52, 398.0),
    "systems.usage_min_percent": (52, 147.72),
    "systems.usage_max_percent": (52, 226.0057),
    "systems.heat_limit_c": (52, 3480.0),
    "systems.preferred_add_below_c": (45, 2175.0),
}


def read(name):
    """Rows of a table as dictionaries of texts."""
    with (ROOT / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def numbers(cells):
    """The figures of a column, or none if it holds other texts."""
    try:
        return [float(c) for c in cells if c.strip()]
    except ValueError:
        return []


class TestRows:
    """Rows by themselves."""

    @pytest.mark.parametrize("name", TABLES)
    def test_every_row_is_read(self, name):
        """No line of the file is lost on the way to a typed row."""
        assert len(SHIPPED.rows(name)) == len(read(name)) > 0

    def test_nothing_to_complain_about(self):
        """The program's own validation finds no fault, no open reference and no unused source."""
        assert validate_tables(SHIPPED) == []

    @pytest.mark.parametrize(("name", "least"), MINIMA.items())
    def test_enough_rows(self, name, least):
        """As many rows as the issue asks for."""
        assert len(SHIPPED.rows(name)) >= least

    def test_ingredients_have_common_names(self):
        """At least half of the ingredients carry a name that a maker would write."""
        assert sum(bool(i.aliases) for i in SHIPPED.ingredients) >= len(SHIPPED.ingredients) / 2

    @pytest.mark.parametrize("microbe", MICROBES)
    def test_challenge_organisms_have_figures(self, microbe):
        """Each of the five organisms of the challenge tests has an MIC for at least 40 actives."""
        assert len({m.active for m in SHIPPED.mic if m.organism == microbe}) >= 40

    @pytest.mark.parametrize("name", TABLES)
    def test_keys_are_unique(self, name):
        """No key stands twice."""
        twice = [k for k, n in Counter(r.key_text for r in SHIPPED.rows(name)).items() if n > 1]
        assert twice == []

    @pytest.mark.parametrize("name", TABLES)
    def test_form_of_the_file(self, name):
        """UTF-8 without a mark, line feeds alone, no blanks around a cell, no cell that stands for
        unknown."""
        data = (ROOT / f"{name}.csv").read_bytes()
        assert not data.startswith(b"\xef\xbb\xbf")
        assert b"\r" not in data
        cells = [c for row in csv.reader(data.decode("utf-8").splitlines()) for c in row]
        assert [c for c in cells if c != c.strip()] == []
        assert [
            c for c in cells if c.casefold() in ("n/a", "na", "nan", "none known", "unknown", "?")
        ] == []

    @pytest.mark.parametrize(
        ("name", "low", "mid", "high"),
        [
            ("mic", "mic_low_mg_l", "mic_mg_l", "mic_high_mg_l"),
            ("systems", "ph_min", None, "ph_max"),
            ("systems", "usage_min_percent", None, "usage_max_percent"),
            ("systems", "preferred_add_below_c", None, "heat_limit_c"),
            ("ingredients", "ph_min", None, "ph_max"),
            ("actives", "stability_ph_min", None, "stability_ph_max"),
            ("growth_limits", "ph_min", None, "ph_max"),
            ("product_ph", "ph_min", None, "ph_max"),
            ("legal_limits", "in_force_from", None, "in_force_to"),
            ("incompatibilities", "second_min_percent", None, "second_max_percent"),
        ],
    )
    def test_low_value_high(self, name, low, mid, high):
        """Low is not above the value, and the value not above high."""
        seen = 0
        for row in SHIPPED.rows(name):
            steps = [v for c in (low, mid, high) if c and (v := getattr(row, c)) is not None]
            assert steps == sorted(steps), row.key_text
            seen += len(steps) > 1
        assert seen

    @pytest.mark.parametrize("name", ["actives", "solutes", "legal_limits"])
    def test_registry_numbers(self, name):
        """The check digit of a CAS number is the sum of its digits times their place from the
        right, modulo 10."""
        seen = 0
        for row in read(name):
            for cas in filter(None, row["cas"].split("|")):
                assert re.fullmatch(r"\d{2,7}-\d\d-\d", cas), cas
                *digits, check = cas.replace("-", "")
                assert sum(i * int(d) for i, d in enumerate(reversed(digits), 1)) % 10 == int(
                    check
                ), cas
                seen += 1
        assert seen > 50

    def test_one_preferred_row(self):
        """Of several rows for the same thing exactly one is preferred, wherever there is one with a
        figure."""
        for name, key in (
            ("mic", ("active", "organism")),
            ("partition", ("active", "oil_class")),
            ("solutes", ("inci",)),
        ):
            rows = [r for r in SHIPPED.rows(name) if name != "mic" or r.organism in MICROBES]
            preferred = Counter(
                tuple(getattr(r, k) for k in key) for r in rows if r.preferred == "yes"
            )
            assert [k for k, n in preferred.items() if n > 1] == []
            assert sorted({tuple(getattr(r, k) for k in key) for r in rows} - set(preferred)) == []

    def test_fractions_add_up(self):
        """Systems and usual blends add up to 1 within the third decimal."""
        for row in (*SHIPPED.systems, *(i for i in SHIPPED.ingredients if i.composition)):
            assert math.fsum(f for _, f in row.composition) == pytest.approx(1, abs=0.0011), (
                row.key_text
            )

    def test_triggers_exist(self):
        """Everything that a caution or a pair names is known to the tables, so that no row sleeps
        by a misspelling."""
        known = {f"inci:{i.inci}" for i in SHIPPED.ingredients} | {
            f"inci:{a.inci}" for a in SHIPPED.actives
        }
        known |= {f"inci:{s}" for r in SHIPPED.legal_limits for s in r.substances}
        known |= {f"tag:{t}" for i in SHIPPED.ingredients for t in i.tags}
        known |= {f"role:{i.role}" for i in SHIPPED.ingredients} | {
            f"system:{s.id}" for s in SHIPPED.systems
        }
        known |= {f"form:{s.form}" for s in SHIPPED.systems} | {"always"}
        known |= {f"package:{p}" for p in ("jar", "pump", "tube", "spray", "bottle")}
        known |= {f"users:{u}" for u in ("adults", "under-3", "under-10")}
        known |= {f"use:{u}" for u in ("leave-on", "rinse-off")}
        known |= {
            f"type:{t}" for t in ("conditioner", "shampoo", "leave-in", "styling", "scalp", "mask")
        }
        known |= {
            f"condition:{c}"
            for c in (
                "cationic emulsion",
                "liquid oils above 20 %",
                "unsaturated oil without antioxidant",
                "melted into the oil phase",
                "too little works at this pH",
            )
        }
        named = {k for c in SHIPPED.cautions for k in (*c.when, *c.and_when)}
        named |= {k for r in SHIPPED.incompatibilities for k in (*r.first, *r.second, *r.without)}
        named |= {
            k for r in SHIPPED.stability_windows for k in (*r.materials, *r.beside, *r.without)
        }
        assert sorted(named - known) == []


class TestTripwires:
    """Numbers written down once; whoever changes a table on purpose changes them here."""

    def test_sums(self):
        """Count and sum of every numeric column."""
        found = {}
        for name in TABLES:
            rows = read(name)
            for column in rows[0]:
                if (name, column) != ("sources", "year") and (
                    figures := numbers([r[column] for r in rows])
                ):
                    found[f"{name}.{column}"] = (len(figures), round(math.fsum(figures), 6))
        assert found == SUMS

    def test_basis(self):
        """How many rows were read, recalled, or are custom."""
        assert {
            n: dict(Counter(r["basis"] for r in read(n))) for n in TABLES if n != "sources"
        } == BASIS

    def test_recalled_columns_exist(self):
        """What a published row admits as recalled are columns of its table, or most of them."""
        for name in TABLES:
            if name == "sources":
                continue
            columns = set(read(name)[0]) | {"most figures", "all but role"}
            for row in SHIPPED.rows(name):
                said = {c.strip() for c in (row.recalled or "").split(",") if c.strip()}
                assert said <= columns, f"{name}: {row.key_text}: {said - columns}"


class TestSources:
    """Where things come from."""

    def test_published_rows_have_a_real_source(self):
        """A row that claims to be read does not cite memory, an estimate or custom."""
        soft = {s.id for s in SHIPPED.sources.values() if s.kind in ("memory", "practice")}
        claims = [
            f"{n}: {r.key_text}"
            for n in TABLES
            if n != "sources"
            for r in SHIPPED.rows(n)
            if r.basis == "published" and r.source in soft
        ]
        assert claims == []

    def test_addresses(self):
        """An address is a law site or a number of a paper; there is no shop."""
        law = r"https://(eur-lex\.europa\.eu|www\.legislation\.gov\.uk)/\S+"
        allowed = re.compile(law + r"|PMC\d+|PMID \d+|doi 10\.\S+")
        assert [
            s.id for s in SHIPPED.sources.values() if s.address and not allowed.fullmatch(s.address)
        ] == []

    def test_no_traders_words(self):
        """Shops and sellers are named by their kind, never by themselves."""
        words = re.compile(r"https?://|www\.|\.com\b|\.co\.uk|®|™|\b(Ltd|GmbH|Inc|LLC|S\.A\.|AG)\b")
        bad = [
            f"{n}: {r.key_text}"
            for n in TABLES
            for r in SHIPPED.rows(n)
            for v in r.as_dict().values()
            if isinstance(v, str) and v != getattr(r, "address", None) and words.search(v)
        ]
        assert bad == []


SYSTEM = {
    "id": "my-system",
    "composition": "Phenoxyethanol:0.8|Aqua:0.2",
    "ph_min": "3",
    "ph_max": "9",
    "usage_min_percent": "0.6",
    "usage_max_percent": "1.1",
    "heat_limit_c": "50",
    "form": "liquid",
    "solubility": "water",
    "add_phase": "cool-down",
    "charge": "nonionic",
    "with_cationic_surfactant": "ok",
    "with_anionic_surfactant": "ok",
    "with_nonionic_ethoxylates": "caution: thins",
    "with_proteins": "ok",
    "with_electrolytes": "ok",
    "gram_positive": "strong",
    "gram_negative": "strong",
    "yeast": "moderate",
    "mould": "weak",
    "natural_standard": "no",
    "locator": "data sheet of 2026-03-01",
}


def own_csv(folder, name, *rows, delimiter=",", start=""):
    """The user's own table."""
    lines = [delimiter.join(rows[0]), *(delimiter.join(r.values()) for r in rows)]
    (folder / f"{name}.csv").write_text(start + "\n".join(lines) + "\n", encoding="utf-8")
    return folder


class TestOwnRows:
    """The user's folder of rows over the shipped ones."""

    def test_added(self, tmp_path):
        """A new id is added, is used, and every report says that it is the user's."""
        tables = load_tables(own_csv(tmp_path, "systems", SYSTEM))
        assert len(tables.systems) == len(SHIPPED.systems) + 1
        assert tables.own("systems") == {"my-system"}
        formula = make_formula({"Glycerin": 3}, {"my-system": 1.05}, tables=tables, ph=5)
        found = the("use-level", formula, tables=tables)
        assert [value(found, n) for n in ("percent_min", "percent_max")] == [0.6, 1.1]
        assert found.sources == ("your own tables: data sheet of 2026-03-01",)
        report = review(formula, tables, today=TODAY)
        assert "systems: my-system" in report.own_rows
        assert report.tables_sha256 != SHIPPED.digest

    def test_replaced(self, tmp_path):
        """An id of ours is replaced, the rest stays."""
        own = SYSTEM | {"id": "phenoxyethanol", "composition": "Phenoxyethanol:1"}
        tables = load_tables(own_csv(tmp_path, "systems", own))
        assert len(tables.systems) == len(SHIPPED.systems)
        dose = {"systems": {"phenoxyethanol": 1.05}}
        assert outcome(the("use-level", dose)) == "serious"
        formula = make_formula(**dose, tables=tables)
        assert outcome(the("use-level", formula, tables=tables)) == "pass"
        assert "systems: phenoxyethanol" in review(formula, tables, today=TODAY).own_rows

    def test_unused_own_rows_are_not_named(self, tmp_path):
        """A report names only the own rows that it rests on."""
        tables = load_tables(own_csv(tmp_path, "systems", SYSTEM))
        formula = make_formula({"Glycerin": 3}, {"phenoxyethanol": 0.8}, tables=tables, ph=5)
        assert review(formula, tables, today=TODAY).own_rows == ()

    def test_own_figure_in_a_check(self, tmp_path):
        """An own MIC replaces the preferred one: 0.16 % / 0.1 % is a sum of 1.6."""
        row = next(
            m
            for m in SHIPPED.mic
            if (m.active, m.organism, m.preferred)
            == ("Phenoxyethanol", "Pseudomonas aeruginosa", "yes")
        )
        own = {
            "id": row.id,
            "active": "Phenoxyethanol",
            "organism": "Pseudomonas aeruginosa",
            "mic_mg_l": "1000",
            "comparator": "=",
            "of_form": "total",
            "uncertainty_factor": "2",
            "preferred": "yes",
        }
        tables = load_tables(own_csv(tmp_path, "mic", own))
        formula = make_formula({"Phenoxyethanol": 0.16}, tables=tables, ph=5)
        found = [
            f
            for f in run_check("free-active", formula, tables=tables)
            if f.about == "Pseudomonas aeruginosa"
        ]
        assert value(found[0], "sum_of_ratios") == pytest.approx(1.6)
        assert f"mic: {row.id}" in review(formula, tables, today=TODAY).own_rows

    def test_semicolons_and_mark(self, tmp_path):
        """A spreadsheet's CSV with semicolons and a byte-order mark is read the same."""
        (tmp_path / "plain").mkdir(), (tmp_path / "sheet").mkdir()
        plain = load_tables(own_csv(tmp_path / "plain", "systems", SYSTEM))
        sheet = load_tables(
            own_csv(tmp_path / "sheet", "systems", SYSTEM, delimiter=";", start="\ufeff")
        )
        assert plain.systems[-1].as_dict() == sheet.systems[-1].as_dict()
        assert sheet.systems[-1].id == "my-system"

    @pytest.mark.parametrize(
        ("change", "column", "found", "allowed"),
        [
            ({"ph_max": "19"}, "ph_max", "19", "0 to 14"),
            ({"heat_limit_c": "hot"}, "heat_limit_c", "hot", "-50 to 200"),
            ({"charge": "neutral"}, "charge", "neutral", "nonionic, anionic, cationic or mixed"),
            ({"yeast": "good"}, "yeast", "good", "strong, moderate, weak or none"),
            ({"usage_max_percent": "nan"}, "usage_max_percent", "nan", "0 to 100"),
        ],
    )
    def test_bad_cell(self, tmp_path, change, column, found, allowed):
        """A bad cell is reported with file, line, column, value and what is allowed."""
        folder = own_csv(tmp_path, "systems", SYSTEM, SYSTEM | {"id": "second"} | change)
        with pytest.raises(TableError) as caught:
            load_tables(folder).rows("systems")
        (message,) = caught.value.messages
        for words in (
            str(folder / "systems.csv"),
            "row 3",
            f"column {column}",
            repr(found),
            allowed,
        ):
            assert words in message

    @pytest.mark.parametrize(
        ("change", "words"),
        [
            ({"composition": "Phenoxyethanol:0.5"}, "add"),
            ({"usage_min_percent": "5"}, "usage_min_percent"),
            ({"ph_min": ""}, "ph_min"),
        ],
    )
    def test_row_that_contradicts_itself(self, tmp_path, change, words):
        """Shares that are not 1, a minimum above its maximum and a missing figure are said."""
        with pytest.raises(TableError) as caught:
            load_tables(own_csv(tmp_path, "systems", SYSTEM | change)).rows("systems")
        assert words in " ".join(caught.value.messages)

    def test_all_faults_at_once(self, tmp_path):
        """Two bad cells in two rows and a bad row of another table are three messages."""
        own_csv(
            tmp_path, "systems", SYSTEM | {"ph_max": "19"}, SYSTEM | {"id": "b", "mould": "good"}
        )
        own_csv(
            tmp_path, "product_ph", {"type": "shampoo", "use": "any", "ph_min": "7", "ph_max": "5"}
        )
        faults = validate_tables(load_tables(tmp_path))
        assert [(Path(f.where).name, f.path) for f in faults] == [
            ("systems.csv", (2, "ph_max")),
            ("systems.csv", (3, "mould")),
            ("product_ph.csv", (2,)),
        ]

    def test_nothing_half_loaded(self, tmp_path):
        """A good row beside a bad one is not taken, however often one asks."""
        tables = load_tables(
            own_csv(tmp_path, "systems", SYSTEM, SYSTEM | {"id": "second", "ph_max": "19"})
        )
        for _ in range(2):
            with pytest.raises(TableError):
                tables.rows("systems")

    def test_same_id_twice(self, tmp_path):
        """One id twice in a file is a fault with both lines."""
        with pytest.raises(TableError) as caught:
            load_tables(own_csv(tmp_path, "systems", SYSTEM, SYSTEM)).rows("systems")
        assert "row 3" in caught.value.messages[0]
        assert "row 2" in caught.value.messages[0]

    def test_unknown_column(self, tmp_path):
        """A column that the table does not have is named, with those it has."""
        with pytest.raises(TableError, match="unknown column 'dose'"):
            load_tables(own_csv(tmp_path, "systems", SYSTEM | {"dose": "1"})).rows("systems")

    def test_file_that_is_no_table(self, tmp_path):
        """A CSV file whose name is no table's is refused."""
        (tmp_path / "preservatives.csv").write_text("id\n", encoding="utf-8")
        with pytest.raises(TableError, match="preservatives.csv is no table"):
            load_tables(tmp_path)

    def test_no_such_folder(self, tmp_path):
        """A folder that does not exist is a fault."""
        with pytest.raises(TableError, match="no such folder"):
            load_tables(tmp_path / "nowhere")

    def test_by_environment(self, tmp_path, monkeypatch):
        """The folder may stand in the environment."""
        monkeypatch.setenv(ENV, str(own_csv(tmp_path, "systems", SYSTEM)))
        assert load_tables().own("systems") == {"my-system"}

    def test_wrong_encoding(self, tmp_path):
        """A file that is not UTF-8 is refused with what to do."""
        (tmp_path / "systems.csv").write_bytes("id;note\na;größer\n".encode("latin-1"))
        with pytest.raises(TableError, match="not UTF-8"):
            load_tables(tmp_path).rows("systems")
