"""Is the ledger whole? Every page of the file read, every row, count and derived table checked against another."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import checksums
from evenfoot.analytics.ledger.failures import Damaged, unreadable_table
from evenfoot.analytics.ledger.file_copy import copy_file
from evenfoot.analytics.ledger.integrity.verify_derived import count_of, derived_anew
from evenfoot.analytics.ledger.layout_answers import is_whole
from evenfoot.analytics.ledger.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.schema import BOOKKEEPING, DERIVED_TABLES, ROW_TABLES, SCHEMA_VERSION, STAMP, key_of
from evenfoot.analytics.ledger.superseded_rows import wrong_keys
from evenfoot.analytics.ledger.transfer import copy_meta, move, tables_moved
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.temporary_folders import scratch_folder


@dataclass(frozen=True)
class Verdict:
    """What was checked and what was found.

    Attributes
    ----------
    findings : tuple of Message
        One sentence for each thing that is not as it should be; none when the ledger is whole.
    imports, rows : int
        How many imports that were not undone, and rows in the row tables.
    """

    findings: tuple[Message, ...]
    imports: int = 0
    rows: int = 0

    @property
    def whole(self) -> bool:
        return not self.findings


def verify(ledger: Ledger) -> Verdict:
    """Check a ledger; nothing in it is changed. One that is not a file is read into one first.

    Read are all columns of all tables, by which the engine checks its own checksums of the file. Then: the tables
    and columns are those of the layout; every row belongs to an import that holds; no row is there twice; every
    row's key is the digest of its content; the rows of every table of sheets and of bookkeeping sum to what was kept
    when they came, see :mod:`evenfoot.analytics.ledger.checksums`; every import's counts add up; and the derived tables
    equal those worked out anew from the rows.

    A ledger of an older layout is checked on a copy that is brought up to date in a temporary folder.

    Raises
    ------
    UserError
        There is no ledger, it is no ledger, or it is from a newer Evenfoot.
    """
    if not hasattr(ledger.engine, "lease"):
        return _verify_elsewhere(ledger)
    try:
        with ledger.lease.reading() as cursor:
            if ledger.layout(cursor) == SCHEMA_VERSION:
                return verdict_of(cursor)
        with scratch_folder() as folder:
            copy = open_ledger(str(folder / "ledger.duckdb"))
            copy_file(ledger, Path(copy.name))
            with copy.reading() as cursor:
                return verdict_of(cursor)
    except Damaged as damage:
        return Verdict((say("{damage}", damage=str(damage)),))


MEMORY = "2GB"
"""The most that the engine may hold meanwhile; what does not fit goes to a folder beside the ledger."""


def verdict_of(cursor: Any) -> Verdict:
    """Check the ledger in a file that a cursor reads; see :func:`verify`."""
    cursor.execute(f"SET memory_limit = '{MEMORY}'")
    try:
        return _checked(cursor)
    finally:
        cursor.execute("RESET memory_limit")


def _checked(cursor: Any) -> Verdict:
    import duckdb

    findings = [*_shape(cursor)]
    if findings:
        return Verdict(tuple(findings))
    findings += unread(cursor)
    if findings:
        return Verdict(tuple(findings))
    for check in (_rows, _sums, _imports, _bookkeeping):
        findings += check(cursor)
    try:
        findings += derived_anew(cursor)
    except duckdb.DataError as error:
        # A cell that was changed behind the ledger's back may be none that can be worked with.
        findings.append(
            say(
                "The derived tables cannot be worked out anew ({error}); put a backup back with `evenfoot restore`.",
                error=str(error).splitlines()[0],
            )
        )
    rows = sum(count_of(cursor, f"SELECT COUNT(*) FROM {table}") for table, _ in ROW_TABLES.values())
    return Verdict(tuple(findings), count_of(cursor, "SELECT COUNT(*) FROM imports WHERE undone_at IS NULL"), rows)


def _shape(cursor: Any) -> Iterator[Message]:
    found = _found(cursor)
    for table, columns in _tables().items():
        if table not in found:
            yield say("The table {table} is missing; put a backup back with `evenfoot restore`.", table=table)
        elif found[table] != columns:
            wrong = sorted(set(found[table].items()) ^ set(columns.items()))
            yield say(
                "The table {table} has other columns than it should ({columns}); put a backup back with "
                "`evenfoot restore`.",
                table=table,
                columns=", ".join(dict.fromkeys(name for name, _ in wrong)),
            )


def _tables() -> dict[str, dict[str, str]]:
    return {table: {**STAMP, **fields} for table, fields in ROW_TABLES.values()} | DERIVED_TABLES | BOOKKEEPING


def unread(cursor: Any) -> Iterator[Message]:
    """Every value of every table is looked at, so every block of the file is; tables that cannot be read."""
    import duckdb

    for table, columns in _found(cursor).items():
        looked = ", ".join(f'BIT_XOR(HASH("{column}"))' for column in columns)
        try:
            cursor.execute(f"SELECT {looked} FROM {table}").fetchall()
        except duckdb.Error as error:
            yield unreadable_table(f"The table {table}", error)


def _found(cursor: Any) -> dict[str, dict[str, str]]:
    """Table -> column -> kind, as they are."""
    found: dict[str, dict[str, str]] = {}
    for table, column, kind in cursor.execute(
        "SELECT table_name, column_name, data_type FROM information_schema.columns WHERE table_schema = 'main'"
    ).fetchall():
        found.setdefault(table, {})[column] = kind
    return found


def _rows(cursor: Any) -> Iterator[Message]:
    for table, fields in ROW_TABLES.values():
        astray = count_of(
            cursor,
            f"SELECT COUNT(*) FROM {table} t LEFT JOIN imports i ON i.import_no = t.import_no "
            "WHERE i.import_no IS NULL OR i.undone_at IS NOT NULL",
        )
        if astray:
            yield say("{n} rows of {table} belong to no import, or to one that was taken back.", n=astray, table=table)
        twice = count_of(cursor, f"SELECT COUNT(*) - COUNT(DISTINCT row_key) FROM {table}")
        if twice:
            yield say("{n} rows of {table} are there more than once.", n=twice, table=table)
        changed = count_of(cursor, f"SELECT COUNT(*) FROM {table} WHERE row_key IS DISTINCT FROM {key_of(fields)}")
        if changed:
            yield say("{n} rows of {table} are not what they were when they came in.", n=changed, table=table)


def _sums(cursor: Any) -> Iterator[Message]:
    kept = checksums.kept(cursor)
    for table in checksums.SUMMED:
        if table not in kept:
            yield say("The ledger keeps no sum of the rows of {table}; a change of them is not seen.", table=table)
            continue
        rows, digests = checksums.sum_of(cursor, table)
        if rows != kept[table][0]:
            yield say(
                "{table} holds {rows} rows, but {kept} came in and were not taken back.",
                table=table,
                rows=rows,
                kept=kept[table][0],
            )
        elif digests != kept[table][1]:
            yield say("The rows of {table} are as many as came in, but not the same ones.", table=table)
    for table in sorted(kept.keys() - checksums.SUMMED.keys()):
        yield say("The ledger keeps a sum of the rows of {table}, which it should not have.", table=table)


def _imports(cursor: Any) -> Iterator[Message]:
    there = " UNION ALL ".join(
        f"SELECT import_no, COUNT(*) AS n FROM {table} GROUP BY import_no" for table, _ in ROW_TABLES.values()
    )
    there += " UNION ALL SELECT of_import, COUNT(*) FROM replaced_rows GROUP BY of_import"
    for number, read, added, known, held, rows, kept_rows in cursor.execute(
        f"""SELECT i.import_no, COALESCE(rows_read, 0), COALESCE(added, 0), COALESCE(already_known, 0),
        COALESCE(i.set_aside, 0), COALESCE(there.n, 0), COALESCE(s.n, 0)
        FROM imports i
        LEFT JOIN (SELECT import_no, SUM(n) AS n FROM ({there}) GROUP BY import_no) there USING (import_no)
        LEFT JOIN (SELECT import_no, COUNT(DISTINCT (source, row_no)) AS n FROM set_aside GROUP BY import_no) s
          USING (import_no)
        WHERE undone_at IS NULL ORDER BY i.import_no"""
    ).fetchall():
        if read != added + known + held:
            yield say(
                "Import {number}: {read} rows were read, but {counted} are accounted for.",
                number=number,
                read=read,
                counted=added + known + held,
            )
        if rows < added:
            yield say(
                "Import {number}: {added} rows were added, but {rows} are there.",
                number=number,
                added=added,
                rows=int(rows),
            )
        if kept_rows != held:
            yield say(
                "Import {number}: {held} rows were set aside, but {rows} are kept.",
                number=number,
                held=held,
                rows=kept_rows,
            )
    twice = count_of(cursor, "SELECT COUNT(*) - COUNT(DISTINCT import_no) FROM imports")
    if twice:
        yield say("{n} numbers of imports are given twice.", n=twice)


def _bookkeeping(cursor: Any) -> Iterator[Message]:
    for table in ("set_aside", "seen_again", "sheet_photos"):
        astray = count_of(
            cursor, f"SELECT COUNT(*) FROM {table} WHERE import_no NOT IN (SELECT import_no FROM imports)"
        )
        if astray:
            yield say("{n} rows of {table} belong to no import.", n=astray, table=table)
    for kind, (table, _) in ROW_TABLES.items():
        astray = count_of(
            cursor,
            "SELECT COUNT(*) FROM seen_again s JOIN imports i USING (import_no) "
            f"WHERE kind = '{kind}' AND i.undone_at IS NULL AND row_key NOT IN (SELECT row_key FROM {table} "
            f"UNION ALL SELECT row_key FROM replaced_rows WHERE kind = '{kind}')",
        )
        if astray:
            yield say("{n} rows that were met again are no longer in {table}.", n=astray, table=table)
    for column in ("import_no", "of_import"):
        astray = count_of(
            cursor,
            f"SELECT COUNT(*) FROM replaced_rows t LEFT JOIN imports i ON i.import_no = t.{column} "
            "WHERE i.import_no IS NULL OR i.undone_at IS NOT NULL",
        )
        if astray:
            yield say("{n} rows that were replaced belong to no import, or to one that was taken back.", n=astray)
    changed = wrong_keys(cursor)
    if changed:
        yield say("{n} rows that were replaced are not what they were when they came in.", n=changed)
    yield from _remembered(cursor)
    for table, column in (
        ("history", "history_no"),
        ("horn_limits", "limit_no"),
        ("agreements", "agreement_no"),
        ("layouts", "layout_no"),
        ("meta", "name"),
    ):
        twice = count_of(cursor, f"SELECT COUNT(*) - COUNT(DISTINCT {column}) FROM {table}")
        if twice:
            yield say("{n} lines of {table} bear a number that another bears.", n=twice, table=table)


def _remembered(cursor: Any) -> Iterator[Message]:
    """Names that mean two things at once, and layouts whose headings or answers are not what they were."""
    twice = count_of(
        cursor,
        "SELECT COUNT(*) FROM (SELECT 1 FROM aliases WHERE taken_back_at IS NULL "
        "GROUP BY kind, CASE WHEN kind = 'cow' THEN farm END, LOWER(said) HAVING COUNT(*) > 1)",
    )
    if twice:
        yield say("{n} names are said to mean two things.", n=twice)
    rows = cursor.execute("SELECT headings, signature, answers FROM layouts").fetchall()
    broken = sum(not is_whole(*row) for row in rows)
    if broken:
        yield say("{n} layouts that are remembered cannot be read.", n=broken)


def _verify_elsewhere(ledger: Ledger) -> Verdict:
    """Verify a ledger of a server or a registry's folder: read all of it into a file, and check that.

    What the storage itself may have lost shows as rows that are missing or are not what they were: a row's key is
    the digest of its content, an import says how many it brought. Rows of a registry must lie in the bucket of
    their farm, where imports look for them.

    Raises
    ------
    UserError
        There is no ledger, or it cannot be reached.
    """
    with ledger.reading() as cursor:
        findings = [*_shape_elsewhere(ledger, cursor)] or [*ledger.engine.misplaced(cursor)]
    if findings:
        return Verdict(tuple(findings))
    with scratch_folder() as room:
        copy = open_ledger(str(room / "ledger.duckdb"))
        try:
            move(ledger, copy)
            copy_meta(ledger, copy)
        except UserError:
            raise
        except Exception as error:
            # Whatever the storage says of a file that is gone or a page that is damaged: it is told, and is no failure.
            return Verdict((unreadable_table(ledger.name, error),))
        try:
            with copy.reading() as cursor:
                return verdict_of(cursor)
        finally:
            with contextlib.suppress(UserError):
                copy.lease.drop_if_idle()


def _shape_elsewhere(ledger: Ledger, cursor: Any) -> Iterator[Message]:
    """Tables and columns that are not there."""
    found = ledger.engine.tables(cursor)
    for table, columns in tables_moved().items():
        if table not in found:
            yield say("The table {table} is missing; put a backup back with `evenfoot restore`.", table=table)
            continue
        there = set(cursor.execute(f"SELECT * FROM {table} LIMIT 0").df().columns)
        wrong = sorted(set(columns) - there)
        if wrong:
            yield say(
                "The table {table} has other columns than it should ({columns}); put a backup back with "
                "`evenfoot restore`.",
                table=table,
                columns=", ".join(wrong),
            )
