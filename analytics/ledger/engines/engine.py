"""What holds a ledger: one file here, a server of an office, a folder of a registry. All look alike from outside."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from contextvars import ContextVar
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Protocol

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa

    from evenfoot.analytics.messages import Message

NO_BAR = "SET enable_progress_bar = false"
"""For every connection to the embedded engine, which would print a bar among the figures of a long question."""


_held: ContextVar[Mapping[object, Any]] = ContextVar("held", default=MappingProxyType({}))


def held(place: object) -> Any:
    """What is held of a place for the snapshot that this runs in, or None; see :func:`holding`."""
    return _held.get().get(place)


@contextlib.contextmanager
def holding(place: object, what: object) -> Iterator[None]:
    """Let :func:`held` find *what* of a place in the block, and in work that is begun there."""
    before = _held.set({**_held.get(), place: what})
    try:
        yield
    finally:
        _held.reset(before)


class Result(Protocol):
    """What a statement gives back."""

    def fetchall(self) -> list[tuple[Any, ...]]: ...

    def fetchone(self) -> tuple[Any, ...] | None: ...

    def df(self) -> pd.DataFrame: ...


class Connection(Protocol):
    """One thread's way to the records for as long as it is held."""

    def execute(self, sql: str, parameters: Sequence[Any] | None = None) -> Any:
        """Run a statement of the ledger, written for the embedded engine with ``?`` for values; see :class:`Result`."""


class Engine(Protocol):
    """One place where a ledger is held."""

    @property
    def dialect(self) -> str:
        """The SQL it speaks: ``duckdb``, ``postgres`` or ``pyspark``."""

    @property
    def name(self) -> str:
        """The place as it may be shown to people: never with a password."""

    @property
    def address(self) -> str:
        """What opens it again, with everything that takes; not for showing."""

    @property
    def exists(self) -> bool:
        """Whether there is a ledger yet."""

    @property
    def version(self) -> tuple[int, ...]:
        """Another one whenever a change was committed; within a :meth:`snapshot` that of what is read."""

    def reading(self) -> AbstractContextManager[Connection]:
        """A view of the records at one moment."""

    def snapshot(self, *, wait: bool = True) -> AbstractContextManager[None]:
        """Every :meth:`reading` in the block is of the same moment.

        Parameters
        ----------
        wait : bool
            Whether to wait where somebody keeps readers out.
        """

    def writing(self, farms: Iterable[str] | None = None) -> AbstractContextManager[Connection]:
        """One transaction, committed when the block ends, rolled back when it raises.

        Parameters
        ----------
        farms : iterable of str, optional
            The only farms that will be written to, so that others may write to other farms meanwhile. Without it
            nobody else writes.
        """

    def tables(self, connection: Connection) -> set[str]:
        """Names of the tables that are there."""

    def frame(self, connection: Connection, sql: str) -> pd.DataFrame:
        """The rows of a question that is already in this engine's own SQL."""

    def batches(
        self, connection: Connection, sql: str, rows: int, parameters: Sequence[Any] | None = None
    ) -> Iterable[pa.RecordBatch]:
        """The rows of a statement of the ledger, at most *rows* at a time."""

    def settle(self, connection: Connection) -> None:
        """Finish tables that were just made, or made anew: what the engine needs beside them."""

    def whole_rows(self, connection: Connection) -> str:
        """What to put before the name of a row table, within a change, to ask for the rows of all farms."""

    def misplaced(self, connection: Connection) -> Iterable[Message]:
        """Sentences on rows that do not lie where the engine looks for them."""

    def forget_bytes(self) -> tuple[str, ...]:
        """Rid the storage of what was deleted; sentences on what is not in Evenfoot's hands or could not be done."""


def next_number(connection: Any, table: str, column: str) -> int:
    """The next number of a numbered table, which nobody else gets, also where several write at the same time."""
    give = getattr(connection, "next_number", None)
    if give is not None:
        return int(give(table))
    [(number,)] = connection.execute(f"SELECT COALESCE(MAX({column}), 0) + 1 FROM {table}").fetchall()
    return int(number)
