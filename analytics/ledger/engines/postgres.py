"""The ledger of an office: one PostgreSQL database into which several people write at the same time.

Two imports that bring rows of the same farm take turns, farm by farm; imports of different farms run side by
side. A digest of every row's content is unique in the database itself, so that a row can't come in twice whatever
the order. What people look at meanwhile is the state of one moment.
"""

from __future__ import annotations

import contextlib
import hashlib
import threading
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.parsing.farm_names import key as farm_key
from evenfoot.analytics.ledger import checksums
from evenfoot.analytics.ledger.engines.data_frames import frame_of
from evenfoot.analytics.ledger.engines.dialects import translate
from evenfoot.analytics.ledger.engines.engine import held, holding
from evenfoot.analytics.ledger.engines.postgres_address import PostgresAddress, explain
from evenfoot.analytics.ledger.engines.postgres_purge import forget_bytes
from evenfoot.analytics.ledger.schema import DERIVED_TABLES, ROW_TABLES

if TYPE_CHECKING:
    import pandas as pd
    import psycopg
    import pyarrow as pa

    from evenfoot.analytics.messages import Message

WAIT = "60s"
"""How long one writer waits for another before it is told so."""

SETTINGS = (
    f"SET LOCAL lock_timeout = '{WAIT}'; SET LOCAL enable_nestloop = off; SET LOCAL jit = off; "
    "SET LOCAL standard_conforming_strings = on"
)
"""Of every transaction. A backslash in a text is one, whatever the server's own settings. The server can't foresee how
many rows our nested questions pass from step to step and believes it few, for which it would go through the next step
row by row; compiling them costs more than it gains."""

MOST_FARM_LOCKS = 256
"""An import of more farms than this writes alone: a server keeps room for some thousands of locks."""

IDLE = 8
"""Connections kept open while nobody uses them, one for each thread that serves pages."""

NUMBERED = {"imports": "import_no", "history": "history_no"}
"""Tables whose rows are numbered by the server, and the column; a number given once is never given again."""

KINDS = {
    16: "bool",
    20: "int64",
    21: "int16",
    23: "int32",
    25: "text",
    700: "float",
    701: "float",
    1042: "text",
    1043: "text",
    1082: "date",
    1114: "date",
    1184: "date",
    1700: "float",
}
"""PostgreSQL's numbers of its types [pub: pg_type.dat in the PostgreSQL source] -> kinds of column."""


class PostgresResult:
    """What a statement gave back; see :class:`evenfoot.analytics.ledger.engines.engine.Result`."""

    def __init__(self, cursor: psycopg.Cursor[Any]) -> None:
        self._cursor = cursor

    def fetchall(self) -> list[tuple[Any, ...]]:
        """The rows; of a statement that changes rows, how many."""
        if self._cursor.description is None:
            return [(self._cursor.rowcount,)]
        return self._cursor.fetchall()

    def fetchone(self) -> tuple[Any, ...] | None:
        rows = self.fetchall() if self._cursor.description is None else None
        return rows[0] if rows else self._cursor.fetchone()

    def df(self) -> pd.DataFrame:
        about = self._cursor.description or []
        return frame_of(
            [column.name for column in about],
            [KINDS.get(column.type_code, "other") for column in about],
            self._cursor.fetchall(),
        )


