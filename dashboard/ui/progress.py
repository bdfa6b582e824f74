"""What a page says while something long is being done for its reader: the stage, and since when.

Dash's own background callbacks begin a process for each piece of work [pub: Dash, Background Callbacks]. Forked from
the server it may stand still for ever, for the engine has threads; begun anew it loads the libraries first, for two
seconds, and then waits for the ledger's file like any other program. So the work stays in a request of its own, its
costly parts in limited processes, and the page asks for the stage.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from dash import Dash, Input, Output, dcc, html

from evenfoot.analytics.messages import Message
from evenfoot.analytics.progress import heard
from evenfoot.dashboard.auth import current_viewer
from evenfoot.dashboard.i18n.translation import _, told

PULSE_MS = 500
"""How often a page asks how far the work has come."""

_guard = threading.Lock()
_now: dict[tuple[str, str], tuple[float, Message]] = {}


@contextmanager
def watched(work: str) -> Iterator[None]:
    """Keep the stages of the work done inside, for the page of the same viewer."""
    whose = (current_viewer().name, work)
    began = time.monotonic()

    def note(what: Message) -> None:
        with _guard:
            _now[whose] = (began, what)

    try:
        with heard(note):
            yield
    finally:
        with _guard:
            _now.pop(whose, None)


def place(work: str) -> html.Div:
    """Where a page says how far the work has come."""
    return html.Div(
        [
            dcc.Interval(id=f"{work}-pulse", interval=PULSE_MS, disabled=True),
            html.Div(id=f"{work}-progress", className="progress", role="status"),
        ]
    )


def while_running(work: str) -> list[tuple[Output, Any, Any]]:
    """For the ``running`` of the callback that does the work: the page asks meanwhile, and not after."""
    return [(Output(f"{work}-pulse", "disabled"), False, True), (Output(f"{work}-progress", "hidden"), False, True)]


def register(app: Dash, work: str) -> None:
    """The callback that answers a page which asks."""

    @app.callback(
        Output(f"{work}-progress", "children"), Input(f"{work}-pulse", "n_intervals"), prevent_initial_call=True
    )
    def told_now(_pulses: int) -> Any:
        with _guard:
            found = _now.get((current_viewer().name, work))
        if found is None:
            return None
        began, what = found
        return html.P(_("{what} ({seconds} s)", what=told(what), seconds=int(time.monotonic() - began)))
