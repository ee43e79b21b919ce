"""What a formula says about its raw materials: blends, and ingredients of its own."""

import pytest

from preservecheck.formula.build import build
from preservecheck.formula.names import FormulaNames, allowed_words, folded, names_of

WAX = {"Cetearyl Alcohol": 75, "Behentrimonium Methosulfate": 25}
LOADS = "give none, low, medium or high"


def test_blends(raw, tables):
    """A blend is used by its name, may hold blends, and may be defined without being used."""
    raw["blend"] = {"my wax": WAX, "spare": {"MY WAX": 50, "Glycerin": 50.5}}
    raw["phase"][0]["items"].append({"ingredient": "My Wax", "percent": 5})
    assert build(raw, "cream.toml", tables).blends == {
        "my wax": {"Cetearyl Alcohol": 75.0, "Behentrimonium Methosulfate": 25.0},
        "spare": {"MY WAX": 50.0, "Glycerin": 50.5},
    }


def test_a_blend_wins_over_an_inci_name(tables):
    """Where a blend carries an INCI name, lines of that name mean the blend."""
    names = FormulaNames(names_of(tables), ["glycerin"], {})
    assert names.blend("Glycerin") == "glycerin"
    assert names.ingredient("Glycerin").inci == "Glycerin"


PARTS = (
    "give what it is made of, with percents that come to 100. Write it as this block\n\n"
    '[blend."wax"]\n"Glycerin" = 75\n"Aqua" = 25\n'
)


@pytest.mark.parametrize(
    ("blends", "message"),
    [
        (
            {"wax": {"Glycerin": 99.4}},
            (
                'blend "wax" adds up to 99.4 %; its parts must come to 100 ± 0.5 %: add what is '
                "missing, which is often Water"
            ),
        ),
        (
            {"wax": {"Glycerin": 60, "Water": 40.6}},
            (
                'blend "wax" adds up to 100.6 %; its parts must come to 100 ± 0.5 %: correct the '
                "percents"
            ),
        ),
        (
            {"wax": {}},
            f'blend "wax" is empty; {PARTS}',
        ),
        (
            {"wax": 5},
            f'blend "wax" is 5; {PARTS}',
        ),
        (
            {"wax": {"Glycerin": "100"}},
            (
                'blend "wax": Glycerin is "100"; give its percent of the blend, from 0 to 100.'
                " Numbers go without quotation marks"
            ),
        ),
        (
            {"wax": {"Glycerin": -1, "Water": 99}},
            'blend "wax": Glycerin is -1; give its percent of the blend, from 0 to 100',
        ),
        (
            {"wax": {"Glycerin": 100}, "WAX": {"Water": 100}},
            'blend "wax" is there already as "WAX"; give each blend once',
        ),
        (
            {"—": {"Glycerin": 100}},
            'blend "—": the name has no letter; give it the name that the lines use',
        ),
        (
            {"w" * 201: {"Glycerin": 100}},
            (
                f'blend "{"w" * 60}…": the name is longer than 200 characters or holds a control '
                "character; shorten it"
            ),
        ),
        (
            {"wax": {"wax": 30, "Water": 70}},
            (
                'blend "wax" contains itself; if it is a solution of the substance of that name,'
                ' call the blend "wax solution", here and on the lines that use it'
            ),
        ),
        (
            {"a": {"b": 100}, "b": {"C": 50, "Water": 50}, "c": {"a": 100}},
            (
                'blends contain each other in a circle: "a" > "b" > "c" > "a"; write the substances'
                " of one of them directly"
            ),
        ),
    ],
)
def test_blend_faults(raw, faults, blends, message):
    """A blend that is no whole, is written twice or contains itself is refused."""
    raw["blend"] = blends
    assert faults(raw) == [f"cream.toml: {message}"]


def test_unknown_part(raw, faults):
    """An unknown part is answered like an unknown line; a system's id is told apart."""
    raw["blend"] = {"wax": {"Cetearil Alcohol": 99, "benzyl-alcohol-dehydroacetic-acid": 1}}
    unknown, system = faults(raw)
    assert unknown.startswith(
        'cream.toml: blend "wax": "Cetearil Alcohol" is not a known ingredient; the nearest names '
        "are Cetearyl Alcohol"
    )
    assert '\n[ingredient."Cetearil Alcohol"]\n' in unknown
    assert system.endswith("a blend takes the substances in it, each with its percent")


def test_deep_blends(raw, faults):
    """Blends of blends are read ten deep; a longer chain would only be a slip or an attack."""
    raw["blend"] = {f"b{n}": {f"b{n + 1}": 100} for n in range(10)} | {"b10": {"Water": 100}}
    assert faults(raw) == [
        'cream.toml: blend "b0" is 11 blends deep and opens into 1 parts; at most 10 and 5,000 are'
        " read: write its substances directly"
    ]


def test_blends_that_multiply(raw, faults):
    """Ten parts that each open into ten, four times over, are refused before they are opened."""
    raw["blend"] = {
        f"{n} {k}": {f"{n + 1} {j}": 10 for j in range(10)} for n in range(4) for k in range(10)
    }
    raw["blend"] |= {f"4 {k}": {"Water": 100} for k in range(10)}
    (message,) = faults(raw)
    assert message.startswith(
        'cream.toml: blend "0 0" is 5 blends deep and opens into 10,000 parts'
    )


def test_more_than_any_formula_has(raw, faults):
    """Thousands of blends, of own ingredients or of parts are refused before they are read one by
    one."""
    many = {f"n{n}": 1 for n in range(5001)}
    assert faults(raw | {"blend": many, "ingredient": many}) == [
        "cream.toml: ingredient has 5,001 entries; at most 5,000 are read",
        "cream.toml: blend has 5,001 entries; at most 5,000 are read",
    ]
    assert faults(raw | {"blend": {"wax": many}}) == [
        'cream.toml: blend "wax" has 5,001 parts; at most 5,000 are read'
    ]


