"""Accounts at rest: a small SQLite file beside the ledger, so that signing in never takes the ledger's own file.

Passwords are kept as argon2 hashes, and of sessions and links only digests or numbers: whoever reads the file
cannot sign in with it. The secrets of second factors stand in it as they are, since codes are worked out from them.

Reading needs no writing. The journal is one of SQLite's that readers need not open for writing, so a full disk or one
that can only be read still lets people in. What signing in has to keep meanwhile (sessions, failed tries) is kept in
the memory of the server, see :meth:`Store.keep`.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
import sqlite3
import stat
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.atomic_write import FOLDER_ALONE, OWNER_ALONE, keep_alone
from evenfoot.analytics.ledger.ledger import default_path
from evenfoot.analytics.messages import say

ENVIRONMENT = "EVENFOOT_ACCOUNTS"

SCHEMA = """
CREATE TABLE IF NOT EXISTS meta (name TEXT PRIMARY KEY, value BLOB NOT NULL);
CREATE TABLE IF NOT EXISTS accounts (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    name TEXT NOT NULL,
    name_key TEXT NOT NULL UNIQUE,
    role TEXT NOT NULL,
    password TEXT,
    email_key TEXT UNIQUE,
    subject TEXT UNIQUE,
    made_at REAL NOT NULL
);
CREATE TABLE IF NOT EXISTS grants (
    account INTEGER NOT NULL REFERENCES accounts (id) ON DELETE CASCADE,
    farm TEXT NOT NULL,
    PRIMARY KEY (account, farm)
);
CREATE TABLE IF NOT EXISTS sessions (
    token BLOB PRIMARY KEY,
    account INTEGER NOT NULL REFERENCES accounts (id) ON DELETE CASCADE,
    made_at REAL NOT NULL,
    seen_at REAL NOT NULL,
    address TEXT NOT NULL DEFAULT '',
    browser TEXT NOT NULL DEFAULT ''
);
CREATE TABLE IF NOT EXISTS second_factors (
    account INTEGER PRIMARY KEY REFERENCES accounts (id) ON DELETE CASCADE,
    secret BLOB NOT NULL
);
CREATE TABLE IF NOT EXISTS recovery_codes (
    digest BLOB PRIMARY KEY,
    account INTEGER NOT NULL REFERENCES accounts (id) ON DELETE CASCADE
);
CREATE TABLE IF NOT EXISTS attempts (key BLOB PRIMARY KEY, failures INTEGER, last_at REAL, open_at REAL);
CREATE TABLE IF NOT EXISTS links (
    id TEXT PRIMARY KEY,
    farm TEXT NOT NULL,
    made_by INTEGER REFERENCES accounts (id) ON DELETE CASCADE,
    made_at REAL NOT NULL,
    ends_at REAL NOT NULL,
    language TEXT NOT NULL,
    revoked_at REAL,
    opened INTEGER NOT NULL DEFAULT 0
);
CREATE TABLE IF NOT EXISTS letterheads (
    account INTEGER REFERENCES accounts (id) ON DELETE CASCADE,
    farm TEXT NOT NULL,
    name TEXT NOT NULL,
    address TEXT NOT NULL,
    mail TEXT NOT NULL,
    logo BLOB
);
CREATE TABLE IF NOT EXISTS brought (
    import_no INTEGER NOT NULL,
    sha256 TEXT NOT NULL,
    account INTEGER NOT NULL REFERENCES accounts (id) ON DELETE CASCADE,
    PRIMARY KEY (import_no, sha256)
);
CREATE TABLE IF NOT EXISTS history (
    history_no INTEGER PRIMARY KEY AUTOINCREMENT,
    noted_at REAL NOT NULL,
    who TEXT NOT NULL,
    through TEXT NOT NULL,
    what TEXT NOT NULL,
    subject TEXT NOT NULL,
    farm TEXT,
    address TEXT NOT NULL DEFAULT ''
);
CREATE INDEX IF NOT EXISTS history_what ON history (what, history_no);
"""

LAYOUT = 4
"""Kept in the file as its user_version. Layout 2 adds where a session is from, and second factors; layout 3 where a
line of history is from; layout 4 letterheads of reports."""

ADDED_COLUMNS = {
    "sessions": {"address": "TEXT NOT NULL DEFAULT ''", "browser": "TEXT NOT NULL DEFAULT ''"},
    "history": {"address": "TEXT NOT NULL DEFAULT ''"},
}
"""Table -> columns that files of the first layout do not have."""

WAIT_SECONDS = 10.0
"""How long to wait for another process that is writing."""

TAKES_NOTHING = frozenset({sqlite3.SQLITE_READONLY, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_FULL, sqlite3.SQLITE_CANTOPEN})
"""How SQLite says that the disk takes nothing now: it is full, can only be read, or fails.
[pub: SQLite, Result and Error Codes]"""

T = TypeVar("T")


class Unwritable(UserError):
    """The disk of the accounts file takes nothing now; the file can be read as before."""


@dataclass(frozen=True)
class Store:
    """The file of accounts. Nothing is read or made until it is asked for.

    Parameters
    ----------
    path : Path
    clock : callable, optional
        Seconds since 1970; tests turn it forward.
    """

    path: Path
    clock: Callable[[], float] = field(default=time.time, compare=False)

    @property
    def exists(self) -> bool:
        """Whether there is anything in the file: while another thread lays it out it is there, and empty."""
        try:
            return self.path.stat().st_size > 0
        except FileNotFoundError:
            return False

    @contextlib.contextmanager
    def open(self) -> Iterator[sqlite3.Connection]:
        """The file for one transaction, made if absent; committed when the block ends, rolled back when it raises.

        Raises
        ------
        UserError
            The file cannot be made or opened, or is something else.
        """
        try:
            _make(self.path)
            connection = sqlite3.connect(self.path, timeout=WAIT_SECONDS, isolation_level=None)
        except (OSError, sqlite3.Error) as error:
            raise UserError(f"The accounts file {self.path} cannot be opened ({error}); check the folder.") from None
        try:
            connection.row_factory = sqlite3.Row
            connection.execute("PRAGMA foreign_keys = ON")
            _lay_out(connection)
            with _transaction(connection):
                yield connection
        except sqlite3.DatabaseError as error:
            if isinstance(error, sqlite3.IntegrityError):
                raise
            raise self._told(error) from None
        finally:
            connection.close()

    def _told(self, error: sqlite3.DatabaseError) -> UserError:
        if error.sqlite_errorcode & 0xFF in TAKES_NOTHING:
            return Unwritable(
                say(
                    "The accounts file {path} cannot be written ({error}), so nothing was changed; make room on the "
                    "disk or check its permissions, and try again.",
                    path=self.path,
                    error=error,
                )
            )
        return UserError(f"The accounts file {self.path} cannot be used: {error}.")

    def keep(
        self, work: Callable[[sqlite3.Connection], T], otherwise: Callable[[sqlite3.Connection], T] | None = None
    ) -> T:
        """Do *work* on sessions and tries in one transaction; where the disk takes nothing, in memory.

        The memory is this process's, and ends with it: who signed in meanwhile then signs in again, and a session that
        was signed out of meanwhile lasts until it is idle for too long. What is in memory goes before what is in the
        file. It is brought into the file by the first :meth:`keep` that the disk takes again.

        Parameters
        ----------
        work : callable
            Takes a connection to the tables ``sessions``, ``attempts`` and ``history``; may be done twice.
        otherwise : callable, optional
            What to do instead on the tables in memory, which hold no session of the file.
        """
        place = os.path.abspath(self.path)
        with _memory_guard:
            memory = _memories.get(place)
            try:
                with self.open() as connection:
                    if memory is not None:
                        _bring_back(memory, connection)
                    done = work(connection)
            except Unwritable:
                if memory is None:
                    memory = _memories[place] = self._new_memory()
                with _transaction(memory):
                    return (otherwise or work)(memory)
            _memories.pop(place, None)
        return done

    def remembered(self, sql: str, values: tuple[object, ...] = ()) -> list[sqlite3.Row]:
        """Rows of the tables in memory; none where the disk takes what is to be kept.

        What is there is brought into the file first, if the disk takes it by now.
        """
        place = os.path.abspath(self.path)
        if place not in _memories:
            return []
        self.keep(lambda _: None)
        with _memory_guard:
            memory = _memories.get(place)
            return [] if memory is None else memory.execute(sql, values).fetchall()

    def _new_memory(self) -> sqlite3.Connection:
        """Tables in memory: no sessions, and the tries of the file, so that a full disk forgives nothing."""
        memory = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
        memory.row_factory = sqlite3.Row
        memory.executescript(SCHEMA)
        with self.look() as connection:
            tries = connection.execute("SELECT * FROM attempts").fetchall()
        memory.executemany("INSERT INTO attempts VALUES (?, ?, ?, ?)", tries)
        return memory

    @contextlib.contextmanager
    def look(self) -> Iterator[sqlite3.Connection]:
        """The file for reading only; nothing is written, and none is made. Ask :attr:`exists` first."""
        # Not as a file that can only be read: what a killed writer left half done is undone on opening.
        address = f"{self.path.absolute().as_uri()}?mode=rw"
        connection = None
        try:
            connection = sqlite3.connect(address, uri=True, timeout=WAIT_SECONDS, isolation_level=None)
            connection.row_factory = sqlite3.Row
            connection.execute("PRAGMA query_only = ON")
            yield connection
        except sqlite3.DatabaseError as error:
            raise UserError(f"The accounts file {self.path} cannot be used: {error}.") from None
        finally:
            if connection is not None:
                connection.close()

    @property
    def in_use(self) -> bool:
        """Whether there is any account, so that everybody must sign in."""
        if not self.exists:
            return False
        with self.look() as connection:
            return connection.execute("SELECT 1 FROM accounts LIMIT 1").fetchone() is not None

    def cookie(self, name: str) -> str:
        """The name of a cookie of this ledger's server. A browser gives cookies to every port of one host alike, so two
        servers there must not take each other's."""
        return f"{name}-{hashlib.sha256(os.path.abspath(self.path).encode()).hexdigest()[:8]}"

    def secret(self) -> bytes:
        """256 random bits, made once, that sign links and forms."""
        if self.exists:
            with self.look() as connection:
                row = connection.execute("SELECT value FROM meta WHERE name = 'secret'").fetchone()
            if row is not None:
                return bytes(row["value"])
        with self.open() as connection:
            connection.execute("INSERT OR IGNORE INTO meta VALUES ('secret', ?)", [secrets.token_bytes(32)])
            row = connection.execute("SELECT value FROM meta WHERE name = 'secret'").fetchone()
        return bytes(row["value"])


