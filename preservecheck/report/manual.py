"""The manual pages of the checks: what stands in their modules, laid out for a terminal."""

from __future__ import annotations

import ast
import difflib
import inspect
import textwrap
from collections.abc import Iterator
from importlib import import_module
from types import ModuleType
from typing import cast

from preservecheck.assess.uncertainty import INPUTS
from preservecheck.checks import BY_ID, CHECKS
from preservecheck.checks.base import Check
from preservecheck.errors import PreservecheckError

# manual pages of commands, and the modules that hold them
OTHERS = {"choose": "ranking.rank", "chance": "assess.uncertainty"}
# deeper than the line above by this much: the line above goes on
_CONTINUES = 4


def render_list(*, width: int) -> str:
    """The checks with the question that each answers."""
    longest = max(len(check.ID) for check in CHECKS)
    lines = ["The checks, in the order in which a report shows them:", ""]
    for check in CHECKS:
        question = (check.__doc__ or "").partition("\n")[0]
        lines += textwrap.wrap(
            question,
            width,
            initial_indent=f"  {check.ID:<{longest}}  ",
            subsequent_indent=" " * (longest + 4),
        )
    return (
        "\n".join(
            [
                *lines,
                "",
                "'preservecheck explain CHECK' prints the rule, its formula and its constants.",
            ]
        )
        + "\n"
    )


def render(check_id: str, *, width: int) -> str:
    """The manual page of one check.

    Raises
    ------
    PreservecheckError
        There is no such check; the nearest names are given.
    """
    wanted = check_id.strip().casefold().replace("_", "-")
    if wanted in OTHERS:
        module = import_module(f"preservecheck.{OTHERS[wanted]}")
        lines = [wanted, "=" * len(wanted), "", *flowed(module.__doc__ or "", width)]
        return "\n".join(lines) + "\n"
    check = BY_ID.get(wanted)
    if check is None:
        near = difflib.get_close_matches(check_id.casefold(), BY_ID, n=3, cutoff=0.4)
        meant = f"did you mean {' or '.join(near)}? " if near else ""
        raise PreservecheckError(
            f"there is no check {check_id!r}; {meant}The checks are {', '.join(BY_ID)}"
        )
    lines = [check.ID, "=" * len(check.ID), "", *flowed(check.__doc__ or "", width)]
    if check.TOLERANCES:
        doubtful = ", ".join(INPUTS.get(t, t) for t in check.TOLERANCES)
        said = (
            "Uncertain values that can change the verdict (the report gives the chance of "
            f"passing): {doubtful}."
        )
        lines += ["", *textwrap.wrap(said, width)]
    constants = list(constants_of(check))
    if constants:
        lines += ["", "Constants"]
        for name, value, comment in constants:
            lines += textwrap.wrap(
                f"{name}: {value}" + (f"  ({comment})" if comment else ""),
                width,
                initial_indent="  ",
                subsequent_indent="      ",
            )
    return "\n".join(lines) + "\n"


def flowed(text: str, width: int) -> list[str]:
    """A docstring for a page of this width: paragraphs are wrapped anew, indented lines keep their
    place."""
    out: list[str] = []
    paragraph: list[str] = []
    for line in [*inspect.cleandoc(text).replace("``", "").splitlines(), ""]:
        indent = len(line) - len(line.lstrip())
        if paragraph and (not line or (indent and not _continues(paragraph[-1], indent))):
            out += _wrapped(paragraph, width)
            paragraph = []
        if line:
            paragraph.append(line)
        else:
            out.append("")
    return out[:-1] if out and not out[-1] else out


def _continues(before: str, indent: int) -> bool:
    return indent >= len(before) - len(before.lstrip()) + _CONTINUES or (
        indent == len(before) - len(before.lstrip())
        and "  " not in before.strip()
        and indent > _CONTINUES
    )


def _wrapped(paragraph: list[str], width: int) -> list[str]:
    first = paragraph[0]
    indent = len(first) - len(first.lstrip())
    if not indent:
        return textwrap.wrap(" ".join(paragraph), width)
    head, gap, rest = first.strip().partition("  ")
    hanging = (
        " " * (indent + len(head) + len(gap + rest) - len(rest.lstrip()))
        if gap
        else " " * (indent + 2)
    )
    start = first[: len(hanging)] if gap else " " * indent
    body = " ".join([rest.strip() if gap else first.strip(), *(p.strip() for p in paragraph[1:])])
    return textwrap.wrap(body, width, initial_indent=start, subsequent_indent=hanging)


def constants_of(check: Check) -> Iterator[tuple[str, str, str]]:
    """Name, value and source of each figure that a check's module states.

    The source is the comment above; it holds for the lines that follow without one.
    """
    module = cast(ModuleType, check)
    source = inspect.getsource(module)
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
            if name.isupper() and (value := _shown(getattr(module, name))) is not None:
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
