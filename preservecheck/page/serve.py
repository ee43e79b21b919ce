"""Starts the page on this computer alone, opens the browser, and stops when it is told to."""

from __future__ import annotations

import logging
import os
import secrets
import socket
import threading
import webbrowser
from collections.abc import Callable
from contextlib import suppress
from typing import TYPE_CHECKING

from preservecheck.errors import Fault, PreservecheckError

if TYPE_CHECKING:
    from preservecheck.reference.load import Tables

HOST = "127.0.0.1"
# what the browser keeps hangs on the port, so the same one is tried first at every start; no
# service is known for it
PREFERRED_PORT = 47613
# how long an answer that is under way may take when the program is stopped [s]
LAST_ANSWERS_S = 2


def serve(tables: Tables, *, port: int | None, browser: bool, say: Callable[[str], None]) -> None:
    """Run the page until Ctrl-C, on a port that is free where none is asked for; ``say`` takes what
    the user is told. A ``PreservecheckError`` where the port asked for is taken."""
    import uvicorn

    from preservecheck.page.app import create_app

    with listening(port) as place:
        port = int(place.getsockname()[1])
        token = secrets.token_urlsafe(24)
        link = f"http://{HOST}:{port}/start?token={token}"
        app = create_app(tables, port=port, token=token)
        config = uvicorn.Config(
            app,
            log_level="error",
            access_log=False,
            server_header=False,
            lifespan="off",
            timeout_graceful_shutdown=LAST_ANSWERS_S,
        )
        # that it does not wait for the last answers is no fault to be told
        logging.getLogger("uvicorn.error").addFilter(
            lambda record: "timeout graceful shutdown" not in str(record.msg)
        )
        say(f"Open this link in your browser:\n\n    {link}\n\nCtrl-C stops it.\n")
        threading.Thread(
            target=_made_ready, args=(tables, link if browser else None), daemon=True
        ).start()
        with suppress(KeyboardInterrupt):
            uvicorn.Server(config).run(sockets=[place])
        say("Stopped.\n")


def listening(port: int | None) -> socket.socket:
    """A socket that listens on this computer alone; a ``PreservecheckError`` where the port that is
    asked for cannot be had."""
    for wanted in (PREFERRED_PORT, 0) if port is None else (port,):
        # named as TCP, so that answers are sent at once: asyncio asks for no delay of a socket by
        # its protocol alone
        place = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        try:
            if os.name == "posix":  # elsewhere it would let two programs have the same port
                place.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            place.bind((HOST, wanted))
            place.listen(128)
        except OSError as error:
            place.close()
            if wanted == 0 or port is not None:
                found = f"port {wanted} cannot be had ({error.strerror})"
                allowed = "name no port, and a free one is taken"
                raise PreservecheckError(Fault(found, allowed)) from None
        else:
            return place
    raise AssertionError("unreachable")


def _made_ready(tables: Tables, link: str | None) -> None:
    """Open the browser, and judge the example once, so that the first real answer is quick."""
    if link is not None:
        webbrowser.open(link)
    from preservecheck.page.context import templates
    from preservecheck.page.draft_outcome import formula_of
    from preservecheck.page.editor import example
    from preservecheck.plan.review import review

    review(formula_of(example(), tables), tables)
    templates().get_template("formula.html")
