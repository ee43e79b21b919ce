"""Every fault of a formula has its message: place, what was found, what is allowed, what to do."""

import datetime as dt

import pytest

from preservecheck.formula.build import build
from preservecheck.formula.model import Formula, Line, Measured, Phase, Product

USES = "leave-on or rinse-off"
TYPES = "conditioner, shampoo, leave-in, styling, scalp or mask"
MARKETS = "EU, GB, US, CA, JP or ASEAN"
PHASE = "Start each phase with the line [[phase]], in double brackets"
LIST = 'Write a list, such as markets = ["EU", "GB"]'
KEYS = "name, use, type, kind, markets, users, package, batch, scale_step, on_market, shelf_life"
TEMPERATURE = 'give a temperature from -50 to 200 °C, such as "40 °C" or "104 °F"'
MASS = 'give a mass in mg, g, kg, oz or lb, such as "500 g" or "17 oz"'
REST = "Mark it with rest = true (in a sheet, qs or rest in place of the amount)"
SYSTEMS = "'preservecheck tables list systems' shows them all"


def test_sound_formula(raw, tables):
    """A formula without fault becomes plain numbers, with today's law where no day is named."""
    assert build(raw, "cream.toml", tables, dt.date(2026, 3, 1)) == Formula(
        product=Product(
            name="Oat cream",
            use="leave-on",
            type="leave-in",
            markets=("EU",),
            on_market=dt.date(2026, 3, 1),
        ),
        measured=Measured(ph=5.1, ph_tolerance=0.1),
        phases=(
            Phase(
                name="heated",
                heated_to_c=75,
                lines=(
                    Line(name="Water", kind="ingredient", rest=True),
                    Line(name="Glycerin", kind="ingredient", amount=3),
                ),
            ),
            Phase(
                name="cool-down",
                added_at_c=40,
                lines=(
                    Line(name="Avena sativa kernel extract", kind="ingredient", amount=1),
                    Line(name="phenoxyethanol", kind="preservative", amount=0.8),
                ),
            ),
        ),
    )


def test_the_clock_is_the_last_resort(raw, tables):
    """Without a day in the file and without a given one, the law of the running day is applied."""
    before = dt.date.today()
    found = build(raw, "cream.toml", tables).product.on_market
    assert before <= found <= dt.date.today()


@pytest.mark.parametrize(
    ("written", "day"),
    [
        (dt.date(2026, 12, 1), dt.date(2026, 12, 1)),
        ("2026-12-01", dt.date(2026, 12, 1)),
        (dt.datetime(2026, 12, 1, 8), dt.date(2026, 12, 1)),
    ],
)
def test_day(raw, tables, written, day):
    """The day on the market is a date or a text of year, month and day."""
    raw["product"]["on_market"] = written
    assert build(raw, "cream.toml", tables).product.on_market == day


PRODUCT = [
    ("name", None, 'product.name is missing; give the product a name, such as "Oat conditioner"'),
    (
        "name",
        7,
        'product.name is 7; give the product a name, such as "Oat conditioner". Text goes in '
        "quotation marks",
    ),
    ("name", "  ", 'product.name is "  "; give the product a name, such as "Oat conditioner"'),
    (
        "name",
        "a\nb",
        (
            'product.name: "a?b" holds a line break or another control character; write it on one '
            "line"
        ),
    ),
    (
        "name",
        "a" * 201,
        f'product.name: "{"a" * 60}…" is 201 characters long; write 200 at most',
    ),
    ("use", None, f"product.use is missing; give {USES}"),
    ("use", "leave on", f'product.use is "leave on"; did you mean leave-on? Give {USES}'),
    ("type", None, f"product.type is missing; give {TYPES}"),
    ("type", "conditoner", f'product.type is "conditoner"; did you mean conditioner? Give {TYPES}'),
    (
        "markets",
        None,
        f"product.markets is missing; give at least one of {MARKETS}. {LIST}",
    ),
    (
        "markets",
        "EU",
        f'product.markets is "EU"; give at least one of {MARKETS}. {LIST}',
    ),
    ("markets", ["EU", "XX"], f'product.markets is "XX"; give {MARKETS}'),
    ("users", "babies", 'product.users is "babies"; give adults, under-3 or under-10'),
    (
        "package",
        "jars",
        'product.package is "jars"; did you mean jar? Give jar, pump, tube, spray or bottle',
    ),
    ("batch", 500, f'product.batch: "500" has no unit; {MASS}'),
    (
        "batch",
        "0 g",
        'product.batch is "0 g"; give a mass above zero and at most 100,000 kg, such as "500 g"',
    ),
    ("scale_step", "0 g", 'product.scale_step is "0 g"; give a mass above zero, such as "0.1 g"'),
    (
        "batch",
        True,
        'product.batch is true; give a mass above zero and at most 100,000 kg, such as "500 g"',
    ),
    (
        "scale_step",
        "0.1 grains",
        f'product.scale_step: "0.1 grains" is in "grains", which is not known here; {MASS}',
    ),
    (
        "on_market",
        "1.12.2026",
        'product.on_market is "1.12.2026"; give a day as year-month-day, such as 2026-12-01',
    ),
    (
        "on_market",
        2026,
        "product.on_market is 2026; give a day as year-month-day, such as 2026-12-01",
    ),
    (
        "on_market",
        dt.date(1026, 1, 1),
        "product.on_market is 1026-01-01; give a day as year-month-day, such as 2026-12-01",
    ),
    (
        "pakage",
        "jar",
        f"product.pakage is not known here; did you mean package? Allowed are {KEYS}",
    ),
]