class PostgresConnection:
    """One transaction; see :class:`evenfoot.analytics.ledger.engines.engine.Connection`.

    Attributes
    ----------
    raw : psycopg.Connection
    sums : dict
        Table -> what has come to its sum, see :mod:`evenfoot.analytics.ledger.checksums`. It is written when the
        transaction ends, because whoever writes to a line of ``meta`` has it alone until then.
    """

    def __init__(self, connection: psycopg.Connection[Any]) -> None:
        self.raw = connection
        self.sums: dict[str, checksums.Sum] = {}

    def execute(self, sql: str, parameters: Sequence[Any] | None = None) -> PostgresResult:
        for statement in translate(sql, "postgres"):
            cursor = self.raw.cursor(binary=True)
            cursor.execute(statement.encode(), list(parameters) if parameters else None)
        return PostgresResult(cursor)

    def next_number(self, table: str) -> int:
        """A number no other row of the table has, also none that is being added at this moment."""
        if table not in NUMBERED:
            raise KeyError(table)
        [(there,)] = self.ask(f"SELECT to_regclass('{table}_numbers')").fetchall()
        if there is None:
            # A layout that is just being brought up to date has not got its sequences yet.
            self.ask(f"CREATE SEQUENCE {table}_numbers")
        [(number,)] = self.ask(f"SELECT nextval('{table}_numbers')").fetchall()
        return int(number)

    def ask(self, sql: str) -> PostgresResult:
        """Run a question that is in PostgreSQL's own SQL."""
        cursor = self.raw.cursor(binary=True)
        cursor.execute(sql.encode())
        return PostgresResult(cursor)

    def load(self, table: str, rows: pa.Table | Iterable[pa.RecordBatch], columns: dict[str, str] | None) -> int:
        """Copy Arrow rows into a table, as the columns of their names; give their number.

        Parameters
        ----------
        table : str
        rows : pyarrow.Table or iterable of pyarrow.RecordBatch
        columns : dict of str to str, optional
            Where given, the table is a temporary one, made now with these columns and types.
        """
        if columns is not None:
            listed = ", ".join(f'"{name}" {kind}' for name, kind in columns.items())
            self.execute(f"CREATE OR REPLACE TEMP TABLE {table} ({listed})")
        batches = rows.to_batches(max_chunksize=50_000) if hasattr(rows, "to_batches") else rows
        count = 0
        for batch in batches:
            if batch.num_rows:
                names = ", ".join(f'"{name}"' for name in batch.schema.names)
                with self.raw.cursor().copy(f"COPY {table} ({names}) FROM STDIN (FORMAT csv)".encode()) as copy:
                    copy.write(_as_csv(batch))
                count += batch.num_rows
        if columns is not None:
            self.execute(f"ANALYZE {table}")
        return count

    def batches(self, sql: str, rows: int, parameters: Sequence[Any] | None = None) -> Iterator[pa.RecordBatch]:
        """The rows of a statement of the ledger, through a cursor of the server: no more than *rows* are here at a
        time."""
        import pyarrow as pa

        [statement] = translate(sql, "postgres")
        cursor = self.raw.cursor()
        cursor.execute(f"DECLARE walk NO SCROLL CURSOR FOR {statement}".encode(), list(parameters or []) or None)
        try:
            while True:
                found = self.ask(f"FETCH {int(rows)} FROM walk")
                about = found._cursor.description or []
                part = found.fetchall()
                if not part:
                    return
                kinds = [_arrow_type(column.type_code) for column in about]
                values = [pa.array(column, kind) for column, kind in zip(zip(*part, strict=True), kinds, strict=True)]
                yield pa.RecordBatch.from_arrays(values, names=[column.name for column in about])
        finally:
            with contextlib.suppress(Exception):
                self.ask("CLOSE walk")


