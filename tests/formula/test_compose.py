"""From a formula to amounts: blends, strengths, the rest line, recognised preservatives,
temperatures."""

import pytest

from preservecheck.formula.amounts import temperatures
from preservecheck.formula.model import Phase
from preservecheck.reference.load import load_tables
from tests.helpers import compose, make_formula

WATER = {"ingredient": "Water", "rest": True}


def lines(*items, **fields):
    """One phase with these lines, and fields of the product."""
    return compose(make_formula(phases=[{"name": "all", "items": list(items)}], **fields))


def portions(composition):
    """Substance to percent, origin and whether it was carried in, in order."""
    return [
        (p.substance, pytest.approx(p.percent), p.origin, p.carried_in)
        for p in composition.portions
    ]


class TestAmounts:
    """Percent and grams of every line."""

    def test_rest_fills_to_hundred(self):
        """The rest line takes 100 - 3 - 0.8 = 96.2 %."""
        c = lines(
            WATER,
            {"ingredient": "Glycerin", "percent": 3},
            {"preservative": "phenoxyethanol", "percent": 0.8},
        )
        assert [w.percent for w in c.lines] == pytest.approx([96.2, 3, 0.8])
        assert [w.rest for w in c.lines] == [True, False, False]
        assert [w.grams for w in c.lines] == [None, None, None]

    def test_batch_gives_grams(self):
        """Of 250 g, 0.8 % are 2 g."""
        c = lines(WATER, {"preservative": "phenoxyethanol", "percent": 0.8}, batch="250 g")
        assert [w.grams for w in c.lines] == pytest.approx([248, 2])
        assert c.systems[0].grams == pytest.approx(2)

    def test_grams_without_rest_are_the_whole(self):
        """150 g and 50 g are 75 % and 25 % of 200 g."""
        c = lines({"ingredient": "Water", "grams": 150}, {"ingredient": "Glycerin", "grams": 50})
        assert [w.percent for w in c.lines] == pytest.approx([75, 25])
        assert [w.grams for w in c.lines] == pytest.approx([150, 50])

    def test_grams_with_rest_need_the_batch(self):
        """20 g of glycerin in 400 g are 5 %, and the rest is 380 g."""
        c = lines(WATER, {"ingredient": "Glycerin", "grams": 20}, batch="400 g")
        assert [w.percent for w in c.lines] == pytest.approx([95, 5])
        assert [w.grams for w in c.lines] == pytest.approx([380, 20])

    def test_total_adds_all_origins(self):
        """Glycerin from its own line and from a blend: 3 + 4 x 0.75 = 6 %."""
        c = compose(
            make_formula(
                {"Glycerin": 3, "extract": 4}, blends={"extract": {"Glycerin": 75, "Water": 25}}
            )
        )
        assert c.total("Glycerin") == pytest.approx(6)
        assert c.total("Aqua") == pytest.approx(94)


class TestBlends:
    """Raw materials with a composition of their own."""

    def test_opened(self):
        """5 % of a wax with 75 and 25 % are 3.75 and 1.25 %, with the blend as origin, and carried
        in."""
        blends = {"my wax": {"Cetearyl alcohol": 75, "Behentrimonium methosulfate": 25}}
        c = compose(make_formula({"My Wax": 5}, blends=blends))
        assert portions(c)[1:] == [
            ("Cetearyl Alcohol", pytest.approx(3.75), "my wax", True),
            ("Behentrimonium Methosulfate", pytest.approx(1.25), "my wax", True),
        ]

    def test_nested(self):
        """10 % of an outer blend with 40 % of an inner one with 5 % phenoxyethanol: 10 x 0.4 x 0.05
        = 0.2 %."""
        blends = {
            "outer": {"inner": 40, "Glycerin": 60},
            "inner": {"Phenoxyethanol": 5, "Water": 95},
        }
        c = compose(make_formula({"outer": 10}, blends=blends))
        assert c.total("Phenoxyethanol") == pytest.approx(0.2)
        assert c.total("Glycerin") == pytest.approx(6)
        # 90 % of the rest line, 10 x 0.4 x 0.95 from inside
        assert c.total("Aqua") == pytest.approx(93.8)
        assert {p.origin for p in c.portions if p.substance == "Phenoxyethanol"} == {"inner"}

    def test_carried_in_preservative(self):
        """It counts as preservative for the law, and is no system of the maker's choice."""
        c = compose(
            make_formula({"extract": 5}, blends={"extract": {"Glycerin": 99, "Phenoxyethanol": 1}})
        )
        carried = [p for p in c.portions if p.substance == "Phenoxyethanol"]
        assert [(p.percent, p.carried_in, p.preserving) for p in carried] == [
            (pytest.approx(0.05), True, True)
        ]
        assert (c.systems, c.additions) == ((), ())

    def test_usual_blend_of_the_tables(self):
        """A name that always means a blend is opened by the tables' split, and the report says
        so."""
        c = compose(make_formula({"Behentrimonium Methosulfate (and) Cetearyl Alcohol": 4}))
        assert c.total("Behentrimonium Methosulfate") == pytest.approx(1)
        assert c.total("Cetearyl Alcohol") == pytest.approx(3)
        assert len(c.remarks) == 1
        assert "25 % Behentrimonium Methosulfate, 75 % Cetearyl Alcohol" in c.remarks[0]


