"""The formats of every result, in one table."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from typing import Any

from preservecheck.errors import Fault, PreservecheckError
from preservecheck.report import html, markdown, text
from preservecheck.report.document import Document
from preservecheck.text import join_or

RENDERERS: dict[str, Callable[..., str]] = {
    "text": text.render,
    "markdown": markdown.render,
    "html": html.render,
}
JSON = "json"
ENDINGS = {"text": ".txt", "markdown": ".md", "html": ".html", JSON: ".json"}


def render(
    form: str,
    documents: Callable[[], Document | Sequence[Document]],
    data: Callable[[], Any],
    **layout: Any,
) -> str:
    """A result in one of ``RENDERERS`` or as JSON; documents and data are made only where the
    format wants them. The layout (``width`` [characters], ``colour``) is that of the text
    format."""
    if form == JSON:
        return json_text(data())
    if form not in RENDERERS:
        allowed = f"the formats are {join_or([*RENDERERS, JSON])}"
        raise PreservecheckError(Fault(f'there is no format "{form}"', allowed))
    made = documents()
    several = [made] if isinstance(made, Document) else list(made)
    return RENDERERS[form](several, **(layout if form == "text" else {}))


def json_text(data: Any) -> str:
    """Data as JSON, every figure in full."""
    return json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False) + "\n"
