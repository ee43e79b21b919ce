"""The page speaks to its own user: no option and no command stands in any of its views."""

from __future__ import annotations

import html
import re

import pytest

from preservecheck.errors import Hint
from preservecheck.page.draft import from_raw, pairs_of
from preservecheck.page.files import opened
from preservecheck.page.hints import HINTS
from preservecheck.page.results import EXAMPLES
from preservecheck.reference.load import load_tables

# what a reader sees: texts, and the attributes that are read aloud or stand in empty fields
ATTRIBUTES = re.compile(r'(?:aria-label|title|placeholder|alt|value)="([^"]*)"')
OPTION = re.compile(r"(?<![\w-])--[a-z]")
COMMAND = re.compile(r"preservecheck [a-z]+\b(?! \d)")
PIECE = {"X-Piece": "yes"}


def words_of(page):
    """Every text of a page, also those inside its drawings, one a line."""
    body = re.sub(r"<(style|script)\b.*?</\1>", "", page, flags=re.DOTALL)
    texts = [*re.findall(r">([^<]+)<", body), *ATTRIBUTES.findall(body)]
    return [line for text in texts if (line := html.unescape(text).strip())]


def named(page):
    """The texts that name an option or a command."""
    return [text for text in words_of(page) if OPTION.search(text) or COMMAND.search(text)]


def test_what_this_test_looks_for():
    """Texts, descriptions of drawings and labels are seen; the name of the program is allowed."""
    page = (
        "<title>Formula: preservecheck</title><style>--ink: #000</style><p>give --room</p>"
        '<svg><desc>see "preservecheck choose"</desc></svg><button aria-label="use --batch">x'
        "</button><footer>preservecheck 1.0.0, 2026-11-25</footer>"
    )
    assert named(page) == ["give --room", 'see "preservecheck choose"', "use --batch"]


# a formula with hardly a field that is right
FAULTY = {
    "product-use": "often",
    "product-batch": "x",
    "product-markets": "Mars",
    "measured-ph": "15",
    "measured-water_activity": "98",
    "phase-0-name": "one",
    "phase-0-heated_to": "hot",
    "phase-0-line-0-kind": "ingredient",
    "phase-0-line-0-ingredient": "sodium-benzoate-potassium-sorbate",
    "phase-0-line-0-amount": "qs",
    "phase-0-line-1-kind": "ingredient",
    "phase-0-line-1-ingredient": "Unobtainium",
    "phase-0-line-2-kind": "preservative",
    "phase-0-line-2-preservative": "no-such-system",
    "phase-0-line-2-amount": "1",
    "phase-0-line-3-kind": "ingredient",
    "phase-0-line-3-amount": "3",
    "phase-1-line-0-kind": "ingredient",
    "phase-1-line-0-ingredient": "Mixture",
    "phase-1-line-0-amount": "200",
    "blend-0-name": "Mixture",
    "blend-0-part-0-name": "Aqua",
    "blend-0-part-0-percent": "50",
    "own-0-name": "Own",
    "own-0-charge": "some",
}
# no preservative, growth wanted: findings that would send to the ranking; no size, no pH
BARE = {
    "product-name": "Bare",
    "product-use": "rinse-off",
    "product-type": "shampoo",
    "product-markets": "EU",
    "phase-0-name": "one",
    "phase-0-line-0-kind": "ingredient",
    "phase-0-line-0-ingredient": "Aqua",
    "phase-0-line-0-rest": "yes",
    "phase-0-line-1-kind": "ingredient",
    "phase-0-line-1-ingredient": "Glycerin",
    "phase-0-line-1-amount": "3",
}
# two preservatives that no pH suits both
TORN = BARE | {
    "measured-ph": "7.5",
    "phase-1-name": "cool-down",
    "phase-1-added_at": "60",
    "phase-1-line-0-kind": "preservative",
    "phase-1-line-0-preservative": "sodium-benzoate-potassium-sorbate",
    "phase-1-line-0-amount": "0.8",
}
COOLING = {
    "cool-0-time": "14:05",
    "cool-0-temp": "74",
    "cool-1-time": "14:15",
    "cool-1-temp": "66",
}
BENCH = [
    {},
    {"cool-0-temp": "74"},
    {"cool-0-time": "never", "cool-0-temp": "warm", "cool-room": "cold", "cool-added": "soon"},
    COOLING,
    COOLING | {"cool-added": "15:00"},
    COOLING | {"cool-added": "14:10", "cool-room": "21"},
    COOLING | {"cool-1-temp": "74", "cool-2-time": "14:25", "cool-2-temp": "74"},
    COOLING | {"cool-1-temp": "80"},
    {"drop-target": "15", "drop-strength": "x", "drop-agent": "Lactic Acid", "sheet-batch": "no"},
    {
        "drop-0-grams": "0.1",
        "drop-0-ph": "6",
        "drop-1-grams": "x",
        "drop-1-ph": "99",
        "drop-2-grams": "0.05",
        "drop-2-ph": "",
    },
]
AFTER = [
    {"after-counts": "x", "after-ph": "x"},
    {"after-counts": EXAMPLES["counts"].partition("\n")[2].partition("\n")[2]},
    {"after-counts": EXAMPLES["counts"], "after-standard": "usp-51"},
    {"after-counts": EXAMPLES["counts"].replace("<10", "500000"), "after-ph": EXAMPLES["ph"]},
    {"after-counts": "organism,day,cfu_per_g\n,x,\n", "after-ph": "date,ph\nx,40\n"},
    {"after-ph": EXAMPLES["ph"].replace(",4.", ",7.")},
]
FORMULAS = {"none": {}, "faulty": FAULTY, "bare": BARE, "torn": TORN}


