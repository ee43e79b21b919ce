"""Starting and stopping."""

from __future__ import annotations

import os
import socket
import time
import urllib.request

import pytest

from preservecheck.errors import PreservecheckError
from preservecheck.page.guard import cookie_name
from preservecheck.page.serve import listening
from tests.page.browser import Program


def test_another_port_is_taken_where_the_usual_one_is_not_free():
    """Two programs stand side by side, both on this computer alone."""
    with listening(None) as one, listening(None) as other:
        assert one.getsockname()[0] == other.getsockname()[0] == "127.0.0.1"
        assert one.getsockname()[1] != other.getsockname()[1]


def test_port_that_is_asked_for_and_taken_is_an_error():
    """It is not changed in silence."""
    with listening(0) as one:
        port = one.getsockname()[1]
        with pytest.raises(PreservecheckError, match=f"port {port} cannot be had .*; name no port"):
            listening(port)


def test_answers_leave_at_once():
    """The sockets of the answers wait for no acknowledgement, which would take 40 ms."""
    with listening(0) as place:
        assert place.proto == socket.IPPROTO_TCP


@pytest.mark.skipif(os.name != "posix", reason="an interrupt is sent in another way elsewhere")
def test_interrupt_stops_it_cleanly():
    """Status 0, no traceback, and nobody listens any more."""
    program = Program().start()
    with urllib.request.urlopen(program.link) as answer:
        assert answer.status == 200
    status, said = program.interrupt()
    assert status == 0
    assert "Traceback" not in said
    assert said.endswith("Stopped.\n")
    with socket.socket() as place:
        assert place.connect_ex(("127.0.0.1", program.port)) != 0


@pytest.mark.skipif(os.name != "posix", reason="an interrupt is sent in another way elsewhere")
def test_interrupt_in_the_middle_of_a_request():
    """Who still waits is told in a sentence, and the window shows no traceback."""
    program = Program().start()
    cookie = f"{cookie_name(program.port)}={program.link.partition('token=')[2]}"
    with socket.create_connection(("127.0.0.1", program.port)) as place:
        head = (
            f"POST /verdict HTTP/1.1\r\nHost: 127.0.0.1:{program.port}\r\nOrigin: "
            f"{program.origin}\r\n"
            f"Cookie: {cookie}\r\nContent-Length: 1000\r\n\r\nhalf a form"
        )
        place.sendall(head.encode())
        place.settimeout(20)
        time.sleep(1)  # nothing tells that the half of it has been read
        status, said = program.interrupt()
        answer = place.recv(10_000).decode()
    assert status == 0
    assert "Traceback" not in said
    assert said.endswith("Stopped.\n")
    assert answer.startswith("HTTP/1.1 503 ")
    assert answer.endswith("Start it again, and open the link that it prints.")
