"""Sessions: who is signed in. The browser has a random token, the file its digest."""

from __future__ import annotations

import hashlib
import hmac
import secrets

from dashboard.accounts.history import note
from dashboard.accounts.people import viewer_of
from dashboard.accounts.store import Store
from dashboard.accounts.viewer import Viewer

IDLE_SECONDS = 2 * 3600.0
"""Without a question from the person; that a page looks for news does not count. [common practice, no source]"""

LONGEST_SECONDS = 12 * 3600.0
"""However busy: one working day. [common practice, no source]"""

NOTED_EVERY = 60.0
"""Seconds between two notes of when a session was last used, so that most questions write nothing."""


def begin(store: Store, account: int) -> str:
    """A new session; gives the token for the browser. What has ended is forgotten on the way."""
    token = secrets.token_urlsafe(32)
    now = store.clock()
    with store.open() as connection:
        connection.execute(
            "DELETE FROM sessions WHERE made_at < ? OR seen_at < ?", [now - LONGEST_SECONDS, now - IDLE_SECONDS]
        )
        connection.execute("INSERT INTO sessions VALUES (?, ?, ?, ?)", [_digest(token), account, now, now])
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
    with store.look() as connection:
        row = connection.execute("SELECT * FROM sessions WHERE token = ?", [_digest(token)]).fetchone()
        if row is None or now - row["made_at"] > LONGEST_SECONDS or now - row["seen_at"] > IDLE_SECONDS:
            return None
        found = viewer_of(connection, row["account"])
        seen = row["seen_at"]
    if found is not None and active and now - seen > NOTED_EVERY:
        with store.open() as connection:
            connection.execute("UPDATE sessions SET seen_at = ? WHERE token = ?", [now, _digest(token)])
    return found


def end(store: Store, token: str) -> None:
    """Sign out."""
    with store.open() as connection:
        connection.execute("DELETE FROM sessions WHERE token = ?", [_digest(token)])


def end_all(store: Store, account: int) -> int:
    """Sign out everywhere; gives how many sessions there were."""
    with store.open() as connection:
        ended = connection.execute("DELETE FROM sessions WHERE account = ?", [account]).rowcount
        row = connection.execute("SELECT name FROM accounts WHERE id = ?", [account]).fetchone()
        if row is not None:
            note(connection, store.clock(), "signed out everywhere", f"account {row['name']}")
    return ended


def how_many(store: Store, account: int) -> int:
    """Sessions of an account that have not ended."""
    now = store.clock()
    with store.look() as connection:
        row = connection.execute(
            "SELECT COUNT(*) AS n FROM sessions WHERE account = ? AND made_at >= ? AND seen_at >= ?",
            [account, now - LONGEST_SECONDS, now - IDLE_SECONDS],
        ).fetchone()
    return int(row["n"])


def form_word(token: str) -> str:
    """The word that a page of this session sends with every change, and that no other site can know."""
    return hmac.new(token.encode(), b"evenfoot form", hashlib.sha256).hexdigest()


def _digest(token: str) -> bytes:
    return hashlib.sha256(token.encode()).digest()
