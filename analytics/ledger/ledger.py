"""The ledger: trim records at rest, opened by URL or path."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analytics.ledger.lease import FileLease, lease_of
from analytics.ledger.schema import SCHEMA_VERSION, create_statements
from analytics.mistake import Mistake

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

ENVIRONMENT = "EVENFOOT_LEDGER"


def default_path() -> Path:
    """The ledger in the user's own data folder."""
    import platformdirs

    return Path(platformdirs.user_data_dir("evenfoot", appauthor=False)) / "ledger.duckdb"


def open_ledger(address: str | os.PathLike[str] | None = None) -> Ledger:
    """Open the ledger at *address*; nothing is read or created yet.

    Parameters
    ----------
    address : str or path, optional
        A path, or ``duckdb://PATH``. Without one: the EVENFOOT_LEDGER environment variable, else the
        file in the user's data folder.

    Raises
    ------
    Mistake
        The address names an engine that cannot be opened.
    """
    text = str(address or os.environ.get(ENVIRONMENT) or default_path())
    scheme, separator, rest = text.partition("://")
    if not separator:
        return Ledger(lease_of(Path(text).expanduser()))
    if scheme != "duckdb" or not rest:
        raise Mistake(f"The ledger address '{text}' cannot be opened; give the path of a file, or duckdb://PATH.")
    return Ledger(lease_of(Path(rest).expanduser()))


@dataclass(frozen=True)
class Ledger:
    """Records at rest in one DuckDB file. See :func:`open_ledger`."""

    lease: FileLease

    @property
    def name(self) -> str:
        return str(self.lease.path)

    @property
    def exists(self) -> bool:
        return self.lease.path.exists()

    @property
    def version(self) -> tuple[int, int]:
        """Changes whenever the file does: (time of change in nanoseconds, size)."""
        try:
            stat = self.lease.path.stat()
        except OSError:
            return (0, 0)
        return (stat.st_mtime_ns, stat.st_size)

    @contextlib.contextmanager
    def reading(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """A read-only cursor of this thread's own.

        Raises
        ------
        Mistake
            There is no ledger yet, it is from a newer Evenfoot, or another program kept it too long.
        """
        with self.lease.reading() as cursor:
            _check_version(cursor, self.name)
            yield cursor

    @contextlib.contextmanager
    def writing(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """The ledger for one transaction; made if absent, committed whole or not at all."""
        try:
            self.lease.path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise Mistake(
                f"The folder {self.lease.path.parent} cannot be made ({error.strerror}); "
                "choose another place with --ledger."
            ) from None
        with self.lease.writing() as connection:
            if not _tables(connection):
                for statement in create_statements():
                    connection.execute(statement)
                connection.execute("INSERT INTO meta VALUES ('schema', ?)", [str(SCHEMA_VERSION)])
            _check_version(connection, self.name)
            yield connection

    def frame(self, sql: str, parameters: list[Any] | None = None) -> pd.DataFrame:
        """A small bookkeeping table (imports, farms, set-aside rows) as a pandas frame."""
        with self.reading() as cursor:
            frame: pd.DataFrame = cursor.execute(sql, parameters or []).df()
        return frame

    def farms(self, allowed: tuple[str, ...] | None = None) -> list[str]:
        """Names of the farms in the ledger, alphabetical; only the *allowed* ones where given."""
        if not self.exists:
            return []
        names = self.frame(
            "SELECT farm FROM trims UNION SELECT farm FROM scores UNION SELECT farm FROM cows "
            "UNION SELECT farm FROM housing_rows UNION SELECT farm FROM change_rows ORDER BY 1"
        )["farm"].tolist()
        return [name for name in names if allowed is None or name in allowed]

    def set_aside(self, import_no: int | None = None) -> pd.DataFrame:
        """Held-back rows: import_no, source, row_no, column, value, reason, remedy, original (JSON).

        Parameters
        ----------
        import_no : int, optional
            One import; without it, every import that has not been undone.

        Raises
        ------
        Mistake
            There is no such import.
        """
        if import_no is not None and self.frame("SELECT 1 FROM imports WHERE import_no = ?", [import_no]).empty:
            raise Mistake(f"There is no import {import_no}; `evenfoot imports` lists them.")
        where = "i.import_no = ?" if import_no is not None else "i.undone_at IS NULL"
        return self.frame(
            "SELECT s.* FROM set_aside s JOIN imports i ON i.import_no = s.import_no "
            f'WHERE {where} ORDER BY s.import_no, s.source, s.row_no, s."column"',
            [import_no] if import_no is not None else [],
        )

    def imports(self) -> pd.DataFrame:
        """The imports so far, newest last: import_no, imported_at (UTC), file, sha256, kinds, rows_read,
        added, already_known, set_aside, undone_at, notes (JSON list)."""
        return self.frame("SELECT * FROM imports ORDER BY import_no")


def _tables(connection: duckdb.DuckDBPyConnection) -> set[str]:
    rows = connection.execute("SELECT table_name FROM information_schema.tables WHERE table_schema = 'main'").fetchall()
    return {name for (name,) in rows}


def _check_version(connection: duckdb.DuckDBPyConnection, name: str) -> None:
    if "meta" not in _tables(connection):
        raise Mistake(f"{name} is a database, but not an Evenfoot ledger; choose another file with --ledger.")
    rows = connection.execute("SELECT value FROM meta WHERE name = 'schema'").fetchall()
    version = int(rows[0][0]) if rows else 0
    if version > SCHEMA_VERSION:
        raise Mistake(
            f"The ledger {name} was made by a newer Evenfoot (layout {version}, this program knows "
            f"{SCHEMA_VERSION}); update Evenfoot to open it."
        )
