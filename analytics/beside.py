"""Work done beside other work, by a few threads that wait for it.

The engine plans and counts without holding up Python, so two questions asked at once, or one asked while a table is
worked on, take little longer than one. Nothing waits for a thread: what none has begun when it is needed is done by
whoever needs it.
"""

from __future__ import annotations

import contextvars
import functools
import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Generic, TypeVar

THREADS = 4
"""Of the whole process. They wait for the engine most of the time."""

T = TypeVar("T")

_once = threading.Lock()


@functools.cache
def _threads() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(THREADS, thread_name_prefix="beside")


class Begun(Generic[T]):
    """Work that was begun; see :func:`beside`."""

    def __init__(self, work: Callable[[], T]) -> None:
        self._work = work
        # Whose records may be seen, and in which language, goes with the work.
        with _once:
            self._future: Future[T] = _threads().submit(contextvars.copy_context().run, work)

    def result(self) -> T:
        """What the work gives, or raises; done here and now if no thread has begun it."""
        if self._future.cancel():
            return self._work()
        return self._future.result()


def beside(work: Callable[[], T]) -> Begun[T]:
    """Begin *work* on another thread.

    Parameters
    ----------
    work : callable
        Takes nothing. It must not be asked for its result twice, nor wait for anything that whoever asks for the
        result holds.

    Returns
    -------
    Begun
        Its ``result()`` is what the work gives.

    Examples
    --------
    >>> beside(lambda: 2 + 3).result()
    5
    """
    return Begun(work)
