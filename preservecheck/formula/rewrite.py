"""Writes a formula file anew with the changes of an edited formula, and leaves everything else as
its maker wrote it: comments, order, layout, units, styles.

What changes is told from the two formulas alone. The bytes are read again before they are handed
over, and must give the edited formula.
"""

from __future__ import annotations

import csv
import datetime as dt
import difflib
import io
import math
import re
import tempfile
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from preservecheck.errors import FormulaError
from preservecheck.files import csv_dialect
from preservecheck.formula import sheets as form
from preservecheck.formula.build import readings_file
from preservecheck.formula.edit import without_empty_phases
from preservecheck.formula.faults import MAX_NOTE
from preservecheck.formula.grid import Cell, Grid, csv_grid
from preservecheck.formula.grid import text as cell_text
from preservecheck.formula.load import load_formula, read_raw
from preservecheck.formula.model import AmountKind, Formula, Line, Phase
from preservecheck.formula.names import folded, names_of, phase_key
from preservecheck.reference.load import Tables, load_tables
from preservecheck.units import duration_min, mass_g, shelf_life_months, temperature_c

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.worksheet.worksheet import Worksheet

# of an amount [decimals]; of a quantity, whose unit may be a large one [digits]
DECIMALS, DIGITS = 6, 9
# two amounts are one where they differ by the noise of binary numbers, or by the last decimal
_NOISE, _LAST_DECIMAL = 1e-9, 5.1e-7
_RENAMED = {
    "batch_g": "batch",
    "scale_step_g": "scale_step",
    "shelf_life_months": "shelf_life",
    "temperature_c": "temperature",
    "heated_to_c": "heated_to",
    "held_min": "held",
    "added_at_c": "added_at",
}
_UNITS: Mapping[str, tuple[Callable[[str], float], str]] = {
    "batch": (mass_g, "g"),
    "scale_step": (mass_g, "g"),
    "shelf_life": (shelf_life_months, "months"),
    "temperature": (temperature_c, "°C"),
    "heated_to": (temperature_c, "°C"),
    "added_at": (temperature_c, "°C"),
    "held": (duration_min, "min"),
}
_AMOUNT_UNIT = {"percent": "%", "grams": "g"}
_LINE_KEYS = ("ingredient", "preservative", "percent", "grams", "rest", "strength", "note")
_QUANTITY = re.compile(r".*\d[.,]?(\s*)(\D+)", re.DOTALL)
_CHANGES_SHEET = "Read me (changes)"
# parts of a workbook that openpyxl does not write again
_LOST = re.compile(r"xl/(charts|media|embeddings|pivot\w*|slicers|ctrlProps)/|xl/drawings/drawing")


# ---- what changes ----


@dataclass(frozen=True)
class Change:
    """One change, in the units of the file."""

    phase: str | None
    name: str  # of a field, or of what a line holds
    was: str | None  # None: it is new
    now: str | None  # None: it is gone

    @property
    def remark(self) -> str:
        """What is written beside it."""
        return "new" if self.was is None else f"was {self.was}"

    def text(self) -> str:
        """The change as a list of changes shows it."""
        place = "" if self.phase is None else f"{self.phase}: "
        if self.now is None:
            return _printable(f"{place}removed {self.name}" + (f", {self.was}" if self.was else ""))
        return _printable(f"{place}{self.name}" + (f" {self.now}" if self.now else "")) + (
            f", {_printable(self.remark)}"
        )


@dataclass(frozen=True)
class _Value:
    """A value as a file writes it: ``104 °F`` is the number 104 with the rest behind it."""

    plain: Any  # number, text, list or day
    number: float | None = None  # where a unit stands behind

    def text(self) -> str:
        if isinstance(self.plain, (int, float)):
            return _positional(float(self.plain))
        return ", ".join(self.plain) if isinstance(self.plain, list) else str(self.plain)


@dataclass(frozen=True)
class _Field:
    key: str  # as TOML calls it
    new: _Value | None  # None: taken out
    change: Change


@dataclass(frozen=True)
class _Slot:
    """A line of a phase; of a new one ``old`` is ``None``, of one that goes ``line``."""

    old: int | None
    line: Line | None
    change: Change | None = None  # None: it stays as it is


@dataclass(frozen=True)
class _PhaseSlot:
    old: int | None
    phase: Phase | None
    fields: tuple[_Field, ...]
    lines: tuple[_Slot, ...]
    change: Change | None = None  # of a phase that is new or gone

    def changes(self) -> Iterator[Change]:
        if self.change is not None:
            yield self.change
        yield from (f.change for f in self.fields)
        yield from (s.change for s in self.lines if s.change is not None)


@dataclass(frozen=True)
class _Plan:
    """Everything that changes in a file."""

    raw: Mapping[str, Any]
    after: Formula
    product: tuple[_Field, ...]
    measured: tuple[_Field, ...]
    phases: tuple[_PhaseSlot, ...]
    decimals: int

    @property
    def changes(self) -> tuple[Change, ...]:
        fields = tuple(f.change for f in (*self.product, *self.measured))
        return fields + tuple(c for p in self.phases for c in p.changes())


def _decimals(after: Formula) -> int:
    """Decimals of an amount: more where rounding would leave too little for the rest line."""
    lines = [line for p in after.phases for line in p.lines]
    whole = 100.0 if after.amounts == "percent" else after.product.batch_g or math.inf
    total = sum(round(line.amount or 0.0, DECIMALS) for line in lines)
    return 2 * DECIMALS if any(x.rest for x in lines) and total > whole else DECIMALS


def _plan(raw: Mapping[str, Any], before: Formula, after: Formula) -> _Plan:
    unit, decimals = _temperature_like(raw), _decimals(after)
    product, measured = (
        tuple(_fields(None, raw.get(name, {}), getattr(before, name), getattr(after, name), unit))
        for name in ("product", "measured")
    )
    phases = tuple(_phase_slots(raw, before, after, unit, decimals))
    return _Plan(raw, after, product, measured, phases, decimals)


