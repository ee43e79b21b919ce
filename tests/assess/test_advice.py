"""Labels, cautions, the challenge-test reminder, and what a report does not cover."""

import datetime as dt

import pytest

from preservecheck.assess import advice
from preservecheck.plan.review import review
from tests.helpers import TODAY, case_of, make_formula

PLAIN = {"items": {"Glycerin": 3}, "systems": {"phenoxyethanol": 0.8}}
LEAVE_ON = {"use": "leave-on", "type": "leave-in"}


def labels(formula, **changes):
    """Statements for the pack as one text."""
    return "\n".join(s.line for s in advice.labels(case_of(make_formula(**(formula | changes)))))


def cautions(formula, **changes):
    """Sentences that protect, in order."""
    return advice.cautions(case_of(make_formula(**(formula | changes))))


def covered(formula, **changes):
    """What is not covered, as one text."""
    return "\n".join(advice.not_covered(case_of(make_formula(**(formula | changes)))))


class TestLabels:
    """Statements that a market wants on the pack."""

    @pytest.mark.parametrize(("percent", "there"), [(0.0031, False), (0.0032, True), (0.3, True)])
    def test_formaldehyde(self, percent, there):
        """Above 0.001 % of it: DMDM hydantoin frees 31.91 %, 0.0031 % are 0.00099 and 0.0032 % are
        0.00102 %."""
        assert (
            "“releases formaldehyde”" in labels({"items": {"DMDM Hydantoin": percent}})
        ) is there

    def test_all_releasers_together(self):
        """0.002 % of DMDM hydantoin and 0.002 % of diazolidinyl urea: 0.00064 + 0.00086 = 0.0015
        %."""
        one = labels({"items": {"DMDM Hydantoin": 0.002}})
        both = labels({"items": {"DMDM Hydantoin": 0.002, "Diazolidinyl Urea": 0.002}})
        assert "releases formaldehyde" not in one
        assert "releases formaldehyde" in both
        assert "0.0015 %" in both

    @pytest.mark.parametrize(
        ("day", "words"),
        [
            (dt.date(2026, 7, 14), "“contains formaldehyde”"),
            (dt.date(2026, 7, 15), "“releases formaldehyde”"),
        ],
    )
    def test_day_of_the_new_words(self, day, words):
        """Great Britain changed words and threshold on 2026-07-15: 0.3 % x 0.3191 = 0.096 % is
        above both."""
        text = labels({"items": {"DMDM Hydantoin": 0.3}}, markets=["GB"], on_market=day)
        assert words in text
        assert text.count("formaldehyde”") == 1

    @pytest.mark.parametrize(
        ("use", "percent", "there"),
        [
            ("leave-on", 0.001, False),
            ("leave-on", 0.0011, True),
            ("rinse-off", 0.01, False),
            ("rinse-off", 0.0101, True),
        ],
    )
    def test_benzyl_alcohol_as_allergen(self, use, percent, there):
        """Named above 0.001 % where it stays on and above 0.01 % where it is rinsed off."""
        text = labels({"items": {"Benzyl Alcohol": percent}}, use=use, type="conditioner")
        assert ("Name Benzyl Alcohol" in text) is there

    def test_salicylic_acid(self):
        """Salicylic acid is not for under-threes, whatever the product; a salt says so only where
        it stays on."""
        words = "“Not to be used for children under 3 years of age”"
        assert words in labels({"items": {"Salicylic Acid": 0.2}})
        assert words in labels({"items": {"Sodium Salicylate": 0.2}}, **LEAVE_ON)
        assert words not in labels({"items": {"Sodium Salicylate": 0.2}}, type="shampoo")
        assert words not in labels(PLAIN)

    def test_benzalkonium(self):
        """Keep away from the eyes."""
        assert "“Avoid contact with eyes”" in labels({"systems": {"benzalkonium-chloride": 0.1}})

    def test_only_markets_named(self):
        """Statements carry their market, and only the formula's own appear."""
        one, two = labels(PLAIN), labels(PLAIN, markets=["EU", "GB"])
        assert {line.partition(":")[0] for line in one.splitlines()} == {"EU"}
        assert {line.partition(":")[0] for line in two.splitlines()} == {"EU", "GB"}

    def test_source_stands_beside(self):
        """Each statement ends with its source."""
        assert all(line.endswith("]") and " [" in line for line in labels(PLAIN).splitlines())


