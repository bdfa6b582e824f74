"""Adding an import, and undoing one: each one transaction, whole or not at all."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import CheckedSheet
from evenfoot.analytics.intake.checks.records import LEFT_BLANK
from evenfoot.analytics.ledger.checksums import changing, come
from evenfoot.analytics.ledger.derive import rebuild
from evenfoot.analytics.ledger.engines.engine import next_number
from evenfoot.analytics.ledger.file_copy import copy_before
from evenfoot.analytics.ledger.history import note
from evenfoot.analytics.ledger.imports.doubtful_visits import questioned_in_import, questioned_in_sheets
from evenfoot.analytics.ledger.imports.farm_spelling import ledger_spelling
from evenfoot.analytics.ledger.imports.record_linkage import DIFFERS, IDENTITIES, MOVED, NEW, SAME, merged
from evenfoot.analytics.ledger.imports.revisions import Choice, Comparison, compare_sheets, compare_staged, plan_rows
from evenfoot.analytics.ledger.ledger import Ledger
from evenfoot.analytics.ledger.schema import BOOKKEEPING, ROW_TABLES
from evenfoot.analytics.ledger.staging_table import as_arrow, stage_records
from evenfoot.analytics.ledger.superseded_rows import bring_back, replace_rows
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.progress import stage

if TYPE_CHECKING:
    import duckdb


@dataclass(frozen=True)
class ImportResult:
    """What came of one file. ``read = added + already_known + set_aside``, always.

    ``import_no`` is 0 for a dry run. ``questioned`` says which visits are not what their sheet calls them.
    ``replaced`` of the rows added took the place of an earlier version.
    """

    file: str
    read: int
    added: int
    already_known: int
    set_aside: int
    import_no: int
    questioned: tuple[Message, ...] = ()
    replaced: int = 0


def add_sheets(
    ledger: Ledger,
    sheets: Sequence[CheckedSheet],
    file: str,
    sha256: str,
    *,
    revision_choice: Choice | None = None,
    dry_run: bool = False,
) -> ImportResult:
    """Add the checked sheets of one file to the ledger, in one transaction.

    Every farm gets the spelling that the ledger has of it at that moment, see
    :func:`~evenfoot.analytics.ledger.imports.farm_spelling.ledger_spelling`. A row whose content is already in the
    ledger, or occurs twice in the file, is counted as already known and not added again. So is one that says nothing
    else than the ledger's version of the record; a note that it adds is added to the ledger's.

    Parameters
    ----------
    ledger : Ledger
    sheets : sequence of CheckedSheet
    file, sha256 : str
        Name of the file and the digest of its bytes, kept with the import.
    revision_choice : {"replace", "keep both", "skip"}, optional
        What becomes of other versions of records that are there, see
        :func:`~evenfoot.analytics.ledger.imports.revisions.compare_with_ledger`: they take the earlier ones' places,
        stand beside them, or are counted as known. Without it they stand beside them, but for versions that an import
        replaced, which are known.
    dry_run : bool
        Count only, change nothing.

    Returns
    -------
    ImportResult

    Raises
    ------
    UserError
        The ledger cannot be opened or changed, or the name of a farm may mean several.
    """
    rows = sum(sheet.rows_read for sheet in sheets)
    if dry_run:
        stage(say("Comparing {rows} rows with those already known", rows=rows))
        return _count_only(ledger, sheets, file, revision_choice)
    farms = dict.fromkeys(farm for sheet in sheets for farm in sheet.records["farm"].dropna().unique())
    of_every_farm = any(sheet.records["farm"].isna().any() for sheet in sheets)
    with ledger.writing(None if of_every_farm else farms) as connection:
        stage(say("Adding {rows} rows", rows=rows))
        spelling = ledger_spelling(ledger, connection, farms)
        sheets = [_respelt(sheet, spelling) for sheet in sheets]
        number = next_number(connection, "imports", "import_no")
        added = known = held = read = replaced = noted = 0
        met: dict[str, set[str]] = {}
        for sheet in sheets:
            read += sheet.rows_read
            held += sheet.held
            one = _add_rows(connection, sheet, number, revision_choice, met.setdefault(sheet.kind, set()))
            added += one.added
            known += len(sheet.records) - one.added
            replaced += one.replaced
            noted += one.noted
            _keep_set_aside(connection, sheet, number)
        for sheet in sheets:
            if not _is_accounted_for(sheet):
                raise AssertionError(f"{sheet.source}: {sheet.held} rows are no records, and not all are listed")
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
        come_with_import(connection, number, [ROW_TABLES[kind][0] for kind in met])
        note(
            connection,
            "import added",
            subject=f"import {number}",
            after={
                "file": file, "read": read, "added": added, "already_known": known, "set_aside": held,
                "replaced": replaced,
            },
        )  # fmt: skip
        if added or noted:
            stage(say("Working out visits and cases"))
            rebuild(executor(connection), {spelling.get(farm, farm) for farm in farms})
        questioned = questioned_in_import(connection, number) if added else ()
    return ImportResult(file, read, added, known, held, number, questioned, replaced)


def _respelt(sheet: CheckedSheet, spelling: Mapping[str, str]) -> CheckedSheet:
    """The sheet with its farms spelt as the ledger spells them."""
    if not spelling:
        return sheet
    farm = sheet.records["farm"]
    new = farm.map(lambda said: spelling.get(said, said), na_action="ignore").astype(farm.dtype)
    return replace(sheet, records=sheet.records.assign(farm=new))


def undo_import(ledger: Ledger, number: int, *, copy: bool = True) -> int:
    """Take import *number* back, in one transaction.

    A row that a later import brought again stays, as that import's. Rows whose place it took come back as they were.

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
    UserError
        There is no such import, it has been undone already, or the copy cannot be made.
    """
    if not ledger.exists:
        raise UserError(
            say(
                "There is no ledger at {name}, so there is no import {number} to undo.", name=ledger.name, number=number
            )
        )
    if copy and ledger.in_a_file:
        with ledger.reading() as cursor:
            _refuse_undone(cursor, number)
        try:
            copy_before(ledger, f"undo-{number}")
        except UserError as mistake:
            raise UserError(
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
            # Its own rows go, or go over to another import that met them again.
            met_again = "row_key IN (SELECT row_key FROM seen_again WHERE kind = ?)"
            with changing(connection, table, f"import_no = ? OR {met_again}", [number, kind]):
                connection.execute(
                    f"""UPDATE {table} SET import_no = other.import_no
                    FROM (SELECT a.row_key, MIN(a.import_no) AS import_no FROM seen_again a
                          JOIN imports i ON i.import_no = a.import_no
                          WHERE a.kind = ? AND a.import_no <> ? AND i.undone_at IS NULL GROUP BY a.row_key) AS other
                    WHERE {table}.import_no = ? AND {table}.row_key = other.row_key""",
                    [kind, number, number],
                )
                [(count,)] = connection.execute(
                    f"SELECT COUNT(*) FROM {table} WHERE import_no = ?", [number]
                ).fetchall()
                removed += count
                connection.execute(f"DELETE FROM {table} WHERE import_no = ?", [number])
        with (
            changing(connection, "seen_again"),
            changing(connection, "imports"),
            changing(connection, "replaced_rows"),
        ):
            farms |= bring_back(connection, number)
            connection.execute("DELETE FROM seen_again WHERE import_no = ?", [number])
            connection.execute(
                "UPDATE imports SET undone_at = ? WHERE import_no = ?",
                [dt.datetime.now(dt.UTC).replace(tzinfo=None), number],
            )
        # By their names a farm can still be found, and erased, whose rows are no longer there.
        before = {"rows": removed, "farms": sorted(farm for farm in farms if farm)}
        note(connection, "import undone", subject=f"import {number}", before=before, after={"rows": 0})
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
        rows = cursor.execute(
            "SELECT DISTINCT farm FROM replaced_rows WHERE import_no = ? OR of_import = ?", [number, number]
        ).fetchall()
        farms |= {farm for (farm,) in rows}
    return None if None in farms else {farm for farm in farms if farm is not None}


def _refuse_undone(connection: Any, number: int) -> None:
    rows = connection.execute("SELECT undone_at FROM imports WHERE import_no = ?", [number]).fetchall()
    if not rows:
        raise UserError(say("There is no import {number}; `evenfoot imports` lists them.", number=number))
    [(undone_at,)] = rows
    if undone_at is not None:
        raise UserError(
            say("Import {number} was undone already, on {undone_at:%Y-%m-%d}.", number=number, undone_at=undone_at)
        )


def come_with_import(connection: Any, number: int, tables: Iterable[str]) -> None:
    """Take all that an import has just brought into the sums.

    Parameters
    ----------
    connection : connection
    number : int
        The import, which nobody had before.
    tables : iterable of str
        Row tables that got rows of it.
    """
    come(connection, [*tables, "seen_again", "replaced_rows", "set_aside", "imports"], "import_no = ?", number)


def executor(connection: duckdb.DuckDBPyConnection) -> Any:
    """What :func:`~evenfoot.analytics.ledger.derive.rebuild` runs its statements with."""
    return lambda sql, parameters=None: connection.execute(sql, parameters or [])


@dataclass(frozen=True)
class _Added:
    """Rows of a sheet that were added, how many of them in the place of others, and notes that were added to."""

    added: int
    replaced: int = 0
    noted: int = 0


def _add_rows(connection: Any, sheet: CheckedSheet, number: int, choice: Choice | None, met: set[str]) -> _Added:
    """Add the records of a sheet; *met* has the keys of the file's earlier ones, and gets those of the sheet."""
    kind = sheet.kind
    table, _ = ROW_TABLES[kind]
    stage_records(connection, kind, sheet.records)
    if met:
        connection.execute("DELETE FROM incoming WHERE row_key IN (SELECT UNNEST(?))", [sorted(met)])
    met |= {key for (key,) in connection.execute("SELECT row_key FROM incoming").fetchall()}
    others = connection.execute(f"SELECT 1 FROM {table} WHERE import_no <> ? LIMIT 1", [number]).fetchall()
    if not others or kind not in IDENTITIES:
        return _Added(insert_incoming(connection, kind, number))
    compared = compare_staged(connection, connection, kind, number)
    plan = plan_rows(connection, kind, compared, choice)
    if plan.left_out.any():
        keys = compared.records.loc[plan.left_out, "row_key"].tolist()
        connection.execute("DELETE FROM incoming WHERE row_key IN (SELECT UNNEST(?))", [keys])
    added = insert_incoming(connection, kind, number)
    again = compared.ledger["row_key"].iloc[compared.matches.partner[plan.seen_again]].tolist()
    if again:
        connection.execute(
            f"INSERT INTO seen_again SELECT DISTINCT {number}, '{kind}', row_key FROM {table} "
            "WHERE row_key IN (SELECT UNNEST(?))",
            [again],
        )
    noted = _replace(connection, kind, number, compared, plan.noted)
    replaced = _replace(connection, kind, number, compared, plan.replacing)
    return _Added(added + replaced, replaced, noted)


