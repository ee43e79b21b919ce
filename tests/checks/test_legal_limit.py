"""Check legal-limit: is it allowed, in this amount, in this product, in each market named?

The entries of the law themselves are held against the regulation in
tests/outside/test_legal_entries.py.
"""

import datetime as dt

import pytest

from preservecheck.plan.review import review
from preservecheck.reference.load import load_tables
from tests.helpers import (
    TODAY,
    every_row,
    make_formula,
    outcome,
    run_check,
    same_alone_and_together,
    value,
)

ID = "legal-limit"
LEAVE_ON = {"use": "leave-on", "type": "leave-in"}


def by_entry(formula, entry, **changes):
    """The only finding about an entry, named as 'EU, Annex V/29'."""
    found = [
        f
        for f in every_row(ID, make_formula(**(formula | changes)))
        if f.because.startswith(f"{entry}:")
    ]
    assert len(found) == 1, [f.because for f in found]
    return found[0]


@pytest.mark.parametrize(
    ("percent", "expected"), [(0.5, "pass"), (1.0, "pass"), (1.001, "serious")]
)
def test_plain_limit(percent, expected):
    """Phenoxyethanol, Annex V/29, 1.0 % as weighed: the limit itself is allowed."""
    found = by_entry({"items": {"Phenoxyethanol": percent}}, "EU, Annex V/29")
    assert (value(found, "percent_as_limited"), value(found, "percent_max")) == (
        pytest.approx(percent),
        1.0,
    )
    assert (outcome(found), found.about, found.chance) == (expected, "Phenoxyethanol × EU", None)


def test_carried_in_counts():
    """What a raw material brings is added: 0.95 + 5 % of 2 % = 1.05 %, and both origins are
    named."""
    formula = {
        "items": {"extract": 5},
        "blends": {"extract": {"Glycerin": 98, "Phenoxyethanol": 2}},
        "systems": {"phenoxyethanol": 0.95},
    }
    found = by_entry(formula, "EU, Annex V/29")
    assert value(found, "percent_as_limited") == pytest.approx(1.05)
    assert outcome(found) == "serious"
    assert "phenoxyethanol (0.95 %)" in (found.do or "")
    assert "extract (0.1 %)" in (found.do or "")


class TestBasis:
    """The total stands on the basis that the rule names."""

    @pytest.mark.parametrize(
        ("percent", "as_acid", "expected"), [(0.59, 0.5000, "pass"), (0.591, 0.50085, "serious")]
    )
    def test_salt_as_acid(self, percent, as_acid, expected):
        """Sodium benzoate as benzoic acid, 122.12/144.10 = 0.84747: 0.59 % is 0.5000 %."""
        found = by_entry({"items": {"Sodium Benzoate": percent}}, "EU, Annex V/1", **LEAVE_ON)
        assert value(found, "percent_as_limited") == pytest.approx(as_acid, abs=5e-5)
        assert outcome(found) == expected

    def test_acid_and_salt_together(self):
        """0.3 % of the acid and 0.3 % of the salt are 0.3 + 0.2542 = 0.5542 % as acid."""
        found = by_entry(
            {"items": {"Sodium Benzoate": 0.3, "Benzoic Acid": 0.3}}, "EU, Annex V/1", **LEAVE_ON
        )
        assert value(found, "percent_as_limited") == pytest.approx(0.5542, abs=5e-5)
        assert outcome(found) == "serious"

    @pytest.mark.parametrize(("percent", "expected"), [(0.0040, "pass"), (0.0041, "serious")])
    def test_silver(self, percent, expected):
        """Silver citrate as silver: 0.2 % of a mixture with 2 % citrate, 0.004 %, stands for 0.0024
        % silver."""
        found = by_entry({"items": {"Silver Citrate": percent}}, "EU, Annex V/59")
        assert value(found, "percent_max") == 0.0024
        assert "counted as Silver" in found.because
        assert outcome(found) == expected

    def test_formaldehyde(self):
        """Hydroxymethylglycinate 0.4 % with 0.11 % DMDM hydantoin: 0.4 x 0.2363 + 0.11 x 0.3191 =
        0.1296 %."""
        formula = {"items": {"Sodium Hydroxymethylglycinate": 0.4, "DMDM Hydantoin": 0.11}}
        found = [f for f in run_check(ID, formula) if "counted as Formaldehyde" in f.because]
        assert len(found) == 1
        assert value(found[0], "percent_as_limited") == pytest.approx(0.1296, abs=2e-4)
        assert outcome(found[0]) == "serious"

    def test_that_gate_opens_only_with_its_substance(self):
        """Without hydroxymethylglycinate the total of formaldehyde is no limit, only a label."""
        found = run_check(ID, {"items": {"DMDM Hydantoin": 0.5, "Imidazolidinyl Urea": 0.3}})
        assert not [f for f in found if "counted as Formaldehyde" in f.because]
        assert {outcome(f) for f in found} == {"pass"}