class TestCautions:
    """Sentences that fit this formula, this preservative and this pack."""

    @pytest.mark.parametrize(
        ("formula", "changes", "words"),
        [
            (
                {"items": {"DMDM Hydantoin": 0.2}},
                {},
                "Never add a formaldehyde releaser to a hot batch",
            ),
            ({"systems": {"mci-mi": 0.05}}, {}, "strong skin sensitisers"),
            ({"systems": {"bronopol": 0.05}}, {}, "Keep bronopol away from amines"),
            ({"systems": {"benzalkonium-chloride": 0.1}}, {}, "Cationic biocides harm the eyes"),
            ({"items": {"Alcohol": 25}}, {}, "Alcohol burns"),
            ({"items": {"Sodium Hydroxide": 0.1}}, {}, "Add lye to cold water"),
            ({"items": {"Lactic Acid": 0.5}}, {}, "Add strong or concentrated acid"),
            (
                {"items": {"Linum Usitatissimum Seed Extract": 20}},
                {},
                "Fresh gels and infusions spoil",
            ),
            (
                {"items": {"Lavandula Angustifolia Oil": 0.3}},
                {},
                "Essential oils and perfumes can sensitise",
            ),
            (
                {"items": {"Salicylic Acid": 0.2}},
                {"users": "under-3"},
                "not be used in any product for children",
            ),
            ({"systems": {"potassium-sorbate": 0.3}}, {}, "wear a dust mask"),
            (PLAIN, {"package": "jar"}, "A jar lets fingers and water in"),
            (PLAIN, {"package": "spray"}, "Whatever is sprayed can be inhaled"),
            (PLAIN, {"package": "bottle"}, "Do not top up or refill"),
            (PLAIN, {"users": "under-3"}, "Use the mildest preservative"),
            (PLAIN, {"users": "under-10"}, "Use the mildest preservative"),
            (PLAIN, LEAVE_ON, "A leave-on touches skin for hours"),
        ],
    )
    def test_triggers(self, formula, changes, words):
        """The sentence is there with its cause, and not in a plain rinse-off without it."""
        assert any(words in text for text in cautions(formula, **changes))
        assert not any(words in text for text in cautions(PLAIN))

    @pytest.mark.parametrize(("package", "there"), [("bottle", False), ("spray", True)])
    def test_two_causes(self, package, there):
        """Some sentences want both the substance and the pack: dehydroacetic acid in a spray."""
        text = " ".join(
            cautions({"systems": {"benzyl-alcohol-dehydroacetic-acid": 0.8}}, package=package)
        )
        assert ("must not be used in aerosol sprays" in text) is there

    def test_benzyl_alcohol_is_no_perfume(self):
        """Benzyl alcohol brings its own sentence and not the one on essential oils."""
        text = " ".join(cautions({"items": {"Benzyl Alcohol": 0.8}}))
        assert "listed fragrance allergen" in text
        assert "Essential oils" not in text

    def test_this_formula_first(self):
        """What is true of every batch comes last, and no sentence stands twice."""
        found = cautions(PLAIN, package="jar", use="leave-on", type="styling")
        general = [
            c.text
            for c in case_of(make_formula(**PLAIN)).reference.tables.cautions
            if "always" in c.when
        ]
        places = [text in general for text in found]
        assert places == sorted(places)
        assert sum(places) == len(general) > 0
        assert len(set(found)) == len(found)

    def test_what_only_people_see(self):
        """Rows on light, air and packs appear as sentences: sorbate from 0.1 % on."""
        assert any(
            "Potassium Sorbate" in t for t in cautions({"systems": {"potassium-sorbate": 0.3}})
        )
        assert not any(
            "Potassium Sorbate" in t for t in cautions({"items": {"Potassium Sorbate": 0.05}})
        )


