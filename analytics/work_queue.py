"""Long work done a few at a time: who comes later waits in order and is told the place, and too many are sent away."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Iterator

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.progress import stage

LOOK = 1.0
"""Seconds between two times that the place is told."""


class Turns:
    """Turns at one sort of work, in the order in which they are asked for.

    Parameters
    ----------
    at_once : int
        How many may work at a time.
    most_waiting : int
        How many may wait besides. Each holds a thread of the server.
    busy : Message
        What the next one is told.

    Examples
    --------
    >>> turns = Turns(1, 0, say("Come back later."))
    >>> with turns.turn():
    ...     with turns.turn():
    ...         pass
    Traceback (most recent call last):
    evenfoot.analytics.errors.UserError: Come back later.
    """

    def __init__(self, at_once: int, most_waiting: int, busy: Message) -> None:
        self.at_once, self.most_waiting, self.busy = at_once, most_waiting, busy
        self._changed = threading.Condition()
        self._waiting: list[object] = []
        self._working = 0

    @contextlib.contextmanager
    def turn(self) -> Iterator[None]:
        """Wait for a turn, and have it until the end of the block.

        Raises
        ------
        UserError
            Too many wait already.
        """
        me = object()
        with self._changed:
            if self._working + len(self._waiting) >= self.at_once + self.most_waiting:
                raise UserError(self.busy)
            self._waiting.append(me)
            try:
                while self._working >= self.at_once or self._waiting[0] is not me:
                    stage(say("Waiting; {n} others come first", n=self._working + self._waiting.index(me)))
                    self._changed.wait(LOOK)
                self._working += 1
            finally:
                self._waiting.remove(me)
                self._changed.notify_all()
        try:
            yield
        finally:
            with self._changed:
                self._working -= 1
                self._changed.notify_all()
