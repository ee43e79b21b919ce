"""The plots: from the core's own arrays, with words, and readable without colour."""

import re
from collections import Counter
from xml.etree import ElementTree

import pytest

from preservecheck.assess.findings import findings_of
from preservecheck.checks import CHECKS
from preservecheck.report.plots.chart import broken, fitted
from preservecheck.report.plots.formula import charts_of
from tests.helpers import case_of, make_formula

SVG = "{http://www.w3.org/2000/svg}"
BENZOATE = {"sodium-benzoate-potassium-sorbate": 0.8}
HEATED = [
    {"name": "heated", "heated_to": "75 °C", "held": "20 min", "items": [{"ingredient": "Water", "rest": True}]},
    {"name": "cool-down", "added_at": "38 °C",
     "items": [{"preservative": "sodium-benzoate-potassium-sorbate", "percent": 0.8}]},
]  # fmt: skip


def drawn(formula):
    """The charts of a formula, by their ids."""
    case = case_of(formula)
    findings = [j.finding for j in findings_of(case, CHECKS)]
    return {chart.id: chart for chart in charts_of(case, findings)}, findings


@pytest.fixture(scope="module")
def plain():
    """The plots of a formula with all readings."""
    return drawn(make_formula(phases=HEATED, ph=4.5, batch="500 g", scale_step="0.1 g"))


def test_four_plots(plain):
    """A formula with readings, temperatures and a dose has all four plots."""
    assert list(plain[0]) == ["ph", "microbes", "heat", "dose"]


def test_each_has_a_text_alternative(plain):
    """Each drawing is an image with a title and a description that its label refers to."""
    for plot in plain[0].values():
        root = ElementTree.fromstring(plot.svg())
        assert root.get("role") == "img"
        title, text = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
        assert (title.text, text.text) == (plot.title, plot.text)
        assert root.get("aria-labelledby").split() == [title.get("id"), text.get("id")]


def test_same_each_time(plain):
    """The same formula gives the same drawings, letter by letter."""
    again, _ = drawn(make_formula(phases=HEATED, ph=4.5, batch="500 g", scale_step="0.1 g"))
    assert {i: p.svg() for i, p in again.items()} == {i: p.svg() for i, p in plain[0].items()}


def test_ids_are_unique_over_several_formulas(plain):
    """Drawings of two formulas share no id, so that both stand in one page; every reference inside
    has its target."""
    other, _ = drawn(make_formula(phases=HEATED, ph=4.5))
    drawings = [p.svg() for p in plain[0].values()] + [p.svg("2-") for p in other.values()]
    text = "".join(drawings)
    ids = re.findall(r'\bid="([^"]+)"', text)
    assert max(Counter(ids).values()) == 1
    assert set(re.findall(r'(?:url\(#|href="#)([^)"]+)', text)) <= set(ids)


def test_nothing_is_fetched(plain):
    """No drawing refers to another place."""
    for plot in plain[0].values():
        assert "http" not in plot.svg().replace('xmlns="http://www.w3.org/2000/svg"', "")
        assert "<image" not in plot.svg()


def test_letters_stay_letters(plain):
    """Words in a drawing are text, which can be enlarged and searched."""
    assert "Benzoic Acid" in "".join(ElementTree.fromstring(plain[0]["ph"].svg()).itertext())
    assert "Pseudomonas" in "".join(ElementTree.fromstring(plain[0]["microbes"].svg()).itertext())


def test_colours_are_the_page_s(plain):
    """Every colour is a name of the style sheet, so that dark pages and paper get their own."""
    for plot in plain[0].values():
        bare = re.sub(r"var\(--[a-z0-9-]+, #[0-9a-f]{6}\)", "", plot.svg())
        assert re.findall(r"#[0-9a-f]{6}\b", bare) == []


def test_lines_differ_without_colour(plain):
    """Two actives differ in dashes, not in colour alone."""
    lines = re.findall(
        r'style="fill: none; (?:stroke-dasharray: ([^;]+); )?[^"]*stroke: var\(--line-(\d)',
        plain[0]["ph"].svg(),
    )
    by_colour = {}
    for dash, colour in lines:
        by_colour.setdefault(colour, set()).add(dash)
    assert len(by_colour) == 2
    assert by_colour["1"].isdisjoint(by_colour["2"])


def test_measured_band_is_hatched(plain):
    """The measured pH is a hatched band, said in words with its tolerance."""
    assert "<pattern" in plain[0]["ph"].svg()
    assert "4.5 ± 0.1" in plain[0]["ph"].text
    assert "works from pH 2.5 to 5" in plain[0]["ph"].text


def test_customary_ph_stands_over_the_plot():
    """A rinse-off conditioner lies at pH 3.8 to 4.8 (tables/product_ph.csv: common practice, no
    source)."""
    rinsed = make_formula(None, BENZOATE, ph=4.5, type="conditioner", use="rinse-off")
    plot = drawn(rinsed)[0]["ph"]
    assert "pH 3.8 to 4.8 is customary for a conditioner." in plot.text
    assert "customary for a conditioner: 3.8 to 4.8" in plot.svg()


