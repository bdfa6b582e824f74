"""What the server takes from a connection before anybody has looked at the request: how much, and for how long.

A stranger's body is small and stays in memory; only whoever has signed in may send a sheet. The server takes a body
whole before a page sees it, so this is decided when the headers have come. A connection on which nothing comes, or a
header that comes a letter at a time, is closed.
"""

from __future__ import annotations

import copy
import time
from collections.abc import Callable, Mapping
from typing import Any

from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser

STRANGERS_BODY = 64 * 1024
"""Bytes: more than a form of the sign-in page, and less than is put on a disk."""

CONNECTIONS = 1000
"""Beyond what one office needs; a proxy in front limits them by address. [common practice, no source]"""

IDLE_SECONDS = 30
"""Seconds without a byte after which a connection that waits for nothing is closed. [common practice, no source]"""

HEADER_SECONDS = 20.0
"""Seconds in which the header of a request must come. [common practice, no source]"""

LOOKS = 5
"""Seconds between two times of looking for connections to close."""


def limit_connections(server: Any, may_send_much: Callable[[Mapping[str, str]], bool]) -> None:
    """Have a server of waitress take small bodies from strangers, and close connections that dawdle.

    Parameters
    ----------
    server : waitress server
        Before it runs.
    may_send_much : callable
        Whether whoever sent some headers (``COOKIE``, ``ORIGIN``, ...) may send a sheet.
    """
    strangers = copy.copy(server.adj)
    strangers.max_request_body_size = STRANGERS_BODY

    class Parser(HTTPRequestParser):
        def parse_header(self, header_plus: bytes) -> None:
            super().parse_header(header_plus)
            if (self.content_length > STRANGERS_BODY or self.chunked) and not may_send_much(self.headers):
                self.adj = strangers

    class Channel(HTTPChannel):
        parser_class = Parser
        began: float | None = None

        def received(self, data: bytes) -> bool:
            done: bool = super().received(data)
            in_header = self.request is not None and not self.request.headers_finished
            self.began = (self.began or time.monotonic()) if in_header else None
            if self.began is not None and time.monotonic() - self.began > HEADER_SECONDS:
                self.will_close = True
            return done

    # Of a name with several addresses there is a server for each.
    for each in (server, *(getattr(server, "map", None) or {}).values()):
        if hasattr(each, "channel_class"):
            each.channel_class = Channel
