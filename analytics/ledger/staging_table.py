"""The records of a checked sheet as a temporary table beside the ledger, each with the digest of its content."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from evenfoot.analytics.ledger.schema import ROW_TABLES, key_of

if TYPE_CHECKING:
    import duckdb
    import pandas as pd


def stage_records(connection: Any, kind: str, records: pd.DataFrame) -> None:
    """Put records into a temporary table ``incoming``.

    Its columns are ``row_no``, ``place`` (of the record among the records), the fields of the kind, ``row_key``, and
    ``turn``, which is 1 for the first of equal records.

    Parameters
    ----------
    connection : connection
    kind : str
    records : pandas.DataFrame
        The fields of the kind, and ``row``, the row number in the file.
    """
    _, fields = ROW_TABLES[kind]
    if hasattr(connection, "load"):
        # Elsewhere than in the embedded engine the same digests are worked out here and sent along, so that a row
        # has one digest whatever holds the ledger.
        with in_memory() as memory:
            stage_records(memory, kind, records)
            types = {"row_no": "BIGINT", "place": "BIGINT", **fields, "row_key": "VARCHAR", "turn": "BIGINT"}
            columns = ", ".join(f'"{name}"' for name in types)
            rows = memory.sql(f"SELECT {columns} FROM incoming").to_arrow_table()
        connection.load("incoming", rows, types)
        return
    frame = records.reindex(columns=["row", *fields])
    frame["place"] = range(len(frame))
    connection.register("frame_in", as_arrow(frame))
    typed = ", ".join(f'CAST("{name}" AS {kind}) AS "{name}"' for name, kind in fields.items())
    connection.execute(
        f"""CREATE OR REPLACE TEMP TABLE incoming AS
        SELECT *, ROW_NUMBER() OVER (PARTITION BY row_key ORDER BY row_no, place) AS turn
        FROM (SELECT *, {key_of(fields)} AS row_key
              FROM (SELECT CAST("row" AS BIGINT) AS row_no, CAST(place AS BIGINT) AS place, {typed} FROM frame_in))"""
    )
    connection.unregister("frame_in")


@contextlib.contextmanager
def in_memory() -> Iterator[duckdb.DuckDBPyConnection]:
    """An embedded engine of its own that holds nothing."""
    import duckdb

    memory = duckdb.connect()
    try:
        yield memory
    finally:
        memory.close()


def insert_frame(connection: Any, table: str, frame: pd.DataFrame, kinds: dict[str, str]) -> None:
    """Add the rows of a frame to a table.

    Parameters
    ----------
    connection : connection
    table : str
    frame : pandas.DataFrame
    kinds : dict of str to str
        Column -> its kind in the ledger, of the columns to take.
    """
    rows = as_arrow(frame, kinds)
    if hasattr(connection, "load"):
        connection.load(table, rows, None)
        return
    listed = ", ".join(f'"{name}"' for name in kinds)
    connection.register("frame_in", rows)
    connection.execute(f"INSERT INTO {table} ({listed}) SELECT {listed} FROM frame_in")
    connection.unregister("frame_in")


def as_arrow(frame: pd.DataFrame, kinds: dict[str, str] | None = None) -> Any:
    """A frame as an Arrow table, without its index.

    Parameters
    ----------
    frame : pandas.DataFrame
    kinds : dict of str to str, optional
        Column -> its kind in the ledger, of the columns to take; without it all of them, as they are.
    """
    import pyarrow as pa

    if kinds is None:
        return pa.Table.from_pandas(frame, preserve_index=False)
    arrow = {
        "DATE": pa.date32(),
        "VARCHAR": pa.string(),
        "INTEGER": pa.int32(),
        "BIGINT": pa.int64(),
        "DOUBLE": pa.float64(),
        "BOOLEAN": pa.bool_(),
        "TIMESTAMP": pa.timestamp("us"),
    }
    schema = pa.schema([(name, arrow[kind]) for name, kind in kinds.items()])
    return pa.Table.from_pandas(frame, schema, preserve_index=False)
