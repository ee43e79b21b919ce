"""The second view: the ranking, sorted and narrowed, and a system put into the formula and back
out."""

from __future__ import annotations

import html
import re
import tomllib
from datetime import date
from pathlib import Path

import pytest

from preservecheck.formula.starter import starter_toml
from preservecheck.page.apply_option import applied_to
from preservecheck.page.draft import draft_of, from_raw, new_draft, pairs_of
from preservecheck.page.draft_outcome import formula_of
from preservecheck.page.views import ranking as views_which
from preservecheck.plan.review import review
from preservecheck.ranking.rank import choose
from preservecheck.reference.load import load_tables
from preservecheck.report import choice as words
from preservecheck.report import words as report_words

TODAY = date(2026, 11, 25)
FOLDER = Path(__file__).parents[1] / "examples"
EXAMPLES = sorted(FOLDER.glob("*.toml"))
DEMO = (FOLDER / "demo.toml").read_text(encoding="utf-8")
PIECE = {"x-piece": "yes"}


def draft_in(text):
    return from_raw(tomllib.loads(text))


def fields(text=DEMO, **more):
    """The form that holds a formula, with fields of the view; ``_`` stands for ``-`` in their
    names."""
    return dict(pairs_of(draft_in(text))) | {k.replace("_", "-"): v for k, v in more.items()}


RANKINGS = {}


def once(formula, tables, *, today, **wishes):
    """``choose``, which works out the same question once in this module, as it takes a second."""
    key = (
        formula.sha256,
        today,
        *sorted((k, tuple(v) if k != "natural" else v) for k, v in wishes.items() if v),
    )
    if key not in RANKINGS:
        RANKINGS[key] = choose(formula, tables, today=today, **wishes)
    return RANKINGS[key]


@pytest.fixture(autouse=True)
def _quick(monkeypatch):
    monkeypatch.setattr(views_which, "choose", once)


def ranked(text=DEMO, **wishes):
    """What ``choose`` says of the formula that the page reads."""
    return once(
        formula_of(draft_in(text), load_tables(), TODAY), load_tables(), today=TODAY, **wishes
    )


def asked(client, data, **kinds):
    answer = client.post("/which", data=data, **kinds)
    assert answer.status_code == 200
    return html.unescape(answer.text)


def shown(text, key="id"):
    """Ids of the rows in their order, or one of their keys; rows that are narrowed away are left
    out."""
    rows = re.findall(r'<tbody class="system" id="system-([^"]+)"(.*?)>\n<tr>', text, re.DOTALL)
    rows = [(i, rest) for i, rest in rows if not rest.endswith(" hidden")]
    return [
        i if key == "id" else re.search(rf'data-by-{key}="([^"]*)"', rest).group(1)
        for i, rest in rows
    ]


# ---- the table ----


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_says_what_choose_says(client, path):
    """Order, reasons, doses, places and remarks stand there word by word."""
    source = path.read_text(encoding="utf-8")
    choice, text = ranked(source), asked(client, fields(source))
    assert shown(text) == [s.id for s in choice.systems]
    assert words.title(choice) in text
    for said in (*choice.remarks, *(s.why for s in choice.systems)):
        assert said in text
    for option in choice.systems:
        if option.outcome != "does-not-fit":
            assert all(said in text for said in words.notes(choice, option))
            assert all(cell in text for cell in words.cells(option)[1:8])


def test_whole_page_carries_the_formula(client):
    """Without scripting the formula's fields go along, so that the way back keeps them."""
    text = asked(client, fields() | {"bench-reading": "70", "which-text": "x", "do": "rank"})
    form = text.partition('<div id="carried">')[2].partition("</div>")[0]
    kept = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', form))
    assert kept == fields() | {"bench-reading": "70"}


def test_piece_for_a_script(client):
    """A script gets what changes alone."""
    text = asked(client, fields(), headers=PIECE)
    assert "<!DOCTYPE" not in text
    assert text.index('id="wishes"') < text.index('id="ranking"')


def numbers(values):
    return [float(v) for v in values if v]


def test_order(client):
    """Smallest dose first, what has none last; turned round the largest first, and still none
    last."""
    up = shown(asked(client, fields(which_order="dose")), "dose")
    down = shown(asked(client, fields(which_order="dose", which_turned="yes")), "dose")
    fit = sum(s.outcome != "does-not-fit" for s in ranked().systems)
    assert numbers(up) == sorted(numbers(up)) == numbers(down)[::-1]
    assert up[fit:] == down[fit:] == [""] * (len(up) - fit)
    margins = numbers(shown(asked(client, fields(which_order="margin")), "margin"))
    assert margins == sorted(margins)
    assert -margins[0] == max(
        s.weakest.challenge_chance or 0 for s in ranked().systems if s.outcome != "does-not-fit"
    )
    checks = [c for c in shown(asked(client, fields(which_order="check")), "check") if c]
    assert checks == sorted(s.check for s in ranked().systems if s.outcome == "does-not-fit")


