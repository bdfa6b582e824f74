"""Guessing slowed down: after a few failures each further try waits, twice as long every time.

Counted for the name tried and for the address it came from, known or not, and kept in the file, so that a new
start of the server forgives nothing.
"""

from __future__ import annotations

import hashlib
import sqlite3

from dashboard.accounts.store import Store

FREE = {"name": 3, "address": 12}
"""Failures that cost nothing: slips of the finger; an address may be a whole office. [common practice, no source]"""

LONGEST = {"name": 120.0, "address": 900.0}
"""Seconds. A name is closed for less, because anybody can close it for its owner. [common practice, no source]"""

FORGOTTEN_AFTER = 24 * 3600.0
"""Seconds without a failure until it counts as the first again. [common practice, no source]"""


def delay(kind: str, failures: int) -> float:
    """Seconds to wait after so many failures in a row.

    Examples
    --------
    >>> [delay("name", failures) for failures in (1, 3, 4, 5, 6, 20)]
    [0.0, 0.0, 1.0, 2.0, 4.0, 120.0]
    """
    over = failures - FREE[kind]
    return 0.0 if over <= 0 else min(2.0 ** min(over - 1, 30), LONGEST[kind])


def take_turn(store: Store, name: str, address: str) -> float:
    """Take a try at signing in; gives the seconds to wait when there is none to be had yet.

    A try counts as failed until :func:`forgive` says otherwise, so that many at the same moment gain nothing.
    """
    now = store.clock()
    keys = {"name": _key("name", name), "address": _key("address", address)}

    def work(connection: sqlite3.Connection) -> float:
        connection.execute("DELETE FROM attempts WHERE last_at < ?", [now - FORGOTTEN_AFTER])
        rows = {
            kind: connection.execute("SELECT failures, open_at FROM attempts WHERE key = ?", [key]).fetchone()
            for kind, key in keys.items()
        }
        # A clock set back must not lock anybody out for longer than the longest wait.
        waits = [min(row["open_at"] - now, LONGEST[kind]) for kind, row in rows.items() if row is not None]
        if waits and max(waits) > 0:
            return max(waits)
        for kind, key in keys.items():
            failures = (rows[kind]["failures"] if rows[kind] is not None else 0) + 1
            connection.execute(
                "INSERT OR REPLACE INTO attempts VALUES (?, ?, ?, ?)",
                [key, failures, now, now + delay(kind, failures)],
            )
        return 0.0

    return store.keep(work)


def forgive(store: Store, name: str, address: str) -> None:
    """The try was right: the name starts anew, the address has this one taken off."""

    def work(connection: sqlite3.Connection) -> None:
        connection.execute("DELETE FROM attempts WHERE key = ?", [_key("name", name)])
        connection.execute(
            "UPDATE attempts SET failures = MAX(failures - 1, 0), open_at = last_at WHERE key = ?",
            [_key("address", address)],
        )

    store.keep(work)


def _key(kind: str, text: str) -> bytes:
    """Digests, because people type passwords into the field of the name."""
    return hashlib.sha256(f"{kind}\x00{text}".encode()).digest()
