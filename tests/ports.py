"""Ports for the servers that tests start."""

from __future__ import annotations

from socket import socket

DEMO_PORT = 8050
"""Where ``make run`` listens. Tests keep off it, so that both can run at the same time."""


def free_port() -> int:
    """A port of this machine that nobody listens on now, chosen by the system."""
    while True:
        with socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = int(probe.getsockname()[1])
        if port != DEMO_PORT:
            return port