def test_heading_orders_and_turns_round(client):
    """The button of a heading sorts by it, a second time the other way round."""
    once = asked(client, fields(do="order name"))
    assert 'data-order="name" aria-sort="ascending"' in once
    assert shown(once, "name") == sorted(shown(once, "name"))
    twice = asked(client, fields(which_order="name", do="order name"))
    assert 'data-order="name" aria-sort="descending"' in twice
    assert shown(twice) == shown(once)[::-1]


def test_narrow(client):
    """By words, verdict and charge; the count says how many are left."""
    text = asked(client, fields(which_text="SORBATE potassium"))
    rows = {s.id: f"{s.id} {s.partner} {s.why}".lower() for s in ranked().systems}
    rest = rows.keys() - set(shown(text))
    assert shown(text)
    assert all("sorbate" in rows[i] and "potassium" in rows[i] for i in shown(text))
    assert not any("sorbate" in rows[i] and "potassium" in rows[i] for i in rest)
    assert f"{len(shown(text))} of {len(ranked().systems)} systems are shown." in text
    fits = asked(client, fields(which_outcome="fits"))
    assert shown(fits) == [s.id for s in ranked().systems if s.outcome == "fits"]
    cationic = asked(client, fields(which_charge="cationic"))
    assert set(shown(cationic)) == {s.id for s in load_tables().systems if s.charge == "cationic"}
    assert shown(asked(client, fields(which_charge="sour"))) == [s.id for s in ranked().systems]


def test_leave_out(client):
    """A substance is left out by any of its names, also as a partner, until it is taken back."""
    text = asked(client, fields(which_leave_out="2-phenoxyethanol"))
    without = ranked(without=("Phenoxyethanol",))
    assert shown(text) == [s.id for s in without.systems]
    assert 'name="which-without" value="Phenoxyethanol"' in text
    assert all("henoxyethanol" not in s.partner.id for s in without.systems if s.partner)
    back = asked(client, fields(which_without="Phenoxyethanol", do="take-back Phenoxyethanol"))
    assert shown(back) == [s.id for s in ranked().systems]
    assert "which-without" not in back


def test_leave_out_an_unknown_name(client):
    """It is said so, with names that look like it; the ranking stands as it was."""
    text = asked(client, fields(which_leave_out="Phenoxyethano"))
    assert "“Phenoxyethano” is not known here" in text
    assert 'value="leave-out Phenoxyethanol"' in text
    assert shown(text) == [s.id for s in ranked().systems]


def test_natural_and_markets(client):
    """The other wishes that ``choose`` takes."""
    assert shown(asked(client, fields(which_natural="yes"))) == [
        s.id for s in ranked(natural=True).systems
    ]
    text = asked(client, fields(which_markets="JP"))
    assert words.title(ranked(markets=("JP",))) in text
    assert shown(text) == [s.id for s in ranked(markets=("JP",)).systems]


def test_without_a_formula(client):
    """Nothing typed is no fault; what is wrong is told, all at once."""
    assert "No formula yet" in asked(client, {})
    text = asked(client, fields() | {"measured-ph": "15", "product-use": ""})
    assert "Not ranked yet" in text
    assert "pH is 15; give a pH from 0 to 14" in text
    assert "Use is missing; give leave-on or rinse-off" in text
    assert shown(text) == []


def test_what_is_typed_is_escaped(client):
    """A name is a name, never a part of the page."""
    data = fields() | {
        "product-name": "<script>x</script>",
        "which-text": '"><b>',
        "which-leave-out": "<i>",
    }
    text = client.post("/which", data=data).text
    assert "<script>x" not in text
    assert '"><b>' not in text
    assert "<i>" not in text


# ---- what all checks say ----


@pytest.mark.parametrize("system", ["sodium-benzoate-potassium-sorbate", "mci-mi"])
def test_opens_to_its_checks(client, system):
    """They are those of a review of the formula that ``choose`` found, fitting or not."""
    option = next(s for s in ranked().systems if s.id == system)
    report = review(option.formula, load_tables(), today=TODAY)
    answer = client.post(f"/which/checks/{system}", data=fields(), headers=PIECE)
    text = html.unescape(answer.text)
    assert report_words.verdict_of(report, report.counts).said in text
    assert report_words.counted(report.counts) == report_words.counted(option.counts)
    assert all(f.because in text for f in report.checks)
    whole = client.post(f"/which/checks/{system}", data=fields()).text
    assert "Back to the ranking" in whole
    whole = client.post(
        f"/which/checks/{system}", data=fields(which_without="Sorbic Acid", which_charge="mixed")
    ).text
    assert 'name="which-without" value="Sorbic Acid"' in whole
    assert 'name="which-charge" value="mixed"' in whole
    assert 'name="product-name"' in whole


