"""A whole ledger from one engine into another: an office's backup in a file, a file's records into an office."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import checksums
from evenfoot.analytics.ledger.file_copy import copy_file
from evenfoot.analytics.ledger.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.schema import LARGE_ROWS, every_table
from evenfoot.analytics.temporary_folders import scratch_folder

if TYPE_CHECKING:
    import pyarrow as pa

BATCH = 100_000
"""Rows under way at a time."""


def held_in_a_file(ledger: Ledger) -> bool:
    """Whether the ledger is one file, which is copied as such."""
    return ledger.dialect == "duckdb"


def move(source: Ledger, target: Ledger, then: Callable[[Any], None] | None = None) -> int:
    """Put everything that one ledger holds into another that holds nothing, in one transaction.

    Parameters
    ----------
    source, target : Ledger
    then : callable, optional
        What is done last in the transaction; it takes the connection.

    Returns
    -------
    int
        How many rows of all tables were moved.

    Raises
    ------
    UserError
        The target holds records already, or one of the two cannot be opened.
    """
    count = 0
    with source.reading() as cursor, target.writing() as connection:
        if connection.execute("SELECT COUNT(*) FROM imports").fetchall() != [(0,)]:
            raise UserError(
                f"There are records in {target.name} already; give an empty place, such as a new database or schema."
            )
        for table, columns in tables_moved().items():
            listed = ", ".join(f'"{name}"' for name in columns)
            rows = source.engine.batches(cursor, f"SELECT {listed} FROM {table}", LARGE_ROWS.get(table, BATCH))
            count += _load(connection, table, listed, rows)
        checksums.carry(cursor, connection)
        target.engine.settle(connection)
        if then is not None:
            then(connection)
    return count


def write_file(ledger: Ledger, out: Path) -> None:
    """Everything a ledger on a server or in a registry holds, as a ledger in one file at *out*."""
    move(ledger, open_ledger(str(out)))


def read_file(ledger: Ledger, backup: Path, then: Callable[[Any], None]) -> None:
    """Everything a file holds, into a ledger on a server or in a registry; see :func:`move`. The file stays."""
    with scratch_folder() as room:
        copy = room / "backup.duckdb"
        copy_file(open_ledger(str(backup)), copy)
        source = open_ledger(str(copy))
        try:
            move(source, ledger, then)
        finally:
            source.lease.drop_if_idle()


def tables_moved() -> dict[str, dict[str, str]]:
    """Table -> column -> kind of all that is moved: everything but what a ledger says of itself."""
    return {table: columns for table, columns in every_table().items() if table != "meta"}


def _load(connection: Any, table: str, listed: str, rows: Iterable[pa.RecordBatch]) -> int:
    if hasattr(connection, "load"):
        return int(connection.load(table, rows, None))
    import pyarrow as pa

    count = 0
    for batch in rows:
        if batch.num_rows:
            connection.register("frame_in", pa.Table.from_batches([batch]))
            connection.execute(f"INSERT INTO {table} ({listed}) SELECT {listed} FROM frame_in")
            connection.unregister("frame_in")
            count += batch.num_rows
    return count
