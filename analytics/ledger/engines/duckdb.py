"""The embedded ledger: one DuckDB file, which needs nothing beside it."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.engines.create import make_file
from evenfoot.analytics.ledger.engines.file_lease import FileLease, lease_of
from evenfoot.analytics.messages import say
from evenfoot.analytics.query_timeout import interruptible

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa

    from evenfoot.analytics.messages import Message


TAKEN = ("information_schema", "pg_catalog", "without")
"""Names that a database cannot have beside what the engine, or we, call so."""


@dataclass(frozen=True)
class DuckDBEngine:
    """A ledger in one file; see :class:`evenfoot.analytics.ledger.engines.engine.Engine`.

    Attributes
    ----------
    lease : FileLease
    given : Path
        The path by which it was opened; the lease has the one that links in it lead to.
    """

    lease: FileLease
    given: Path = field(compare=False)
    dialect: str = "duckdb"

    @property
    def name(self) -> str:
        return str(self.lease.path)

    @property
    def address(self) -> str:
        return str(self.lease.path)

    @property
    def exists(self) -> bool:
        """An empty file is none yet."""
        try:
            return self.lease.path.stat().st_size > 0
        except OSError:
            return False

    @property
    def version(self) -> tuple[int, ...]:
        """The file's state; see :class:`evenfoot.analytics.ledger.engines.file_lease.FileLease`."""
        return self.lease.state

    @contextlib.contextmanager
    def reading(self) -> Iterator[Any]:
        with self.lease.reading() as cursor, interruptible(cursor.interrupt):
            yield cursor

    def snapshot(self, *, wait: bool = True) -> contextlib.AbstractContextManager[None]:
        return self.lease.snapshot(wait=wait)

    @contextlib.contextmanager
    def writing(self, farms: Iterable[str] | None = None) -> Iterator[Any]:
        """One writer at a time has the whole file, whatever the farms."""
        if not self.exists:
            with self.lease.alone():
                make_file(self.lease.path)
        with self.lease.writing() as connection:
            yield connection

    def tables(self, connection: Any) -> set[str]:
        rows = connection.execute(
            "SELECT table_name FROM information_schema.tables WHERE table_schema = 'main'"
        ).fetchall()
        return {name for (name,) in rows}

    def frame(self, connection: Any, sql: str) -> pd.DataFrame:
        found: pd.DataFrame = connection.execute(sql).df()
        return found

    def batches(
        self, connection: Any, sql: str, rows: int, parameters: Sequence[Any] | None = None
    ) -> Iterable[pa.RecordBatch]:
        question = connection.sql(sql, params=list(parameters)) if parameters else connection.sql(sql)
        reader: Iterable[pa.RecordBatch] = question.to_arrow_reader(rows)
        return reader

    def settle(self, connection: Any) -> None:
        """A file needs nothing beside its tables."""

    def whole_rows(self, connection: Any) -> str:
        return ""

    def misplaced(self, connection: Any) -> Iterable[Message]:
        """Rows have no place of their own."""
        return ()

    def forget_bytes(self) -> tuple[str, ...]:
        """Who erases writes the file anew, see :mod:`evenfoot.analytics.ledger.integrity.erase`."""
        return ()


def duckdb_at(path: str) -> DuckDBEngine:
    """The embedded engine on the file at *path*.

    Raises
    ------
    UserError
        The engine could not tell the file by its name from its own parts.
    """
    if Path(path).stem.casefold() in TAKEN:
        raise UserError(
            say("A ledger cannot be called {name}, which is a word of the engine's. Rename the file.",
                name=Path(path).name)
        )  # fmt: skip
    given = Path(path).expanduser()
    return DuckDBEngine(lease_of(given), given.absolute())
