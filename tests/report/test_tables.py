"""Rows of the tables for a terminal."""

import pytest

from preservecheck.errors import TableError
from preservecheck.reference.load import load_tables
from preservecheck.reference.rows import TABLES
from preservecheck.report import tables as rows


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
    lines = [
        line.split()
        for line in rows.render_tables(tables, width=80).splitlines()
        if line[:1].isalpha()
    ]
    assert {line[0]: int(line[1]) for line in lines if line[1].isdigit()} == {
        n: len(tables.rows(n)) for n in TABLES
    }


@pytest.mark.parametrize("table", TABLES)
def test_list_has_a_line_for_each_row(tables, table):
    """Every row is a line that ends with its unbroken key, and the number of rows closes the
    list."""
    lines = rows.render_list(tables, table).splitlines()
    assert lines[-1] == f"{len(tables.rows(table))} rows"
    for row, line in zip(tables.rows(table), lines[1:], strict=False):
        assert line.endswith(row.key_text)


def test_list_of_systems_has_what_a_maker_picks_by(tables):
    """A system's line has pH, dose, heat, charge, four ratings and the unbroken id."""
    row = next(s for s in tables.systems if s.id == "phenoxyethanol")
    line = next(
        line
        for line in rows.render_list(tables, "systems").splitlines()
        if line.endswith(" phenoxyethanol")
    )
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
    page = rows.render_row(tables, table, row.key_text, width=80)
    shown = {line.split()[0] for line in page.splitlines() if line[:1].strip()}
    unset = {n for n in ("recalled", "note") if not getattr(row, n, None)}
    assert shown >= set(type(row).columns) - unset
    assert max(map(len, page.splitlines())) <= 80


def test_source_is_in_full(tables):
    """A row's source is printed as its citation and key, not as the key alone."""
    row = tables.systems[0]
    page = " ".join(rows.render_row(tables, "systems", row.id, width=100).split())
    assert tables.sources[row.source].citation in page
    assert f"key {row.source})" in page


def test_recalled_cells_are_marked(tables):
    """A cell that was recalled, in a row whose source was read, is marked."""
    row = next(s for s in tables.systems if s.recalled and "ph_min" in s.recalled.split(", "))
    lines = rows.render_row(tables, "systems", row.id, width=100).splitlines()
    assert next(line for line in lines if line.startswith("ph_min ")).endswith("(recalled)")


def test_units_stand_beside_their_figures(tables):
    """A figure has the unit that its column name stands for."""
    lines = rows.render_row(tables, "systems", "phenoxyethanol", width=100).splitlines()
    assert next(line for line in lines if line.startswith("heat_limit_c")).endswith("°C")
    assert next(line for line in lines if line.startswith("usage_max_percent")).endswith("1 %")


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
    assert rows.render_row(tables, table, key, width=80)


def test_unknown_key_gets_the_nearest(tables):
    """A key that is not there is answered with the nearest ones."""
    with pytest.raises(TableError, match="did you mean phenoxyethanol"):
        rows.render_row(tables, "systems", "phenoxyethnol", width=80)


def test_unknown_table_gets_the_nearest(tables):
    """A table that is not there is answered with the nearest ones and the list of all."""
    with pytest.raises(TableError, match=r"did you mean solutes.*\? The tables are systems, "):
        rows.render_list(tables, "solubes")


def test_search_finds_all_words_wherever_they_stand(tables):
    """Each word may stand in another field of the row, in any case and with any accent."""
    page = rows.render_search(tables, ["PHENOXY", "éthylhexyl"], width=80)
    assert "  phenoxyethanol-ethylhexylglycerin-90-10" in page.splitlines()


def test_search_puts_names_before_other_places(tables):
    """Rows whose key holds the words come before rows that mention them elsewhere."""
    lines = rows.render_search(tables, ["bronopol"], width=200).splitlines()
    at = lines.index(next(line for line in lines if line.startswith("systems (")))
    assert lines[at + 1] == "  bronopol"


def test_short_word_is_looked_for_at_the_beginning_of_words(tables):
    """Looking for oat does not find benzoates."""
    page = rows.render_search(tables, ["oat"], width=200)
    assert "Hydrolyzed Oat Protein" in page
    assert "benzoate" not in page.casefold()


def test_search_without_hits_says_so(tables):
    """Nothing found is said in words."""
    assert rows.render_search(tables, ["qqqq"], width=80) == "Nothing in the tables holds qqqq.\n"


def test_search_for_nothing_is_refused(tables):
    """Signs alone are nothing to look for."""
    with pytest.raises(TableError, match="one word or more"):
        rows.render_search(tables, ["--"], width=80)


def test_own_row_is_marked_everywhere(own):
    """A row of the user's own has a mark in the overview, the list and in full."""
    assert "(1 your own)" in " ".join(rows.render_tables(own, width=80).split())
    assert "scalp / any *" in rows.render_list(own, "product_ph")
    page = rows.render_row(own, "product_ph", "scalp / any", width=80)
    assert "(your own row)" in page
    assert "your own tables" in page
    assert "4.4" in page