def store_of(ledger: Ledger) -> Store:
    """The accounts that go with a ledger: EVENFOOT_ACCOUNTS, else a file beside it.

    A ledger that is not a file of this machine has its accounts in the user's data folder.
    """
    chosen = os.environ.get(ENVIRONMENT)
    if chosen:
        return Store(Path(chosen).expanduser())
    if "://" in ledger.name:
        mark = hashlib.sha256(ledger.name.encode()).hexdigest()[:12]
        return Store(default_path().with_name(f"accounts-{mark}.sqlite"))
    return Store(Path(ledger.name + ".accounts.sqlite"))


def _make(path: Path) -> None:
    """Make the file readable by its owner alone; SQLite gives its companions the same permissions."""
    if path.exists():
        if path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO):
            # A copy that was put back, with the permissions that new files have here.
            keep_alone(path)
        return
    path.parent.mkdir(mode=FOLDER_ALONE, parents=True, exist_ok=True)
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, OWNER_ALONE))


def _lay_out(connection: sqlite3.Connection) -> None:
    """Make the tables, or add what an older file does not have."""
    if connection.execute("PRAGMA journal_mode").fetchone()[0] == "wal":
        # As older files are: reading them takes room on the disk. Not while another process has the file open.
        connection.execute("PRAGMA busy_timeout = 0")
        with contextlib.suppress(sqlite3.OperationalError):
            connection.execute("PRAGMA journal_mode = DELETE")
        connection.execute(f"PRAGMA busy_timeout = {int(WAIT_SECONDS * 1000)}")
    if connection.execute("PRAGMA user_version").fetchone()[0] >= LAYOUT:
        return
    with _transaction(connection):
        for statement in SCHEMA.split(";\n"):
            connection.execute(statement)
        for table, columns in ADDED_COLUMNS.items():
            there = {row["name"] for row in connection.execute(f"PRAGMA table_info({table})")}
            for name, kind in columns.items():
                if name not in there:
                    connection.execute(f"ALTER TABLE {table} ADD COLUMN {name} {kind}")
        # Here, so that nothing needs to be written for the first form.
        connection.execute("INSERT OR IGNORE INTO meta VALUES ('secret', ?)", [secrets.token_bytes(32)])
        connection.execute(f"PRAGMA user_version = {LAYOUT}")