def insert_incoming(connection: Any, kind: str, number: int) -> int:
    """Add the staged rows that are not there yet, and remember those that are; how many were added."""
    table, fields = ROW_TABLES[kind]
    columns = ", ".join(f'"{name}"' for name in fields)
    connection.execute(
        f"""INSERT INTO seen_again SELECT DISTINCT {number}, '{kind}', row_key FROM incoming
        WHERE row_key IN (SELECT row_key FROM {table})"""
    )
    [(added,)] = connection.execute(
        f"""INSERT INTO {table} SELECT {number}, row_no, row_key, {columns} FROM incoming
        WHERE turn = 1 AND row_key NOT IN (SELECT row_key FROM {table}) ORDER BY row_no, place"""
    ).fetchall()
    return int(added)


def _replace(connection: Any, kind: str, number: int, compared: Comparison, chosen: npt.NDArray[np.bool_]) -> int:
    """Let some of the compared records take the places of their partners; how many rows were added."""
    if not chosen.any():
        return 0
    ours, theirs, matches = compared.rows(chosen)
    rows = merged(kind, ours, theirs, matches).assign(row=ours["row_no"])
    stage_records(connection, kind, rows)
    keys = [key for (key,) in connection.execute("SELECT row_key FROM incoming ORDER BY place").fetchall()]
    replace_rows(connection, kind, number, theirs, keys)
    return insert_incoming(connection, kind, number)