def _temperature_like(raw: Mapping[str, Any]) -> str | None:
    """A temperature of the file, whose unit a new one takes."""
    parts = [(p, k) for p in raw["phase"] for k in ("added_at", "heated_to")]
    for part, key in (*parts, (raw.get("measured", {}), "temperature")):
        value = part.get(key)
        if isinstance(value, str) and readings_file(value) is None:
            return value
    return None


def _fields(
    phase: str | None, raw: Mapping[str, Any], before: Any, after: Any, unit: str | None
) -> Iterator[_Field]:
    """The fields of a product, of the readings or of a phase that differ."""
    for name in type(after).model_fields:
        if name in ("lines", "added_at_from") or (phase is not None and name == "name"):
            continue
        old, new, key = getattr(before, name, None), getattr(after, name), _RENAMED.get(name, name)
        # a temperature that was read in a file of readings gives way to one that is written out
        fixed = getattr(before, "added_at_from", None) and not getattr(after, "added_at_from", None)
        if _same(old, new) and not (fixed and name in ("added_at_c", "heated_to_c")):
            continue
        value = _value(key, new, raw.get(key), unit)
        if value is not None and value.plain == raw.get(key):
            continue
        was = None if raw.get(key) is None else _was(key, old, raw[key])
        now = None if value is None else value.text()
        yield _Field(key, value, Change(phase, _label(key), was, now))


def _was(key: str, old: Any, raw: Any) -> str:
    """An old value in words; in a sheet its unit may stand in the heading, in small letters."""
    value = _value(key, old, raw, None) if readings_file(raw) is None else None
    return (value or _Value(raw)).text()


def _label(key: str) -> str:
    return "pH" + key[2:].replace("_", " ") if key.startswith("ph") else key.replace("_", " ")


def _value(key: str, value: Any, old: Any, unit: str | None) -> _Value | None:
    """A value of the model as the file writes it, in the unit that it had."""
    if value is None:
        return None
    if key in _UNITS:
        parse, default = _UNITS[key]
        like = old if isinstance(old, str) and readings_file(old) is None else None
        if like is None and parse is temperature_c:
            like = unit
        match = _QUANTITY.fullmatch(like.strip()) if like else None
        gap, own = match.groups() if match else (" ", default)
        own = own.replace("°c", "°C").replace("°f", "°F")
        zero, thousand = parse(f"0 {own}"), parse(f"1000 {own}")
        written = _positional((value - zero) / (thousand - zero) * 1000, digits=DIGITS)
        return _Value(f"{written}{gap}{own}", float(written))
    if isinstance(value, tuple):
        return _Value(list(value))
    number = isinstance(value, (int, float))
    return _Value(_number_like(float(value), old) if number else value)


def _number_like(value: float, old: object, decimals: int = DECIMALS) -> int | float:
    """A number rounded as it is written; a whole one stays whole where the old one was."""
    rounded = round(value, decimals)
    if rounded == 0:
        rounded = float(f"{value:.3g}")
    return int(rounded) if isinstance(old, int) and rounded.is_integer() else rounded


def _positional(value: float, *, digits: int | None = None, decimals: int = 15) -> str:
    """A number without exponent and trailing zeros, such as ``100.4``."""
    if digits is not None:
        value = float(f"{value:.{digits}g}")
    text = f"{value:.{decimals}f}" if abs(value) < 1e-4 else repr(value)  # noqa: PLR2004
    return text.rstrip("0").rstrip(".") if "." in text else text


def _phase_slots(
    raw: Mapping[str, Any], before: Formula, after: Formula, unit: str | None, decimals: int
) -> Iterator[_PhaseSlot]:
    keys = [[phase_key(p.name) for p in f.phases] for f in (before, after)]
    for old, new in _aligned(*keys, replace=False):
        was = None if old is None else before.phases[old]
        now = None if new is None else after.phases[new]
        part = raw["phase"][old] if old is not None else {}
        name = (was or now).name  # type: ignore[union-attr]
        fields = () if now is None else tuple(_fields(name, part, was, now, unit))
        told = [None if phase is None else "" for phase in (was, now)]
        change = Change(None, f"phase {name}", *told) if None in told else None
        kinds = before.amounts, after.amounts
        lines = _line_slots(name, _lines_of(was), _lines_of(now), kinds, decimals)
        yield _PhaseSlot(old, now, fields, tuple(lines), change)


def _lines_of(phase: Phase | None) -> tuple[Line, ...]:
    return phase.lines if phase is not None else ()


def _line_slots(
    phase: str,
    before: Sequence[Line],
    after: Sequence[Line],
    kinds: tuple[AmountKind, AmountKind],
    decimals: int,
) -> Iterator[_Slot]:
    keys = [[(x.kind, folded(x.name), x.name) for x in lines] for lines in (before, after)]
    for old, new in _aligned(*keys):
        was = None if old is None else before[old]
        now = None if new is None else after[new]
        told = None if was is None else _amount_text(was, kinds[0], decimals)
        if now is None:
            assert was is not None
            yield _Slot(old, None, Change(phase, was.name, told, None))
            continue
        same = (
            was is not None
            and (was.kind, was.name, was.rest) == (now.kind, now.name, now.rest)
            and _same(was.amount, now.amount)
            and _same(was.strength, now.strength)
            and kinds[0] == kinds[1]
        )
        if was is not None and was.name != now.name:
            told = f"{was.name}, {told}"
        change = Change(phase, now.name, told, _amount_text(now, kinds[1], decimals))
        yield _Slot(old, now, None if same else change)


def _amount_text(line: Line, kind: AmountKind, decimals: int) -> str:
    if line.rest or line.amount is None:
        return "rest"
    text = f"{_positional(float(_number_like(line.amount, None, decimals)))} {_AMOUNT_UNIT[kind]}"
    strength = line.strength
    return text if strength is None else f"{text} of strength {_positional(strength, digits=6)} %"


def _aligned(
    before: Sequence[Any], after: Sequence[Any], *, replace: bool = True
) -> Iterator[tuple[int | None, int | None]]:
    """Places before and after that belong together; what is exchanged is a pair too, if wished."""
    blocks = difflib.SequenceMatcher(None, before, after, autojunk=False).get_opcodes()
    for what, low, high, start, end in blocks:
        pairs = min(high - low, end - start) if what == "equal" or replace else 0
        yield from zip(range(low, low + pairs), range(start, start + pairs), strict=True)
        yield from ((n, None) for n in range(low + pairs, high))
        yield from ((None, n) for n in range(start + pairs, end))


