"""A whole ledger from one engine into another: an office's backup in a file, a file's records into an office."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import checksums
from evenfoot.analytics.ledger.schema import LARGE_ROWS, every_table

if TYPE_CHECKING:
    import pyarrow as pa

    from evenfoot.analytics.ledger.ledger import Ledger

BATCH = 100_000
"""Rows under way at a time."""


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


def copy_meta(source: Ledger, target: Ledger) -> None:
    """Let a ledger in a file say of itself what the ledger says that it was moved from, as far as that keeps sums."""
    with source.reading() as cursor:
        if not checksums.kept(cursor):
            return
        said = cursor.execute("SELECT name, value FROM meta WHERE name <> 'changes'").fetchall()
    with target.writing() as connection:
        connection.execute("DELETE FROM meta")
        for name, value in said:
            connection.execute("INSERT INTO meta VALUES (?, ?)", [name, value])


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
