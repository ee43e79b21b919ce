"""What stands in the decision record, section by section; the forms only lay it out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from preservecheck.checks import CHECKS
from preservecheck.report import calculation as worked
from preservecheck.report import manual
from preservecheck.report import outline as o
from preservecheck.report.html import challenge_plan, view
from preservecheck.report.plots.style import Plot
from preservecheck.text import number
from preservecheck.units import duration_text, mass_text, temperature_text

if TYPE_CHECKING:
    from preservecheck.evidence.record import Alternative, Built, DecisionRecord

BlockKind = Literal[
    "text",
    "notice",
    "list",
    "table",
    "pairs",
    "lines",
    "plots",
    "stamp",
    "todo",
    "evidence",
    "sign",
    "pre",
    "sources",
]
# columns of a table row that are shown beside its values, or are long remarks; the JSON file holds
# them all
BESIDE = ("source", "locator", "basis", "recalled", "note")
OUTCOMES = {
    "fits": "fits",
    "fits-after-change": "fits after a change",
    "does-not-fit": "does not fit",
}
BLANKS = (
    "Batch number",
    "Made by (name)",
    "Date",
    "Signature",
    "Checked by (name)",
    "Date",
    "Signature",
)
MANUAL_WIDTH = 100


@dataclass(frozen=True)
class Block:
    """A piece of a section."""

    kind: BlockKind
    text: str = ""
    texts: Sequence[str] = ()
    heads: Sequence[str] = ()
    rows: Sequence[Sequence[str]] = ()
    numbers: Sequence[int] = ()
    data: Mapping[str, Any] = field(default_factory=dict)
    plots: Sequence[Plot] = ()


@dataclass(frozen=True)
class Section:
    """A heading and what stands under it."""

    title: str
    blocks: tuple[Block, ...]


def sections_of(built: Built, plots: Sequence[Plot]) -> list[Section]:
    """All sections in the order of the page.

    Parameters
    ----------
    built
        The record with its report.
    plots
        Its plots.
    """
    record, report = built.record, built.report
    sources = o.Sources()
    shown = view(report, sources=sources, plots=plots)
    rows = list(_row_blocks(record, sources))
    labels = o.statements(report, sources)
    plan = challenge_plan(report, sources)
    return [
        Section("What this is", (Block("notice", text=record.statement), _identity(record))),
        Section("Decision", _decision(record, shown)),
        Section("Formula", tuple(_formula(record))),
        Section("Measured", (_measured(record),)),
        Section("Composition after opening blends", (_composition(record), *_remarks(shown))),
        Section("At a glance", (Block("plots", plots=plots),)),
        Section(
            "Checks",
            (
                Block(
                    "text",
                    text="Figure, limit, verdict, chance of passing under the stated tolerances, "
                    "and source of each.",
                ),
                Block("evidence", data=shown),
            ),
        ),
        Section("How the figures come about", tuple(_worked(record))),
        Section("Alternatives looked at", _alternatives(record)),
        Section(
            "Statements for the pack",
            (Block("list", texts=labels or ["None asked for by the tables."]),),
        ),
        Section("Cautions", (Block("list", texts=report.cautions),)),
        Section("Challenge test", (Block("list", texts=plan), *_results(record))),
        Section("Not covered", (Block("list", texts=report.not_covered),)),
        Section(
            "Signed", (Block("sign", texts=BLANKS, data={"Batch number": record.batch_number}),)
        ),
        Section("Appendix A: table rows used", (Block("text", text=_rows_text(record)), *rows)),
        Section(
            "Appendix B: rules",
            tuple(
                Block("pre", text=manual.render(i, width=MANUAL_WIDTH))
                for i in (*(c.ID for c in CHECKS), "chance", "choose")
            ),
        ),
        Section(
            "Appendix C: sources",
            (Block("sources", texts=[text for _, text in sources.numbered()]),),
        ),
    ]


def _identity(record: DecisionRecord) -> Block:
    return Block(
        "pairs",
        rows=[
            ["Record of", str(record.date)],
            ["Program", record.program],
            ["Formula file", record.formula.get("path") or "none"],
            ["SHA-256 of the formula", record.formula_sha256 or "none"],
            ["SHA-256 of the tables", record.tables_sha256],
            ["Law of", str(record.formula["product"].get("on_market") or record.date)],
            ["Batch number", record.batch_number or "see the blanks under Signed"],
        ],
    )


def _decision(record: DecisionRecord, shown: Mapping[str, Any]) -> tuple[Block, ...]:
    chosen = [
        f"{s['id']}, {number(s['percent'])} %"
        + (f" ({number(s['grams'])} g)" if s["grams"] is not None else "")
        for s in record.composition["systems"]
    ]
    fits = sum(a.outcome == "fits" and not a.chosen for a in record.alternatives)
    words = (
        f"{len(record.alternatives)} systems were tried in this formula, each at the dose that "
        f"suits it; {fits} others "
        "fit as it stands."
    )
    return (
        Block(
            "pairs",
            rows=[
                ["Product", shown["product"]],
                ["Chosen preservative", "; ".join(chosen) or "none"],
                ["All preservatives in it", shown["preservatives"]],
                ["The maker's reason", record.reason or "to be written here by hand:"],
            ],
        ),
        Block("stamp", data=shown),
        Block("text", text=words),
        Block("todo", data=shown),
    )


def _formula(record: DecisionRecord) -> Iterable[Block]:
    lines = record.composition["lines"]
    for phase in record.formula["phases"]:
        said = (
            [f"heated to {temperature_text(phase['heated_to_c'])}"]
            if phase["heated_to_c"] is not None
            else []
        )
        said += (
            [f"held {duration_text(phase['held_min'])}"] if phase["held_min"] is not None else []
        )
        said += (
            [f"goes in at {temperature_text(phase['added_at_c'])}"]
            if phase["added_at_c"] is not None
            else []
        )
        mine = [w for w in lines if w["phase"] == phase["name"]]
        yield Block(
            "table",
            text=f"Phase {phase['name']}: {', '.join(said) or 'no temperature given'}",
            heads=("line", "taken as", "% of the formula", "in the batch"),
            numbers=(2, 3),
            rows=[
                [
                    w["name"],
                    w["is"],
                    number(w["percent"], 5) + (" (rest)" if w["rest"] else ""),
                    "" if w["grams"] is None else mass_text(w["grams"]),
                ]
                for w in mine
            ],
        )
    for blend, parts in record.formula["blends"].items():
        yield Block(
            "text",
            text=f"{blend} is made of: "
            + ", ".join(f"{n} {number(v, 5)} %" for n, v in parts.items()),
        )


def _measured(record: DecisionRecord) -> Block:
    m = record.formula["measured"]
    ph = "not measured" if m["ph"] is None else f"{number(m['ph'])} ± {number(m['ph_tolerance'])}"
    sample = (
        "not written down" if m["temperature_c"] is None else temperature_text(m["temperature_c"])
    )
    aw = (
        "not measured; estimated, see below"
        if m["water_activity"] is None
        else (f"{number(m['water_activity'])} ± {number(m['water_activity_tolerance'])}")
    )
    step = record.formula["product"]["scale_step_g"]
    return Block(
        "pairs",
        rows=[
            ["pH", ph],
            ["Temperature of the pH sample", sample],
            ["Water activity", aw],
            ["Thermometer", "± 2 °C"],
            ["Step of the scale", "not given" if step is None else mass_text(step)],
        ],
    )


def _composition(record: DecisionRecord) -> Block:
    return Block(
        "table",
        text="Substances, and the factors that the sums below take",
        heads=worked.SUBSTANCE_HEADS,
        numbers=(1, 3, 4, 5, 6, 7),
        rows=worked.substance_rows(record.composition),
    )


def _remarks(shown: Mapping[str, Any]) -> Iterable[Block]:
    return (
        Block("list", texts=s["texts"])
        for s in shown["beside"][:2]
        if s["title"] in ("Taken for granted", "Rows of your own that this rests on")
    )


def _worked(record: DecisionRecord) -> Iterable[Block]:
    w = record.working
    yield Block("lines", text="Shared by all", texts=worked.shared_lines(w))
    for active in w["actives"]:
        yield Block("lines", text=active["inci"], texts=list(worked.active_lines(active, w)))
    yield Block("lines", text="Water activity", texts=worked.water_activity_lines(w))
    if rows := worked.solute_rows(w):
        yield Block(
            "table",
            text="Solutes",
            heads=("solute", "model", "mol per kg of water", "K", "K3"),
            numbers=(2, 3),
            rows=rows,
        )
    yield Block(
        "text",
        text=f"Chances come from {w['draws']} draws of the readings and table values within their "
        "tolerances, "
        f"seed {w['seed']}; see rule chance in appendix B.",
    )


def _alternatives(record: DecisionRecord) -> tuple[Block, ...]:
    return (
        Block("text", text=record.order),
        Block(
            "table",
            text="Every system of the tables, best first",
            numbers=(0,),
            heads=(
                "rank",
                "system",
                "outcome",
                "dose",
                "works at pH",
                "weakest microbe",
                "why it was not taken",
            ),
            rows=[
                [str(a.rank), a.id, OUTCOMES[a.outcome], *_option(a), a.reason]
                for a in record.alternatives
            ],
        ),
    )


def _option(a: Alternative) -> list[str]:
    f, weakest = a.figures, a.figures["weakest"]
    dose = "" if f["percent"] is None else f"{number(f['percent'])} %"
    ph = (
        ""
        if f["ph_low"] is None or f["ph_high"] is None
        else f"{number(f['ph_low'])} to {number(f['ph_high'])}"
    )
    total = weakest["sum_of_ratios"]
    return [dose, ph, "" if total is None else f"{weakest['microbe']} {number(total, 2)}"]


def _results(record: DecisionRecord) -> Iterable[Block]:
    found = record.challenge
    if found is None:
        yield Block(
            "text",
            text="Results: none yet. When they are there, write this record again with --results.",
        )
        return
    yield Block(
        "text",
        text=f"Results by {found['standard']}: {found['verdict']}. "
        f"{found.get('because') or ''}".rstrip(),
    )
    yield Block(
        "table",
        text="Results by organism",
        heads=("organism", "group", "verdict", "log reductions", "because"),
        rows=[
            [
                x["name"],
                x.get("group") or "",
                str(x["verdict"]),
                "; ".join(
                    f"day {d} {'unknown' if v is None else number(v)}"
                    for d, v in x.get("log_reductions", {}).items()
                ),
                x.get("because") or "",
            ]
            for x in found.get("organisms", ())
        ],
    )
    if found.get("missing"):
        yield Block("list", texts=[f"missing: {m}" for m in found["missing"]])


def _rows_text(record: DecisionRecord) -> str:
    recalled = sum(r["basis"] == "memory" or bool(r["recalled"]) for r in record.rows)
    return (
        f"{len(record.rows)} rows; {recalled} of them hold recalled figures, which nobody has "
        "read again in "
        "their source. "
        "published: the source was read; memory: recalled; practice: common practice, no source. "
        "A star marks a "
        "recalled cell."
    )


def _row_blocks(record: DecisionRecord, sources: o.Sources) -> Iterable[Block]:
    tables: dict[str, list[list[str]]] = {}
    for r in record.rows:
        basis = (
            r["basis"]
            + (f"; law as of {r['state']}" if r["state"] else "")
            + ("; your own row" if r["own"] else "")
        )
        tables.setdefault(r["table"], []).append(
            [r["key"], _values(r), basis, sources.refer([r["source"]])]
        )
    for name, rows in tables.items():
        yield Block("table", text=name, heads=("row", "values", "basis", "source"), rows=rows)


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
