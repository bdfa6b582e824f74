"""Who changed what of the accounts, and who signed in or tried to: when, and from where.

A change has one line, in the same transaction as the change itself; so has a sign-in, and a try that failed. Lines are
added and never altered, and hold no password, no hash, no name that was typed and is nobody's, and nothing a link could
be made from. The erasing of a farm takes that farm's lines out; of each sort the oldest go when there are too many.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import sqlite3
from collections.abc import Sequence
from typing import Any

import pandas as pd
from flask import has_request_context, request

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.history import who_acts
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.auth.throttle import use_once

COLUMNS = ("history_no", "noted_at", "who", "through", "what", "subject", "farm", "address")

SIGNED_IN = "signed in"
SIGNED_IN_ELSEWHERE = "signed in by the office's own sign-in"
PASSWORD_WRONG = "password wrong"
NAME_UNKNOWN = "name unknown"
CODE_WRONG = "code of the second factor wrong"
REFUSED = "try refused, too many before"
REFUSED_ELSEWHERE = "sign-in elsewhere refused, no such account"
TRIES = (SIGNED_IN, SIGNED_IN_ELSEWHERE, PASSWORD_WRONG, NAME_UNKNOWN, CODE_WRONG, REFUSED, REFUSED_ELSEWHERE)
"""Sorts of lines on signing in."""

REPORT_SAVED, REPORT_MAILED, LINK_MADE = "report saved", "report mailed", "link made"
"""Sorts of lines on a farm's report; that of a link says how long it lasts, too."""

NOBODY = "not signed in"
NO_ACCOUNT = "no such account"

MOST_TRIES, MOST_CHANGES = 5_000, 20_000
"""Lines of each sort of :data:`TRIES`, so that strangers push out nothing but their own; and of all changes. They come
to some 8 MB. [common practice, no source]"""

ONCE_IN = 60.0
"""Seconds in which tries that were refused are one line for one name and address: there may be very many.
[common practice, no source]"""


def note(
    connection: sqlite3.Connection,
    moment: float,
    what: str,
    subject: str,
    farms: Sequence[str] = (),
    *,
    who: str | None = None,
) -> None:
    """Add a line for each farm, or one without a farm, inside the caller's transaction.

    Parameters
    ----------
    connection : sqlite3.Connection
        What :meth:`Store.open` gives; the lines are committed, or not, together with the change.
    moment : float
        Seconds since 1970.
    what : str
        The change in a few plain words: "farm granted", "password changed".
    subject : str
        On what: "account Kim", "link 9f2c". Never a password or a link's token.
    farms : sequence of str
    who : str, optional
        Without it the viewer a page acts for, else this machine's user.
    """
    through, address = ("page", request.remote_addr or "") if has_request_context() else ("command", "")
    connection.executemany(
        "INSERT INTO history (noted_at, who, through, what, subject, farm, address) VALUES (?, ?, ?, ?, ?, ?, ?)",
        [(moment, who or who_acts(), through, what, subject, farm, address) for farm in farms or (None,)],
    )
    of_its_sort, sort, most = ("what = ?", [what], MOST_TRIES) if what in TRIES else (_CHANGES, TRIES, MOST_CHANGES)
    connection.execute(
        f"DELETE FROM history WHERE {of_its_sort} AND history_no <= (SELECT history_no FROM history "
        f"WHERE {of_its_sort} ORDER BY history_no DESC LIMIT 1 OFFSET ?)",
        [*sort, *sort, most],
    )


_CHANGES = f"what NOT IN ({', '.join('?' for _ in TRIES)})"


def note_try(store: Store, what: str, name: str | None, *, tried: str = "", signed_in: bool = False) -> None:
    """Note a sign-in, or a try that failed; where the disk takes nothing, in memory.

    A name that nobody has is noted as one that somebody has is, so that the time it takes tells nothing.

    Parameters
    ----------
    store : Store
    what : str
        One of :data:`TRIES`.
    name : str or None
        Of the account; ``None`` for a name that nobody has, which may be a password in the wrong field.
    tried : str
        The name that was typed. It is not kept.
    signed_in : bool
        Whether it is the account itself that did it.
    """
    if what in (REFUSED, REFUSED_ELSEWHERE):
        address = request.remote_addr if has_request_context() else ""
        if not use_once(store, f"noted {what} {tried} {address} {int(store.clock() // ONCE_IN)}"):
            return
    if name is None and what == PASSWORD_WRONG:
        what = NAME_UNKNOWN
    subject, who = NO_ACCOUNT if name is None else f"account {name}", name if name and signed_in else NOBODY
    store.keep(lambda connection: note(connection, store.clock(), what, subject, who=who))


def note_report(store: Store, farms: Sequence[str]) -> None:
    """Note that a report of each farm was saved. A file that cannot be written costs nobody a report that is made."""
    with contextlib.suppress(UserError):
        store.keep(lambda connection: note(connection, store.clock(), REPORT_SAVED, "report", farms))


def last_reports(store: Store) -> dict[str, dt.date]:
    """The farms that a report was made of, and the day of the last one: saved, mailed, or sent as a link.

    Raises
    ------
    UserError
        The file cannot be read.
    """
    if not store.exists:
        return {}
    with store.look() as connection:
        rows = connection.execute(
            "SELECT farm, MAX(noted_at) FROM history WHERE farm IS NOT NULL AND (what IN (?, ?) OR what LIKE ?) "
            "GROUP BY farm",
            [REPORT_SAVED, REPORT_MAILED, f"{LINK_MADE}%"],
        ).fetchall()
    return {str(farm): dt.datetime.fromtimestamp(moment).date() for farm, moment in rows}


def newest(store: Store, lines: int) -> list[dict[str, Any]]:
    """The newest lines, the last one first; each with :data:`COLUMNS`, ``noted_at`` in seconds since 1970."""
    with store.look() as connection:
        rows = connection.execute("SELECT * FROM history ORDER BY history_no DESC LIMIT ?", [lines]).fetchall()
    # A file of an older layout that nobody has written to since says no addresses.
    return [{"address": "", **dict(row)} for row in rows]


def history(store: Store) -> pd.DataFrame:
    """The changes so far, newest last.

    Returns
    -------
    pandas.DataFrame
        history_no, noted_at (UTC), who, through ("page" or "command"), what, subject, farm (missing where none is
        concerned), address (where it was done from, of a page).
    """
    rows: list[sqlite3.Row] = []
    if store.exists:
        with store.open() as connection:
            rows = connection.execute(f"SELECT {', '.join(COLUMNS)} FROM history ORDER BY history_no").fetchall()
    frame = pd.DataFrame([tuple(row) for row in rows], columns=list(COLUMNS))
    frame["noted_at"] = [dt.datetime.fromtimestamp(moment, dt.UTC).replace(tzinfo=None) for moment in frame["noted_at"]]
    return frame
