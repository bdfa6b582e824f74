"""Adding an import, and undoing one: each one transaction, whole or not at all."""

from __future__ import annotations

import contextlib
import datetime as dt
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analytics.intake import CheckedSheet
from analytics.ledger import sums
from analytics.ledger.copying import copy_before
from analytics.ledger.derive import rebuild
from analytics.ledger.engine import next_number
from analytics.ledger.history import note
from analytics.ledger.ledger import Ledger
from analytics.ledger.questioned import questioned_in_import, questioned_in_sheets
from analytics.ledger.schema import BOOKKEEPING, ROW_TABLES, key_of
from analytics.mistake import Mistake
from analytics.progress import stage
from analytics.words import Said, say

if TYPE_CHECKING:
    import duckdb
    import pandas as pd


@dataclass(frozen=True)
class ImportResult:
    """What came of one file. ``read = added + already_known + set_aside``, always.

    ``import_no`` is 0 for a dry run. ``questioned`` says which visits are not what their sheet calls them.
    """

    file: str
    read: int
    added: int
    already_known: int
    set_aside: int
    import_no: int
    questioned: tuple[Said, ...] = ()


def add_sheets(
    ledger: Ledger, sheets: Sequence[CheckedSheet], file: str, sha256: str, *, dry_run: bool = False
) -> ImportResult:
    """Add the checked sheets of one file to the ledger, in one transaction.

    A row whose content is already in the ledger, or occurs twice in the file, is counted as already
    known and not added again.

    Parameters
    ----------
    ledger : Ledger
    sheets : sequence of CheckedSheet
    file, sha256 : str
        Name of the file and the digest of its bytes, kept with the import.
    dry_run : bool
        Count only, change nothing.

    Returns
    -------
    ImportResult

    Raises
    ------
    Mistake
        The ledger cannot be opened or changed.
    """
    rows = sum(sheet.rows_read for sheet in sheets)
    if dry_run:
        stage(say("Comparing {rows} rows with those already known", rows=rows))
        return _count_only(ledger, sheets, file)
    farms = {farm for sheet in sheets for farm in sheet.records["farm"].dropna().unique()}
    of_every_farm = any(sheet.records["farm"].isna().any() for sheet in sheets)
    with ledger.writing(None if of_every_farm else farms) as connection:
        stage(say("Adding {rows} rows", rows=rows))
        number = next_number(connection, "imports", "import_no")
        added = known = held = read = 0
        for sheet in sheets:
            read += sheet.rows_read
            held += sheet.held
            new, again = _add_rows(connection, sheet, number)
            added += new
            known += again
            _keep_set_aside(connection, sheet, number)
        if ledger.dialect == "duckdb":
            sums.add_import(connection, number)
        if added + known + held != read:
            raise AssertionError(f"{file}: {read} rows read, but {added} + {known} + {held} accounted for")
        connection.execute(
            "INSERT INTO imports VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, NULL, ?)",
            [
                number,
                dt.datetime.now(dt.UTC).replace(tzinfo=None),
                file,
                sha256,
                ", ".join(dict.fromkeys(sheet.kind for sheet in sheets)),
                read,
                added,
                known,
                held,
                json.dumps([str(note) for sheet in sheets for note in sheet.notes]),
            ],
        )
        note(
            connection,
            "import added",
            subject=f"import {number}",
            after={"file": file, "read": read, "added": added, "already_known": known, "set_aside": held},
        )
        if added:
            stage(say("Working out visits and cases"))
            rebuild(executor(connection), farms)
        questioned = questioned_in_import(connection, number) if added else ()
    return ImportResult(file, read, added, known, held, number, questioned)