class PostgresEngine:
    """A ledger in a PostgreSQL database; see :class:`evenfoot.analytics.ledger.engines.engine.Engine`."""

    dialect = "postgres"

    def __init__(self, address: str) -> None:
        self._place = PostgresAddress.read(address)
        self.address = address
        self.name = self._place.shown
        self._idle: list[psycopg.Connection[Any]] = []
        self._guard = threading.Lock()

    @property
    def exists(self) -> bool:
        with self._transaction(read_only=True) as connection:
            return "meta" in self.tables(connection)

    @property
    def version(self) -> tuple[int, ...]:
        """How many changes were committed so far."""
        with self._transaction(read_only=True) as connection:
            if "meta" not in self.tables(connection):
                return (0, 0)
            rows = connection.execute("SELECT value FROM meta WHERE name = 'changes'").fetchall()
        return (int(rows[0][0]), 0) if rows else (0, 0)

    @contextlib.contextmanager
    def reading(self) -> Iterator[PostgresConnection]:
        with self._transaction(read_only=True) as connection:
            if not self.tables(connection):
                raise UserError(
                    f"There is no ledger at {self.name} yet; import a sheet with `evenfoot import FILE` first."
                )
            yield connection

    @contextlib.contextmanager
    def snapshot(self, *, wait: bool = True) -> Iterator[None]:
        """Nobody keeps readers of a server out, so there is nothing to wait for."""
        with self._transaction(read_only=True) as connection, holding(self, connection):
            yield

    @contextlib.contextmanager
    def writing(self, farms: Iterable[str] | None = None) -> Iterator[PostgresConnection]:
        # Two spellings of one farm take turns as well, so that the second finds what the first has written.
        keys = None if farms is None else sorted({self._key("farm", farm_key(farm)) for farm in farms})
        if keys is not None and len(keys) > MOST_FARM_LOCKS:
            keys = None
        with self._transaction(read_only=False) as connection:
            whole = self._key("ledger", "")
            new = "meta" not in self.tables(connection)
            if keys is None or new:
                connection.ask(f"SELECT pg_advisory_xact_lock({whole})")
            else:
                connection.ask(f"SELECT pg_advisory_xact_lock_shared({whole})")
                for key in keys:
                    connection.ask(f"SELECT pg_advisory_xact_lock({key})")
            yield connection
            connection.ask(
                "INSERT INTO meta VALUES ('changes', '1') ON CONFLICT (name) "
                "DO UPDATE SET value = CAST(CAST(meta.value AS BIGINT) + 1 AS TEXT)"
            )
            # From here on nobody else is at this point, until this is committed.
            checksums.write_down(connection, connection.sums)

    def settle(self, connection: Any) -> None:
        """Give new tables what keeps them whole and quick: unique row digests, numbers, and indexes by farm."""
        connection.ask("CREATE UNIQUE INDEX IF NOT EXISTS meta_name ON meta (name)")
        connection.ask("CREATE UNIQUE INDEX IF NOT EXISTS imports_no ON imports (import_no)")
        connection.ask("CREATE INDEX IF NOT EXISTS seen_again_row ON seen_again (row_key)")
        for table, column in NUMBERED.items():
            connection.ask(f"CREATE SEQUENCE IF NOT EXISTS {table}_numbers")
            connection.ask(
                f"SELECT setval('{table}_numbers', MAX({column})) FROM {table} HAVING MAX({column}) >= "
                f"(SELECT last_value FROM {table}_numbers)"
            )
        for table, _ in ROW_TABLES.values():
            connection.ask(f"CREATE UNIQUE INDEX IF NOT EXISTS {table}_key ON {table} (row_key)")
            connection.ask(f"CREATE INDEX IF NOT EXISTS {table}_import ON {table} (import_no)")
            connection.ask(f"CREATE INDEX IF NOT EXISTS {table}_farm ON {table} (farm)")
        for table, columns in DERIVED_TABLES.items():
            by = "farm, visit_date" if "visit_date" in columns else "farm, cow"
            connection.ask(f"CREATE INDEX IF NOT EXISTS {table}_farm ON {table} ({by})")

    def whole_rows(self, connection: Any) -> str:
        return ""

    def misplaced(self, connection: Any) -> Iterable[Message]:
        """Rows have no place of their own."""
        return ()

    def forget_bytes(self) -> tuple[str, ...]:
        """Have the server write every table anew, and what it kept of their contents for planning."""
        return forget_bytes(self._place)

    def tables(self, connection: Any) -> set[str]:
        rows = connection.ask(
            "SELECT table_name FROM information_schema.tables WHERE table_schema = current_schema()"
        ).fetchall()
        return {name for (name,) in rows}

    def frame(self, connection: Any, sql: str) -> pd.DataFrame:
        found: pd.DataFrame = connection.ask(sql).df()
        return found

    def batches(
        self, connection: Any, sql: str, rows: int, parameters: Sequence[Any] | None = None
    ) -> Iterable[pa.RecordBatch]:
        found: Iterable[pa.RecordBatch] = connection.batches(sql, rows, parameters)
        return found

    def close(self) -> None:
        """Let go of the idle connections."""
        with self._guard:
            idle, self._idle = self._idle, []
        for connection in idle:
            connection.close()

    def _key(self, what: str, name: str) -> int:
        """The number of an advisory lock: of a farm of this ledger, or of the whole."""
        text = "\0".join(("evenfoot", self._place.schema or "", what, name))
        return int.from_bytes(hashlib.blake2b(text.encode(), digest_size=8).digest(), "big", signed=True)

    @contextlib.contextmanager
    def _transaction(self, *, read_only: bool) -> Iterator[PostgresConnection]:
        import psycopg

        if read_only and (mine := held(self)) is not None:
            yield mine
            return
        raw = self._borrow(read_only)
        committing = False
        try:
            yield PostgresConnection(raw)
            if not read_only:
                committing = True
                raw.execute(b"COMMIT")
        except psycopg.Error as error:
            said = explain(error, self._place, committing=committing)
            if said is None:
                raise
            raise said from None
        finally:
            self._give_back(raw)

    def _borrow(self, read_only: bool) -> psycopg.Connection[Any]:
        """A connection in a new transaction. A kept one that the server has dropped is replaced."""
        import psycopg

        level = "REPEATABLE READ READ ONLY" if read_only else "READ COMMITTED"
        begin = f"BEGIN ISOLATION LEVEL {level}; {SETTINGS}"
        while True:
            with self._guard:
                kept = self._idle.pop() if self._idle else None
            raw = kept or self._place.connect()
            try:
                raw.execute(begin.encode())
            except psycopg.Error as error:
                raw.close()
                if kept is None:
                    raise explain(error, self._place) or error from None
                continue
            return raw

    def _give_back(self, raw: psycopg.Connection[Any]) -> None:
        with contextlib.suppress(Exception):
            raw.rollback()
        with self._guard:
            if not raw.closed and len(self._idle) < IDLE:
                self._idle.append(raw)
                return
        raw.close()