@contextlib.contextmanager
def _transaction(connection: sqlite3.Connection) -> Iterator[None]:
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        # A full disk may have ended the transaction already.
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _bring_back(memory: sqlite3.Connection, connection: sqlite3.Connection) -> None:
    """Bring what is in memory into the file, but no session whose account was signed out since."""
    for row in memory.execute("SELECT * FROM sessions"):
        connection.execute("DELETE FROM sessions WHERE token = ?", [row["token"]])
        connection.execute(
            "INSERT INTO sessions "
            "SELECT :token, id, :made_at, :seen_at, :address, :browser FROM accounts WHERE id = :account "
            "AND :seen_at > 0 AND NOT EXISTS (SELECT 1 FROM history WHERE subject = 'account ' || accounts.name "
            f"AND noted_at > :made_at AND what IN ({_ENDING}))",
            dict(row),
        )
    for row in memory.execute("SELECT * FROM attempts"):
        connection.execute("INSERT OR REPLACE INTO attempts VALUES (?, ?, ?, ?)", tuple(row))
    columns = "noted_at, who, through, what, subject, farm, address"
    for row in memory.execute(f"SELECT {columns} FROM history ORDER BY history_no"):
        connection.execute(f"INSERT INTO history ({columns}) VALUES (?, ?, ?, ?, ?, ?, ?)", tuple(row))


_ENDING = "'signed out everywhere', 'password changed'"
"""What the history says of a change that ends every session of an account."""

_memories: dict[str, sqlite3.Connection] = {}
"""Tables in memory, by the path of the accounts file that takes nothing now."""

_memory_guard = threading.RLock()