def undo_import(ledger: Ledger, number: int, *, copy: bool = True) -> int:
    """Take import *number* back, in one transaction.

    A row that a later import brought again stays, as that import's.

    Parameters
    ----------
    ledger : Ledger
    number : int
    copy : bool
        Whether a ledger in a file is copied first, into the folder ``backups`` beside it.

    Returns
    -------
    int
        How many rows were taken out.

    Raises
    ------
    Mistake
        There is no such import, it has been undone already, or the copy cannot be made.
    """
    if not ledger.exists:
        raise Mistake(
            say(
                "There is no ledger at {name}, so there is no import {number} to undo.", name=ledger.name, number=number
            )
        )
    if copy and ledger.dialect == "duckdb":
        with ledger.reading() as cursor:
            _refuse_undone(cursor, number)
        try:
            copy_before(ledger, f"undo-{number}")
        except Mistake as mistake:
            raise Mistake(
                say(
                    "Import {number} was not undone, because the ledger is copied first. {mistake} Or undo it "
                    "without a copy: `evenfoot undo {number} --no-backup`.",
                    number=number,
                    mistake=mistake,
                )
            ) from None
    with ledger.writing(_farms_of(ledger, number) if ledger.dialect == "pyspark" else None) as connection:
        _refuse_undone(connection, number)
        farms: set[str] = set()
        removed = 0
        for kind, (table, _) in ROW_TABLES.items():
            farms |= {
                farm
                for (farm,) in connection.execute(
                    f"SELECT DISTINCT farm FROM {table} WHERE import_no = ? AND farm IS NOT NULL", [number]
                ).fetchall()
            }
            connection.execute(
                f"""UPDATE {table} SET import_no = other.import_no
                FROM (SELECT a.row_key, MIN(a.import_no) AS import_no FROM seen_again a
                      JOIN imports i ON i.import_no = a.import_no
                      WHERE a.kind = ? AND a.import_no <> ? AND i.undone_at IS NULL GROUP BY a.row_key) AS other
                WHERE {table}.import_no = ? AND {table}.row_key = other.row_key""",
                [kind, number, number],
            )
            [(count,)] = connection.execute(f"SELECT COUNT(*) FROM {table} WHERE import_no = ?", [number]).fetchall()
            removed += count
            if ledger.dialect == "duckdb":
                sums.take_import(connection, table, number)
            connection.execute(f"DELETE FROM {table} WHERE import_no = ?", [number])
        connection.execute("DELETE FROM seen_again WHERE import_no = ?", [number])
        connection.execute(
            "UPDATE imports SET undone_at = ? WHERE import_no = ?",
            [dt.datetime.now(dt.UTC).replace(tzinfo=None), number],
        )
        note(connection, "import undone", subject=f"import {number}", before={"rows": removed}, after={"rows": 0})
        rebuild(executor(connection), farms)
    return removed


def _farms_of(ledger: Ledger, number: int) -> set[str] | None:
    """The farms of whose rows an import brought any, new or known; ``None`` where some rows are of every farm."""
    farms: set[str | None] = set()
    with ledger.reading() as cursor:
        for table, _ in ROW_TABLES.values():
            rows = cursor.execute(
                f"SELECT DISTINCT farm FROM {table} WHERE import_no = ? OR row_key IN "
                "(SELECT row_key FROM seen_again WHERE import_no = ?)",
                [number, number],
            ).fetchall()
            farms |= {farm for (farm,) in rows}
    return None if None in farms else {farm for farm in farms if farm is not None}


def _refuse_undone(connection: Any, number: int) -> None:
    rows = connection.execute("SELECT undone_at FROM imports WHERE import_no = ?", [number]).fetchall()
    if not rows:
        raise Mistake(say("There is no import {number}; `evenfoot imports` lists them.", number=number))
    [(undone_at,)] = rows
    if undone_at is not None:
        raise Mistake(
            say("Import {number} was undone already, on {undone_at:%Y-%m-%d}.", number=number, undone_at=undone_at)
        )


def executor(connection: duckdb.DuckDBPyConnection) -> Any:
    """What :func:`~analytics.ledger.derive.rebuild` runs its statements with."""
    return lambda sql, parameters=None: connection.execute(sql, parameters or [])


