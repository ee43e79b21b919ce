"""Rows of the law against the statutes as they were read: bans by state, exclusions, label words."""

import datetime as dt

import pytest

from preservecheck.reference.load import load_tables

ROWS = load_tables().legal_limits
LABELS = load_tables().label_rules


def ban(market, region, substance, day, scope="all"):
    """Whether a read row bans a substance on a day."""
    return any(
        r.kind == "ban"
        and r.basis == "published"
        and (r.market, r.region, r.scope) == (market, region, scope)
        and substance in r.substances
        and (r.in_force_from is None or r.in_force_from <= day)
        and (r.in_force_to is None or day <= r.in_force_to)
        for r in ROWS
    )


@pytest.mark.parametrize(
    ("region", "substance", "first"),
    [
        ("Washington", "Triclosan", "2025-01-01"),  # RCW 70A.560.020
        ("Washington", "Formaldehyde", "2025-01-01"),
        ("Washington", "Thimerosal", "2025-01-01"),
        ("Washington", "DMDM Hydantoin", "2027-01-01"),  # WAC 173-339-110
        ("Washington", "Tosylamide/Formaldehyde Resin", "2027-01-01"),
        ("Oregon", "Triclosan", "2027-01-01"),  # ORS 431A.345
        ("Oregon", "Imidazolidinyl Urea", "2027-01-01"),
        ("Vermont", "Triclosan", "2026-01-01"),  # 9 V.S.A. 2494b
        ("Vermont", "Quaternium-15", "2026-01-01"),
        ("Vermont", "Isobutylparaben", "2026-01-01"),
        ("Maryland", "Formaldehyde", "2025-01-01"),  # Health-General 21-259.2
        ("Maryland", "Isopropylparaben", "2025-01-01"),
        ("California", "Quaternium-15", "2025-01-01"),  # HSC 108980
    ],
)
def test_state_bans_begin_on_their_day(region, substance, first):
    """The day before it is allowed, on the day itself it is banned."""
    day = dt.date.fromisoformat(first)
    assert ban("US", region, substance, day)
    assert not ban("US", region, substance, day - dt.timedelta(days=1))


@pytest.mark.parametrize(
    ("region", "substance"), [("Vermont", "DMDM Hydantoin"), ("Maryland", "Triclosan")]
)
def test_what_a_state_does_not_ban(region, substance):
    """Vermont leaves releasers to a later rule; Maryland's list has no triclosan."""
    assert not ban("US", region, substance, dt.date(2030, 1, 1))


@pytest.mark.parametrize("substance", ["Formaldehyde", "Triclosan", "Methylene Glycol"])
def test_sell_through_is_told(substance):
    """Washington let old stock be sold until the end of 2025."""
    rows = [
        r
        for r in ROWS
        if r.region == "Washington" and r.kind == "ban" and r.substances == (substance,)
    ]
    assert [("2026-01-01" in r.transition) for r in rows] == [True]


def test_children_in_minnesota():
    """Formaldehyde is out of children's products, releasers stay below 0.05 % free formaldehyde."""
    assert ban("US", "Minnesota", "Formaldehyde", dt.date(2014, 8, 1), scope="under-3")
    (row,) = [r for r in ROWS if r.region == "Minnesota" and r.kind == "limit"]
    assert (row.max_percent, row.counted_as) == (0.05, "Formaldehyde")


@pytest.mark.parametrize("market", ["EU", "GB"])
def test_isothiazolinone_entries_exclude_each_other(market):
    """Footnotes to entries 39 and 57: the mixture and the single one are not used together."""
    (row,) = [r for r in ROWS if r.market == market and r.group == "mci-mi-exclusive"]
    assert row.basis == "published"
    assert row.kind == "exclusion"
    assert row.substances == ("Methylisothiazolinone",)
    assert row.only_with == ("Methylchloroisothiazolinone",)


@pytest.mark.parametrize(
    "substance", ["Silver", "Pentetic Acid", "Pentasodium Pentetate", "Trisodium NTA"]
)
def test_out_in_the_eu(substance):
    """Annex II/1727, 1719 to 1721 and 1490."""
    assert ban("EU", None, substance, dt.date(2026, 11, 30))


def test_canada_of_2025():
    """The row on the list as a whole names the changes of 2025; chlorocresol is 0.1 %; mercury has
    no figure near the eye."""
    by_id = {r.id: r for r in ROWS}
    assert "August 2025" in by_id["ca-hotlist-state-list-as-a-whole-all"].conditions
    assert by_id["ca-hotlist-p-chloro-m-cresol-all"].max_percent == 0.1
    assert by_id["ca-reg-15-1-mercury-eye"].max_percent is None


def test_words_on_the_pack():
    """The eye, mouth and nose warning of chlorocresol in Canada; o-phenylphenol in GB was read."""
    by_id = {r.id: r for r in LABELS}
    words = "Do not use in the area of the eye, mouth or nose"
    assert by_id["ca-hotlist-p-chloro-m-cresol"].statement == words
    assert by_id["gb-v-7-o-phenylphenol"].basis == "published"


def test_rows_read_through_another_text_say_so():
    """A GB row that was read in the EU text says that in its locator or note."""
    rows = [r for r in ROWS if r.market == "GB" and "consolidated text" in (r.locator or "")]
    assert len(rows) >= 86
    assert [r.id for r in rows if "not on legislation.gov.uk" not in (r.note or "")] == []