@pytest.mark.parametrize(("key", "value", "message"), PRODUCT)
def test_product(raw, faults, key, value, message):
    """A field of the product that is missing or wrong is named with what it may hold."""
    raw["product"][key] = value
    if value is None:
        del raw["product"][key]
    assert faults(raw) == [f"cream.toml: {message}"]


PH = "give a pH from 0 to 14"
ACTIVITY = "give a water activity above 0 and up to 1, such as 0.98"
PH_TOLERANCE = "give a number from 0 to 3: 0.1 with a meter, 0.5 with strips"


@pytest.mark.parametrize(
    ("key", "value", "message"),
    [
        ("ph", 15.2, f"ph is 15.2; {PH}"),
        ("ph", -0.1, f"ph is -0.1; {PH}"),
        ("ph", "5.1", f'ph is "5.1"; {PH}. Numbers go without quotation marks'),
        ("ph", "acid", f'ph is "acid"; {PH}'),
        ("ph", True, f"ph is true; {PH}"),
        ("ph", float("nan"), f"ph is nan; {PH}"),
        ("ph", float("inf"), f"ph is inf; {PH}"),
        ("ph", 10**400, f"ph is a very large number; {PH}"),
        ("ph", [5], f"ph is a list; {PH}"),
        ("ph_tolerance", -0.1, f"ph_tolerance is -0.1; {PH_TOLERANCE}"),
        ("ph_tolerance", 3.5, f"ph_tolerance is 3.5; {PH_TOLERANCE}"),
        ("temperature", "201 °C", f'temperature is "201 °C"; {TEMPERATURE}'),
        ("temperature", {"c": 24}, f"temperature is a table; {TEMPERATURE}"),
        ("water_activity", 0, f"water_activity is 0; {ACTIVITY}"),
        (
            "water_activity",
            1.5,
            f"water_activity is 1.5; {ACTIVITY}; 1.5 % relative humidity is 0.015",
        ),
        ("water_activity", 98, f"water_activity is 98; {ACTIVITY}; 98 % relative humidity is 0.98"),
        ("water_activity", 200, f"water_activity is 200; {ACTIVITY}"),
        (
            "water_activity_tolerance",
            0.3,
            "water_activity_tolerance is 0.3; give a number from 0 to 0.2, such as 0.005",
        ),
        (
            "pH",
            5,
            (
                "pH is not known here; did you mean ph? Allowed are ph, ph_tolerance, temperature,"
                " water_activity, water_activity_tolerance"
            ),
        ),
    ],
)
def test_measured(raw, faults, key, value, message):
    """A reading that cannot be is named with its bounds."""
    raw["measured"][key] = value
    assert faults(raw) == [f"cream.toml: measured.{message}"]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"format": 2}, "format is 2; this program reads format = 1"),
        ({"format": True}, "format is true; this program reads format = 1"),
        ({"product": 3}, "product is 3; it must be a table that starts with the line [product]"),
        (
            {"blend": [1]},
            'blend is a list; it must be a table that starts with the line [blend."name"]',
        ),
        (
            {"fase": 1},
            (
                "fase is not known here; did you mean phase? Allowed are format, product, measured,"
                " phase, settled, blend, ingredient"
            ),
        ),
        (
            {"phase": {}},
            f"phase is a table; give a list of phases. {PHASE}",
        ),
        (
            {"phase": ["heated"]},
            f"phase is a list; give a list of phases. {PHASE}",
        ),
        (
            {"phase": []},
            f"there is no phase; give at least one with a name and lines. {PHASE}",
        ),
    ],
)
def test_structure(raw, faults, change, message):
    """A file of the wrong build is told which heading is expected."""
    assert faults(raw | change) == [f"cream.toml: {message}"]


