"""Answers kept while the ledger stays as it is: the same question twice costs nothing the second time."""

from __future__ import annotations

import dataclasses
import functools
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any, Concatenate, ParamSpec, TypeVar

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.queries.selection import Selection

MOST_KEPT = 256
"""Answers kept at a time in one process; the least recently asked goes first."""

P = ParamSpec("P")
Measured = Callable[Concatenate[Ledger, Selection, P], Answer]

State = tuple[str, Hashable]
"""A ledger's name, and what changes with every change of it."""

T = TypeVar("T")

_stores: list[OrderedDict[tuple[State, Hashable], Any]] = []


def store_of(_kind: type[T]) -> OrderedDict[tuple[State, Hashable], T]:
    """A new place to keep answers of one sort in, which :func:`forget` empties with the others."""
    made: OrderedDict[tuple[State, Hashable], T] = OrderedDict()
    _stores.append(made)
    return made


_making: dict[tuple[int, State, Hashable], threading.Event] = {}
"""What is being made now; its event is set when it is made or has failed."""

_kept = store_of(Answer)
_guard = threading.Lock()


def state_of(ledger: Ledger) -> State:
    """The state a ledger is in now. It costs nothing to ask for of a file."""
    return (ledger.name, ledger.version)


def remembered(kept: OrderedDict[tuple[State, Hashable], T], ledger: Ledger, key: Hashable, make: Callable[[], T]) -> T:
    """What is kept of the ledger's state under *key*, made when it is not.

    Panels of a page ask for the same answer at the same moment. One of them makes it and the others wait, so it is
    made once: the first view of a comparison takes 0.4 s of processor, with each making its own it took 1.3 s (demo
    herds, two processors). If it fails, the next one who waited makes it.

    What was kept of an older state goes with the first that is made of a newer one; the least recently asked goes
    beyond ``MOST_KEPT``.
    """
    state = state_of(ledger)
    with _guard:
        found = _found(kept, (state, key))
    if found is not None:
        return found
    # Whoever makes it and whoever waits read the same state, so nobody waits for somebody who waits for the file.
    with ledger.snapshot():
        state = state_of(ledger)
        whole = (id(kept), state, key)
        while True:
            with _guard:
                found = _found(kept, (state, key))
                if found is not None:
                    return found
                others = _making.get(whole)
                if others is None:
                    mine = _making[whole] = threading.Event()
                    break
            others.wait()
        try:
            made = make()
            with _guard:
                drop_older(kept, state)
                kept[state, key] = made
                while len(kept) > MOST_KEPT:
                    kept.popitem(last=False)
            return made
        finally:
            with _guard:
                del _making[whole]
            mine.set()


def _found(kept: OrderedDict[tuple[State, Hashable], T], key: tuple[State, Hashable]) -> T | None:
    """What is kept under a key, which is now the most recently asked; call it with the guard held."""
    found = kept.get(key)
    if found is not None:
        kept.move_to_end(key)
    return found


def drop_older(kept: OrderedDict[tuple[State, Hashable], T], state: State) -> int:
    """Drop what is kept of other states of the same ledger; gives how many that were."""
    gone = [key for key in kept if key[0][0] == state[0] and key[0] != state]
    for key in gone:
        del kept[key]
    return len(gone)


def memoize(measure: Measured[P]) -> Measured[P]:
    """Keep the answers of a measure, by ledger, its state, selection and options."""

    @functools.wraps(measure)
    def asked(ledger: Ledger, selection: Selection, /, *args: P.args, **options: P.kwargs) -> Answer:
        key = (measure.__module__, selection, _hashable(args), _hashable(options))
        found = remembered(_kept, ledger, key, lambda: measure(ledger, selection, *args, **options))
        return dataclasses.replace(
            found,
            table=found.table.copy(deep=False),
            extra={name: frame.copy(deep=False) for name, frame in found.extra.items()},
        )

    return asked


def forget() -> None:
    """Forget every kept answer, and what answers share."""
    with _guard:
        for store in _stores:
            store.clear()


def _hashable(options: Any) -> Hashable:
    if isinstance(options, dict):
        return tuple(sorted((str(name), _hashable(value)) for name, value in options.items()))
    if isinstance(options, (list, tuple, set)):
        return tuple(_hashable(each) for each in options)
    try:
        hash(options)
    except TypeError:
        return repr(options)
    kept: Hashable = options
    return kept