class TestChallengeTest:
    """The reminder."""

    @staticmethod
    def of(formula, **changes):
        return review(make_formula(**(formula | changes)), today=TODAY).challenge_test

    def test_water_based(self):
        """A water-based product needs it: three standards, five organisms with strains, days 7, 14
        and 28."""
        test = self.of(PLAIN, ph=5)
        assert test.needed
        assert test.standards == ("ISO 11930", "USP <51>", "Ph. Eur. 5.1.3")
        assert test.days == (7, 14, 28)
        assert len(test.organisms) == 5
        assert "Aspergillus brasiliensis (ATCC 16404)" in test.organisms
        assert "water-based" in test.why[0]
        assert test.sources

    def test_food_and_doubt_are_reasons(self):
        """Food for microbes and figures left open are named as reasons."""
        items = {"Linum Usitatissimum Seed Extract": 30}
        why = " ".join(self.of({"items": items, "systems": {"potassium-sorbate": 0.1}}, ph=6).why)
        assert "Linum Usitatissimum Seed Extract" in why
        assert "open" in why
        plain = " ".join(
            self.of({"items": {"Glycerin": 3}, "systems": {"phenoxyethanol": 0.9}}, ph=6).why
        )
        assert "food for microbes" not in plain
        assert "open" not in plain

    @pytest.mark.parametrize(("activity", "needed"), [(0.74, False), (0.746, True), (None, True)])
    def test_dry(self, activity, needed):
        """Only a measured activity clear of 0.75 (here ± 0.005) spares it; an estimate never
        does."""
        assert self.of({"items": {"Glycerin": 70}}, water_activity=activity).needed is needed

    def test_without_water(self):
        """Oils without water need none, and name no organisms."""
        test = self.of({"items": {"Squalane": 100}, "water": None})
        assert (test.needed, test.organisms, test.standards, test.days) == (False, (), (), ())
        assert "too dry" in test.why[0]

    @pytest.mark.parametrize(
        ("alcohol", "ph", "needed", "word"),
        [
            (20, 5, False, "alcohol"),
            (19.9, 5, True, ""),
            (0, 2.8, False, "pH"),
            (0, 2.95, True, ""),
            (0, 10.2, False, "pH"),
        ],
    )
    def test_low_risk(self, alcohol, ph, needed, word):
        """20 % of alcohol and more, or a pH surely below 3 or above 10, spare it (ISO 29621), and
        the reason is said; 2.95 ± 0.1 is not surely below 3."""
        test = self.of({"items": {"Alcohol": alcohol, "Glycerin": 1}}, ph=ph)
        assert test.needed is needed
        assert word in " ".join(test.why)


class TestNotCovered:
    """What this screen does not look at."""

    def test_always(self):
        """It never claims to judge safety."""
        assert "safety assessor's work" in covered(PLAIN)

    @pytest.mark.parametrize(
        ("formula", "changes", "words"),
        [
            ({"items": {"Behentrimonium Methosulfate": 2}}, {}, "cationic surfactant takes up"),
            ({"items": {"Xanthan Gum": 0.3}}, {}, "gums, polymers and proteins"),
            ({"items": {"Cetearyl Alcohol": 3}}, {}, "Solid waxes and fatty alcohols"),
            (PLAIN, {"ph": 5}, "25 °C is taken"),
            (PLAIN, {"markets": ["US"]}, "no list of allowed preservatives"),
            ({"items": {"DMDM Hydantoin": 0.2}}, {}, "Annex V/preamble-2"),
        ],
    )
    def test_by_formula(self, formula, changes, words):
        """The gap is named where it matters, and only there."""
        assert words in covered(formula, **changes)
        assert words not in covered(PLAIN)

    def test_temperature_of_the_sample_given(self):
        """Where the sample's temperature was written down nothing is assumed."""
        assert "25 °C is taken" not in covered(PLAIN, ph=5, temperature="22 °C")


def test_own_ingredient_is_marked():
    """A material that only this formula knows is named as such."""
    formula = make_formula({"Moon dust": 1}, own={"Moon dust": {"role": "powder"}})
    assert review(formula, today=TODAY).own_rows == ("this formula: Moon dust",)
