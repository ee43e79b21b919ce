"""Lines of a formula: names, amounts, strengths, and that the amounts make a whole."""

import pytest

from preservecheck.formula.build import build

REST = "Mark it with rest = true (in a sheet, qs or rest in place of the amount)"
STRENGTH = "give the percent of active substance, above 0 and up to 100"


def line(raw, **change):
    """Put one line in the place of the glycerin."""
    raw["phase"][0]["items"][1] = change
    return raw


@pytest.mark.parametrize(
    ("item", "message"),
    [
        (
            {"ingredient": "Glycerin", "percent": -3},
            "(Glycerin): percent is -3; give a number from 0 to 100",
        ),
        (
            {"ingredient": "Glycerin", "percent": 101},
            "(Glycerin): percent is 101; give a number from 0 to 100",
        ),
        (
            {"ingredient": "Glycerin", "percent": float("nan")},
            "(Glycerin): percent is nan; give a number from 0 to 100",
        ),
        (
            {"ingredient": "Glycerin", "percent": float("inf")},
            "(Glycerin): percent is inf; give a number from 0 to 100",
        ),
        (
            {"ingredient": "Glycerin", "percent": True},
            "(Glycerin): percent is true; give a number from 0 to 100",
        ),
        (
            {"ingredient": "Glycerin", "percent": "3"},
            '(Glycerin): percent is "3"; give a number from 0 to 100. Numbers go without '
            "quotation marks",
        ),
        (
            {"ingredient": "Glycerin", "percent": "q.s."},
            f'(Glycerin): percent is "q.s."; mark the line as the one that fills up. {REST}',
        ),
        (
            {"ingredient": "Glycerin"},
            (
                "(Glycerin): has no amount; give percent or grams, or mark the one line that fills "
                f"up to 100 %. {REST}"
            ),
        ),
        (
            {"ingredient": "Glycerin", "rest": False},
            (
                "(Glycerin): has no amount; give percent or grams, or mark the one line that fills "
                f"up to 100 %. {REST}"
            ),
        ),
        (
            {"ingredient": "Glycerin", "rest": "yes", "percent": 3},
            '(Glycerin): rest is "yes"; it is true, or left out',
        ),
        (
            {"ingredient": "Glycerin", "rest": True, "percent": 3},
            "(Glycerin): is the rest line and gives percent too; keep one of them",
        ),
        (
            {"ingredient": "Glycerin", "percent": 3, "grams": 15},
            "(Glycerin): gives percent and grams; keep one kind of amount in the whole formula",
        ),
        (
            {"preservative": "phenoxyethanol", "rest": True},
            "(phenoxyethanol): a preservative cannot be the rest line; give its percent",
        ),
        (
            {"ingredient": "Glycerin", "percent": 3, "strength": 0},
            f"(Glycerin): strength is 0; {STRENGTH}",
        ),
        (
            {"ingredient": "Glycerin", "percent": 3, "strength": 100.5},
            f"(Glycerin): strength is 100.5; {STRENGTH}",
        ),
        (
            {"ingredient": "Glycerin", "percent": 3, "strength": "30 %"},
            f'(Glycerin): strength is "30 %"; {STRENGTH}',
        ),
        (
            {"preservative": "phenoxyethanol", "percent": 0.5, "strength": 50},
            (
                "(phenoxyethanol): strength is 50; a preservative takes none: its percent is that"
                " of the system as supplied, and the tables know its composition"
            ),
        ),
        (
            {"ingredient": "Glycerin", "percent": 3, "note": 5},
            "(Glycerin): note is 5; give a text, or leave it out. Text goes in quotation marks",
        ),
        (
            {"ingredient": "Glycerin", "percent": 3, "amont": 5},
            (
                "(Glycerin): amont is not known here; allowed are ingredient, preservative,"
                " percent, grams, rest, strength, note, purpose"
            ),
        ),
        (
            {"ingredient": "Glycerin", "preservative": "phenoxyethanol", "percent": 3},
            "(Glycerin): names an ingredient and a preservative; put them on two lines",
        ),
        (
            {"percent": 3},
            (
                ": names neither an ingredient nor a preservative; give it a name. Write ingredient"
                ' = "…" with a name, or preservative = "…" with the id of a system'
            ),
        ),
        (
            {"ingredient": 7, "percent": 3},
            (": ingredient is 7; give an INCI name or a common name. Text goes in quotation marks"),
        ),
        (
            {"preservative": 7, "percent": 3},
            (
                ": preservative is 7; give the id of a preservative system. Text goes in quotation "
                "marks"
            ),
        ),
        (
            {"preservative": "phenoxyethanl", "percent": 1},
            (
                '(phenoxyethanl): "phenoxyethanl" is not the id of a preservative system; the'
                " nearest are phenoxyethanol. 'preservecheck tables list systems' shows them all"
            ),
        ),
        (
            {"ingredient": "benzyl-alcohol-dehydroacetic-acid", "percent": 1},
            (
                '(benzyl-alcohol-dehydroacetic-acid): "benzyl-alcohol-dehydroacetic-acid" is a'
                " preservative system; its id is benzyl-alcohol-dehydroacetic-acid. On a line write"
                ' preservative = "…" instead of ingredient = "…"; a blend takes the substances in'
                " it, each with its percent"
            ),
        ),
    ],
)
def test_line(raw, faults, item, message):
    """A faulty line is named by its phase, its number and what stands on it."""
    gap = "" if message.startswith(":") else " "
    assert faults(line(raw, **item)) == [f'cream.toml: phase "heated", line 2{gap}{message}']