def _same(a: Any, b: Any) -> bool:
    if isinstance(a, (int, float)) and isinstance(b, (int, float)):
        return math.isclose(a, b, rel_tol=_NOISE, abs_tol=_NOISE)
    return bool(a == b)


def _printable(text: str) -> str:
    """A text for a comment: on one line, without what no comment may hold."""
    return "".join(c if c.isprintable() else "?" for c in text)


def _item(slot: _Slot, old: Mapping[str, Any], plan: _Plan) -> dict[str, Any]:
    """A changed or new line in the layout of the TOML form, its keys in the order that they had."""
    line, change = slot.line, slot.change
    assert line is not None
    assert change is not None
    kept = {k: v for k, v in old.items() if k not in _LINE_KEYS}
    name = old.get("ingredient", old.get("preservative"))
    other = slot.old is None or folded(str(name)) != folded(line.name)
    item: dict[str, Any] = {line.kind: line.name if other else name}
    if line.rest:
        item["rest"] = True
    else:
        before = old.get(plan.after.amounts)
        item[plan.after.amounts] = _number_like(line.amount or 0.0, before, plan.decimals)
    if line.strength is not None:
        item["strength"] = _number_like(line.strength, old.get("strength"))
    if not other:
        item |= kept  # what else is said of the material
    note = _noted(line.note or old.get("note"), change.remark)
    if note is not None:
        item["note"] = note
    return item


def _noted(old: str | None, remark: str) -> str | None:
    """A note with a remark behind it, where there is room."""
    note = f"{old.strip()}; {remark}" if old else remark
    return note if len(note) <= MAX_NOTE else old


# ---- the way in and out ----


def rewritten(
    path: Path,
    output: Path,
    before: Formula,
    after: Formula,
    today: dt.date,
    tables: Tables | None = None,
) -> dict[Path, bytes]:
    """The file of a formula with the changes that an edited formula shows, as bytes to be written:
    the new file, or each file of the new set.

    Each change is marked: in TOML by a comment or the note of its line and a list on top, in sheets
    by a column of notes, in a workbook by a list on a sheet that is not read too. A phase without
    lines is left out, since no file can hold one.

    ``path`` is the file that ``before`` was read from, ``output`` the new one of the same form; of
    a set of CSV sheets each may be any one. ``today`` dates the list of changes. ``tables`` are
    those that the formula was read with; default are the shipped ones with the user's own.

    A ``FormulaError`` where the new file would overwrite the old one, is of another form or in a
    folder without the readings that it names; or where the old one has changed, or holds what would
    be lost. An ``AssertionError`` where the result does not give ``after``: a fault of this
    program.
    """
    path, output = Path(path), Path(output)
    tables = tables or load_tables()
    day = before.product.on_market
    raw, _, where, _ = read_raw(path, tables)
    if not _alike(load_formula(path, tables, day), before):
        raise FormulaError("has changed since it was read", "read it again", where=where)
    suffix = path.suffix.casefold()
    if output.suffix.casefold() != suffix:
        allowed = f"give a name that ends in {suffix}, as the formula's own file does"
        raise FormulaError("is of another form", allowed, where=str(output))
    sources = form.sheet_files(path) if suffix == ".csv" else {"": path}
    targets = _csv_targets(output) if suffix == ".csv" else {"": output}
    _refuse_overwriting(sources, targets)
    after = without_empty_phases(after)
    plan = _plan(raw, before, after)
    _check_companions(raw, after, path.parent, output)
    if suffix == ".toml":
        files = {output: _toml(path.read_bytes(), plan, today)}
    else:
        _check_sheet_names(plan, tables, str(output))
        data = {name: file.read_bytes() for name, file in sources.items()}
        if suffix == ".xlsx":
            files = {output: _workbook(data[""], where, plan, today)}
        else:
            files = {
                targets[name]: content
                for name, content in _csv_sheets(data, where, plan, today).items()
            }
    _prove(files, raw, path.parent, after, tables, day)
    return files


def _alike(a: Formula, b: Formula) -> bool:
    """Whether two formulas are one but for their notes and their files."""
    notes: Any = {"__all__": {"lines": {"__all__": {"note"}}}}
    left_out = {"sha256": True, "path": True, "phases": notes}
    return _close(*(formula.model_dump(exclude=left_out) for formula in (a, b)))


def _close(a: Any, b: Any) -> bool:
    """Whether two values are one but for the last decimal written."""
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(_close(a[k], b[k]) for k in a)
    if isinstance(a, (list, tuple)) and isinstance(b, (list, tuple)):
        return len(a) == len(b) and all(map(_close, a, b))
    if isinstance(a, (int, float)) and isinstance(b, (int, float)):
        return math.isclose(a, b, rel_tol=10**-DIGITS * 6, abs_tol=_LAST_DECIMAL)
    return bool(a == b)


def _csv_targets(output: Path) -> dict[str, Path]:
    stem = output.stem
    if stem.rpartition(".")[2].casefold() in {s.casefold() for s in form.SHEETS}:
        stem = stem.rpartition(".")[0]
    return {name: output.with_name(f"{stem}.{name}.csv") for name in form.SHEETS}


def _refuse_overwriting(sources: Mapping[str, Path], targets: Mapping[str, Path]) -> None:
    old = {file.resolve() for file in sources.values()}
    for target in targets.values():
        if target.resolve() in old or (
            target.exists() and any(target.samefile(file) for file in sources.values())
        ):
            allowed = "give the new file another name, so that the old one stays"
            raise FormulaError("is the formula itself", allowed, where=str(target))
    for name, target in targets.items():
        if name and name not in sources and name != "Phases" and target.exists():
            allowed = "give another name, or delete it"
            found = "would be read as a part of the new formula"
            raise FormulaError(found, allowed, where=str(target))


def _companions(raw: Mapping[str, Any]) -> list[str]:
    """Files beside the formula that it names: readings, and a shelf of raw materials."""
    named = [readings_file(p.get("added_at")) for p in raw["phase"]]
    named.append(raw.get("product", {}).get("materials"))
    return sorted({n for n in named if n is not None})


