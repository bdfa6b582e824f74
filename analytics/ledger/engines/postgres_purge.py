"""Ridding a PostgreSQL server's tables of rows that were deleted: until they are written anew, the bytes are there."""

from __future__ import annotations

from evenfoot.analytics.ledger.engines.postgres_address import PostgresAddress
from evenfoot.analytics.ledger.schema import BOOKKEEPING, DERIVED_TABLES, ROW_TABLES

WAIT = "60s"
"""How long a table that somebody is reading is waited for."""

STATISTICS = "pg_catalog.pg_statistic"
"""Where the server keeps the most common values of every column, names of farms among them
[pub: PostgreSQL documentation, chapter System Catalogs, pg_statistic]."""

BEYOND = (
    "The server's log, its replicas and its backups hold what they held; they are in the hands of whoever keeps the "
    "server."
)


def forget_bytes(place: PostgresAddress) -> tuple[str, ...]:
    """Write every table of the ledger anew; sentences on what could not be, and on what is out of reach.

    Notes
    -----
    ``VACUUM FULL`` puts a table's rows into a new file and deletes the old one
    [pub: PostgreSQL documentation, VACUUM].
    """
    import psycopg

    left: list[str] = []
    tables = [*(table for table, _ in ROW_TABLES.values()), *DERIVED_TABLES, *BOOKKEEPING]
    with place.connect() as connection:
        notices: list[str] = []
        connection.add_notice_handler(lambda notice: notices.append(notice.message_primary or ""))
        connection.execute(f"SET lock_timeout = '{WAIT}'".encode())
        for table, how in [*((table, "FULL, ANALYZE") for table in tables), (STATISTICS, "FULL")]:
            notices.clear()
            try:
                connection.execute(f"VACUUM ({how}) {table}".encode())
            except psycopg.Error:
                left.append(table)
            else:
                left += [table] if any("skipping" in notice or "denied" in notice for notice in notices) else []
    if not left:
        return (BEYOND,)
    return (
        f"The rows are erased, but the server could not rid its disk of what they left in {', '.join(left)}: have "
        "whoever keeps the database run `VACUUM FULL` on them.",
        BEYOND,
    )
