"""Adding a file that is larger than memory to the embedded ledger: rows stream in, and nothing is held whole."""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analytics.intake.records import SET_ASIDE_COLUMNS
from analytics.intake.streaming import CheckedStream
from analytics.ledger import sums
from analytics.ledger.adding import ImportResult, executor
from analytics.ledger.derive import rebuild
from analytics.ledger.history import note
from analytics.ledger.ledger import Ledger
from analytics.ledger.schema import ROW_TABLES, key_of

if TYPE_CHECKING:
    import pyarrow as pa

MEMORY = "600MB"
"""The most that the engine may hold during such an import; what does not fit goes to a folder beside the ledger."""

ROWS_AT_A_TIME = 1_500_000
"""Farms are rebuilt together up to so many rows of their sheets."""

KEYS_AT_A_TIME = 500_000


class _Taken:
    """What goes by while the pieces of a stream are handed to the engine; set-aside rows go to a file."""

    def __init__(self, stream: CheckedStream, folder: Path) -> None:
        self.stream = stream
        self.records = self.held = self.read = 0
        self.aside = folder / "set-aside.arrows"
        self.failed: BaseException | None = None

    def batches(self, schema: pa.Schema) -> Iterator[pa.RecordBatch]:
        """The records as the engine takes them. An error is kept, as the engine would wrap it in its own words."""
        import pyarrow as pa

        aside = pa.schema([(name, pa.int64() if name == "row" else pa.large_string()) for name in SET_ASIDE_COLUMNS])
        try:
            with pa.OSFile(str(self.aside), "wb") as file, pa.ipc.new_stream(file, aside) as writer:
                for piece in self.stream.pieces():
                    self.read += piece.rows_read
                    self.records += len(piece.records)
                    self.held += int(piece.set_aside["row"].nunique())
                    if len(piece.set_aside):
                        writer.write_table(pa.Table.from_pandas(piece.set_aside, aside, preserve_index=False))
                    yield from pa.Table.from_pandas(piece.records, schema, preserve_index=False).to_batches()
        except BaseException as error:
            self.failed = error
            raise


def add_stream(
    ledger: Ledger, stream: CheckedStream, file: str, sha256: str, *, dry_run: bool = False, memory: str = MEMORY
) -> ImportResult:
    """Add a checked stream to the ledger, in one transaction; see :func:`~analytics.ledger.adding.add_sheets`.

    Parameters
    ----------
    ledger : Ledger
        An embedded one.
    stream : CheckedStream
        Its pieces are taken.
    file, sha256 : str
    dry_run : bool
        Count only, change nothing.
    memory : str
        The most that the engine may hold.

    Returns
    -------
    ImportResult

    Raises
    ------
    Mistake
        The ledger cannot be opened or changed.
    """
    if dry_run:
        return _count_only(ledger, stream, file, memory)
    with _spill_folder(Path(ledger.name).parent) as folder, ledger.writing() as connection:
        _bound(connection, memory, folder)
        [(number,)] = connection.execute("SELECT COALESCE(MAX(import_no), 0) + 1 FROM imports").fetchall()
        table, fields = ROW_TABLES[stream.kind]
        columns = ", ".join(f'"{name}"' for name in fields)
        taken = _stream_in(
            connection,
            _Taken(stream, folder),
            f"INSERT INTO {table} SELECT {number}, row_no, {key_of(fields)}, {columns} FROM incoming",
        )
        added = taken.records - _take_out_known(connection, stream.kind, number)
        known = taken.records - added
        _keep_set_aside(connection, taken, number)
        sums.add_import(connection, number)
        if added + known + taken.held != taken.read:
            raise AssertionError(f"{file}: {taken.read} rows read, but {added} + {known} + {taken.held} accounted for")
        connection.execute(
            "INSERT INTO imports VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, NULL, ?)",
            [
                number,
                dt.datetime.now(dt.UTC).replace(tzinfo=None),
                file,
                sha256,
                stream.kind,
                taken.read,
                added,
                known,
                taken.held,
                json.dumps([str(said) for said in stream.notes]),
            ],
        )
        counts = {"file": file, "read": taken.read, "added": added, "already_known": known, "set_aside": taken.held}
        note(connection, "import added", subject=f"import {number}", after=counts)
        if added:
            for farms in _farms_together(connection, table, number):
                rebuild(executor(connection), farms)
    return ImportResult(file, taken.read, added, known, taken.held, number)


def _stream_in(connection: Any, taken: _Taken, statement: str) -> _Taken:
    """Run a statement over the records of a stream, which it calls ``incoming``."""
    import duckdb
    import pyarrow as pa

    _, fields = ROW_TABLES[taken.stream.kind]
    types = {
        "DATE": pa.timestamp("us"),
        "VARCHAR": pa.large_string(),
        "INTEGER": pa.int64(),
        "DOUBLE": pa.float64(),
        "BOOLEAN": pa.bool_(),
    }
    schema = pa.schema([("row", pa.int64()), *((name, types[kind]) for name, kind in fields.items())])
    reader = pa.RecordBatchReader.from_batches(schema, taken.batches(schema))
    typed = ", ".join(f'CAST("{name}" AS {kind}) AS "{name}"' for name, kind in fields.items())
    connection.register("pieces_in", reader)
    try:
        connection.execute(
            statement.replace("FROM incoming", f'FROM (SELECT "row" AS row_no, {typed} FROM pieces_in) AS incoming')
        )
    except duckdb.Error:
        if taken.failed is not None:
            raise taken.failed from None
        raise
    connection.unregister("pieces_in")
    return taken


