"""Accounts at rest: a small SQLite file beside the ledger, so that signing in never takes the ledger's own file.

Passwords are kept as argon2 hashes, and of sessions and links only digests or numbers: whoever reads the file
cannot sign in with it.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
import sqlite3
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from analytics.ledger import Ledger
from analytics.ledger.ledger import default_path
from analytics.mistake import Mistake

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
    seen_at REAL NOT NULL
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
    farm TEXT
);
"""

WAIT_SECONDS = 10.0
"""How long to wait for another process that is writing."""


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
        return self.path.exists()

    @contextlib.contextmanager
    def open(self) -> Iterator[sqlite3.Connection]:
        """The file for one transaction, made if absent; committed when the block ends, rolled back when it raises.

        Raises
        ------
        Mistake
            The file cannot be made or opened, or is something else.
        """
        try:
            _make(self.path)
            connection = sqlite3.connect(self.path, timeout=WAIT_SECONDS, isolation_level=None)
        except (OSError, sqlite3.Error) as error:
            raise Mistake(f"The accounts file {self.path} cannot be opened ({error}); check the folder.") from None
        try:
            connection.row_factory = sqlite3.Row
            connection.execute("PRAGMA foreign_keys = ON")
            _lay_out(connection)
            connection.execute("BEGIN IMMEDIATE")
            try:
                yield connection
            except BaseException:
                connection.execute("ROLLBACK")
                raise
            connection.execute("COMMIT")
        except sqlite3.DatabaseError as error:
            if isinstance(error, sqlite3.IntegrityError):
                raise
            raise Mistake(f"The accounts file {self.path} cannot be used: {error}.") from None
        finally:
            connection.close()

    @contextlib.contextmanager
    def look(self) -> Iterator[sqlite3.Connection]:
        """The file for reading only, without waiting for a writer. Ask :attr:`exists` first."""
        connection = sqlite3.connect(self.path, timeout=WAIT_SECONDS, isolation_level=None)
        try:
            connection.row_factory = sqlite3.Row
            connection.execute("PRAGMA query_only = ON")
            yield connection
        except sqlite3.DatabaseError as error:
            raise Mistake(f"The accounts file {self.path} cannot be used: {error}.") from None
        finally:
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
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))


def _lay_out(connection: sqlite3.Connection) -> None:
    if connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'history'").fetchone() is None:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.executescript(SCHEMA)
