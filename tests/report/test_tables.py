"""Rows of the tables for a terminal."""

import datetime as dt
from collections import Counter

import pytest

from preservecheck.errors import TableError
from preservecheck.reference.load import load_tables
from preservecheck.reference.rows import TABLES
from preservecheck.report import tables as rows
from preservecheck.report import text


def shown(document, width=80):
    """A document as text."""
    return text.render([document], width=width)


@pytest.fixture(scope="module")
def tables():
    """The shipped tables."""
    return load_tables()


@pytest.fixture(scope="module")
def own(tmp_path_factory):
    """The shipped tables with one row of the user's own."""
    folder = tmp_path_factory.mktemp("own")
    (folder / "product_ph.csv").write_text(
        "type,use,ph_min,ph_max\nscalp,any,4.4,5.6\n", encoding="utf-8"
    )
    return load_tables(folder)


def test_all_tables_are_named_with_their_rows(tables):
    """The overview has every table with the number of its rows."""
    (table,) = rows.overview(tables).lead
    assert {name: int(count) for name, count, _ in table.rows} == {
        n: len(tables.rows(n)) for n in TABLES
    }


@pytest.mark.parametrize("table", TABLES)
def test_list_has_a_line_for_each_row(tables, table):
    """Every row is a line that ends with its key, the number of rows closes the list, and
    nothing is too wide."""
    document = rows.listing(tables, table)
    keys = [row[-1] for row in document.lead[0].rows]
    assert keys == [row.key_text for row in tables.rows(table)]
    lines = shown(document).splitlines()
    assert lines[-1] == f"{len(keys)} rows"
    assert max(map(len, lines)) <= 80


def test_list_of_systems_has_what_a_maker_picks_by(tables):
    """A system's line has pH, dose, heat, charge, four ratings and the id; columns stay apart."""
    row = next(s for s in tables.systems if s.id == "phenoxyethanol")
    lines = shown(rows.listing(tables, "systems"), 120).splitlines()
    line = next(line for line in lines if line.endswith(" phenoxyethanol"))
    ratings = [
        rows.RATINGS[r] for r in (row.gram_positive, row.gram_negative, row.yeast, row.mould)
    ]
    assert line.split() == [
        f"{row.ph_min:g}-{row.ph_max:g}",
        f"{row.usage_min_percent:g}-{row.usage_max_percent:g}",
        f"{row.heat_limit_c:g}",
        "°C",
        row.charge,
        *ratings,
        "phenoxyethanol",
    ]


@pytest.mark.parametrize("table", TABLES)
def test_row_in_full_has_every_field_and_fits(tables, table):
    """Every column of a row is shown, those of unknown value too, with source and basis, and
    nothing is too wide."""
    row = tables.rows(table)[0]
    page = shown(rows.full_row(tables, table, row.key_text), 80)
    named = {line.split()[0] for line in page.splitlines() if line[:1].strip()}
    unset = {n for n in ("recalled", "note") if not getattr(row, n, None)}
    assert named >= set(type(row).columns) - unset
    assert max(map(len, page.splitlines())) <= 80


def test_source_is_in_full(tables):
    """A row's source is printed as its citation and key, not as the key alone."""
    row = tables.systems[0]
    page = " ".join(shown(rows.full_row(tables, "systems", row.id), 100).split())
    assert tables.sources[row.source].citation in page
    assert f"key {row.source})" in page


def test_recalled_cells_are_marked(tables):
    """A cell that was recalled, in a row whose source was read, is marked."""
    row = next(s for s in tables.systems if s.recalled and "ph_min" in s.recalled.split(", "))
    lines = shown(rows.full_row(tables, "systems", row.id), 100).splitlines()
    assert next(line for line in lines if line.startswith("ph_min ")).endswith("(recalled)")


def test_units_stand_beside_their_figures(tables):
    """A figure has the unit that its column name stands for."""
    lines = shown(rows.full_row(tables, "systems", "phenoxyethanol"), 100).splitlines()
    assert next(line for line in lines if line.startswith("heat_limit_c")).endswith("°C  (read)")
    assert next(line for line in lines if line.startswith("usage_max_percent")).endswith(
        "1 %  (read)"
    )


@pytest.mark.parametrize(
    ("column", "unit"),
    [
        ("heat_limit_c", "°C"),
        ("molar_mass_g_mol", "g/mol"),
        ("mic_mg_l", "mg/L"),
        ("water_solubility_g_l", "g/L"),
        ("k_per_percent", "per % w/v"),
        ("usage_min_percent", "%"),
        ("charge_meq_g", "meq/g"),
        ("ph_min", ""),
        ("log_p", ""),
    ],
)
def test_unit_of_a_column(column, unit):
    """The end of a column's name tells its unit."""
    assert rows.unit_of(column) == unit