def test_line_that_is_no_table(raw, faults):
    """A bare name in the list of lines is answered with how a line is written."""
    raw["phase"][0]["items"][1] = "Glycerin"
    assert faults(raw) == [
        'cream.toml: phase "heated", line 2 is "Glycerin"; give a name and an amount. Write '
        'items = [ { ingredient = "Glycerin", percent = 3 } ]'
    ]


def test_strength_on_a_blend(raw, faults):
    """A blend takes no strength: its water is one of its parts."""
    raw["blend"] = {"wax": {"Glycerin": 100}}
    assert faults(line(raw, ingredient="Wax", percent=3, strength=50)) == [
        'cream.toml: phase "heated", line 2 (Wax): strength is 50; "Wax" is a blend and takes none;'
        " write its water as a part of the blend"
    ]


@pytest.mark.parametrize(
    "written", ["GLYCEROL", "vegetable  glycerine", "Glycérin", "coco betaine"]
)
def test_names_are_matched_loosely(raw, tables, written):
    """Aliases count, whatever their case, accents, spacing or spelling."""
    formula = build(line(raw, ingredient=written, percent=3), "cream.toml", tables)
    assert formula.phases[0].lines[1].name == written


BLOCK = """\
[ingredient."Glycerine oil"]
role = ""              # one of: water, humectant, cationic surfactant, anionic surfactant, amphoteric surfactant, \
nonionic surfactant, nonionic emulsifier, solubiliser, cationic polymer, anionic polymer, nonionic polymer, \
fatty alcohol, oil, ester, wax, silicone, protein, botanical, electrolyte, acid, base, chelator, fragrance, vitamin, \
active, powder, preservative, booster, oxidiser, solvent
water_fraction = 0     # share of water in it, 0 to 1
charge = "none"        # one of: none, anionic, cationic, zwitterionic, salt
nutrient_load = "low"  # food for microbes, one of: none, low, medium, high
usual_phase = "cool-down"  # one of: heated water, heated oil, cool-down
"""


def test_unknown_ingredient(raw, faults):
    """An unknown name is answered once, with the nearest names and the block to paste."""
    raw["phase"][1]["items"][0]["ingredient"] = "glycerine oil"
    assert faults(line(raw, ingredient="Glycerine oil", percent=3)) == [
        'cream.toml: phase "heated", line 2 (Glycerine oil) (also phase "cool-down", line 1'
        ' (glycerine oil)): "Glycerine oil" is not a known ingredient; the nearest names are'
        " glycerol or Glycerin. Write a known name, or its composition as a [blend], or add it for"
        " this formula alone: paste this block at the end of the file and fill in the"
        f" role\n\n{BLOCK}"
    ]


def test_the_block_to_paste_is_sound(raw, faults, tables):
    """The block, with a role filled in, makes the formula readable; left without one it is
    refused."""
    import tomllib

    raw = line(raw, ingredient="Glycerine oil", percent=3)
    pasted = tomllib.loads(BLOCK)
    (message,) = faults(raw | pasted)
    assert message.startswith(
        'cream.toml: ingredient "Glycerine oil": role is ""; give water, humectant, cationic'
    )
    pasted["ingredient"]["Glycerine oil"]["role"] = "oil"
    assert build(raw | pasted, "cream.toml", tables).own_ingredients[0].role == "oil"


def test_unknown_ingredient_in_a_sheet(raw, faults):
    """Who keeps sheets is told of the sheet Ingredients instead of a block."""
    (message,) = faults(line(raw, ingredient="Zzz", percent=3), form="sheet")
    assert message.startswith(
        'cream.toml: phase "heated", line 2 (Zzz): "Zzz" is not a known ingredient; no known name'
        " is near. Write one of the known names, or its composition in the sheet Blends, or add it"
        " for this formula alone: a sheet Ingredients with the columns ingredient, role, water"
        " fraction, charge, nutrient load, usual phase and a row for it. The roles are: water,"
        " humectant,"
    )