class TestStrength:
    """Goods that are sold as a solution."""

    def test_on_the_line(self):
        """10 % of a 30 % solution: 3 % of it and 7 % of water, and nothing to remark."""
        c = lines(WATER, {"ingredient": "Cocamidopropyl betaine", "percent": 10, "strength": 30})
        assert portions(c)[1:] == [
            ("Cocamidopropyl Betaine", pytest.approx(3), "Cocamidopropyl betaine", False),
            ("Aqua", pytest.approx(7), "Cocamidopropyl betaine", False),
        ]
        assert c.remarks == ()

    def test_in_the_name(self):
        """An alias that means a solution brings its strength; every such alias of the tables
        does."""
        solutions = [
            (i.inci, *a.rpartition("@")[::2])
            for i in load_tables().ingredients
            for a in i.aliases
            if "@" in a
        ]
        assert solutions
        for inci, alias, strength in solutions:
            row = next(i for i in load_tables().ingredients if i.inci == inci)
            if row.composition:
                continue
            c = compose(make_formula({alias: 10}))
            assert c.total(inci) == pytest.approx(10 * float(strength) / 100), alias

    def test_line_wins_over_name(self):
        """The strength on the line counts before that in the name."""
        inci, alias, strength = next(
            (i.inci, *a.rpartition("@")[::2])
            for i in load_tables().ingredients
            for a in i.aliases
            if "@" in a and not i.composition
        )
        assert float(strength) != 12
        c = lines(WATER, {"ingredient": alias, "percent": 10, "strength": 12})
        assert c.total(inci) == pytest.approx(1.2)

    def test_taken_as_pure(self):
        """What is hardly ever sold pure and has no strength is taken as pure, with a remark that
        says what to write."""
        row = next(i for i in load_tables().ingredients if i.inci == "Sodium Laureth Sulfate")
        assert row.sold_as_percent == 28
        c = compose(make_formula({"Sodium Laureth Sulfate": 10}))
        assert c.total("Sodium Laureth Sulfate") == pytest.approx(10)
        assert len(c.remarks) == 1
        assert "taken as pure" in c.remarks[0]
        assert "write its strength on its line" in c.remarks[0]

    def test_pure_substance(self):
        """What is sold pure needs no remark."""
        assert compose(make_formula({"Glycerin": 10})).remarks == ()