def test_checks_of_no_system(client):
    """An id that is none, and one that is left out, are told."""
    for data, system in (
        (fields(), "nonsense"),
        (fields(which_without="Phenoxyethanol"), "phenoxyethanol"),
    ):
        answer = client.post(f"/which/checks/{system}", data=data, headers=PIECE)
        assert answer.status_code == 200
        assert "no longer among those" in answer.text


# ---- into the formula ----


def recipe(formula):
    """Everything of a formula that a recipe holds, but for the names of its phases."""
    return [
        (p.heated_to_c, p.held_min, None if p.added_at_c is None else round(p.added_at_c, 9))
        + tuple(
            (x.name, x.kind, None if x.amount is None else round(x.amount, 9), x.rest, x.strength)
            for x in p.lines
        )
        for p in formula.phases
    ]


ANIONIC = """
format = 1
[product]
name = "Gel with a gum"
use = "leave-on"
type = "styling"
markets = ["EU"]
[measured]
ph = 5.0
[[phase]]
name = "water"
items = [
  { ingredient = "Aqua", percent = 98.1 },
  { ingredient = "Xanthan Gum", percent = 0.8 },
  { ingredient = "Phenoxyethanol", percent = 0.8 },
  { ingredient = "Glycerin", percent = 0.3, note = "as it came" },
]
"""
GRAMS = """
format = 1
[product]
name = "By the gram"
use = "rinse-off"
type = "conditioner"
markets = ["EU"]
[measured]
ph = 4.5
[[phase]]
name = "heated"
heated_to = "160 °F"
items = [{ ingredient = "Aqua", grams = 185 }, { ingredient = "Cetearyl Alcohol", grams = 12 }]
[[phase]]
name = "late"
added_at = "140 °F"
items = [{ preservative = "benzyl-alcohol-dehydroacetic-acid", grams = 1.6 }, { ingredient = "Panthenol", grams = 1.4 }]
"""
SOURCES = {p.stem: p.read_text(encoding="utf-8") for p in EXAMPLES} | {
    "starter": starter_toml(),
    "gum": ANIONIC,
    "grams": GRAMS,
}


@pytest.mark.parametrize("source", SOURCES.values(), ids=SOURCES)
def test_applied_is_the_formula_that_choose_judged(source):
    """Every system that fits: the recipe in the draft is the one that the ranking speaks of;
    readings stay."""
    tables, draft = load_tables(), draft_in(source)
    formula, before = formula_of(draft, tables, TODAY), pairs_of(draft)
    for option in ranked(source).systems:
        if option.outcome == "does-not-fit":
            continue
        applied = applied_to(draft, formula, option, tables)
        after = formula_of(applied.draft, tables, TODAY)
        assert recipe(after) == recipe(option.formula), option.id
        assert after.measured == formula.measured
        assert after.product.scale_step_g == formula.product.scale_step_g
        facts = {"measured": option.formula.measured, "product": option.formula.product}
        user_errors = (
            formula.measured != facts["measured"]
            or formula.product.scale_step_g != facts["product"].scale_step_g
        )
        assert bool(applied.todo) is user_errors, option.id
    assert pairs_of(draft) == before


def test_alone_as_among_all():
    """One system looked at alone gets the formula that it gets among all."""
    formula = formula_of(draft_in(DEMO), load_tables(), TODAY)
    for option in ranked().systems[::6]:
        (alone,) = choose(formula, load_tables(), today=TODAY, only=[option.id]).systems
        assert (alone.formula, alone.why, alone.partner, alone.outside) == (
            option.formula,
            option.why,
            option.partner,
            option.outside,
        )


def test_applied_as_typed():
    """The maker's own texts stay; °F where he writes °F; 185 + 12 + 1.6 + 1.4 = 200 g is the batch
    that was meant."""
    tables, draft = load_tables(), draft_in(GRAMS)
    option = next(
        s
        for s in ranked(GRAMS).systems
        if s.outcome != "does-not-fit" and s.formula.phases[-1].name == "preservative"
    )
    applied = applied_to(draft, formula_of(draft, tables, TODAY), option, tables)
    assert applied.draft.phases[0].fields == draft.phases[0].fields
    # 140 °F is too hot for what stood in it: 38 °C is asked for, in the maker's own unit
    assert applied.draft.phases[1].fields == draft.phases[1].fields | {"added_at": "100.4"}
    assert applied.draft.phases[-1].fields["added_at_unit"] == "°F"
    assert applied.draft.product["batch"] == "200"
    assert any("200 g" in text for text in applied.done)
    assert applied.draft.phases[0].lines[0] == {
        "kind": "ingredient",
        "ingredient": "Aqua",
        "rest": "yes",
    }
    # 1.6 of 200 g
    assert "Taken out: 0.8 % benzyl-alcohol-dehydroacetic-acid" in " ".join(applied.done)