_engines: dict[str, PostgresEngine] = {}
_engines_guard = threading.Lock()


def postgres_at(address: str) -> PostgresEngine:
    """The process-wide engine for an address, so that its connections are used again."""
    with _engines_guard:
        if address not in _engines:
            _engines[address] = PostgresEngine(address)
        return _engines[address]


def _arrow_type(number: int) -> Any:
    import pyarrow as pa

    kind = KINDS.get(number, "text")
    if kind == "date":
        return pa.date32() if number == 1082 else pa.timestamp("us")
    return {"bool": pa.bool_(), "float": pa.float64(), "text": pa.string()}.get(kind) or getattr(pa, kind)()


def _as_csv(batch: pa.RecordBatch) -> bytes:
    """A batch as the text the server's COPY reads: what is missing is bare, an empty text is quoted."""
    import io

    import pyarrow as pa
    import pyarrow.compute as pc
    from pyarrow import csv

    columns = []
    for column in batch.columns:
        if pa.types.is_dictionary(column.type):
            column = column.cast(column.type.value_type)
        if pa.types.is_string(column.type) or pa.types.is_large_string(column.type):
            # The server keeps no NUL in a text; U+FFFD is the sign for what can't be shown.
            column = pc.replace_substring(column, "\0", "�")
        columns.append(column)
    out = io.BytesIO()
    options = csv.WriteOptions(include_header=False)
    csv.write_csv(pa.RecordBatch.from_arrays(columns, names=batch.schema.names), out, options)
    return out.getvalue()
