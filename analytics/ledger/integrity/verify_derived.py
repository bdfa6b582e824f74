"""Are the derived tables those that follow from the sheets? Worked out anew and compared, a few farms at a time."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.derive import rebuild
from evenfoot.analytics.ledger.farm_batches import farms_together
from evenfoot.analytics.ledger.schema import DERIVED_TABLES, ROW_TABLES, create_statement
from evenfoot.analytics.messages import Message, say

ROWS_AT_A_TIME = 800_000
"""Farms are looked at together up to so many rows of all their tables."""


def derived_anew(cursor: Any) -> Iterator[Message]:
    """Worked out anew in temporary tables, which go by the same names and stand before the ledger's own.

    Parameters
    ----------
    cursor : duckdb connection
        On the ledger.

    Yields
    ------
    Message
        A sentence for each table that is not as it should be.
    """
    [(database,)] = cursor.execute("SELECT CURRENT_DATABASE()").fetchall()
    ours = '"' + database.replace('"', '""') + '".main.'
    tables = [*(table for table, _ in ROW_TABLES.values()), *DERIVED_TABLES]
    farms = " UNION ALL ".join(
        f"SELECT farm, COUNT(*) AS n FROM {table} WHERE farm IS NOT NULL GROUP BY farm" for table in tables
    )
    counts = cursor.execute(f"SELECT farm, SUM(n) FROM ({farms}) GROUP BY farm ORDER BY farm").fetchall()
    wrong = {
        table: (0, count_of(cursor, f"SELECT COUNT(*) FROM {table} WHERE farm IS NULL")) for table in DERIVED_TABLES
    }
    try:
        for some in farms_together(((farm, int(n)) for farm, n in counts), ROWS_AT_A_TIME):
            for table, found in _anew(cursor, ours, some).items():
                wrong[table] = (wrong[table][0] + found[0], wrong[table][1] + found[1])
    finally:
        for table in (*DERIVED_TABLES, "looked_at"):
            cursor.execute(f"DROP TABLE IF EXISTS temp.{table}")
    for table, (lacking, beyond) in wrong.items():
        if lacking or beyond:
            yield say(
                "The derived table {table} lacks {lacking} rows and has {beyond} that do not follow from the "
                "sheets; bring any sheet of those farms in again, or put a backup back.",
                table=table,
                lacking=lacking,
                beyond=beyond,
            )


def _anew(cursor: Any, ours: str, farms: list[str]) -> dict[str, tuple[int, int]]:
    """Derived table -> rows that it lacks of some farms, and rows of them that it should not have."""
    for table, columns in DERIVED_TABLES.items():
        cursor.execute(f"DROP TABLE IF EXISTS temp.{table}")
        cursor.execute(create_statement(table, columns).replace("CREATE TABLE", "CREATE TEMP TABLE", 1))
    rebuild(lambda sql, parameters=None: cursor.execute(sql, parameters or []), farms)
    cursor.execute("CREATE OR REPLACE TEMP TABLE looked_at AS SELECT UNNEST(?) AS farm", [farms])
    out = {}
    for table in DERIVED_TABLES:
        right = f"SELECT * FROM temp.{table}"
        there = f"SELECT * FROM {ours}{table} WHERE farm IN (SELECT farm FROM looked_at)"
        lacking, beyond = (
            count_of(cursor, f"SELECT COUNT(*) FROM ({one} EXCEPT ALL {other})")
            for one, other in ((right, there), (there, right))
        )
        out[table] = (lacking, beyond)
    return out


def count_of(cursor: Any, sql: str) -> int:
    """The one number that a question gives."""
    [(count,)] = cursor.execute(sql).fetchall()
    if count is None:
        raise UserError("A count of the ledger came back empty; put a backup back with `evenfoot restore`.")
    return int(count)
