"""Sums over the rows at rest, kept beside them, so that a row that goes missing or changes is seen.

For each row table the ledger keeps how many rows there are and the exclusive-or of their keys, which does not
depend on their order and is brought on by the rows of one import alone, however many others there are. A row's
key is the digest of its content, so the two together stand for everything the sheets said.
"""

from __future__ import annotations

import json
from typing import Any

from analytics.ledger.schema import ROW_TABLES, half_as_number

SUM = f"COUNT(*), COALESCE(BIT_XOR({half_as_number('row_key')}), 0)"
"""Of the rows of a table: how many, and the exclusive-or of their keys."""


def add_import(connection: Any, number: int) -> None:
    """Take the rows that an import has just added into the sums."""
    known = kept(connection)
    for table, _ in ROW_TABLES.values():
        if table in known:
            change(connection, table, "import_no = ?", [number], 1)
        else:
            # A ledger from before sums were kept, or a new one.
            keep(connection, table)


def take_in(connection: Any, table: str, number: int, rows: int, keys: int) -> None:
    """Take the rows that import *number* has just added to a table into its sum; their own sum is known.

    Parameters
    ----------
    connection : Connection
    table : str
    number : int
    rows, keys : int
        How many the import added, and the exclusive-or of their keys.
    """
    known = kept(connection)
    for one, _ in ROW_TABLES.values():
        if one not in known:
            # A ledger from before sums were kept, or a new one.
            [before] = connection.execute(f"SELECT {SUM} FROM {one} WHERE import_no < ?", [number]).fetchall()
            known[one] = int(before[0]), int(before[1])
        elif one != table:
            continue
        more = (rows, keys) if one == table else (0, 0)
        _write(connection, one, known[one][0] + more[0], known[one][1] ^ more[1])


def change(connection: Any, table: str, where: str, values: list[Any], sign: int) -> None:
    """Take rows that have just come (*sign* 1), or are about to go (-1), into the sum of their table.

    Parameters
    ----------
    connection : Connection
    table : str
    where : str
        SQL by which the rows are chosen, with ``?`` for *values*.
    values : list
    sign : int
    """
    known = kept(connection)
    if table not in known:
        return
    [(rows, keys)] = connection.execute(f"SELECT {SUM} FROM {table} WHERE {where}", values).fetchall()
    if rows:
        before_rows, before_keys = known[table]
        _write(connection, table, before_rows + sign * int(rows), before_keys ^ int(keys))


def keep(connection: Any, table: str) -> None:
    """Work the sum of one row table out anew and keep it."""
    _write(connection, table, *of_table(connection, table))


def of_table(connection: Any, table: str) -> tuple[int, int]:
    """Rows of a table as they are, and the exclusive-or of their keys."""
    [(rows, keys)] = connection.execute(f"SELECT {SUM} FROM {table}").fetchall()
    return int(rows), int(keys)


def kept(connection: Any) -> dict[str, tuple[int, int]]:
    """Row table -> what was kept: rows, and the exclusive-or of their keys."""
    found = connection.execute("SELECT name, value FROM meta WHERE name LIKE 'sum of %'").fetchall()
    sums = {name.removeprefix("sum of "): json.loads(value) for name, value in found}
    return {table: (int(one["rows"]), int(one["keys"])) for table, one in sums.items()}


def _write(connection: Any, table: str, rows: int, keys: int) -> None:
    connection.execute("DELETE FROM meta WHERE name = ?", [f"sum of {table}"])
    connection.execute(
        "INSERT INTO meta VALUES (?, ?)", [f"sum of {table}", json.dumps({"rows": rows, "keys": str(keys)})]
    )