class TestSystems:
    """Preservative systems, named or recognised."""

    def test_named(self):
        """A named system opens into its parts, with its id as origin; 0.8 % hold 0.87 and 0.08 of
        it."""
        c = compose(make_formula({"Glycerin": 3}, {"benzyl-alcohol-dehydroacetic-acid": 0.8}))
        assert [(p.substance, pytest.approx(p.percent), p.origin) for p in c.portions][2:] == [
            ("Benzyl Alcohol", 0.696, "benzyl-alcohol-dehydroacetic-acid"),
            ("Dehydroacetic Acid", 0.064, "benzyl-alcohol-dehydroacetic-acid"),
            ("Aqua", 0.04, "benzyl-alcohol-dehydroacetic-acid"),
        ]
        assert [(s.id, s.percent, s.declared) for s in c.systems] == [
            ("benzyl-alcohol-dehydroacetic-acid", 0.8, True)
        ]

    def test_recognised(self):
        """A plain line of a single active is its system, not declared."""
        c = compose(make_formula({"Phenoxyethanol": 0.7}))
        assert [(s.id, s.percent, s.declared) for s in c.systems] == [
            ("phenoxyethanol", 0.7, False)
        ]
        assert [(a.system, a.line) for a in c.additions] == [(0, 1)]

    def test_recognised_in_a_solution(self):
        """DMDM hydantoin 0.11 % pure is 0.2 % of the system, which is a 55 % solution."""
        c = compose(make_formula({"DMDM Hydantoin": 0.11}))
        assert [(s.id, pytest.approx(s.percent)) for s in c.systems] == [("dmdm-hydantoin", 0.2)]

    def test_named_and_recognised_add_up(self):
        """0.4 % by name and 0.3 % by its INCI name are 0.7 % of one declared system with two
        additions."""
        c = compose(make_formula({"Phenoxyethanol": 0.3}, {"phenoxyethanol": 0.4}))
        assert [(s.id, pytest.approx(s.percent), s.declared) for s in c.systems] == [
            ("phenoxyethanol", 0.7, True)
        ]
        assert len(c.additions) == 2

    def test_stand_in(self):
        """An active without a system row gets one for this formula: what is not known stays
        unknown."""
        c = compose(make_formula({"o-Cymen-5-ol": 0.1}))
        assert [(s.id, s.percent, s.declared) for s in c.systems] == [("o-cymen-5-ol", 0.1, False)]
        (row,) = c.extra_systems
        assert (row.id, row.composition) == ("o-cymen-5-ol", (("o-Cymen-5-ol", 1.0),))
        assert (row.usage_min_percent, row.usage_max_percent, row.heat_limit_c, row.mould) == (
            None,
            None,
            None,
            None,
        )

    def test_stand_in_knows_what_the_active_knows(self):
        """The heat limit of the active serves where no system row is there."""
        row = next(a for a in load_tables().actives if a.inci == "Undecylenic Acid")
        c = compose(make_formula({"Undecylenic Acid": 0.1}))
        assert c.extra_systems[0].heat_limit_c == row.heat_limit_c == 60

    def test_alcohol(self):
        """Alcohol is a system from 20 % on; below it is a solvent."""
        assert compose(make_formula({"Alcohol": 19.9})).systems == ()
        assert [s.id for s in compose(make_formula({"Alcohol": 20})).systems] == [
            "ethanol-20-percent-or-more"
        ]

    def test_nothing_from_nothing(self):
        """A line of 0 % is no preservative."""
        assert compose(make_formula({"Phenoxyethanol": 0})).systems == ()

    def test_quat_is_a_preservative_only_as_a_system(self):
        """A conditioning quat counts as preservative for the law where the maker names it as a
        system."""
        named = compose(make_formula({}, {"cetrimonium-chloride": 1}))
        plain = compose(make_formula({"Cetrimonium Chloride": 1}))
        assert [p.preserving for p in named.portions if p.substance == "Cetrimonium Chloride"] == [
            True
        ]
        assert [p.preserving for p in plain.portions if p.substance == "Cetrimonium Chloride"] == [
            False
        ]

    def test_own_ingredient(self):
        """A preservative that only this formula knows is recognised and stands in for itself."""
        own = {"Secret blend": {"role": "preservative"}}
        c = compose(make_formula({"Secret blend": 0.5}, own=own))
        assert [(s.id, s.percent) for s in c.systems] == [("secret-blend", 0.5)]


def phase(name, **fields):
    """A phase without lines."""
    return Phase(name=name, lines=(), **fields)


class TestTemperatures:
    """Temperature of the batch when a phase goes in, and the highest one met from then on."""

    HOT, COOL = phase("hot", heated_to_c=75), phase("cool", added_at_c=40)

    @pytest.mark.parametrize(
        ("phases", "at", "expected"),
        [
            ((HOT, COOL), 0, (75, 75)),  # heated itself
            ((HOT, COOL), 1, (40, 40)),  # goes in when the batch has cooled
            ((COOL, HOT), 0, (40, 75)),  # heated afterwards
            (
                (COOL, phase("hot", heated_to_c=75, added_at_c=35)),
                0,
                (40, 40),
            ),  # the later hot part meets a cool batch
            ((COOL, phase("warm", added_at_c=55)), 0, (40, 55)),  # the batch was warm again
            (
                (phase("melted", heated_to_c=80, added_at_c=38),),
                0,
                (38, 80),
            ),  # heated by itself before it goes in
            ((phase("x"),), 0, (25, 25)),  # nothing is heated: room temperature
            ((phase("x"), HOT), 0, (None, 75)),  # only a later heat is known
            (
                (HOT, phase("x")),
                1,
                (None, None),
            ),  # an earlier heat says nothing about a later phase
            ((phase("cold", added_at_c=-5), phase("x")), 0, (-5, 25)),  # the rest is at room
        ],
    )
    def test_cases(self, phases, at, expected):
        """Each case as its remark says."""
        assert temperatures(phases)[at] == expected

    def test_in_a_composition(self):
        """A cool-down phase in °F arrives in °C: 104 °F are 40 °C."""
        phases = [
            {"name": "hot", "heated_to": "75 °C", "items": [WATER]},
            {
                "name": "cool",
                "added_at": "104 °F",
                "items": [{"preservative": "phenoxyethanol", "percent": 0.8}],
            },
        ]
        (addition,) = compose(make_formula(phases=phases)).additions
        assert (addition.temperature_c, addition.peak_c) == (pytest.approx(40), pytest.approx(40))
        assert (addition.phase, addition.line) == (1, 1)