class TestSums:
    """Groups are summed, and sums lie inside sums."""

    def test_parabens(self):
        """0.4 % methyl, 0.4 % ethyl, 0.15 % propyl: each passes, together they are 0.363 + 0.332 +
        0.115 = 0.811 %."""
        formula = {"items": {"Methylparaben": 0.4, "Ethylparaben": 0.4, "Propylparaben": 0.15}}
        found = every_row(ID, make_formula(**formula))
        total = [f for f in found if value(f, "percent_max") == 0.8]
        single = [value(f, "percent_as_limited") for f in found if value(f, "percent_max") == 0.4]
        assert sorted(single) == pytest.approx([0.3325, 0.3631], abs=1e-4)
        assert [value(f, "percent_as_limited") for f in total] == pytest.approx([0.8106], abs=1e-4)
        assert sorted(outcome(f) for f in found) == ["pass", "pass", "pass", "serious"]
        assert outcome(total[0]) == "serious"

    def test_inner_and_outer(self):
        """C16 + C18 2.4 % is under 2.5 %, with 3 % of C22 the outer sum of 5.4 % is over 5 %."""
        items = {
            "Cetrimonium Chloride": 2.0,
            "Steartrimonium Chloride": 0.4,
            "Behentrimonium Chloride": 3.0,
        }
        inner = by_entry({"items": items}, "EU, Annex III/286")
        outer = by_entry({"items": items}, "EU, Annex III/287")
        assert (value(inner, "percent_as_limited"), outcome(inner)) == (pytest.approx(2.4), "pass")
        assert (value(outer, "percent_as_limited"), outcome(outer)) == (
            pytest.approx(5.4),
            "serious",
        )


class TestOneFindingForOneMatter:
    """A report shows one row of several about the same substances in the same market."""

    def test_worst(self):
        """Of several the worst is shown: 0.19 % propylparaben is over V/12a and under the total of
        V/12."""
        (found,) = run_check(ID, {"items": {"Propylparaben": 0.19}})
        assert (outcome(found), value(found, "percent_max")) == ("serious", 0.14)

    @pytest.mark.parametrize("percent", [0.10, 1.2])
    def test_tightest(self, percent):
        """Of several alike the tightest limit is shown: 0.14 % for propylparaben, not the total of
        0.8 %."""
        (found,) = run_check(ID, {"items": {"Propylparaben": percent}})
        assert value(found, "percent_max") == 0.14


class TestPurpose:
    """The same quat is a conditioner in the formula's own lines and a preservative as a system."""

    def test_conditioner(self):
        """1 % as a conditioner is under Annex III/286 and not under the 0.1 % of Annex V/44."""
        found = run_check(ID, {"items": {"Cetrimonium Chloride": 1.0}})
        assert not [f for f in found if "Annex V/44" in f.because]
        assert {outcome(f) for f in found} == {"pass"}

    def test_preservative(self):
        """1 % of the preservative system is 0.29 % of the quat, above 0.1 %."""
        found = by_entry({"systems": {"cetrimonium-chloride": 1.0}}, "EU, Annex V/44")
        assert (value(found, "percent_as_limited"), outcome(found)) == (
            pytest.approx(0.29),
            "serious",
        )


