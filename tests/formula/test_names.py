"""Makers' own words for raw materials."""

import pytest

from preservecheck.formula.names import Names
from preservecheck.reference.load import load_tables


# names of the trade: common practice, no source
@pytest.mark.parametrize(
    ("written", "inci"),
    [
        ("konjac", "Glucomannan"),
        ("Konjac Gum", "Glucomannan"),
        ("linseed gel", "Linum Usitatissimum Seed Extract"),
        ("veg glycerine", "Glycerin"),
        ("demineralized water", "Aqua"),
    ],
)
def test_makers_words(written, inci):
    """A word that makers use stands for the substance, whatever its case."""
    named = Names(load_tables()).ingredient(written)
    assert named is not None
    assert named.inci == inci