def test_shares_follow_the_law_of_mass_action(plain):
    """The share that the words give at pH 5 is 1 / (1 + 10^(5 - pKa')), with the pKa' that the
    check states."""
    plots, findings = plain
    finding = next(f for f in findings if f.id == "free-active")
    for acid in ("Benzoic Acid", "Sorbic Acid"):
        wanted = 100 / (1 + 10 ** (5 - finding.value("pka", acid)))
        said = re.search(rf"{acid}: working share .*?([0-9]+) % at pH 5", plots["ph"].text)[1]
        assert abs(float(said) - wanted) <= 0.6  # printed to whole per cent


def test_chances_are_those_of_the_check(plain):
    """The words of the microbe plot give the very chances that the check judges, inside their
    band."""
    plots, findings = plain
    found = [f for f in findings if f.id == "free-active"]
    assert len(found) == 5
    for f in found:
        said = re.search(rf"{f.about} (\d+) % \((\d+) to (\d+)\)", plots["microbes"].text)
        value, low, high = map(float, said.groups())
        assert abs(value - 100 * f.value("challenge_chance")) <= 0.5
        assert low <= value <= high
        assert low < high


def test_heat_limit_and_moment(plain):
    """The course tells the heat, the hold, the limit and when the preservative goes in."""
    text = plain[0]["heat"].text
    assert "Phase heated: heated to 75 °C (167 °F) and held for 20 min." in text
    assert "Heat limit of sodium-benzoate-potassium-sorbate: 80 °C" in text
    assert "sodium-benzoate-potassium-sorbate goes in at 38 °C (100 °F), ± 2 °C." in text


def test_dose_between_limits(plain):
    """The dose stands with its range, the law with its limit."""
    text = plain[0]["dose"].text
    assert "sodium-benzoate-potassium-sorbate: 0.8 %, usage range" in text
    assert "law: Sorbic Acid × EU" in text or "law: Potassium Sorbate × EU" in text


def test_ph_not_measured():
    """Without a pH the curves are there, the band is not, and the words say so."""
    plots, _ = drawn(make_formula(phases=HEATED))
    assert "The pH was not measured" in plots["ph"].text
    assert "microbes" not in plots


def test_no_temperatures_no_course():
    """Without any temperature there is no course."""
    plots, _ = drawn(make_formula(systems=BENZOATE, added_at=None, ph=4.5))
    assert "heat" not in plots


def test_no_preservative():
    """Without a preservative there is nothing to draw against pH, microbe or dose."""
    plots, _ = drawn(make_formula(phases=HEATED[:1], ph=4.5))
    assert set(plots) == {"heat"}


def test_what_is_banned_is_shown():
    """A substance that is not allowed at all stands in the dose plot."""
    plots, _ = drawn(
        make_formula(
            {"Salicylic Acid": 0.5}, use="leave-on", type="styling", users="under-3", ph=4.5
        )
    )
    assert "not allowed" in plots["dose"].text


@pytest.mark.parametrize(
    "name",
    ["<script>alert(1)</script>", "$\\frac{1}{0}$", "a & b", "\u6d17\u53d1 \U0001f9f4", "x" * 90],
)
def test_odd_names(name):
    """A phase of any name is drawn, and its name stays text."""
    phases = [HEATED[0] | {"name": name}, HEATED[1]]
    plot = drawn(make_formula(phases=phases, ph=4.5))[0]["heat"]
    root = ElementTree.fromstring(plot.svg())
    assert not list(root.iter(f"{SVG}script"))
    assert fitted(name, 12)[:8] in "".join(root.itertext()).replace("\n", "")


def test_extreme_sums_stay_on_the_page():
    """Sums of nearly nothing and of very much are drawn at the edge and said in figures."""
    for percent, ph in ((0.0001, 9.0), (30.0, 3.0)):
        plots, _ = drawn(
            make_formula(systems={"sodium-benzoate-potassium-sorbate": percent}, ph=ph)
        )
        assert "nan" not in plots["microbes"].svg().casefold()


@pytest.mark.parametrize(
    ("text", "wanted"),
    [("short", "short"), ("benzyl-alcohol-dehydroacetic-acid", "benzyl-alcohol-\ndehydroacetic-acid"),
     ("abcdefghijklmnopqrstuvwxyz" * 2, "abcdefghijklmnopqrst\nuvwxyzabcdefghijklm…")],
)  # fmt: skip
def test_broken_names(text, wanted):
    """A long name takes two lines, broken at a hyphen where there is one."""
    assert broken(text, 20) == wanted


@pytest.mark.parametrize(("suffix", "start"), [(".svg", b"<svg "), (".png", b"\x89PNG")])
def test_chart_in_a_file(plain, suffix, start):
    """In a file a chart has its colours written in, for no style sheet is there."""
    data = plain[0]["heat"].file(suffix)
    assert data.startswith(start)
    assert b"var(--" not in data
