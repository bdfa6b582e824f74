"""How far long work has come: whoever does it says so, whoever waits may listen."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from evenfoot.analytics.messages import Message

_listener: ContextVar[Callable[[Message], None] | None] = ContextVar("listener", default=None)


def stage(what: Message) -> None:
    """Say what is being done now; costs nothing when nobody listens."""
    listener = _listener.get()
    if listener is not None:
        listener(what)


@contextmanager
def heard(listener: Callable[[Message], None]) -> Iterator[None]:
    """Have *listener* told every stage of the work done inside, in this thread.

    Examples
    --------
    >>> from evenfoot.analytics.messages import say
    >>> with heard(lambda what: print(what)):
    ...     stage(say("Adding {rows} rows", rows=12))
    Adding 12 rows
    >>> stage(say("Adding {rows} rows", rows=13))
    """
    token = _listener.set(listener)
    try:
        yield
    finally:
        _listener.reset(token)
