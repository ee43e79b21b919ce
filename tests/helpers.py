"""One way for all tests to write a formula, load it as a user's file is loaded, and have it
checked."""

from __future__ import annotations

import datetime as dt
import json
import math
import os
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays, formula_arrays
from preservecheck.arrays.law import rules
from preservecheck.assess.findings import composer_for, findings_of, table_arrays_for
from preservecheck.assess.uncertainty import DRAWS
from preservecheck.checks import BY_ID, incompatibilities
from preservecheck.formula.build import build
from preservecheck.formula.compose import Composition
from preservecheck.formula.model import Formula
from preservecheck.formula.toml import read_toml
from preservecheck.reference.load import Tables, load_tables
from preservecheck.verdict import SERIOUS, WORDS, Finding

TODAY = dt.date(2026, 11, 25)
PRODUCT = {
    "name": "Test batch",
    "use": "rinse-off",
    "type": "conditioner",
    "markets": ["EU"],
    "on_market": dt.date(2026, 12, 1),
}
# on CI all generated cases are tried, while one works a fifth of them
_SHARE = 1 if os.environ.get("CI") else 5
_MEASURED = ("ph", "ph_tolerance", "temperature", "water_activity", "water_activity_tolerance")


def examples(most: int) -> int:
    """How many generated cases are tried: ``most`` on CI, a fifth of them while one works."""
    return most // _SHARE


def toml_text(raw: Mapping[str, Any]) -> str:
    """A formula file as a maker would write it."""
    parts = [f"format = {raw['format']}"] if "format" in raw else []
    for name in ("product", "measured"):
        if raw.get(name):
            parts += [f"[{name}]", *(f"{k} = {_value(v)}" for k, v in raw[name].items())]
    for phase in raw.get("phase", ()):
        parts += ["[[phase]]", *(f"{k} = {_value(v)}" for k, v in phase.items())]
    for name in ("blend", "ingredient"):
        for key, table in raw.get(name, {}).items():
            parts += [
                f"[{name}.{json.dumps(key)}]",
                *(f"{json.dumps(k)} = {_value(v)}" for k, v in table.items()),
            ]
    return "\n".join(parts) + "\n"


