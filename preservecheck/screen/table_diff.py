"""Two states of the tables compared: which formulas come off differently, and which changed rows
may be the reason."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from preservecheck.arrays.recipes import recipes_of
from preservecheck.checks import CHECKS
from preservecheck.checks.base import Check
from preservecheck.errors import TableError
from preservecheck.reference.load import Earlier, Tables
from preservecheck.reference.rows import TABLES
from preservecheck.screen.frame import Screen, frame_of
from preservecheck.screen.summary import COUNTED, FAULTS_SHOWN, Summary, codes_of

if TYPE_CHECKING:
    import pandas as pd

    from preservecheck.formula.materials import Material
    from preservecheck.reference.rows import Ingredient
    from preservecheck.screen.long_table import ReadFormulas

# tables that a verdict rests on
JUDGED_TABLES = tuple(t for t in TABLES if any(t in check.tables for check in CHECKS))
# the dose at which a system is tried rests on these columns; all of a table where none is named
DOSING: dict[str, frozenset[str]] = {
    "legal_limits": frozenset(),
    "conversions": frozenset(),
    "systems": frozenset({"usage_min_percent", "usage_max_percent"}),
}
# tables that speak of every formula
OF_ALL = ("product_ph", "growth_limits")
# columns that say where a value comes from or what else a thing is called, not what it is
UNJUDGED = ("aliases", "source", "locator", "basis", "recalled", "note", "state", "citation")
CHANGES = (
    "formula",
    "system",
    "check",
    "before",
    "after",
    "figure",
    "figure_before",
    "figure_after",
    "why",
)


@dataclass(frozen=True)
class Change:
    """A row of a table that is not what it was."""

    table: str
    key: str
    what: str
    names: frozenset[str]  # substances, tags, roles and systems that it speaks of
    market: str | None
    columns: frozenset[str] = frozenset()  # that differ, where both states have the row

    @property
    def text(self) -> str:
        """The change in one line."""
        return f"{self.table} {self.key}: {self.what}"

    def touches(self, check: Check) -> bool:
        """Whether it can change the verdict of a check."""
        if self.table not in check.tables:
            return False
        claimed = {c for other in CHECKS for c in other.tables.get(self.table, ())}
        if self.columns and self.columns <= claimed:
            return not self.columns.isdisjoint(check.tables[self.table])
        return True

    @property
    def doses(self) -> bool:
        """Whether it can change the dose at which a system is tried."""
        columns = DOSING.get(self.table)
        if columns is None:
            return False
        return not columns or not self.columns or not columns.isdisjoint(self.columns)


def former_tables(folder: Path, now: Tables) -> Tables:
    """The tables as they were: whole tables from a folder in place of those of today; a
    ``TableError`` where it is not there or holds none of the tables."""
    if not folder.is_dir():
        raise TableError(
            "no such folder",
            "give one with earlier tables, such as legal_limits.csv",
            where=str(folder),
        )
    if not any(Earlier(folder, now.root).holds(name) for name in TABLES):
        allowed = f"they are {', '.join(f'{n}.csv' for n in TABLES)}"
        raise TableError("holds none of the tables", allowed, where=str(folder))
    return Tables(Earlier(folder, now.root), now.own_dir)


def table_changes(before: Tables, now: Tables) -> tuple[Change, ...]:
    """Every row that was changed, added or taken out, in tables that a verdict rests on."""
    out = []
    for table in JUDGED_TABLES:
        old = {r.key_text: r for r in before.rows(table)}
        new = {r.key_text: r for r in now.rows(table)}
        for key in dict.fromkeys((*old, *new)):
            rows = [r for r in (old.get(key), new.get(key)) if r is not None]
            columns = _differing(*rows) if len(rows) > 1 else ()
            if len(rows) > 1 and not columns:
                continue
            if columns:
                what = ", ".join(f"{c} {' -> '.join(_shown(r, c) for r in rows)}" for c in columns)
            else:
                what = "new row" if key in new else "row taken out"
            markets = {getattr(r, "market", None) for r in rows}
            out.append(
                Change(
                    table,
                    key,
                    what,
                    frozenset(n for r in rows for v in r.as_dict().values() for n in _names(v)),
                    markets.pop() if len(markets) == 1 else None,
                    frozenset(columns),
                )
            )
    return tuple(out)


def _differing(before: Any, now: Any) -> tuple[str, ...]:
    """Columns whose value is another."""
    old, new = before.as_dict(), now.as_dict()
    judged = (c for c in new if c not in UNJUDGED and not c.endswith("_note"))
    return tuple(c for c in judged if old[c] != new[c])


def _shown(row: Any, column: str) -> str:
    value = row.as_dict()[column]
    return "none" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _names(value: Any) -> Iterable[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, (tuple, list)):
        for part in value:
            yield from _names(part)


@dataclass(frozen=True)
class TableDiff:
    """Screens against two states of the tables."""

    before: Screen
    now: Screen
    changes: tuple[Change, ...]

    def changed(self, before: ReadFormulas, now: ReadFormulas) -> pd.DataFrame:
        """What comes off differently, a row a formula, system and check; columns as in
        ``CHANGES``."""
        import pandas as pd

        old, new = frame_of(before, self.before), frame_of(now, self.now)
        keys = ["formula"] if self.now.systems is None else ["formula", "system"]
        pairs = (
            old[keys]
            .assign(old=np.arange(len(old)))
            .merge(new[keys].assign(new=np.arange(len(new))), on=keys, how="outer", sort=False)
        )
        both = pairs.dropna(subset=["old", "new"])
        a, b = both["old"].to_numpy(dtype=int), both["new"].to_numpy(dtype=int)
        old_codes, new_codes = codes_of(old), codes_of(new)
        out = [_came_and_went(pairs, old, new), _unread(old.iloc[a], new.iloc[b])]
        words = np.array(COUNTED, dtype=object)
        place = {name: n for n, name in enumerate(now.ids)}
        contents = _contents(now, self.now)
        for check in CHECKS:
            key = f"{check.id}.{check.key.name}"
            was, is_ = old_codes[check.id][a], new_codes[check.id][b]
            differs = np.flatnonzero(was != is_)
            if not differs.size:
                continue
            at_old, at_new = old.iloc[a[differs]], new.iloc[b[differs]]
            doses = zip(at_old["percent"], at_new["percent"], strict=True)
            each = [contents.get(place[name], _NOTHING) for name in at_new["formula"]]
            out.append(
                pd.DataFrame(
                    {
                        "formula": at_new["formula"].to_numpy(),
                        "system": at_new["system"].to_numpy(),
                        "check": check.id,
                        "before": words[was[differs]],
                        "after": words[is_[differs]],
                        "figure": check.key.name,
                        "figure_before": at_old[key].to_numpy(),
                        "figure_after": at_new[key].to_numpy(),
                        "why": [
                            self._why(check, *pair)
                            for pair in zip(each, at_new["system"], doses, strict=True)
                        ],
                    }
                )
            )
        filled = [frame for frame in out if len(frame)]
        rows = pd.concat(filled, ignore_index=True) if filled else out[0]
        order = np.argsort(rows["formula"].map(place).to_numpy(), kind="stable")
        return rows.iloc[order][list(CHANGES)].reset_index(drop=True)

    def _why(
        self, check: Check, formula: _Contents, system: str, doses: tuple[float, float]
    ) -> str:
        """Changed rows that can touch a check and speak of something in a formula."""
        systems = formula.systems if self.now.systems is None else frozenset({system})
        names = formula.names.union(*(self._parts.get(s, (s,)) for s in systems))
        moved = bool(np.isfinite(doses).all() and doses[0] != doses[1])
        out = [f"tried at {doses[0]:.4g} % before and {doses[1]:.4g} % now"] if moved else []
        for change in self.changes:
            if not (change.touches(check) or (moved and change.doses)):
                continue
            if change.table == "systems":
                speaks = change.key in systems
            else:
                speaks = change.table in OF_ALL or not change.names.isdisjoint(names)
                speaks &= change.market is None or change.market in formula.markets
            out += [change.text] if speaks else []
        return "; ".join(out) or "no changed row speaks of it alone; the changes act together"

    @cached_property
    def _parts(self) -> dict[str, tuple[str, ...]]:
        """What each system is made of, itself included."""
        return {s.id: (s.id, *(i for i, _ in s.composition)) for s in self.now.tables.systems}


@dataclass(frozen=True)
class _Contents:
    """What a formula holds, as the rows of tables name it, and where it is sold."""

    names: frozenset[str]
    systems: frozenset[str]
    markets: tuple[str, ...]


_NOTHING = _Contents(frozenset(), frozenset(), ())


def _contents(read: ReadFormulas, screen: Screen) -> dict[int, _Contents]:
    kinds = [(read.recipes, read.recipes_at)]
    if read.others:
        others = recipes_of(list(read.others.values()), screen.today)
        kinds.append((others, np.array(list(read.others), dtype=int)))
    out = {}
    for recipes, places in kinds:
        names = [_names_in(m, screen.composer.resolver.ingredients) for m in recipes.materials]
        systems: dict[int, set[str]] = defaultdict(set)
        roles = recipes.roles
        for n, system in zip(recipes.line_formula[roles.line], roles.system, strict=True):
            systems[n].add(roles.ids[system])
        ends = np.searchsorted(recipes.line_formula, np.arange(recipes.count + 1))
        for n, (place, lines) in enumerate(zip(places, pairwise(ends), strict=True)):
            materials = set(recipes.line_material[slice(*lines)].tolist())
            out[int(place)] = _Contents(
                frozenset().union(*(names[m] for m in materials)),
                frozenset(systems[n]),
                tuple(
                    screen.tables.places.get(m, (m, None))[0]
                    for m in recipes.profiles[recipes.profile[n]].markets
                ),
            )
    return out


def _names_in(material: Material, rows: Mapping[str, Ingredient]) -> frozenset[str]:
    """What rows of tables may call the substances of a raw material."""
    out = set()
    for part in material.parts:
        out |= {part.substance, f"inci:{part.substance}"}
        if (row := rows.get(part.substance)) is not None:
            out |= {f"role:{row.role}", *(f"tag:{tag}" for tag in row.tags)}
    return frozenset(out)


def _came_and_went(pairs: pd.DataFrame, old: pd.DataFrame, new: pd.DataFrame) -> pd.DataFrame:
    """Systems that only one state of the tables has."""
    import pandas as pd

    absent = "not in the tables"
    gone = old.iloc[pairs["old"][pairs["new"].isna()].astype(int)]
    new = new.iloc[pairs["new"][pairs["old"].isna()].astype(int)]
    out = [
        gone.assign(before=gone["verdict"].astype(str), after=absent, why="systems: row taken out"),
        new.assign(before=absent, after=new["verdict"].astype(str), why="systems: new row"),
    ]
    return pd.concat(out).assign(check="").reindex(columns=list(CHANGES))


def _unread(old: pd.DataFrame, new: pd.DataFrame) -> pd.DataFrame:
    """Formulas that only one state of the tables can read."""
    import pandas as pd

    was, is_ = ((f["verdict"] == "unread").to_numpy() for f in (old, new))
    at = np.flatnonzero(was != is_)
    return pd.DataFrame(
        {
            "formula": new["formula"].to_numpy()[at],
            "system": new["system"].to_numpy()[at],
            "check": "",
            "before": np.where(was[at], "unread", "read"),
            "after": np.where(is_[at], "unread", "read"),
            "figure": None,
            "figure_before": np.nan,
            "figure_after": np.nan,
            "why": np.where(is_[at], new["note"].to_numpy()[at], old["note"].to_numpy()[at]),
        }
    )


def counted(frame: pd.DataFrame, read: ReadFormulas) -> Summary:
    """How many formulas come off differently, and why."""
    out = Summary(formulas=len(read.ids), rows=len(frame), unread=len(read.faults))
    faults = list(read.faults.items())[:FAULTS_SHOWN]
    out.faults = [f"{read.ids[n]}: {text}" for n, text in faults]
    out.changed = int(frame["formula"].nunique())
    for row in frame.to_dict("records"):
        moved = f"{row['check'] or 'reading'}: {row['before']} -> {row['after']}"
        out.reasons[f"{moved}; {row['why']}"] += 1
    return out
