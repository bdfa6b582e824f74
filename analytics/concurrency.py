"""Work done beside other work, by a few threads: a long file is looked through while its first rows are read.

Nothing waits for a thread: what none has begun when it is needed is done by whoever needs it.
"""

from __future__ import annotations

import contextlib
import contextvars
import functools
import queue
import threading
from collections.abc import Callable, Generator, Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any, Generic, TypeVar

THREADS = 4
"""Of the whole process. They wait for the engine most of the time."""

T = TypeVar("T")

_once = threading.Lock()


@functools.cache
def _threads() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(THREADS, thread_name_prefix="beside")


class Task(Generic[T]):
    """Work that was begun; see :func:`submit`."""

    def __init__(self, work: Callable[[], T]) -> None:
        self._work = work
        # Whose records may be seen, and in which language, goes with the work.
        with _once:
            self._future: Future[T] = _threads().submit(contextvars.copy_context().run, work)

    @property
    def done(self) -> bool:
        """Whether the result is there, or why there is none."""
        return self._future.done()

    def result(self) -> T:
        """What the work gives, or raises; done here and now if no thread has begun it."""
        if self._future.cancel():
            return self._work()
        return self._future.result()


def submit(work: Callable[[], T]) -> Task[T]:
    """Begin *work* on another thread.

    Parameters
    ----------
    work : callable
        Takes nothing. It must not be asked for its result twice, nor wait for anything that whoever asks for the
        result holds.

    Returns
    -------
    Task
        Its ``result()`` is what the work gives.

    Examples
    --------
    >>> submit(lambda: 2 + 3).result()
    5
    """
    return Task(work)


def prefetch(items: Iterable[T], most: int = 1) -> Generator[T]:
    """The same items, worked out on a thread of their own while whoever takes them is busy with those before.

    Parameters
    ----------
    items : iterable
        Taken from on the other thread only. It is closed there when it ends, fails, or nobody wants more of it.
    most : int
        How many may wait to be taken, besides the one that is being worked out.

    Yields
    ------
    object
        In the order in which they come. What the items raise is raised here, in its place.

    Examples
    --------
    >>> list(prefetch(iter([1, 2, 3])))
    [1, 2, 3]
    """
    waiting: queue.Queue[tuple[bool, Any]] = queue.Queue(most)
    unwanted = threading.Event()

    def put(last: bool, what: Any) -> None:
        while not unwanted.is_set():
            with contextlib.suppress(queue.Full):
                waiting.put((last, what), timeout=0.1)
                return

    def work() -> None:
        error: BaseException | None = None
        try:
            iterator = iter(items)
            with contextlib.closing(iterator) if isinstance(iterator, Generator) else contextlib.nullcontext():
                for item in iterator:
                    put(False, item)
                    if unwanted.is_set():
                        break
        except BaseException as failed:
            error = failed
        put(True, error)

    thread = threading.Thread(target=contextvars.copy_context().run, args=(work,), name="ahead", daemon=True)
    thread.start()
    try:
        while True:
            last, what = waiting.get()
            if last:
                break
            yield what
        if what is not None:
            raise what
    finally:
        unwanted.set()
        thread.join()