def _check_companions(raw: Mapping[str, Any], after: Formula, folder: Path, output: Path) -> None:
    if output.parent.resolve() == folder.resolve():
        return
    names = {phase_key(p.name) for p in after.phases if p.added_at_from is not None}
    still = [p for p in raw["phase"] if phase_key(str(p.get("name"))) in names]
    for name in _companions({**raw, "phase": still}):
        other = output.parent / name
        if not other.is_file() or other.read_bytes() != (folder / name).read_bytes():
            raise FormulaError(
                f"the formula reads {name}, which is not in the folder {output.parent}",
                f"copy {name} there first, or write into the folder of the formula",
                where=str(output),
            )


def _prove(
    files: Mapping[Path, bytes],
    raw: Mapping[str, Any],
    folder: Path,
    after: Formula,
    tables: Tables,
    day: dt.date | None,
) -> None:
    """Read what would be written; an ``AssertionError`` where it is not the edited formula."""
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        for companion in _companions(raw):
            if Path(companion).name == companion:
                (place / companion).write_bytes((folder / companion).read_bytes())
        for file, data in files.items():
            (place / file.name).write_bytes(data)
        try:
            found = load_formula(place / next(iter(files)).name, tables, day)
        except FormulaError as error:
            raise AssertionError(f"the changed formula cannot be read: {error}") from error
    if not _alike(found, after):
        raise AssertionError("the changed formula does not read as the one that was asked for")


# ---- TOML ----


def _toml(data: bytes, plan: _Plan, today: dt.date) -> bytes:
    import tomlkit

    mark, text = b"\xef\xbb\xbf" * data.startswith(b"\xef\xbb\xbf"), data.decode("utf-8-sig")
    windows = "\r\n" in text and "\n" not in text.replace("\r\n", "")
    text = text.replace("\r\n", "\n") if windows else text
    document = tomlkit.parse(text if text.endswith("\n") else text + "\n")
    end = ""
    for name, fields in (("product", plan.product), ("measured", plan.measured)):
        if fields and name not in document:
            end += f"\n[{name}]\n" + "".join(
                f"{f.key} = {toml_value(f.new.plain)}  # {f.change.remark}\n"
                for f in fields
                if f.new
            )
            continue
        for changed in fields:
            _set(document[name], changed)
    _toml_phases(document["phase"], plan)
    head = f"# Changed on {today.isoformat()} with preservecheck:\n" + "".join(
        f"# - {change.text()}\n" for change in plan.changes
    )
    text = (f"{head}\n" if plan.changes else "") + document.as_string() + end
    return mark + (text.replace("\n", "\r\n") if windows else text).encode()


def toml_value(value: Any) -> str:
    """A value as TOML."""
    import tomlkit

    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{toml_key(k)} = {toml_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml_value, value)) + "]"
    if isinstance(value, float):
        text = _positional(value) if float(_positional(value)) == value else repr(value)
        return text if "." in text or "e" in text else f"{text}.0"
    return str(tomlkit.item(value).as_string())


def toml_key(key: str) -> str:
    """A key as TOML, in quotation marks where it needs them."""
    return key if re.fullmatch(r"[\w-]+", key, re.ASCII) else toml_value(key)


def _parsed(value: Any) -> Any:
    """A value as an item that can be put into a document."""
    import tomlkit

    return tomlkit.parse(f"x = {toml_value(value)}\n").item("x")


def _set(table: Any, changed: _Field) -> None:
    """Change a key of a table, with a remark behind it where there can be one."""
    from tomlkit.items import InlineTable, Table

    key = changed.key
    if changed.new is None:
        del table[key]
        return
    item = _parsed(changed.new.plain)
    if key in table:
        old = table.item(key) if hasattr(table, "item") else table[key]
        if not isinstance(table, InlineTable):
            comment = old.trivia.comment.removeprefix("#").strip()
            remark = _printable(changed.change.remark)
            item.comment(f"{comment}; {remark}" if comment else remark)
            item.trivia.comment_ws = old.trivia.comment_ws or "  "
        table[key] = item
        return
    if isinstance(table, InlineTable) or not isinstance(table, Table):
        table[key] = item
        return
    item.comment(_printable(changed.change.remark)).trivia.comment_ws = "  "
    _set_below(table, key, item)


def _set_below(table: Any, key: str, item: Any) -> None:
    """Put a new key below the others of a table; the comments behind them belong to what
    follows."""
    from tomlkit.items import AoT, Table

    item.trivia.trail = "\n"
    keys = [k for k, v in table.value.body if k is not None and not isinstance(v, (Table, AoT))]
    if keys:
        item.trivia.indent = table.value[keys[-1]].trivia.indent
        table.value._insert_after(keys[-1], key, item)
    else:
        table.append(key, item)


def _toml_phases(phases: Any, plan: _Plan) -> None:
    """Change the phases of a document: tables one below the other, or a list in brackets."""
    from tomlkit.items import AoT

    headed = isinstance(phases, AoT)
    gone = []
    for at, slot in enumerate(plan.phases):
        if slot.phase is None:
            gone.append(at)
        elif slot.old is None:
            whole = _new_phase(slot, plan)
            _insert_phase(phases, at, whole) if headed else _insert(phases, at, _parsed(whole))
        elif headed:
            for changed in slot.fields:
                _set(phases[at], changed)
            if any(s.change for s in slot.lines):
                _toml_lines(phases[at], slot, plan)
        elif slot.fields or any(s.change for s in slot.lines):
            phases[at] = _parsed(_changed_phase(slot, plan))
    for n in reversed(gone):
        if headed:
            _keep_comments(phases, n)
        del phases[n]


def _new_phase(slot: _PhaseSlot, plan: _Plan) -> dict[str, Any]:
    assert slot.phase is not None
    fields = {f.key: f.new.plain for f in slot.fields if f.new is not None}
    items = [_item(s, {}, plan) for s in slot.lines]
    return {"name": slot.phase.name, **fields, "items": items}


