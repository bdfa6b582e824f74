"""Sessions: who is signed in. The browser has a random token, the file its digest.

Where the disk takes nothing, sessions begin, go on and end in the memory of the server; see
:meth:`evenfoot.dashboard.auth.store.Store.keep`.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
import sqlite3
from dataclasses import dataclass

from evenfoot.dashboard.auth.history import note
from evenfoot.dashboard.auth.people import viewer_of
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.auth.viewer import Viewer

IDLE_SECONDS = 2 * 3600.0
"""Without a question from the person; that a page looks for news does not count. [common practice, no source]"""

LONGEST_SECONDS = 12 * 3600.0
"""However busy: one working day. [common practice, no source]"""

NOTED_EVERY = 60.0
"""Seconds between two notes of when a session was last used, so that most questions write nothing."""

LONGEST_BROWSER = 200
"""Letters kept of what a browser says of itself."""

INSERT = "INSERT OR REPLACE INTO sessions VALUES (?, ?, ?, ?, ?, ?)"


@dataclass(frozen=True)
class Session:
    """A session as its owner sees it; times are seconds since 1970.

    Attributes
    ----------
    mark : str
        Names the session, and is of no use for signing in.
    address, browser : str
        Where it was begun from, and what the browser said of itself.
    """

    mark: str
    made_at: float
    seen_at: float
    address: str
    browser: str


def begin(store: Store, account: int, address: str = "", browser: str = "") -> str:
    """A new session; gives the token for the browser. What has ended is forgotten on the way."""
    token = secrets.token_urlsafe(32)
    now = store.clock()

    def work(connection: sqlite3.Connection) -> None:
        connection.execute(
            "DELETE FROM sessions WHERE made_at < ? OR seen_at < ?", [now - LONGEST_SECONDS, now - IDLE_SECONDS]
        )
        connection.execute(INSERT, [_digest(token), account, now, now, address, browser[:LONGEST_BROWSER]])

    def work_in_memory(connection: sqlite3.Connection) -> None:
        # What has ended stays there, so that it is not looked up in the file.
        connection.execute(INSERT, [_digest(token), account, now, now, address, browser[:LONGEST_BROWSER]])

    store.keep(work, work_in_memory)
    return token


def viewer(store: Store, token: str | None, *, active: bool = True) -> Viewer | None:
    """Who has this token, or ``None`` when nobody has or the session has ended.

    Parameters
    ----------
    active : bool
        Whether the person does something; a page that looks for news by itself keeps no session alive.
    """
    if not token or not store.exists:
        return None
    now = store.clock()
    digest = _digest(token)
    row = next(iter(_rows(store, "token", digest)), None)
    if row is None or not _lasts(row, now):
        return None
    with store.look() as connection:
        found = viewer_of(connection, row["account"])
    if found is not None and active and now - row["seen_at"] > NOTED_EVERY:
        store.keep(
            lambda connection: connection.execute("UPDATE sessions SET seen_at = ? WHERE token = ?", [now, digest]),
            lambda memory: memory.execute(INSERT, [digest, row["account"], row["made_at"], now, *row[4:]]),
        )
    return found


def end(store: Store, token: str) -> None:
    """Sign out."""
    _end_digests(store, [_digest(token)])


def end_one(store: Store, account: int, mark: str) -> bool:
    """End the session of a mark, if it is one of the account; gives whether there was one."""
    found = [row["token"] for row in _rows(store, "account", account) if _mark(row["token"]) == mark]
    if found:
        _end_digests(store, found)
    return bool(found)


def end_all(store: Store, account: int) -> int:
    """Sign out everywhere; gives how many sessions there were."""
    found = [row["token"] for row in _rows(store, "account", account) if row["seen_at"] > 0]

    def work(connection: sqlite3.Connection) -> None:
        connection.execute("DELETE FROM sessions WHERE account = ?", [account])
        row = connection.execute("SELECT name FROM accounts WHERE id = ?", [account]).fetchone()
        if row is not None:
            note(connection, store.clock(), "signed out everywhere", f"account {row['name']}")

    store.keep(work, lambda memory: _mark_ended(memory, found))
    return len(found)


def listed(store: Store, account: int) -> list[Session]:
    """Sessions of an account that have not ended, the one used last first."""
    now = store.clock()
    rows = [row for row in _rows(store, "account", account) if _lasts(row, now)]
    found = [Session(_mark(row["token"]), *row[2:]) for row in rows]
    return sorted(found, key=lambda session: session.seen_at, reverse=True)


def mark_of(token: str) -> str:
    """The mark of the session that a browser has the token of."""
    return _mark(_digest(token))


def _rows(store: Store, column: str, value: object) -> list[sqlite3.Row]:
    """Sessions in memory, and those of the file that memory says nothing of."""
    memory = store.remembered("SELECT * FROM sessions")
    with store.look() as connection:
        rows = connection.execute(f"SELECT * FROM sessions WHERE {column} = ?", [value]).fetchall()
    known = {row["token"] for row in memory}
    return [row for row in memory if row[column] == value] + [row for row in rows if row["token"] not in known]


def _lasts(row: sqlite3.Row, now: float) -> bool:
    return now - row["made_at"] <= LONGEST_SECONDS and now - row["seen_at"] <= IDLE_SECONDS


def _end_digests(store: Store, digests: list[bytes]) -> None:
    store.keep(
        lambda connection: connection.executemany("DELETE FROM sessions WHERE token = ?", [(one,) for one in digests]),
        lambda memory: _mark_ended(memory, digests),
    )


def _mark_ended(memory: sqlite3.Connection, digests: list[bytes]) -> None:
    """In memory a session that has ended stays as one of long ago, since the file still has it."""
    memory.executemany(INSERT, [(one, 0, 0.0, 0.0, "", "") for one in digests])


def _mark(digest: bytes) -> str:
    return hashlib.sha256(b"mark" + digest).hexdigest()[:16]


def form_word(token: str) -> str:
    """The word that a page of this session sends with every change, and that no other site can know."""
    return hmac.new(token.encode(), b"evenfoot form", hashlib.sha256).hexdigest()


def _digest(token: str) -> bytes:
    return hashlib.sha256(token.encode()).digest()
