"""The manual pages of the checks: what stands in their modules, as documents."""

from __future__ import annotations

import ast
import difflib
import inspect
from collections.abc import Iterable, Iterator
from importlib import import_module
from typing import Any

from preservecheck.assess.uncertainty import INPUTS
from preservecheck.checks import BY_ID, CHECKS, current_id
from preservecheck.checks.base import Check
from preservecheck.errors import Fault, Hint, PreservecheckError
from preservecheck.report.document import Document, Pairs, Rule

# manual pages of what is no check, and the modules that hold them
OTHERS = {"chance": "assess.uncertainty", "choose": "ranking.rank"}


def overview() -> Document:
    """The checks with the question that each answers."""
    questions = [(check.id, check.question) for check in CHECKS]
    title = "The checks, in the order in which a report shows them"
    return Document(title, [Pairs(questions)], hints=[Hint.EXPLAIN])


def overview_data() -> list[dict[str, Any]]:
    """The same as data."""
    return [{"id": check.id, "question": check.question} for check in CHECKS]


def document(name: str) -> Document:
    """The manual page of a check."""
    return Document(id_of(name), [Rule(rule(name))])


def data(name: str) -> dict[str, Any]:
    """The same as data."""
    id_ = id_of(name)
    check = BY_ID.get(id_)
    manual = check.manual if check else import_module(f"preservecheck.{OTHERS[id_]}").__doc__
    constants = constants_of(check) if check else ()
    return {
        "id": id_,
        "rule": inspect.cleandoc(manual or ""),
        "uncertain": [INPUTS.get(t, t) for t in check.tolerances] if check else [],
        "constants": [{"name": n, "value": v, "source": c} for n, v, c in constants],
    }


def rules(names: Iterable[str]) -> Iterator[Rule]:
    """Manual pages with their names."""
    return (Rule(rule(name), name) for name in names)


def rule(name: str) -> str:
    """What judges, by which formula and constants, as a docstring is written."""
    found = data(name)
    parts = [found["rule"]]
    if found["uncertain"]:
        parts.append(
            "Uncertain values that can change the verdict (the report gives the chance of "
            f"passing): {', '.join(found['uncertain'])}."
        )
    if found["constants"]:
        lines = [
            f"  {c['name']}: {c['value']}" + (f" ({c['source']})" if c["source"] else "")
            for c in found["constants"]
        ]
        parts.append("\n".join(["Constants", *lines]))
    return "\n\n".join(parts)


def id_of(name: str) -> str:
    """The id of a check, however it is written; a ``PreservecheckError`` with the nearest names
    where there is none."""
    wanted = current_id(name.strip().casefold().replace("_", "-"))
    if wanted in BY_ID or wanted in OTHERS:
        return wanted
    near = difflib.get_close_matches(name.casefold(), BY_ID, n=3, cutoff=0.4)
    meant = f"did you mean {' or '.join(near)}? " if near else ""
    raise PreservecheckError(
        Fault(f"there is no check {name!r}", f"{meant}The checks are {', '.join(BY_ID)}")
    )


def constants_of(check: Check) -> Iterator[tuple[str, str, str]]:
    """Name, value and source of each figure that a check's module states.

    The source is the comment above; it holds for the lines that follow without one.
    """
    source = inspect.getsource(check.module)
    lines = source.splitlines()
    comment, last = "", 0
    for node in ast.parse(source).body:
        if not isinstance(node, ast.Assign):
            continue
        above = lines[node.lineno - 2].strip()
        if above.startswith("#"):
            comment = above.removeprefix("#").strip()
        elif node.lineno != last + 1:
            comment = ""
        last = node.end_lineno or node.lineno
        for name in (
            n.id for n in ast.walk(node) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)
        ):
            if name.isupper() and (value := _shown(getattr(check.module, name))) is not None:
                yield name.replace("_", " ").lower().replace("ph", "pH"), value, comment


def _shown(value: object) -> str | None:
    """A figure of the rule in words; numbering of cases and lists of words are none."""
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, tuple) and value and all(isinstance(v, float) for v in value):
        return ", ".join(f"{v:g}" for v in value)
    if isinstance(value, dict) and value and all(isinstance(v, float) for v in value.values()):
        return ", ".join(f"{k} {v:g}" for k, v in value.items())
    return None