def _changed_phase(slot: _PhaseSlot, plan: _Plan) -> dict[str, Any]:
    assert slot.old is not None
    raw = dict(plan.raw["phase"][slot.old])
    items = raw.pop("items")
    for changed in slot.fields:
        raw.pop(changed.key, None)
        if changed.new is not None:
            raw[changed.key] = changed.new.plain
    lines = [s for s in slot.lines if s.line is not None]
    old = [items[s.old] if s.old is not None else {} for s in lines]
    new = [_item(s, o, plan) if s.change else o for s, o in zip(lines, old, strict=True)]
    return {**raw, "items": new}


def _insert_phase(phases: Any, at: int, whole: Mapping[str, Any]) -> None:
    """Put a phase in front of what stands at a place; comments behind the one above move on."""
    import tomlkit

    text = "[[phase]]\n" + "".join(
        f"{toml_key(k)} = {toml_value(v)}\n" for k, v in whole.items() if k != "items"
    )
    lines = "".join(f"  {toml_value(item)},\n" for item in whole["items"])
    table = tomlkit.parse(f"{text}items = [\n{lines}]\n")["phase"][0]
    table.trivia.indent = "\n" if at else ""
    if at:
        table.value.body.extend(_loose_end(phases[at - 1]))
    elif phases[0].trivia.indent == "":
        phases[0].trivia.indent = "\n"
    phases.insert(at, table)


def _loose_end(table: Any) -> list[Any]:
    """Comments and blank lines below the last key of a table, taken out of it."""
    body = table.value.body
    last = max((n for n, (key, _) in enumerate(body) if key is not None), default=len(body))
    loose = body[last + 1 :]
    del body[last + 1 :]
    return list(loose)


def _keep_comments(phases: Any, at: int) -> None:
    """Hand comments at the end of a phase that goes on to the one above, or else below."""
    loose = _loose_end(phases[at])
    if at:
        above = phases[at - 1].value.body
        # one blank line between two blocks is enough
        above.extend(loose if any(item.as_string().strip() for _, item in loose) else ())
    elif len(phases) > 1:
        text = "".join(item.as_string() for _, item in loose)
        phases[1].trivia.indent = text.lstrip("\n") + phases[1].trivia.indent


def _toml_lines(table: Any, slot: _PhaseSlot, plan: _Plan) -> None:
    """Change the lines of a phase: a list of tables in brackets, or tables with headings."""
    from tomlkit.items import AoT

    assert slot.old is not None
    raw, items = plan.raw["phase"][slot.old]["items"], table["items"]
    gone = []
    for at, line in enumerate(slot.lines):
        if line.line is None:
            gone.append(at)
        elif line.change is not None:
            item = _item(line, {} if line.old is None else raw[line.old], plan)
            if isinstance(items, AoT):
                _set_headed_line(items, at, line.old is None, item)
            elif line.old is None:
                _insert(items, at, _parsed(item))
            else:
                items[at] = _parsed(item)
    for n in reversed(gone):
        del items[n]
    if not isinstance(items, AoT):
        try:
            tomllib.loads(f"x = {items.as_string()}\n")
        except tomllib.TOMLDecodeError:  # commas and comments in places that the library mistakes
            table["items"] = _parsed(_changed_phase(slot, plan)["items"])


def _set_headed_line(items: Any, at: int, new: bool, item: Mapping[str, Any]) -> None:
    import tomlkit

    if new:
        keys = "".join(f"{toml_key(k)} = {toml_value(v)}\n" for k, v in item.items())
        document = tomlkit.parse(f"[[phase]]\n\n[[phase.items]]\n{keys}")
        table = document["phase"][0]["items"][0]
        if at and at == len(items):
            table.value.body.extend(_loose_end(items[at - 1]))
        items.insert(at, table)
        return
    for key in [k for k in items[at] if k not in item]:
        del items[at][key]
    for key, value in item.items():
        if key not in items[at]:
            _set_below(items[at], key, _parsed(value))
        elif items[at][key] != value:
            items[at][key] = _parsed(value)


def _insert(items: Any, at: int, item: Any) -> None:
    """Put an item into a list, above the comments that stand over the next one."""
    from tomlkit.items import Null, Whitespace

    groups, where = items._value, items._index_map
    leading_commas = any(g.indent is not None and "," in g.indent.s for g in groups)
    if at and not leading_commas and groups[where[at - 1]].comma is None:
        groups[where[at - 1]].comma = Whitespace(",")
    items.insert(at, item)
    place, last = where[at], where[at - 1] if at else -1
    while place - 1 > last and isinstance(groups[place - 1].value, Null):
        groups[place - 1], groups[place] = groups[place], groups[place - 1]
        place -= 1
    items._reindex()


# ---- sheets, of a workbook or in CSV files ----


@dataclass
class _Sheet:
    """What changes on one sheet; columns count from 0, rows as the spreadsheet shows them."""

    columns: list[str]  # names of the columns, in order
    width: int  # up to the last heading
    cells: dict[tuple[int, int], Cell] = field(default_factory=dict)
    below: dict[int, list[dict[int, Cell]]] = field(default_factory=dict)  # new rows, by row above
    gone: set[int] = field(default_factory=set)


