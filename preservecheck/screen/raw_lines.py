"""One formula of a long table, in the layout that the reader of formula files takes."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Hashable, Mapping, Sequence
from numbers import Real
from typing import Any

from preservecheck.errors import FormulaError
from preservecheck.formula.materials import MaterialResolver
from preservecheck.formula.sheet_form import is_rest
from preservecheck.screen.schema import MEASURED_KEYS, PRODUCT_KEYS, PRODUCTS


def raw_formula(
    lines: Sequence[Mapping[Hashable, Any]],
    product: Mapping[Hashable, Any],
    opener: MaterialResolver,
) -> dict[str, Any]:
    """One formula of a long table as nested dictionaries in the layout of the TOML form.

    Parameters
    ----------
    lines
        Its lines, each by column.
    product
        Its product, by column.
    opener
        Knows the names of systems.

    Raises
    ------
    FormulaError
        Lines of one phase give different temperatures.
    """
    raw = product_raw({str(k): v for k, v in product.items()})
    phases: dict[str, dict[str, Any]] = {}
    blends: dict[str, dict[str, float]] = {}
    faults: list[str] = []
    for line in lines:
        cells = {str(k): v for k, v in line.items() if _there(v)}
        name = text(cells.get("phase", ""))
        phase = phases.setdefault(" ".join(name.casefold().split()), {"name": name, "items": []})
        for key in ("heated_to", "added_at"):
            given = cells.get(key, f"{n} °C" if (n := cells.get(f"{key}_c")) is not None else None)
            if given is not None and phase.setdefault(key, given) != given:
                faults.append(
                    f"phase {name}: {key} is {phase[key]} on one line and {given} on another; "
                    "keep one"
                )
        phase["items"].append(_item(cells, opener, blends))
    if faults:
        raise FormulaError(faults)
    raw["phase"] = list(phases.values())
    if blends:
        raw["blend"] = blends
    return raw


def _item(
    cells: Mapping[str, Any], opener: MaterialResolver, blends: dict[str, dict[str, float]]
) -> dict[str, Any]:
    name = text(cells.get("ingredient", ""))
    inside = text(cells.get("inside", ""))
    system = opener.names.system_in_sheet(name) if name and not inside else None
    item: dict[str, Any] = {"ingredient": name} if system is None else {"preservative": system}
    if (
        inside
    ):  # a raw material of this substance alone stands for its part of the raw material it came in
        item = {"ingredient": f"{inside}: {name}"}
        blends.setdefault(item["ingredient"], {name: 100.0})
    for kind in ("percent", "grams"):
        if kind in cells:
            written = cells[kind]
            if is_rest(written):
                item["rest"] = True
            else:
                item[kind] = _number(written)
    if cells.get("rest") is True or cells.get("rest") == 1:
        item["rest"] = True
    if "strength" in cells:
        item["strength"] = _number(cells["strength"])
    return item


def product_raw(product: Mapping[str, Any]) -> dict[str, Any]:
    """The product and its readings as nested dictionaries in the layout of the TOML form."""
    values = {k: v for k, v in product.items() if _there(v)}
    for name, column in PRODUCTS.items():
        if column.number in values and name not in values:
            values[name] = f"{values[column.number]} {column.unit}"
        if name in values and column.holds == "number":
            values[name] = _number(values[name])
        elif name in values and name != "markets":
            values[name] = text(values[name])
    values.setdefault("name", text(values.get("formula", "")) or "unnamed")
    if "markets" in values:
        values["markets"] = [m for m in re.split(r"[,;/|\s]+", text(values["markets"])) if m]
    return {
        "product": {k: values[k] for k in PRODUCT_KEYS if k in values},
        "measured": {k: values[k] for k in MEASURED_KEYS if k in values},
    }


def _number(cell: Any) -> Any:
    """A cell as a number where it is one; else as it stands, for the reader to refuse."""
    if isinstance(cell, str):
        try:
            return float(cell)
        except ValueError:
            return cell.strip()
    return cell.item() if hasattr(cell, "item") else cell


def _there(cell: Any) -> bool:
    if isinstance(cell, str):
        return bool(cell.strip())
    # not-a-number, and the marks for nothing that tables use
    if cell is None or type(cell).__name__ in ("NAType", "NaTType"):
        return False
    return not (isinstance(cell, Real) and math.isnan(cell))


def text(cell: Any) -> str:
    """A cell as text; a whole number loses its decimal point, a moment its time of day."""
    if isinstance(cell, str):
        return cell.strip()
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return cell.date().isoformat() if isinstance(cell, dt.datetime) else str(cell)
