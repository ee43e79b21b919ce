"""A draft as a workbook: the form that ``new`` writes, so that it reads back as the same
formula."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from preservecheck.formula.names import folded, names_of
from preservecheck.formula.starter import raw_to_sheets, workbook_bytes

# XML 1.0, production 2; a line end of the old kind too, which a cell shows as a sign
_NOT_IN_XML = re.compile("[^\t\n\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")

if TYPE_CHECKING:
    from preservecheck.reference.load import Tables


def workbook_of(raw: dict[str, Any], tables: Tables) -> bytes:
    """The formula as ``.xlsx``.

    Parameters
    ----------
    raw
        In the layout of the TOML form.
    tables
        The tables, since a sheet has one column for ingredients and preservatives.
    """
    raw = _plain(raw)
    names = names_of(tables)
    own = {folded(n) for kind in ("blend", "ingredient") for n in raw.get(kind, {})}
    phases = []
    for phase in raw["phase"]:
        items = []
        for written in phase["items"]:
            name, item = written.get("ingredient", ""), written
            # an ingredient written like the id of a preservative would be read as one: its INCI
            # name is written
            if (
                name
                and folded(name) not in own
                and names.system_in_sheet(name)
                and (named := names.ingredient(name))
            ):
                item = {**written, "ingredient": named.inci}
            items.append(item)
        phases.append({**phase, "items": items})
    return workbook_bytes(raw_to_sheets({**raw, "phase": phases}))


def _plain(value: Any) -> Any:
    """The same, with texts without the signs that a workbook cannot hold."""
    if isinstance(value, dict):
        return {_plain(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list):
        return [_plain(v) for v in value]
    return _NOT_IN_XML.sub("", value) if isinstance(value, str) else value
