"""Answers kept while the ledger stays as it is: the same question twice costs nothing the second time."""

from __future__ import annotations

import dataclasses
import functools
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any, Concatenate, ParamSpec, TypeVar

from evenfoot.analytics.concurrency import Task, submit
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


MOST_BEGUN = 16
"""Answers begun and not yet asked for, in one process."""

_begun: OrderedDict[tuple[int, State, Hashable], Task[Any]] = OrderedDict()
_kept = store_of(Answer)
_guard = threading.Lock()


def state_of(ledger: Ledger) -> State:
    """The state a ledger is in now. It costs nothing to ask for of a file."""
    return (ledger.name, ledger.version)


def remembered(kept: OrderedDict[tuple[State, Hashable], T], ledger: Ledger, key: Hashable, make: Callable[[], T]) -> T:
    """What is kept of the ledger's state under *key*, made when it is not.

    What was kept of an older state goes with the first that is made of a newer one; the least recently asked goes
    beyond ``MOST_KEPT``.
    """
    # Read before the question is asked. If the ledger changes in between, the newer answer is kept under the older
    # state, which is never asked for again; an old answer is never given for a new state.
    state = state_of(ledger)
    with _guard:
        found = kept.get((state, key))
        if found is not None:
            kept.move_to_end((state, key))
            return found
        begun = _begun.pop((id(kept), state, key), None)
    made: T = begun.result() if begun else make()
    with _guard:
        drop_older(kept, state)
        kept[state, key] = made
        while len(kept) > MOST_KEPT:
            kept.popitem(last=False)
    return made


def begin(kept: OrderedDict[tuple[State, Hashable], T], ledger: Ledger, key: Hashable, make: Callable[[], T]) -> None:
    """Begin to make what :func:`remembered` will soon be asked for, beside what is done until then.

    Only for a file: an engine that others share has enough to do.
    """
    if ledger.dialect != "duckdb" or not ledger.exists:
        return
    state = state_of(ledger)
    whole = (id(kept), state, key)
    with _guard:
        if (state, key) in kept or whole in _begun:
            return
        # Whoever began it may have failed before asking.
        while len(_begun) >= MOST_BEGUN:
            _begun.popitem(last=False)
        _begun[whole] = submit(make)


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
        _begun.clear()
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
