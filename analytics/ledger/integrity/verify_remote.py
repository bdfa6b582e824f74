"""Is a ledger on a server or in the folder of a registry whole? Read to the last row and checked as a file is."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.checksums import kept
from evenfoot.analytics.ledger.integrity.verify import Verdict, unreadable_table, verdict_of
from evenfoot.analytics.ledger.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.transfer import move, tables_moved
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.temporary_folders import scratch_folder


def verify_elsewhere(ledger: Ledger) -> Verdict:
    """Read every row of every table into a file in a temporary folder, and check that as a ledger's own file is.

    What the storage itself may have lost shows as rows that are missing or are not what they were: a row's key is
    the digest of its content, an import says how many it brought. Rows of a registry must lie in the bucket of
    their farm, where imports look for them.

    Raises
    ------
    UserError
        There is no ledger, or it cannot be reached.
    """
    with ledger.reading() as cursor:
        findings = [*_shape(ledger, cursor)] or [*ledger.engine.misplaced(cursor)]
    if findings:
        return Verdict(tuple(findings))
    with scratch_folder() as room:
        copy = open_ledger(str(room / "ledger.duckdb"))
        try:
            move(ledger, copy)
            _as_it_says(ledger, copy)
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


def _as_it_says(ledger: Ledger, copy: Ledger) -> None:
    """Let the copy say of itself what the ledger does, as far as that keeps sums."""
    with ledger.reading() as cursor:
        if not kept(cursor):
            return
        said = cursor.execute("SELECT name, value FROM meta WHERE name <> 'changes'").fetchall()
    with copy.writing() as connection:
        connection.execute("DELETE FROM meta")
        for name, value in said:
            connection.execute("INSERT INTO meta VALUES (?, ?)", [name, value])


def _shape(ledger: Ledger, cursor: Any) -> Iterator[Message]:
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
