"""The screen as a pure function over the partitions of a general engine, dask: the same rows as on
one machine."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import dask
import dask.dataframe as dd
import numpy as np
import pandas as pd
import pytest

from preservecheck import load_tables
from preservecheck.screen.frame import screen_frame
from preservecheck.screen.schema import LINES, PRODUCTS
from tests.generated import pile

TODAY = dt.date(2026, 11, 26)


@pytest.fixture(scope="module")
def shelf():
    """Invented formulas as one frame, the product's columns on each line."""
    lines, products = pile(load_tables(), 60, seed=3)
    return lines.merge(products, on="formula", how="left")


@pytest.mark.parametrize("against", ["own", ["phenoxyethanol", "potassium-sorbate"]])
def test_mapped_over_partitions(shelf, against):
    """Three partitions on two threads give the rows of the frame as a whole, figure for figure."""
    whole = screen_frame(shelf, against=against, today=TODAY)
    # dask parts a frame by its index, so that no formula is torn
    number = pd.factorize(shelf["formula"])[0]
    many = dd.from_pandas(shelf.set_index(number), npartitions=3, sort=True)
    assert many.npartitions == 3
    found = many.map_partitions(screen_frame, against=against, today=TODAY, meta=whole.iloc[:0])
    with dask.config.set(scheduler="threads", num_workers=2):
        rows = found.compute().reset_index(drop=True)
    pd.testing.assert_frame_equal(rows, whole, check_exact=True, check_dtype=False)


def test_an_empty_partition_has_the_columns(shelf):
    """What an engine passes in to learn the columns has no rows."""
    none = screen_frame(shelf.iloc[:0], today=TODAY)
    some = screen_frame(shelf[shelf["formula"] == shelf["formula"].iloc[0]], today=TODAY)
    assert len(none) == 0
    assert list(none.columns) == list(some.columns)
    assert [str(t) for t in none.dtypes] == [str(t) for t in some.dtypes]


def test_the_frame_that_goes_in_is_left_as_it_was(shelf):
    before = shelf.copy(deep=True)
    screen_frame(shelf, today=TODAY)
    pd.testing.assert_frame_equal(shelf, before, check_exact=True)


def test_declared_schema_is_what_is_taken(shelf):
    """Every column of the frame is declared, with its unit where it is a number."""
    assert set(shelf.columns) <= {*LINES, *PRODUCTS}
    assert LINES["percent"].holds == "number"
    numeric = screen_frame(shelf, today=TODAY).select_dtypes(include=[np.number])
    assert {"percent", "free-active.challenge_chance"} <= set(numeric.columns)


# dask's own writer still says inplace=True to pandas
@pytest.mark.filterwarnings("ignore:The inplace keyword in DataFrame.set_index")
def test_the_example_of_the_contributors_guide(tmp_path, monkeypatch):
    """The lines in DEVELOPERS.md run as they stand; 12 formulas against all systems give a row
    each."""
    text = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
    example = next(
        b for b in re.findall(r"```python\n(.*?)```", text, re.DOTALL) if "map_partitions" in b
    )
    tables = load_tables()
    for frame, name in zip(
        pile(tables, 12, seed=5), ("shelf.parquet", "shelf.products.parquet"), strict=True
    ):
        frame.astype({c: "str" for c in ("percent", "grams") if c in frame}).to_parquet(
            tmp_path / name
        )
    monkeypatch.chdir(tmp_path)
    with dask.config.set(scheduler="threads", num_workers=2):
        exec(compile(example, "DEVELOPERS.md", "exec"), {})  # noqa: S102 - the guide is our own
    rows = pd.read_parquet(tmp_path / "verdicts")
    assert rows["formula"].nunique() == 12
    assert len(rows) == 12 * len(tables.systems)
    assert not (rows["verdict"] == "unread").any()