class TestScopes:
    """The narrowest rule that fits counts."""

    @pytest.mark.parametrize(
        ("use", "type_", "expected"),
        [("rinse-off", "shampoo", "pass"), ("leave-on", "leave-in", "serious")],
    )
    def test_use(self, use, type_, expected):
        """Methylisothiazolinone 0.0015 % may be rinsed off and may not stay on."""
        found = by_entry(
            {"items": {"Methylisothiazolinone": 0.0015}}, "EU, Annex V/57", use=use, type=type_
        )
        assert outcome(found) == expected

    @pytest.mark.parametrize(
        ("use", "type_", "percent", "expected"),
        [
            ("rinse-off", "shampoo", 0.5, "pass"),
            ("rinse-off", "shampoo", 0.51, "serious"),
            ("rinse-off", "mask", 0.1, "serious"),
            ("rinse-off", "conditioner", 0.1, "serious"),
            ("leave-on", "styling", 0.2, "warn"),
            ("leave-on", "styling", 0.21, "serious"),
        ],
    )
    def test_closed_list(self, use, type_, percent, expected):
        """Climbazole, Annex V/32: shampoo 0.5 %, hair lotion 0.2 %, nothing else; another leave-on
        may be a lotion."""
        found = run_check(ID, {"items": {"Climbazole": percent}}, use=use, type=type_)
        assert [outcome(f) for f in found] == [expected]
        assert "Annex V/32" in found[0].because

    @pytest.mark.parametrize(
        ("users", "type_", "expected"),
        [
            ("adults", "conditioner", "pass"),
            ("under-3", "conditioner", "serious"),
            ("under-3", "shampoo", "pass"),
        ],
    )
    def test_children(self, users, type_, expected):
        """Iodopropynyl butylcarbamate, Annex V/56: for under-threes only in bath, shower and
        shampoo."""
        found = run_check(
            ID, {"items": {"Iodopropynyl Butylcarbamate": 0.01}}, users=users, type=type_
        )
        assert max((outcome(f) for f in found), key=["pass", "warn", "serious"].index) == expected

    def test_any_spray(self):
        """Ethyl lauroyl arginate, Annex V/58: no spray of any kind."""
        formula = {"items": {"Ethyl Lauroyl Arginate HCl": 0.3}}
        assert {outcome(f) for f in run_check(ID, formula, package="bottle")} == {"pass"}
        assert "serious" in {outcome(f) for f in run_check(ID, formula, package="spray")}

    def test_what_may_be_inhaled(self):
        """Polyaminopropyl biguanide, Annex V/28: whether a pump spray is inhaled hangs on its
        drops, so it warns."""
        found = every_row(ID, make_formula({"Polyaminopropyl Biguanide": 0.08}, package="spray"))
        assert sorted(outcome(f) for f in found) == ["pass", "warn"]


class TestDays:
    """The law of the day on which it is placed on the market."""

    @pytest.mark.parametrize(
        ("day", "expected"), [(dt.date(2026, 4, 30), "serious"), (dt.date(2026, 5, 1), "pass")]
    )
    def test_new_text(self, day, expected):
        """Sodium o-phenylphenate came back on 2026-05-01; 0.1 % is 0.0886 % as the phenol, under
        0.2 %."""
        found = run_check(ID, {"items": {"Sodium o-Phenylphenate": 0.1}}, on_market=day)
        assert [outcome(f) for f in found if "Annex V/7" in f.because] == [expected]

    def test_today_where_no_day_is_named(self):
        """A file without a day is judged by the law of today."""
        # the helper's today is 2026-11-25
        found = run_check(ID, {"items": {"Sodium o-Phenylphenate": 0.1}}, on_market=None)
        assert [outcome(f) for f in found if "Annex V/7" in f.because] == ["pass"]


