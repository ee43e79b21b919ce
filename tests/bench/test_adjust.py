"""How much acid or base: from a titration, by estimate, in steps, and what is refused."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from preservecheck.bench.adjust import adjust
from preservecheck.bench.buffers import constants, ionic_of
from preservecheck.bench.titration import read_titration
from preservecheck.cli.main import app
from preservecheck.errors import ReadingsError
from preservecheck.reference.load import load_tables
from tests.helpers import TODAY, make_formula, make_raw, toml_text

TABLES = load_tables()
SYSTEM = "benzyl-alcohol-dehydroacetic-acid"  # pH 2 to 6
TITRATION = (
    "sample_grams,50\nagent,Lactic "
    "Acid\nagent_percent,20\ngrams_added,ph\n0,6.4\n0.1,6.0\n0.2,5.4\n0.3,5.0\n"
)


@pytest.fixture
def write(tmp_path):
    """A file with some text."""

    def written(text, name="t.csv"):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return written


def product(ph=6.4, items=None, **changes):
    """A leave-in of 1 kg whose window is pH 4.2 to 5.5."""
    base = {"use": "leave-on", "type": "leave-in", "batch": "1 kg"}
    return make_formula(items or {"Citric Acid": 0.2}, {SYSTEM: 0.8}, ph=ph, **(base | changes))


# ---- from a titration ----


def test_amount_by_hand(write):
    """0.25 g on a straight stretch from 5.4 to 5.0 brings 50 g to 5.2; 1 kg takes twenty times as
    much, 5 g."""
    text = TITRATION.replace("0.2,5.4\n0.3,5.0", "0.2,5.4\n0.3,5.0\n0.4,4.6")
    flat = text.replace("0.1,6.0\n", "0.1,5.8\n").replace("0,6.4", "0,6.2")  # 0.4 pH every 0.1 g
    found = adjust(product(6.2), titration=write(flat), target_ph=5.2, today=TODAY)
    assert found.basis == "titration"
    assert found.grams == pytest.approx(5.0, abs=0.01)
    # 0.1 pH is 0.025 g of the sample, 0.5 g of the batch
    assert (found.grams_low, found.grams_high) == pytest.approx((4.5, 5.5), abs=0.01)


def test_amount_scales_with_the_batch(write):
    """Half the batch takes half the amount."""
    path = write(TITRATION)
    whole = adjust(product(), titration=path, target_ph=5.2, today=TODAY)
    half = adjust(product(), titration=path, target_ph=5.2, batch_g=500, today=TODAY)
    assert half.grams == pytest.approx(whole.grams / 2)


def test_steps_of_the_additions(write):
    """Half, a quarter, then less; they add up, and the pH falls from step to step to the target."""
    found = adjust(product(), titration=write(TITRATION), target_ph=5.2, today=TODAY)
    assert 3 <= len(found.additions) <= 4
    assert sum(a.grams for a in found.additions) == pytest.approx(found.grams)
    assert found.additions[0].grams == pytest.approx(found.grams / 2)
    expected = [a.expected_ph for a in found.additions]
    assert expected == sorted(expected, reverse=True)
    assert expected[-1] == pytest.approx(5.2, abs=0.01)
    assert all("read" in a.then for a in found.additions)


def test_buffer_capacity_by_hand(write):
    """0.4 pH every 0.1 g of 20 % lactic acid in 50 g: 0.02 / 90.078 / 0.05 / 0.4 = 11.1 mmol per kg
    and pH."""
    text = (
        "sample_grams,50\nagent,Lactic "
        "Acid\nagent_percent,20\ngrams_added,ph\n0,6.2\n0.1,5.8\n0.2,5.4\n0.3,5.0\n"
    )
    found = adjust(product(6.2), titration=write(text), target_ph=5.5, today=TODAY)
    assert found.buffer_capacity_mmol_kg_ph == pytest.approx(11.1, abs=0.1)


def test_custom_is_the_target(write):
    """From outside the window 4.2 to 5.5 the target is what is customary for a leave-in milk
    (tables/product_kinds.csv: 4.7, common practice)."""
    assert adjust(product(), titration=write(TITRATION), today=TODAY).target_ph == 4.7
    assert adjust(product(3.5), today=TODAY).target_ph == 4.7


def test_inside_nothing_is_added():
    """Clearly inside the window nothing has to be added."""
    found = adjust(product(4.8), today=TODAY)
    assert (found.grams, found.additions, found.agent) == (0, (), None)
    assert found.complete


@pytest.mark.parametrize(("target", "reached"), [(4.95, True), (4.85, False)])
def test_no_extrapolation_beyond_a_small_step(write, target, reached):
    """The last reading is 5.0: 0.05 past it is told and said, 0.15 past it is refused with what to
    do."""
    found = adjust(product(), titration=write(TITRATION), target_ph=target, today=TODAY)
    assert (found.grams is not None) == reached
    assert ("past the last reading" in found.because) == reached
    assert reached or "go on with the same sample" in found.because


def test_wrong_direction_is_refused(write):
    """An acid titration says nothing of how to raise the pH."""
    found = adjust(product(6.4), titration=write(TITRATION), target_ph=7.0, today=TODAY)
    assert (found.grams, found.complete) == (None, False)
    assert "raises" in found.because


def test_without_a_batch_amounts_are_per_kg(write):
    """Where the mass is not known, grams are null and the amount per kg stands."""
    found = adjust(product(batch=None), titration=write(TITRATION), target_ph=5.2, today=TODAY)
    assert found.grams is None
    assert found.grams_per_kg == pytest.approx(5, abs=0.2)


def test_small_scatter_is_evened_out(write):
    """A step of 0.05 against the trend is taken as scatter and said."""
    text = TITRATION.replace("0.3,5.0", "0.25,5.45\n0.3,5.0")
    assert read_titration(write(text)).smoothed
    assert (
        "evened out" in adjust(product(), titration=write(text), target_ph=5.2, today=TODAY).because
    )


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("0.3,5.0", "0.3,5.8"), "against the trend"),
        (("0.3,5.0", "0.1,5.0"), "running total"),
        (("0,6.4\n", ""), "before anything was added"),
        (("sample_grams,50\n", ""), "no column sample_grams"),
        (("sample_grams,50", "sample_grams,none at all"), "sample_grams"),
        (("0.3,5.0", "0.3,15"), "from 0 to 14"),
        (("0.3,5.0", "0.3,"), "ph is missing"),
        (("0.1,6.0\n0.2,5.4\n0.3,5.0\n", "0.1,6.39\n"), "too few"),
        (("0.1,6.0\n0.2,5.4\n0.3,5.0", "0.1,6.41\n0.2,6.42\n0.3,6.38"), "only; add more"),
        (("grams_added,ph", "ml,ph"), '"ml" is not known'),
    ],
)
def test_faults_of_the_file(write, change, said):
    """Each fault has one message with what to do."""
    with pytest.raises(ReadingsError) as caught:
        read_titration(write(TITRATION.replace(*change)))
    assert sum(said in m for m in caught.value.messages) == 1


def test_agents_must_agree(write):
    """An amount of one acid says nothing of another."""
    with pytest.raises(ReadingsError, match="not with Citric Acid"):
        adjust(product(), titration=write(TITRATION), agent="Citric Acid", today=TODAY)


# ---- by estimate ----


def test_estimate_by_hand():
    """0.1 mol/kg of a monoprotic acid (benzoic, pKa 4.20) from pH 4.2 to 3.9 with hydrochloric
    acid, by hand.

    Charge from -0.05 to -0.1 / (1 + 10^0.3) = -0.03339: 16.6 mmol/kg, and H+ rises by 0.063 mmol:
    16.7.
    """
    items = {"Benzoic Acid": 1.2212}  # 0.1 mol per kg
    raw = product(4.2, items, water="Water")
    found = adjust(raw, target_ph=3.9, agent="Hydrochloric Acid", agent_percent=3.6461, today=TODAY)
    # 3.6461 % is 1 mol per kg of solution: 16.7 g per kg; dehydroacetic acid in the system adds 5 %
    assert found.grams_per_kg == pytest.approx(16.7, rel=0.07)
    assert found.grams_low < found.grams < found.grams_high


def test_estimate_is_marked():
    """An estimate says so, gives its ends and asks for a titration."""
    found = adjust(product(), today=TODAY)
    assert found.basis == "estimate"
    assert "An estimate, not a measurement" in found.because
    assert "Titrate" in found.because
    assert found.grams_high >= 1.25 * found.grams


def test_unknown_buffers_widen_the_estimate():
    """Plant matter and protein hold the pH by an unknown amount: named, and the high end
    doubled."""
    known = adjust(product(), today=TODAY)
    more = adjust(product(items={"Citric Acid": 0.2, "Hydrolyzed Oat Protein": 2}), today=TODAY)
    assert "Hydrolyzed Oat Protein" in more.because
    assert more.grams_high / more.grams > 1.8 * known.grams_high / known.grams


def test_estimate_begins_below_its_low_end():
    """The first step stays below the low end of the band."""
    found = adjust(product(items={"Citric Acid": 0.2, "Hydrolyzed Oat Protein": 2}), today=TODAY)
    assert found.additions[0].grams <= 0.8 * found.grams_low + 1e-9


def test_not_measured_is_not_guessed():
    """Without a measured pH nothing is told but what to do."""
    found = adjust(product(None), today=TODAY)
    assert (found.grams, found.target_ph) == (None, None)
    assert "measure it" in found.because


def test_citrate_cannot_make_it_alkaline():
    """An agent that is not charged the right way at the target is refused."""
    found = adjust(product(4.0), target_ph=5.0, agent="Citric Acid", today=TODAY)
    assert (found.grams, found.complete) == (None, False)


@pytest.mark.parametrize("agent", ["washing powder", "Glycerin"])
def test_unknown_agent(agent):
    """What is no acid or base is refused, with those that are known."""
    with pytest.raises(ReadingsError, match="Lactic Acid"):
        adjust(product(), agent=agent, today=TODAY)


# ---- what comes with it ----


def test_lye_is_warned_of():
    """Lye comes with how to handle it, and with over-shoot."""
    found = adjust(product(3.0), agent="Sodium Hydroxide", today=TODAY)
    assert any("lye to cold water" in w for w in found.warnings)
    assert any("Over-shoot" in w for w in found.warnings)


def test_citrate_and_cationics():
    """A multiply charged acid in a cationic cream is warned of, with the charges."""
    items = {"Behentrimonium Chloride": 2, "Citric Acid": 0.2}
    found = adjust(product(6.4, items), agent="Citric Acid", target_ph=5.4, today=TODAY)
    assert any("ties cationic conditioners" in w for w in found.warnings)


def test_checks_that_get_worse():
    """A soap taken to pH 5 breaks: the pair table says so, and the result is not complete."""
    found = adjust(
        product(9.5, {"Potassium Cocoate": 5}), target_ph=5.0, agent="Lactic Acid", today=TODAY
    )
    worse = {e.check: e for e in found.effects if e.worse}
    assert {"incompatibilities", "product-ph"} <= set(worse)
    assert worse["incompatibilities"].after == "serious"
    assert not found.complete


def test_no_target_where_preservative_and_product_disagree():
    """Soap wants pH 9, the preservative at most 6: no target is chosen, and no amount told."""
    found = adjust(product(9.5, {"Potassium Cocoate": 5}), today=TODAY)
    assert (found.target_ph, found.grams) == (None, None)
    assert "no pH suits both" in found.because


def test_coarse_scale():
    """An addition below ten steps of the scale is to be diluted."""
    found = adjust(product(6.0, scale_step="1 g"), target_ph=5.4, today=TODAY)
    assert any("dilute the solution tenfold" in w for w in found.warnings)


# ---- constants ----


@pytest.mark.parametrize(
    ("written", "found"),
    [
        ("3.13/4.76/6.40", (3.13, 4.76, 6.40)),
        ("8.5-9", (8.75,)),
        ("~6", (6.0,)),
        ("3.86 (gluconic acid)", (3.86,)),
        ("<2-12", ()),
        ("multiple", ()),
    ],
)
def test_constants_as_written(written, found):
    """The table's spellings of constants."""
    assert constants(written) == pytest.approx(found)


