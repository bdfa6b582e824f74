"""Serving the dashboard on this machine."""

from __future__ import annotations

import logging
import socket
import threading

from analytics.ledger import Ledger, open_ledger
from analytics.mistake import Mistake
from analytics.tally.selection import Selection
from dashboard.accounts import refuse_other_machines

THREADS = 8

WARMED = ("lesion-types", "lesion-feet", "locomotion-trend", "herd-review", "comparison-risks")
"""Panels drawn once when the server starts."""


def check_address(host: str, port: int) -> None:
    """Refuse what may not be served or cannot be listened on, before anything long is done.

    Raises
    ------
    Mistake
        The address is not this machine's own loopback, or the port is taken or not a port.
    """
    refuse_other_machines(host)
    if not 1 <= port <= 65535:
        raise Mistake(f"{port} is not a port; give a number from 1 to 65535 with --port.")
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise Mistake(
                f"Port {port} on {host} cannot be used ({error.strerror}); another program has it, so choose "
                "another with --port."
            ) from None


def warm_up(ledger: Ledger) -> None:
    """Draw a few panels once, so that the first reader does not wait for libraries to load."""
    from dashboard.pages import PANELS
    from dashboard.view import View

    try:
        for farm in ledger.farms()[:1]:
            view = View("/", Selection(farms=(farm,)))
            for name in WARMED:
                PANELS[name].draw(ledger, view)
    except Mistake:
        # Whoever opens the page is told what is wrong; there is nobody to tell here.
        return


def run(address: str | Ledger | None, host: str, port: int) -> None:
    """Serve until interrupted; prints the address when ready.

    Raises
    ------
    Mistake
        See :func:`check_address`.
    """
    check_address(host, port)
    ledger = address if isinstance(address, Ledger) else open_ledger(address)
    from waitress.server import create_server

    from dashboard.app import create_app

    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    server = create_server(create_app(ledger).server, host=host, port=port, threads=THREADS, ident=None)
    threading.Thread(target=warm_up, args=(ledger,), name="warm-up", daemon=True).start()
    shown = f"[{host}]" if ":" in host else host
    print(
        f"Evenfoot is ready at http://{shown}:{port}/ (records in {ledger.name}). Stop it with Ctrl+C.",
        flush=True,
    )
    try:
        server.run()
    except KeyboardInterrupt:
        print("Stopped.")
    finally:
        server.close()
