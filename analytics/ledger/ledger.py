"""The ledger: trim records at rest, opened by URL or path."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.engines.create import make_tables
from evenfoot.analytics.ledger.engines.engine import Connection, Engine, held, holding
from evenfoot.analytics.ledger.foreign_objects import refuse_foreign_parts
from evenfoot.analytics.ledger.history import refuse_gone
from evenfoot.analytics.ledger.schema import SCHEMA_VERSION
from evenfoot.analytics.messages import say

if TYPE_CHECKING:
    import pandas as pd

    from evenfoot.analytics.ledger.engines.file_lease import FileLease
    from evenfoot.analytics.ledger.engines.foreign_database import ForeignTables

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
        A path, ``duckdb://PATH``, ``postgres://USER@HOST/DATABASE`` or ``pyspark:///FOLDER``; any other address
        that Ibis opens, where it is installed, can be read. Without one: the EVENFOOT_LEDGER environment variable, else
        the file in the user's data folder.

    Raises
    ------
    UserError
        The address names an engine that cannot be opened.
    """
    return Ledger(engine_at(str(address or os.environ.get(ENVIRONMENT) or default_path())))


def engine_at(address: str) -> Engine:
    """The engine an address names; it is not asked anything yet."""
    from evenfoot.analytics.ledger.engines.duckdb import duckdb_at

    scheme, separator, rest = address.partition("://")
    if not separator:
        return duckdb_at(address)
    if scheme == "duckdb" and rest:
        return duckdb_at(rest)
    if scheme in ("postgres", "postgresql") and rest:
        from evenfoot.analytics.ledger.engines.postgres import postgres_at

        return postgres_at(address)
    if scheme == "pyspark" and rest:
        from evenfoot.analytics.ledger.engines.spark import spark_at

        return spark_at(address)
    from evenfoot.analytics.ledger.engines.foreign_database import foreign_database_at, schemes

    if scheme in (others := schemes()) and rest:
        return foreign_database_at(address, _take)
    if not others:
        raise UserError(
            say(
                "The ledger address '{scheme}://...' cannot be opened; give the path of a file, duckdb://PATH, "
                "postgres://USER@HOST/DATABASE or pyspark:///FOLDER, or install Evenfoot with its 'other-databases' "
                "extra, which reads other databases.",
                scheme=scheme,
            )
        )
    raise UserError(
        say(
            "The ledger address '{scheme}://...' cannot be opened; give the path of a file, duckdb://PATH, "
            "postgres://USER@HOST/DATABASE or pyspark:///FOLDER.",
            scheme=scheme,
        )
    )


def _take(tables: ForeignTables, path: Path) -> None:
    """All that the tables of another database hold, as a ledger in a new file."""
    from evenfoot.analytics.ledger.engines.duckdb import duckdb_at
    from evenfoot.analytics.ledger.transfer import copy_meta, move

    source, target = Ledger(cast("Engine", tables)), Ledger(duckdb_at(str(path)))
    try:
        move(source, target)
        copy_meta(source, target)
    finally:
        target.lease.drop_if_idle()


LONGEST_LAYOUT = 6
"""Digits of the number of a layout."""

_newest_layout: dict[str, tuple[int, ...]] = {}
"""Files seen to have the newest layout, and the state they were in, so that each question need not ask again."""


