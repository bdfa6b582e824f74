"""Adding a file that is larger than memory to the embedded ledger: rows stream in, and nothing is held whole."""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from evenfoot.analytics.concurrency import prefetch
from evenfoot.analytics.intake.large_files.stream import CheckedStream
from evenfoot.analytics.ledger.derive import rebuild
from evenfoot.analytics.ledger.engines.engine import NO_BAR
from evenfoot.analytics.ledger.farm_batches import farms_together
from evenfoot.analytics.ledger.history import note
from evenfoot.analytics.ledger.imports.add import ImportResult, come_with_import, executor
from evenfoot.analytics.ledger.imports.doubtful_visits import questioned_in_import
from evenfoot.analytics.ledger.imports.farm_spelling import ledger_spelling
from evenfoot.analytics.ledger.imports.record_linkage import IDENTITIES
from evenfoot.analytics.ledger.imports.record_stream import Taken
from evenfoot.analytics.ledger.ledger import Ledger
from evenfoot.analytics.ledger.schema import ROW_TABLES, half_as_number
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.temporary_folders import scratch_folder

MEMORY = "600MB"
"""The most that the engine may hold during such an import; what does not fit goes to a folder beside the ledger."""

KEYS_AT_A_TIME = 500_000

ROWS_AT_A_TIME = 1_500_000
"""Farms are rebuilt together up to so many rows of their sheets. With a third of them the derived tables end in pieces
that are written anew when the import ends, which takes a fifth more time and room; with three times as many, more goes
to the folder beside the ledger."""


def add_stream(
    ledger: Ledger, stream: CheckedStream, file: str, sha256: str, *, dry_run: bool = False, memory: str = MEMORY
) -> ImportResult:
    """Add a checked stream to the ledger, in one transaction; see
    :func:`~evenfoot.analytics.ledger.imports.add.add_sheets`.

    Of rows only those that are there word for word are known: other versions of a record are added beside it, and it is
    said when visits of the file are there already.

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
    UserError
        The ledger cannot be opened or changed.
    """
    if dry_run:
        return _count_only(ledger, stream, file, memory)
    with _spill_folder(Path(ledger.name).parent) as folder, ledger.writing() as connection:
        _bound(connection, memory, folder)
        verdicts = stream.verdicts
        verdicts.respell_farms(ledger_spelling(ledger, connection, verdicts.farms))
        [(number,)] = connection.execute("SELECT COALESCE(MAX(import_no), 0) + 1 FROM imports").fetchall()
        table, fields = ROW_TABLES[stream.kind]
        taken = Taken(stream, folder)
        _remember_known(connection, taken, number)
        columns = ", ".join(f'"{name}"' for name in fields)
        _stream_in(connection, taken, f'INSERT INTO {table} SELECT {number}, "row", row_key, {columns} FROM incoming')
        _look_again(connection, taken, number)
        added, known = taken.added, taken.records - taken.added
        _keep_set_aside(connection, taken, number)
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
        come_with_import(connection, number, [table])
        counts = {"file": file, "read": taken.read, "added": added, "already_known": known, "set_aside": taken.held}
        note(connection, "import added", subject=f"import {number}", after=counts)
        if added:
            for farms in _farms_together(connection, table, number):
                rebuild(executor(connection), farms)
        questioned = (
            questioned_in_import(connection, number) + _met_again(connection, stream.kind, number) if added else ()
        )
    return ImportResult(file, taken.read, added, known, taken.held, number, questioned)


def _stream_in(connection: Any, taken: Taken, statement: str) -> None:
    """Run a statement over the new records of a stream, which it calls ``incoming``."""
    import duckdb
    import pyarrow as pa

    # Rows say which of the sheet they are, so they may come to rest in another order, by as many threads as there are.
    connection.execute("SET preserve_insertion_order = false")
    try:
        with contextlib.closing(prefetch(taken.batches())) as batches:
            connection.register("incoming", pa.RecordBatchReader.from_batches(taken.coded, batches))
            connection.execute(statement)
    except duckdb.Error:
        if taken.failed is not None:
            raise taken.failed from None
        raise
    connection.unregister("incoming")
    connection.execute("RESET preserve_insertion_order")


def _remember_known(connection: Any, taken: Taken, number: int) -> None:
    """Remember the digests of the rows that the ledger has of these farms."""
    table, _ = ROW_TABLES[taken.stream.kind]
    question = connection.sql(f"SELECT {half_as_number('row_key')} AS number FROM {table} WHERE import_no < {number}")
    for batch in question.to_arrow_reader(KEYS_AT_A_TIME):
        taken.seen.add(batch.column("number").to_numpy())


