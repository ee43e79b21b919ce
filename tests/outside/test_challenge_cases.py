"""Published challenge tests: the data are whole."""

from __future__ import annotations

import csv

from tests.outside.challenge import __main__ as scorer


class TestData:
    """The cases themselves."""

    def test_every_case_has_its_formula_and_its_publication(self):
        """No row without a formula file and a publication."""
        with (scorer.HERE / "publications.csv").open(encoding="utf-8") as lines:
            known = {r["key"] for r in csv.DictReader(lines)}
        for case in scorer.cases():
            assert case.publication in known
            assert (scorer.HERE / "formulas" / f"{case.formula}.toml").exists()

    def test_no_result_stands_twice(self):
        """One row for each formula and microbe, except where two strains were tested."""
        pairs = [(c.formula, c.microbe) for c in scorer.cases()]
        assert len(pairs) == len(set(pairs))
