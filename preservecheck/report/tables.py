"""Rows of the tables for a terminal: lists, one row in full, and what a search found."""

from __future__ import annotations

import datetime as dt
import difflib
import re
import textwrap
from collections.abc import Iterator, Sequence
from typing import Any

from preservecheck.errors import TableError
from preservecheck.formula.names import folded
from preservecheck.reference.columns import Compatibility, PartLimit
from preservecheck.reference.load import OWN_SOURCE, Tables
from preservecheck.reference.row import Row
from preservecheck.reference.rows import TABLES
from preservecheck.reference.rows_materials import System

BASIS = {
    "published": "published: the source was read",
    "memory": "memory: recalled, not re-read",
    "practice": "practice: common practice, no source",
}
RATINGS = {"strong": "+++", "moderate": "++", "weak": "+", "none": "-", None: "?"}
# columns of the short list of each table, beside its key
COLUMNS = {
    "actives": ("role", "active_form", "pka_25c", "log_p"),
    "ingredients": ("role", "charge", "sold_as_percent"),
    "mic": ("mic_mg_l", "of_form"),
    "partition": ("oil_class", "k_oil_water", "kind"),
    "binding": ("binder_class", "k_per_percent", "kind"),
    "solutes": ("kind", "model", "confidence"),
    "growth_limits": ("group", "aw_min", "ph_min", "ph_max"),
    "legal_limits": ("entry", "scope", "kind", "max_percent"),
    "conversions": ("factor",),
    "label_rules": ("market", "scope", "threshold_percent"),
    "incompatibilities": ("effect", "severity"),
    "product_ph": ("ph_min", "ph_max"),
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
# longest cell of a list [characters]
BRIEF = 44
# a word of so many letters is looked for inside other words as well
LONG_WORD = 6
NOTES = ("source", "locator", "basis", "recalled", "note")


def render_tables(tables: Tables, *, width: int) -> str:
    """All tables with the number of their rows and what a row is."""
    lines = []
    longest = max(map(len, TABLES))
    for name, model in TABLES.items():
        own = f" ({len(tables.own(name))} your own)" if tables.own(name) else ""
        about = (model.__doc__ or "").partition("\n")[0]
        lines += textwrap.wrap(
            f"{about}{own}",
            width,
            initial_indent=f"{name:<{longest}} {len(tables.rows(name)):>5}  ",
            subsequent_indent=" " * (longest + 8),
        )
    lines += [
        "",
        *textwrap.wrap(
            "'preservecheck tables list TABLE' lists a table, 'tables show TABLE KEY' prints a "
            "row in "
            "full, 'tables search WORDS' looks in all of them.",
            width,
        ),
    ]
    return "\n".join(lines) + "\n"


def render_list(tables: Tables, table: str) -> str:
    """The rows of one table, a line each; the key stands last, so that it is never broken; a star
    marks one's own."""
    table = table_named(table)
    rows = tables.rows(table)
    if table == "systems":
        return _systems(rows, tables)
    from tabulate import tabulate

    columns = COLUMNS[table]
    heads = [
        *(HEADS.get(c, c.replace("_", " ")) for c in columns),
        " / ".join(TABLES[table].key).replace("_", " "),
    ]
    cells = [
        [*(_brief(getattr(row, c)) for c in columns), _starred(tables, table, row)] for row in rows
    ]
    text = tabulate(cells, heads, "plain", disable_numparse=True)
    return "\n".join(line.rstrip() for line in text.splitlines()) + f"\n\n{len(rows)} rows\n"


def _systems(rows: Sequence[System], tables: Tables) -> str:
    """The systems as a maker picks from them."""

    def rating(row: System) -> str:
        return "".join(
            f"{RATINGS[r]:<5}" for r in (row.gram_positive, row.gram_negative, row.yeast, row.mould)
        )

    lines = [
        f"{'pH':<9}{'dose, %':<10}{'heat':<7}{'charge':<10}"
        f"{'gr+':<5}{'gr-':<5}{'yst':<5}{'mld':<5}id"
    ]
    lines += [
        f"{f'{r.ph_min:g}-{r.ph_max:g}':<9}{f'{r.usage_min_percent:g}-{r.usage_max_percent:g}':<10}"
        f"{f'{r.heat_limit_c:g} °C':<7}{r.charge:<10}{rating(r)}{_starred(tables, 'systems', r)}"
        for r in rows
    ]
    lines += [
        "",
        "dose: of the system as supplied, in the whole formula; heat: hottest batch it may go "
        "into;",
        "gr+ gram-positive bacteria, gr- gram-negative bacteria, yst yeasts, mld moulds:",
        "+++ strong, ++ moderate, + weak, - none.",
        f"{len(rows)} rows",
    ]
    return "\n".join(lines) + "\n"


def _starred(tables: Tables, table: str, row: Any) -> str:
    key: str = row.key_text
    return f"{key} *" if key in tables.own(table) else key


def render_row(tables: Tables, table: str, key: str, *, width: int) -> str:
    """One row in full: every field with its unit, what is recalled, and its source.

    Raises
    ------
    TableError
        No such table or row; the nearest names are given.
    """
    table = table_named(table)
    row = row_named(tables, table, key)
    own = "  (your own row)" if row.key_text in tables.own(table) else ""
    lines = [f"{table}: {row.key_text}{own}", ""]
    recalled = getattr(row, "recalled", None) or ""
    marked = {c.strip() for c in re.split("[,|]", recalled)}
    fields = [f for f in row.columns if f not in NOTES]
    longest = min(28, max(map(len, fields)))
    for name in fields:
        value = getattr(row, name)
        text = _cell(value)
        if text:
            text = f"{text} {unit_of(name)}".rstrip() + ("  (recalled)" if name in marked else "")
        lines += _field(name, text or "not known", longest, width)
    if isinstance(row, Row):
        lines += [
            "",
            *_field("source", source_text(tables, row), longest, width),
            *_field("locator", row.locator or "none", longest, width),
            *_field("basis", BASIS[row.basis], longest, width),
        ]
        lines += _field("recalled", recalled, longest, width) if recalled else []
        lines += _field("note", row.note, longest, width) if row.note else []
    return "\n".join(lines) + "\n"


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


def _field(name: str, text: str, longest: int, width: int) -> list[str]:
    return textwrap.wrap(
        text,
        width,
        initial_indent=f"{name:<{longest}}  ",
        subsequent_indent=" " * (longest + 2),
        break_on_hyphens=False,
    )


def render_search(tables: Tables, words: Sequence[str], *, width: int) -> str:
    """Rows of all tables that hold every word somewhere, without regard to case, accents and
    spacing."""
    wanted = [w for w in map(folded, words) if w]
    if not wanted:
        raise TableError("give one word or more to look for")
    lines: list[str] = []
    count = 0
    for table in TABLES:
        found = [
            (row, where) for row in tables.rows(table) if (where := _hit(row, wanted)) is not None
        ]
        found.sort(key=lambda hit: hit[1] != "")  # rows of that name first
        count += len(found)
        if found:
            lines.append(f"{table} ({len(found)})")
        for row, where in found:
            lines += textwrap.wrap(
                f"{_starred(tables, table, row)}{where}",
                width,
                initial_indent="  ",
                subsequent_indent="      ",
                break_on_hyphens=False,
            )
    if not count:
        return f"Nothing in the tables holds {' and '.join(words)}.\n"
    return (
        "\n".join(
            [*lines, "", f"{count} rows; 'preservecheck tables show TABLE KEY' prints one in full"]
        )
        + "\n"
    )


def _hit(row: Any, wanted: Sequence[str]) -> str | None:
    """Where a row holds all words: empty where its key does, else the field; ``None`` where it does
    not."""
    if _holds(row.key_text, wanted) == len(wanted):
        return ""
    cells = {name: text for name in row.columns if (text := _cell(getattr(row, name)))}
    if not all(any(_holds(text, [w]) for text in cells.values()) for w in wanted):
        return None
    shown = max(cells, key=lambda name: _holds(cells[name], wanted))
    return f": {shown} {textwrap.shorten(cells[shown], 90, placeholder=' …')}"


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
    """The table of that name, also with a hyphen or without its last letter.

    Raises
    ------
    TableError
        There is none.
    """
    plain = written.strip().casefold().replace("-", "_").removesuffix(".csv")
    for name in TABLES:
        if plain in (name, name.removesuffix("s")):
            return name
    near = difflib.get_close_matches(plain, TABLES, n=2, cutoff=0.5)
    meant = f"did you mean {' or '.join(near)}? " if near else ""
    raise TableError(f"there is no table {written!r}; {meant}The tables are {', '.join(TABLES)}")


def row_named(tables: Tables, table: str, key: str) -> Any:
    """The row with that key, without regard to case, accents and spacing; an alias of an ingredient
    will do.

    Raises
    ------
    TableError
        There is none, or several.
    """
    rows = tables.rows(table)
    plain = folded(key)
    found = (
        [r for r in rows if r.key_text == key]
        or [r for r in rows if folded(r.key_text) == plain]
        or [
            r
            for r in rows
            if plain in {folded(a.rpartition("@")[0] or a) for a in getattr(r, "aliases", ())}
        ]
    )
    if len(found) == 1:
        return found[0]
    keys = {folded(r.key_text): r.key_text for r in rows}
    near = [keys[k] for k in difflib.get_close_matches(plain, keys, n=3, cutoff=0.5)]
    near = near or [text for k, text in keys.items() if plain and plain in k][:3]
    meant = (
        f"did you mean {' or '.join(near)}?"
        if near
        else f"'preservecheck tables list {table}' shows them all"
    )
    raise TableError(f"{table}: there is no row {key!r}; {meant}")


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
                below = (
                    ""
                    if value.preferred_add_below_c is None
                    else f", best below {value.preferred_add_below_c:g} °C"
                )
                yield f"{' + '.join(value.substances)} up to {value.heat_limit_c:g} °C{below}"
            case (str() as name, float() as share):
                yield f"{name} {100 * share:.4g} %"
            case _:
                yield str(value)