@pytest.mark.parametrize(
    ("table", "key"),
    [
        ("systems", "Phenoxyethanol"),
        ("ingredients", "glycérin"),
        ("ingredients", "GLYCERIN"),
        ("system", "phenoxyethanol"),
        ("product-ph", "scalp / any"),
        ("ingredients", "vegetable glycerin"),
    ],
)
def test_spelling_of_table_and_key_is_forgiven(tables, table, key):
    """Case, accents, hyphens, a missing plural and an alias all find the row."""
    assert shown(rows.full_row(tables, table, key), 80)


def test_unknown_key_gets_the_nearest(tables):
    """A key that is not there is answered with the nearest ones."""
    with pytest.raises(TableError, match="did you mean phenoxyethanol"):
        shown(rows.full_row(tables, "systems", "phenoxyethnol"), 80)


def test_unknown_table_gets_the_nearest(tables):
    """A table that is not there is answered with the nearest ones and the list of all."""
    with pytest.raises(TableError, match=r"did you mean solutes.*\? The tables are systems, "):
        rows.listing(tables, "solubes")


def test_search_finds_all_words_wherever_they_stand(tables):
    """Each word may stand in another field of the row, in any case and with any accent."""
    page = shown(rows.search(tables, ["PHENOXY", "éthylhexyl"]), 80)
    assert "  - phenoxyethanol-ethylhexylglycerin-90-10" in page.splitlines()


def test_search_puts_names_before_other_places(tables):
    """Rows whose key holds the words come before rows that mention them elsewhere."""
    lines = shown(rows.search(tables, ["bronopol"]), 200).splitlines()
    at = lines.index(next(line for line in lines if line.startswith("SYSTEMS (")))
    assert lines[at + 1] == "  - bronopol"


def test_short_word_is_looked_for_at_the_beginning_of_words(tables):
    """Looking for oat does not find benzoates."""
    page = shown(rows.search(tables, ["oat"]), 200)
    assert "Hydrolyzed Oat Protein" in page
    assert "benzoate" not in page.casefold()


def test_search_without_hits_says_so(tables):
    """Nothing found is said in words."""
    assert shown(rows.search(tables, ["qqqq"]), 80) == "Nothing in the tables holds qqqq.\n"


def test_search_for_nothing_is_refused(tables):
    """Signs alone are nothing to look for."""
    with pytest.raises(TableError, match="one word or more"):
        shown(rows.search(tables, ["--"]), 80)


def test_own_row_is_marked_everywhere(own):
    """A row of the user's own has a mark in the overview, the list and in full."""
    assert "(1 your own)" in " ".join(shown(rows.overview(own), 80).split())
    assert "scalp / any *" in shown(rows.listing(own, "product_ph"))
    page = shown(rows.full_row(own, "product_ph", "scalp / any"), 80)
    assert "(your own row)" in page
    assert "your own tables" in page
    assert "4.4" in page


def test_rows_as_data(tables):
    """As data every cell of a row is given in full, with its table and key."""
    row = rows.rows_data(tables, "systems", "Phenoxyethanol")
    assert (row["table"], row["key"], row["own"]) == ("systems", "phenoxyethanol", False)
    assert row in rows.listing_data(tables, "systems")
    assert row in rows.search_data(tables, ["phenoxyethanol"])
    assert (
        row["values"]["heat_limit_c"]
        == tables.systems[[s.id for s in tables.systems].index("phenoxyethanol")].heat_limit_c
    )


def test_a_row_is_found_by_its_key_alone(tables):
    """A key alone finds its row in every table that has one."""
    found = rows.full_rows(tables, "phenoxyethanol", "")
    assert [d.title.partition(":")[0] for d in found] == [
        name
        for name in TABLES
        if "phenoxyethanol" in {r.key_text.lower() for r in tables.rows(name)}
    ]
    with pytest.raises(TableError, match="no table has a row 'phenoxyethnol'"):
        rows.full_rows(tables, "phenoxyethnol", "")


def test_age_of_the_law(tables):
    """Markets with the age of their law in full months; old law is to be looked up."""
    day = dt.date(2026, 12, 1)
    page = shown(rows.age(tables, day), 80)
    eu = next(line for line in page.splitlines() if line.startswith("EU"))
    # state of 2026-10-07: one full month before 2026-12-01
    assert eu.split()[-4:] == ["2024-05-01", "2026-10-07", "1", "month"]
    assert {d["market"] for d in rows.age_data(tables, day)} == {m.id for m in tables.markets}


def test_coverage_counts_what_is_shown(tables):
    """The signs of a matrix are as many as its counts say, and the picture has a mark for each."""
    page = shown(rows.covered(tables), 80)
    inhibition, systems = rows.covered_data(tables)["matrices"]
    for matrix in (inhibition, systems):
        cells = [cell for row in matrix["rows"].values() for cell in row.values()]
        counted = Counter(cells)
        said = ", ".join(f"{counted[k]} {k}" for k in rows.SIGNS if counted[k])
        assert said in page
    assert "Sodium Benzoate" not in inhibition["rows"]  # works as benzoic acid
    assert len(rows.coverage_charts(tables)) == 2
    assert all(chart.svg().startswith("<svg") for chart in rows.coverage_charts(tables))
