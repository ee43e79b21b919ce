"""Rows of the tables as documents: lists, one row in full, and what a search found."""

from __future__ import annotations

import datetime as dt
import difflib
import re
import textwrap
from collections.abc import Iterator, Sequence
from typing import Any

from preservecheck.errors import Fault, Hint, TableError
from preservecheck.evidence.table_rows import values_of
from preservecheck.formula.names import folded
from preservecheck.reference.columns import Compatibility, PartLimit
from preservecheck.reference.load import OWN_SOURCE, Tables
from preservecheck.reference.rows import TABLES, Row
from preservecheck.reference.state import (
    OLD_MONTHS,
    Coverage,
    LawAge,
    Standing,
    coverage,
    law_ages,
    read_shares,
    standing_of,
)
from preservecheck.report.document import (
    Bullets,
    Document,
    Pairs,
    Paragraph,
    Plots,
    Section,
    Table,
)
from preservecheck.report.plots.chart import LINES, Chart, Style, matrix

BASIS = {
    "published": "published: the source was read",
    "memory": "memory: recalled, not re-read",
    "practice": "practice: common practice, no source",
}
SYSTEM_HEADS = (
    "dose: of the system as supplied, in the whole formula; heat: hottest batch it may go into;",
    "gr+ gram-positive bacteria, gr- gram-negative bacteria, yst yeasts, mld moulds: +++ strong, "
    "++ moderate, + weak, - none.",
)
RATINGS = {"strong": "+++", "moderate": "++", "weak": "+", "none": "-", None: "?"}
# columns of the short list of a table, beside its key
COLUMNS = {
    "actives": ("role", "active_form", "pka_25c", "log_p"),
    "ingredients": ("role", "charge", "sold_as_percent"),
    "mic": ("mic_mg_l", "of_form"),
    "partition": ("oil_class", "k_oil_water", "kind"),
    "binding": ("binder_class", "k_per_percent", "kind"),
    "solutes": ("kind", "model", "confidence"),
    "growth_limits": ("group", "aw_min", "ph_min", "ph_max"),
    "markets": ("name", "positive_list", "state"),
    "legal_limits": ("entry", "scope", "kind", "max_percent"),
    "conversions": ("factor",),
    "label_rules": ("market", "scope", "threshold_percent"),
    "incompatibilities": ("effect", "severity"),
    "product_ph": ("ph_min", "ph_max"),
    "product_kinds": ("name", "aim_low", "aim_ph", "aim_high"),
    "practice": ("standing", "why"),
    "pairs": ("standing", "why"),
    "stability_windows": ("ph_min", "below", "ph_max", "above"),
    "replacements": ("by", "percent", "why"),
    "cautions": ("about", "text"),
    "challenge_criteria": ("organism_group", "day", "requirement", "value"),
    "test_organisms": ("group", "strain"),
    "sources": ("kind", "year", "title"),
}
# unit words of a column, by the end of its name; the longest end that fits counts
UNITS = {
    "_percent": "%",
    "_c": "°C",
    "_g_mol": "g/mol",
    "_g_l": "g/L",
    "_mg_l": "mg/L",
    "_kj_mol": "kJ/mol",
    "_meq_g": "meq/g",
    "_per_percent": "per % w/v",
    "_per_kg": "osmol/kg",
    "_molality": "mol/kg",
    "_log": "log10",
}
HEADS = {
    "sold_as_percent": "sold as %",
    "max_percent": "at most %",
    "mic_mg_l": "MIC, mg/L",
    "pka_25c": "pKa",
    "log_p": "log P",
    "threshold_percent": "above %",
    "k_per_percent": "k per %",
    "k_oil_water": "K",
    "aw_min": "a_w from",
    "ph_min": "pH from",
    "ph_max": "to",
}
# columns of a list that none are named for
FEW = 4
# signs of the coverage of the tables
SIGNS: dict[Standing, str] = {"read": "R", "recalled": "m", "practice": "p", "missing": "."}
SIGNS_SAID = "R read, m recalled (from memory), p common practice without a source, . missing"
# the same as drawn: full, open, small
MARKS: dict[str, Style] = {
    "read": {"marker": "s", "color": LINES[0], "markersize": 6},
    "recalled": {"marker": "s", "color": LINES[1], "markersize": 6, "fillstyle": "none"},
    "practice": {"marker": "x", "color": LINES[2], "markersize": 5},
}
# columns of the systems in the coverage
SHORT_HEADS = {
    "ph_min": "pH from",
    "ph_max": "pH to",
    "usage_min_percent": "dose from",
    "usage_max_percent": "dose to",
    "heat_limit_c": "heat",
    "with_cationic_surfactant": "cationics",
    "with_anionic_surfactant": "anionics",
    "with_nonionic_ethoxylates": "ethoxylates",
    "with_proteins": "proteins",
    "with_electrolytes": "salts",
    "gram_positive": "gram+",
    "gram_negative": "gram-",
}
# longest cell of a list, and of what a search found [characters]
BRIEF, FOUND = 44, 90
# a word of so many letters is looked for inside other words as well
LONG_WORD = 6
NOTES = ("source", "locator", "basis", "recalled", "note")


