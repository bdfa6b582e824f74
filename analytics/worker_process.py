"""Work done in a process of its own, with limits of time and memory, a few at a time.

What a stranger's file does to the memory or the processor stays in that process: the server goes on.
"""

from __future__ import annotations

import contextlib
import functools
import multiprocessing
import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextvars import ContextVar
from multiprocessing.connection import Connection
from typing import Any, TypeVar

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say
from evenfoot.analytics.progress import heard, stage
from evenfoot.analytics.work_queue import Turns

SECONDS = 120
"""Of a processor, and twice as many by the clock. The slowest sheet a person keeps takes some ten."""

MEGABYTES = 3_000
"""Of data that the work may have, and no more than half of the machine's. Two million rows (53 MB) take 2,200."""

AT_ONCE, MOST_WAITING = 2, 4
"""Of all the work of this process. [common practice, no source]"""

T = TypeVar("T")

_asker: ContextVar[Callable[[Any], Any] | None] = ContextVar("asker", default=None)

TOO_LONG = say("This takes too long to read, so it was given up. Split it, by year for instance, and give the parts.")
TOO_LARGE = say("This takes too much memory to read, so it was given up. Split it, by year for instance.")
BUSY = say("Other sheets are being read now. Try again in a minute.")

_turns = Turns(AT_ONCE, MOST_WAITING, BUSY)


def run_limited(work: Callable[..., T], *given: Any, answer: Callable[[Any], Any] | None = None) -> T:
    """What *work* gives, done in a process of its own.

    It covers what the work does: its processor time (``SECONDS``), its memory (``MEGABYTES``) and its crashes. It does
    not cover the bytes handed over, which the server holds, nor what is done with the result. Where the system knows
    no such limits (Windows), only the clock holds.

    Parameters
    ----------
    work : callable
        A function of a module, which takes *given*.
    given
        Values that can be pickled.
    answer : callable, optional
        Answers what the work asks by :func:`ask`.

    Raises
    ------
    UserError
        The work raised it, or came to a limit, or too much work waits already.
    """
    with _turns.turn():
        ours, theirs = multiprocessing.Pipe()
        process = _context().Process(target=_serve, args=(theirs, work, given), daemon=True)
        process.start()
        theirs.close()
        with _ended(process), ours:
            return _listen(ours, process, answer)  # type: ignore[no-any-return]


def ask(what: Any) -> Any:
    """Ask whoever had limited work done; for the work itself to call.

    Raises
    ------
    RuntimeError
        Nobody waits for limited work.
    """
    asker = _asker.get()
    if asker is None:
        raise RuntimeError("Only limited work can ask.")
    return asker(what)


@functools.cache
def _context() -> Any:
    """Processes begin as copies of a small one that has loaded the readers and has no threads."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["evenfoot.analytics.intake.preload", "evenfoot.analytics.ledger.limited_import"])
    return context


@contextlib.contextmanager
def _ended(process: Any) -> Iterator[None]:
    try:
        yield
    finally:
        process.kill()
        process.join()
        process.close()


def _listen(ours: Connection, process: Any, answer: Callable[[Any], Any] | None) -> Any:
    end = time.monotonic() + 2 * SECONDS
    while True:
        if not ours.poll(max(0.0, end - time.monotonic())):
            raise UserError(TOO_LONG)
        try:
            kind, what = ours.recv()
        except (EOFError, OSError):
            process.join()
            late = sys.platform != "win32" and process.exitcode in (-signal.SIGXCPU, -signal.SIGKILL)
            raise UserError(TOO_LONG if late else TOO_LARGE) from None
        if kind == "stage":
            stage(what)
        elif kind == "ask":
            ours.send(answer(what) if answer is not None else None)
        elif kind == "mistake":
            raise UserError(what)
        elif kind == "error":
            raise RuntimeError(what)
        else:
            return what


def _serve(theirs: Connection, work: Callable[..., Any], given: tuple[Any, ...]) -> None:
    _limit()

    def asker(what: Any) -> Any:
        theirs.send(("ask", what))
        return theirs.recv()

    _asker.set(asker)
    try:
        with heard(lambda what: theirs.send(("stage", what))):
            told = ("result", work(*given))
    except UserError as mistake:
        told = ("mistake", mistake.sentence)
    except MemoryError:
        told = ("mistake", TOO_LARGE)
    except Exception:
        import traceback

        told = ("error", traceback.format_exc())
    theirs.send(told)


def _limit() -> None:
    if sys.platform == "win32":
        return
    import resource

    half = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") // 2
    for kind, most in ((resource.RLIMIT_CPU, SECONDS), (resource.RLIMIT_DATA, min(MEGABYTES << 20, half))):
        _, hard = resource.getrlimit(kind)
        most = most if hard == resource.RLIM_INFINITY else min(most, hard)
        resource.setrlimit(kind, (most, hard))