class _Sheets:
    """Turns a plan into changes of cells and rows."""

    def __init__(self, grids: Mapping[str, Grid], plan: _Plan) -> None:
        self.plan = plan
        self.grids = grids
        self.sheets: dict[str, _Sheet] = {}
        self.added: dict[str, list[list[Cell]]] = {}  # whole new sheets
        self._product()
        self._formula()
        self._phases()

    def _open(self, name: str) -> tuple[_Sheet, list[tuple[int, list[Cell]]]]:
        """A sheet and its rows below the heading."""
        grid = self.grids[name]
        (_, head), *rows = grid.filled()
        columns = [form.heading(c, form.SHEETS[name])[0] for c in head]
        while columns and not columns[-1]:
            columns.pop()
        return self.sheets.setdefault(name, _Sheet(columns, len(columns))), rows

    def _head(self, name: str) -> int:
        return self.grids[name].filled()[0][0]

    def _column(self, name: str, column: str) -> int:
        """The place of a column, which is added at the end where there is none."""
        sheet = self.sheets[name]
        if column not in sheet.columns:
            sheet.columns.append(column)
            sheet.cells[self._head(name), len(sheet.columns) - 1] = column
        return sheet.columns.index(column)

    def _note(self, name: str, row: int, cells: Sequence[Cell], remark: str) -> None:
        at = self._column(name, "note")
        old = self.sheets[name].cells.get((row, at)) or (cells[at] if at < len(cells) else None)
        self.sheets[name].cells[row, at] = _noted(cell_text(old) or None, remark)

    def _product(self) -> None:
        sheet, rows = self._open("Product")
        field_at, value_at = sheet.columns.index("field"), sheet.columns.index("value")
        found = {
            form.heading(_at(cells, field_at), form.FIELDS)[0]: (n, cells) for n, cells in rows
        }
        labels = {v: k for k, v in (form.PRODUCT_FIELDS | form.MEASURED_FIELDS).items()}
        for changed in (*self.plan.product, *self.plan.measured):
            label = labels.get(changed.key, changed.key.replace("_", " "))
            if label in found:
                row, cells = found[label]
                sheet.cells[row, value_at] = _cell(changed.new, _at(cells, value_at))
                self._note("Product", row, cells, changed.change.remark)
            elif changed.new is not None:
                note = self._column("Product", "note")
                new = {field_at: label, value_at: _cell(changed.new, None)}
                self._below("Product", rows[-1][0], {**new, note: changed.change.remark})

    def note_on_name(self, remark: str) -> None:
        """Put a remark beside the name of the product."""
        sheet, rows = self._open("Product")
        at = sheet.columns.index("field")
        row, cells = next(
            (n, c) for n, c in rows if form.heading(_at(c, at), form.FIELDS)[0] == "name"
        )
        self._note("Product", row, cells, remark)

    def _below(self, name: str, row: int, cells: dict[int, Cell]) -> None:
        self.sheets[name].below.setdefault(row, []).append(cells)

    def _formula(self) -> None:
        sheet, rows = self._open("Formula")
        phase_at = sheet.columns.index("phase")
        by_phase: dict[str, list[tuple[int, list[Cell]]]] = {}
        carrier: dict[int, int] = {}  # row with the name of a row's phase
        name, above = "", 0
        for n, cells in rows:
            if cell_text(_at(cells, phase_at)):
                name, above = phase_key(cell_text(_at(cells, phase_at))), n
            carrier[n] = above
            by_phase.setdefault(name, []).append((n, cells))
        lines = list(by_phase.values())
        last = self._head("Formula")
        for slot in self.plan.phases:
            own = lines[slot.old] if slot.old is not None else []
            title = slot.phase.name if slot.phase is not None else ""
            last = self._lines(slot, own, last if not own else own[0][0] - 1, title)
        # a row whose phase stood on a row that goes names it itself
        named: set[int] = set()
        for n, _ in rows:
            if carrier[n] in sheet.gone and n not in sheet.gone and carrier[n] not in named:
                named.add(carrier[n])
                sheet.cells[n, phase_at] = next(
                    cell_text(_at(c, phase_at)) for r, c in rows if r == carrier[n]
                )

    def _lines(
        self, slot: _PhaseSlot, own: list[tuple[int, list[Cell]]], above: int, title: str
    ) -> int:
        """Change the rows of a phase; gives the last of them, or the row above a new phase."""
        sheet, raw = self.sheets["Formula"], self.plan.raw["phase"]
        for line in slot.lines:
            if line.old is not None:
                above, cells = own[line.old]
            if line.line is None:
                sheet.gone.add(above)
            elif line.change is not None:
                old = raw[slot.old]["items"][line.old] if line.old is not None else {}
                new = self._row(_item(line, old, self.plan))
                if line.old is None:
                    phase_at = sheet.columns.index("phase")
                    self._below("Formula", above, {phase_at: title, **new})
                    continue
                for at, value in new.items():
                    old_cell = _at(cells, at)
                    if not _says(old_cell, value):
                        sheet.cells[above, at] = value
        return above

    def _row(self, item: Mapping[str, Any]) -> dict[int, Cell]:
        amount = self.plan.after.amounts
        values: dict[str, Cell] = {
            "ingredient": item.get("ingredient", item.get("preservative")),
            amount: "rest" if item.get("rest") else item[amount],
            **{k: item.get(k) for k in item if k not in ("ingredient", "preservative", "rest")},
        }
        if "strength" in self.sheets["Formula"].columns:
            values.setdefault("strength", None)
        return {self._column("Formula", k): v for k, v in values.items()}

    def _phases(self) -> None:
        changed = [s for s in self.plan.phases if s.fields or s.phase is None]
        keys = {"heated_to": "heated to", "added_at": "added at", "held": "held"}
        if "Phases" not in self.grids:
            rows: list[list[Cell]] = [["phase", *keys.values(), "note"]]
            for slot in changed:
                if slot.phase is not None:
                    new = {f.key: f for f in slot.fields if f.new is not None}
                    remark = _remarks(slot.fields)
                    values = [f.new.plain if (f := new.get(k)) and f.new else None for k in keys]
                    rows.append([slot.phase.name, *values, remark])
            if len(rows) > 1:
                self.added["Phases"] = rows
            return
        sheet, found = self._open("Phases")
        at = sheet.columns.index("phase")
        by_name = {phase_key(cell_text(_at(c, at))): (n, c) for n, c in found}
        end = found[-1][0] if found else self._head("Phases")
        for slot in changed:
            old = "" if slot.old is None else str(self.plan.raw["phase"][slot.old]["name"])
            name = phase_key(old if slot.phase is None else slot.phase.name)
            if slot.phase is None:
                sheet.gone |= {by_name[name][0]} if name in by_name else set()
                continue
            row, cells = by_name.get(name, (None, []))
            new_cells: dict[int, Cell] = {}
            for f in slot.fields:
                place = self._column("Phases", keys[f.key])
                new_cells[place] = _cell(f.new, _at(cells, place))
            if row is None:
                note = self._column("Phases", "note")
                self._below(
                    "Phases", end, {at: slot.phase.name, **new_cells, note: _remarks(slot.fields)}
                )
                continue
            for place, value in new_cells.items():
                sheet.cells[row, place] = value
            self._note("Phases", row, cells, _remarks(slot.fields))


