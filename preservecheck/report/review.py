"""A review as a document: verdict, what to do, the evidence below, the sources last."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from preservecheck.report import document as d
from preservecheck.report import words
from preservecheck.text import join_and, number
from preservecheck.verdict import sources_of

if TYPE_CHECKING:
    from preservecheck.errors import Hint
    from preservecheck.plan.review import Report
    from preservecheck.reference.load import Tables
    from preservecheck.reference.rows import ProductKind
    from preservecheck.report.plots.chart import Chart
    from preservecheck.verdict import Figure, Finding

KIND = "Preservative review"
PRESSING: tuple[d.Word, ...] = ("serious", "warn", "unknown", "note")
# titles of what stands beside the verdict
TAKEN = ("Taken for granted", "Rows of your own that this rests on")
LABELS, CAUTIONS = "Statements for the pack", "Cautions"
TEST, NOT_COVERED = "Challenge test", "Not covered"
NUMBERS = "Numbers in brackets are those of the sources."
NOTHING, TO_TEST = (
    "Nothing has to change.",
    "Have the challenge test done on the finished product.",
)
# figures of an active, with their heads and what they are multiplied by
ACTIVE_FIGURES = {
    "total_percent": ("% of the formula", 1),
    "total_in_water_percent": ("% w/v of the water", 1),
    "undissociated_fraction": ("working share, %", 100),
    "oil_term": ("oil takes, K phi", 1),
    "bound_ratio": ("bound, R", 1),
    "free_percent": ("free, % w/v", 1),
}
LIMIT = "mic_percent"
CHANCE = "challenge_chance"


@dataclass(frozen=True)
class Pieces:
    """What a review says, piece by piece, for whoever shows them in an order of their own."""

    product: str
    preservatives: str
    verdict: d.Verdict
    actions: d.Actions
    nothing: str  # where there is no action
    checks: Sequence[d.Findings]
    beside: Sequence[d.Section]
    sources: d.Sources
    foot: Sequence[str]
    hints: Sequence[Hint]


def document(report: Report, tables: Tables | None = None) -> d.Document:
    """One review; charts are drawn where it knows its formula, with the tables it was made with."""
    p = pieces(report)
    charts = d.Plots(partial(charts_of, report, tables))
    return d.Document(
        report.product.name,
        [d.Pairs([("Product", p.product), ("Preservatives", p.preservatives)]), p.verdict],
        [
            d.Section("What to do", [to_do(p)]),
            *([d.Section("At a glance", [charts])] if report.formula else []),
            d.Section("Evidence", [d.Paragraph(NUMBERS), *p.checks]),
            *p.beside,
            d.Section("Sources", [p.sources]),
        ],
        p.foot,
        kind=KIND,
        hints=p.hints,
    )


def documents(
    reports: Sequence[Report], unread: Iterable[str] = (), tables: Tables | None = None
) -> list[d.Document]:
    """Several reviews and a summary, in which files that could not be read are named too."""
    entries = [
        d.FindingText(words.word_of(r), r.path or r.product.name, words.counted(r.counts))
        for r in reports
    ]
    entries += [d.FindingText("unread", name, "could not be read") for name in unread]
    summary = d.Document("Summary", [d.Findings("", entries)])
    return [*(document(r, tables) for r in reports), summary]


def pieces(report: Report, references: d.References | None = None) -> Pieces:
    """The pieces of a review, with the numbers of a document that has more to cite."""
    refs = references or d.References()
    checks = [_check(name, findings, refs) for name, findings in by_check(report)]
    beside = {
        **dict(zip(TAKEN, (report.remarks, report.own_rows), strict=True)),
        LABELS: statements(report, refs),
        CAUTIONS: report.cautions,
        TEST: challenge_plan(report, refs),
        NOT_COVERED: report.not_covered,
    }
    return Pieces(
        product=_product(report),
        preservatives=_preservatives(report),
        verdict=words.verdict_of(report, report.counts),
        actions=d.Actions(actions(report)),
        nothing=f"{NOTHING} {TO_TEST}" if report.challenge_test.needed else NOTHING,
        checks=checks,
        beside=[d.Section(title, [d.Bullets(texts)]) for title, texts in beside.items() if texts],
        sources=d.Sources(list(refs.numbers)),
        foot=(words.SCREEN, *words.footer(report, whole=True)),
        hints=list(dict.fromkeys(f.hint for f in report.checks if f.hint is not None)),
    )


def to_do(pieces_: Pieces) -> d.Block:
    """What to do, or that nothing has to be done."""
    return pieces_.actions if pieces_.actions.entries else d.Paragraph(pieces_.nothing)


def charts_of(report: Report, tables: Tables | None = None) -> Sequence[Chart]:
    """The charts of a formula that was reviewed."""
    from preservecheck.assess.findings import arrays_of
    from preservecheck.reference.load import load_tables
    from preservecheck.report.plots import formula

    if report.formula is None:
        return ()
    case = arrays_of(report.formula, tables or load_tables(), report.date)
    return formula.charts_of(case, report.checks)


# ---- what to do ----------------------------------------------------------------------------------


def actions(report: Report) -> list[d.Action]:
    """The steps of the plan in their order, then what no step mends, the most serious first;
    findings with the same remedy are one entry."""
    steps = list(_steps(report))
    mended = {key for step in report.plan.steps for key in step.mends} if report.plan else set()
    groups: dict[tuple[d.Word, str], list[Finding]] = {}
    for f in report.checks:
        if (f.do or f.verdict != "pass") and (f.id, f.about) not in mended:
            word: d.Word = "note" if f.verdict == "pass" else words.word_of(f)
            groups.setdefault((word, f.do or "See the evidence below."), []).append(f)
    entries = [
        d.Action(word, _title(findings), _reason(word, findings), remedy)
        for (word, remedy), findings in groups.items()
    ]
    return [*steps, *sorted(entries, key=lambda a: PRESSING.index(a.word))]


def _steps(report: Report) -> Iterator[d.Action]:
    """A step of the plan as an entry, with the findings that it mends, the worst first."""
    by_key = {(f.id, f.about): f for f in report.checks}
    for step in report.plan.steps if report.plan else ():
        findings = [by_key[key] for key in step.mends if key in by_key]
        findings.sort(key=lambda f: PRESSING.index(words.word_of(f)))
        if findings:
            word = words.word_of(findings[0])
            yield d.Action(word, _title(findings), _reason(word, findings), step.do)


def _title(findings: Sequence[Finding]) -> str:
    """Check and subjects: ``dose: phenoxyethanol``; several checks stand side by side."""
    subjects: dict[str, list[str]] = {}
    for f in findings:
        subjects.setdefault(f.id, []).append(f.about)
    alone = len(subjects) == 1
    return ", ".join(
        f"{check}: {', '.join(about)}" if alone and about != ["formula"] else check
        for check, about in subjects.items()
    )


def _reason(word: d.Word, findings: Sequence[Finding]) -> str:
    """The reason; of several microbes that of the one least held."""
    known = [(chance, f) for f in findings if (chance := f.value(CHANCE)) is not None]
    if len(known) == len(findings) > 1:
        return min(known, key=lambda pair: pair[0])[1].because
    return findings[0].because


# ---- evidence ------------------------------------------------------------------------------------


def by_check(report: Report) -> Iterator[tuple[str, list[Finding]]]:
    """Findings under their check, in the order of the report."""
    groups: dict[str, list[Finding]] = {}
    for finding in report.checks:
        groups.setdefault(finding.id, []).append(finding)
    yield from groups.items()


def _check(name: str, findings: Sequence[Finding], refs: d.References) -> d.Findings:
    return d.Findings(name, [_finding(f, refs) for f in findings], _actives(findings))


def _finding(finding: Finding, refs: d.References) -> d.FindingText:
    doubt = words.doubt_text(finding)
    chance = words.chance_text(finding.chance) + (
        f"; the doubt comes from {doubt}" if doubt else ""
    )
    sure = finding.verdict == "pass" and finding.chance == 1
    own = " Rests on a row of your own." if finding.own else ""
    alone = finding.about == "formula" or finding.subject_told
    return d.FindingText(
        words.word_of(finding),
        "" if alone else finding.about,
        finding.because + own,
        words.figures_text(common_figures(finding)),
        "" if sure else chance,
        finding.chance_told,
        refs.refer(finding.sources),
    )


def common_figures(finding: Finding) -> tuple[Figure, ...]:
    """Figures of a finding that belong to the formula or the subject, not to one active.

    An unknown one is shown only where the verdict is unknown; elsewhere it is a limit that does not
    exist.
    """
    shown = finding.verdict == "unknown"
    return tuple(f for f in finding.figures if f.of is None and (shown or f.value is not None))


def _actives(findings: Sequence[Finding]) -> list[d.Table]:
    """How much of each active is free, and what stops each microbe, where a check tells it."""
    names = list(dict.fromkeys(f.of for f in findings[0].figures if f.of is not None))
    if not names:
        return []

    def cell(finding: Finding, name: str, active: str, scale: float = 1) -> str:
        value = finding.value(name, active)
        return "not known" if value is None else number(value * scale)

    amounts = [
        [a, *(cell(findings[0], n, a, scale) for n, (_, scale) in ACTIVE_FIGURES.items())]
        for a in names
    ]
    limits = [[a, *(cell(f, LIMIT, a) for f in findings)] for a in names]
    return [
        d.Table(
            ["active", *(head for head, _ in ACTIVE_FIGURES.values())],
            amounts,
            "How much of each active is at work",
            numbers=range(1, 7),
        ),
        d.Table(
            ["active", *(f.about for f in findings)],
            limits,
            "What stops each microbe, % w/v",
            numbers=range(1, 1 + len(findings)),
        ),
    ]


# ---- beside the verdict --------------------------------------------------------------------------


def _product(report: Report) -> str:
    """What is made, for whom and where it is sold."""
    p = report.product
    parts = [
        f"{p.use} {p.type}",
        *([] if report.kind is None else [kind_taken(report.kind, given=p.kind is not None)]),
        f"for {p.users}",
        *([p.package] if p.package else []),
        f"sold in {', '.join(p.markets)}" + (f" from {p.on_market}" if p.on_market else ""),
        *([f"batch {number(p.batch_g)} g"] if p.batch_g is not None else []),
    ]
    return ", ".join(parts)


def kind_taken(kind: ProductKind, *, given: bool) -> str:
    """Which kind of product was taken, and whether the formula names it."""
    return kind.name if given else f"taken as: {kind.name}"


def _preservatives(report: Report) -> str:
    """The preservatives in it, with the percentage of each."""
    parts = []
    for p in report.preservatives:
        inside = ", ".join(f"{a.inci} {number(a.percent)} %" for a in p.actives)
        parts.append(f"{p.id}: {inside}" if p.carried_in else f"{p.id} {number(p.percent)} %")
    return "; ".join(parts) if parts else "none"


def statements(report: Report, refs: d.References) -> list[str]:
    """Statements for the pack: those that several markets ask for in the same words are one."""
    markets: dict[str, list[str]] = {}
    cited: dict[str, list[str]] = {}
    for statement in report.labels:
        markets.setdefault(statement.text, []).append(statement.market)
        cited.setdefault(statement.text, []).extend(sources_of([statement.evidence]))
    return [
        f"{', '.join(dict.fromkeys(places))}: {text} {refs.refer(cited[text])}".rstrip()
        for text, places in markets.items()
    ]


def challenge_plan(report: Report, refs: d.References) -> list[str]:
    """Which challenge test, on what, when, and why, with its sources."""
    test = report.challenge_test
    lines = [test.result] if test.result else []
    if not test.needed:
        last = f"Not asked for: {'; '.join(test.why)}."
    else:
        lines += [
            f"Needed, because {'; '.join(test.why)}.",
            f"Any one of these standards will do: {', '.join(test.standards)}. Ask which one your "
            "market takes.",
            f"Organisms: {', '.join(test.organisms)}.",
        ]
        days = join_and([str(d) for d in test.days])
        last = f"Counts after {days} days, on the final formula, in its pack, at its final pH."
    return [*lines, f"{last} {refs.refer(test.sources)}".rstrip()]