def _stage(connection: duckdb.DuckDBPyConnection, sheet: CheckedSheet) -> tuple[str, dict[str, str]]:
    """The sheet's rows as a temporary table ``incoming`` with a key, first of equal rows marked."""
    table, fields = ROW_TABLES[sheet.kind]
    if hasattr(connection, "load"):
        # Elsewhere than in the embedded engine the same digests are worked out here and sent along, so that a row
        # has one digest whatever holds the ledger.
        with _in_memory() as memory:
            _stage(memory, sheet)
            types = {"row_no": "BIGINT", **fields, "row_key": "VARCHAR", "turn": "BIGINT"}
            columns = ", ".join(f'"{name}"' for name in types)
            rows = memory.sql(f"SELECT {columns} FROM incoming").to_arrow_table()
        connection.load("incoming", rows, types)
        return table, fields
    frame = sheet.records.reindex(columns=["row", *fields])
    connection.register("frame_in", _arrow(frame))
    typed = ", ".join(f'CAST("{name}" AS {kind}) AS "{name}"' for name, kind in fields.items())
    connection.execute(
        f"""CREATE OR REPLACE TEMP TABLE incoming AS
        SELECT *, ROW_NUMBER() OVER (PARTITION BY row_key ORDER BY row_no) AS turn
        FROM (SELECT *, {key_of(fields)} AS row_key
              FROM (SELECT CAST("row" AS BIGINT) AS row_no, {typed} FROM frame_in))"""
    )
    connection.unregister("frame_in")
    return table, fields


@contextlib.contextmanager
def _in_memory() -> Iterator[duckdb.DuckDBPyConnection]:
    import duckdb

    memory = duckdb.connect()
    try:
        yield memory
    finally:
        memory.close()


def _arrow(frame: pd.DataFrame) -> Any:
    import pyarrow as pa

    return pa.Table.from_pandas(frame, preserve_index=False)


def _add_rows(connection: duckdb.DuckDBPyConnection, sheet: CheckedSheet, number: int) -> tuple[int, int]:
    table, fields = _stage(connection, sheet)
    columns = ", ".join(f'"{name}"' for name in fields)
    connection.execute(
        f"""INSERT INTO seen_again SELECT DISTINCT {number}, '{sheet.kind}', row_key FROM incoming
        WHERE row_key IN (SELECT row_key FROM {table})"""
    )
    [(added,)] = connection.execute(
        f"""INSERT INTO {table} SELECT {number}, row_no, row_key, {columns} FROM incoming
        WHERE turn = 1 AND row_key NOT IN (SELECT row_key FROM {table}) ORDER BY row_no"""
    ).fetchall()
    return int(added), len(sheet.records) - added


def _count_only(ledger: Ledger, sheets: Sequence[CheckedSheet], file: str) -> ImportResult:
    """The result an import would have, from keys worked out in memory and compared with the ledger."""
    read = sum(sheet.rows_read for sheet in sheets)
    held = sum(sheet.held for sheet in sheets)
    added = 0
    new: dict[str, set[str]] = {}
    with _in_memory() as memory:
        for sheet in sheets:
            table, _ = _stage(memory, sheet)
            keys = {key for (key,) in memory.execute("SELECT DISTINCT row_key FROM incoming").fetchall()}
            new[table] = new.get(table, set()) | keys
    for table, keys in new.items():
        known: set[str] = set()
        if ledger.exists and keys:
            with ledger.reading() as cursor:
                rows = cursor.execute(
                    f"SELECT row_key FROM {table} WHERE row_key IN (SELECT UNNEST(?))", [sorted(keys)]
                ).fetchall()
                known = {key for (key,) in rows}
        added += len(keys - known)
    return ImportResult(file, read, added, read - held - added, held, 0, questioned_in_sheets(sheets))


def _keep_set_aside(connection: duckdb.DuckDBPyConnection, sheet: CheckedSheet, number: int) -> None:
    if sheet.set_aside.empty:
        return
    frame = sheet.set_aside.assign(import_no=number, source=sheet.source)
    if hasattr(connection, "load"):
        columns = list(BOOKKEEPING["set_aside"])
        connection.load("set_aside", _arrow(frame.rename(columns={"row": "row_no"})[columns]), None)
        return
    connection.register("frame_in", _arrow(frame))
    connection.execute(
        'INSERT INTO set_aside SELECT import_no, source, "row", "column", value, reason, remedy, original FROM frame_in'
    )
    connection.unregister("frame_in")