@dataclass(frozen=True)
class Ledger:
    """Records at rest, wherever an engine holds them. See :func:`open_ledger`."""

    engine: Engine

    @property
    def name(self) -> str:
        """Where the records are, for showing: never with a password."""
        return self.engine.name

    @property
    def address(self) -> str:
        """What :func:`open_ledger` opens this ledger by again; not for showing."""
        return self.engine.address

    @property
    def dialect(self) -> str:
        return self.engine.dialect

    @property
    def in_a_file(self) -> bool:
        """Whether it is one file on this machine, which can be copied as such."""
        return hasattr(self.engine, "lease")

    @property
    def lease(self) -> FileLease:
        """The lease on the file of an embedded ledger.

        Raises
        ------
        UserError
            The ledger is not a file.
        """
        lease: FileLease | None = getattr(self.engine, "lease", None)
        if lease is None:
            raise UserError(
                say(
                    "The ledger {name} is not one file on this machine, and this can only be done to one.",
                    name=self.name,
                )
            )
        return lease

    @property
    def exists(self) -> bool:
        return self.engine.exists

    @property
    def version(self) -> tuple[int, ...]:
        """Another one whenever a change was committed; within a :meth:`snapshot` that of what is read."""
        return self.engine.version

    @contextlib.contextmanager
    def reading(self) -> Iterator[Connection]:
        """A read-only cursor of this thread's own, on the records of one moment.

        Raises
        ------
        UserError
            There is no ledger yet, it is from a newer Evenfoot, or another program kept it too long.
        """
        # The state of a file costs nothing to ask for; that of a server costs as much as asking for the layout.
        before = self.version if self.in_a_file else None
        with self.engine.reading() as cursor:
            # Of a file that was replaced meanwhile it is not known which of the two is read.
            state = before if before is not None and before == self.version else None
            layout = SCHEMA_VERSION if state and _newest_layout.get(self.name) == state else self.layout(cursor)
            if layout == SCHEMA_VERSION:
                if state:
                    _newest_layout[self.name] = state
                yield cursor
                return
        self._bring_up_to_date(layout)
        with self.engine.reading() as cursor:
            yield cursor

    @contextlib.contextmanager
    def snapshot(self, *, wait: bool = True) -> Iterator[None]:
        """All that is read in the block, and by work that is begun there, is of one moment.

        Where there is no ledger, it is as each question finds it.

        Parameters
        ----------
        wait : bool
            Whether to wait, as all others do, for a file that somebody has.

        Raises
        ------
        UserError
            As :meth:`reading`; :class:`evenfoot.analytics.ledger.failures.Busy` if somebody has the file.
        """
        if held(self) or not self.exists:
            yield  # A snapshot within one is of the same moment.
            return
        if wait:
            with self.reading():
                pass  # An older layout is brought up to date, which nobody can while it is read.
        with self.engine.snapshot(wait=wait), holding(self, self):
            yield

    @contextlib.contextmanager
    def writing(self, farms: Iterable[str] | None = None) -> Iterator[Connection]:
        """The ledger for one transaction; made if absent, committed whole or not at all.

        Parameters
        ----------
        farms : iterable of str, optional
            The only farms that are written to; see :meth:`evenfoot.analytics.ledger.engines.engine.Engine.writing`.

        Raises
        ------
        UserError
            The ledger cannot be written, or who acts may change nothing any more; see
            :func:`evenfoot.analytics.ledger.history.refuse_gone`.
        """
        with self.engine.writing(farms) as connection:
            if not self.engine.tables(connection):
                make_tables(connection)
                self.engine.settle(connection)
            # Nobody else changes the file now, so that what was seen of it in this state still holds.
            known = self.in_a_file and _newest_layout.get(self.name) == self.version
            layout = SCHEMA_VERSION if known else self.layout(connection)
            if layout == SCHEMA_VERSION:
                yield connection
                refuse_gone()
                return
        self._bring_up_to_date(layout)
        with self.engine.writing(farms) as connection:
            yield connection
            refuse_gone()

    def _bring_up_to_date(self, layout: int) -> None:
        """Change a ledger of an older layout to the newest, whole or not at all; a file is copied first.

        On a server the copies are in the hands of who keeps the server.
        """
        from evenfoot.analytics.ledger.file_copy import copy_before
        from evenfoot.analytics.ledger.migrations import migrate

        try:
            if self.in_a_file:
                copy_before(self, f"layout-{SCHEMA_VERSION}")
            with self.engine.writing() as connection:
                found = self.layout(connection)
                if found < SCHEMA_VERSION:
                    migrate(connection, found)
                    self.engine.settle(connection)
        except UserError as mistake:
            raise UserError(
                say(
                    "The ledger {name} was made by an older Evenfoot (layout {layout}) and has to be brought up to "
                    "date first, which failed and changed nothing: {mistake}",
                    name=self.name,
                    layout=layout,
                    mistake=mistake,
                )
            ) from None

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
            "UNION SELECT farm FROM housing_rows UNION SELECT farm FROM change_rows "
            "UNION SELECT farm FROM summary_rows ORDER BY 1"
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
        UserError
            There is no such import.
        """
        if import_no is not None and self.frame("SELECT 1 FROM imports WHERE import_no = ?", [import_no]).empty:
            raise UserError(say("There is no import {import_no}; `evenfoot imports` lists them.", import_no=import_no))
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

    def layout(self, connection: Connection) -> int:
        """Which layout the tables have; none that is newer than this program knows.

        Raises
        ------
        UserError
            It is no ledger, one of a newer Evenfoot, or holds views or macros.
        """
        if self.in_a_file:
            refuse_foreign_parts(connection, self.name)
        if "meta" not in self.engine.tables(connection):
            raise UserError(
                say("{name} is a database, but not an Evenfoot ledger; choose another with --ledger.", name=self.name)
            )
        rows = connection.execute("SELECT value FROM meta WHERE name = 'schema'").fetchall()
        said = str(rows[0][0]) if rows else ""
        layout = int(said) if said.isascii() and said.isdecimal() and len(said) <= LONGEST_LAYOUT else 0
        if layout > SCHEMA_VERSION:
            raise UserError(
                say(
                    "The ledger {name} was made by a newer Evenfoot (layout {layout}, this program knows "
                    "{SCHEMA_VERSION}); update Evenfoot to open it.",
                    name=self.name,
                    layout=layout,
                    SCHEMA_VERSION=SCHEMA_VERSION,
                )
            )
        if layout < 1:
            raise UserError(
                say(
                    "{name} does not say which layout it has; put a backup back with `evenfoot restore`.",
                    name=self.name,
                )
            )
        return layout
