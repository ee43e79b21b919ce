"""A document as one web page that needs nothing else, with plots; to read, print and keep."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from preservecheck.report.markdown import RULE_WIDTH
from preservecheck.report.text import flowed, printable

if TYPE_CHECKING:
    import jinja2

    from preservecheck.report.document import Document

SHEETS = {"a4": "A4", "letter": "letter"}


def render(documents: Sequence[Document]) -> str:
    """Documents in one page; everything put in is escaped."""
    page = environment().get_template("document.html")
    text = page.render(
        title=title_of(documents), documents=documents, style=style(documents[0].paper)
    )
    return "\n".join(line.rstrip() for line in text.splitlines() if line.strip()) + "\n"


def title_of(documents: Sequence[Document]) -> str:
    """The title of a page with these documents."""
    first = documents[0]
    if len(documents) > 1:
        return first.kind or first.title
    return f"{first.title}: {first.kind.lower()}" if first.kind else first.title


def style(paper: str) -> str:
    """The style sheet of a page, for a size of paper where one is asked for."""
    size = f"@page {{ size: {SHEETS[paper]}; margin: 9mm 11mm 8mm; }}\n" if paper else ""
    return environment().get_template("style.css").render() + "\n" + size


@lru_cache(maxsize=2)
def environment(*beside: str) -> jinja2.Environment:
    """The templates of the reports, with the folders ``templates`` of other packages beside them;
    ours win."""
    from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    def plain(value: Any) -> Any:
        """No signs that a page may not hold."""
        return (
            printable(value) if isinstance(value, str) and not isinstance(value, Markup) else value
        )

    made = Environment(
        loader=ChoiceLoader([PackageLoader(name) for name in ("preservecheck.report", *beside)]),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=plain,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    # what a page does to a drawing before it shows it
    made.filters["drawing"] = lambda svg: svg
    made.filters["kind"] = lambda block: type(block).__name__
    made.filters["flowed"] = lambda text: "\n".join(flowed(text, RULE_WIDTH))
    return made
