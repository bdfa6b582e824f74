"""Panels drawn for the browser: each once as long as the ledger stays as it is, a few at a time, in order.

A panel takes tens to hundreds of milliseconds of one processor, and Python runs one thread at a time. Drawing all
panels of a page at once would make the first of them as late as the last, so a few are drawn at a time, first
come first served: the top of a page is there first. Two readers who ask for the same panel wait for the same
drawing.

A panel is drawn from one state of the ledger, which nobody changes while it is drawn. A file that somebody else has is
waited for before a panel has its turn.
"""

from __future__ import annotations

import contextlib
import gzip
import json
import os
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable

from evenfoot.analytics.clock import today
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.failures import Busy
from evenfoot.analytics.measures.cache import State, drop_older, state_of
from evenfoot.analytics.query_timeout import allowance
from evenfoot.dashboard.accounts import current_viewer
from evenfoot.dashboard.language import words
from evenfoot.dashboard.marks import further
from evenfoot.dashboard.memory import give_back
from evenfoot.dashboard.panel import Drawn, Panel, filled
from evenfoot.dashboard.span import following, mark_chosen
from evenfoot.dashboard.still import all_told, as_data, settled
from evenfoot.dashboard.view import View

MOST_KEPT = 24 * 1024 * 1024
"""Bytes of drawn panels, pressed, kept at a time in one process; the least recently asked goes first. A panel takes
some 40,000 letters, and pressed a fifth of that."""

PRESSED = 1
"""Level of pressing: the quickest."""

AT_A_TIME = min(4, max(2, os.cpu_count() or 2))
"""Panels drawn at a time."""

_turn = threading.Semaphore(AT_A_TIME)
_guard = threading.Lock()
_kept: OrderedDict[tuple[State, Hashable], bytes] = OrderedDict()
_making: dict[Hashable, threading.Event] = {}


def drawn(panel: Panel, ledger: Ledger, view: View) -> bytes:
    """The contents of a panel as they travel to the browser, in the language of whoever asks: JSON, pressed by gzip.

    Of a panel that is ``live`` they are components for Dash, of any other elements told as text
    (:mod:`evenfoot.dashboard.still`).

    Raises
    ------
    UserError
        Whatever the panel raises; a mistake is never kept.
    """
    own = (
        panel.name, view.path, view.selection, frozenset(view.options.items()), view.narrow, today(),
        current_viewer().role, words(),
    )  # fmt: skip
    while True:
        # Read before drawing: if the ledger changes before, the newer is kept under a state that is never asked again.
        key = (state_of(ledger), own)
        with _guard:
            found = _found(key)
        if found is not None:
            return found
        # Each waits for the file by itself, and before anything that others wait for.
        with ledger.snapshot():
            pass
        # Somebody may have taken the file since: then it is waited for again.
        with contextlib.suppress(Busy):
            return _once(key, lambda: _text(panel, ledger, view))


def forget() -> None:
    """Forget every drawn panel."""
    with _guard:
        _kept.clear()


def waiting() -> bool:
    """Whether somebody's panel is being drawn now."""
    with _guard:
        return bool(_making)


def _text(panel: Panel, ledger: Ledger, view: View) -> str:
    with _turn, ledger.snapshot(wait=False), allowance():
        made = panel.draw(ledger, view if panel.over_time else following(view))
        if panel.over_time and isinstance(made, Drawn):
            mark_chosen(view, made)
        parts = as_data([*filled(panel, made), further(made)] if isinstance(made, Drawn) else made)
        told = settled if panel.live else all_told
        return json.dumps(told(parts), separators=(",", ":"), ensure_ascii=False)


def _found(key: tuple[State, Hashable]) -> bytes | None:
    """What is kept; call it with the guard."""
    found = _kept.get(key)
    if found is not None:
        _kept.move_to_end(key)
    return found


def _once(key: tuple[State, Hashable], make: Callable[[], str]) -> bytes:
    while True:
        with _guard:
            found = _found(key)
            if found is not None:
                return found
            other = _making.get(key)
            if other is None:
                mine = _making[key] = threading.Event()
                break
        other.wait()
        # It may have failed there; then this reader tries, and is told what is wrong.
    try:
        drawn = gzip.compress(make().encode(), PRESSED)
        with _guard:
            stale = drop_older(_kept, key[0])
            _kept[key] = drawn
            _shorten()
        if stale:
            give_back()
        return drawn
    finally:
        with _guard:
            del _making[key]
        mine.set()


def _shorten() -> None:
    size = sum(map(len, _kept.values()))
    while size > MOST_KEPT and len(_kept) > 1:
        _, gone = _kept.popitem(last=False)
        size -= len(gone)