# ---- documents, each with the same as data ------------------------------------------------------


def overview(tables: Tables) -> Document:
    """All tables with the number of their rows and what a row is."""
    rows = []
    for name, model in TABLES.items():
        own = f" ({len(tables.own(name))} your own)" if tables.own(name) else ""
        about = (model.__doc__ or "").partition("\n")[0]
        rows.append([name, str(len(tables.rows(name))), f"{about}{own}"])
    table = Table(["table", "rows", "what a row is"], rows, numbers=(1,), key=(0,))
    return Document("Tables", [table], hints=[Hint.LIST_TABLES])


def overview_data(tables: Tables) -> list[dict[str, Any]]:
    """Tables with the numbers of their rows."""
    return [
        {"table": name, "rows": len(tables.rows(name)), "own": len(tables.own(name))}
        for name in TABLES
    ]


def listing(tables: Tables, name: str) -> Document:
    """The rows of one table, a line each; a star marks one's own."""
    table = table_named(name)
    if table == "systems":
        return _systems(tables)
    rows, model = tables.rows(table), TABLES[table]
    first = [c for c in model.columns if c not in (*model.key, *NOTES)][:FEW]
    columns = COLUMNS.get(table, first)
    heads = [HEADS.get(c, c.replace("_", " ")) for c in columns]
    heads.append(" / ".join(model.key).replace("_", " "))
    cells = [
        [*(_brief(getattr(row, c)) for c in columns), _starred(tables, table, row)] for row in rows
    ]
    numbers = [i for i, c in enumerate(columns) if isinstance(getattr(rows[0], c, None), float)]
    return Document(table, [Table(heads, cells, numbers=numbers)], foot=[f"{len(rows)} rows"])


def listing_data(tables: Tables, name: str) -> list[dict[str, Any]]:
    """The rows of one table, every cell in full."""
    table = table_named(name)
    return [_data(tables, table, row) for row in tables.rows(table)]


def _systems(tables: Tables) -> Document:
    """The systems as a maker picks from them."""
    rows = tables.systems
    cells = [
        [
            f"{r.ph_min:g}-{r.ph_max:g}",
            f"{r.usage_min_percent:g}-{r.usage_max_percent:g}",
            f"{r.heat_limit_c:g} °C",
            str(r.charge),
            *(RATINGS[x] for x in (r.gram_positive, r.gram_negative, r.yeast, r.mould)),
            _starred(tables, "systems", r),
        ]
        for r in rows
    ]
    heads = ["pH", "dose, %", "heat", "charge", "gr+", "gr-", "yst", "mld", "id"]
    return Document(
        "systems",
        [Table(heads, cells, key=range(8)), *(Paragraph(text) for text in SYSTEM_HEADS)],
        foot=[f"{len(rows)} rows"],
    )


def full_rows(tables: Tables, name: str, key: str) -> list[Document]:
    """The rows of that key in full: every cell with its unit and where it comes from."""
    return [full_row(tables, *place) for place in places_of(tables, name, key)]


