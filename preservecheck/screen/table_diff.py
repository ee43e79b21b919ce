"""Two states of the tables compared: which formulas come off differently, and which changed rows
may be the reason."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from preservecheck.arrays.recipes import Recipes, recipes_of
from preservecheck.checks import CHECKS
from preservecheck.checks.base import Check
from preservecheck.errors import Fault, TableError
from preservecheck.reference.load import Earlier, Tables
from preservecheck.reference.rows import TABLES
from preservecheck.screen.frame import Screen, frame_of
from preservecheck.screen.summary import COUNTED, codes_of
from preservecheck.verdict import Bools, Floats

if TYPE_CHECKING:
    import pandas as pd

    from preservecheck.screen.long_table import Taken

# what the dose hangs on at which a system is tried
DOSING = {
    "legal_limits": None,
    "conversions": None,
    "systems": {"usage_min_percent", "usage_max_percent"},
}
# columns that say where a value comes from, not what it is
UNJUDGED = ("source", "locator", "basis", "recalled", "note", "state", "citation")
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
        if self.table not in DOSING:
            return False
        columns = DOSING[self.table]
        return columns is None or not self.columns or bool(columns & self.columns)


def former_tables(folder: Path, now: Tables) -> Tables:
    """The tables as they were: whole tables from a folder in place of those of today.

    Raises
    ------
    TableError
        The folder is not there or holds none of the tables.
    """
    if not folder.is_dir():
        raise TableError(
            Fault(
                "no such folder",
                "give one with earlier tables, such as legal_limits.csv",
                where=str(folder),
            )
        )
    if not any(Earlier(folder, now.root).holds(name) for name in TABLES):
        raise TableError(
            f"{folder}: holds none of the tables; they are {', '.join(f'{n}.csv' for n in TABLES)}"
        )
    return Tables(Earlier(folder, now.root), now.own_dir)


def table_changes(before: Tables, now: Tables) -> tuple[Change, ...]:
    """Every row that was changed, added or taken out, in tables that a verdict rests on."""
    out = []
    for table in TABLES:
        if not any(table in check.tables for check in CHECKS):
            continue
        old = {r.key_text: r for r in before.rows(table)}
        new = {r.key_text: r for r in now.rows(table)}
        for key in dict.fromkeys((*old, *new)):
            was, is_ = old.get(key), new.get(key)
            columns = _differing(was, is_)
            if was is None or is_ is None or columns:
                what = _difference(was, is_, columns)
                rows = [r for r in (was, is_) if r is not None]
                names = frozenset(n for r in rows for v in r.as_dict().values() for n in _names(v))
                markets = {getattr(r, "market", None) for r in rows}
                market = markets.pop() if len(markets) == 1 else None
                out.append(Change(table, key, what, names, market, frozenset(columns)))
    return tuple(out)


def _differing(was: Any, is_: Any) -> tuple[str, ...]:
    """Columns whose value is another; none where a state does not have the row."""
    if was is None or is_ is None:
        return ()
    old, new = was.as_dict(), is_.as_dict()
    return tuple(
        c for c in new if c not in UNJUDGED and not c.endswith("_note") and old[c] != new[c]
    )


def _difference(was: Any, is_: Any, columns: Sequence[str]) -> str:
    if was is None:
        return "new row"
    if is_ is None:
        return "row taken out"
    old, new = was.as_dict(), is_.as_dict()
    return ", ".join(f"{c} {_shown(old[c])} -> {_shown(new[c])}" for c in columns)


def _shown(value: Any) -> str:
    return "none" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _names(value: Any) -> Iterable[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, (tuple, list)):
        for part in value:
            yield from _names(part)


@dataclass(frozen=True)
class Since:
    """Screens against both states of the tables.

    Parameters
    ----------
    before, now
        The screens.
    """

    before: Screen
    now: Screen

    def changed(self, taken: tuple[Taken, Taken], changes: Sequence[Change]) -> pd.DataFrame:
        """What came off differently, a row a formula, system and check; columns as in
        ``CHANGES``."""
        import pandas as pd

        old, new = frame_of(taken[0], self.before), frame_of(taken[1], self.now)
        keys = ["formula"] if self.now.systems is None else ["formula", "system"]
        pairs = (
            old[keys]
            .assign(old=np.arange(len(old)))
            .merge(new[keys].assign(new=np.arange(len(new))), on=keys, how="outer", sort=False)
        )
        both = pairs.dropna(subset=["old", "new"])
        a, b = both["old"].to_numpy(dtype=int), both["new"].to_numpy(dtype=int)
        old_codes, new_codes = codes_of(old), codes_of(new)
        out = [_came_and_went(pairs, old, new)]
        unread = _unread(old.iloc[a], new.iloc[b])
        out.append(unread)
        words = np.array(COUNTED, dtype=object)
        for check in CHECKS:
            key = f"{check.id}.{check.key.name}"
            was, is_ = old_codes[check.id][a], new_codes[check.id][b]
            here = np.flatnonzero(was != is_)
            if not here.size:
                continue
            frame = pd.DataFrame(
                {
                    "formula": new["formula"].to_numpy()[b[here]],
                    "system": new["system"].to_numpy()[b[here]],
                    "check": check.id,
                    "before": words[was[here]],
                    "after": words[is_[here]],
                    "figure": check.key.name,
                    "figure_before": old[key].to_numpy()[a[here]],
                    "figure_after": new[key].to_numpy()[b[here]],
                }
            )
            doses = (old["percent"].to_numpy()[a[here]], new["percent"].to_numpy()[b[here]])
            frame["why"] = self._why(frame, check, taken[1], changes, doses)
            out.append(frame)
        found = (
            pd.concat([f for f in out if len(f)], ignore_index=True)
            if any(len(f) for f in out)
            else out[0]
        )
        order = pd.Index(taken[1].ids).get_indexer(pd.Index(found["formula"]))
        return found.iloc[np.argsort(order, kind="stable")][list(CHANGES)].reset_index(drop=True)

    def _why(
        self,
        frame: pd.DataFrame,
        check: Check,
        taken: Taken,
        changes: Sequence[Change],
        doses: tuple[Floats, Floats],
    ) -> list[str]:
        """Changed rows that can touch a check and speak of something in the formula."""
        speaks = [_concerned(taken, c, self.now) for c in changes]
        place = {name: i for i, name in enumerate(taken.ids)}
        holds = {
            s.id: frozenset({s.id, *(i for i, _ in s.composition)}) for s in self.now.tables.systems
        }
        none = "no changed row speaks of it alone; the changes act together"
        out = []
        for formula, system, before, after in zip(
            frame["formula"], frame["system"], *doses, strict=True
        ):
            at, systems = place[formula], str(system).split(" + ")
            parts = frozenset(n for s in systems for n in holds.get(s, frozenset({s})))
            moved = np.isfinite(before) and np.isfinite(after) and before != after
            told = [
                c.text
                for c, there in zip(changes, speaks, strict=True)
                if (c.touches(check) or (moved and c.doses))
                and (
                    c.key in systems
                    if c.table == "systems"
                    else there[at] or _brought(taken, at, c, parts)
                )
            ]
            dose = [f"tried at {before:.4g} % before and {after:.4g} % now"] if moved else []
            out.append("; ".join([*dose, *told]) or none)
        return out


def _came_and_went(pairs: pd.DataFrame, old: pd.DataFrame, new: pd.DataFrame) -> pd.DataFrame:
    """Systems that only one state of the tables has."""
    import pandas as pd

    rows = []
    for row in pairs[pairs["old"].isna() | pairs["new"].isna()].to_dict("records"):
        gone = bool(np.isnan(row["new"]))
        frame, at = (old, int(row["old"])) if gone else (new, int(row["new"]))
        rows.append(
            {
                "formula": row["formula"],
                "system": frame["system"].iloc[at],
                "check": "",
                "before": str(frame["verdict"].iloc[at]) if gone else "not in the tables",
                "after": "not in the tables" if gone else str(frame["verdict"].iloc[at]),
                "why": "systems: row taken out" if gone else "systems: new row",
            }
        )
    return pd.DataFrame(rows, columns=list(CHANGES))


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


def _concerned(taken: Taken, change: Change, screen: Screen) -> Bools:
    """Formulas that hold something a changed row speaks of, in a market that it rules."""
    out = np.zeros(len(taken.ids), dtype=bool)
    kinds = [(taken.sound, taken.sound_at)]
    if taken.others:
        others = recipes_of(list(taken.others.values()), screen.today)
        kinds.append((others, np.array(list(taken.others), dtype=int)))
    rows = screen.composer.opener.ingredients
    for recipes, at in kinds:
        hit = np.array([_speaks(change, m.parts, rows) for m in recipes.materials], dtype=bool)
        lines = hit[recipes.line_material] if len(hit) else np.zeros(0, dtype=bool)
        here = np.bincount(recipes.line_formula, lines, recipes.count) > 0
        if change.table in ("product_ph", "growth_limits"):
            here = np.ones(recipes.count, dtype=bool)
        out[at] = here & _sold_in(recipes, change)
    return out


def _speaks(change: Change, parts: Iterable[Any], rows: Any) -> bool:
    for p in parts:
        row = rows.get(p.substance)
        keys = {p.substance, f"inci:{p.substance}"}
        if row is not None:
            keys |= {f"role:{row.role}", *(f"tag:{t}" for t in row.tags)}
        if keys & change.names:
            return True
    return False


def _sold_in(recipes: Recipes, change: Change) -> Bools:
    if change.market is None:
        return np.ones(recipes.count, dtype=bool)
    sold = np.array([change.market in p.markets for p in recipes.profiles], dtype=bool)
    return sold[recipes.profile]


def _brought(taken: Taken, formula: int, change: Change, parts: frozenset[str]) -> bool:
    """Whether a change speaks of what a system is made of, in a market that a formula is sold
    in."""
    if not change.names & parts:
        return False
    if change.market is None:
        return True
    if formula in taken.others:
        return change.market in taken.others[formula].formula.product.markets
    at = np.flatnonzero(taken.sound_at == formula)
    return (
        bool(at.size)
        and change.market in taken.sound.profiles[int(taken.sound.profile[at[0]])].markets
    )
