"""Guessing slowed down: after a few failures each further try waits, twice as long every time.

Failures are counted for a name from one address, so that who guesses from elsewhere, or guesses other names from the
same address, keeps nobody out. They are counted for a name from all addresses as well, with more room, for guessers who
have many. A browser in which somebody has signed in before is known for that account: its own failures count, and not
those of others, so that a person whose name is guessed from the same address still gets in there.
[pub: OWASP, Slow Down Online Guessing Attacks with Device Cookies]

All is kept in the file, so that a new start of the server forgives nothing; names are counted whether or not somebody
has them.
"""

from __future__ import annotations

import hashlib
import ipaddress
import sqlite3
from collections.abc import Mapping

from evenfoot.dashboard.auth.store import Store

FREE = {"from": 3, "name": 30, "known": 5, "code": 5}
"""Failures that cost nothing: slips of the finger. [common practice, no source]"""

LONGEST = {"from": 900.0, "name": 60.0, "known": 120.0, "code": 900.0}
"""Seconds. A name is closed for all addresses for less, because anybody can close it for its owner.
[common practice, no source]"""

FORGOTTEN_AFTER = 24 * 3600.0
"""Seconds without a failure until it counts as the first again. [common practice, no source]"""

MOST_ROWS = 20_000
"""Counts that are kept, the newest; strangers do not fill the disk with names. [common practice, no source]"""


def delay(kind: str, failures: int) -> float:
    """Seconds to wait after so many failures in a row.

    Examples
    --------
    >>> [delay("from", failures) for failures in (1, 3, 4, 5, 6, 20)]
    [0.0, 0.0, 1.0, 2.0, 4.0, 900.0]
    """
    over = failures - FREE[kind]
    return 0.0 if over <= 0 else min(2.0 ** min(over - 1, 30), LONGEST[kind])


def counts_of(name: str, address: str, known: str = "") -> dict[str, str]:
    """What a try at signing in counts for: kind -> of what.

    Parameters
    ----------
    name : str
        As :func:`evenfoot.dashboard.auth.people.key` gives it.
    address : str
        Where the try is from. Of an address of version 6 the first 64 bits count, which one house has.
    known : str
        The mark of a browser that is known for that account.

    Examples
    --------
    >>> counts_of("kim", "2001:db8::7") == counts_of("kim", "2001:db8::8")
    True
    """
    if known:
        return {"known": f"{name} {known}"}
    try:
        place = ipaddress.ip_address(address)
        if place.version == 6:
            address = str(ipaddress.ip_network((place, 64), strict=False))
    except ValueError:
        pass
    return {"from": f"{name}\0{address}", "name": name}


def take_turn(store: Store, counts: Mapping[str, str]) -> float:
    """Take a try; gives the seconds to wait when there is none to be had yet.

    A try counts as failed until :func:`forgive` says otherwise, so that many at the same moment gain nothing.

    Parameters
    ----------
    store : Store
    counts : mapping
        What the try counts for, see :func:`counts_of`.
    """
    now = store.clock()
    keys = {kind: _key(kind, of) for kind, of in counts.items()}

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
        if connection.execute("SELECT COUNT(*) FROM attempts").fetchone()[0] > MOST_ROWS:
            connection.execute(
                "DELETE FROM attempts WHERE key NOT IN (SELECT key FROM attempts ORDER BY last_at DESC LIMIT ?)",
                [MOST_ROWS * 9 // 10],
            )
        return 0.0

    return store.keep(work)


def forgive(store: Store, counts: Mapping[str, str]) -> None:
    """The try was right: what it counted for starts anew, and a name over all addresses has this one taken off."""

    def work(connection: sqlite3.Connection) -> None:
        for kind, of in counts.items():
            if kind != "name":
                connection.execute("DELETE FROM attempts WHERE key = ?", [_key(kind, of)])
                continue
            connection.execute(
                "UPDATE attempts SET failures = MAX(failures - 1, 0), open_at = last_at WHERE key = ?",
                [_key(kind, of)],
            )

    store.keep(work)


def use_once(store: Store, what: str) -> bool:
    """Note that something is used; gives whether it was not before, within the last day."""
    now = store.clock()

    def work(connection: sqlite3.Connection) -> bool:
        added = "INSERT OR IGNORE INTO attempts VALUES (?, 0, ?, 0)"
        return connection.execute(added, [_key("used", what), now]).rowcount == 1

    return store.keep(work)


def _key(kind: str, text: str) -> bytes:
    """Digests, because people type passwords into the field of the name."""
    return hashlib.sha256(f"{kind}\x00{text}".encode()).digest()