def full_row(tables: Tables, name: str, key: str) -> Document:
    """One row in full: every field with its unit, what is recalled, and its source."""
    table = table_named(name)
    row = row_named(tables, table, key)
    own = " (your own row)" if row.key_text in tables.own(table) else ""
    recalled = getattr(row, "recalled", None) or ""
    fields = []
    for field in (f for f in row.columns if f not in NOTES):
        text = _cell(getattr(row, field))
        known = isinstance(row, Row) and field not in row.key
        mark = f"  ({standing_of(row, field)})" if known else ""
        fields.append((field, f"{text} {unit_of(field)}".rstrip() + mark if text else "not known"))
    blocks = [Pairs(fields)]
    if isinstance(row, Row):
        origin = {
            "source": source_text(tables, row),
            "locator": row.locator or "none",
            "basis": BASIS[row.basis],
            "recalled": recalled,
            "note": row.note,
        }
        blocks.append(Pairs([(name, text) for name, text in origin.items() if text]))
    return Document(f"{table}: {row.key_text}{own}", blocks)


def rows_data(tables: Tables, name: str, key: str) -> dict[str, Any] | list[dict[str, Any]]:
    """The rows of that key, every cell in full; one row by itself where it is the only one."""
    places = [(table_named(n), k) for n, k in places_of(tables, name, key)]
    found = [_data(tables, table, row_named(tables, table, k)) for table, k in places]
    return found[0] if len(found) == 1 else found


def search(tables: Tables, words: Sequence[str]) -> Document:
    """Rows of all tables that hold every word somewhere, whatever their case, accents and
    spaces."""
    found, wanted = _found(tables, words), " and ".join(words)
    if not found:
        return Document(f"Nothing in the tables holds {wanted}.", [])
    sections = []
    for table, rows in found.items():
        lines = [
            _starred(tables, table, row)
            + (f": {field} {textwrap.shorten(text, FOUND, placeholder=' …')}" if field else "")
            for row, field, text in rows
        ]
        sections.append(Section(f"{table} ({len(rows)})", [Bullets(lines)]))
    title = f"{wanted}: {sum(map(len, found.values()))} rows"
    return Document(title, [], sections, hints=[Hint.SHOW_ROW])


def search_data(tables: Tables, words: Sequence[str]) -> list[dict[str, Any]]:
    """The rows that hold every word."""
    return [
        _data(tables, table, row)
        for table, rows in _found(tables, words).items()
        for row, _, _ in rows
    ]


def _data(tables: Tables, table: str, row: Any) -> dict[str, Any]:
    own = row.key_text in tables.own(table)
    return {"table": table, "key": row.key_text, "own": own, "values": values_of(row)}


def sound(tables: Tables) -> Document:
    """That no table has a fault."""
    rows = sum(len(tables.rows(name)) for name in TABLES)
    return Document(f"No fault in {rows} rows of {len(TABLES)} tables.", [])


def age(tables: Tables, day: dt.date) -> Document:
    """How old the law of each market is on a day."""
    heads = ["market", "rows", "read", "oldest", "newest", "age"]
    rows = [
        [
            found.market.id,
            str(found.rows),
            str(found.read),
            *("no date" if d is None else d.isoformat() for d in (found.oldest, found.newest)),
            _age_said(found),
        ]
        for found in law_ages(tables, day)
    ]
    return Document(
        f"The law in the tables on {day.isoformat()}",
        [
            Table(heads, rows, numbers=(1, 2), key=(0,)),
            Paragraph(
                f"Law that is {OLD_MONTHS} months old or carries no date wants looking up again "
                "before you sell. The official journal decides."
            ),
        ],
    )


def _age_said(found: LawAge) -> str:
    match found.months:
        case None:
            return "not known"
        case 0:
            return "less than a month"
        case 1:
            return "1 month"
    return f"{found.months} months" + (": look it up" if found.is_old else "")