def _remarks(fields: Sequence[_Field]) -> str:
    """What is written beside a phase: one remark for each of its temperatures."""
    if all(f.change.was is None for f in fields):
        return "new"
    return ", ".join(f"{f.change.name} {f.change.remark}" for f in fields)


def _says(cell: Cell, value: Cell) -> bool:
    """Whether a cell of a line says the same already, in its own way."""
    if form.is_rest(cell) or not isinstance(value, str):
        return form.is_rest(cell) if value == "rest" else cell_text(cell) == cell_text(value)
    return cell_text(cell).casefold() == value.casefold()


def _at(cells: Sequence[Cell], column: int) -> Cell:
    return cells[column] if column < len(cells) else None


def _cell(value: _Value | None, old: Cell) -> Cell:
    """A value for a cell: a bare number where one stood there, whose unit is in the heading."""
    if value is None:
        return None
    if isinstance(value.plain, list):
        return ", ".join(value.plain)
    bare = not isinstance(old, str) or re.fullmatch(r"[\d.,+\-\s]+", old.strip())
    if value.number is not None and old is not None and bare:
        return value.number
    cell: Cell = value.plain
    return cell


def _check_sheet_names(plan: _Plan, tables: Tables, where: str) -> None:
    """A sheet has one column for ingredients and systems, so some names cannot be told apart."""
    own = {folded(n) for n in (*plan.raw.get("blend", {}), *plan.raw.get("ingredient", {}))}
    for slot in (s for p in plan.phases for s in p.lines if s.line and s.change):
        assert slot.line is not None
        name = slot.line.name
        system = None if folded(name) in own else names_of(tables).system_in_sheet(name)
        if (slot.line.kind == "preservative") != (system is not None):
            found = f"a sheet cannot hold {name} as {slot.line.kind}: it reads it as the other"
            raise FormulaError(found, "write the formula as a TOML file", where=where)


# ---- CSV ----


def _csv_sheets(
    data: Mapping[str, bytes], where: str, plan: _Plan, today: dt.date
) -> dict[str, bytes]:
    grids = {name: csv_grid(d, where, f"sheet {name}", FormulaError) for name, d in data.items()}
    sheets = _Sheets(grids, plan)
    gone = [c for c in plan.changes if c.now is None]
    removed = "".join(f"; {c.text()}" for c in gone)
    if plan.changes:
        sheets.note_on_name(f"changed on {today.isoformat()}{removed}")
    out = {
        name: _csv_bytes(content, grids[name], sheets.sheets[name])
        if name in sheets.sheets
        else content
        for name, content in data.items()
    }
    for name, rows in sheets.added.items():
        like = _CsvText.of(data["Formula"])
        out[name] = like.encoded(like.line([_csv_cell(c, None, False) for c in r]) for r in rows)
    return {name: out[name] for name in form.SHEETS if name in out}


@dataclass(frozen=True)
class _CsvText:
    """How a CSV file is written."""

    mark: bytes  # of UTF-8
    text: str
    separator: str
    newline: str
    skipped: int

    @classmethod
    def of(cls, data: bytes) -> _CsvText:
        text = data.decode("utf-8-sig")
        dialect = csv_dialect(text)
        newline = "\r\n" if "\r\n" in text else "\n"
        bom = b"\xef\xbb\xbf"
        return cls(bom * data.startswith(bom), text, dialect.separator, newline, dialect.skipped)

    def line(self, cells: Sequence[str]) -> str:
        buffer = io.StringIO(newline="")
        csv.writer(buffer, delimiter=self.separator, lineterminator=self.newline).writerow(cells)
        return buffer.getvalue()

    def records(self) -> Iterator[tuple[int, str, list[str]]]:
        """Each row with its number and the text that it was read from."""
        lines = list(io.StringIO(self.text, newline=""))[self.skipped :]
        reader = csv.reader(lines, delimiter=self.separator, strict=True)
        start = 0
        for number, cells in enumerate(reader, 1 + self.skipped):
            yield number, "".join(lines[start : reader.line_num]), cells
            start = reader.line_num

    def encoded(self, lines: Iterator[str]) -> bytes:
        return self.mark + "".join(lines).encode()


def _csv_bytes(data: bytes, grid: Grid, sheet: _Sheet) -> bytes:
    file = _CsvText.of(data)
    out = list(io.StringIO(file.text, newline=""))[: file.skipped]
    for number, text, old in file.records():
        if number not in sheet.gone:
            changed = {at: v for (row, at), v in sheet.cells.items() if row == number}
            cells = old + [""] * (max(changed, default=-1) + 1 - len(old))
            for at, value in changed.items():
                cells[at] = _csv_cell(value, cells[at], grid.comma_is_decimal)
            out.append(file.line(cells) if changed else text)
        for new in sheet.below.get(number, ()):
            if out and not out[-1].endswith(("\n", "\r")):
                out[-1] += file.newline
            row = [new.get(at) for at in range(len(sheet.columns))]
            out.append(file.line([_csv_cell(c, None, grid.comma_is_decimal) for c in row]))
    return file.encoded(iter(out))


def _csv_cell(value: Cell, old: str | None, comma: bool) -> str:
    if value is None:
        return ""
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        text = _positional(float(value))
        comma = comma or ("," in (old or "") and len(text.partition(".")[2]) != 3)  # noqa: PLR2004
        return (text.replace(".", ",") if comma else text) + "%" * (old or "").strip().endswith("%")
    return value.isoformat() if isinstance(value, dt.date) else str(value)


# ---- workbook ----