def _count_only(ledger: Ledger, sheets: Sequence[CheckedSheet], file: str, choice: Choice | None) -> ImportResult:
    """The result an import would have, from records compared in memory."""
    read = sum(sheet.rows_read for sheet in sheets)
    held = sum(sheet.held for sheet in sheets)
    added = replaced = 0
    for sheet, compared in zip(sheets, compare_sheets(ledger, sheets), strict=True):
        added += int(np.isin(compared.states, (NEW, DIFFERS, MOVED)).sum())
        if np.isin(compared.states, (DIFFERS, MOVED)).any():
            with ledger.reading() as cursor:
                plan = plan_rows(cursor, sheet.kind, compared, choice)
            added -= int((plan.left_out & ~plan.replacing & (compared.matches.state != SAME)).sum())
            replaced += int(plan.replacing.sum())
    return ImportResult(file, read, added, read - held - added, held, 0, questioned_in_sheets(sheets), replaced)


def _is_accounted_for(sheet: CheckedSheet) -> bool:
    """Whether the rows that are no records are listed; one row of an unfolded sheet may lack several findings."""
    lost = sheet.set_aside.loc[sheet.set_aside["remedy"] != LEFT_BLANK, "row"].nunique()
    if sheet.sheet_rows is None:
        return bool(lost == sheet.held)
    return bool(lost <= sheet.held and (lost > 0) == (sheet.held > 0))


def _keep_set_aside(connection: duckdb.DuckDBPyConnection, sheet: CheckedSheet, number: int) -> None:
    if sheet.set_aside.empty:
        return
    frame = sheet.set_aside.assign(import_no=number, source=sheet.source)
    if hasattr(connection, "load"):
        columns = list(BOOKKEEPING["set_aside"])
        connection.load("set_aside", as_arrow(frame.rename(columns={"row": "row_no"})[columns]), None)
        return
    connection.register("frame_in", as_arrow(frame))
    connection.execute(
        'INSERT INTO set_aside SELECT import_no, source, "row", "column", value, reason, remedy, original FROM frame_in'
    )
    connection.unregister("frame_in")