def _look_again(connection: Any, taken: Taken, number: int) -> None:
    """Add those rows that seemed to have been met before and were not; keep which of the others were known."""
    import pyarrow as pa

    kind = taken.stream.kind
    table, fields = ROW_TABLES[kind]
    columns = ", ".join(f'"{name}"' for name in fields)
    with pa.OSFile(str(taken.again), "rb") as file, pa.ipc.open_stream(file) as reader:
        connection.register("again_in", reader)
        connection.execute("CREATE TEMP TABLE again AS SELECT * FROM again_in")
        connection.unregister("again_in")
    connection.execute(
        f"""CREATE TEMP TABLE met AS SELECT DISTINCT import_no < {number} AS earlier, row_key FROM {table}
        WHERE row_key IN (SELECT row_key FROM again)"""
    )
    connection.execute(f"INSERT INTO seen_again SELECT {number}, '{kind}', row_key FROM met WHERE earlier")
    connection.execute(
        """CREATE TEMP TABLE late AS SELECT MIN("row") AS "row", row_key FROM again
        WHERE row_key NOT IN (SELECT row_key FROM met) GROUP BY row_key"""
    )
    [(rows,)] = connection.execute("SELECT COUNT(*) FROM late").fetchall()
    if rows:
        connection.execute(
            f"""INSERT INTO {table} SELECT {number}, "row", row_key, {columns} FROM again
            WHERE "row" IN (SELECT "row" FROM late) ORDER BY "row" """
        )
    taken.added += int(rows)
    for name in ("again", "met", "late"):
        connection.execute(f"DROP TABLE {name}")


def _farms_together(connection: Any, table: str, number: int) -> Iterator[list[str]]:
    """The farms of an import, as many at a time as are not too many rows."""
    farms = connection.execute(
        f"""SELECT farm, COUNT(*) FROM {table} WHERE farm IN (SELECT farm FROM {table} WHERE import_no = {number})
        GROUP BY farm ORDER BY farm"""
    ).fetchall()
    return farms_together(farms, ROWS_AT_A_TIME)


def _met_again(connection: Any, kind: str, number: int) -> tuple[Message, ...]:
    """What to say where visits of an import were there already."""
    if kind not in IDENTITIES or number == 1:
        return ()
    table, _ = ROW_TABLES[kind]
    one, other = IDENTITIES[kind].visit
    found = connection.execute(
        f"""SELECT farm, "{other}", COUNT(*) OVER () AS n FROM {table} GROUP BY "{one}", "{other}"
        HAVING MIN(import_no) < {number} AND MAX(import_no) = {number} ORDER BY farm, "{other}" LIMIT 1"""
    ).fetchall()
    if not found:
        return ()
    [(farm, place, n)] = found
    return (
        say(
            "Farms and days (or cows) that have records here already: {n}, such as {farm}, {place}. The file is too "
            "large to compare record by record, so only rows that are there word for word were left out.",
            n=int(n), farm=farm, place=str(place),
        ),
    )  # fmt: skip


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
    connection.execute(NO_BAR)


def _count_only(ledger: Ledger, stream: CheckedStream, file: str, memory: str) -> ImportResult:
    """The result an import would have, worked out in a database of its own."""
    import duckdb
    import pyarrow as pa

    table, _ = ROW_TABLES[stream.kind]
    with scratch_folder() as folder, duckdb.connect(str(folder / "keys.duckdb")) as connection:
        _bound(connection, memory, folder)
        taken = Taken(stream, folder)
        _stream_in(connection, taken, "CREATE TABLE fresh AS SELECT row_key FROM incoming")
        with pa.OSFile(str(taken.again), "rb") as file_again, pa.ipc.open_stream(file_again) as reader:
            connection.register("again_in", reader)
            connection.execute(
                "INSERT INTO fresh SELECT DISTINCT row_key FROM again_in "
                "WHERE row_key NOT IN (SELECT row_key FROM fresh)"
            )
            connection.unregister("again_in")
        if ledger.exists:
            with ledger.reading() as cursor:
                for batch in ledger.engine.batches(cursor, f"SELECT row_key FROM {table}", KEYS_AT_A_TIME):
                    connection.register("known_in", batch)
                    connection.execute("DELETE FROM fresh WHERE row_key IN (SELECT row_key FROM known_in)")
        [(added,)] = connection.execute("SELECT COUNT(*) FROM fresh").fetchall()
    return ImportResult(file, taken.read, int(added), taken.read - taken.held - int(added), taken.held, 0)


def _keep_set_aside(connection: Any, taken: Taken, number: int) -> None:
    import pyarrow as pa

    with pa.OSFile(str(taken.aside), "rb") as file, pa.ipc.open_stream(file) as held:
        connection.register("held_in", held)
        connection.execute(
            'INSERT INTO set_aside SELECT ?, ?, "row", "column", value, reason, remedy, original FROM held_in',
            [number, taken.stream.source],
        )
        connection.unregister("held_in")