@pytest.mark.parametrize(
    ("name", "counter"),
    [
        ("Sodium Citrate", 3),
        ("Sodium Benzoate", 1),
        ("Disodium EDTA", 2),
        ("Sodium Hydroxide", 1),
        ("Hydrochloric Acid", -1),
    ],
)
def test_counter_ions(name, counter):
    """Charges of the ions that come with one formula unit."""
    row = next(i for i in TABLES.ingredients if i.inci == name)
    assert ionic_of(row, None, name).counter_charge == counter


# ---- the command ----


def run(*arguments):
    """The command in this process."""
    return CliRunner().invoke(app, ["adjust", *map(str, arguments)], env={"COLUMNS": "80"})


@pytest.fixture
def formula_file(write):
    """A formula as a file."""
    raw = make_raw(
        {"Citric Acid": 0.2}, {SYSTEM: 0.8}, ph=6.4, use="leave-on", type="leave-in", batch="1 kg"
    )
    return write(toml_text(raw), "f.toml")


def test_command_json(formula_file, write):
    """The JSON holds the keys of the contract."""
    result = run(
        formula_file, "--titration", write(TITRATION), "--target", "5.2", "--format", "json"
    )
    data = json.loads(result.stdout)
    keys = {
        "basis",
        "target_ph",
        "agent",
        "grams",
        "grams_low",
        "grams_high",
        "additions",
        "because",
        "formula_sha256",
    }
    assert data.keys() >= keys
    assert data["basis"] == "titration"


@pytest.mark.parametrize("form", ["text", "markdown"])
def test_command_words(formula_file, write, form):
    """Text and Markdown tell what to weigh, step by step."""
    out = run(
        formula_file, "--titration", write(TITRATION), "--target", "5.2", "--format", form
    ).stdout
    assert "of 20 % Lactic Acid" in " ".join(out.split())
    assert "step" in out


def test_command_status(formula_file, write):
    """1 where no amount can be told, 2 where a file or an agent cannot be read."""
    assert run(formula_file, "--titration", write(TITRATION), "--target", "3").exit_code == 1
    assert run(formula_file, "--agent", "soot").exit_code == 2
    assert run(formula_file, "--titration", "nowhere.csv").exit_code == 2
