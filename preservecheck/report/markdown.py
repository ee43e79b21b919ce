"""The report as Markdown: the same data in the same order as the text, with headings and tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from preservecheck.report import outline as o

if TYPE_CHECKING:
    from preservecheck.assess.review import Report
    from preservecheck.verdict import Finding

_ESCAPED = str.maketrans({c: f"\\{c}" for c in "\\`*_[]<>|#~"})


def render(report: Report) -> str:
    """One report."""
    return "\n".join(_lines(report)) + "\n"


def render_many(reports: Sequence[Report], unread: Iterable[str] = ()) -> str:
    """Several reports and a closing summary."""
    rows = [
        [r.path or r.product.name, "warn, serious" if r.serious else r.verdict, o.counted(r.counts)]
        for r in reports
    ]
    rows += [[name, "unread", "could not be read"] for name in unread]
    parts = [render(r) + "\n---\n\n" for r in reports]
    return (
        "".join(parts)
        + "\n".join(["# Summary", "", *table(["file", "verdict", "findings"], rows)])
        + "\n"
    )


def escaped(text: str) -> str:
    """Text whose signs Markdown would otherwise take as marks."""
    return " ".join(text.translate(_ESCAPED).split())


def table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """Lines of a table."""
    return [
        f"| {' | '.join(heads)} |",
        f"|{'---|' * len(heads)}",
        *(f"| {' | '.join(map(escaped, row))} |" for row in rows),
    ]


def _list(texts: Iterable[str]) -> list[str]:
    return [f"- {escaped(text)}" for text in texts]


def _lines(report: Report) -> list[str]:
    sources = o.Sources()
    lines = [
        f"# {escaped(report.product.name)}",
        "",
        escaped(o.product_line(report)),
        "",
        f"Preservatives: {escaped(o.preservative_line(report))}",
        "",
        f"**Verdict: {escaped(o.verdict_of(report))}**",
        "",
        o.counted(report.counts),
        "",
        "## What to do",
        "",
        *_actions(report),
        "## Evidence",
        "",
        "Numbers in brackets refer to the sources at the end.",
        "",
    ]
    for check, findings in o.by_check(report):
        lines += [f"### {check}", "", *_findings(findings, sources), ""]
        if check == o.MICROBE_CHECK:
            lines += _actives(findings)
    sections = (
        ("Taken for granted", report.remarks),
        ("Rows of your own that this rests on", report.own_rows),
        ("Statements for the pack", o.statements(report, sources)),
        ("Cautions", report.cautions),
    )
    for title, texts in sections:
        if texts:
            lines += [f"## {title}", "", *_list(texts), ""]
    test = o.challenge_lines(report)
    test[-1] = f"{test[-1]} {sources.refer(report.challenge_test.sources)}".rstrip()
    lines += [
        "## Challenge test",
        "",
        *_list(test),
        "",
        "## Not covered",
        "",
        *_list(report.not_covered),
        "",
        "## Sources",
        "",
        *(f"{at}. {escaped(text)}" for at, text in sources.numbered()),
        "",
        escaped(o.SCREEN),
        "",
    ]
    return [*lines, *(f"{escaped(line)}  " for line in o.footer_lines(report))]


def _actions(report: Report) -> list[str]:
    entries = o.actions(report)
    if not entries:
        return ["Nothing has to change. Have the challenge test done on the finished product.", ""]
    out = []
    for at, action in enumerate(entries, 1):
        out += [
            f"{at}. **{action.kind}** {escaped(action.title)}: {escaped(action.because)}",
            f"   **Do:** {escaped(action.do)}",
        ]
    return [*out, ""]


def _findings(findings: Sequence[Finding], sources: o.Sources) -> list[str]:
    rows = []
    for f in findings:
        doubt = o.doubt_text(f)
        chance = o.chance_text(f.chance) + (f" (doubt from {doubt})" if doubt else "")
        own = " Rests on a row of your own." if f.own else ""
        rows.append(
            [
                o.word_of(f),
                f.about,
                f"{f.because}{own}",
                o.figures_text(o.common_figures(f)),
                chance,
                sources.refer(f.sources),
            ]
        )
    return table(["verdict", "about", "because", "figures", "chance of passing", "sources"], rows)


def _actives(findings: Sequence[Finding]) -> list[str]:
    microbes, rows = o.active_rows(findings)
    if not rows:
        return []
    first = table(
        [
            "active",
            "% of the formula",
            "% w/v of the water",
            "working share, %",
            "oil takes, K phi",
            "bound, R",
            "free, % w/v",
        ],
        [[r.name, r.total, r.in_water, r.working, r.oil, r.bound, r.free] for r in rows],
    )
    second = table(["stops it, % w/v", *microbes], [[r.name, *r.limits] for r in rows])
    return [*first, "", *second, ""]
