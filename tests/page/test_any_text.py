"""Whatever is typed or sent, the page answers in words, and shows nothing of it as markup."""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from preservecheck.page.draft import pairs_of
from preservecheck.page.editor import example
from tests.helpers import examples

FORMULA = pairs_of(example())
BESIDE = [
    ("cool-room", "21"),
    ("cool-0-time", "14:00"),
    ("cool-0-temp", "74"),
    ("cool-1-time", "14:20"),
    ("cool-1-temp", "60"),
    ("drop-agent", "Citric Acid"),
    ("drop-strength", "10"),
    ("drop-sample", "50"),
    ("drop-0-grams", "0"),
    ("drop-0-ph", "5.3"),
    ("sheet-batch", "500"),
    ("sheet-number", "7"),
    ("after-standard", "iso-11930"),
    ("after-counts", "organism,day,cfu_per_g\nE. coli,0,1e6"),
    ("after-ph", "date,ph\n2026-10-01,4.5"),
    ("which-text", "benzyl"),
    ("try-ph", "5"),
    ("do", "add"),
]
PATHS = (
    "/",
    "/editor",
    "/verdict",
    "/what-if",
    "/check/use-level",
    "/save.toml",
    "/save.xlsx",
    "/which",
    "/bench",
    "/bench/sheet",
    "/bench/sheet.xlsx",
    "/bench/record.json",
    "/after",
    "/after/counts.json",
)
MARK = "<b id=odd>"
TEXTS = st.text(max_size=40) | st.sampled_from(
    [
        MARK,
        f'"{MARK}',
        "",
        "0",
        "-1",
        "1e400",
        "nan",
        "9" * 30,
        "1,500",
        "25:61",
        "2026-13-45",
        "40 °F",
        "=1+1",
        "{{ 7 * 7 }}",
        "x" * 5000,
        "remove phase-0",
        "amounts grams",
        "example counts",
    ]
)
# fields that may be left out together
PARTS = (
    "product-",
    "measured-",
    "phase-",
    "phase-0-",
    "phase-1-",
    "blend-",
    "cool-",
    "drop-",
    "sheet-",
    "after-",
)
FIELDS = [name for name, _ in FORMULA + BESIDE]


@given(
    st.sampled_from(PATHS),
    st.dictionaries(st.sampled_from(FIELDS), TEXTS, max_size=4),
    st.sets(st.sampled_from(PARTS), max_size=2),
    st.booleans(),
)
# the client of the test is the same for all examples, and keeps nothing of them; the same examples
# on every machine
@settings(
    derandomize=True,
    max_examples=examples(150),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
def test_any_text_in_any_field(client, path, typed, without, piece):
    """The test client raises what the program does not catch; a refusal is said in words."""
    pairs = [
        (n, typed.get(n, value))
        for n, value in FORMULA + BESIDE
        if not n.startswith(tuple(without))
    ]
    data: dict[str, list[str]] = {}
    for name, value in pairs:
        data.setdefault(name, []).append(value.encode("utf-8", "replace").decode())
    answer = client.post(path, data=data, headers={"x-piece": "yes"} if piece else {})
    assert answer.status_code in (200, 409, 422)
    if answer.headers["content-type"].startswith("text/html"):
        assert MARK not in answer.text
