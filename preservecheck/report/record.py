"""The decision record as a document, to look at, print and sign."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

from preservecheck.checks import CHECKS
from preservecheck.report import document as d
from preservecheck.report import manual, review
from preservecheck.report.words import chance_text
from preservecheck.text import number
from preservecheck.units import duration_text, mass_text, temperature_text

if TYPE_CHECKING:
    from preservecheck.evidence.record import Alternative, Built, DecisionRecord

# columns of a table row that are shown beside its values, or are long remarks; the JSON file holds
# them all
BESIDE = ("source", "locator", "basis", "recalled", "note")
OUTCOMES = {
    "fits": "fits",
    "possible-with-warnings": "possible, with warnings",
    "fits-after-change": "fits after a change",
    "does-not-fit": "does not fit",
}
SIGNED = ("Made by (name)", "Date", "Signature", "Checked by (name)", "Date", "Signature")
SUBSTANCE_HEADS = (
    "substance",
    "%",
    "from",
    "water share",
    "share in the water phase",
    "ionic, mol/g",
    "charge, meq/g",
    "nutrient share",
)
ALTERNATIVE_HEADS = (
    "rank",
    "system",
    "outcome",
    "dose",
    "works at pH",
    "weakest microbe",
    "why it was not taken",
)
DIGITS = 5  # of figures that can be worked out again
VERIFIED = "The program can work this record out again from its JSON file alone."
NO_RESULTS = "Results: none yet. When they are there, write this record again with them."
NO_LABELS = "None asked for by the tables."
EVIDENCE = (
    "Figure, limit, verdict, chance of passing under the stated tolerances, and source of each. "
    f"{review.NUMBERS}"
)


def document(built: Built) -> d.Document:
    """All sections in the order of the page."""
    record, report = built.record, built.report
    refs = d.References()
    pieces = review.pieces(report, refs)
    beside = {section.title: section.blocks for section in pieces.beside}
    # their sources are numbered after those of the checks
    rows = [d.Paragraph(_rows_words(record)), *_rows(record, refs)]
    charts = partial(review.charts_of, report, built.tables)
    rules = [*(check.id for check in CHECKS), *manual.OTHERS]
    signed = [("Batch number", record.batch_number), *((name, None) for name in SIGNED)]
    sections: list[tuple[str, Sequence[d.Block]]] = [
        ("Decision", list(_decision(record, pieces))),
        ("Formula", list(_formula(record))),
        ("Measured", [_measured(record)]),
        (
            "Composition after opening blends",
            [_composition(record), *(b for t in review.TAKEN for b in beside.get(t, ()))],
        ),
        ("At a glance", [d.Plots(charts)]),
        ("Checks", [d.Paragraph(EVIDENCE), *pieces.checks]),
        ("How the figures come about", list(_working(record))),
        ("Alternatives looked at", _alternatives(record)),
        (review.LABELS, beside.get(review.LABELS) or [d.Bullets([NO_LABELS])]),
        (review.CAUTIONS, beside.get(review.CAUTIONS, ())),
        (review.TEST, [*beside[review.TEST], *_results(record)]),
        (review.NOT_COVERED, beside.get(review.NOT_COVERED, ())),
        ("Signed", [d.Blanks(signed, roomy=True)]),
    ]
    annexes: list[tuple[str, Sequence[d.Block]]] = [
        ("Appendix A: table rows used", rows),
        ("Appendix B: rules", list(manual.rules(rules))),
        ("Appendix C: sources", [d.Sources(list(refs.numbers))]),
    ]
    return d.Document(
        f"Decision record: {record.formula['product']['name']}",
        [d.Paragraph(record.statement, "notice"), _identity(record)],
        [
            *(d.Section(title, blocks) for title, blocks in sections),
            *(d.Section(title, blocks, annex=True) for title, blocks in annexes),
        ],
        [f"{record.statement} {record.program}, {record.date}.", VERIFIED],
        contents=True,
    )


def _identity(record: DecisionRecord) -> d.Block:
    return d.Pairs(
        [
            ("Record of", str(record.date)),
            ("Program", record.program),
            ("Formula file", record.formula.get("path") or "none"),
            ("SHA-256 of the formula", record.formula_sha256 or "none"),
            ("SHA-256 of the tables", record.tables_sha256),
            ("Law of", str(record.formula["product"].get("on_market") or record.date)),
            ("Batch number", record.batch_number or "see the blanks under Signed"),
        ]
    )


def _decision(record: DecisionRecord, pieces: review.Pieces) -> Iterator[d.Block]:
    chosen = [
        f"{s['id']}, {number(s['percent'])} %"
        + (f" ({number(s['grams'])} g)" if s["grams"] is not None else "")
        for s in record.composition["systems"]
    ]
    fits = sum(a.outcome == "fits" and not a.chosen for a in record.alternatives)
    yield d.Pairs(
        [
            ("Product", pieces.product),
            ("Chosen preservative", "; ".join(chosen) or "none"),
            ("All preservatives in it", pieces.preservatives),
            ("The maker's reason", record.reason),
        ]
    )
    yield pieces.verdict
    yield d.Paragraph(
        f"{len(record.alternatives)} systems were tried in this formula, each at the dose that "
        f"suits it; {fits} others fit as it stands."
    )
    yield review.to_do(pieces)


def _formula(record: DecisionRecord) -> Iterator[d.Block]:
    for phase in record.formula["phases"]:
        steps = (
            ("heated to", phase["heated_to_c"], temperature_text),
            ("held", phase["held_min"], duration_text),
            ("goes in at", phase["added_at_c"], temperature_text),
        )
        how = [f"{verb} {text(value)}" for verb, value, text in steps if value is not None]
        yield d.Table(
            ("line", "taken as", "% of the formula", "in the batch"),
            [
                [
                    line["name"],
                    line["is"],
                    number(line["percent"], 5) + (" (rest)" if line["rest"] else ""),
                    "" if line["grams"] is None else mass_text(line["grams"]),
                ]
                for line in record.composition["lines"]
                if line["phase"] == phase["name"]
            ],
            f"Phase {phase['name']}: {', '.join(how) or 'no temperature given'}",
            numbers=(2, 3),
        )
    for blend, parts in record.formula["blends"].items():
        inside = ", ".join(f"{n} {number(v, 5)} %" for n, v in parts.items())
        yield d.Paragraph(f"{blend} is made of: {inside}")


def _measured(record: DecisionRecord) -> d.Block:
    m = record.formula["measured"]
    step, sample = record.formula["product"]["scale_step_g"], m["temperature_c"]

    def read(name: str) -> str | None:
        if m[name] is None:
            return None
        return f"{number(m[name])} ± {number(m[f'{name}_tolerance'])}"

    temperature = "not written down" if sample is None else temperature_text(sample)
    estimated = "not measured; estimated, see below"
    return d.Pairs(
        [
            ("pH", read("ph") or "not measured"),
            ("Temperature of the pH sample", temperature),
            ("Water activity", read("water_activity") or estimated),
            ("Thermometer", "± 2 °C"),
            ("Step of the scale", "not given" if step is None else mass_text(step)),
        ]
    )


def _composition(record: DecisionRecord) -> d.Block:
    """Substances: amount, where it came from, and the factors that the sums below take."""
    rows = [
        [
            s["inci"],
            _n(s["percent"]),
            "; ".join(
                f"{p['origin']} {_n(p['percent'])} %{' (carried in)' if p['carried_in'] else ''}"
                for p in s["from"]
            ),
            _n(s["water_fraction"]),
            _n(s["water_phase_fraction"]),
            *(_n(s[k] or None, "") for k in ("ionic_mol_g", "charge_meq_g", "nutrient_fraction")),
        ]
        for s in record.composition["substances"]
    ]
    title = "Substances, and the factors that the sums below take"
    return d.Table(SUBSTANCE_HEADS, rows, title, numbers=(1, 3, 4, 5, 6, 7))


def _alternatives(record: DecisionRecord) -> list[d.Block]:
    rows = [
        [str(a.rank), a.id, OUTCOMES[a.outcome], *_option(a), a.reason] for a in record.alternatives
    ]
    title = "Every system of the tables, best first"
    return [d.Paragraph(record.order), d.Table(ALTERNATIVE_HEADS, rows, title, numbers=(0,))]


def _option(a: Alternative) -> list[str]:
    """Dose, span of pH, weakest microbe."""
    percent, low, high = (a.figures[k] for k in ("percent", "ph_low", "ph_high"))
    weakest = a.figures["weakest"]
    chance = weakest["challenge_chance"]
    return [
        "" if percent is None else f"{number(percent)} %",
        "" if low is None or high is None else f"{number(low)} to {number(high)}",
        "" if chance is None else f"{weakest['microbe']} {chance_text(chance)}",
    ]


def _results(record: DecisionRecord) -> Iterator[d.Block]:
    test = record.challenge
    if test is None:
        yield d.Paragraph(NO_RESULTS)
        return
    because = test.get("because") or ""
    yield d.Paragraph(f"Results by {test['standard']}: {test['verdict']}. {because}".rstrip())
    rows = []
    for x in test.get("organisms", ()):
        reductions = [
            f"day {d} {'unknown' if v is None else number(v)}"
            for d, v in x.get("log_reductions", {}).items()
        ]
        group, why = x.get("group") or "", x.get("because") or ""
        rows.append([x["name"], group, str(x["verdict"]), "; ".join(reductions), why])
    heads = ("organism", "group", "verdict", "log reductions", "because")
    yield d.Table(heads, rows, "Results by organism")
    yield d.Bullets([f"missing: {m}" for m in test.get("missing") or ()])


# ---- the table rows ------------------------------------------------------------------------------


def _rows_words(record: DecisionRecord) -> str:
    recalled = sum(r["basis"] == "memory" or bool(r["recalled"]) for r in record.rows)
    return (
        f"{len(record.rows)} rows; {recalled} of them hold recalled figures, which nobody has "
        "read again in their source. published: the source was read; memory: recalled; practice: "
        "common practice, no source. A star marks a recalled cell."
    )


def _rows(record: DecisionRecord, refs: d.References) -> Iterator[d.Block]:
    tables: dict[str, list[list[str]]] = {}
    for r in record.rows:
        law = f"; law as of {r['state']}" if r["state"] else ""
        own = "; your own row" if r["own"] else ""
        cells = [r["key"], _values(r), f"{r['basis']}{law}{own}", refs.refer([r["source"]])]
        tables.setdefault(r["table"], []).append(cells)
    for name, rows in tables.items():
        yield d.Table(("row", "values", "basis", "source"), rows, name)


def _values(row: Mapping[str, Any]) -> str:
    recalled = str(row["recalled"] or "")
    marked = {c.strip() for c in recalled.replace("|", ",").split(",")}
    parts = [
        f"{name} {_cell(value)}{'*' if name in marked else ''}"
        for name, value in row["values"].items()
        if name not in BESIDE and str(value) != row["key"]
    ]
    loose = recalled if recalled and not marked & set(row["values"]) else ""
    return "; ".join(parts) + (f". Recalled: {loose}" if loose else "")


def _cell(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(_cell(v) for v in value if v is not None)
    return f"{value:.12g}" if isinstance(value, float) else str(value)


# ---- how the figures come about: with nothing but the page they can be worked out again ----------


def _working(record: DecisionRecord) -> Iterator[d.Block]:
    w = record.working
    yield d.Working("Shared by all", _shared_lines(w))
    for active in w["actives"]:
        yield d.Working(active["inci"], list(_active_lines(active, w)))
    yield d.Working("Water activity", _water_activity_lines(w))
    heads = ("solute", "model", "mol per kg of water", "K", "K3")
    solutes = [
        [s["inci"], s["model"], _n(s["mol_kg"]), _n(s["k"], ""), _n(s["k3"], "")]
        for s in w["water_activity"]["solutes"]
    ]
    yield d.Table(heads, solutes, "Solutes", numbers=(2, 3, 4))
    yield d.Paragraph(
        f"Chances come from {w['draws']} draws of the readings and table values within their "
        f"tolerances, seed {w['seed']}; see rule chance in appendix B."
    )


def _shared_lines(w: Mapping[str, Any]) -> list[str]:
    """Figures that several checks use."""
    oils, binders = w["oil_to_water_volume"].items(), w["binder_percent_w_v"].items()
    given = "as written down" if w["temperature_given"] else "not written down, 25 °C taken"
    ph = "not measured" if w["ph"] is None else _n(w["ph"])
    return [
        f"water = sum of % x water share = {_n(w['water_percent'])} % of the formula",
        f"water phase = sum of % x share in the water phase = {_n(w['water_phase_percent'])} % of "
        f"the formula; its density is taken as {_n(w['constants']['water_density_g_ml'])} g/mL",
        "ionic strength I = 1000 x sum of (% x mol of charge strength per g) / water % = "
        f"{_n(w['ionic_strength_mol_kg'])} mol/kg",
        f"charges = 10 x sum of (% x meq/g) = +{_n(w['cationic_meq_kg'])} and "
        f"-{_n(w['anionic_meq_kg'])} meq/kg (surfactants, polymers and cationic preservatives); "
        f"unpaired share of the cations {_n(w['unpaired_share'])}",
        *(f"phi, volume of {o} oil over volume of water phase = {_n(phi)}" for o, phi in oils),
        *(
            f"S, {b} in the water phase = 100 x sum of dry % / water phase % = {_n(s)} % w/v"
            for b, s in binders
        ),
        f"pH of the sample {ph}, temperature {_n(w['temperature_c'])} °C ({given})",
    ]


def _active_lines(active: Mapping[str, Any], w: Mapping[str, Any]) -> Iterator[str]:
    """From the weighed amount of one active to its ratios."""
    parts = " + ".join(
        f"{_n(p['percent'])} x {_n(p['factor'])} ({p['substance']})" for p in active["parts"]
    )
    yield f"total = {parts} = {_n(active['total_percent'])} % of the formula"
    yield (
        f"C = 100 x {_n(active['total_percent'])} / {_n(w['water_phase_percent'])} = "
        f"{_n(active['total_in_water_percent'])} % w/v of the water phase"
    )
    yield from _share_lines(active, w)
    oils = " + ".join(
        f"{_n(k)} x {_n(w['oil_to_water_volume'][o])} ({o})" for o, k in active["k_oil"].items()
    )
    yield f"K phi = {oils or 'no liquid oil'} = {_n(active['oil_term'])}"
    known = [(b, k) for b, k in active["k_bind"].items() if k is not None]
    binders = " + ".join(f"{_n(k)} x {_n(w['binder_percent_w_v'][b])} ({b})" for b, k in known)
    yield f"R = 1 + {binders or 'nothing whose uptake is known'} = {_n(active['bound_ratio'])}"
    if skipped := [b for b, k in active["k_bind"].items() if k is None]:
        yield f"not counted, because no figure is known: uptake by {', '.join(skipped)}"
    yield from _free_lines(active, w)
    if active["charge_meq_g"]:
        share = "(1 - f)" if active["kind"] == "acid" else "1"
        yield f"charge = 10 x total x {_n(active['charge_meq_g'])} meq/g x {share}, in meq/kg"
    for m in active["microbes"]:
        limit, good = "no figure known", ""
        if m["mic_percent"] is not None:
            limit = f"{_n(m['mic_percent'])} % w/v"
            good = f"; the MIC is good to a factor {_n(m['factor'])}"
        free, ratio = _n(active["free_percent"]), _n(m["ratio"])
        yield f"ratio for {m['name']} = free / MIC = {free} / {limit} = {ratio}{good}"


def _share_lines(active: Mapping[str, Any], w: Mapping[str, Any]) -> Iterator[str]:
    sign = {"acid": ("-", "pH - pKa'"), "base": ("+", "pKa' - pH")}.get(active["kind"])
    if sign is None:
        yield "f = 1: the pH does not change it"
        return
    t, warmth = _n(w["temperature_c"]), ""
    if active["dh_ion_kj_mol"]:
        warmth = (
            f" + 1000 x {_n(active['dh_ion_kj_mol'])} / (R ln 10) x (1/T - 1/298.15), R = "
            f"{w['constants']['gas_constant_j_mol_k']:g} J/(mol K), T = {t} + 273.15"
        )
    yield f"A = 0.505 + 0.0008 (t - 20) + 0.00001 (t - 20)(t - 25), t = {t} °C (Davies)"
    yield (
        f"pKa' = {_n(active['pka_25c'])}{warmth} {sign[0]} A (sqrt(I)/(1 + sqrt(I)) - 0.3 I), I "
        f"at most 0.5, = {_n(active['pka_used'])}"
    )
    yield f"f = 1 / (1 + 10^({sign[1]})) = {_n(active['working_fraction'])}"


def _free_lines(active: Mapping[str, Any], w: Mapping[str, Any]) -> Iterator[str]:
    rule = "C / (K phi + R + (1 - f)/f)"
    if active["kind"] == "cation":
        rule = f"C / (K phi + R) x unpaired share {_n(w['unpaired_share'])}"
    yield f"free = {rule} = {_n(active['free_uncapped_percent'])} % w/v"
    if (g_l := active["solubility_g_l"]) is not None:
        free = _n(active["free_percent"])
        yield f"never above its solubility, {_n(g_l)} g/L = {_n(g_l / 10)} % w/v: {free} % w/v"


def _water_activity_lines(w: Mapping[str, Any]) -> list[str]:
    """How the water activity was estimated, where it was not measured."""
    aw, mass = w["water_activity"], w["constants"]["molar_mass_of_water_kg_mol"]
    if aw["measured"]:
        return [f"measured: {_n(aw['value'])} ± {_n(aw['tolerance'])}"]
    return [
        "aw = aw(uncharged solutes) x aw(salts) x aw(ideal particles); m in mol per kg of water",
        f"uncharged: X = {mass:g} x sum m / (1 + {mass:g} x sum m), ln aw = ln(1 - X) + K X^2 + "
        "K3 X^3, K and K3 the means by mole share; K = K3 = 0 where none is given",
        f"salts: ln aw = sum of (I_i / I) x ln aw of salt i alone at I, Pitzer with A = "
        f"{w['constants']['a_phi_25c']:g}: phi = 1 - |z+ z-| A sqrt(I)/(1 + 1.2 sqrt(I)) + m (2 "
        "nu+ nu-/nu) B + m^2 (2 (nu+ nu-)^1.5/nu) Cphi, B = beta0 + beta1 exp(-alpha1 sqrt(I)) + "
        f"beta2 exp(-alpha2 sqrt(I)), ln aw = -{mass:g} nu m phi; constants in the rows of solutes",
        f"ideal particles: ln aw = -{mass:g} x osmol per kg",
        f"result: {_n(aw['value'])} ± {_n(aw['tolerance'])}",
    ]


def _n(value: float | None, unknown: str = "unknown") -> str:
    return unknown if value is None else number(value, DIGITS)