def _take_out_known(connection: Any, kind: str, number: int) -> int:
    """Take the rows of this import out again that were known, or stood in the file before; how many they were.

    Keys are compared by a short digest first, so that the long ones are only looked at where that is the same.
    """
    table, _ = ROW_TABLES[kind]
    connection.execute(
        f"""CREATE TEMP TABLE repeated AS
        SELECT HASH(row_key) AS short FROM {table} WHERE import_no = {number} GROUP BY 1 HAVING COUNT(*) > 1
        UNION
        SELECT DISTINCT HASH(row_key) FROM {table} WHERE import_no < {number}
          AND HASH(row_key) IN (SELECT HASH(row_key) FROM {table} WHERE import_no = {number})"""
    )
    connection.execute(
        f"""CREATE TEMP TABLE suspects AS
        SELECT import_no, row_no, row_key FROM {table} WHERE HASH(row_key) IN (SELECT short FROM repeated)"""
    )
    connection.execute(
        f"""INSERT INTO seen_again SELECT DISTINCT {number}, '{kind}', row_key FROM suspects
        WHERE import_no = {number} AND row_key IN (SELECT row_key FROM suspects WHERE import_no < {number})"""
    )
    connection.execute(
        f"""CREATE TEMP TABLE going AS SELECT row_no FROM (
          SELECT import_no, row_no, ROW_NUMBER() OVER (PARTITION BY row_key ORDER BY import_no, row_no) AS turn
          FROM suspects) WHERE turn > 1 AND import_no = {number}"""
    )
    [(going,)] = connection.execute("SELECT COUNT(*) FROM going").fetchall()
    if going:
        connection.execute(f"DELETE FROM {table} WHERE import_no = {number} AND row_no IN (SELECT row_no FROM going)")
    for name in ("repeated", "suspects", "going"):
        connection.execute(f"DROP TABLE {name}")
    return int(going)


def _farms_together(connection: Any, table: str, number: int) -> Iterator[list[str]]:
    """The farms of an import, as many at a time as are not too many rows."""
    farms = connection.execute(
        f"""SELECT farm, COUNT(*) FROM {table} WHERE farm IN (SELECT farm FROM {table} WHERE import_no = {number})
        GROUP BY farm ORDER BY farm"""
    ).fetchall()
    together: list[str] = []
    rows = 0
    for farm, count in farms:
        if together and rows + count > ROWS_AT_A_TIME:
            yield together
            together, rows = [], 0
        together.append(farm)
        rows += count
    if together:
        yield together


@contextlib.contextmanager
def _spill_folder(beside: Path) -> Iterator[Path]:
    """A folder for what does not fit into memory. It outlives the transaction, whose end still reads from it."""
    folder = Path(tempfile.mkdtemp(prefix=".evenfoot-", dir=beside if beside.is_dir() else None))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _bound(connection: Any, memory: str, folder: Path) -> None:
    connection.execute(f"SET memory_limit = '{memory}'")
    connection.execute("SET temp_directory = '" + str(folder).replace("'", "''") + "'")
    connection.execute("SET enable_progress_bar = false")


def _count_only(ledger: Ledger, stream: CheckedStream, file: str, memory: str) -> ImportResult:
    """The result an import would have, worked out in a database of its own."""
    import duckdb

    table, fields = ROW_TABLES[stream.kind]
    with tempfile.TemporaryDirectory() as place, duckdb.connect(str(Path(place) / "keys.duckdb")) as connection:
        folder = Path(place)
        _bound(connection, memory, folder)
        taken = _Taken(stream, folder)
        _stream_in(connection, taken, f"CREATE TABLE keys AS SELECT {key_of(fields)} AS row_key FROM incoming")
        connection.execute("CREATE TABLE fresh AS SELECT DISTINCT row_key FROM keys")
        if ledger.exists:
            with ledger.reading() as cursor:
                for batch in ledger.engine.batches(cursor, f"SELECT row_key FROM {table}", KEYS_AT_A_TIME):
                    connection.register("known_in", batch)
                    connection.execute("DELETE FROM fresh WHERE row_key IN (SELECT row_key FROM known_in)")
        [(added,)] = connection.execute("SELECT COUNT(*) FROM fresh").fetchall()
    return ImportResult(file, taken.read, int(added), taken.read - taken.held - int(added), taken.held, 0)


def _keep_set_aside(connection: Any, taken: _Taken, number: int) -> None:
    import pyarrow as pa

    with pa.OSFile(str(taken.aside), "rb") as file, pa.ipc.open_stream(file) as held:
        connection.register("held_in", held)
        connection.execute(
            'INSERT INTO set_aside SELECT ?, ?, "row", "column", value, reason, remedy, original FROM held_in',
            [number, taken.stream.source],
        )
        connection.unregister("held_in")
