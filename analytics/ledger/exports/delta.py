"""A whole ledger as Delta tables in a folder, for others to read, and for Evenfoot through Spark."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.engines.delta_table import without_deltalake
from evenfoot.analytics.ledger.ledger import Ledger
from evenfoot.analytics.ledger.schema import every_table
from evenfoot.analytics.ledger.transfer import BATCH, tables_moved
from evenfoot.analytics.messages import say

if TYPE_CHECKING:
    import pyarrow as pa


def export_delta(ledger: Ledger, out: Path) -> dict[str, int]:
    """Write every table of a ledger, all of one moment, each as the first version of a Delta table.

    Parameters
    ----------
    ledger : Ledger
    out : Path
        A folder that is absent or empty.

    Returns
    -------
    dict of str to int
        Table -> rows, for tables that have some.

    Raises
    ------
    UserError
        The folder holds something or cannot be written, or the package for Delta tables is missing.
    """
    try:
        from deltalake.exceptions import DeltaError
    except ImportError:
        raise without_deltalake() from None
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise UserError(
            say("{out} is not an empty folder; give a new one, so that nothing is overwritten.", out=str(out))
        )
    rows: dict[str, int] = {}
    try:
        out.mkdir(parents=True, exist_ok=True)
        with ledger.reading() as cursor:
            for table, columns in tables_moved().items():
                order = [name for name in ("farm", "visit_date") if name in columns and table != "history"]
                listed = ", ".join(f'"{name}"' for name in columns)
                sql = f"SELECT {listed} FROM {table}" + (f" ORDER BY {', '.join(order)}" if order else "")
                rows[table] = _write(out / table, table, ledger.engine.batches(cursor, sql, BATCH))
            # What the layout is says that there is a ledger, so it comes last.
            own = "SELECT name, value FROM meta WHERE name <> 'changes'"
            rows["meta"] = _write(out / "meta", "meta", ledger.engine.batches(cursor, own, BATCH))
    except (OSError, DeltaError) as error:
        reason = (str(error).strip() or type(error).__name__).splitlines()[0][:300]
        raise UserError(
            say("{out} cannot be written ({reason}); choose another folder.", out=str(out), reason=reason)
        ) from None
    return {table: number for table, number in rows.items() if number}


def _write(place: Path, table: str, batches: Any) -> int:
    import pyarrow as pa
    from deltalake import WriterProperties, write_deltalake

    kinds = _kinds(every_table()[table])
    count = 0
    failed: list[BaseException] = []

    def fitted() -> Iterator[pa.RecordBatch]:
        nonlocal count
        try:
            for batch in batches:
                count += batch.num_rows
                yield from pa.Table.from_batches([batch]).cast(kinds).to_batches()
        except Exception as error:
            failed.append(error)
            raise

    try:
        write_deltalake(
            str(place),
            pa.RecordBatchReader.from_batches(kinds, fitted()),
            writer_properties=WriterProperties(compression="ZSTD"),
        )
    except Exception:
        if failed:
            raise failed[0] from None
        raise
    return count


def _kinds(columns: dict[str, str]) -> pa.Schema:
    """The columns in Arrow's kinds. Moments are in UTC and say so, which every reader of Delta tables knows."""
    import pyarrow as pa

    arrow = {
        "VARCHAR": pa.string(),
        "INTEGER": pa.int32(),
        "BIGINT": pa.int64(),
        "DOUBLE": pa.float64(),
        "BOOLEAN": pa.bool_(),
        "DATE": pa.date32(),
        "TIMESTAMP": pa.timestamp("us", tz="UTC"),
    }
    return pa.schema([(name, arrow[kind]) for name, kind in columns.items()])