def test_put_into_the_empty_phase_of_a_new_formula():
    """Who starts from the page's own empty formula finds the preservative in the line that waits
    for it."""
    tables, draft = load_tables(), new_draft()
    draft.product |= {
        "name": "First try",
        "use": "rinse-off",
        "type": "conditioner",
        "markets": "EU",
    }
    draft.measured["ph"] = "4.5"
    draft.phases[0].lines[1] |= {"ingredient": "Glycerin", "amount": "3"}
    formula = formula_of(draft, tables, TODAY)
    option = next(
        s
        for s in choose(formula, tables, today=TODAY).systems
        if s.outcome != "does-not-fit" and not s.partner
    )
    applied = applied_to(draft, formula, option, tables)
    assert [p.fields["name"] for p in applied.draft.phases] == ["heated", "cool-down"]
    (line,) = applied.draft.phases[1].lines
    assert (line["preservative"], float(line["amount"])) == (option.id, option.percent)
    assert float(applied.draft.phases[1].fields["added_at"]) == option.formula.phases[-1].added_at_c
    assert "There was no preservative of its own to take out." in applied.done


def test_gum_is_replaced_in_words():
    """Where ``choose`` wants another gum it stands in the formula, and that is said."""
    tables, draft = load_tables(), draft_in(ANIONIC)
    formula = formula_of(draft, tables, TODAY)
    option = next(
        s for s in ranked(ANIONIC).systems if any("Hydroxyethylcellulose" in c for c in s.said)
    )
    applied = applied_to(draft, formula, option, tables)
    assert "Xanthan Gum is replaced by Hydroxyethylcellulose." in applied.done
    assert "Aqua now fills up the rest." in applied.done
    # a preservative on a line of an ingredient stays
    lines = applied.draft.phases[0].lines
    names = [x.get("ingredient") for x in lines]
    assert names == ["Aqua", "Hydroxyethylcellulose", "Phenoxyethanol", "Glycerin"]
    assert lines[3]["note"] == "as it came"


def test_put_and_undo_without_scripting(client):
    """The answer is the first view with its new verdict and what was done; undo brings the old
    formula back."""
    system = "sodium-benzoate-potassium-sorbate"
    answer = client.post("/which/put", data=fields(do=f"put {system}"))
    text = html.unescape(answer.text)
    assert answer.status_code == 200
    assert 'data-go="/" aria-current="page"' in text
    assert f'<option value="{system}" selected>' in text
    assert "Taken out: 0.8 % benzyl-alcohol-benzoic-dehydroacetic" in text
    assert "Lower the pH from 5.3 to 4.7." in text  # the aim of a leave-in milk
    assert 'class="stamp' in text
    before = html.unescape(re.search(r'name="before-pick" value="([^"]*)"', answer.text).group(1))
    undone = client.post("/which/undo", data={"product-name": "other", "before-pick": before}).text
    assert undone == client.post("/", data=fields()).text


def test_put_for_a_script(client):
    """A script gets the fields, to keep them, and the note."""
    user_errors = client.post(
        "/which/put", data=fields(do="put phenoxyethanol"), headers=PIECE
    ).json()
    draft = draft_of([tuple(pair) for pair in user_errors["pairs"]])
    assert recipe(formula_of(draft, load_tables(), TODAY)) == recipe(
        next(s.formula for s in ranked().systems if s.id == "phenoxyethanol")
    )
    assert "Phenoxyethanol" in user_errors["notice"]
    assert "before-pick" not in user_errors["notice"]


@pytest.mark.parametrize("system", ["mci-mi", "nonsense", ""])
def test_what_does_not_fit_is_not_put_in(client, system):
    """It is told, and nothing is changed."""
    for headers in (PIECE, {}):
        answer = client.post("/which/put", data=fields(do=f"put {system}"), headers=headers)
        assert answer.status_code == 409
        assert "no longer among those" in answer.text


def test_put_needs_the_token(stranger):
    """Like everything that posts."""
    assert (
        stranger.post(
            "/which/put", data=fields(), headers={"origin": "http://127.0.0.1:47613"}
        ).status_code
        == 403
    )
