"""The command that opens the page in the browser."""

from __future__ import annotations

from typing import Annotated

import typer

from preservecheck.cli import common as c


def page(
    port: Annotated[
        int | None,
        typer.Option(
            min=1,
            max=65535,
            metavar="N",
            help="Port to listen on. Default: the usual one, else a free one.",
        ),
    ] = None,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Print the link without opening it.")
    ] = False,
    tables: c.TablesOption = None,
) -> None:
    """Open the program in your browser, on this computer only.

    Nothing that you type leaves the computer. Ctrl-C stops it.
    """
    from preservecheck.page.serve import serve

    with c.user_errors():
        c.need("page")
        serve(c.load(tables), port=port, browser=not no_browser, say=c.write_output)
