"""The verdicts on many formulas in words: some rows, and what they come to."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from preservecheck.checks import BY_ID
from preservecheck.errors import Hint
from preservecheck.report.document import Block, Bullets, Document, Paragraph, Section, Table
from preservecheck.report.words import label
from preservecheck.screen import frame
from preservecheck.screen.summary import COUNTED
from preservecheck.screen.table_diff import CHANGES
from preservecheck.text import number
from preservecheck.version import program

if TYPE_CHECKING:
    from preservecheck.screen.run import Job
    from preservecheck.screen.summary import Summary

# systems and reasons that a summary names
BEST = 10
FITS = (
    "Fits: no fault, and pH, free amount, solubility, dose, law, heat and spectrum pass, at the "
    "middle of its range or what the law allows. A ranking for one formula looks for dose, pH and "
    "partner too."
)
SCREEN = "A screen, not a proof: only a challenge test shows that a product is preserved."


def columns(job: Job) -> list[str]:
    """Columns of the rows."""
    return list(CHANGES) if job.since else frame.columns()


def head(job: Job, summary: Summary) -> dict[str, Any]:
    """What stands before the rows in JSON."""
    return {
        "format": 1,
        "program": program(),
        "tables_sha256": job.known().digest,
        "formula_sha256": None,
        "date": job.today.isoformat(),
        "against": list(job.against),
        "since": job.since,
        "summary": summary.to_json(),
    }


def document(job: Job, rows: Sequence[dict[str, Any]], summary: Summary) -> Document:
    """The rows that are given, as ``shards.rows_shown`` gives them, and the summary; without rows
    the summary alone."""
    if job.against == ("own",):
        asked = "each as it stands"
    elif job.against == ("all",):
        asked = "all systems, each in place of the formula's own"
    else:
        asked = ", ".join(job.against)
    return Document(
        f"{summary.formulas:,} formula{'' if summary.formulas == 1 else 's'} screened: {asked}",
        [Paragraph(_lead(job, summary))],
        [
            Section("Changed" if job.since else "Verdicts", _rows(job, rows, summary)),
            Section("Could not be read", [Bullets(_unread(summary))]),
            *(_changes(summary) if job.since else _counts(job, summary)),
        ],
        [f"{program()}, {job.today.isoformat()}", f"tables {job.known().digest[:12]}", SCREEN],
        hints=[Hint.WRITE_ALL] if 0 < len(rows) < summary.rows else [],
    )


def _lead(job: Job, summary: Summary) -> str:
    n, v = f"{summary.formulas:,}", summary.verdicts
    unread = f"; {summary.unread:,} could not be read" if summary.unread else ""
    if job.since:
        than = f"than with the tables in {job.since}"
        return f"{summary.changed:,} of {n} come off differently {than}{unread}."
    if job.against == ("own",):
        touched = v["warn"] + v["serious"] + v["unknown"]
        return (
            f"{touched:,} of {n} need a look: {v['serious']:,} with a fault, {v['warn']:,} with a "
            f"warning, {v['unknown']:,} with something unknown; {v['pass']:,} "
            f"{'passes' if v['pass'] == 1 else 'pass'} everything{unread}."
        )
    served = summary.formulas - summary.unread - summary.without_any
    return (
        f"{served:,} of {n} have at least one system that fits as it stands, "
        f"{summary.without_any:,} have none{unread}."
    )


def _rows(job: Job, rows: Sequence[dict[str, Any]], summary: Summary) -> list[Block]:
    if not rows:
        return []
    left = summary.rows - len(rows)
    more = Paragraph(f"… and {left:,} more rows." if left > 0 else "")
    if job.since:
        heads = ["formula", "system", "check", "before", "now", "why"]
        cells = [
            [r["formula"], r["system"], r["check"] or "", r["before"], r["after"], _why(r)]
            for r in rows
        ]
    else:
        heads = ["formula", "system", "verdict", "limited by"]
        cells = [[r["formula"], r["system"], _word(r), _limited(r)] for r in rows]
    return [Table(heads, cells), more]


def _why(row: dict[str, Any]) -> str:
    before, after = row["figure_before"], row["figure_after"]
    if before == after:
        return str(row["why"])
    return f"{label(row['figure'])} {_number(before)} -> {_number(after)}; {row['why']}"


def _number(value: float | None) -> str:
    return "unknown" if value is None else number(value)


def _word(row: dict[str, Any]) -> str:
    return "serious" if row["serious"] else str(row["verdict"])


def _limited(row: dict[str, Any]) -> str:
    if row["note"]:
        return str(row["note"])
    check = row["limiting_check"]
    if not check:
        return ""
    key = BY_ID[check].key
    value = row["checks"][check][key.name]["value"]
    unit = f"({key.unit})" if "," in key.unit else key.unit
    return f"{check}: {label(key.name)} {_number(value)} {unit}".rstrip()


def _unread(summary: Summary) -> list[str]:
    left = summary.unread - len(summary.faults)
    return [*summary.faults, *([f"and {left:,} more"] if left > 0 and summary.faults else [])]


def _counts(job: Job, summary: Summary) -> list[Section]:
    heads = ["check", "pass", "unknown", "warn", "serious"]
    rows = [[c, *(f"{n[w]:,}" for w in COUNTED[1:])] for c, n in summary.checks.items()]
    out = [Section("By check", [Table(heads, rows, numbers=(1, 2, 3, 4))])]
    if summary.systems and job.against != ("own",):
        best = sorted(summary.systems.items(), key=lambda s: (-s[1]["fits"], s[1]["serious"], s[0]))
        heads = ["system", "fits", "tried in", "serious in"]
        cells = [[s, *(f"{n[k]:,}" for k in ("fits", "tried", "serious"))] for s, n in best[:BEST]]
        table = Table(heads, cells, numbers=(1, 2, 3))
        out.append(Section("Which serves most", [table, Paragraph(FITS)]))
    return out


def _changes(summary: Summary) -> list[Section]:
    rows = [f"{n:,} × {text}" for text, n in summary.reasons.most_common(BEST)]
    left = len(summary.reasons) - len(rows)
    more = f"… and {left:,} other reasons." if left > 0 else ""
    title = "What changed, how often, and the rows that speak of it"
    return [Section(title, [Bullets(rows), Paragraph(more)])]