def test_no_product(raw, faults):
    """A file without a product says so once, not field by field."""
    del raw["product"]
    assert faults(raw) == [f"cream.toml: product is missing; it is a table with {KEYS}"]


def test_empty_product(raw, faults):
    """Of a heading with nothing below it each part that is needed is missing."""
    raw["product"] = {}
    needed = ("name", "use", "type", "markets")
    found = faults(raw)
    assert [f.partition(" is missing; ")[0] for f in found] == [
        f"cream.toml: product.{key}" for key in needed
    ]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            {"name": None},
            (
                'phase number 1: name is missing; give the phase a name, such as "heated" or '
                '"cool-down"'
            ),
        ),
        (
            {"name": 1},
            (
                'phase number 1: name is 1; give the phase a name, such as "heated" or "cool-down".'
                " Text goes in quotation marks"
            ),
        ),
        (
            {"name": "Cool-Down"},
            (
                'phase "cool-down" appears twice; give every phase a name of its own, or put its '
                "lines together"
            ),
        ),
        ({"heated_to": "250 °C"}, f'phase "heated": heated_to is "250 °C"; {TEMPERATURE}'),
        ({"heated_to": "-51 °C"}, f'phase "heated": heated_to is "-51 °C"; {TEMPERATURE}'),
        (
            {"heated_to": 75},
            (
                'phase "heated": heated_to: "75" has no unit; give a temperature in °C or °F, such'
                ' as "40 °C" or "104 °F"'
            ),
        ),
        ({"added_at": "400 °F"}, f'phase "heated": added_at is "400 °F"; {TEMPERATURE}'),
        (
            {"held": "8 days"},
            (
                'phase "heated": held: "8 days" is in "days", which is not known here; give a time'
                ' in s, min or h, such as "20 min" or "1.5 h"'
            ),
        ),
        (
            {"held": "200 h"},
            'phase "heated": held is "200 h"; give a time up to a week, such as "20 min"',
        ),
        (
            {"heat": "75 °C"},
            (
                'phase "heated": heat is not known here; did you mean heated_to? Allowed are name,'
                " heated_to, held, added_at, items"
            ),
        ),
        (
            {"items": []},
            (
                'phase "heated" is empty; give it lines. Write items = [ { ingredient = "Glycerin",'
                " percent = 3 } ]"
            ),
        ),
        (
            {"items": None},
            (
                'phase "heated" is empty; give it lines. Write items = [ { ingredient = "Glycerin",'
                " percent = 3 } ]"
            ),
        ),
        (
            {"items": "Water"},
            (
                'phase "heated" has items = "Water"; give it lines. Write items = [ { ingredient = '
                '"Glycerin", percent = 3 } ]'
            ),
        ),
    ],
)
def test_phase(raw, faults, change, message):
    """A phase that cannot be read is named by its name or number."""
    phase = raw["phase"][0] | change
    raw["phase"][0] = {k: v for k, v in phase.items() if v is not None}
    assert faults(raw) == [f"cream.toml: {message}"]


def test_a_phase_name_used_twice(raw, faults):
    """Two phases of exactly the same name are refused as well."""
    raw["phase"].append(raw["phase"][1])
    assert faults(raw)[0].startswith('cream.toml: phase "cool-down" appears twice;')


def test_all_faults_at_once(raw, faults):
    """Faults in every part of the file are reported together."""
    raw["product"]["use"] = "rinse"
    raw["measured"]["ph"] = 15.2
    raw["phase"][1]["items"][1]["percent"] = -1
    assert faults(raw) == [
        f'cream.toml: product.use is "rinse"; did you mean rinse-off? Give {USES}',
        "cream.toml: measured.ph is 15.2; give a pH from 0 to 14",
        (
            'cream.toml: phase "cool-down", line 2 (phenoxyethanol): percent is -1; give a number '
            "from 0 to 100"
        ),
    ]


def test_many_faults_are_counted(raw, faults):
    """After fifty faults the rest is counted, so that a wrong file is answered on one page."""
    raw["product"] |= {f"extra {n}": 1 for n in range(60)}
    messages = faults(raw)
    assert len(messages) == 51
    assert messages[-1] == "cream.toml: and 10 more faults; correct these first"
