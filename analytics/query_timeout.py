"""How long one request may ask the engine: what takes longer is interrupted, and told in a sentence.

It covers questions to the embedded engine: one that runs when the time is up is interrupted, and none begins after
it. It does not cover what Python does with the rows between two questions; that is bounded by the records and by the
bounds of an address (:mod:`evenfoot.analytics.queries.bounds`). Memory is bounded for the whole server
(:func:`evenfoot.dashboard.web.memory.limit_memory`).
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterator
from contextvars import ContextVar

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say

SECONDS = 60.0
"""Seconds for one panel; the slowest of a registry takes a third of it. [common practice, no source]"""

TOO_LONG = say("This takes too long to work out, so it was given up. Choose fewer farms or a shorter period.")

_allowed: ContextVar[_Allowance | None] = ContextVar("allowed", default=None)


class _Allowance:
    """The time of one request, and what is interrupted when it is up."""

    def __init__(self) -> None:
        self.is_up = False
        self._guard = threading.Lock()
        self._interrupts: dict[int, Callable[[], None]] = {}

    def expire(self) -> None:
        with self._guard:
            self.is_up = True
            for interrupt in self._interrupts.values():
                interrupt()

    def begin(self, interrupt: Callable[[], None]) -> int:
        with self._guard:
            if self.is_up:
                raise UserError(TOO_LONG)
            self._interrupts[id(interrupt)] = interrupt
            return id(interrupt)

    def end(self, key: int) -> None:
        with self._guard:
            self._interrupts.pop(key, None)


@contextlib.contextmanager
def allowance(seconds: float | None = None) -> Iterator[None]:
    """Give what is done inside some seconds of the engine.

    Parameters
    ----------
    seconds : float, optional
        ``SECONDS`` without it.

    Raises
    ------
    UserError
        The time was up before it was done.
    """
    allowed = _Allowance()
    timer = threading.Timer(SECONDS if seconds is None else seconds, allowed.expire)
    timer.daemon = True
    timer.start()
    token = _allowed.set(allowed)
    try:
        yield
    except Exception:
        if allowed.is_up:
            raise UserError(TOO_LONG) from None
        raise
    finally:
        _allowed.reset(token)
        timer.cancel()


@contextlib.contextmanager
def interruptible(interrupt: Callable[[], None]) -> Iterator[None]:
    """Have *interrupt* called when the time of the request is up.

    Raises
    ------
    UserError
        It is up already.
    """
    allowed = _allowed.get()
    if allowed is None:
        yield
        return
    key = allowed.begin(interrupt)
    try:
        yield
    finally:
        allowed.end(key)
