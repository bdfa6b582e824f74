"""Answers kept while the ledger stays as it is: the same question twice costs nothing the second time."""

from __future__ import annotations

import dataclasses
import functools
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any, Concatenate, ParamSpec, TypeVar

from analytics.ledger import Ledger
from analytics.measures.answer import Answer
from analytics.tally.selection import Selection

MOST_KEPT = 256
"""Answers kept at a time in one process; the least recently asked goes first."""

P = ParamSpec("P")
Measured = Callable[Concatenate[Ledger, Selection, P], Answer]

_kept: OrderedDict[Hashable, Answer] = OrderedDict()
_guard = threading.Lock()

T = TypeVar("T")


def remembered(kept: OrderedDict[Hashable, T], key: Hashable, make: Callable[[], T]) -> T:
    """What is kept under *key*, made when it is not; the least recently asked is dropped beyond ``MOST_KEPT``."""
    with _guard:
        found = kept.get(key)
        if found is not None:
            kept.move_to_end(key)
    if found is None:
        found = make()
        with _guard:
            kept[key] = found
            while len(kept) > MOST_KEPT:
                kept.popitem(last=False)
    return found


def keep(measure: Measured[P]) -> Measured[P]:
    """Keep the answers of a measure, by ledger, its state, selection and options.

    The state of the ledger is read before the question is asked. If the ledger changes in between, the newer
    answer is kept under the older state, which is never asked for again; an old answer is never given for a
    new state.
    """

    @functools.wraps(measure)
    def asked(ledger: Ledger, selection: Selection, /, *args: P.args, **options: P.kwargs) -> Answer:
        key = (measure.__module__, ledger.name, ledger.version, selection, _hashable(args), _hashable(options))
        found = remembered(_kept, key, lambda: measure(ledger, selection, *args, **options))
        return dataclasses.replace(
            found,
            table=found.table.copy(deep=False),
            extra={name: frame.copy(deep=False) for name, frame in found.extra.items()},
        )

    return asked


def forget() -> None:
    """Forget every kept answer."""
    with _guard:
        _kept.clear()


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
