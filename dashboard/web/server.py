"""Serving the dashboard on this machine."""

from __future__ import annotations

import contextlib
import functools
import gc
import importlib
import logging
import socket
import sys
from collections.abc import Sequence
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.auth import Access, Store, access, is_loopback, store_of
from evenfoot.dashboard.auth.kept_note import is_lost, refuse_lost, write_note
from evenfoot.dashboard.web.http_limits import CONNECTIONS, IDLE_SECONDS, LOOKS, limit_connections
from evenfoot.dashboard.web.memory import give_back, keep_together, limit_memory

THREADS = 100
"""As many as there can be connections [pub: Waitress, connection_limit]: what waits for the ledger's file, or for its
turn to be drawn, never keeps anything else waiting, such as the health line. A thread that waits costs next to
nothing."""

WARMED = ("today-answers", "today-lameness", "today-feet", "herd-drivers", "comparison-risks", "cow-next", "cow-feet")
"""Panels of one farm, or of a cow of it, drawn once when the server starts: what readers open first, and those that
load a library of their own."""

FEW_FARMS = 50
"""Farms up to which the list of farms is worked out before readers are told to come. [common practice, no source]"""

FREED_AFTER = 10_000
"""New objects after which those that can go are looked for. [common practice, no source]"""


def check_address(host: str, port: int) -> None:
    """Refuse what cannot be listened on, before anything long is done.

    Raises
    ------
    UserError
        The port is taken or not a port.
    """
    if not 1 <= port <= 65535:
        raise UserError(f"{port} is not a port; give a number from 1 to 65535 with --port.")
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise UserError(
                f"Port {port} on {host} cannot be used ({error.strerror}); another program has it, so choose "
                "another with --port."
            ) from None


def refuse_other_machines(host: str) -> None:
    """Refuse to serve the demo herds where other machines could reach them.

    Raises
    ------
    UserError
        The address is not this machine's own loopback.
    """
    if not is_loopback(host):
        raise UserError(f"The demo is for this machine alone, not for {host}; use --host 127.0.0.1.")


LOADED = ("scipy.stats",)
"""Libraries that nearly every panel needs and nothing before it: loaded before readers are told to come, so that the
first of them does not wait for it."""


def short_texts_plainly() -> None:
    """Have pandas hold texts as Python does, and not as Arrow columns.

    The tables of an answer have tens of rows. On those every step on a column of Arrow costs more than it does, and
    hands the processor to another thread: a fifth of the time of a panel.
    """
    import pandas as pd

    pd.options.mode.string_storage = "python"


def prepare(ledger: Ledger) -> None:
    """Draw what readers open first before they are told to come: libraries load then, and parts are worked out.

    With it the first window of a day is whole after 0.7 s on the first farm and 1.4 s on another, 2 s before; the
    start takes 2 s longer (demo herds, two processors, ``python -m tests.scale.browser_speed``). The list of farms is
    left to its first reader where there are very many.
    """
    from evenfoot.dashboard.pages import PANELS
    from evenfoot.dashboard.ui.shell import last_months
    from evenfoot.dashboard.ui.view import View

    # Whoever opens the page is told what is wrong; there is nobody to tell here.
    with contextlib.suppress(UserError):
        period = last_months(ledger, 12)
        if period and len(ledger.farms()) <= FEW_FARMS:
            view = View("/", Selection(since=period[0], until=period[1]))
            PANELS["start-farms"].draw(ledger, view)
        for farm in ledger.farms()[:1]:
            found = ledger.frame("SELECT MIN(cow) AS cow FROM trims WHERE farm = ?", [farm])
            view = View("/today", Selection(farms=(farm,)), {"cow": str(found["cow"].iloc[0])})
            for name in WARMED:
                PANELS[name].draw(ledger, view)


def run(
    address: str | Ledger | None,
    host: str,
    port: int,
    *,
    behind_proxy: bool = False,
    proxy: str = "127.0.0.1",
    public_names: Sequence[str] = (),
) -> None:
    """Serve until interrupted; prints the address when ready.

    Parameters
    ----------
    address : str or Ledger, optional
    host : str
        Address to listen on.
    port : int
    behind_proxy : bool
        Whether a proxy that ends TLS stands in front; what it says of the reader's address and scheme is believed.
    proxy : str
        The proxy's address; what others say in its place is not believed.
    public_names : sequence of str
        Names people reach the server by.

    Raises
    ------
    UserError
        See :func:`check_address` and :func:`evenfoot.dashboard.auth.access.access`.
    """
    check_address(host, port)
    keep_together()
    limit_memory()
    ledger = address if isinstance(address, Ledger) else open_ledger(address)
    store = store_of(ledger)
    _look_at_accounts(ledger, store)
    how = access(host, store, behind_proxy=behind_proxy, public_names=public_names)
    from waitress.server import create_server

    from evenfoot.dashboard.auth.login import Lock, may_send_much
    from evenfoot.dashboard.web.app import create_app
    from evenfoot.dashboard.web.request_guard import LARGEST_BODY

    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    short_texts_plainly()
    trusted: dict[str, Any] = {"clear_untrusted_proxy_headers": True}
    if behind_proxy:
        trusted |= {
            "trusted_proxy": proxy,
            "trusted_proxy_count": 1,
            "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto"},
        }
    app = create_app(ledger, store, how)
    # What a view needed is free when it has been sent.
    app.server.teardown_request(lambda _error: give_back())
    server = create_server(
        app.server,
        host=host,
        port=port,
        threads=THREADS,
        connection_limit=CONNECTIONS,
        channel_timeout=IDLE_SECONDS,
        cleanup_interval=LOOKS,
        asyncore_use_poll=True,
        ident=None,
        max_request_body_size=LARGEST_BODY,
        **trusted,
    )
    limit_connections(server, functools.partial(may_send_much, store, how, Lock(ledger, store, how)))
    for name in LOADED:
        importlib.import_module(name)
    prepare(ledger)
    # What is loaded by now stays until the end: looking through it again and again for what can go takes a tenth of
    # every first drawing.
    gc.freeze()
    gc.set_threshold(FREED_AFTER)
    print(
        f"Evenfoot is ready at {_shown(host, port, how)} (records in {ledger.name}). Stop it with Ctrl+C.", flush=True
    )
    if not how.open_here and not behind_proxy:
        print(
            "Passwords and records travel unencrypted on this network; the README says how to put a proxy with TLS "
            "in front.",
            file=sys.stderr,
            flush=True,
        )
    try:
        server.run()
    except KeyboardInterrupt:
        print("Stopped.")
    finally:
        server.close()


def _look_at_accounts(ledger: Ledger, store: Store) -> None:
    """Refuse to serve a ledger whose accounts are lost, and have one that has accounts say so.

    A ledger that cannot be read or written now is served as it is: its pages say what is wrong.

    Raises
    ------
    UserError
        See :func:`evenfoot.dashboard.auth.kept_note.refuse_lost`.
    """
    try:
        lost = is_lost(ledger, store)
    except UserError:
        return
    if lost:
        refuse_lost(ledger, store)
    with contextlib.suppress(UserError):
        write_note(ledger, store)


def _shown(host: str, port: int, how: Access) -> str:
    if how.behind_proxy:
        return " and ".join(f"https://{name}/" for name in sorted(how.names)) + f" through the proxy, on port {port}"
    return f"http://{f'[{host}]' if ':' in host else host}:{port}/"
