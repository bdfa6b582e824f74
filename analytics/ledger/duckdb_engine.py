"""The embedded ledger: one DuckDB file, which needs nothing beside it."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analytics.ledger.lease import FileLease, lease_of
from analytics.ledger.making import make_file

if TYPE_CHECKING:
    import pandas as pd
    import pyarrow as pa

    from analytics.words import Said


@dataclass(frozen=True)
class DuckDBEngine:
    """A ledger in one file; see :class:`analytics.ledger.engine.Engine`."""

    lease: FileLease
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
    def version(self) -> tuple[int, int]:
        """The file's (time of change in nanoseconds, size)."""
        try:
            stat = self.lease.path.stat()
        except OSError:
            return (0, 0)
        return (stat.st_mtime_ns, stat.st_size)

    @contextlib.contextmanager
    def reading(self) -> Iterator[Any]:
        with self.lease.reading() as cursor:
            yield cursor

    @contextlib.contextmanager
    def writing(self, farms: Iterable[str] | None = None) -> Iterator[Any]:
        """One writer at a time has the whole file, whatever the farms."""
        if not self.exists:
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

    def misplaced(self, connection: Any) -> Iterable[Said]:
        """Rows have no place of their own."""
        return ()

    def forget_bytes(self) -> tuple[str, ...]:
        """Who erases writes the file anew, see :mod:`analytics.ledger.erasing`."""
        return ()


def duckdb_at(path: str) -> DuckDBEngine:
    """The embedded engine on the file at *path*."""
    return DuckDBEngine(lease_of(Path(path).expanduser()))