def age_data(tables: Tables, day: dt.date) -> list[dict[str, Any]]:
    """The age of the law of each market."""
    return [
        {
            "market": found.market.id,
            "rows": found.rows,
            "read": found.read,
            "oldest": found.oldest and found.oldest.isoformat(),
            "newest": found.newest and found.newest.isoformat(),
            "months": found.months,
            "old": found.is_old,
        }
        for found in law_ages(tables, day)
    ]


def covered(tables: Tables) -> Document:
    """What was read, what was recalled and what is missing, as matrices and as a count."""
    matrices = coverage(tables)
    counts = [
        (name, f"{read} of {total} read ({read / total:.0%})")
        for name, (read, total) in read_shares(tables).items()
    ]
    return Document(
        "Where the ground is firm and where it is thin",
        [Pairs(counts), Paragraph(SIGNS_SAID), Plots(lambda: coverage_charts(tables))],
        [Section(found.title, [Paragraph(_counted(found)), _matrix(found)]) for found in matrices],
    )


def covered_data(tables: Tables) -> dict[str, Any]:
    """The matrices and the counts."""
    return {
        "read": {
            name: {"read": read, "of": total} for name, (read, total) in read_shares(tables).items()
        },
        "matrices": [found.to_json() for found in coverage(tables)],
    }


def coverage_charts(tables: Tables) -> list[Chart]:
    """The matrices as pictures."""
    return [
        matrix(
            f"coverage-{n}",
            f"{found.title}: {_counted(found)}",
            found.rows,
            _heads(found),
            found.cells,
            MARKS,
        )
        for n, found in enumerate(coverage(tables), 1)
    ]


def _counted(found: Coverage) -> str:
    counts = [(found.count(standing), standing) for standing in SIGNS]
    return ", ".join(f"{count} {standing}" for count, standing in counts if count)


def _heads(found: Coverage) -> list[str]:
    """Names of the columns, microbes by initial."""
    return [
        re.sub(r"^(\w)\w+ (\w)", r"\1. \2", c) if " " in c else SHORT_HEADS.get(c, c)
        for c in found.columns
    ]


def _matrix(found: Coverage) -> Table:
    heads = ["", *(str(n) for n in range(1, len(found.columns) + 1))]
    rows = [
        [row, *(SIGNS[cell] for cell in cells)]
        for row, cells in zip(found.rows, found.cells, strict=True)
    ]
    named = "; ".join(f"{n} {head}" for n, head in enumerate(_heads(found), 1))
    return Table(heads, rows, title=named)


# ---- cells ---------------------------------------------------------------------------------------


def source_text(tables: Tables, row: Row) -> str:
    """A row's source in full, with its key."""
    if row.source == OWN_SOURCE:
        return "your own tables"
    source = tables.sources.get(row.source)
    return f"{source.citation} ({source.kind}; key {source.id})" if source else row.source


def unit_of(column: str) -> str:
    """Unit of a column, from the end of its name."""
    ends = [end for end in UNITS if column.endswith(end)]
    return UNITS[max(ends, key=len)] if ends else ""


def _starred(tables: Tables, table: str, row: Any) -> str:
    key: str = row.key_text
    return f"{key} *" if key in tables.own(table) else key


def _cell(value: Any) -> str:
    """A field as it is shown; empty where it is not known."""
    match value:
        case None | ():
            return ""
        case float():
            return f"{value:g}"
        case Compatibility():
            return value.word + (f": {value.reason}" if value.reason else "")
        case dt.date():
            return value.isoformat()
        case tuple():
            return "; ".join(_pieces(value))
    return str(value)


def _brief(value: Any) -> str:
    text = _cell(value)
    return text if len(text) <= BRIEF else text[: BRIEF - 2].rstrip() + " …"


def _pieces(values: tuple[Any, ...]) -> Iterator[str]:
    for value in values:
        match value:
            case PartLimit():
                best = value.preferred_add_below_c
                below = "" if best is None else f", best below {best:g} °C"
                yield f"{' + '.join(value.substances)} up to {value.heat_limit_c:g} °C{below}"
            case (str() as name, float() as share):
                yield f"{name} {100 * share:.4g} %"
            case _:
                yield str(value)


# ---- looking for rows ----------------------------------------------------------------------------


