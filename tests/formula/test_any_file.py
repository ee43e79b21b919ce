"""Whatever a file holds, it is a formula or a fault in words."""

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from preservecheck.errors import FormulaError
from preservecheck.formula.build import build
from preservecheck.formula.load import load_formula
from preservecheck.formula.starter import starter_sheets, workbook_bytes
from tests.helpers import examples

SOUND = """\
format = 1
product = { name = "x", use = "leave-on", type = "leave-in", markets = ["EU"] }
[[phase]]
name = "all"
items = [ { ingredient = "Water", rest = true } ]
"""

VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=12)
    | st.dates()
    | st.times()
    | st.sampled_from(
        [
            "Water",
            "Glycerin",
            "phenoxyethanol",
            "40 °C",
            "500 g",
            "rest",
            "EU",
            "leave-on",
            "x" * 500,
        ]
    ),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(
                [
                    "name",
                    "items",
                    "ingredient",
                    "percent",
                    "grams",
                    "rest",
                    "ph",
                    "Water",
                    "blend",
                    "role",
                ]
            )
            | st.text(max_size=6),
            inner,
            max_size=5,
        )
    ),
    max_leaves=25,
)


@given(
    st.dictionaries(
        st.sampled_from(["format", "product", "measured", "phase", "blend", "ingredient", "odd"]),
        VALUES,
    )
)
# on a fresh machine the first text drawn builds the table of all characters, which takes longer
# than the limit
@settings(max_examples=examples(300), suppress_health_check=[HealthCheck.too_slow])
def test_any_values(tables, raw):
    """Whatever a file holds, it is a formula or a fault in words."""
    try:
        build(raw, "a.toml", tables)
    except FormulaError as error:
        assert all(m.startswith("a.toml: ") for m in error.messages)  # noqa: PT017


@st.composite
def mangled(draw, source):
    """A sound file with a stretch of its bytes replaced."""
    start = draw(st.integers(0, len(source)))
    stop = draw(st.integers(start, min(len(source), start + 40)))
    return (
        source[:start]
        + draw(st.binary(max_size=30) | st.text(max_size=20).map(str.encode))
        + source[stop:]
    )


def outcome(tables, path, data):
    """Read a file, with nothing but a fault in words allowed."""
    path.write_bytes(data)
    try:
        load_formula(path, tables)
    except FormulaError as error:
        assert all(m.startswith(str(path.parent)) and len(m) < 3000 for m in error.messages)  # noqa: PT017


FUZZ = settings(
    max_examples=examples(200),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


@given(data=st.binary(max_size=200) | mangled(SOUND.encode()))
@FUZZ
def test_any_toml(tables, tmp_path, data):
    """Random and damaged TOML is read or refused, never more."""
    outcome(tables, tmp_path / "a.toml", data)


@given(data=st.binary(max_size=200) | mangled(workbook_bytes(starter_sheets())))
@FUZZ
def test_any_workbook(tables, tmp_path, data):
    """Random and damaged workbooks are read or refused, never more."""
    outcome(tables, tmp_path / "a.xlsx", data)


@given(
    data=st.binary(max_size=200)
    | st.text(alphabet="phase,ingredient;percent\t\n\"'09.%rest", max_size=200).map(str.encode)
)
@FUZZ
def test_any_csv(tables, tmp_path, data):
    """Random CSV is read or refused, never more."""
    (tmp_path / "a.Product.csv").write_text(
        "field,value\nname,x\nuse,leave-on\ntype,leave-in\nmarkets,EU\n"
    )
    outcome(tables, tmp_path / "a.Formula.csv", data)
