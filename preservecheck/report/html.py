"""The report as one web page that needs nothing else: the same data in the same order, with
plots."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from preservecheck.report import outline as o
from preservecheck.report.text import printable

if TYPE_CHECKING:
    import jinja2

    from preservecheck.assess.review import Report
    from preservecheck.reference.load import Tables
    from preservecheck.report.plots.style import Plot
    from preservecheck.verdict import Finding

ACTIVE_HEADS = (
    "active",
    "% of the formula",
    "% w/v of the water",
    "working share, %",
    "oil takes, K phi",
    "bound, R",
    "free, % w/v",
)


def render(report: Report, *, tables: Tables | None = None) -> str:
    """One report.

    Parameters
    ----------
    report
        The report; plots are drawn where it knows its formula.
    tables
        The tables that it was made with; default the shipped ones with the user's own rows.
    """
    return page(
        "review.html",
        title=f"{report.product.name}: preservative review",
        views=[view(report, tables)],
        summary=[],
        foot=o.SCREEN,
    )


def render_many(
    reports: Sequence[Report], unread: Iterable[str] = (), *, tables: Tables | None = None
) -> str:
    """Several reports and a closing summary in one page."""
    rows = [
        [r.path or r.product.name, "warn, serious" if r.serious else r.verdict, o.counted(r.counts)]
        for r in reports
    ]
    rows += [[name, "unread", "could not be read"] for name in unread]
    views = [view(r, tables, prefix=f"r{i}-") for i, r in enumerate(reports, 1)]
    return page(
        "review.html", title="Preservative reviews", views=views, summary=rows, foot=o.SCREEN
    )


def page(template: str, **values: Any) -> str:
    """A page from one of the templates; everything put in is escaped."""
    text = environment().get_template(template).render(**values)
    return "\n".join(line.rstrip() for line in text.splitlines() if line.strip()) + "\n"


@lru_cache(maxsize=2)
def environment(*beside: str) -> jinja2.Environment:
    """The templates of the reports, with those of other packages beside them.

    Parameters
    ----------
    beside
        Packages with a folder ``templates``; ours win over theirs.
    """
    from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    def plain(value: Any) -> Any:
        """No signs that a page may not hold."""
        return (
            printable(value) if isinstance(value, str) and not isinstance(value, Markup) else value
        )

    return Environment(
        loader=ChoiceLoader(
            [PackageLoader(package) for package in ("preservecheck.report", *beside)]
        ),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=plain,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def view(
    report: Report,
    tables: Tables | None = None,
    *,
    prefix: str = "",
    sources: o.Sources | None = None,
    plots: Sequence[Plot] | None = None,
) -> dict[str, Any]:
    """What a template shows of a report, as plain texts in the order of the page.

    Parameters
    ----------
    report
        The report.
    tables
        The tables that it was made with.
    prefix
        Begins the ids of its plots, where several reports share a page.
    sources
        Numbers of the sources, where the page has more to cite.
    plots
        Its plots, where they are drawn already.
    """
    sources = sources or o.Sources()
    checks = [
        {
            "name": check,
            "findings": [_finding(f, sources) for f in findings],
            "tables": actives(findings) if check == o.MICROBE_CHECK else [],
        }
        for check, findings in o.by_check(report)
    ]
    sections = (
        ("Taken for granted", report.remarks),
        ("Rows of your own that this rests on", report.own_rows),
        ("Statements for the pack", o.statements(report, sources)),
        ("Cautions", report.cautions),
        ("Challenge test", challenge_plan(report, sources)),
        ("Not covered", report.not_covered),
    )
    return {
        "name": report.product.name,
        "product": o.product_line(report),
        "preservatives": o.preservative_line(report),
        "word": "serious" if report.serious else report.verdict,
        "verdict": o.verdict_of(report),
        "counted": o.counted(report.counts),
        "checks": checks,
        "screen": o.SCREEN,
        "actions": [
            {"kind": a.kind, "title": a.title, "because": a.because, "do": a.do}
            for a in o.actions(report)
        ],
        "plots": _plots(report, tables, prefix) if plots is None else plots,
        "beside": [{"title": title, "texts": texts} for title, texts in sections if texts],
        "sources": [text for _, text in sources.numbered()],
        "foot": o.footer_lines(report),
    }


def _finding(finding: Finding, sources: o.Sources) -> dict[str, Any]:
    doubt = o.doubt_text(finding)
    likely = o.chance_text(finding.chance) + (f"; the doubt comes from {doubt}" if doubt else "")
    sure = finding.verdict == "pass" and finding.chance == 1
    own = " Rests on a row of your own." if finding.own else ""
    alone = finding.about == "formula" or finding.because.startswith(finding.about)
    return {
        "word": o.word_of(finding),
        "about": "" if alone else finding.about,
        "because": finding.because + own,
        "figures": o.figures_text(o.common_figures(finding)),
        "chance": "" if sure else likely,
        "refs": sources.refer(finding.sources),
    }


def actives(findings: Sequence[Finding]) -> list[dict[str, Any]]:
    """The two tables on what is free and what stops each microbe."""
    names, rows = o.active_rows(findings)
    if not rows:
        return []
    return [
        {
            "caption": "How much of each active is at work",
            "heads": ACTIVE_HEADS,
            "numbers": range(1, 7),
            "rows": [
                [r.name, r.total, r.in_water, r.working, r.oil, r.bound, r.free] for r in rows
            ],
        },
        {
            "caption": "What stops each microbe, % w/v",
            "heads": ["active", *names],
            "numbers": range(1, 1 + len(names)),
            "rows": [[r.name, *r.limits] for r in rows],
        },
    ]


def challenge_plan(report: Report, sources: o.Sources) -> list[str]:
    """The challenge-test reminder with its sources."""
    lines = o.challenge_lines(report)
    return [*lines[:-1], f"{lines[-1]} {sources.refer(report.challenge_test.sources)}".rstrip()]


def _plots(report: Report, tables: Tables | None, prefix: str) -> tuple[Plot, ...]:
    if report.formula is None:
        return ()
    from preservecheck.arrays.formulas import formula_arrays
    from preservecheck.assess.review import composer_for, table_arrays_for
    from preservecheck.reference.load import load_tables
    from preservecheck.report.plots.review import plots_of

    tables = tables or load_tables()
    composition = composer_for(tables).compose(report.formula)
    return plots_of(
        formula_arrays([composition], table_arrays_for(tables), report.date),
        report.checks,
        prefix=prefix,
    )