def _value(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{k} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    return (
        value.isoformat() if isinstance(value, dt.date) else json.dumps(value, ensure_ascii=False)
    )


def make_raw(
    items: Mapping[str, float] | None = None,
    systems: Mapping[str, float] | None = None,
    *,
    phases: Sequence[Mapping[str, Any]] | None = None,
    blends: Mapping[str, Any] | None = None,
    own: Mapping[str, Any] | None = None,
    water: str | None = "Water",
    added_at: str | None = "35 °C",
    **changes: Any,
) -> dict[str, Any]:
    """A formula as nested dictionaries.

    Parameters
    ----------
    items, systems
        Per cent of ingredients and of preservative systems; the systems go in last, at
        ``added_at``.
    phases
        Whole phases, in the place of ``items`` and ``systems``.
    water
        Name of the line that fills to 100 %, or ``None``.
    changes
        Any field of the product or of what was measured; ``None`` leaves a field out.
    """
    product = {
        k: v
        for k, v in (PRODUCT | {k: v for k, v in changes.items() if k not in _MEASURED}).items()
        if v is not None
    }
    measured = {k: v for k, v in changes.items() if k in _MEASURED and v is not None}
    if phases is None:
        rest = [{"ingredient": water, "rest": True}] if water else []
        first = rest + [{"ingredient": n, "percent": p} for n, p in (items or {}).items()]
        last = [{"preservative": n, "percent": p} for n, p in (systems or {}).items()]
        cool = {"name": "cool-down"} | ({"added_at": added_at} if added_at else {})
        phases = ([{"name": "main", "items": first}] if first else []) + (
            [cool | {"items": last}] if last else []
        )
    return {
        "format": 1,
        "product": product,
        "measured": measured,
        "phase": list(phases),
        "blend": dict(blends or {}),
        "ingredient": dict(own or {}),
    }


def make_formula(
    items: Mapping[str, float] | None = None,
    systems: Mapping[str, float] | None = None,
    *,
    tables: Tables | None = None,
    **changes: Any,
) -> Formula:
    """A formula, read from a text as a user's file is read."""
    return formula_of(toml_text(make_raw(items, systems, **changes)), tables)


def formula_of(text: str, tables: Tables | None = None) -> Formula:
    """The formula that a TOML text holds."""
    return build(read_toml(text.encode(), "test.toml"), "test.toml", tables or load_tables(), TODAY)


def compose(formula: Formula, tables: Tables | None = None) -> Composition:
    """The amounts of a formula."""
    return composer_for(tables or load_tables()).compose(formula)


def case_of(*formulas: Formula, tables: Tables | None = None) -> FormulaArrays:
    """Formulas as one batch of cases."""
    tables = tables or load_tables()
    return formula_arrays([compose(f, tables) for f in formulas], table_arrays_for(tables), TODAY)


def run_check(
    check: str,
    formula: Formula | Mapping[str, Any],
    *,
    tables: Tables | None = None,
    **changes: Any,
) -> list[Finding]:
    """What one check says about a formula, given as such or as the arguments of
    ``make_formula``."""
    if not isinstance(formula, Formula):
        formula = make_formula(**(dict(formula) | changes), tables=tables)
    elif changes:
        raise TypeError("changes go with a formula given as arguments")
    return [j.finding for j in findings_of(case_of(formula, tables=tables), [BY_ID[check]])]


def every_row(check: str, formula: Formula) -> list[Finding]:
    """What a check says about every place of its last axis, also where a report shows one row of
    several."""
    case = case_of(formula)
    module = BY_ID[check]
    figures = module.compute(case)
    codes = np.atleast_2d(module.judge(figures))[0]
    found = []
    for j in np.flatnonzero(codes):
        words = module.explain(
            case, {n: _at(a, 0, j) for n, a in figures.items()}, int(j), int(codes[j])
        )
        found.append(
            Finding(
                id=check,
                about=words.about,
                verdict=WORDS[codes[j]] or "unknown",
                serious=bool(codes[j] == SERIOUS),
                figures=words.figures,
                because=words.because,
                do=words.do,
                evidence=words.evidence,
                parts=words.parts,
            )
        )
    return found


def about(findings: Sequence[Finding], subject: str) -> Finding:
    """The only finding about a subject."""
    found = [f for f in findings if f.about == subject]
    assert len(found) == 1, f"{subject!r} is not once among {[f.about for f in findings]}"
    return found[0]


def the(check: str, formula: Formula | Mapping[str, Any], **changes: Any) -> Finding:
    """The only finding of a check."""
    found = run_check(check, formula, **changes)
    assert len(found) == 1, [f"{f.about}: {f.verdict}" for f in found]
    return found[0]


def outcome(finding: Finding) -> str:
    """``pass``, ``warn``, ``serious`` or ``unknown``."""
    return "serious" if finding.serious else finding.verdict


def value(finding: Finding, name: str, of: str | None = None) -> float:
    """A figure that must be known; ``of`` an active, where it has one for each."""
    number = finding.value(name, of)
    assert number is not None, f"{name} is unknown"
    return number


def four_sigma(share: float) -> float:
    """Four standard errors of a share among the draws, and the rounding of the report."""
    return 4 * math.sqrt(share * (1 - share) / DRAWS) + 0.0005


def same_alone_and_together(check: str, *formulas: Formula) -> None:
    """Fail unless a batch gives each formula the very figures and codes that it gets by itself, to
    the last digit."""
    module = BY_ID[check]
    together = case_of(*formulas)
    figures = module.compute(together)
    codes, batch = module.judge(figures), _subjects(check, together)
    for i, formula in enumerate(formulas):
        alone = case_of(formula)
        single = module.compute(alone)
        single_codes, own = module.judge(single), _subjects(check, alone)
        assert set(single) == set(figures)
        found = {}
        for j in np.flatnonzero(codes[i]):
            found[batch[j] if batch else j] = (
                codes[i, j],
                [_at(figures[n], i, j) for n in sorted(figures)],
            )
        wanted = {}
        for j in np.flatnonzero(single_codes[0]):
            wanted[own[j] if own else j] = (
                single_codes[0, j],
                [_at(single[n], 0, j) for n in sorted(single)],
            )
        assert found.keys() == wanted.keys()
        for subject, (code, numbers) in wanted.items():
            assert found[subject][0] == code, subject
            np.testing.assert_array_equal(found[subject][1], numbers, err_msg=str(subject))


def _subjects(check: str, case: FormulaArrays) -> Sequence[object] | None:
    """What stands at each place of a check's last axis, where that depends on what else is in the
    batch."""
    if check in ("solubility", "lasting"):
        return case.reference.forms.names
    if check == "legal-limit":
        return [
            (r.market, r.row.id if r.row else "no rule", r.substances)
            for r in rules(case.reference)
        ]
    if check == "incompatibilities":
        return [row.id for row in incompatibilities._rules(case.reference)[0]]
    return None


def _at(array: np.ndarray[Any, Any], i: int, j: int) -> float:
    row = np.atleast_2d(array)[i]
    return float(row[j] if row.size > 1 else row[0])