def _found(tables: Tables, words: Sequence[str]) -> dict[str, list[tuple[Any, str, str]]]:
    """Rows with the field that holds the words, by table; rows of that name first."""
    wanted = [w for w in map(folded, words) if w]
    if not wanted:
        raise TableError(Fault("there is nothing to look for", "give one word or more"))
    found = {}
    for table in TABLES:
        hits = [(row, hit) for row in tables.rows(table) if (hit := _hit(row, wanted)) is not None]
        rows = [(row, *hit) for row, hit in sorted(hits, key=lambda h: h[1] != ("", ""))]
        if rows:
            found[table] = rows
    return found


def _hit(row: Any, wanted: Sequence[str]) -> tuple[str, str] | None:
    """The field that holds the words and its text, both empty where the key does; ``None`` for no
    hit."""
    if _holds(row.key_text, wanted) == len(wanted):
        return "", ""
    cells = {name: text for name in row.columns if (text := _cell(getattr(row, name)))}
    if not all(any(_holds(text, [w]) for text in cells.values()) for w in wanted):
        return None
    shown = max(cells, key=lambda name: _holds(cells[name], wanted))
    return shown, cells[shown]


def _holds(text: str, wanted: Sequence[str]) -> int:
    """How many of the words a text holds, at the beginning of a word; long ones anywhere."""
    plain = folded(text)
    begun = {w: w in plain for w in wanted}
    if any(begun.values()):
        words = [folded(w) for w in re.split(r"[^\w]+", text)]
        begun = {
            w: found and (len(w) >= LONG_WORD or any(v.startswith(w) for v in words))
            for w, found in begun.items()
        }
    return sum(begun.values())


def table_named(written: str) -> str:
    """The table of that name, also with a hyphen or without its last letter; a ``TableError`` with
    the nearest names where there is none."""
    plain = written.strip().casefold().replace("-", "_").removesuffix(".csv")
    for name in TABLES:
        if plain in (name, name.removesuffix("s")):
            return name
    near = difflib.get_close_matches(plain, TABLES, n=2, cutoff=0.5)
    meant = f"did you mean {' or '.join(near)}? The" if near else "the"
    allowed = f"{meant} tables are {', '.join(TABLES)}"
    raise TableError(Fault(f"there is no table {written!r}", allowed))


def places_of(tables: Tables, written: str, key: str) -> list[tuple[str, str]]:
    """Table and key of each row meant; a first word that is no table begins the key, which is then
    looked for in every table."""
    if key and folded(written.removesuffix(".csv")) in {folded(t) for t in TABLES}:
        return [(written, key)]
    whole = folded(f"{written} {key}")
    found = [(t, r.key_text) for t in TABLES for r in tables.rows(t) if folded(r.key_text) == whole]
    if found:
        return found
    if key:
        return [(written, key)]
    raise TableError(Fault(f"no table has a row {written!r}", hint=Hint.LIST_TABLES))


def row_named(tables: Tables, table: str, key: str) -> Any:
    """The row with that key, without regard to case, accents and spacing; an alias of an ingredient
    will do. A ``TableError`` with the nearest names where there is none, or several."""
    rows = tables.rows(table)
    plain = folded(key)

    def called(row: Any) -> set[str]:
        return {folded(a.rpartition("@")[0] or a) for a in getattr(row, "aliases", ())}

    found = (
        [r for r in rows if r.key_text == key]
        or [r for r in rows if folded(r.key_text) == plain]
        or [r for r in rows if plain in called(r)]
    )
    if len(found) == 1:
        return found[0]
    keys = {folded(r.key_text): r.key_text for r in rows}
    near = [keys[k] for k in difflib.get_close_matches(plain, keys, n=3, cutoff=0.5)]
    near = near or [text for k, text in keys.items() if plain and plain in k][:3]
    allowed, hint = (f"did you mean {' or '.join(near)}?", None) if near else ("", Hint.LIST_TABLE)
    where: dict[str, Any] = {"place": table, "path": (table, key)}
    raise TableError(Fault(f"there is no row {key!r}", allowed, hint=hint, **where))