class TestMarkets:
    """Each market gets its own verdict."""

    def test_each(self):
        """Benzyl alcohol 1.1 %: above the EU's 1.0 %; that Japan's list does not have it was only
        recalled."""
        formula = {"items": {"Benzyl Alcohol": 1.1}, "markets": ["EU", "JP"]}
        assert outcome(by_entry(formula, "EU, Annex V/34")) == "serious"
        assert outcome(by_entry(formula, "JP, Appendix 3 (absent)")) == "warn"

    def test_only_those_named(self):
        """A market that the formula does not name is not judged."""
        found = run_check(ID, {"items": {"Benzyl Alcohol": 0.8}})
        assert {f.about.rpartition(" × ")[2] for f in found} == {"EU"}

    def test_advice_is_no_law(self):
        """A panel's figure warns above it and is named as advice: bronopol 0.1 % in the US."""
        formula = {"items": {"2-Bromo-2-Nitropropane-1,3-Diol": 0.11}, "markets": ["US"]}
        found = [f for f in run_check(ID, formula) if value(f, "percent_max") == 0.1]
        assert [outcome(f) for f in found] == ["warn"]
        assert "not law" in found[0].because

    def test_unconfirmed(self):
        """A market whose figure could not be confirmed is unknown, never passed."""
        found = run_check(ID, {"items": {"Phenoxyethanol": 0.5}, "markets": ["CA"]})
        assert [outcome(f) for f in found] == ["unknown"]

    def test_no_rule(self):
        """A preservative on no list of a market is unknown there: p-anisic acid in the EU."""
        found = run_check(ID, {"items": {"p-Anisic Acid": 0.1}})
        assert [(outcome(f), f.about) for f in found] == [("unknown", "p-Anisic Acid × EU")]
        assert found[0].value("percent_max") is None


def test_banned():
    """Zinc pyrithione is banned, in any amount."""
    found = by_entry({"items": {"Zinc Pyrithione": 0.0001}}, "EU, Annex II/1670")
    assert (outcome(found), value(found, "percent_max")) == ("serious", 0)


def test_nothing_to_judge():
    """Without a substance that a rule names there is no finding."""
    assert run_check(ID, {"items": {"Glycerin": 3}}) == []


def test_source_names_entry_and_state():
    """The source says which entry and which state of the law was read."""
    text = " ".join(by_entry({"items": {"Phenoxyethanol": 0.5}}, "EU, Annex V/29").sources)
    assert "1223/2009" in text
    assert "state of 20" in text


def test_batch():
    """A batch reads like its formulas one by one."""
    same_alone_and_together(
        ID,
        make_formula(
            {"Benzoic Acid": 0.2, "p-Anisic Acid": 0.1},
            {"sodium-benzoate": 0.4},
            markets=["EU", "GB", "JP"],
        ),
        make_formula(
            {"Cetrimonium Chloride": 1},
            {"mci-mi": 0.1},
            use="leave-on",
            type="scalp",
            markets=["US", "CA"],
            users="under-3",
            package="spray",
        ),
        make_formula({"Glycerin": 3}, on_market=None),
        make_formula({"Sodium Hydroxymethylglycinate": 0.45}),
    )


@pytest.mark.parametrize("systems", [{"phenoxyethanol": 0.5}, {}])
def test_market_without_rows_is_unknown(tmp_path, systems):
    """A market that the tables only name is never passed over: its law and its labels are
    unknown."""
    (tmp_path / "markets.csv").write_text("id,name\nNZ,New Zealand\n", encoding="utf-8")
    tables = load_tables(tmp_path)
    formula = make_formula({}, systems, tables=tables, markets=["NZ"])
    report = review(formula, tables, today=TODAY)
    about = [(f.about, f.verdict, f.because) for f in report.checks if f.id == ID]
    assert about == [("NZ", "unknown", "NZ: the tables hold nothing of its law.")]
    assert [statement.market for statement in report.labels] == ["NZ"]
    assert "no rules on labels" in report.labels[0].text
