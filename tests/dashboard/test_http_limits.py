"""What a running server takes from strangers, and how long it waits for them."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator, Mapping
from typing import Any

import pytest
from waitress.server import create_server

from evenfoot.dashboard.web import http_limits
from evenfoot.dashboard.web.http_limits import STRANGERS_BODY, limit_connections
from tests.ports import free_port

LARGE = 2 * STRANGERS_BODY


def _app(environ: dict[str, Any], start: Any) -> list[bytes]:
    start("200 OK", [("Content-Type", "text/plain")])
    return [str(len(environ["wsgi.input"].read())).encode()]


def _signed_in(headers: Mapping[str, str]) -> bool:
    return headers.get("COOKIE") == "in"


@pytest.fixture
def port(monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    monkeypatch.setattr(http_limits, "HEADER_SECONDS", 0.5)
    port = free_port()
    server = create_server(
        _app, host="127.0.0.1", port=port, threads=2, connection_limit=400, channel_timeout=1, cleanup_interval=1,
        asyncore_use_poll=True, max_request_body_size=10 * LARGE,
    )  # fmt: skip
    limit_connections(server, _signed_in)
    threading.Thread(target=server.run, daemon=True).start()
    yield port
    server.close()


def _sent(port: int, *pieces: bytes, wait: float = 0.0) -> bytes:
    with socket.create_connection(("127.0.0.1", port), timeout=20) as connection:
        try:
            for piece in pieces:
                connection.sendall(piece)
                time.sleep(wait)
            answer = b""
            while piece := connection.recv(4096):
                answer += piece
            return answer
        except ConnectionError:
            return b"closed"


def _post(length: int, cookie: str, body: int) -> bytes:
    head = f"POST / HTTP/1.1\r\nHost: x\r\nCookie: {cookie}\r\nContent-Length: {length}\r\nConnection: close\r\n\r\n"
    return head.encode() + b"x" * body


def test_a_stranger_sends_little(port: int) -> None:
    assert b"413" in _sent(port, _post(LARGE, "out", 100))
    chunk = b"8000\r\n" + b"x" * 0x8000 + b"\r\n"
    answered = _sent(port, b"POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\n", *[chunk] * 5)
    assert b"413" in answered or answered == b"closed"
    assert _sent(port, _post(1000, "out", 1000)).endswith(b"1000")


def test_who_has_signed_in_sends_a_sheet(port: int) -> None:
    assert _sent(port, _post(LARGE, "in", LARGE)).endswith(str(LARGE).encode())


def test_a_header_that_dawdles_is_closed(port: int) -> None:
    answered = _sent(port, b"GET / HTTP/1.1\r\n", *[b"X-A: b\r\n"] * 8, wait=0.2)
    assert answered in (b"", b"closed")


def test_idle_connections_shut_nobody_out(port: int) -> None:
    idle = [socket.create_connection(("127.0.0.1", port), timeout=20) for _ in range(200)]
    assert _sent(port, _post(5, "out", 5)).endswith(b"5")
    time.sleep(4)
    assert idle[0].recv(10) == b""
    for each in idle:
        each.close()