def test_own_ingredient(raw, tables):
    """A block needs a role alone; the rest is filled in, and the row is marked as the user's
    own."""
    raw["ingredient"] = {"my powder": {"role": "powder"}}
    raw["phase"][0]["items"].append({"ingredient": "My Powder", "percent": 1})
    (row,) = build(raw, "cream.toml", tables).own_ingredients
    assert (
        row.inci,
        row.role,
        row.charge,
        row.water_fraction,
        row.nutrient_load,
        row.usual_phase,
        row.source,
        row.basis,
    ) == ("my powder", "powder", "none", 0, "low", "cool-down", "own", "practice")


def test_own_ingredient_with_everything(raw, tables):
    """Other columns of the table may be given; under an INCI name of its own the heading stays an
    alias."""
    raw["ingredient"] = {
        "nettle juice": {
            "inci": "Urtica Dioica Juice",
            "aliases": ["stinging juice"],
            "role": "botanical",
            "water_fraction": 0.95,
            "nutrient_load": "high",
            "ph_min": 3,
            "ph_max": 6.5,
            "tags": ["botanical"],
            "note": "pressed at home",
        }
    }
    raw["phase"][0]["items"] += [
        {"ingredient": n, "percent": 1}
        for n in ("Nettle juice", "stinging juice", "urtica dioica juice")
    ]
    (row,) = build(raw, "cream.toml", tables).own_ingredients
    assert row.inci == "Urtica Dioica Juice"
    assert row.aliases == ("stinging juice", "nettle juice")
    assert (row.ph_min, row.ph_max, row.tags, row.note) == (
        3,
        6.5,
        ("botanical",),
        "pressed at home",
    )


@pytest.mark.parametrize(
    ("block", "message"),
    [
        ({}, '": role is missing; give ' + ", ".join(allowed_words("role")[:-1]) + " or solvent"),
        ({"role": "powder", "nutrient_load": "lots"}, f'": nutrient_load is "lots"; {LOADS}'),
        (
            {"role": "powder", "water_fraction": 95},
            '": water_fraction is 95; give a number from 0 to 1',
        ),
        (
            {"role": "powder", "water_fraction": -1},
            '": water_fraction is -1; give a number from 0 to 1',
        ),
        (
            {"role": "powder", "molar_mass_g_mol": 0},
            '": molar_mass_g_mol is 0; give a number above 0',
        ),
        (
            {"role": "powder", "charge_meq_g": "much"},
            '": charge_meq_g is "much"; give a number, with a dot as decimal sign',
        ),
        (
            {"role": "powder", "charge_meq_g": float("nan")},
            '": charge_meq_g is nan; give a number, with a dot as decimal sign',
        ),
        (
            {"role": "powder", "water_fraction": True},
            '": water_fraction is true; give a number, or "yes" or "no" in quotation marks',
        ),
        ({"role": "powder", "tags": [1]}, '": tags is a list; give a list of texts'),
        ({"role": "powder", "ph_min": [5]}, '": ph_min is a list; give one value'),
        (
            {"role": "powder", "ph_min": {"a": 5}},
            '": ph_min is a table; give a number, or a text in quotation marks',
        ),
        (
            {"role": "powder", "ph_min": 16**5000},
            '": ph_min is a very large number; give a number from 0 to 14',
        ),
        ({"role": "powder", "inci": 5}, '": inci is 5; give a text in quotation marks'),
        ({"role": "powder", "ph_min": 7, "ph_max": 5}, '": ph_min 7 is above ph_max 5'),
        (
            {"role": "powder", "composition": "Aqua:1"},
            (
                '": composition is "Aqua:1"; write it as [blend."my powder"] with the percent of '
                "each part"
            ),
        ),
        (5, '" is 5; write the heading [ingredient."my powder"] and below it role = "…"'),
    ],
)
def test_own_ingredient_faults(raw, faults, block, message):
    """A block of one's own is held to the columns of the table."""
    raw["ingredient"] = {"my powder": block}
    assert faults(raw) == [f'cream.toml: ingredient "my powder{message}']


def test_own_ingredient_with_unknown_column(raw, faults):
    """A column that the table does not have is answered with the nearest."""
    raw["ingredient"] = {"my powder": {"role": "powder", "water_fracton": 0.5}}
    (message,) = faults(raw)
    assert message.startswith(
        'cream.toml: ingredient "my powder": water_fracton is not known here; did you mean '
        "water_fraction? Allowed are inci, "
    )


def test_own_names_taken_twice(raw, faults):
    """A name belongs to one block, and to a block or a blend, not to both."""
    raw["ingredient"] = {
        "a powder": {"role": "powder"},
        "b powder": {"role": "powder", "aliases": ["A Powder"]},
    }
    raw["blend"] = {"a powder": {"Water": 100}}
    assert faults(raw) == [
        (
            'cream.toml: ingredient "b powder": the name "A Powder" belongs to ingredient "a'
            ' powder" already; give each name once'
        ),
        'cream.toml: blend "a powder" is described as ingredient "a powder" too; keep one of them',
    ]


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("Crème d'Avoine", "creme davoine", True),
        ("Glycerin®", "glycerine", True),
        ("甘油", "丙二醇", False),
        ("1,2-Hexanediol", "1 2 hexanediol", False),
    ],
)
def test_folded(one, other, same):
    """Case, accents, dashes and trade marks do not count; letters of any script do."""
    assert (folded(one) == folded(other)) is same
