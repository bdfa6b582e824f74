"""Sums over what is at rest, kept beside it, so that a row that goes missing or changes is seen.

Of each table of sheet rows, and of each table of bookkeeping, the ledger keeps how many rows there are and the sum of
their digests modulo 2**64. The sum does not depend on their order. The rows that come, change or go bring it on, in the
transaction in which they do. A row of a sheet counts with its import, number and key, which is the digest of its
content. A row of bookkeeping counts with all its columns. Derived tables follow from the others, and have no sum.

Who changes rows of these tables does it within :func:`changing`, or says with :func:`come` which rows have just come.

References
----------
Clarke, Devadas, van Dijk, Gassend, Suh (2003). Incremental multiset hash functions and their application to memory
integrity checking. ASIACRYPT 2003, LNCS 2894, 188-207: the additive hash of multisets. The digests have no key, so the
sums find faults, and no forger who makes them anew.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from evenfoot.analytics.ledger.schema import BOOKKEEPING, LARGE_ROWS, ROW_TABLES, STAMP, half_as_number
from evenfoot.analytics.ledger.staging_table import in_memory

Sum = tuple[int, int]
"""How many rows, and the sum of their digests modulo 2**64."""

NOTHING: Sum = (0, 0)
MODULUS = 1 << 64
BATCH = 100_000
"""Rows of a server that are here at a time."""

NAME = "digest of "
"""Begins the names of the sums in ``meta``."""

SUMMED: dict[str, dict[str, str]] = {table: STAMP for table, _ in ROW_TABLES.values()} | BOOKKEEPING
"""Table -> the columns that count."""

ALL = f"name NOT LIKE '{NAME}%' AND name <> 'changes'"
"""Rows of ``meta`` that count: not the sums themselves, nor the number of changes that a server keeps there."""


def come(connection: Any, tables: Iterable[str], where: str, value: object) -> None:
    """Take rows that have just come into the sums of their tables, inside the caller's transaction.

    Parameters
    ----------
    connection : connection
    tables : iterable of str
    where : str
        SQL by which the rows are chosen in each of them, with one ``?`` for *value*.
    value : object
    """
    _add(connection, _sums_of(connection, {table: (table, where, [value]) for table in tables}))


@contextlib.contextmanager
def changing(connection: Any, table: str, where: str = "TRUE", values: Sequence[Any] = ()) -> Iterator[None]:
    """Rows of a table may come, change and go in the block, inside the caller's transaction; their sum follows.

    Parameters
    ----------
    connection : connection
    table : str
    where : str
        SQL that holds for all of these rows, as they were and as they become. Without it any row may change.
    values : sequence
        What goes where a ``?`` stands.
    """
    before = sum_of(connection, table, where, values)
    yield
    after = sum_of(connection, table, where, values)
    _add(connection, {table: _less(after, before)})


@contextlib.contextmanager
def changing_all(connection: Any, source: str = "") -> Iterator[None]:
    """Rows of any table may come, change and go in the block; all sums follow.

    Parameters
    ----------
    connection : connection
    source : str
        Stands before the names of the tables as they were, where they are others.
    """
    before = _sums_of(connection, {table: (f"{source}{table}", "TRUE", []) for table in SUMMED})
    yield
    after = _sums_of(connection, {table: (table, "TRUE", []) for table in SUMMED})
    _add(connection, {table: _less(after[table], was) for table, was in before.items()})


def begin(connection: Any) -> None:
    """Keep the sums of a new ledger, in which nothing is but what it says of itself."""
    _write(connection, dict.fromkeys(SUMMED, NOTHING) | {"meta": sum_of(connection, "meta")})


def keep_all(connection: Any, unlike: Mapping[str, int] | None = None) -> None:
    """Work all sums out anew and keep them, once a ledger has been brought up to date.

    Parameters
    ----------
    connection : connection
    unlike : mapping of str to int, optional
        Tables that were not as they should be, and the rows they should have: they are to be found so again.
    """
    found = _sums_of(connection, {table: (table, "TRUE", []) for table in SUMMED})
    for table, rows in (unlike or {}).items():
        found[table] = rows, (found[table][1] + 1) % MODULUS
    _write(connection, found)


def carry(source: Any, target: Any) -> None:
    """Keep the sums of the ledger from which all rows have just come; those of the rows if it keeps none.

    Parameters
    ----------
    source, target : connection
    """
    known = kept(source) or _sums_of(target, {table: (table, "TRUE", []) for table in SUMMED})
    _write(target, {table: known.get(table) for table in SUMMED if table != "meta"})


def sum_of(connection: Any, table: str, where: str = "TRUE", values: Sequence[Any] = ()) -> Sum:
    """Rows of a table as they are, and the sum of their digests."""
    return _sums_of(connection, {table: (table, where, values)})[table]


def _sums_of(connection: Any, asked: Mapping[str, tuple[str, str, Sequence[Any]]]) -> dict[str, Sum]:
    """The sums of tables: of each the rows of which table, those for which what holds, and the values of that.

    On a server the rows come here for it, so that a row has one digest whatever holds the ledger.
    """
    if hasattr(connection, "batches"):
        return {table: _sum_here(connection, table, *each) for table, each in asked.items()}
    questions = [
        f"SELECT '{table}' AS name, {_sum(SUMMED[table])} FROM {source} WHERE {_counted(table, where)}"
        for table, (source, where, _) in asked.items()
    ]
    values = [value for *_, each in asked.values() for value in each]
    found = connection.execute(" UNION ALL ".join(questions), values).fetchall()
    return {table: (int(rows), int(digests) % MODULUS) for table, rows, digests in found}


def _sum_here(connection: Any, table: str, source: str, where: str, values: Sequence[Any]) -> Sum:
    columns = SUMMED[table]
    listed = ", ".join(f'"{name}"' for name in columns)
    question = f"SELECT {listed} FROM {source} WHERE {_counted(table, where)}"
    rows = digests = 0
    with in_memory() as memory:
        for batch in connection.batches(question, LARGE_ROWS.get(table, BATCH), values):
            memory.register("some_rows", batch)
            [(more, added)] = memory.execute(f"SELECT {_sum(columns)} FROM some_rows").fetchall()
            rows, digests = rows + int(more), (digests + int(added)) % MODULUS
    return rows, digests


def kept(connection: Any) -> dict[str, Sum]:
    """Table -> what is kept of it. One that cannot be read is none."""
    found = connection.execute(f"SELECT name, value FROM meta WHERE name LIKE '{NAME}%'").fetchall()
    out: dict[str, Sum] = {}
    for name, value in found:
        with contextlib.suppress(ValueError, KeyError, TypeError):
            one = json.loads(value)
            out[name.removeprefix(NAME)] = int(one["rows"]), int(one["digests"])
    return out


def write_down(connection: Any, changes: Mapping[str, Sum]) -> None:
    """Take changes of sums into what is kept. A ledger of a layout before the eighth keeps none."""
    known = kept(connection)
    _write(
        connection,
        {table: _more(known[table], one) for table, one in changes.items() if one != NOTHING and table in known},
    )


def _add(connection: Any, changes: Mapping[str, Sum]) -> None:
    # Who writes beside others to a server keeps its changes until the end, so that nobody waits for it meanwhile.
    until_the_end: dict[str, Sum] | None = getattr(connection, "sums", None)
    if until_the_end is None:
        write_down(connection, changes)
        return
    for table, one in changes.items():
        until_the_end[table] = _more(until_the_end.get(table, NOTHING), one)


def _write(connection: Any, found: Mapping[str, Sum | None]) -> None:
    """Keep sums of tables; none of those that are None."""
    if not found:
        return
    marks = ", ".join("?" for _ in found)
    connection.execute(f"DELETE FROM meta WHERE name IN ({marks})", [NAME + table for table in found])
    lines = {NAME + table: _text(one) for table, one in found.items() if one is not None}
    places = ", ".join(["(?, ?)"] * len(lines))
    connection.execute(f"INSERT INTO meta VALUES {places}", [text for line in lines.items() for text in line])


def _text(one: Sum) -> str:
    return json.dumps({"rows": one[0], "digests": str(one[1])})


def _more(before: Sum, change: Sum) -> Sum:
    return before[0] + change[0], (before[1] + change[1]) % MODULUS


def _less(after: Sum, before: Sum) -> Sum:
    return after[0] - before[0], (after[1] - before[1]) % MODULUS


def _counted(table: str, where: str) -> str:
    return f"({where}) AND {ALL}" if table == "meta" else where


def _sum(columns: Mapping[str, str]) -> str:
    """SQL of the number of rows and the sum of their digests. What is missing differs from an empty text."""
    texts = ", ".join(f'COALESCE(CAST("{name}" AS VARCHAR), CHR(0))' for name in columns)
    return f"COUNT(*), COALESCE(SUM({half_as_number(f'CONCAT_WS(CHR(31), {texts})')}), 0)"