def _workbook(data: bytes, where: str, plan: _Plan, today: dt.date) -> bytes:
    import openpyxl

    from preservecheck.formula.workbook import read_workbook

    sheets = _Sheets(read_workbook(data, where), plan)
    book = openpyxl.load_workbook(io.BytesIO(data))
    _check_kept(data, where)
    values = openpyxl.load_workbook(io.BytesIO(data), data_only=True)
    by_small = {s.title.strip().casefold(): s.title for s in book.worksheets}
    remarks = [change.text() for change in plan.changes]
    for name in form.SHEETS:
        if (title := by_small.get(name.casefold())) is not None:
            remarks += _settle(book[title], values[title])
            if name in sheets.sheets:
                _change(book[title], sheets.sheets[name])
    for name, rows in sheets.added.items():
        added = book.create_sheet(name)
        for n, row in enumerate(rows, 1):
            for at, value in enumerate(row, 1):
                _put(added, n, at, value)
    if remarks:
        _list_changes(book, [f"Changed on {today.isoformat()} with preservecheck:", *remarks])
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def _check_kept(data: bytes, where: str) -> None:
    import zipfile

    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        lost = any(_LOST.match(name) for name in archive.namelist())
    if lost:
        found = "holds pictures, charts or pivot tables, which would be lost"
        allowed = "copy the sheets of the formula into a new workbook"
        raise FormulaError(found, allowed, where=where)


def _settle(sheet: Worksheet, values: Worksheet) -> list[str]:
    """Put values in the place of cell formulas, whose results no library saves; tells which."""
    out = []
    for row in sheet.iter_rows():
        for cell in row:
            if cell.data_type == "f":
                out.append(f"{sheet.title}, {cell.coordinate}: the value, was {cell.value}")
                cell.value = values[cell.coordinate].value
    return out


def _list_changes(book: Workbook, lines: Sequence[str]) -> None:
    """List the changes on a sheet that is not read, the newest first."""
    new = _CHANGES_SHEET not in book.sheetnames
    sheet = book.create_sheet(_CHANGES_SHEET) if new else book[_CHANGES_SHEET]
    if new:
        sheet.column_dimensions["A"].width = 110
    else:
        sheet.insert_rows(1, len(lines) + 1)
    for n, line in enumerate(lines, 1):
        _put(sheet, n, 1, line)


def _change(sheet: Worksheet, changed: _Sheet) -> None:
    for (row, at), value in changed.cells.items():
        if at >= changed.width:  # a column of its own, styled as its neighbour
            _style_like(sheet, row, at + 1, row, changed.width)
        _put(sheet, row, at + 1, value)
    for row in sorted({*changed.below, *changed.gone}, reverse=True):
        new = changed.below.get(row, [])
        for n, cells in enumerate(new, 1):
            _insert_row(sheet, row + n, row)
            for at, value in cells.items():
                _put(sheet, row + n, at + 1, value)
        if row in changed.gone:
            _delete_row(sheet, row)


def _put(sheet: Worksheet, row: int, column: int, value: Cell) -> None:
    from openpyxl.cell.cell import MergedCell

    from preservecheck.formula.workbook import _is_percent

    cell = sheet.cell(row, column)
    if isinstance(cell, MergedCell):
        return  # part of the cell above, which names the phase
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if number and _is_percent(cell.number_format):
        value = float(f"{value / 100:.15g}")  # type: ignore[operator]
    cell.value = value
    if isinstance(value, str):
        cell.data_type = "s"  # a name that begins with = is a name


def _style_like(sheet: Worksheet, row: int, column: int, like_row: int, like_column: int) -> None:
    from copy import copy

    from openpyxl.cell.cell import MergedCell

    cell, like = sheet.cell(row, column), sheet.cell(like_row, like_column)
    if not isinstance(cell, MergedCell) and like.has_style:
        cell._style = copy(like._style)  # type: ignore[attr-defined, union-attr]


def _insert_row(sheet: Worksheet, row: int, like: int) -> None:
    """Insert a row, styled as another one."""
    _shift(sheet, row, 1)
    for column in range(1, sheet.max_column + 1):
        _style_like(sheet, row, column, like, column)


def _delete_row(sheet: Worksheet, row: int) -> None:
    for merged in sheet.merged_cells.ranges:
        if merged.min_row == row < merged.max_row:  # its value moves on to the next row
            value: Any = sheet.cell(row, merged.min_col).value
            column = merged.min_col
            sheet.unmerge_cells(merged.coord)
            _style_like(sheet, row + 1, column, row, column)
            _put(sheet, row + 1, column, value)
            if merged.max_row > row + 1:
                sheet.merge_cells(
                    start_row=row + 1,
                    end_row=merged.max_row,
                    start_column=column,
                    end_column=merged.max_col,
                )
            break
    _shift(sheet, row, -1)


def _shift(sheet: Worksheet, row: int, by: int) -> None:
    """Insert (1) or delete (-1) a row with all that is tied to rows below it."""
    merged = [_moved(r.coord, row, by) for r in sheet.merged_cells.ranges]
    for coord in [r.coord for r in sheet.merged_cells.ranges]:
        sheet.unmerge_cells(coord)
    if by > 0:
        sheet.insert_rows(row)
    else:
        sheet.delete_rows(row)
    for coord in merged:
        if coord is not None and ":" in coord:
            sheet.merge_cells(coord)
    heights = {n: d.height for n, d in sheet.row_dimensions.items() if d.height is not None}
    for n in heights:
        sheet.row_dimensions[n].height = None
    for n, height in heights.items():
        if by > 0 or n != row:
            sheet.row_dimensions[n + by if n >= row else n].height = height
    for validation in sheet.data_validations.dataValidation:
        areas = [_moved(str(r), row, by) for r in validation.sqref.ranges]
        validation.sqref = type(validation.sqref)(" ".join(a for a in areas if a))
    for table in sheet.tables.values():
        table.ref = _moved(table.ref, row, by) or table.ref
        if table.autoFilter is not None:
            table.autoFilter.ref = table.ref
    if sheet.auto_filter.ref:
        sheet.auto_filter.ref = _moved(sheet.auto_filter.ref, row, by)


def _moved(coord: str, row: int, by: int) -> str | None:
    """An area after a row was inserted (1) or deleted (-1); ``None`` where nothing is left."""
    from openpyxl.worksheet.cell_range import CellRange

    area = CellRange(coord)
    top, bottom = area.min_row, area.max_row
    if by > 0:
        top, bottom = top + (top >= row), bottom + (bottom >= row)
    else:
        top, bottom = top - (top > row), bottom - (bottom >= row)
    if bottom < top:
        return None
    return CellRange(min_col=area.min_col, max_col=area.max_col, min_row=top, max_row=bottom).coord