@pytest.mark.parametrize("formula", FORMULAS.values(), ids=FORMULAS)
def test_no_option_and_no_command_in_any_view(client, formula):
    """With a formula, with a faulty one and with none; with fields that are right and wrong."""
    answers = [client.get(path) for path in ("/", "/which", "/bench", "/after")]
    for path in ("/", "/editor", "/verdict", "/which", "/which/checks/phenoxyethanol", "/save.x"):
        answers.append(client.post(path, data=formula, headers=PIECE))
    answers.append(client.post("/which/put", data=formula | {"do": "put nonsense"}))
    answers += [client.post("/bench", data=formula | typed, headers=PIECE) for typed in BENCH]
    answers += [client.post("/after", data=formula | typed, headers=PIECE) for typed in AFTER]
    for path in ("/bench/sheet", "/bench/record", "/after/counts.md"):
        answers.append(client.post(path, data=formula))
    for answer in answers:
        assert named(answer.text) == [], answer.request.url


def test_no_option_and_no_command_behind_a_check(client):
    """The plots, and the words beside them; a rule as it stands in its manual page names no option
    either."""
    from preservecheck.checks import CHECKS

    for check in CHECKS:
        answer = client.post(f"/check/{check.id}", data=TORN, headers=PIECE)
        assert named(answer.text) == [], check.id


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("a.toml", b"format = "),
        ("a.toml", b'format = 1\n[[phase]]\nitems = [{ ingredient = "Unobtainium" }]\n'),
        ("a.docx", b"x"),
        ("a.xlsx", b"PK"),
        ("a.Formula.csv", b"ingredient,percent\nAqua,rest\n"),
        ("", b""),
    ],
)
def test_no_option_and_no_command_about_a_file(client, name, data):
    """A file that cannot be read or used is spoken of in the words of the page."""
    answer = client.post("/open", files=[("files", (name or "x", data))], headers=PIECE)
    assert named(answer.text) == []


def test_hints_of_the_page():
    """What the page words is worded for its own user, as the part of a sentence."""
    for text in HINTS.values():
        assert not OPTION.search(text)
        assert not COMMAND.search(text)
        assert not text.endswith(".")
    assert Hint.RANK_SYSTEMS in HINTS


def test_formula_without_a_preservative_leads_to_the_ranking(client):
    """Where the command line names its command, the page names its view."""
    text = html.unescape(client.post("/verdict", data=BARE).text)
    assert "“Which one?” ranks the preservative systems for this formula." in text


def test_opened_file_keeps_its_faults_as_data():
    """The page words them; the folder of this answer is in none of them."""
    text = b'format = 1\n[[phase]]\nname = "a"\nitems = [{ ingredient = "Aqua", percent = "x" }]\n'
    _, faults = opened([("mine.toml", text)], load_tables())
    assert {fault.where for fault in faults} == {"mine.toml"}
    assert ("phase", 0, "items", 0, "percent") in {fault.path for fault in faults}


def test_example_has_nothing_to_hide(client):
    """The starter formula, its verdict, and what the sliders would do."""
    import tomllib

    from preservecheck.formula.starter import starter_toml

    data = dict(pairs_of(from_raw(tomllib.loads(starter_toml()))))
    for path in ("/", "/which"):
        assert named(client.post(path, data=data | {"try-ph": "8"}).text) == []