def amounts(raw, unit, *values):
    """A formula of one phase whose lines have these amounts; None is the rest line."""
    names = ("Water", "Glycerin", "Cetearyl Alcohol", "Avena Sativa Kernel Extract")
    raw["phase"] = [
        {
            "name": "all",
            "items": [
                {"ingredient": n, **({"rest": True} if v is None else {unit: v})}
                for n, v in zip(names, values, strict=False)
            ],
        }
    ]
    return raw


@pytest.mark.parametrize(
    "values", [(97, 3), (97, 2.9), (97.1, 3), (None, 100), (None, 0), (33.3, 33.3, 33.3)]
)
def test_percent_that_makes_a_whole(raw, tables, values):
    """Percents come to 100 ± 0.1, or leave something for the rest line."""
    assert build(amounts(raw, "percent", *values), "cream.toml", tables).amounts == "percent"


@pytest.mark.parametrize(
    ("values", "message"),
    [
        (
            (97, 2.8),
            (
                "the amounts add up to 99.8 %; they must come to 100 ± 0.1 %: correct them, or"
                f" mark the line that fills up, often water. {REST}"
            ),
        ),
        (
            (97.2, 3),
            (
                "the amounts add up to 100.2 %; they must come to 100 ± 0.1 %: correct them, or"
                f" mark the line that fills up, often water. {REST}"
            ),
        ),
        (
            (None, 60, 40.01),
            (
                "the lines without the rest line add up to 100.01 %, so nothing is left for it;"
                " correct the amounts so that they stay below 100 %"
            ),
        ),
        (
            (None, None, 3),
            (
                '2 lines are marked as rest (phase "all", line 1 (Water); phase "all", line 2'
                " (Glycerin)); one line alone can fill up to 100 %"
            ),
        ),
    ],
)
def test_percent_that_makes_none(raw, faults, values, message):
    """A sum beside 100, a negative rest and two rest lines are refused."""
    assert faults(amounts(raw, "percent", *values)) == [f"cream.toml: {message}"]


@pytest.mark.parametrize(
    ("batch", "values"), [(None, (480, 15)), ("500 g", (None, 20)), ("1 kg", (480, 15))]
)
def test_grams(raw, tables, batch, values):
    """Grams without a rest line are the whole by themselves; with one they fit into the batch."""
    if batch:
        raw["product"]["batch"] = batch
    formula = build(amounts(raw, "grams", *values), "cream.toml", tables)
    assert formula.amounts == "grams"
    assert [x.amount for x in formula.phases[0].lines] == list(values)


@pytest.mark.parametrize(
    ("batch", "values", "message"),
    [
        (
            None,
            (None, 20),
            (
                "product.batch is missing; with grams and a rest line give the size of the batch, "
                'such as "500 g"'
            ),
        ),
        (
            "500 g",
            (None, 501),
            (
                "the lines without the rest line add up to 501 g, more than the batch (500 g),"
                " so nothing is left for the rest line; correct the amounts or the batch"
            ),
        ),
        (None, (0, 0), "the amounts add up to 0 g; give the grams of each line"),
        (
            "500",
            (None, 20),
            (
                'product.batch: "500" has no unit; give a mass in mg, g, kg, oz or lb, such as '
                '"500 g" or "17 oz"'
            ),
        ),
        (
            None,
            (-1, 20),
            'phase "all", line 1 (Water): grams is -1; give the grams as a number from 0',
        ),
    ],
)
def test_grams_that_make_no_whole(raw, faults, batch, values, message):
    """Grams need a batch to fill up, and one that is large enough."""
    if batch:
        raw["product"]["batch"] = batch
    assert faults(amounts(raw, "grams", *values)) == [f"cream.toml: {message}"]


def test_percent_and_grams_mixed(raw, faults):
    """One kind of amount in a file: the first line of each kind is named."""
    raw["phase"][1]["items"][0] = {"ingredient": "Glycerin", "grams": 5}
    assert faults(raw) == [
        'cream.toml: percent and grams are mixed (phase "heated", line 2 (Glycerin) gives percent,'
        ' phase "cool-down", line 1 (Glycerin) gives grams); keep one kind in the whole formula'
    ]


def test_too_many_lines(raw, faults):
    """A list longer than any recipe is refused before it is read line by line."""
    raw["phase"][0]["items"] *= 3000
    assert faults(raw) == ["cream.toml: the formula has 6,002 lines; at most 5,000 are read"]
